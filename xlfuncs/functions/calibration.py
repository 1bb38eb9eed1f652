"""Calibration of instruments."""

from __future__ import annotations

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    CalibrationReadings,
    CalibrationReferences,
    CheckedOffset,
    DaysSinceCheck,
    IntervalDays,
    OffsetTolerance,
    PointUncertainty,
)
from xlfuncs.science import calibration

CATEGORY = "Calibration"


@cell_function(
    CATEGORY,
    columns=(
        "offset",
        "slope",
        "standard uncertainty of offset",
        "standard uncertainty of slope",
        "residual standard deviation",
        "points",
    ),
)
def CALIBRATION_FIT(
    readings: CalibrationReadings,
    references: CalibrationReferences,
    u_reading: PointUncertainty = 0.1,
) -> object:
    """Offset and slope of an instrument from readings of known references.

    Gives offset, slope, their standard uncertainties, residual standard deviation (blank when no
    reading is left over), number of points.  One point, or references that spread over less than
    5 °Bx, give the offset alone: the slope stays 1 and its uncertainty 0, for it was not looked at.

    Formula: least squares of reading = offset + slope·reference; uncertainties from u_reading.

    Source: JCGM 100:2008, H.3.

    >>> [round(cell, 3) for cell in CALIBRATION_FIT([0.2, 10.3, 20.4], [0, 10, 20])[0][:3]]
    [0.2, 1.01, 0.091]
    """
    line = calibration.fit_line(readings, references, u_reading)
    return (line.offset, line.slope, line.u_offset, line.u_slope, line.residual, line.points)


@cell_function(CATEGORY)
def CALIBRATION_STATUS(
    offset: CheckedOffset,
    tolerance: OffsetTolerance,
    days_since_check: DaysSinceCheck,
    interval_days: IntervalDays,
) -> object:
    """What an instrument asks for: ok, adjust, check due, both, or not checked.

    `not checked` answers an instrument with tolerance and interval but without offset or days.

    Formula: adjust when |offset| > tolerance; check due when days_since_check > interval_days.

    Source: common practice; the interval is yours to set (ILAC-G24:2022 prescribes none).

    >>> CALIBRATION_STATUS(0.3, 0.2, 10, 30)
    'adjust'
    """
    return calibration.status(offset, tolerance, days_since_check, interval_days)
