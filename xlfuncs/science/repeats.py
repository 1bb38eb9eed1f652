"""Several readings of one wort, a drop at a time, taken as one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from xlfuncs.science.arrays import Array

#: Readings of one batch, stage and instrument within so many minutes are of one wort.
TOGETHER_MINUTES = 30.0

#: A reading this many standard uncertainties from the mean of the others is far from them: among
#: three sound readings one is called so in 0.8 % of cases, among six in 1.6 %.
FAR = 3.0


@dataclass(frozen=True)
class Repeated:
    """Mean of some readings, and how sure it is."""

    mean: float
    scatter: float  # standard deviation of one reading, NaN for a single one
    u_own: float  # of the mean, what the readings do not share
    readings: int
    far: int | None  # position of the one that lies far from the others

    def u(self, u_single: float, u_reading: float) -> float:
        """Standard uncertainty of the mean, from that of a single reading by its whole budget.

        The common part, all but `u_reading`, stays however many readings there are.
        """
        return math.sqrt(max(u_single**2 - u_reading**2, 0.0) + self.u_own**2)


def taken_together(readings: Array, u_reading: float) -> Repeated:
    """Mean and scatter of readings of one wort; `u_reading` is what one is uncertain by itself.

    The mean's own uncertainty is the larger of `u_reading` and the scatter, over √n: few readings
    may agree by luck, so their scatter alone is not believed when it is small.  A reading far from
    the mean of the others is named and still counts, for whether it is a slip is for the brewer to
    say; by its scatter it makes the mean less sure.  Of two that lie apart neither can be blamed:
    the second is named.  Source: JCGM 100:2008, 4.2 and 5.2.2.

    >>> three = taken_together(np.array([12.4, 12.5, 12.4]), 0.1)
    >>> print(f"{three.mean:.2f} {three.u_own:.3f} {three.u(0.15, 0.1):.3f}", three.far)
    12.43 0.058 0.126 None
    >>> taken_together(np.array([12.4, 12.5, 13.1, 12.4]), 0.1).far
    2
    """
    number = readings.size
    mean = float(np.mean(readings))
    if number == 1:
        return Repeated(mean, float("nan"), u_reading, 1, None)
    scatter = float(np.std(readings, ddof=1))
    # From the mean of the others: (x - mean)·n/(n - 1), which has the variance u²·n/(n - 1).
    apart = np.abs(readings - mean) * (number / (number - 1)) ** 0.5
    # Of two that lie equally far the last: argmax takes the first, of what is turned round and
    # rounded clear of binary hairs.
    worst = number - 1 - int(np.argmax(np.round(apart[::-1], 9)))
    return Repeated(
        mean,
        scatter,
        max(u_reading, scatter) / number**0.5,
        number,
        worst if apart[worst] > FAR * u_reading else None,
    )
