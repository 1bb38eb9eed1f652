"""Calibration of an instrument against references."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Array, Real, first_true
from xlfuncs.science.conformity import COVERAGE

#: References must spread over this much, °Bx, before a slope is worth fitting.
LEAST_SPREAD = 5.0

#: Standard uncertainty of a slope that was never checked, per °Bx shown (common practice: hand
#: refractometers are specified to some 0.2 °Bx over 20).
UNCHECKED_SLOPE_U = 0.01


class Calibration(NamedTuple):
    """How sure a calibration is: its level where its references lie, and its slope.

    The two are independent, while offset and slope of the same line are not:
    u² = level² + ((brix - centre)·slope)².
    """

    level: Real  # standard uncertainty at the centre, °Bx
    centre: Real = 0.0  # mean of the references, °Bx; 0 for a check in water
    slope: Real = UNCHECKED_SLOPE_U  # standard uncertainty of the slope

    def at(self, brix: Real) -> Real:
        """Standard uncertainty of the calibration at a true °Brix.

        >>> checked_in_water = Calibration(0.06)
        >>> [round(checked_in_water.at(brix), 3) for brix in (0.0, 2.6, 12.4)]
        [0.06, 0.065, 0.138]
        """
        return (self.level**2 + ((brix - self.centre) * self.slope) ** 2) ** 0.5


@dataclass(frozen=True)
class Line:
    """reading = offset + slope·reference, with standard uncertainties and their correlation."""

    offset: float
    slope: float
    u_offset: float
    u_slope: float
    residual: float
    points: int
    correlation: float

    @property
    def covariance(self) -> float:
        """Of offset and slope."""
        return self.correlation * self.u_offset * self.u_slope

    @property
    def calibration(self) -> Calibration:
        """The same line by its level where the references lie: free of correlation."""
        level = self.u_offset * max(1 - self.correlation**2, 0.0) ** 0.5
        return Calibration(level, -self.covariance / self.u_slope**2, self.u_slope)


def weighted_line(x: Array, y: Array, u: Real) -> Line:
    """y = offset + slope·x by weighted least squares, from the known standard uncertainties of y.

    `u` is one number for all points or one for each, above 0.  The x must not all be equal.
    Uncertainties and correlation are the covariance of the fit, with variances of y known; the
    residual standard deviation is that of a point of mean weight, NaN without a degree of freedom.
    Source: JCGM 100:2008 H.3, with weights 1/u².

    >>> line = weighted_line(np.array([0.0, 1.0, 2.0]), np.array([1.0, 3.0, 5.0]), 0.1)
    >>> round(line.offset, 3), round(line.slope, 3), round(line.u_slope, 4)
    (1.0, 2.0, 0.0707)
    """
    weights = np.broadcast_to(1 / np.asarray(u, dtype=float) ** 2, x.shape)
    total = float(np.sum(weights))
    centre, middle = float(np.sum(weights * x)) / total, float(np.sum(weights * y)) / total
    spread = float(np.sum(weights * (x - centre) ** 2))
    slope = float(np.sum(weights * (x - centre) * (y - middle))) / spread
    offset = middle - slope * centre
    u_slope, u_offset = spread**-0.5, (1 / total + centre**2 / spread) ** 0.5
    return Line(
        offset,
        slope,
        u_offset,
        u_slope,
        _scatter(y - offset - slope * x, weights, fitted=2),
        x.size,
        -centre * u_slope / u_offset,
    )


def fit_line(readings: Array, references: Array, u_reading: Real = 0.1) -> Line:
    """Straight calibration line by weighted least squares.

    With references that spread over less than 5 °Bx only the offset is fitted and the slope is held
    at 1, with the uncertainty of a slope that was never checked, 0.01; the further the references
    lie from water, the more of that the offset has too.  Uncertainties follow from `u_reading`, one
    for all readings or one for each: what a reference is itself uncertain by belongs in it.  The
    residual standard deviation is NaN when no degree of freedom is left.
    Source: JCGM 100:2008 H.3, with known variance of the readings.

    >>> line = fit_line(np.array([0.2, 10.3, 20.4]), np.array([0.0, 10.0, 20.0]))
    >>> round(line.offset, 3), round(line.slope, 3), round(line.u_offset, 3)
    (0.2, 1.01, 0.091)
    """
    if np.ptp(references) >= LEAST_SPREAD:
        return weighted_line(references, readings, u_reading)
    weights = np.broadcast_to(1 / np.asarray(u_reading, dtype=float) ** 2, readings.shape)
    total, shown = float(np.sum(weights)), readings - references
    offset = float(np.sum(weights * shown)) / total
    residual = _scatter(shown - offset, weights, fitted=1)
    tilt = float(np.sum(weights * references)) / total * UNCHECKED_SLOPE_U
    u_offset = (1 / total + tilt**2) ** 0.5
    return Line(offset, 1.0, u_offset, UNCHECKED_SLOPE_U, residual, readings.size, -tilt / u_offset)


def _scatter(residuals: Array, weights: Array, fitted: int) -> float:
    """Residual standard deviation of a point of mean weight."""
    freedom = residuals.size - fitted
    if freedom <= 0:
        return float("nan")
    return float(np.sqrt(np.sum(weights * residuals**2) / (np.mean(weights) * freedom)))


def status(
    offset: Real,
    tolerance: Real,
    days_since_check: Real,
    interval_days: Real,
    u_offset: Real = 0.0,
) -> NDArray[np.object_]:
    """What an instrument asks for, its offset judged by a guarded rule with U = 2·u_offset.

    `ok`: |offset| + U is within the tolerance; an instrument whose true offset is outside is called
    so in 2.3 % of checks at most.  `probably ok`: |offset| is within the tolerance, but U reaches
    over; one that is truly outside by u_offset is called so in 16 %, by 2·u_offset in 2.3 %.
    `adjust`: |offset| is outside.  `check due`, alone or with `adjust`: the interval is over.
    `not checked`: offset or days are NaN.  Source: JCGM 106:2012, 8.3.

    - `offset`: found at the last check, in any one unit
    - `tolerance`: largest offset that is tolerated, in the same unit
    - `days_since_check`: days
    - `interval_days`: days from check to check
    - `u_offset`: standard uncertainty of `offset`, in its unit

    >>> status(0.3, 0.2, 10, 30).item(), status(0.1, 0.2, np.nan, 30).item()
    ('adjust', 'not checked')
    >>> status(0.1, 0.2, 10, 30, 0.05).item(), status(0.1, 0.2, 10, 30, 0.06).item()
    ('ok', 'probably ok')
    """
    unknown = np.isnan(offset) | np.isnan(days_since_check)
    # 0.2 read off a scale and 0.2 typed as tolerance may differ by a binary hair.
    hair = 1 + 1e-9
    adjust = np.abs(offset) > np.asarray(tolerance) * hair
    reaches_over = np.abs(offset) + COVERAGE * u_offset > np.asarray(tolerance) * hair
    due = np.asarray(days_since_check) > interval_days
    return first_true(
        [
            (unknown, "not checked"),
            (adjust & due, "adjust, check due"),
            (adjust, "adjust"),
            (due, "check due"),
            (reaches_over, "probably ok"),
        ],
        otherwise="ok",
    )
