"""Calibration of instruments."""

from __future__ import annotations

import numpy as np

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    OFFSET,
    SLOPE,
    CalibrationReadings,
    CalibrationReferences,
    CheckedOffset,
    DaysSinceCheck,
    ExtractFraction,
    IntervalDays,
    OffsetTolerance,
    OffsetUncertainty,
    PointUncertainty,
    ReferenceUncertainties,
    SolutionMass,
    StandardGravity,
    WaterLitres,
)
from xlfuncs.cells.values import Refused
from xlfuncs.functions.volumes import refuse_weak_extract
from xlfuncs.science import calibration, standards
from xlfuncs.science.arrays import Real

CATEGORY = "Calibration"


@cell_function(CATEGORY, columns=("sucrose, g", "distilled water, g"))
def SUCROSE_STANDARD(target_sg: StandardGravity, solution_mass: SolutionMass) -> object:
    """Grams of sucrose and of distilled water for a reference solution of known gravity.

    Weigh both, the water too: the volumes of sugar and water do not add up.

    Formula: solution_mass·P/100 and the rest, P the °Plato of target_sg.

    Source: ICUMSA SPS-4.

    >>> [[round(grams, 1) for grams in SUCROSE_STANDARD(1.050, 1000)[0]]]
    [[123.8, 876.2]]
    """
    return standards.sucrose_standard(target_sg, solution_mass)


@cell_function(CATEGORY, columns=("dry malt extract, g", "standard uncertainty, SG"))
def MALT_EXTRACT_STANDARD(
    target_sg: StandardGravity,
    water_volume: WaterLitres,
    extract_fraction: ExtractFraction = 0.95,
) -> object:
    """Grams of dry malt extract for so much water, and the SG uncertainty that the extract leaves.

    The extract's moisture differs from pack to pack: its fraction has a standard uncertainty of
    0.01.  A solution of sucrose is surer; one of malt extract refracts as wort does.

    Formula: m_water·P/(100·extract_fraction - P); uncertainty 0.01·dSG/d(extract_fraction).

    Source: ICUMSA SPS-4; JCGM 100:2008, equation 10; the fraction by common practice.

    >>> grams, u = MALT_EXTRACT_STANDARD(1.050, 1)[0]
    >>> print(f"{grams:.1f} {u:.5f}")
    149.6 0.00055
    """
    grams, u = standards.malt_extract_standard(target_sg, water_volume, extract_fraction)
    return (
        refuse_weak_extract(grams, target_sg, extract_fraction),
        refuse_weak_extract(u, target_sg, extract_fraction),
    )


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
    whole=True,
)
def CALIBRATION_FIT(
    readings: CalibrationReadings,
    references: CalibrationReferences,
    u_reading: PointUncertainty = 0.1,
    u_references: ReferenceUncertainties = None,
) -> object:
    """Offset and slope of an instrument from readings of known references.

    Gives offset, slope, their standard uncertainties, residual standard deviation (blank when no
    reading is left over), number of points.  One point, or references that spread over less than
    5 °Bx, give the offset alone: the slope stays 1 and is uncertain by 0.01, for it was not looked
    at.  A solution of malt extract tells nothing of the slope: fit it, and water, apart.

    Formula: least squares of reading = offset + slope·reference, weighted by 1/(u_reading² +
    u_references²), from which the uncertainties follow.

    Source: JCGM 100:2008, H.3; 0.01 by common practice.

    >>> [round(cell, 3) for cell in CALIBRATION_FIT([0.2, 10.3, 20.4], [0, 10, 20])[0][:3]]
    [0.2, 1.01, 0.091]
    """
    u: Real = u_reading
    if u_references is not None:
        u = np.hypot(u_reading, np.nan_to_num(u_references))
    line = calibration.fit_line(readings, references, u)
    for name, value, limits in (("slope", line.slope, SLOPE), ("offset", line.offset, OFFSET)):
        if not limits.low <= value <= limits.high:
            raise Refused(
                f"{name} {value:.3g} is outside {limits.limits()}: check that each of the readings "
                "stands beside its own of the references"
            )
    return (line.offset, line.slope, line.u_offset, line.u_slope, line.residual, line.points)


@cell_function(CATEGORY)
def CALIBRATION_STATUS(
    offset: CheckedOffset,
    tolerance: OffsetTolerance,
    days_since_check: DaysSinceCheck,
    interval_days: IntervalDays,
    u_offset: OffsetUncertainty = 0,
) -> object:
    """What an instrument asks for: ok, probably ok, adjust, check due, or not checked.

    `ok` is wrong in 2.3 % of checks at most.  `probably ok`: the offset found is within the
    tolerance, but its ± reaches over; an instrument that is truly outside by u_offset is called so
    in 16 % of checks.  `check due` comes alone or with `adjust`; `not checked` answers an
    instrument with tolerance and interval but without offset or days.

    Formula: ok when |offset| + 2·u_offset ≤ tolerance; adjust when |offset| > tolerance; check due
    when days_since_check > interval_days.

    Source: JCGM 106:2012, 8.3; the interval is yours to set (ILAC-G24:2022 prescribes none).

    >>> CALIBRATION_STATUS(0.3, 0.2, 10, 30), CALIBRATION_STATUS(0.1, 0.2, 10, 30, 0.08)
    ('adjust', 'probably ok')
    """
    return calibration.status(offset, tolerance, days_since_check, interval_days, u_offset)
