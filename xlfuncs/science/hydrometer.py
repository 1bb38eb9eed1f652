"""The hydrometer, read at a temperature that is not its own."""

from __future__ import annotations

from xlfuncs.science import sucrose, water
from xlfuncs.science.arrays import Real

#: Cubic expansion of hydrometer glass per °C (ISO 1768:1975).
GLASS_EXPANSION = 25e-6

#: Cubic expansion of a plastic hydrometer per °C: three times the linear expansion of
#: polycarbonate or acrylic, 65e-6 to 75e-6 (memory; handbooks of plastics agree within a tenth).
PLASTIC_EXPANSION = 200e-6


def reading(
    plato: Real,
    temperature: Real,
    reference_temperature: Real = 20.0,
    water_temperature: Real | None = None,
    expansion: Real = GLASS_EXPANSION,
) -> Real:
    """What a hydrometer shows in a solution at a temperature.

    The scale is specific gravity at `reference_temperature` against water at `water_temperature`
    (the same unless given; 4 for a scale marked 20/4), in air.  The body has grown by `expansion`
    per °C, so the liquid's density appears as density·(1 + expansion·(t - reference)).
    Source: ISO 1768:1975 for the glass, SPS-4 for the liquid.

    - `plato`: extract of the sample, °Plato
    - `temperature`: of the sample, °C
    - `reference_temperature`: at which the scale holds, °C
    - `water_temperature`: of the water that it is against, °C
    - `expansion`: cubic, of the body, per °C

    >>> round(reading(12.39, 60.0), 4), round(reading(0.0, 20.0, 20.0, 4.0), 4)
    (1.0345, 0.9982)
    """
    if water_temperature is None:
        water_temperature = reference_temperature
    shown = sucrose.density(plato, temperature) * (
        1 + expansion * (temperature - reference_temperature)
    )
    return sucrose.apparent(shown, water.density(water_temperature))


def sg(
    reading_: Real,
    temperature: Real,
    reference_temperature: Real = 20.0,
    water_temperature: Real | None = None,
    expansion: Real = GLASS_EXPANSION,
) -> Real:
    """Specific gravity 20/20 of the solution from what the hydrometer shows; 0 to 70 °C.

    - `reading_`: what is shown on its own scale
    - `temperature`: of the sample, °C
    - `reference_temperature`: at which the scale holds, °C
    - `water_temperature`: of the water that it is against, °C
    - `expansion`: cubic, of the body, per °C

    >>> round(sg(1.0345, 60.0), 4), round(sg(1.0482, 20.0, 20.0, 4.0), 4)
    (1.05, 1.0501)
    """
    if water_temperature is None:
        water_temperature = reference_temperature
    shown = sucrose.from_apparent(reading_, water.density(water_temperature))
    density = shown / (1 + expansion * (temperature - reference_temperature))
    return sucrose.sg(sucrose.plato_at(density, temperature))
