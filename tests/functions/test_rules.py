"""Rules that answers keep, seen through the cells: there and back, steadily, nothing is lost."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.cells.quantities import Choice
from xlfuncs.functions import CATALOGUE

CALL = {name: function.callable() for name, function in CATALOGUE.items()}


def words(name, argument):
    """The words of a choice, each once."""
    found = next(a.quantity for a in CATALOGUE[name].arguments if a.name == argument)
    assert isinstance(found, Choice)
    return list(found.words)


def column(answer):
    """A column of numbers; a text among them fails."""
    assert all(type(row[0]) in (float, int) for row in answer), answer
    return np.array([row[0] for row in answer], float)


def cells(numbers):
    return [[float(number)] for number in numbers]


# --- there and back ------------------------------


@pytest.mark.parametrize(
    ("there", "back"), list(itertools.permutations(words("GRAVITY_CONVERT", "from_scale"), 2))
)
def test_gravity_there_and_back(there, back):
    sg = cells(np.linspace(0.985, 1.15, 331))
    start = CALL["GRAVITY_CONVERT"](sg, "SG", there)
    other = CALL["GRAVITY_CONVERT"](start, there, back)
    again = CALL["GRAVITY_CONVERT"](other, back, there)
    assert np.max(np.abs(column(again) - column(start))) < 1e-7


@pytest.mark.parametrize("name", ["from_unit"])
def test_units_there_and_back(name):
    done = 0
    for there, back in itertools.permutations(words("UNIT_CONVERT", name), 2):
        other = CALL["UNIT_CONVERT"](12.5, there, back)
        if isinstance(other, str):  # of another kind
            continue
        assert CALL["UNIT_CONVERT"](other, back, there) == pytest.approx(12.5, rel=1e-12)
        done += 1
    assert done > 10


@given(brix=st.floats(0, 35), factor=st.floats(0.95, 1.1))
def test_wort_there_and_back(brix, factor):
    sg = CALL["WORT_SG"](brix, factor)
    assert CALL["WORT_BRIX"](sg, factor) == pytest.approx(brix, abs=1e-7)


@given(original=st.floats(1.02, 1.1), share=st.floats(0.05, 0.95))
def test_beer_there_and_back(original, share):
    """The reading that a beer gives, and the beer that a reading gives."""
    wort = CALL["WORT_BRIX"](original)
    brix = wort * (1 - 0.55 * share)
    sg = CALL["BEER_SG"](original, brix)
    if isinstance(sg, str):  # further than beer ferments
        assert sg.startswith("! ")
        return
    assert CALL["ORIGINAL_SG"](sg, brix) == pytest.approx(original, abs=1e-6)


@given(volume=st.floats(5, 200), sg=st.floats(1.01, 1.1), more=st.floats(1.01, 1.3))
def test_water_and_boil_there_and_back(volume, sg, more):
    diluted = 1 + (sg - 1) / more
    water = CALL["DILUTION_WATER"](volume, sg, diluted)
    total = CALL["BLEND_VOLUME"](cells([volume, water]), cells([sg, 1.0]))
    assert CALL["BLEND_SG"](cells([volume, water]), cells([sg, 1.0])) == pytest.approx(
        diluted, abs=1e-7
    )
    assert CALL["BOIL_OFF_VOLUME"](total, diluted, sg) == pytest.approx(water, abs=1e-6)


# --- steadily ------------------------------

RISING = {
    "WORT_SG": (np.linspace(0, 45, 4501), lambda x: [x]),
    "WORT_BRIX": (np.linspace(1.0, 1.19, 3801), lambda x: [x]),
    "REFRACTOMETER_BRIX": (np.linspace(1, 40, 3901), lambda x: [x, 27.0]),
    "HYDROMETER_SG": (np.linspace(1.0, 1.15, 3001), lambda x: [x, 35.0]),
    "BEER_SG": (np.linspace(4.0, 12.3, 4151), lambda x: [1.05, x]),
    "ORIGINAL_SG": (np.linspace(4.5, 11.8, 1461), lambda x: [1.012, x]),
    "BEER_ABV": (np.linspace(1.02, 1.105, 3401), lambda x: [x, 1.012]),
    "REAL_EXTRACT": (np.linspace(1.0, 1.05, 2001), lambda x: [1.05, x]),
    "BEER_ENERGY": (np.linspace(1.02, 1.105, 3401), lambda x: [x, 1.012]),
    "EXTRACT_MASS": (np.linspace(1.0, 1.15, 3001), lambda x: [20.0, x]),
    "BOIL_SG": (np.linspace(0, 240, 2401), lambda x: [25.0, 1.045, x, 3.0]),
    "MASH_EFFICIENCY": (np.linspace(1.01, 1.06, 2001), lambda x: [25.0, x, 6.0]),
}


@pytest.mark.parametrize("name", RISING)
def test_rising_without_a_jump(name):
    """On a dense grid each step goes up, and none is more than twice its neighbour."""
    grid, arguments = RISING[name]
    steps = np.diff(column(CALL[name](*arguments(cells(grid)))))
    assert np.all(steps > 0)
    ratio = steps[1:] / steps[:-1]
    assert np.max(ratio) < 2
    assert np.min(ratio) > 0.5


@pytest.mark.parametrize("temperature", [5.0, 20.0, 40.0])
def test_wort_expands_with_heat(temperature):
    grid = cells(np.linspace(temperature, temperature + 30, 301))
    steps = np.diff(column(CALL["VOLUME_AT"](20.0, 20.0, grid, 1.05)))
    assert np.all(steps > 0)
    assert np.max(steps[1:] / steps[:-1]) < 1.1


# --- nothing is lost ------------------------------

PARTS = st.lists(st.tuples(st.floats(1, 100), st.floats(1.0, 1.12)), min_size=2, max_size=6)


@given(parts=PARTS)
def test_a_blend_keeps_extract_and_lies_between_its_parts(parts):
    volumes, sgs = (cells(numbers) for numbers in zip(*parts, strict=True))
    sg = CALL["BLEND_SG"](volumes, sgs)
    volume = CALL["BLEND_VOLUME"](volumes, sgs)
    extract = column(CALL["EXTRACT_MASS"](volumes, sgs)).sum()
    assert CALL["EXTRACT_MASS"](volume, sg) == pytest.approx(extract, rel=1e-6, abs=1e-9)
    assert min(sgs)[0] - 1e-12 <= sg <= max(sgs)[0] + 1e-12


@given(volume=st.floats(10, 100), sg=st.floats(1.02, 1.08), minutes=st.floats(5, 60))
def test_a_boil_gives_off_water_alone(volume, sg, minutes):
    rate = volume * 0.1
    after = CALL["BOIL_SG"](volume, sg, minutes, rate)
    water = CALL["BOIL_OFF_VOLUME"](volume, sg, after)
    assert CALL["BOIL_MINUTES"](volume, sg, after, rate) == pytest.approx(minutes, abs=1e-4)
    assert CALL["DILUTION_WATER"](
        (CALL["EXTRACT_MASS"](volume, sg) / CALL["EXTRACT_MASS"](1.0, after)), after, sg
    ) == pytest.approx(water, rel=1e-6)


@given(original=st.floats(1.02, 1.105), share=st.floats(0.05, 0.85))
def test_a_beer_keeps_what_its_wort_had(original, share):
    """Real extract and alcohol by mass, by Balling's sum, make up the wort's extract."""
    sg = 1 + (original - 1) * (1 - share)
    plato = CALL["GRAVITY_CONVERT"](original, "SG", "Plato")
    extract = CALL["REAL_EXTRACT"](original, sg)
    abw = CALL["BEER_ABW"](original, sg)
    made = 100 * (2.0665 * abw + extract) / (100 + 1.0665 * abw)
    assert made == pytest.approx(plato, abs=0.02)
