"""Propagation of uncertainty, first order (JCGM 100:2008, GUM, equations 10 and 13)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from xlfuncs.science.arrays import Real

# The sensitivity is the slope over this share of the standard uncertainty: small enough to be the
# derivative, large enough to stay clear of rounding.
_NUDGE = 1e-3


def standard_uncertainty(
    model: Callable[..., Real],
    values: Sequence[Real],
    uncertainties: Sequence[Real],
    correlations: Mapping[tuple[int, int], float] | None = None,
) -> Real:
    """Standard uncertainty of model(*values), from the standard uncertainties of its inputs.

    Sensitivities are taken from the model itself by central differences.
    Source: JCGM 100:2008 equations 10 and 13.

    - `model`: any function of so many values, in any unit
    - `values`: best estimate of each input, in its unit
    - `uncertainties`: standard uncertainty of each input, in its unit
    - `correlations`: coefficient from -1 to 1 by pair of input numbers, where it is not 0

    >>> round(standard_uncertainty(lambda a, b: a * b, (3.0, 2.0), (0.1, 0.2)), 4)
    0.6325
    """
    effects = []
    for number, uncertainty in enumerate(uncertainties):
        step = _NUDGE * np.asarray(uncertainty)
        up, down = list(values), list(values)
        up[number] = values[number] + step
        down[number] = values[number] - step
        effects.append((model(*up) - model(*down)) / (2 * _NUDGE))
    variance = sum(effect**2 for effect in effects)
    for (first, second), correlation in (correlations or {}).items():
        variance = variance + 2 * correlation * effects[first] * effects[second]
    # Rounding may leave a hair below zero when full correlation cancels everything.
    result = np.sqrt(np.maximum(variance, 0.0))
    return result if result.ndim else float(result)
