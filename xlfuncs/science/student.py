"""Student's t: how far a mean may stray from the truth when few readings tell its scatter."""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np


def quantile(freedom: Any, probability: Any) -> Any:
    """The t below which this probability lies; NaN where an argument is out of its limits.

    Both are scalars or arrays that fit together.  With t = √n·tan θ the probability that a value
    lies between -t and t is a finite sum of powers of cos θ, which is solved for θ.

    - `freedom`: degrees of freedom n, whole numbers from 1 on
    - `probability`: from 0.5 up to 1, below it

    Source: M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), 26.7.3 and
    26.7.4.

    >>> round(float(quantile(4, 0.975)), 3)
    2.776
    """
    with np.errstate(invalid="ignore"):  # for NaN
        return of_each(freedom, probability).astype(float)


# Of the angle: a step so small is the last.
_SETTLED = 1e-15


@functools.lru_cache
def _quantile(freedom: float, probability: float) -> np.float64:
    inside = 2 * probability - 1
    if not (0 <= inside < 1 and freedom >= 1 and freedom % 1 == 0):
        return np.float64(np.nan)
    n = int(freedom)
    odd = n % 2
    steepest = 2 / math.sqrt(math.pi) * math.exp(math.lgamma((n + 1) / 2) - math.lgamma(n / 2))
    # The sum bends down all the way from θ = 0, so Newton's steps come up to the angle from below.
    angle, step = 0.0, math.inf
    while step > _SETTLED * angle:
        sine, cosine = math.sin(angle), math.cos(angle)
        found = 2 / math.pi * angle if odd else 0.0
        term = sine * (2 / math.pi * cosine if odd else 1.0)
        for power in range(odd, n - 1, 2):
            found += term
            term *= cosine**2 * (power + 1) / (power + 2)
        step = (inside - found) / (steepest * cosine ** (n - 1))
        angle += max(step, 0.0)
    return np.float64(math.sqrt(n) * math.tan(angle))


#: `quantile` before its answers are made numbers of numpy's: a table may take its place.
of_each = np.frompyfunc(_quantile, 2, 1)
