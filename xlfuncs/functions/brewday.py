"""Brew day: mash, runoff, boil, and whether it is on target."""

from __future__ import annotations

from typing import Any

import numpy as np

from xlfuncs.cells.boundary import refuse
from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    BoilMinutes,
    BoilOff,
    ExtractPotential,
    GrainMass,
    KettleBoilOff,
    KettleExtract,
    KettleGravity,
    KettleLitres,
    KettleTarget,
    LevelUncertainty,
    LimitGravity,
    Measured,
    MeasuredUncertainty,
    RunoffGravities,
    RunoffVolumes,
    ShareUncertainty,
    Target,
    TargetGravity,
    TargetLitres,
    Tolerance,
    WortGravity,
    WortLitres,
    WortVolume,
)
from xlfuncs.cells.values import MARK, Refused, show, show_sg
from xlfuncs.functions.volumes import refuse_boil
from xlfuncs.science import blending, conformity, kettle, runoff, sucrose
from xlfuncs.science.blending import HIGHEST_SG

CATEGORY = "Brew day"

#: Percent; malt that yields more than its laboratory says is a slip in one of the figures.
_HIGHEST_EFFICIENCY = 120.0


@cell_function(CATEGORY)
def MASH_EFFICIENCY(
    volume: WortLitres,
    sg: WortGravity,
    grain_mass: GrainMass,
    extract_potential: ExtractPotential = 0.80,
) -> Any:
    """Percent of the grain's laboratory extract that is in the kettle.

    Volume in litres at 20 °C.

    Formula: 100·V·ρ·P/100 / (grain_mass·extract_potential).

    Source: conservation of extract; densities of ICUMSA SPS-4.  0.80 for pale malt is common
    practice; the maltster's analysis is better.

    >>> round(MASH_EFFICIENCY(25, 1.048, 5), 1)
    77.9
    """
    efficiency = kettle.mash_efficiency(volume, sg, grain_mass, extract_potential)
    return refuse(
        efficiency,
        efficiency > _HIGHEST_EFFICIENCY,
        lambda percent: (
            f"efficiency {percent:.4g} % is more than the grain holds: check volume (litres), sg, "
            "grain_mass (kg) and extract_potential"
        ),
        efficiency,
    )


@cell_function(CATEGORY, columns=("volume", "standard uncertainty"), whole=True)
def RUNOFF_VOLUME(
    volumes: RunoffVolumes,
    sgs: RunoffGravities,
    limit_sg: LimitGravity = 1.010,
    u_level: LevelUncertainty = runoff.LEVEL_U,
    u_share: ShareUncertainty = runoff.SHARE_U,
) -> object:
    """Collected volume at which the runoff will fall to the limit, and its standard uncertainty.

    Volumes in any one unit, rows in any order; rows with a blank are left out, and so are readings
    of first wort, which do not fall yet, and one reading that does not belong to the others.  Twice
    the uncertainty covers about 95 %; u_level and u_share are what all readings have in common:
    calibration, wort factor.

    Formula: least squares of °P = °P_limit·exp((volume - v)/scale) over the readings; uncertainty
    from their scatter, from all of them moved by u_level, and scale·u_share.

    Source: the exponential wash-out of a mixed bed; JCGM 100:2008, 5.2 and G.3 (Student's t); the
    limit by common practice (1.008 to 1.012).

    >>> [[volume, u]] = RUNOFF_VOLUME([5, 10, 15, 20], [1.062, 1.045, 1.0325, 1.0235])
    >>> print(f"{volume:.1f} {u:.1f}")
    33.6 0.5
    """
    readings = runoff.different(volumes)
    if readings < runoff.LEAST_READINGS:
        raise Refused(
            f"readings at {readings} different volumes are too few to see how the runoff falls: "
            f"{runoff.LEAST_READINGS} or more are needed"
        )
    limit = float(sucrose.plato(limit_sg))
    level = float(sucrose.plato(limit_sg + u_level)) - limit
    plato: Any = sucrose.plato(sgs)
    curve = runoff.fit(volumes, plato, limit, level, u_share)
    if curve is None:
        first, last = (
            show_sg(runoff.at_volume(end(volumes), volumes, sgs)) for end in (np.min, np.max)
        )
        raise Refused(f"sgs do not fall as the volume grows (first {first}, last {last})")
    if curve.volume <= 0:
        raise Refused(f"limit_sg {show_sg(limit_sg)} is above the runoff from its very start")
    if np.isinf(curve.uncertainty):
        raise Refused(
            f"sgs have only begun to fall after {curve.plateau} readings of first wort: one more "
            "reading is needed"
        )
    if 2 * curve.uncertainty >= curve.volume:
        raise Refused(
            f"sgs scatter too much, or fall too little, to tell when limit_sg {show_sg(limit_sg)} "
            "is reached"
        )
    return (curve.volume, curve.uncertainty)


@cell_function(CATEGORY)
def BOIL_SG(
    volume: WortVolume, sg: WortGravity, minutes: BoilMinutes, boil_off_per_hour: BoilOff
) -> Any:
    """Specific gravity after so many minutes of boiling.

    Volume and boil-off at 20 °C, in any one unit.

    Formula: °P = P·m/(m - ρ_water·minutes/60·boil_off_per_hour), m = V·ρ.

    Source: conservation of extract; densities of ICUMSA SPS-4.

    >>> round(BOIL_SG(25, 1.045, 60, 3), 4)
    1.0511
    """
    boiled = minutes / 60 * boil_off_per_hour
    after = blending.after_water(volume, sg, -boiled)
    spent = np.greater_equal(boiled, volume)
    beyond = ~spent & ~np.less_equal(after, HIGHEST_SG)
    after = refuse(
        after,
        spent,
        lambda off, volume, minutes, rate: (
            f"boil-off {show(off)} ({show(minutes)} minutes at {show(rate)} an hour) "
            f"is not below volume {show(volume)}"
        ),
        boiled,
        volume,
        minutes,
        boil_off_per_hour,
    )
    return refuse(
        after,
        beyond,
        lambda off, volume: (
            f"boil-off {show(off)} of volume {show(volume)} leaves wort above {HIGHEST_SG}"
        ),
        boiled,
        volume,
    )


@cell_function(CATEGORY)
def BOIL_MINUTES(
    volume: WortVolume, sg: WortGravity, target_sg: TargetGravity, boil_off_per_hour: BoilOff
) -> Any:
    """Minutes of boiling that bring wort up to the target.

    Volume and boil-off at 20 °C, in any one unit.

    Formula: 60·BOIL_OFF_VOLUME/boil_off_per_hour.

    Source: conservation of extract; densities of ICUMSA SPS-4.

    >>> round(BOIL_MINUTES(25, 1.045, 1.050, 3), 1)
    50.2
    """
    minutes = kettle.boil_minutes(volume, sg, target_sg, boil_off_per_hour)
    return refuse_boil(np.maximum(minutes, 0.0), sg, target_sg)


@cell_function(CATEGORY)
def TARGET_CHECK(
    measured: Measured, target: Target, tolerance: Tolerance, u: MeasuredUncertainty = 0
) -> object:
    """Whether a measured value meets its target: on target, low or high, if need be `probably`.

    Without `probably` it is wrong in 2.3 % of cases at most (4.6 % for `on target`, where a limit
    on both sides is just 2u away).  `probably on target`, `probably low` and `probably high` say on
    which side the figure lies though its ± reaches over the limit: wrong in 31 % at most.  `too
    close to call` is left for figures within u/2 of a limit, and for those within the tolerance
    when 2u is wider than it: measure again, or better, before you act on it.

    Formula: on target when measured ± 2u lies within target ± tolerance; low or high when it lies
    wholly outside; else by the side on which measured lies, unless within u/2 of the limit.

    Source: JCGM 106:2012, 8.3 (guarded decision rule) and clause 7 (conformance probability).

    >>> TARGET_CHECK(1.047, 1.050, 0.002, 0.001), TARGET_CHECK(1.0478, 1.050, 0.002, 0.001)
    ('probably low', 'too close to call')
    """
    return conformity.verdict(measured, target, tolerance, u)


@cell_function(
    CATEGORY, columns=("option", "amount", "unit", "SG it ends at", "volume it ends at"), whole=True
)
def KETTLE_OPTIONS(
    volume: KettleLitres,
    sg: KettleGravity,
    target_volume: TargetLitres,
    target_sg: KettleTarget,
    boil_off_per_hour: KettleBoilOff,
    extract_fraction: KettleExtract = 0.95,
) -> object:
    """What can be done about the wort in the kettle, and the gravity and volume each ends at.

    Planned is the boil from volume to target_volume; none, where no more than that is left.  Rows:
    boil longer or shorter than planned (minutes), so that it ends at target_sg; add dry extract
    (kg) after the planned boil; add water (L) after it; leave it (the planned minutes).  What
    cannot be done says why in place of the amount.  Litres at 20 °C; compare the volume at the end
    with what your kettle holds.

    Formula: BOIL_MINUTES, EXTRACT_TO_ADD, DILUTION_WATER from what the planned boil ends at.

    Source: conservation of mass and extract; densities of ICUMSA SPS-4.

    >>> boil, extract, water, leave = KETTLE_OPTIONS(27, 1.045, 23, 1.050, 4)
    >>> print(f"{boil[0]} {boil[1]:.1f} {boil[2]}: {boil[3]:.4f}, {boil[4]:.2f} L")
    boil shorter 19.3 min: 1.0500, 24.29 L
    >>> extract[1][:60]
    '! target_sg 1.0500 is below the 1.0528 that the planned boil'
    """
    end = blending.sg_at_volume(volume, sg, min(volume, target_volume))
    if not end <= HIGHEST_SG:
        raise Refused(
            f"target_volume {show(target_volume)} is too small for volume {show(volume)} of sg "
            f"{show_sg(sg)}: the boil would end above {HIGHEST_SG}"
        )
    options = kettle.options(
        volume, sg, target_volume, target_sg, boil_off_per_hour, extract_fraction
    )
    return [
        (
            option.name,
            MARK + option.hindrance if option.hindrance else option.amount,
            option.unit,
            option.sg,
            option.volume,
        )
        for option in options
    ]
