"""The glass hydrometer, read at a temperature that is not its own."""

from __future__ import annotations

from xlfuncs.science import sucrose, water
from xlfuncs.science.arrays import Real, secant

#: Cubic expansion of hydrometer glass per °C (ISO 1768:1975).
GLASS_EXPANSION = 25e-6


def reading(plato: Real, temperature: Real, reference_temperature: Real = 20.0) -> Real:
    """What a hydrometer shows in a solution at a temperature.

    The scale is specific gravity at `reference_temperature` against water at the same temperature,
    in air.  The glass has grown by 25e-6 per °C, so the liquid's density appears as
    density·(1 + 25e-6·(t - reference)).  Source: ISO 1768:1975 for the glass, SPS-4 for the liquid.

    >>> round(reading(12.39, 60.0), 4)
    1.0345
    """
    shown = sucrose.density(plato, temperature) * (
        1 + GLASS_EXPANSION * (temperature - reference_temperature)
    )
    return sucrose.apparent(shown, water.density(reference_temperature))


def sg(reading_: Real, temperature: Real, reference_temperature: Real = 20.0) -> Real:
    """Specific gravity 20/20 of the solution from what the hydrometer shows; 0 to 70 °C.

    >>> round(sg(1.0345, 60.0), 4)
    1.05
    """
    first = sucrose.plato(reading_)
    shift = 0.015 * (temperature - reference_temperature) + 1e-3
    extract = secant(
        lambda x: reading(x, temperature, reference_temperature),
        reading_,
        first,
        first + shift,
        steps=6,
    )
    return sucrose.sg(extract)
