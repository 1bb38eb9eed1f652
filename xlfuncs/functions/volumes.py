"""Blending, dilution, volumes."""

from __future__ import annotations

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import SpecificGravity, ToTemperature, Volume, VolumeTemperature
from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real

CATEGORY = "Blending, dilution, volumes"


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
