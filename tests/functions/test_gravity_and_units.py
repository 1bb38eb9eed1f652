import re
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.science import gravity, units
from xlfuncs.udfs import GRAVITY_CONVERT, UNIT_CONVERT


@pytest.mark.parametrize("scale", gravity.SCALES.values(), ids=lambda scale: scale.name)
def test_every_spelling_of_a_scale(scale):
    value = (scale.low + scale.high) / 2
    expected = GRAVITY_CONVERT(value, scale.name, "SG")
    for spelling in scale.spellings:
        for word in (spelling, spelling.upper(), f" {spelling.lower()} "):
            assert GRAVITY_CONVERT(value, word, "SG") == expected


@pytest.mark.parametrize("unit", units.UNITS.values(), ids=lambda unit: unit.name)
def test_every_spelling_of_a_unit(unit):
    base = next(other.name for other in units.UNITS.values() if other.kind == unit.kind)
    expected = UNIT_CONVERT(2.0, unit.name, base)
    assert isinstance(expected, float)
    for spelling in unit.spellings:
        for word in (spelling, spelling.upper(), f" {spelling.lower()} "):
            assert UNIT_CONVERT(2.0, word, base) == expected


@pytest.mark.parametrize("table", [gravity.SCALES, units.UNITS], ids=["scales", "units"])
def test_no_spelling_stands_for_two(table):
    spellings = [
        spelling.casefold()
        for entry in table.values()
        for spelling in {word.casefold() for word in (entry.name, *entry.spellings)}
    ]
    assert len(spellings) == len(set(spellings))


def test_units_of_two_kinds():
    text = "! to_unit kg measures mass, but from_unit L measures volume"
    assert UNIT_CONVERT(5, "L", "kg") == text
    assert UNIT_CONVERT([[5], [None]], "L", "kg") == [[text], [""]]


def test_limits_follow_the_scale():
    assert GRAVITY_CONVERT(48, "SG", "Plato") == ("! value 48 is outside 0.98 to 1.206")
    assert GRAVITY_CONVERT(48, "Points", "SG") == pytest.approx(1.048)
    assert UNIT_CONVERT(-1, "L", "gal").startswith("! value -1 is outside 0 to ")
    assert UNIT_CONVERT(-1, "C", "F") == pytest.approx(30.2)


@given(st.lists(st.floats(0.982, 1.205), min_size=1, max_size=20))
def test_a_column_there_and_back(sgs):
    column = [[sg] for sg in sgs]
    there = GRAVITY_CONVERT(column, "SG", "nD")
    assert np.allclose(GRAVITY_CONVERT(there, "nD", "SG"), column, rtol=0, atol=1e-12)


PAIRS = [
    (table, one, other)
    for table in (gravity.SCALES, units.UNITS)
    for one, other in permutations(table, 2)
    if table is gravity.SCALES or units.UNITS[one].kind == units.UNITS[other].kind
]


@pytest.mark.parametrize(("table", "one", "other"), PAIRS)
def test_a_value_at_a_limit_goes_there_and_back(table, one, other):
    """206 Points are SG 1.206, and that is 206 Points again; so with each limit as printed."""
    function = GRAVITY_CONVERT if table is gravity.SCALES else UNIT_CONVERT
    refusal = function(1e15, one, other)
    ends = [float(number) for number in re.search(r"outside (\S+) to (\S+)", refusal).groups()]
    back = function(function(ends, one, other), other, one)
    assert back == pytest.approx(ends, rel=1e-9, abs=1e-9 * max(map(abs, ends)))
