"""Blending, dilution, volumes."""

from __future__ import annotations

from typing import Any

import numpy as np

from xlfuncs.cells.boundary import refuse
from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    BlendAbvs,
    BlendGravities,
    BlendTarget,
    BlendVolumes,
    ExtractFraction,
    FirstGravity,
    KnownBlendGravities,
    SecondGravity,
    SpecificGravity,
    TargetGravity,
    ThinnerGravity,
    ToTemperature,
    Volume,
    VolumeTemperature,
    WortGravity,
    WortLitres,
    WortVolume,
)
from xlfuncs.cells.values import Refused, show, show_sg
from xlfuncs.science import blending, sucrose
from xlfuncs.science.arrays import Array, Real
from xlfuncs.science.blending import SAME_SG

CATEGORY = "Blending, dilution, volumes"


def _something(volumes: Array) -> Array:
    """The volumes of a blend; an empty blend has no gravity."""
    if not volumes.any():
        raise Refused("volumes add up to 0: there is nothing to blend")
    return volumes


@cell_function(CATEGORY, whole=True)
def BLEND_SG(volumes: BlendVolumes, sgs: BlendGravities) -> Real:
    """Specific gravity of several worts or waters mixed.

    Volumes at 20 °C, in any one unit; rows with a blank are left out.

    Formula: Σ V·ρ·P / Σ V·ρ gives the °P of the blend (ρ density, P °Plato of each part).

    Source: conservation of mass and extract; densities of ICUMSA SPS-4.

    >>> round(BLEND_SG([10, 20], [1.040, 1.060]), 4)
    1.0533
    """
    return blending.blend(_something(volumes), sgs).sg


@cell_function(CATEGORY, whole=True)
def BLEND_VOLUME(volumes: BlendVolumes, sgs: BlendGravities) -> Real:
    """Volume at 20 °C of several worts or waters mixed; a little less than their sum.

    Volumes at 20 °C, in any one unit; rows with a blank are left out.

    Formula: Σ V·ρ / ρ of the blend.

    Source: conservation of mass and extract; densities of ICUMSA SPS-4.

    >>> round(BLEND_VOLUME([10, 10], [1.000, 1.100]), 3)
    19.995
    """
    return blending.blend(_something(volumes), sgs).volume


@cell_function(CATEGORY, whole=True)
def BLEND_ABV(volumes: BlendVolumes, abvs: BlendAbvs, sgs: KnownBlendGravities = None) -> Real:
    """ABV of a blend of beers: the ethanol of all in the volume of the blend.

    With the beers' own specific gravities the volume of the blend is BLEND_VOLUME, else the sum.
    What ethanol adds to a volume on mixing is left out: less than 0.1 % of the answer.

    Formula: Σ V·ABV / volume of the blend.

    Source: conservation of ethanol; densities of ICUMSA SPS-4.

    >>> BLEND_ABV([10, 30], [8, 4])
    5.0
    """
    # What is not known is not equal to itself; so a formula can be recorded from it too.
    unknown = 0 if sgs is None else int(sgs.size - np.sum(sgs == sgs))
    if unknown:
        raise Refused(f"sgs lack {unknown} of {volumes.size}: give all of them, or none")
    return blending.blend_abv(_something(volumes), abvs, sgs)


@cell_function(CATEGORY)
def BLEND_SHARE(sg_a: FirstGravity, sg_b: SecondGravity, target_sg: BlendTarget) -> Any:
    """Share of A, by volume before mixing, in the blend of A and B that hits the target.

    Formula: ρ_B·(P - P_B) / (ρ_B·(P - P_B) + ρ_A·(P_A - P)).

    Source: conservation of mass and extract; densities of ICUMSA SPS-4.

    >>> round(BLEND_SHARE(1.060, 1.040, 1.048), 3)
    0.4
    """
    share = np.clip(blending.share(sg_a, sg_b, target_sg), 0, 1)
    low, high = np.minimum(sg_a, sg_b), np.maximum(sg_a, sg_b)
    beside = (target_sg < low - SAME_SG) | (target_sg > high + SAME_SG)
    share = refuse(
        share,
        beside,
        lambda a, b, target: (
            f"target_sg {show_sg(target)} is not between sg_a {show_sg(a)} and sg_b {show_sg(b)}"
        ),
        sg_a,
        sg_b,
        target_sg,
    )
    return refuse(
        share,
        (high - low <= SAME_SG) & ~beside,
        lambda sg: f"sg_a and sg_b are both {show_sg(sg)}: every share gives that",
        sg_a,
    )


@cell_function(CATEGORY)
def DILUTION_WATER(volume: WortVolume, sg: WortGravity, target_sg: ThinnerGravity) -> Any:
    """Water to add to wort to bring it down to the target.

    Volumes at 20 °C, in any one unit.

    Formula: V·ρ/ρ_water·(P - P_target)/P_target.

    Source: conservation of extract; densities of ICUMSA SPS-4.

    >>> round(DILUTION_WATER(20, 1.060, 1.050), 2)
    4.02
    """
    return refuse(
        np.maximum(blending.water_to_add(volume, sg, target_sg), 0.0),
        target_sg - sg > SAME_SG,
        lambda target, now: (
            f"target_sg {show_sg(target)} is above the {show_sg(now)} of the wort: "
            "water cannot raise a gravity"
        ),
        target_sg,
        sg,
    )


@cell_function(CATEGORY)
def BOIL_OFF_VOLUME(volume: WortVolume, sg: WortGravity, target_sg: TargetGravity) -> Any:
    """Water to boil away from wort to bring it up to the target.

    Volumes at 20 °C, in any one unit: the steam counted as water.

    Formula: V·ρ/ρ_water·(P_target - P)/P_target.

    Source: conservation of extract; densities of ICUMSA SPS-4.

    >>> round(BOIL_OFF_VOLUME(25, 1.045, 1.050), 2)
    2.51
    """
    # 0.0 - x, for -x would show a target already reached as -0.
    boiled = np.maximum(0.0 - blending.water_to_add(volume, sg, target_sg), 0.0)
    return refuse_boil(boiled, sg, target_sg)


def refuse_boil(result: Any, sg: Real, target_sg: Real) -> Any:
    """The result, with a text for each target that no boil reaches."""
    result = refuse(
        result,
        sg - target_sg > SAME_SG,
        lambda target, now: (
            f"target_sg {show_sg(target)} is below the {show_sg(now)} of the wort: "
            "boiling cannot lower a gravity"
        ),
        target_sg,
        sg,
    )
    return refuse(
        result,
        (sg + 0 * target_sg <= 1) & (target_sg - sg > SAME_SG),
        lambda target: f"target_sg {show_sg(target)} is out of reach: sg 1.000 holds no extract",
        target_sg,
    )


@cell_function(CATEGORY)
def EXTRACT_TO_ADD(
    volume: WortLitres,
    sg: WortGravity,
    target_sg: TargetGravity,
    extract_fraction: ExtractFraction = 0.95,
) -> Any:
    """Kilograms of dry malt extract, or of sugar (fraction 1), that bring wort up to the target.

    Volume in litres at 20 °C; it grows by about 0.64 L for each kilogram dissolved.

    Formula: m·(P_target - P)/(100·extract_fraction - P_target), m the mass of the wort.

    Source: conservation of mass and extract; densities of ICUMSA SPS-4.

    >>> round(EXTRACT_TO_ADD(20, 1.040, 1.050), 2)
    0.6
    """
    added = refuse(
        np.maximum(blending.extract_to_add(volume, sg, target_sg, extract_fraction), 0.0),
        sg - target_sg > SAME_SG,
        lambda target, now: (
            f"target_sg {show_sg(target)} is below the {show_sg(now)} of the wort: "
            "extract cannot lower a gravity"
        ),
        target_sg,
        sg,
    )
    return refuse_weak_extract(added, target_sg, extract_fraction)


def refuse_weak_extract(result: Any, target_sg: Real, extract_fraction: Real) -> Any:
    """The result, with a text for each target that the extract itself does not have."""
    return refuse(
        result,
        np.logical_not(blending.strong_enough(target_sg, extract_fraction)),
        lambda target, fraction: (
            f"target_sg {show_sg(target)} is out of reach of extract_fraction {show(fraction)}, "
            f"which by itself has {sucrose.sg(100 * fraction):.3f}"
        ),
        target_sg,
        extract_fraction,
    )


@cell_function(CATEGORY)
def EXTRACT_MASS(volume: WortLitres, sg: WortGravity) -> Real:
    """Kilograms of extract in so many litres of wort at 20 °C.

    Formula: V·ρ·P/100.

    Source: densities of ICUMSA SPS-4.

    >>> round(EXTRACT_MASS(20, 1.050), 3)
    2.596
    """
    return blending.extract_mass(volume, sg)


@cell_function(CATEGORY)
def VOLUME_AT(
    volume: Volume,
    temperature: VolumeTemperature,
    to_temperature: ToTemperature = 20,
    sg: SpecificGravity = 1.05,
) -> Real:
    """The same wort's volume at another temperature; boiling wort shrinks about 4 % to 20 °C.

    The mass stays; steam, spills and what clings to the kettle are not counted.

    Formula: volume · ρ(extract, temperature)/ρ(extract, to_temperature).

    Source: ICUMSA SPS-4, 0 to 100 °C.

    >>> round(VOLUME_AT(25, 100), 2)
    24.0
    """
    plato = sucrose.plato(sg)
    return volume * sucrose.density(plato, temperature) / sucrose.density(plato, to_temperature)
