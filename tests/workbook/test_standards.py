"""The card of reference solutions."""

from __future__ import annotations

import pytest

from xlfuncs.functions.calibration import MALT_EXTRACT_STANDARD, SUCROSE_STANDARD
from xlfuncs.workbook.vocabulary import Choices


def test_sucrose_by_mass(computed):
    book = computed(cells={"standard_sg": 1.05, "standard_mass": 500})
    sugar, water = SUCROSE_STANDARD(1.05, 500)[0]
    assert book.cell("standard_sucrose") == pytest.approx(sugar)
    assert book.cell("standard_distilled") == pytest.approx(water)
    assert book.cell("standard_brix") == pytest.approx(12.39, abs=0.01)


def test_a_tenth_of_a_gram_in_hundred(computed):
    """Brix = 100·s/(s + w): at 10 °Bx a scale of ±0.1 g leaves √(90² + 10²)/100·0.1 °Bx."""
    cells = {"standard_sg": 1.04, "standard_mass": 100, "standard_u_mass": 0.1}
    assert computed(cells=cells).cell("standard_u_brix") == pytest.approx(
        2 * 0.1 * (0.9**2 + 0.1**2) ** 0.5, rel=0.01
    )


def test_malt_extract_and_its_spread(computed):
    book = computed(cells={"standard_sg": 1.04, "standard_water": 2, "standard_fraction": 0.96})
    grams, u = MALT_EXTRACT_STANDARD(1.04, 2, 0.96)[0]
    assert book.cell("standard_malt") == pytest.approx(grams)
    assert book.cell("standard_u_malt") == pytest.approx(2 * u)


@pytest.mark.parametrize(
    ("cells", "text"),
    [({"standard_sg": 1.3}, "! target_sg 1.3"), ({"standard_mass": "much"}, '! solution_mass "mu')],
)
def test_what_cannot_be_weighed_says_why(computed, cells, text):
    book = computed(cells=cells)
    assert str(book.cell("standard_sucrose")).startswith(text)
    assert str(book.cell("standard_distilled")).startswith(text)
    assert book.cell("standard_u_brix") is None


def test_the_card_fits_on_its_page():
    from xlfuncs.workbook import build, layout
    from xlfuncs.workbook import vocabulary as words

    sheet = build.build(Choices(units="us"))[words.STANDARDS]
    assert sheet.page_setup.paperSize == layout.LETTER
    text = " ".join(
        str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None
    )
    for what in ("air bubble", "Close the plate", "Wait half a minute", "white light", "Rinse",
                 "Tap water", "spring", "reverse-osmosis"):  # fmt: skip
        assert what in text
