"""Convert: each answer is that of its function; the rescue corner."""

from __future__ import annotations

import numpy as np
import pytest

from tests.workbook.conftest import FIELD, GLASS, SPINDLE, day
from xlfuncs.functions.beer import BEER_ABV
from xlfuncs.functions.brewday import BOIL_SG, KETTLE_OPTIONS
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import HYDROMETER_SG, REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.functions.volumes import BLEND_SG, DILUTION_WATER, VOLUME_AT
from xlfuncs.science import units
from xlfuncs.workbook.kit import formulas
from xlfuncs.workbook.words import Choices

CHECKS = [
    {"instrument": "field", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 0.3},
    {"instrument": "glass", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 1.001},
]
SIMPLE = {
    "hot_volume": 25, "hot_temperature": 98,
    "thin_volume": 22, "thin_gravity": 1.056, "thin_wanted": 1.048,
    "two_volume_a": 12, "two_gravity_a": 1.062, "two_volume_b": 8, "two_gravity_b": 1.036,
    "abv_original": 1.048, "abv_final": 1.010,
    "scale_value": 12, "scale_from": "Plato", "scale_to": "Points",
}  # fmt: skip
TOLD = {
    "told_volume": 24, "told_temperature": 80, "told_gravity": 11.2, "told_scale": "Brix",
    "told_target": 1.055, "told_minutes": 60, "told_boil_off": 3,
}  # fmt: skip


def test_a_reading_on_any_instrument(computed):
    def read(**cells):
        return computed(cells={f"convert_{name}": value for name, value in cells.items()},
                        inst=[FIELD, GLASS, SPINDLE], check=CHECKS)  # fmt: skip

    first = read(reading=12.4, temperature=26)
    wanted = WORT_SG(REFRACTOMETER_BRIX(12.4, 26, 0.3, 1))
    assert first.cell("convert_gravity") == pytest.approx(wanted, abs=1e-9)
    glass = read(instrument="Glass ", reading=1.046, temperature=12)
    assert glass.cell("convert_gravity") == pytest.approx(HYDROMETER_SG(1.045, 12, 20), abs=1e-9)
    spindle = read(instrument="spindle", reading=12.0, temperature=20)
    assert spindle.cell("convert_gravity") == pytest.approx(
        GRAVITY_CONVERT(12, "Plato", "SG"), abs=2e-7
    )
    for book in (first, glass, spindle):
        assert 0.0005 < book.cell("convert_expanded") < 0.01
    assert read(instrument="lost", reading=12).cell("convert_gravity") is None
    assert read(reading="much").cell("convert_gravity") is None


def test_an_unfilled_sheet_shows_no_figures(computed):
    book = computed()
    for name in ("convert_gravity", "scale_answer", "hot_answer", "thin_answer_shown",
                 "two_answer", "abv_answer", "told_remark"):  # fmt: skip
        assert book.cell(name) is None, name
    assert set(book.column("rescue_words")) == {None}


def test_one_answer_for_each(computed):
    book = computed(cells=SIMPLE)
    assert book.cell("scale_answer") == pytest.approx(GRAVITY_CONVERT(12, "Plato", "Points"))
    assert book.cell("hot_answer") == pytest.approx(VOLUME_AT(25, 98, 20, 1.05))
    assert book.cell("thin_answer_shown") == pytest.approx(DILUTION_WATER(22, 1.056, 1.048))
    assert book.cell("two_answer") == pytest.approx(BLEND_SG([12, 8], [1.062, 1.036]))
    assert book.cell("abv_answer") == pytest.approx(BEER_ABV(1.048, 1.010))


def test_what_water_cannot_do_is_said(computed):
    book = computed(cells=SIMPLE | {"thin_wanted": 1.060})
    assert book.cell("thin_answer_shown") is None
    assert "water cannot raise a gravity" in book.cell("thin_remark")


def test_us_units_and_plato_tell_the_same(computed):
    def plato(sg):
        return float(GRAVITY_CONVERT(sg, "SG", "Plato"))

    def own(name, value):
        if "volume" in name:
            return float(units.convert(value, "L", "US gal"))
        if "temperature" in name:
            return value * 1.8 + 32
        return plato(value) if isinstance(value, float) and 0.9 < value < 1.2 else value

    choices = Choices(rows=20, units="us", gravity="plato")
    book = computed(choices, {name: own(name, value) for name, value in SIMPLE.items()})
    gallon = units.LITRES_PER_US_GALLON
    assert book.cell("hot_answer") * gallon == pytest.approx(VOLUME_AT(25, 98, 20, 1.05))
    water = DILUTION_WATER(22, 1.056, 1.048)
    assert book.cell("thin_answer_shown") * gallon == pytest.approx(water, rel=1e-4)
    wanted = plato(BLEND_SG([12, 8], [1.062, 1.036]))
    assert book.cell("two_answer") == pytest.approx(wanted, abs=1e-4)
    assert book.cell("abv_answer") == pytest.approx(BEER_ABV(1.048, 1.010), abs=1e-4)


def test_gravities_without_a_call_are_those_of_the_function():
    """The polynomials of the sheets against GRAVITY_CONVERT over their whole range."""

    def at(coefficients, x):
        return np.polyval(coefficients[::-1], x)

    platos = np.linspace(-5, 45, 501)
    sgs = np.asarray(GRAVITY_CONVERT(list(platos), "Plato", "SG")).ravel()
    assert at(formulas._SG_OF_PLATO, platos) == pytest.approx(sgs, abs=2e-7)
    sgs = np.linspace(0.98, 1.206, 501)
    platos = np.asarray(GRAVITY_CONVERT(list(sgs), "SG", "Plato")).ravel()
    assert at(formulas._PLATO_OF_SG, sgs - 1) == pytest.approx(platos, abs=2e-5)


def rescued(litres, sg, target, minutes, rate):
    """The options by the function itself, from where the planned boil ends."""
    end = litres - minutes / 60 * rate
    return KETTLE_OPTIONS(litres, sg, end, target, rate, 0.95)


def test_rescue_corner_from_what_somebody_tells(computed):
    book = computed(cells=TOLD)
    sg = WORT_SG(11.2)
    litres = VOLUME_AT(24, 80, 20, sg)
    boil, extract, water, leave = rescued(litres, sg, 1.055, 60, 3)
    rows = book.table("rescue", "option", "amount", "gravity", "volume", "words")
    assert [row["option"] for row in rows] == [boil[0], extract[0], water[0], leave[0]]
    assert rows[0]["amount"] == pytest.approx(boil[1], rel=1e-4)
    assert rows[1]["amount"] == pytest.approx(extract[1], rel=1e-4)
    assert rows[0]["gravity"] == pytest.approx(1.055)
    assert rows[3]["volume"] == pytest.approx(leave[4], rel=1e-6)
    # Steam that takes its own volume with it: within 0.1 % of the balance of mass.
    assert leave[3] == pytest.approx(BOIL_SG(litres, sg, 60, 3), abs=1e-4)
    assert rows[0]["words"].startswith(f"Boil {boil[1]:.0f} min longer than planned: it ends at")
    assert rows[3]["words"].startswith("Boil 60 min as planned: it ends at")
    assert rows[2]["words"].startswith("Not possible: ")
    assert book.cell("told_remark") == "nothing"


@pytest.mark.parametrize(
    ("scale", "gravity"), [("SG", None), ("Plato", None), ("Brix", 11.2), (None, 11.2)]
)
def test_a_gravity_may_be_told_on_any_scale(computed, scale, gravity):
    sg = WORT_SG(11.2)
    told = {"SG": sg, "Plato": 11.2 / 1.04}.get(scale, gravity)
    book = computed(cells=TOLD | {"told_scale": scale, "told_gravity": told})
    assert book.cell("rescue_sg") == pytest.approx(sg, abs=2e-7)


def test_what_the_rescue_corner_lacks_is_said(computed):
    book = computed(cells={"told_volume": 24})
    assert book.cell("told_remark") == "gravity"
    assert set(book.column("rescue_words")) == {None}
    unknown = computed(cells=TOLD | {"told_boil_off": None})
    assert unknown.cell("told_remark") == "boil-off"
