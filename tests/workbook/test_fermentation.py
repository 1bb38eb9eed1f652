"""Gravity, attenuation and alcohol while yeast is at work, on every kind of instrument."""

from __future__ import annotations

import numpy as np
import pytest

from tests.workbook.conftest import BENCH, FIELD, GLASS, day
from tests.workbook.test_pairs import PAIRS
from xlfuncs.functions.beer import (
    APPARENT_ATTENUATION,
    BEER_ABV,
    BEER_SG,
    BEER_SG_UNCERTAINTY,
    REAL_ATTENUATION,
)
from xlfuncs.functions.fermentation import FERMENTATION_FORECAST, FERMENTATION_STATE
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import HYDROMETER_SG
from xlfuncs.workbook.vocabulary import Choices

FLOATER = GLASS | {
    "name": "floater",
    "kind": "floating hydrometer",
    "reference": None,
    "u_reading": 0.001,
}
CHECKS = [
    {"instrument": "bench", "date": day(2026, 2, 15), "reading_1": 0.0},
    {"instrument": "field", "date": day(2026, 2, 15), "reading_1": 0.0},
    {"instrument": "glass", "date": day(2026, 2, 15), "reading_1": 1.001},
    {"instrument": "floater", "date": day(2026, 2, 15), "reading_1": 1.003, "temperature": 40},
]
SHOWN = ("original_sg", "sg", "expanded", "apparent", "real", "abv", "method", "remark")
NO_PROOF = "no proof that it has ended"


def line(instrument, reading, date=day(2026, 3, 8), **more):  # noqa: B008
    row = {"date": date, "batch": "1", "original": 1.05, "instrument": instrument}
    return row | {"reading": reading, "temperature": 20} | more


def pitched(sg, date, batch="1", stage="into fermenter"):
    row = {"date": date, "batch": batch, "stage": stage, "instrument": "glass"}
    return row | {"reading": sg + 0.001, "temperature": 20}


def rows_of(computed, lines, choices=None, cells=None, **tables):
    book = computed(
        choices,
        cells,
        **{
            "inst": [BENCH, GLASS, FIELD, FLOATER],
            "check": CHECKS,
            "ferment": lines,
            **tables,
        },
    )
    return book, book.table("ferment", *SHOWN)


def test_an_unfilled_sheet_shows_no_figures(computed):
    book = computed()
    for row in book.table("ferment", *SHOWN):
        assert set(row.values()) == {None}
    for key in ("shown", "began", "state", "final", "final_expanded", "end"):
        assert book.cell(f"ferment_{key}") is None


def test_a_refractometer_is_corrected_for_alcohol_with_its_uncertainty(computed):
    _, (row, *_) = rows_of(computed, [line("bench", 6.5)])
    sg = BEER_SG(1.05, 6.5)
    # One check in water: its offset is as uncertain as one reading.
    u_reading = BENCH["u_reading"] * 2**0.5
    assert row["sg"] == pytest.approx(sg, abs=1e-12)
    assert row["expanded"] == pytest.approx(
        2 * BEER_SG_UNCERTAINTY(1.05, 6.5, 1.04, u_reading), rel=1e-6
    )
    assert row["apparent"] == pytest.approx(APPARENT_ATTENUATION(1.05, sg))
    assert row["real"] == pytest.approx(REAL_ATTENUATION(1.05, sg))
    assert row["abv"] == pytest.approx(BEER_ABV(1.05, sg))
    assert row["method"] == "refractometer, balance, default factors"
    assert row["remark"] == NO_PROOF


def test_hydrometers_of_glass_and_floating_need_no_correction_for_alcohol(computed):
    lines = [line("glass", 1.012, temperature=12), line("floater", 1.015, temperature=12)]
    _, (glass, floating, *_) = rows_of(computed, lines)
    assert glass["sg"] == pytest.approx(HYDROMETER_SG(1.011, 12, 20), abs=1e-12)
    assert glass["method"] == "hydrometer"
    # No glass, so no temperature; its check in water at 40 °C found 0.003 too much.
    assert floating["sg"] == pytest.approx(1.012, abs=1e-12)
    assert floating["method"] == "floating hydrometer"
    assert floating["expanded"] == pytest.approx(2 * (2 * 0.001**2) ** 0.5)
    assert floating["abv"] == pytest.approx(BEER_ABV(1.05, 1.012))


def test_a_floating_hydrometer_in_the_log(computed):
    log = [pitched(1.050, day(2026, 3, 7)) | {"instrument": "floater", "temperature": None}]
    book, _ = rows_of(computed, [], log=log)
    row = book.table("log", "sg", "remark")[0]
    assert row["sg"] == pytest.approx(1.048, abs=1e-12)
    assert row["remark"] is None


def test_a_blank_original_is_the_latest_into_fermenter_of_the_batch(computed):
    log = [
        pitched(1.052, day(2026, 3, 7, 14)),
        pitched(1.048, day(2026, 3, 7, 13)),
        pitched(1.061, day(2026, 3, 8), batch="2"),
        pitched(1.055, day(2026, 3, 9), stage="after boil"),
    ]
    lines = [
        line("bench", 6.5, original=None),
        line("bench", 7.5, original=None, batch="2"),
        line("bench", 6.5),
        line("bench", 6.5, original=None, batch="3"),
        line("glass", 1.012, original=None, batch="3"),
    ]
    book, rows = rows_of(computed, lines, log=log)
    originals = [row["original_sg"] for row in rows[:5]]
    assert originals[:3] == pytest.approx([1.052, 1.061, 1.05], abs=1e-12)
    assert originals[3:] == [None, None]
    assert [row["remark"] for row in rows[3:5]] == ["original gravity is missing"] * 2
    assert rows[3]["sg"] is None
    assert rows[4]["sg"] == pytest.approx(1.011)
    assert rows[4]["abv"] is None
    # What the log knows of the original's uncertainty goes into that of the beer.
    u_original = book.table("log", "u")[0]["u"]
    wanted = 2 * BEER_SG_UNCERTAINTY(1.052, 6.5, 1.04, 0.1 * 2**0.5, 0.01, u_original)
    assert rows[0]["expanded"] == pytest.approx(wanted, rel=1e-6)


def test_every_figure_has_its_uncertainty(computed):
    """Against a Monte Carlo run (JCGM 101) of readings, checks, wort factor, original and model."""
    log = [pitched(1.050, day(2026, 3, 7))]
    lines = [
        line("bench", 6.5),
        line("glass", 1.012),
        line("glass", 1.012, original=None),
        line("glass", 1.012, original=None, batch="unknown"),
    ]
    book, _ = rows_of(computed, lines, log=log)
    keys = [f"{of}_expanded" for of in ("original", "apparent", "real", "abv")]
    found = book.table("ferment", "sg", "expanded", *keys)
    in_log = book.table("log", "u")[0]["u"]
    assert [row["original_expanded"] for row in found[:4]] == [0.002, 0.002, 2 * in_log, None]
    assert found[3]["expanded"] > 0
    assert [found[3][key] for key in keys[1:]] == [None] * 3
    rng, size = np.random.default_rng(5), 50_000

    def around(value, u):
        return value + u * rng.normal(size=size)

    u_glass = GLASS["u_reading"] * 2**0.5
    original = around(1.05, 0.001)
    corrected = BEER_SG(
        list(original), list(around(6.5, 0.1 * 2**0.5)), list(around(1.04, 0.01))
    )  # fmt: skip
    cases = (
        (original, np.array(corrected) + around(0, 0.001)),
        (original, around(1.011, u_glass)),
        (around(1.05, in_log), around(1.011, u_glass)),
    )
    for row, (originals, sgs) in zip(found, cases, strict=False):
        # The draws know a deviation within 1 %; the rest is what first order leaves out.
        assert row["expanded"] == pytest.approx(2 * sgs.std(), rel=0.03)
        for key, function in zip(
            keys[1:], (APPARENT_ATTENUATION, REAL_ATTENUATION, BEER_ABV), strict=True
        ):
            drawn = np.array(function(list(originals), list(sgs)))
            assert row[key] == pytest.approx(2 * drawn.std(), rel=0.03), key


def test_fitted_factors_are_used_when_setup_says_so(computed):
    book, (row, *_) = rows_of(
        computed, [line("bench", 6.5)], cells={"beer_correction": "fitted"}, pair=PAIRS
    )
    wort, alcohol = book.cell("beer_wort_factor"), book.cell("beer_alcohol_factor")
    assert wort != pytest.approx(1.04, abs=0.002)
    assert row["sg"] == pytest.approx(BEER_SG(1.05, 6.5, wort, "balance", alcohol), abs=1e-12)
    assert row["method"] == "refractometer, balance, fitted factors"


@pytest.mark.parametrize("choice", ["default", "fitted"])
@pytest.mark.parametrize(("count", "apart", "wider"), [(9, 0.006, True), (5, 0.006, False),
                                                       (9, 0.0, False)])  # fmt: skip
def test_the_correction_is_as_uncertain_as_your_own_pairs_show(
    computed, choice, count, apart, wider
):
    # Now and then far above the hydrometer: no factor brings both kinds together.
    pairs = [
        {"date": day(2026, 3, 1), "beer": f"{i}", "original": 1.05, "refractometer": "bench",
         "shown_brix": 6.5, "hydrometer": "glass", "shown_sg_temperature": 20,
         "shown_sg": BEER_SG(1.05, 6.5) + 0.001 + (apart if i % 2 else -apart)}
        for i in range(count)
    ]  # fmt: skip
    book, (row, *_) = rows_of(
        computed, [line("bench", 6.5)], cells={"beer_correction": choice}, pair=pairs
    )
    fit = book.table("fit", "error", "default_error", "pairs")[0]
    assert fit["pairs"] == count
    shown = fit["error" if choice == "fitted" else "default_error"]
    assert book.cell("beer_u_model") == (pytest.approx(shown) if wider else 0.001)
    # The check of the instrument has an uncertainty of its own: 0.1 °Bx, as each reading.
    spread = BEER_SG_UNCERTAINTY(
        1.05, 6.5, book.cell("beer_wort_factor"), 0.1 * 2**0.5, book.cell("beer_u_wort_factor"),
        0.001, book.cell("beer_u_model"),
    )  # fmt: skip
    assert row["expanded"] == pytest.approx(2 * spread)
    assert (row["expanded"] > 0.01) == wider


SERIES = [(1, 1.046), (2, 1.032), (3, 1.019), (4, 1.013), (6, 1.011)]


def test_state_and_forecast_of_the_chosen_batch_count_days_from_the_fermenter(computed):
    lines = [line("glass", sg + 0.001, day(2026, 3, 7 + n)) for n, sg in reversed(SERIES)]
    lines.insert(2, line("glass", 1.030, day(2026, 3, 20), batch="2"))
    book, _ = rows_of(
        computed,
        lines,
        cells={"ferment_chosen": "1"},
        log=[pitched(1.050, day(2026, 3, 7))],
    )
    days, sgs = (list(column) for column in zip((0, 1.05), *SERIES, strict=True))
    final, u_final, end, _ = FERMENTATION_FORECAST(days, sgs)[0]
    assert book.cell("ferment_state") == FERMENTATION_STATE(days, sgs)
    assert book.cell("ferment_final") == pytest.approx(final, abs=1e-6)
    assert book.cell("ferment_final_expanded") == pytest.approx(2 * u_final, rel=1e-3)
    began = (day(2026, 3, 7) - day(1899, 12, 30)).days
    assert book.cell("ferment_began") == began
    assert book.cell("ferment_end") == int(began + end)
    curve = book.table("curve", "chart_day", "chart_original", "chart_hydrometer")
    assert (curve[0]["chart_day"], curve[0]["chart_original"]) == pytest.approx((0, 1.05))
    drawn = {row["chart_day"]: row["chart_hydrometer"] for row in curve[1:]}
    del drawn["#N/A"]
    assert drawn == pytest.approx(dict(SERIES))


def test_without_a_choice_the_last_batch_is_shown_and_few_readings_say_so(computed):
    lines = [line("glass", 1.040), line("bench", 9.0, day(2026, 3, 9, 12), batch="2")]
    book, _ = rows_of(computed, lines)
    assert book.cell("ferment_shown") == "2"
    assert book.cell("ferment_state") == "too few readings"
    assert book.cell("ferment_final") is None
    assert book.table("forecast", "final")[0]["final"] == "! a forecast needs 3 readings, not 1"


@pytest.mark.parametrize(
    ("row", "remark"),
    [
        (line("glass", 1.012), None),
        (line("lost", 1.012), "instrument is not on Setup"),
        (line(None, 1.012), "choose an instrument"),
        (line("glass", 1.012, temperature=None), "sample temperature is missing"),
        (line("floater", 1.012, temperature=None), None),
        (line("field", 6.5, temperature=None), "no temperature: 20 °C (68 °F) assumed"),
        (line("bench", 6.5, date=None), "no date: no calibration applied"),
        (line("bench", 6.5, day(2025, 1, 1)), "no calibration check before this date"),
        (line("bench", 6.5, day(2026, 4, 8)), "calibration check was overdue"),
        (line("bench", 6.5), NO_PROOF),
        (line("bench", 6.5, original=None), "original gravity is missing"),
        (line("bench", 6.5, original=None, batch=None), "original gravity is missing"),
        (line("bench", 6.5, original=None, date=None), "original gravity is missing"),
    ],
)
def test_remarks_say_what_a_figure_lacks(computed, row, remark):
    _, rows = rows_of(computed, [row])
    assert rows[0]["remark"] == remark


def test_a_bad_cell_speaks_in_its_own_line_only(computed):
    lines = [
        line("bench", 6.5),
        line("bench", "six"),
        line("bench", 13.5),
        line("glass", 1.061),
        line("bench", 6.5, original="heavy"),
        {},
        line("bench", 6.5),
    ]
    _, rows = rows_of(computed, lines)
    assert rows[0]["sg"] == rows[6]["sg"] == pytest.approx(BEER_SG(1.05, 6.5))
    assert rows[1]["sg"] == '! reading "six" is not a number'
    assert rows[2]["sg"].startswith("! brix 13.5 is above the 12.9 of the unfermented wort")
    assert rows[2]["expanded"] is None
    assert rows[2]["abv"] == rows[2]["sg"]
    assert rows[3]["sg"] == pytest.approx(1.060)
    assert rows[3]["abv"].startswith("! beer_sg 1.06 is above original_sg 1.05")
    assert rows[4]["sg"] == '! original_sg "heavy" is not a number'
    assert rows[5]["sg"] is None


def test_us_units_and_plato_give_the_same_figures(computed):
    lines = [line("field", 6.5, temperature=25), line("glass", 1.012, temperature=15)]
    _, metric = rows_of(computed, lines)
    us_lines = [
        row | {"original": GRAVITY_CONVERT(1.05, "SG", "Plato"), "temperature": fahrenheit}
        for row, fahrenheit in zip(lines, (77, 59), strict=True)
    ]
    checks = [row | {"temperature": 68} for row in CHECKS]
    _, us = rows_of(
        computed,
        us_lines,
        Choices(rows=20, units="us", gravity="plato"),
        inst=[BENCH, GLASS | {"reference": 68}, FIELD, FLOATER],
        check=checks,
    )
    for one, other in zip(metric[:2], us[:2], strict=True):
        for key in ("original_sg", "sg", "abv"):
            assert other[key] == pytest.approx(one[key], abs=1e-9)
