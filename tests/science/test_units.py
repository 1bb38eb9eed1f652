from itertools import permutations

import numpy as np
import pint
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from tests.published import Table
from xlfuncs.science import sucrose, units

UNITS = units.UNITS
PAIRS = [
    (one, other) for one, other in permutations(UNITS, 2) if UNITS[one].kind == UNITS[other].kind
]
REGISTRY = pint.UnitRegistry()
IN_PINT = {
    "mL": "milliliter",
    "L": "liter",
    "hL": "hectoliter",
    "US gal": "gallon",
    "imp gal": "imperial_gallon",
    "US qt": "quart",
    "imp qt": "imperial_quart",
    "US bbl": "beer_barrel",
    "UK bbl": "imperial_barrel",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
    "C": "degC",
    "F": "degF",
    "K": "kelvin",
    "kPa": "kilopascal",
    "bar": "bar",
    "psi": "psi",
}


def test_factors():
    table = Table("unit_factors")
    answers = [units.convert(1.0, row["from"], row["to"]) for row in table.rows]
    table.hold(np.array(answers) / table["factor"] - 1)


@pytest.mark.parametrize("unit", UNITS.values(), ids=UNITS)
def test_all_units_of_a_kind_end_at_the_same(unit):
    """Absolute zero, or nothing at all, is taken in each; so is the most, a round number of one."""
    one = next(one for one in UNITS.values() if one.kind == unit.kind and one.factor == 1)
    least = -273.15 if unit.kind == "temperature" else 0.0
    assert unit.low <= units.convert(least, one.name, unit.name)
    assert units.convert(float(f"{one.high:.5g}"), one.name, unit.name) <= unit.high


def test_points():
    table = Table("unit_points")
    answers = [units.convert(float(row["value"]), row["from"], row["to"]) for row in table.rows]
    table.hold((np.array(answers) - table["expected"]) / np.maximum(1, np.abs(table["expected"])))


@pytest.mark.parametrize(("one", "other"), [pair for pair in PAIRS if set(pair) <= IN_PINT.keys()])
def test_against_pint(one, other):
    expected = REGISTRY.Quantity(37.0, IN_PINT[one]).to(IN_PINT[other]).magnitude
    assert units.convert(37.0, one, other) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize(
    ("one", "other", "factor"),
    [
        ("US gal", "L", scipy.constants.gallon * 1000),
        ("imp gal", "L", scipy.constants.gallon_imp * 1000),
        ("lb", "kg", scipy.constants.pound),
        ("oz", "kg", scipy.constants.ounce),
        ("psi", "kPa", scipy.constants.psi / 1000),
        ("bar", "kPa", scipy.constants.bar / 1000),
    ],
)
def test_against_scipy_constants(one, other, factor):
    assert units.convert(1.0, one, other) == pytest.approx(factor, rel=1e-12)


def test_a_volume_of_carbon_dioxide_is_an_ideal_gas():
    moles = scipy.constants.atm / scipy.constants.R / 273.15 / 1000  # per litre
    assert units.convert(1.0, "volumes", "g/L") == pytest.approx(44.0095 * moles, rel=1e-8)


def test_one_pound_of_sucrose_in_a_gallon_is_its_potential():
    potential = units.convert(100.0, "% of sucrose", "points·gal/lb")
    assert potential == pytest.approx(46.2, abs=0.05)
    plato = sucrose.plato(1 + potential / 1000)
    grams_per_litre = plato / 100 * sucrose.density(plato)
    assert grams_per_litre == pytest.approx(1000 * scipy.constants.pound / 3.785411784, rel=1e-10)


@pytest.mark.parametrize(("one", "other"), PAIRS)
@given(share=st.floats(0, 1))
def test_every_pair_there_and_back(one, other, share):
    unit = UNITS[one]
    value = unit.low + share * (unit.high - unit.low)
    back = units.convert(units.convert(value, one, other), other, one)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("name", UNITS)
def test_a_unit_into_itself_changes_nothing(name):
    assert units.convert(12.345, name, name) == 12.345


def test_the_largest_amount_that_is_taken():
    """What no brewery reaches; a hair more for what rounding makes of it, and nothing beyond."""
    largest = {
        "volume": (1e9, "L"),
        "mass": (1e9, "kg"),
        "temperature": (1e4, "C"),
        "colour": (1e4, "SRM"),
        "extract potential": (500.0, "PPG"),
        "pressure": (1e6, "kPa"),
        "dissolved CO2": (100.0, "g/L"),
    }
    assert largest.keys() == {unit.kind for unit in UNITS.values()}
    for kind, (amount, _) in largest.items():
        for unit in UNITS.values():
            if unit.kind == kind:
                assert unit.high * unit.factor + unit.offset == pytest.approx(amount, rel=1e-6)
                assert unit.high * unit.factor + unit.offset > amount
