"""How an instrument moves, and how often to look at it.

The drift of its offset is a straight line over time, the same before and after each adjustment,
which only shifts it: least squares within levels, each check weighted by what it is known to.
Source: JCGM 100:2008, H.3, with a level of its own for each adjustment (analysis of covariance).

The interval is the staircase of ILAC-G24, in the steps of common practice: found within
`CALM_SHARE` of the tolerance at a check, the next interval is `LONGER` times as long; found outside
the tolerance, `SHORTER` times; between the two it stays.  Checks made after an adjustment say
nothing: the instrument had just been set.  The first check opens the history.
Source: ILAC-G24:2022, method 1 (automatic adjustment, “staircase”), which leaves the steps to the
user.
"""

from __future__ import annotations

import numpy as np

from xlfuncs.science.arrays import Array

CALM_SHARE = 0.8
LONGER, SHORTER = 1.25, 0.5
#: Limits of the interval, days: never more often than weekly by history alone, and at least yearly.
SHORTEST, LONGEST = 7.0, 365.0


def slope(days: Array, offsets: Array, u: Array, levels: Array) -> tuple[float, float]:
    """Drift of the offset in a day, free of adjustments, and its standard uncertainty.

    - `days`: of the checks
    - `offsets`: found at each, in the scale of the instrument
    - `u`: standard uncertainty of each offset, above 0
    - `levels`: a number that changes with each adjustment

    Both are NaN where no level has checks on two days.

    >>> days, levels = np.array([0.0, 30.0, 30.0, 60.0]), np.array([0, 0, 1, 1])
    >>> drift, u = slope(days, np.array([0.0, 0.3, 0.0, 0.3]), np.full(4, 0.1), levels)
    >>> round(30 * drift, 3), round(30 * u, 3)
    (0.3, 0.1)
    """
    weights = 1 / np.asarray(u, dtype=float) ** 2
    spread = moved = 0.0
    for level in np.unique(levels):
        here = levels == level
        total = np.sum(weights[here])
        from_day = days[here] - np.sum(weights[here] * days[here]) / total
        from_offset = offsets[here] - np.sum(weights[here] * offsets[here]) / total
        spread += float(np.sum(weights[here] * from_day**2))
        moved += float(np.sum(weights[here] * from_day * from_offset))
    # Means leave a hair of rounding where all days of a level are equal.
    hair = 1e-12 * float(np.sum(weights))
    if spread <= hair:
        return float("nan"), float("nan")
    return moved / spread, spread**-0.5
