"""Second ways to an answer, for tests alone: what sheets compute by formulas, and published forms.

The sheets chart an instrument's checks by worksheet formulas, so nothing that is installed needs
these; they are held to other libraries in `tests/science`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science import control, ethanol, sucrose
from xlfuncs.science import drift as intervals
from xlfuncs.science.arrays import Array, Real, polynomial

# --- ethanol by OIML R 22, at other temperatures and by volume ------------------------------

# OIML R 22 (1975), p. 12: powers of d = t - 20 °C (water); then row i multiplies d^(i + 1), entry k
# multiplies p^k (p mass fraction).
_WATER = (
    0.0,
    -0.20618513,
    -0.0052682542,
    3.6130013e-05,
    -3.8957702e-07,
    7.169354e-09,
    -9.9739231e-11,
)
_MIXED = (
    (
        0.0,
        0.1693443461530087,
        -10.46914743455169,
        71.96353469546523,
        -704.7478054272792,
        3924.090430035045,
        -12101.64659068747,
        22486.46550400788,
        -26055.62982188164,
        18523.73922069467,
        -7420.201433430137,
        1285.617841998974,
    ),
    (
        0.0,
        -0.0119301300505701,
        0.2517399633803461,
        -2.170575700536993,
        13.53034988843029,
        -50.29988758547014,
        109.635566657757,
        -142.2753946421155,
        108.043594285623,
        -44.14153236817392,
        7.442971530188783,
    ),
    (
        0.0,
        -0.0006802995733503803,
        0.01876837790289664,
        -0.2002561813734156,
        1.02299296671922,
        -2.895696483903638,
        4.810060584300675,
        -4.672147440794683,
        2.458043105903461,
        -0.5411227621436812,
    ),
    (
        0.0,
        4.075376675622027e-06,
        -8.76305857347111e-06,
        6.515031360099368e-06,
        -1.51578483698721e-06,
    ),
    (0.0, -2.788074354782409e-08, 1.345612883493354e-08),
)


def ethanol_density(fraction: Real, temperature: Real = sucrose.REFERENCE_TEMPERATURE) -> Real:
    """Density of ethanol-water, kg/m³ in vacuo, from the mass fraction 0 to 1 at -20 to 40 °C.

    At 20 °C it is the science's own polynomial, with the water of R 22.
    Source: OIML R 22 (1975), general formula.

    >>> round(ethanol_density(0.05), 3), round(ethanol_density(1.0), 3)
    (989.378, 789.239)
    """
    d = temperature - sucrose.REFERENCE_TEMPERATURE
    mixed = polynomial(_MIXED[-1], fraction)
    for row in _MIXED[-2::-1]:
        mixed = mixed * d + polynomial(row, fraction)
    return polynomial(ethanol.R22_AT_20, fraction) + polynomial(_WATER, d) + mixed * d


def ethanol_fraction(abv: Real, steps: int = 4) -> Real:
    """Mass fraction of ethanol from % by volume at 20 °C, 0 to 20 % ABV.

    Solves fraction·density(fraction) = abv/100·density of ethanol, by a fixed number of steps.
    Source: OIML R 22 (1975).

    >>> round(ethanol_fraction(5.0), 6)
    0.039818
    """
    mass = abv / 100 * ethanol.DENSITY
    found = mass / sucrose.WATER_20
    for _ in range(steps):
        # Density changes so little with strength that plain substitution gains a factor of 100.
        found = mass / polynomial(ethanol.R22_AT_20, found)
    return found


# --- the chart of an instrument's checks ------------------------------


@dataclass(frozen=True)
class Limits:
    """Centre line and limits of the individuals, and the upper limit of the moving range."""

    centre: float
    low: float
    high: float
    range_high: float


def limits(values: Array, as_left: NDArray[np.bool_] | None = None) -> Limits:
    """Limits of a chart of individuals from its own values; NaN with fewer than two.

    Centre ± 3·R/d2 with R the mean of |difference of neighbours|, and D4·R for those differences.
    `as_left` marks values after an adjustment: the step to them is no moving range, and the centre
    is that of the others.
    Source: ISO 7870-2:2013, chart of individuals and moving ranges of two.

    >>> found = limits(np.array([1.0, 1.2, 1.0, 1.2]))
    >>> round(found.centre, 3), round(found.low, 3), round(found.high, 3)
    (1.1, 0.568, 1.632)
    """
    found = np.ones(values.shape, dtype=bool) if as_left is None else ~as_left
    ranges = np.abs(np.diff(values))[found[1:]]
    if ranges.size == 0:
        return Limits(*(float("nan"),) * 4)
    centre, spread = float(np.mean(values[found])), float(np.mean(ranges))
    return Limits(
        centre, centre - control.E2 * spread, centre + control.E2 * spread, control.D4 * spread
    )


def outside(values: Array, bounds: Limits) -> NDArray[np.intp]:
    """Numbers (from 0) of the values outside their limits.

    >>> values = np.array([0.0, 0.1, 0.0, 0.1, 0.0, 0.1, 1.0])
    >>> outside(values, limits(values[:6])).tolist()
    [6]
    """
    return np.flatnonzero((values < bounds.low) | (values > bounds.high))


# --- drift, and the interval that follows ------------------------------

#: Days that a drift is stated for.
PERIOD = 30.0


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


def drift(days: Array, offsets: Array, u: Real, as_left: NDArray[np.bool_] | None = None) -> Drift:
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
            interval *= intervals.SHORTER
        elif abs(offset) <= intervals.CALM_SHARE * tolerance * (1 + 1e-9):
            interval *= intervals.LONGER
        interval = min(max(interval, intervals.SHORTEST), intervals.LONGEST)
    return interval
