"""Batch sheet: boxes to write in, the strip of the instrument, the filled version."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.workbook.conftest import FIELD, GLASS, blank_book, day
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.science import sucrose
from xlfuncs.workbook import words
from xlfuncs.workbook.sheets import batch_sheet
from xlfuncs.workbook.words import Choices

CHECKS = [
    {"instrument": "field", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 0.2,
     "shown_2": 10.4, "known_2": 10},
    {"instrument": "glass", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 1.0},
]  # fmt: skip
LOG = [
    {"date": day(2026, 3, 7, 11, 40), "batch": "pale", "stage": "before boil",
     "instrument": "glass", "reading": 1.0485, "temperature": 20, "volume": 25.2,
     "volume_temperature": 20},
]  # fmt: skip
BATCH = {
    "name": "pale",
    "grain": 5,
    "before_boil_gravity": 1.048,
    "before_boil_volume": 25,
    "tolerance": 0.004,
    "tolerance_volume": 1,
}
BOXES = ("time", "reading", "sample", "measured", "measured_volume", "verdict", "note")
BEFORE = words.planned(words.BEFORE_BOIL) - 1
STRIP = slice(0, 50)


@pytest.fixture
def page(computed):
    def make(choices=None, inst=(FIELD, GLASS), check=CHECKS, batch=BATCH, **cells):
        return computed(choices, cells, inst=inst, check=check, log=LOG, batch=[batch])

    return make


def test_boxes_are_empty_before_the_brew_and_the_plan_stands_beside_them(page):
    book = page()
    for row in book.table("card", *BOXES):
        assert set(row.values()) == {None}
    row = book.table("card", "stage", "gravity", "volume")[BEFORE]
    assert list(row.values()) == ["Before boil", "1.0480\n± 0.0040", "25.0"]


def test_boxes_show_what_was_read_when_asked(page):
    book = page(card_show="Yes ")
    row = book.table("card", *BOXES)[BEFORE]
    assert row["time"] % 1 == pytest.approx((11 * 60 + 40) / 1440)
    assert (row["reading"], row["sample"]) == (1.0485, 20)
    expanded = book.column("log_expanded")[0]
    assert row["measured"] == f"1.0485\n± {expanded:.4f}"
    assert row["measured_volume"] == pytest.approx(25.2)
    assert row["verdict"] == f"{book.column('log_verdict')[0]}\non target"
    others = book.table("card", *BOXES)
    for other in others[:BEFORE] + others[BEFORE + 1 :]:
        assert set(other.values()) == {None}


def test_the_heading_names_brewery_batch_and_day(page):
    head = page(brewery="Mill", batch=BATCH | {"date": day(2026, 3, 7)}).cell("card_heading")
    assert head.startswith("Mill  ·  pale  ·  2026-03-07")


def test_strip_for_the_calibration_and_wort_factor_of_the_instrument(page):
    book = page(set_wort_factor=1.03)
    for row in book.table("strip", "raw", "gravity_1", "words")[STRIP]:
        wanted = WORT_SG(REFRACTOMETER_BRIX(row["raw"], 20, 0.2, 1.02), 1.03)
        assert row["gravity_1"] == pytest.approx(wanted)
        assert row["words"] == f"{row['raw']:.1f} → {wanted:.4f}"


def test_strip_in_plato(page):
    gravity = GRAVITY_CONVERT(1.048, "SG", "Plato")
    batch = BATCH | {"before_boil_gravity": gravity, "tolerance": 1}
    book = page(Choices(rows=20, gravity="plato"), batch=batch)
    row = book.table("strip", "raw", "gravity_1")[20]
    sg = WORT_SG(REFRACTOMETER_BRIX(row["raw"], 20, 0.2, 1.02))
    assert row["gravity_1"] == pytest.approx(GRAVITY_CONVERT(sg, "SG", "Plato"), abs=1e-6)


@pytest.mark.parametrize("gravity", ["sg", "plato"])
def test_the_strip_says_how_far_to_trust_it(page, gravity):
    """Against a Monte Carlo run (JCGM 101): reading, offset, slope and wort factor drawn."""
    book = page(Choices(rows=20, gravity=gravity), batch={"name": "pale"}, set_u_wort_factor=0.02)
    u_drop, u_check, u_slope, centre = (
        book.cell(f"card_{name}") for name in ("u_drop", "u", "u_slope", "centre")
    )
    rng, size = np.random.default_rng(13), 200_000
    spreads = re.findall(r"([0-9.]+) at (\d+) °Bx", book.cell("card_spread"))
    assert [shown for _, shown in spreads] == ["5", "10", "15", "20", "25"]
    for spread, shown in spreads:
        brix = REFRACTOMETER_BRIX(float(shown), 20, 0.2, 1.02)
        drawn = brix + rng.normal(0, u_drop, size) + rng.normal(0, u_check, size)
        tilt = rng.normal(0, abs(brix - centre) * u_slope, size)
        platos = (drawn + tilt) / rng.normal(1.04, 0.02, size)
        values, digits = (platos, 2) if gravity == "plato" else (sucrose.sg(platos), 4)
        expanded = 2 * book.column("strip_u")[2 * int(shown) - 1]
        # The second order that u leaves out is less than 2 %.
        assert expanded == pytest.approx(2 * values.std(), rel=0.02)
        assert spread == f"{expanded:.{digits}f}"


def test_a_reading_below_zero_of_the_instrument_is_no_gravity(page):
    check = [{"instrument": "field", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 0.8}]
    book = page(inst=[FIELD], check=check, batch={"name": "pale"})
    shown = book.column("strip_gravity_1")
    assert shown[0] is None
    assert shown[1] == pytest.approx(WORT_SG(0.2))
    assert [u is None for u in book.column("strip_u")[:2]] == [True, False]


def test_only_a_refractometer_has_a_strip(page):
    book = page(card_instrument="glass")
    assert set(book.column("strip_gravity_1")) == {None}
    assert "needs a refractometer" in book.cell("card_strip")
    none = page(inst=[GLASS], check=CHECKS[1:])
    assert set(none.column("strip_gravity_1")) == {None}
    assert none.cell("card_spread").startswith("± about 95 %, SG: ______ at 5 °Bx, ______ at 10")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_one_page_with_large_boxes_strip_and_cautions(units):
    sheet = blank_book(Choices(units=units))[words.BATCH_SHEET]
    setup = sheet.page_setup
    assert (setup.orientation, setup.fitToWidth, setup.fitToHeight) == ("landscape", 1, 1)
    text = " ".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value)
    for danger in ("Boiling wort scalds", "boils over when extract", "Hot wort cracks glass"):
        assert danger in text
    # A digit of the normal font is 7 pixels at 96 an inch, a column 5 more than its digits.
    millimetres = [int(7 * width + 5) / 96 * 25.4 for width in batch_sheet._WIDTHS]
    boxes = millimetres[3:]
    assert min(boxes) >= 25
    assert batch_sheet.HIGH / 72 * 25.4 >= 10
    # It is printed at its true size: landscape Letter is the narrower, A4 the lower of the two.
    margins = sheet.page_margins
    assert sum(millimetres) <= 279.4 - (margins.left + margins.right) * 25.4
    last = int(re.search(r"(\d+)$", sheet.print_area)[1])
    high = sum(sheet.row_dimensions[row].height or 13.5 for row in range(1, last + 1))
    assert high / 72 * 25.4 <= 210 - (margins.top + margins.bottom) * 25.4
