"""Does a measured value meet its target, given how sure we are of it?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Real, first_true

#: Coverage factor of an expanded uncertainty, about 95 % for a normal distribution.
COVERAGE = 2.0

#: Within this many u of a limit either side of it is nearly as likely as the other.
CLOSE = 0.5


def verdict(measured: Real, target: Real, tolerance: Real, u: Real = 0.0) -> NDArray[np.object_]:
    """`on target`, `low`, `high`, each alone or as `probably …`, or `too close to call`.

    With U = 2u: on target when [measured - U, measured + U] lies within target ± tolerance, low or
    high when it lies wholly outside.  Where it reaches over a limit the side on which `measured`
    lies is the probable one, but within u/2 of a limit it is too close to call; and so is a value
    within the tolerance where U is wider than that.

    For a normal distribution of standard deviation u about the measured value, a verdict without
    `probably` is wrong with a probability of 2.3 % at most (1 - Φ(2); on target 4.6 %, where both
    limits are just U away), one with `probably` of 31 % at most (1 - Φ(0.5)).
    Source: JCGM 106:2012, 8.3 (guard bands on both sides of the tolerance limit) and clause 7
    (conformance probability).

    - `measured`: in any one unit
    - `target`: in the same unit
    - `tolerance`: largest deviation either way, in the same unit
    - `u`: standard uncertainty of `measured`, in the same unit

    >>> verdict(1.0478, 1.050, 0.002, 0.001).item(), verdict(1.046, 1.050, 0.002, 0.0005).item()
    ('too close to call', 'low')
    >>> verdict(1.047, 1.050, 0.002, 0.001).item(), verdict(1.0492, 1.050, 0.002, 0.001).item()
    ('probably low', 'probably on target')
    """
    expanded, close = COVERAGE * u, CLOSE * u
    # 1.052 - 1.050 is a hair over 0.002 in binary; a reading on the limit is within it.
    hair = 1e-9 * np.maximum(np.abs(target), np.abs(tolerance))
    deviation = np.asarray(measured - target)
    decidable = np.asarray(expanded <= tolerance + hair)
    return first_true(
        [
            (np.abs(deviation) + expanded <= tolerance + hair, "on target"),
            (deviation + expanded < -tolerance - hair, "low"),
            (deviation - expanded > tolerance + hair, "high"),
            (decidable & (np.abs(deviation) + close <= tolerance - hair), "probably on target"),
            (deviation + close <= -tolerance - hair, "probably low"),
            (deviation - close >= tolerance + hair, "probably high"),
        ],
        otherwise="too close to call",
    )
