"""How an instrument moves from check to check, and when to look at it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Array, Real

#: Which checks were made after an adjustment.
Marks = NDArray[np.bool_]

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


def drift(days: Array, offsets: Array, u: Real, as_left: Marks | None = None) -> Drift:
    """Drift per 30 days: weighted straight line of offset over time.

    `u` is the standard uncertainty of each offset.  `as_left` marks checks that were made after an
    adjustment: from each of them on the line has a level of its own, but the same slope, so that
    an adjustment is no drift.  Checks stand in the order of time.  NaN where no two checks of one
    level lie on different days.

    >>> found = drift(np.array([0.0, 30.0, 60.0]), np.array([0.0, 0.1, 0.2]), 0.05)
    >>> round(found.rate, 3), round(found.u_rate, 4)
    (0.1, 0.0354)
    """
    marks = np.zeros(days.shape, dtype=bool) if as_left is None else as_left
    level = np.cumsum(marks)
    weights = np.broadcast_to(1 / np.asarray(u, dtype=float) ** 2, days.shape)
    total = np.bincount(level, weights)

    def from_level(values: Array) -> Array:
        means = np.bincount(level, weights * values) / np.where(total == 0, 1.0, total)
        return np.asarray(values - means[level])

    if days.size == 0:
        return Drift(float("nan"), float("nan"), float("nan"), 0)
    time, moved = from_level(days), from_level(offsets)
    spread = float(np.sum(weights * time**2))
    # Means leave a hair of rounding where all days are equal.
    if spread <= 1e-12 * float(np.sum(weights)):
        return Drift(float("nan"), float("nan"), float("nan"), days.size)
    slope = float(np.sum(weights * time * moved)) / spread
    freedom = days.size - len(set(level.tolist())) - 1
    chi_square = float(np.sum(weights * (moved - slope * time) ** 2))
    scatter = (chi_square / freedom) ** 0.5 if freedom > 0 else float("nan")
    return Drift(PERIOD * slope, PERIOD * spread**-0.5, scatter, days.size)


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
    for offset, left in list(zip(offsets, marks, strict=True))[1:]:
        if left:
            continue
        if abs(offset) > tolerance * (1 + 1e-9):
            interval *= SHORTER
        elif abs(offset) <= CALM_SHARE * tolerance * (1 + 1e-9):
            interval *= LONGER
        interval = min(max(interval, SHORTEST), LONGEST)
    return interval
