"""Units of the brewhouse as linear maps to one base unit per kind."""

from __future__ import annotations

from dataclasses import dataclass

from xlfuncs.science import gravity
from xlfuncs.science.arrays import Real

LITRES_PER_US_GALLON = 3.785411784  # 231 in³, exact (NIST HB 44, appendix C)
LITRES_PER_IMPERIAL_GALLON = 4.54609  # exact (Weights and Measures Act 1985)
KILOGRAMS_PER_POUND = 0.45359237  # exact (1959)

#: L·°/kg for one point·gal/lb.
_POTENTIAL = LITRES_PER_US_GALLON / KILOGRAMS_PER_POUND


def _sucrose_potential() -> float:
    """Points·gal/lb of sucrose: one pound in one US gallon of solution at 20 °C."""
    per_litre = 1000 * KILOGRAMS_PER_POUND / LITRES_PER_US_GALLON
    return float(gravity.convert(per_litre, "Extract", "Points"))


# One volume of CO2 is the gas that fills the beer's own volume at 0 °C and 1 atm, taken as ideal:
# 44.0095 g/mol over 22.41396954 L/mol (CODATA 2018).
_CO2_GRAMS_PER_VOLUME = 44.0095 / 22.41396954


@dataclass(frozen=True)
class Unit:
    """One unit: value in the base unit of its kind = factor·value + offset."""

    name: str
    kind: str
    factor: float
    offset: float = 0.0
    spellings: tuple[str, ...] = ()

    @property
    def low(self) -> float:
        """Smallest value that is taken: none of it, or absolute zero."""
        return self._from_base(_SMALLEST.get(self.kind, 0.0) * (1 + _HAIR))

    @property
    def high(self) -> float:
        """Largest value that is taken: what no brewery reaches, so that a slip is seen."""
        return self._from_base(_LARGEST[self.kind] * (1 + _HAIR))

    def _from_base(self, value: float) -> float:
        return (value - self.offset) / self.factor


# All units of a kind end at the same, and a hair beyond for what rounding makes of it.
_HAIR = 1e-9

# In the base unit of each kind.
_SMALLEST = {"temperature": -273.15}
_LARGEST = {
    "volume": 1e9,
    "mass": 1e9,
    "temperature": 1e4,
    "colour": 1e4,
    "extract potential": 500.0,
    "pressure": 1e6,
    "dissolved CO2": 100.0,
}

UNITS = {
    unit.name: unit
    for unit in (
        Unit("mL", "volume", 1e-3, spellings=("millilitre", "milliliter", "cc")),
        Unit("L", "volume", 1.0, spellings=("litre", "liter", "litres", "liters")),
        Unit("hL", "volume", 100.0, spellings=("hectolitre", "hectoliter")),
        Unit(
            "US gal",
            "volume",
            LITRES_PER_US_GALLON,
            spellings=("gal", "gallon", "gallons", "gal (US)", "US gallon", "gal US"),
        ),
        Unit(
            "imp gal",
            "volume",
            LITRES_PER_IMPERIAL_GALLON,
            spellings=("imperial gallon", "UK gal", "UK gallon", "gal (imp)", "gal imp"),
        ),
        Unit(
            "US qt",
            "volume",
            LITRES_PER_US_GALLON / 4,
            spellings=("qt", "quart", "quarts", "US quart"),
        ),
        Unit(
            "imp qt",
            "volume",
            LITRES_PER_IMPERIAL_GALLON / 4,
            spellings=("imperial quart", "UK qt", "UK quart"),
        ),
        Unit(
            "US bbl",
            "volume",
            31 * LITRES_PER_US_GALLON,
            spellings=("bbl", "barrel", "US beer barrel", "beer barrel", "US barrel"),
        ),
        Unit(
            "UK bbl",
            "volume",
            36 * LITRES_PER_IMPERIAL_GALLON,
            spellings=("UK beer barrel", "imp bbl", "UK barrel", "imperial barrel"),
        ),
        Unit("g", "mass", 1e-3, spellings=("gram", "grams")),
        Unit("kg", "mass", 1.0, spellings=("kilogram", "kilograms")),
        Unit("oz", "mass", KILOGRAMS_PER_POUND / 16, spellings=("ounce", "ounces")),
        Unit("lb", "mass", KILOGRAMS_PER_POUND, spellings=("lbs", "pound", "pounds")),
        Unit("C", "temperature", 1.0, spellings=("°C", "celsius", "degC")),
        Unit(
            "F",
            "temperature",
            5 / 9,
            -160 / 9,
            spellings=("°F", "fahrenheit", "degF"),
        ),
        Unit("K", "temperature", 1.0, -273.15, spellings=("kelvin",)),
        Unit("SRM", "colour", 1.0, spellings=("°SRM",)),
        # ASBC Beer-10 against EBC 9.6, as both trades round it.
        Unit("EBC", "colour", 1 / 1.97, spellings=("°EBC",)),
        # The usual straight line between the two American colour units; below 0.6 °L it would
        # give a negative colour.
        Unit("Lovibond", "colour", 1.3546, -0.76, spellings=("°L", "degL")),
        Unit(
            "points·gal/lb",
            "extract potential",
            _POTENTIAL,
            spellings=("ppg", "points gal/lb", "points*gal/lb", "points per pound per gallon"),
        ),
        Unit(
            "L·°/kg",
            "extract potential",
            1.0,
            spellings=("L°/kg", "L*°/kg", "L.deg/kg", "Ldeg/kg", "LDK", "points·L/kg"),
        ),
        Unit(
            "% of sucrose",
            "extract potential",
            _sucrose_potential() * _POTENTIAL / 100,
            spellings=("%", "% sucrose", "percent", "percent of sucrose", "% extract"),
        ),
        Unit("kPa", "pressure", 1.0, spellings=("kilopascal",)),
        Unit("bar", "pressure", 100.0),
        Unit("psi", "pressure", 6.894757293168, spellings=("lbf/in2", "lb/in2")),
        Unit(
            "volumes",
            "dissolved CO2",
            _CO2_GRAMS_PER_VOLUME,
            spellings=("vol", "vols", "volumes CO2", "v/v"),
        ),
        Unit("g/L", "dissolved CO2", 1.0, spellings=("g/l CO2", "grams per litre")),
    )
}


def convert(value: Real, from_unit: str, to_unit: str) -> Real:
    """A quantity in another unit of the same kind; unit names are the keys of `UNITS`.

    >>> convert(5.0, "US gal", "L"), convert(68.0, "F", "C")
    (18.92705892, 20.0)
    """
    source, target = UNITS[from_unit], UNITS[to_unit]
    # Equal factors (K and C) are left alone: x·f/f need not give x back.
    ratio = source.factor / target.factor
    return value * ratio + (source.offset - target.offset) / target.factor
