"""Gravity, attenuation and alcohol while yeast is at work, on every kind of instrument."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.workbook.conftest import BENCH, FIELD, GLASS, SMALL, day
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
from xlfuncs.workbook import words
from xlfuncs.workbook.sheets import fermentation
from xlfuncs.workbook.words import Choices

FLOATER = {"name": "floater", "kind": "floating hydrometer", "scale": "SG", "fine": 0.001}
INST = (BENCH, GLASS, FIELD, FLOATER)
CHECKS = [
    {"instrument": "bench", "date": day(2026, 2, 15), "shown_1": 0.0},
    {"instrument": "field", "date": day(2026, 2, 15), "temperature": 20, "shown_1": 0.0},
    {"instrument": "glass", "date": day(2026, 2, 15), "temperature": 20, "shown_1": 1.001},
    {"instrument": "floater", "date": day(2026, 2, 15), "temperature": 40, "shown_1": 1.003},
]
KEYS = ("gravity", "expanded", "apparent_now", "apparent_expanded", "real_now", "real_expanded",
        "abv_now", "abv_expanded")  # fmt: skip
PITCHED = day(2026, 3, 7)


def line(instrument, reading, date=day(2026, 3, 8), stage=words.FERMENTING, **more):  # noqa: B008
    row = {"date": date, "batch": "1", "stage": stage, "instrument": instrument}
    return row | {"reading": reading, "temperature": 20} | more


def pitched(sg, date=PITCHED, **more):
    return line("glass", sg + 0.001, date, words.INTO_FERMENTER, **more)


@pytest.fixture
def brewed(computed):
    def make(*log, choices=None, plan=None, batch=None, check=CHECKS, inst=INST, **cells):
        batches = batch or [{"name": "1", "into_fermenter_gravity": plan}, {"name": "2"}]
        return computed(choices, cells, inst=inst, check=check, batch=batches, log=log)

    return make


def test_an_unfilled_sheet_shows_no_figures(computed):
    book = computed()
    for row in book.table("ferment", "date", "day", "instrument", "remark", *KEYS):
        assert set(row.values()) == {None}
    for key in ("batch", "from", "began", "state", "final", "near", "plan", "says"):
        assert book.cell(f"ferment_{key}") is None
    assert book.cell("forecast_why_not") is None
    assert book.cell("ferment_answer") == "Choose a batch on Batches, or log a reading."


def test_a_refractometer_is_corrected_for_alcohol_with_its_uncertainty(brewed):
    book = brewed(pitched(1.05), line("bench", 6.5))
    row = book.table("ferment", *KEYS)[0]
    sg = BEER_SG(1.05, 6.5)
    assert row["gravity"] == pytest.approx(sg, abs=1e-12)
    assert row["expanded"] == pytest.approx(book.column("log_expanded")[1])
    assert row["apparent_now"] == pytest.approx(APPARENT_ATTENUATION(1.05, sg))
    assert row["real_now"] == pytest.approx(REAL_ATTENUATION(1.05, sg))
    assert row["abv_now"] == pytest.approx(BEER_ABV(1.05, sg))
    assert book.column("ferment_remark")[0] == "no proof that it has ended"
    assert book.cell("ferment_from") == pytest.approx(1.05)
    assert book.cell("ferment_from_where") == "measured, into fermenter"


def test_hydrometers_of_glass_and_floating_need_no_correction_for_alcohol(brewed):
    cold = {"temperature": 12}
    book = brewed(pitched(1.05), line("glass", 1.012, **cold), line("floater", 1.015, **cold))
    glass, floating = book.table("ferment", *KEYS)[:2]
    assert glass["gravity"] == pytest.approx(HYDROMETER_SG(1.011, 12, 20), abs=1e-12)
    # No glass, so no temperature; its check in water at 40 °C found 0.003 too much.
    assert floating["gravity"] == pytest.approx(1.012, abs=1e-12)
    assert floating["abv_now"] == pytest.approx(BEER_ABV(1.05, 1.012))
    assert book.column("ferment_remark")[:2] == [None, None]


def test_the_original_is_the_latest_reading_into_the_fermenter(brewed):
    book = brewed(
        pitched(1.052, day(2026, 3, 7, 14)),
        pitched(1.048, day(2026, 3, 7, 13)),
        pitched(1.061, day(2026, 3, 8), batch="2"),
        line("bench", 6.5, day(2026, 3, 9)),
    )
    assert book.cell("ferment_from") == pytest.approx(1.052, abs=1e-12)
    row = book.table("ferment", *KEYS)[0]
    # What the log knows of the original's uncertainty goes into that of the beer.
    u_original = book.column("log_u")[0]
    both = np.hypot(book.column("line_u_drop")[3], book.column("line_u_cal")[3])
    u = BEER_SG_UNCERTAINTY(1.052, 6.5, 1.04, float(both), u_original=u_original)
    assert row["expanded"] == pytest.approx(2 * u, rel=1e-6)
    assert book.cell("ferment_from_expanded") == pytest.approx(2 * u_original)


def test_without_a_reading_the_original_is_the_plans_and_it_says_so(brewed):
    book = brewed(line("bench", 6.5), plan=1.05)
    assert book.cell("ferment_from_where") == "from the plan, not measured"
    assert book.cell("ferment_from_expanded") == pytest.approx(0.002)
    assert book.table("ferment", *KEYS)[0]["gravity"] == pytest.approx(BEER_SG(1.05, 6.5))
    assert book.column("ferment_remark")[0] == "original from the plan"
    assert set(book.column("course_original")) == {"#N/A"}


def test_without_any_original_a_hydrometer_still_tells_the_gravity(brewed):
    book = brewed(line("bench", 6.5), line("glass", 1.012, day(2026, 3, 9)))
    drop, jar = book.table("ferment", *KEYS)[:2]
    assert set(drop.values()) == {None}
    assert jar["gravity"] == pytest.approx(1.011)
    assert jar["expanded"] > 0
    assert (jar["apparent_now"], jar["abv_now"], jar["abv_expanded"]) == (None, None, None)
    assert book.column("ferment_remark")[0] == "original gravity is missing"
    assert "missing" in book.cell("ferment_from_where")
    assert "missing" in book.cell("ferment_answer")


@pytest.mark.parametrize("instrument", ["bench", "glass"])
@pytest.mark.parametrize("measured", [True, False])
def test_every_figure_has_its_uncertainty(brewed, instrument, measured):
    """Against a Monte Carlo run (JCGM 101) of readings, checks, wort factor, original and model."""
    reading = 6.5 if instrument == "bench" else 1.012
    beer = line(instrument, reading)
    book = brewed(pitched(1.050), beer) if measured else brewed({}, beer, plan=1.05)
    found = book.table("ferment", *KEYS)[0]
    rng, size = np.random.default_rng(5), 50_000

    def around(value, u):
        return value + u * rng.normal(size=size)

    u_original = book.column("log_u")[0] if measured else 0.001
    originals = around(1.05, u_original)
    if instrument == "bench":
        drop, check = book.column("line_u_drop")[1], book.column("line_u_cal")[1]
        brix = around(6.5, np.hypot(drop, check))
        factors = around(1.04, book.cell("beer_u_wort_factor"))
        corrected = np.array(BEER_SG(list(originals), list(brix), list(factors)))
        sgs = corrected + around(0, book.cell("beer_u_model"))
    else:
        # One hydrometer: what its check is uncertain by is in both gravities.
        check = book.column("line_u_check")[1]
        scale = around(0, check) if measured else 0
        sgs = scale + around(1.011, np.sqrt(book.column("log_u")[1] ** 2 - (check * measured) ** 2))
        if measured:
            originals = scale + around(1.05, np.sqrt(u_original**2 - check**2))
    # The draws know a deviation within 1 %; the rest is what first order leaves out.
    assert found["expanded"] == pytest.approx(2 * sgs.std(), rel=0.03)
    for key, function in (
        ("apparent", APPARENT_ATTENUATION),
        ("real", REAL_ATTENUATION),
        ("abv", BEER_ABV),
    ):
        drawn = np.array(function(list(originals), list(sgs)))
        assert found[f"{key}_expanded"] == pytest.approx(2 * drawn.std(), rel=0.03), key


SERIES = [(1, 1.046), (2, 1.032), (3, 1.019), (4, 1.013), (6, 1.011)]


def series(instrument="glass", batch="1"):
    return [
        line(instrument, sg + 0.001, day(2026, 3, 7 + n), batch=batch) for n, sg in SERIES[::-1]
    ]


def test_state_and_forecast_of_the_chosen_batch_count_days_from_the_fermenter(brewed):
    log = series()
    log.insert(2, line("glass", 1.030, day(2026, 3, 20), batch="2"))
    book = brewed(pitched(1.05), *log, chosen_batch="1")
    days, sgs = (list(column) for column in zip((0, 1.05), *SERIES, strict=True))
    final, u_final, end, _ = FERMENTATION_FORECAST(days, sgs)[0]
    assert book.cell("ferment_state") == FERMENTATION_STATE(days, sgs)
    assert book.cell("ferment_final") == pytest.approx(final, abs=1e-6)
    assert book.cell("ferment_final_expanded") == pytest.approx(2 * u_final, rel=1e-3)
    began = (PITCHED - day(1899, 12, 30)).days
    assert book.cell("ferment_began") == began
    assert book.cell("ferment_near") == int(began + end)
    assert book.column("ferment_day")[:5] == pytest.approx([1, 2, 3, 4, 6])
    assert book.column("course_original")[0] == pytest.approx(1.05)
    drawn = dict(zip(book.column("course_x")[1:], book.column("course_float")[1:], strict=True))
    del drawn["#N/A"]
    assert drawn == pytest.approx(dict(SERIES))
    apparent, alcohol = APPARENT_ATTENUATION(1.05, 1.011), BEER_ABV(1.05, 1.011)
    last = book.table("ferment", *KEYS)[4]
    spread, doubt = last["apparent_expanded"], last["abv_expanded"]
    assert book.cell("ferment_says") == f"6 days, {apparent:.0f} ± {spread:.0f} % attenuated"
    assert f", {alcohol:.1f} ± {doubt:.1f} % alcohol" in book.cell("ferment_answer")


def test_the_head_of_the_log_says_how_far_it_is(brewed):
    book = brewed(pitched(1.05), *series()[::-1])
    assert book.cell("log_answer").endswith("fermenting: " + book.cell("ferment_says"))


def test_steady_is_no_proof(brewed):
    last = [line("glass", 1.012, day(2026, 3, 7 + n)) for n in (8, 10)]
    book = brewed(pitched(1.05), *series(), *last)
    assert book.cell("ferment_state") == "steady"
    assert book.cell("ferment_answer").endswith("; steady, no proof that it has ended")


def test_few_readings_say_so(brewed):
    book = brewed(pitched(1.05), line("glass", 1.030))
    assert book.cell("ferment_final") is None
    assert book.cell("forecast_why_not") == "a forecast needs 3 readings, not 2"


def test_more_readings_than_the_table_has_lines_all_count(brewed):
    count = fermentation.READINGS + 3
    sgs = [1.011 + 0.04 * 0.8**n for n in range(count)]
    log = [line("floater", sg + 0.003, day(2026, 3, 7, 12 + n % 2)) for n, sg in enumerate(sgs)]
    for n, entry in enumerate(log):
        entry["date"] = day(2026, 3, 7) + (day(2026, 3, 7, 12) - day(2026, 3, 7)) * (n + 1)
    book = brewed(pitched(1.05), *log, choices=Choices(rows=40, checks=20))
    days = [0] + [(n + 1) / 2 for n in range(count)]
    final = FERMENTATION_FORECAST(days, [1.05, *sgs])[0][0]
    assert book.cell("ferment_final") == pytest.approx(final, abs=1e-6)
    assert book.column("ferment_gravity")[-1] == pytest.approx(sgs[-1])
    assert book.cell("ferment_answer").endswith("(3 earlier ones are on the log)")


def test_a_bad_cell_speaks_in_its_own_line_only(brewed):
    book = brewed(
        pitched(1.05),
        line("bench", 6.5, day(2026, 3, 8)),
        line("bench", "six", day(2026, 3, 9)),
        line("bench", 14.5, day(2026, 3, 10)),
        line("glass", 1.061, day(2026, 3, 11)),
        line("bench", 6.5, day(2026, 3, 12)),
    )
    first, strong, heavy, last = book.table("ferment", *KEYS)[:4]
    assert first["gravity"] == last["gravity"] == pytest.approx(BEER_SG(1.05, 6.5))
    assert strong["gravity"].startswith("! brix 14.5 is")
    assert (strong["expanded"], strong["abv_now"]) == (None, strong["gravity"])
    assert heavy["gravity"] == pytest.approx(1.060)
    assert heavy["abv_now"].startswith("! beer_sg 1.06 is above original_sg 1.05")
    assert "(1 more on the log cannot be read)" in book.cell("ferment_answer")


def test_us_units_and_plato_give_the_same_figures(brewed):
    log = [pitched(1.05), line("field", 6.5, temperature=25), line("glass", 1.012, temperature=15)]
    metric = brewed(*log)
    fahrenheit = (68, 77, 59)
    us = brewed(
        *(row | {"temperature": warm} for row, warm in zip(log, fahrenheit, strict=True)),
        choices=replace(SMALL, units="us", gravity="plato"),
        inst=(BENCH, GLASS | {"reference": 68}, FIELD, FLOATER),
        check=[row | {"temperature": 104 if row["instrument"] == "floater" else 68}
               for row in CHECKS],
    )  # fmt: skip
    for one, other in zip(metric.table("ferment", *KEYS)[:2], us.table("ferment", *KEYS)[:2],
                          strict=True):  # fmt: skip
        assert other["gravity"] == pytest.approx(
            GRAVITY_CONVERT(one["gravity"], "SG", "Plato"), abs=1e-6
        )
        for key in KEYS[2:]:
            assert other[key] == pytest.approx(one[key], rel=1e-6), key
    plato = GRAVITY_CONVERT(1.05, "SG", "Plato")  # a few cells: by polynomial, within 2e-5
    assert us.cell("ferment_from") == pytest.approx(plato, abs=2e-5)
