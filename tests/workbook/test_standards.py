"""Solutions of known gravity to weigh out."""

from __future__ import annotations

import pytest

from tests.workbook.conftest import blank_book
from xlfuncs.functions.calibration import MALT_EXTRACT_STANDARD, SUCROSE_STANDARD
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.science import units
from xlfuncs.workbook import words
from xlfuncs.workbook.words import Choices

OUNCE = units.KILOGRAMS_PER_POUND * 1000 / 16


def test_sugar_by_mass(computed):
    book = computed(cells={"standard_gravity": 1.05, "standard_mass": 500})
    sugar, water = SUCROSE_STANDARD(1.05, 500)[0]
    assert book.cell("standard_sucrose") == pytest.approx(sugar)
    assert book.cell("standard_distilled") == pytest.approx(water)
    assert book.cell("standard_brix") == pytest.approx(12.39, abs=0.01)
    assert book.cell("standard_answer").startswith(f"Weigh {sugar:.2f} g of white sugar and")


def test_blanks_stand_for_the_common_solution(computed):
    book = computed()
    assert book.cell("standard_sucrose") == pytest.approx(SUCROSE_STANDARD(1.04, 100)[0][0])
    plato = computed(Choices(rows=20, gravity="plato"))
    assert plato.cell("standard_brix") == pytest.approx(10, abs=1e-4)


def test_a_tenth_of_a_gram_in_hundred(computed):
    """Brix = 100·s/(s + w): at 10 °Bx a scale of ±0.1 g leaves √(90² + 10²)/100·0.1 °Bx."""
    cells = {"standard_gravity": 1.04, "standard_mass": 100, "standard_u_mass": 0.1}
    assert computed(cells=cells).cell("standard_u_brix") == pytest.approx(
        2 * 0.1 * (0.9**2 + 0.1**2) ** 0.5, rel=0.01
    )


def test_malt_extract_and_its_spread(computed):
    cells = {"standard_gravity": 1.04, "standard_water": 2, "standard_fraction": 0.96}
    book = computed(cells=cells)
    grams, u = MALT_EXTRACT_STANDARD(1.04, 2, 0.96)[0]
    assert book.cell("standard_malt") == pytest.approx(grams)
    assert book.cell("standard_u_malt") == pytest.approx(2 * u)


def test_ounces_quarts_and_plato_tell_the_same(computed):
    cells = {"standard_gravity": 12, "standard_mass": 4, "standard_water": 1}
    book = computed(Choices(rows=20, units="us", gravity="plato"), cells)
    sg = GRAVITY_CONVERT(12, "Plato", "SG")
    sugar, water = SUCROSE_STANDARD(sg, 4 * OUNCE)[0]
    assert book.cell("standard_sucrose") == pytest.approx(sugar / OUNCE, rel=1e-4)
    assert book.cell("standard_distilled") == pytest.approx(water / OUNCE, rel=1e-4)
    grams, _ = MALT_EXTRACT_STANDARD(sg, units.LITRES_PER_US_GALLON / 4, 0.95)[0]
    assert book.cell("standard_malt") == pytest.approx(grams / OUNCE, rel=1e-4)
    assert " oz of white sugar" in book.cell("standard_answer")


@pytest.mark.parametrize(
    ("cells", "text"),
    [
        ({"standard_gravity": 1.3}, "! target_sg 1.3"),
        ({"standard_gravity": "much"}, '! target_sg "mu'),
    ],
)
def test_what_cannot_be_weighed_says_why(computed, cells, text):
    book = computed(cells=cells)
    assert str(book.cell("standard_sucrose")).startswith(text)
    assert str(book.cell("standard_answer")).startswith(text)
    assert book.cell("standard_distilled") is None
    assert book.cell("standard_u_brix") is None


def test_the_page_says_how():
    sheet = blank_book(Choices(units="us"))[words.STANDARDS]
    text = " ".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value)
    for what in ("air bubble", "close the plate", "Wait half a minute", "white light", "Rinse",
                 "spring water", "reverse-osmosis"):  # fmt: skip
        assert what in text
