"""Batch sheet: boxes to write on, the strip of the instrument, the filled version."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.workbook.conftest import FIELD, GLASS, day
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.science import sucrose
from xlfuncs.workbook import build, card
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.vocabulary import Choices

CHECKS = [
    {
        "instrument": "field",
        "date": day(2026, 3, 1),
        "reading_1": 0.2,
        "reading_2": 10.4,
        "reference_2": 10,
    },
    {"instrument": "glass", "date": day(2026, 3, 1), "reading_1": 1.0},
]
LOG = [
    {
        "date": day(2026, 3, 7, 11, 40),
        "batch": "1",
        "stage": "before boil",
        "instrument": "glass",
        "reading": 1.0485,
        "temperature": 20,
        "volume": 25.2,
        "volume_temperature": 20,
    }
]
TARGET = [
    {},
    {},
    {"gravity": 1.048, "gravity_tolerance": 0.004, "volume": 25, "volume_tolerance": 1},
]
BOXES = ("time", "reading", "temperature", "measured", "expanded", "measured_volume", "verdict")


@pytest.fixture
def sheet(computed):
    def make(boxes, choices=None, **cells):
        return computed(
            choices,
            cells={"card_boxes": boxes, "card_instrument": "field"} | cells,
            inst=[FIELD, GLASS],
            check=CHECKS,
            log=LOG,
            target=TARGET,
        )

    return make


def test_boxes_are_empty_before_the_brew_and_targets_stand_beside_them(sheet):
    book = sheet(card.EMPTY)
    for row in book.table("card", *BOXES):
        assert set(row.values()) == {None}
    row = book.table("card", "stage", "gravity", "tolerance", "volume", "volume_tolerance")[2]
    assert list(row.values()) == ["before boil", 1.048, 0.004, 25, 1]


def test_boxes_are_filled_from_the_log_after_the_brew(sheet):
    book = sheet(card.FILLED)
    rows = book.table("card", *BOXES)
    assert rows[2]["time"] % 1 == pytest.approx((11 * 60 + 40) / 1440)
    assert rows[2]["reading"] == 1.0485
    assert rows[2]["measured"] == pytest.approx(1.0485)
    assert rows[2]["expanded"] == book.table("log", "expanded")[0]["expanded"] > 0
    assert rows[2]["measured_volume"] == pytest.approx(25.2)
    assert rows[2]["verdict"] == "on target / on target"
    for row in rows[:2] + rows[3:]:
        assert set(row.values()) == {None}


def test_strip_for_the_calibration_and_wort_factor_of_the_instrument(sheet):
    book = sheet(card.EMPTY, wort_factor=1.03)
    rows = book.table("strip", "raw", "shown")
    assert len(rows) == 50
    for row in rows:
        wanted = WORT_SG(REFRACTOMETER_BRIX(row["raw"], 20, 0.2, 1.02), 1.03)
        assert row["shown"] == pytest.approx(wanted)


def test_strip_in_plato(sheet):
    book = sheet(card.EMPTY, Choices(rows=20, gravity="plato"))
    row = book.table("strip", "raw", "shown")[20]
    sg = WORT_SG(REFRACTOMETER_BRIX(row["raw"], 20, 0.2, 1.02))
    assert row["shown"] == pytest.approx(GRAVITY_CONVERT(sg, "SG", "Plato"), abs=1e-6)


@pytest.mark.parametrize("gravity", ["sg", "plato"])
def test_the_strip_says_how_far_to_trust_it(sheet, gravity):
    """Against a Monte Carlo run (JCGM 101): reading, offset, slope and wort factor drawn."""
    book = sheet(card.EMPTY, Choices(rows=20, gravity=gravity), u_wort_factor=0.02)
    (force,) = book.table("strip", "u_offset", "u_slope")[:1]
    rng, size = np.random.default_rng(13), 200_000
    text = book.cell("card_spread")
    spreads = re.findall(r"([0-9.]+) at (\d+) °Bx", text)
    assert [shown for _, shown in spreads] == ["5", "10", "15", "20", "25"]
    for spread, shown in spreads:
        brix = REFRACTOMETER_BRIX(float(shown), 20, 0.2, 1.02)
        drawn = brix + rng.normal(0, 0.1, size) + rng.normal(0, force["u_offset"], size)
        platos = (drawn + rng.normal(0, brix * force["u_slope"], size)) / rng.normal(
            1.04, 0.02, size
        )
        values, digit = (platos, 0.1) if gravity == "plato" else (sucrose.sg(platos), 1e-4)
        # As printed, to the last digit; the second order that u leaves out is less than 2 %.
        assert float(spread) == pytest.approx(2 * values.std(), rel=0.02, abs=digit * 0.51)


def test_a_reading_below_zero_of_the_instrument_is_no_gravity(computed):
    check = [CHECKS[0] | {"reading_1": 0.8, "reading_2": None, "reference_2": None}]
    book = computed(cells={"card_instrument": "field"}, inst=[FIELD], check=check)
    shown = [row["shown"] for row in book.table("strip", "shown")]
    assert shown[0] is None
    assert shown[1] == pytest.approx(WORT_SG(0.2))
    assert [row["u"] is None for row in book.table("strip", "u")[:2]] == [True, False]


@pytest.mark.parametrize("instrument", ["glass", None])
def test_only_a_refractometer_has_a_strip(sheet, instrument):
    book = sheet(card.EMPTY, card_instrument=instrument)
    assert {row["shown"] for row in book.table("strip", "shown")} == {None}
    assert book.cell("card_spread").startswith("± about 95 %, SG: ______ at 5 °Bx, ______ at 10")


def test_one_page_with_strip_and_cautions():
    sheet = build.build(Choices())[words.CARD]
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 1)
    last = int(re.search(r"(\d+)$", sheet.print_area).group(1))
    printed = " ".join(
        str(cell.value) for row in sheet["A1:L" + str(last)] for cell in row if cell.value
    )
    for danger in ("Boiling wort scalds", "boils over when extract", "Hot wort cracks glass"):
        assert danger in printed
    strip = re.findall(r"=[A-Z]+\d+", printed)
    assert len(strip) == 100
