"""Gravity and units."""

from __future__ import annotations

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import Amount, FromScale, FromUnit, GravityValue, ToScale, ToUnit
from xlfuncs.cells.values import Refused
from xlfuncs.science import gravity, units
from xlfuncs.science.arrays import Real

CATEGORY = "Gravity and units"


@cell_function(CATEGORY)
def GRAVITY_CONVERT(value: GravityValue, from_scale: FromScale, to_scale: ToScale) -> Real:
    """A gravity from one scale to another: SG, Plato, Brix, Points, Density, Index, Baume and more.

    All scales are tied to grams of sucrose per 100 g of solution at 20 °C.  Case does not matter,
    and the usual short forms (°P, °Bx, GP, nD, °Oe, g/L) are taken.

    Formula: density of sucrose solution at 20 °C, apparent SG = (ρ - ρ_air)/(ρ_water - ρ_air);
    inverses by Newton steps.

    Source: ICUMSA SPS-4 (density), ICUMSA 1974 scale (index); Baumé 145 - 145/SG (NBS C440).

    >>> round(GRAVITY_CONVERT(1.048, "SG", "Plato"), 2)
    11.91
    """
    return gravity.convert(value, from_scale, to_scale)


@cell_function(CATEGORY)
def UNIT_CONVERT(value: Amount, from_unit: FromUnit, to_unit: ToUnit) -> Real:
    """A volume, mass, temperature, colour, extract potential, pressure or CO2 in another unit.

    The two units must be of the same kind.

    Formula: factor·value + offset to the base unit of the kind, and back.

    Source: NIST Handbook 44, appendix C; Weights and Measures Act 1985; CODATA 2018 (volumes of
    CO2).  Colour and extract potential by common practice.

    >>> UNIT_CONVERT(5, "gal", "L")
    18.92705892
    """
    kinds = units.UNITS[from_unit].kind, units.UNITS[to_unit].kind
    if kinds[0] != kinds[1]:
        raise Refused(
            f"to_unit {to_unit} measures {kinds[1]}, but from_unit {from_unit} measures {kinds[0]}"
        )
    return units.convert(value, from_unit, to_unit)
