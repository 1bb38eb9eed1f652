"""How an instrument moves from check to check, and when to look at it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Array, Real
from xlfuncs.science.calibration import weighted_line

#: Days that a drift is stated for.
PERIOD = 30.0

#: The staircase: found within this share of the tolerance, the next interval is longer.
CALM_SHARE = 0.8
LONGER, SHORTER = 1.25, 0.5
#: Limits of the interval, days: never more often than weekly by history alone, and at least yearly.
SHORTEST, LONGEST = 7.0, 365.0


@dataclass(frozen=True)
class Drift:
    """Change of an offset in 30 days, its standard uncertainty, and how far it can be trusted.

    `scatter` is the standard deviation of the checks about the line over the one that is expected:
    well above 1 the instrument wanders more than its readings are uncertain.
    """

    rate: float
    u_rate: float
    scatter: float
    checks: int


def undo_adjustments(offsets: Array, as_left: NDArray[np.bool_]) -> Array:
    """Offsets as they would have been found if nobody had ever turned the screw.

    `as_left` marks checks that were made after an adjustment; each takes away the step from the
    check before it.  The first check has nothing to be compared with.

    >>> undo_adjustments(np.array([0.1, 0.3, 0.0, 0.1]), np.array([False, False, True, False]))
    array([0.1, 0.3, 0.3, 0.4])
    """
    steps: Array = np.diff(offsets, prepend=offsets[:1])
    undone: Array = offsets - np.cumsum(np.where(as_left, steps, 0.0))
    return undone


def drift(days: Array, offsets: Array, u: Real) -> Drift:
    """Drift per 30 days: weighted straight line of offset over time.

    `u` is the standard uncertainty of each offset.  NaN with fewer than two days.

    >>> found = drift(np.array([0.0, 30.0, 60.0]), np.array([0.0, 0.1, 0.2]), 0.05)
    >>> round(found.rate, 3), round(found.u_rate, 4)
    (0.1, 0.0354)
    """
    if days.size < 2 or np.ptp(days) == 0:
        return Drift(float("nan"), float("nan"), float("nan"), days.size)
    line = weighted_line(days - np.mean(days), offsets, u)
    expected = float(np.mean(1 / np.broadcast_to(u, days.shape) ** 2)) ** -0.5
    return Drift(PERIOD * line.slope, PERIOD * line.u_slope, line.residual / expected, line.points)


def staircase(
    interval: float, offsets: Sequence[float], tolerance: float, as_left: Sequence[bool] = ()
) -> float:
    """Days to the next check, from how the instrument was found at each check so far.

    Found within 80 % of the tolerance, the interval becomes a quarter longer; found outside the
    tolerance, half as long; between the two it stays.  Within 7 to 365 days.  Checks marked as left
    say nothing: the instrument had just been set.  The first check opens the history.
    Source: ILAC-G24:2022, method 1 (automatic adjustment, “staircase”), which leaves the steps to
    the user; these are common practice.

    >>> staircase(30, [0.0, 0.05, 0.1, 0.25], 0.2)
    23.4375
    """
    marks = as_left or [False] * len(offsets)
    found = [offset for offset, left in zip(offsets, marks, strict=True) if not left]
    for offset in found[1:]:
        if abs(offset) > tolerance * (1 + 1e-9):
            interval *= SHORTER
        elif abs(offset) <= CALM_SHARE * tolerance * (1 + 1e-9):
            interval *= LONGER
        interval = min(max(interval, SHORTEST), LONGEST)
    return interval
