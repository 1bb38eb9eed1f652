"""Calibration of an instrument against references."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Array, Real, first_true

#: References must spread over this much, °Bx, before a slope is worth fitting.
LEAST_SPREAD = 5.0


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


def fit_line(readings: Array, references: Array, u_reading: float = 0.1) -> Line:
    """Straight calibration line by least squares, all readings of equal uncertainty.

    With references that spread over less than 5 °Bx only the offset is fitted and the slope is held
    at 1 (its uncertainty is then given as 0: it was not estimated).  Uncertainties follow from
    `u_reading`; the residual standard deviation is NaN when no degree of freedom is left.
    Source: JCGM 100:2008 H.3, with known variance of the readings.

    >>> line = fit_line(np.array([0.2, 10.3, 20.4]), np.array([0.0, 10.0, 20.0]))
    >>> round(line.offset, 3), round(line.slope, 3), round(line.u_offset, 3)
    (0.2, 1.01, 0.091)
    """
    points = readings.size
    if np.ptp(references) < LEAST_SPREAD:
        offset, slope = float(np.mean(readings - references)), 1.0
        u_offset, u_slope, correlation, fitted = u_reading / np.sqrt(points), 0.0, 0.0, 1
    else:
        centre = float(np.mean(references))
        spread = float(np.sum((references - centre) ** 2))
        slope = float(np.sum((references - centre) * readings) / spread)
        offset = float(np.mean(readings)) - slope * centre
        u_slope = u_reading / np.sqrt(spread)
        u_offset = u_reading * np.sqrt(1 / points + centre**2 / spread)
        correlation, fitted = float(-centre * u_slope / u_offset), 2
    freedom = points - fitted
    residuals = readings - offset - slope * references
    residual = float(np.sqrt(np.sum(residuals**2) / freedom)) if freedom > 0 else float("nan")
    return Line(offset, slope, float(u_offset), float(u_slope), residual, int(points), correlation)


def status(
    offset: Real, tolerance: Real, days_since_check: Real, interval_days: Real
) -> NDArray[np.object_]:
    """What an instrument asks for: `ok`, `adjust`, `check due`, `adjust, check due`, `not checked`.

    NaN for offset or days stands for an instrument that was never checked.

    >>> status(0.3, 0.2, 10, 30).item(), status(0.1, 0.2, np.nan, 30).item()
    ('adjust', 'not checked')
    """
    unknown = np.isnan(offset) | np.isnan(days_since_check)
    # 0.2 read off a scale and 0.2 typed as tolerance may differ by a binary hair.
    adjust = np.abs(offset) > np.asarray(tolerance) * (1 + 1e-9)
    due = np.asarray(days_since_check) > interval_days
    return first_true(
        [
            (unknown, "not checked"),
            (adjust & due, "adjust, check due"),
            (adjust, "adjust"),
            (due, "check due"),
        ],
        otherwise="ok",
    )
