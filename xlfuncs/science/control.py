"""Control chart of individual values and moving ranges (ISO 7870-2)."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Array


@dataclass(frozen=True)
class Constants:
    """Factors for ranges of n normal values of standard deviation 1."""

    d2: float  #: mean of the range
    d3: float  #: standard deviation of the range

    @property
    def e2(self) -> float:
        """Limits of individuals, in mean moving ranges."""
        return 3 / self.d2

    @property
    def d4(self) -> float:
        """Upper limit of ranges, in mean ranges."""
        return 1 + 3 * self.d3 / self.d2

    @property
    def lower(self) -> float:
        """Lower limit of ranges, in mean ranges (D3 of the tables)."""
        return max(0.0, 1 - 3 * self.d3 / self.d2)


@functools.cache
def constants(n: int = 2) -> Constants:
    """Control-chart constants for ranges of n values, n from 2.

    By integration over the distribution of the range of normal values (Tippett, 1925).

    >>> round(constants().d2, 4), round(constants().e2, 3), round(constants().d4, 3)
    (1.1284, 2.659, 3.267)
    """
    x = np.linspace(-8, 8, 1601)
    step = float(x[1] - x[0])
    below = np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in x])
    above = below[::-1]
    mean = step * float(np.sum(1 - below**n - above**n))
    low, high = below[:, None], below[None, :]
    both = 1 - high**n - (1 - low) ** n + np.maximum(high - low, 0.0) ** n
    # Twice the triangle low < high; on the diagonal itself stand halves.
    square = 2 * step**2 * float(np.sum(np.triu(both, 1)) + np.trace(both) / 2)
    return Constants(mean, math.sqrt(square - mean**2))


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
    factors, centre = constants(2), float(np.mean(values[found]))
    spread = float(np.mean(ranges))
    return Limits(
        centre, centre - factors.e2 * spread, centre + factors.e2 * spread, factors.d4 * spread
    )


def outside(values: Array, bounds: Limits) -> NDArray[np.intp]:
    """Numbers (from 0) of the values outside their limits.

    >>> values = np.array([0.0, 0.1, 0.0, 0.1, 0.0, 0.1, 1.0])
    >>> outside(values, limits(values[:6])).tolist()
    [6]
    """
    return np.flatnonzero((values < bounds.low) | (values > bounds.high))
