"""The kettle: what the mash gave, what a boil makes of it, and what can be done about it.

Volumes and the boil-off rate are at 20 °C.  Boiling takes pure water away; the extract stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from xlfuncs.science import blending, sucrose
from xlfuncs.science.arrays import Real
from xlfuncs.science.blending import SAME_SG


def mash_efficiency(
    volume: Real, sg: Real, grain_mass: Real, extract_potential: Real = 0.80
) -> Real:
    """Percent of the grain's laboratory extract that is in so many litres of wort.

    - `volume`: of the wort at 20 °C, L
    - `sg`: of the wort, SG 20/20
    - `grain_mass`: as weighed, kg
    - `extract_potential`: kg of laboratory extract in a kg of the grain as it is

    >>> round(mash_efficiency(25.0, 1.048, 5.0), 1)
    77.9
    """
    return 100 * blending.extract_mass(volume, sg) / (grain_mass * extract_potential)


def boil_minutes(volume: Real, sg: Real, target_sg: Real, boil_off_per_hour: Real) -> Real:
    """Minutes of boiling that bring wort to the target; negative where the target is lower.

    - `volume`: in the kettle, at 20 °C, in any one unit
    - `sg`: in the kettle, SG 20/20
    - `target_sg`: wanted, SG 20/20
    - `boil_off_per_hour`: water at 20 °C boiled away in an hour, in the same unit

    >>> round(boil_minutes(25.0, 1.045, 1.050, 3.0), 1)
    50.2
    """
    # 0.0 - x, for -x would show a target already reached as -0.
    return 60 * (0.0 - blending.water_to_add(volume, sg, target_sg)) / boil_off_per_hour


#: Cubic expansion of a kettle of stainless steel per °C: three times 16e-6 (EN 10088-1 for 1.4301;
#: memory).  Of aluminium it is about 70e-6.
STEEL_EXPANSION = 48e-6


@dataclass(frozen=True)
class Option:
    """One thing that can be done; where it cannot, `hindrance` says why and the numbers are NaN."""

    name: str
    amount: float
    unit: str
    sg: float
    volume: float
    hindrance: str = ""


def options(
    volume: float,
    sg: float,
    target_volume: float,
    target_sg: float,
    boil_off_per_hour: float,
    extract_fraction: float = 0.95,
) -> tuple[Option, Option, Option, Option]:
    """What can be done to wort in the kettle, and the gravity and volume that each ends at.

    Boil longer or shorter: minutes more or less than planned, so that it ends at the target.  Add
    dry extract: kilograms, dissolved after the planned boil.  Add water: litres, after the planned
    boil.  Leave it: minutes of the planned boil, and what it ends at.  Where no more than
    `target_volume` is left, no boil is planned.

    - `volume`: in the kettle now, at 20 °C, L
    - `sg`: in the kettle now, SG 20/20
    - `target_volume`: at which the boil is planned to end, at 20 °C, L
    - `target_sg`: at which it ought to end, SG 20/20
    - `boil_off_per_hour`: water at 20 °C boiled away in an hour, L
    - `extract_fraction`: kg of extract in a kg of dry extract

    >>> boil, extract, water, leave = options(27.0, 1.045, 23.0, 1.055, 4.0)
    >>> boil.name, round(boil.amount), round(extract.amount, 2), water.hindrance[-28:]
    ('boil longer', 14, 0.15, 'water cannot raise a gravity')
    """
    planned_volume = min(volume, target_volume)
    planned_sg = float(blending.sg_at_volume(volume, sg, planned_volume))
    boiled = (
        volume * sucrose.from_apparent(sg) - planned_volume * sucrose.from_apparent(planned_sg)
    ) / sucrose.WATER_20
    minutes = 60 * float(boiled) / boil_off_per_hour
    if abs(planned_sg - target_sg) <= SAME_SG:
        planned_sg = target_sg
    end = f"the {planned_sg:.4f} that the planned boil ends at"
    ends = (target_sg, float(blending.volume_at_sg(volume, sg, target_sg)))

    def hindered(name: str, unit: str, why: str) -> Option:
        return Option(name, math.nan, unit, math.nan, math.nan, why)

    if sg > target_sg + SAME_SG:
        boil = hindered(
            "boil shorter",
            "min",
            f"target_sg {target_sg:.4f} is below the {sg:.4f} of the wort: "
            "boiling cannot lower a gravity",
        )
    elif sg <= 1:
        boil = hindered("boil longer", "min", "sg 1.0000 holds no extract: boiling keeps it")
    else:
        name = "boil longer" if planned_sg < target_sg else "boil shorter"
        change = float(boil_minutes(volume, sg, target_sg, boil_off_per_hour)) - minutes
        boil = Option(name, abs(change) if planned_sg != target_sg else 0.0, "min", *ends)

    if planned_sg > target_sg:
        extract = hindered(
            "add dry extract",
            "kg",
            f"target_sg {target_sg:.4f} is below {end}: extract cannot lower a gravity",
        )
    elif not blending.strong_enough(target_sg, extract_fraction):
        extract = hindered(
            "add dry extract",
            "kg",
            f"target_sg {target_sg:.4f} is out of reach of extract_fraction {extract_fraction:.4g}",
        )
    else:
        kilograms = float(
            blending.extract_to_add(planned_volume, planned_sg, target_sg, extract_fraction)
        )
        strengthened = blending.after_extract(
            planned_volume, planned_sg, kilograms, extract_fraction
        )
        extract = Option("add dry extract", kilograms, "kg", target_sg, float(strengthened.volume))

    if planned_sg < target_sg:
        water = hindered(
            "add water",
            "L",
            f"target_sg {target_sg:.4f} is above {end}: water cannot raise a gravity",
        )
    else:
        litres = float(blending.water_to_add(planned_volume, planned_sg, target_sg))
        water = Option("add water", litres, "L", *ends)

    return boil, extract, water, Option("leave it", minutes, "min", planned_sg, planned_volume)
