"""The calibration sheet: lines, history, intervals, what the ± is made of."""

from __future__ import annotations

import numpy as np
import pytest

from tests import oracles
from tests.workbook.conftest import (
    BENCH,
    FIELD,
    GLASS,
    SPINDLE,
    day,
    many_checks,
    reading,
    water_check,
)
from xlfuncs.cells.values import date_serial
from xlfuncs.functions.calibration import CALIBRATION_FIT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG, WORT_SG_UNCERTAINTY
from xlfuncs.science import budget, hydrometer, sucrose
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U, Calibration
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.words import Choices

FIT = ("offset", "slope", "u", "u_slope", "centre", "points")
#: Reading and reference together, °Bx.
POINT_U = (BENCH["fine"] ** 2 + defaults.SOLUTION_U**2) ** 0.5
OFFSET_U = BENCH["fine"]


@pytest.mark.parametrize(
    ("shown", "known"),
    [
        ((0.2,), (0.0,)),
        ((0.2, 10.4), (0.0, 10.0)),
        ((0.2, 10.4, 20.3), (0.0, 10.0, 20.0)),
        ((0.2, 4.9), (0.0, 4.9)),  # too close together for a slope
        ((0.2, 5.3), (0.0, 5.0)),
        ((None, 10.1, 12.3), (None, 10.0, 12.0)),
        ((0.2, None, 20.3), (0.0, None, 20.0)),
    ],
)
def test_the_line_is_that_of_calibration_fit(computed, shown, known):
    check = {"instrument": "bench", "date": day(2026, 3, 1)}
    check |= {f"shown_{i}": value for i, value in enumerate(shown, 1)}
    check |= {f"known_{i}": value for i, value in enumerate(known, 1) if i > 1}
    row = computed(inst=[BENCH], check=[check]).table("fit", *FIT)[0]
    u = POINT_U if len(shown) > 1 else BENCH["fine"]
    offset, slope, u_offset, u_slope, _, points = CALIBRATION_FIT(
        [x for x in shown if x is not None], [x for x in known if x is not None], u
    )[0]
    assert (row["offset"], row["slope"], row["points"]) == pytest.approx((offset, slope, points))
    assert row["u_slope"] == pytest.approx(u_slope)
    # At zero, where the offset is: the mean and the slope's doubt over its way there.
    at_zero = Calibration(row["u"], row["centre"], row["u_slope"]).at(0.0)
    assert at_zero == pytest.approx(u_offset, abs=1e-12)


def test_the_doubt_at_a_reading_knows_that_offset_and_slope_hang_together(computed):
    """Two points at 0 and 20: between them the line is surer than at its ends."""
    check = water_check(BENCH, day(2026, 3, 1), 0.0) | {"shown_2": 20.0, "known_2": 20.0}
    book = computed(inst=[BENCH], check=[check], log=[reading(BENCH, 12), reading(BENCH, 0.5)])
    rows = book.table("line", "u_cal")
    assert rows[0]["u_cal"] == pytest.approx(POINT_U * (0.4**2 + 0.6**2) ** 0.5)
    assert rows[1]["u_cal"] == pytest.approx(POINT_U * (0.975**2 + 0.025**2) ** 0.5)


def test_malt_extract_tells_the_offset_and_never_a_slope(computed):
    """A slope of 1.04 is the wort factor: taken for a slope it would be applied twice."""
    check = {"instrument": "bench", "date": day(2026, 3, 1), "shown_2": 12.9, "known_2": 1.05,
             "known_in": "SG", "made_of": words.MALT_EXTRACT}  # fmt: skip
    book = computed(inst=[BENCH], check=[check], log=[reading(BENCH, 12.9)])
    fit = book.table("fit", "offset", "slope", "u")[0]
    plato = float(sucrose.plato(1.05))
    assert (fit["offset"], fit["slope"]) == pytest.approx((12.9 - 1.04 * plato, 1))
    assert fit["u"] == pytest.approx((0.1**2 + (plato * 0.012) ** 2) ** 0.5)
    assert book.table("log", "sg")[0]["sg"] == pytest.approx(1.05, abs=1e-9)


def test_water_and_malt_extract_together_give_no_slope(computed):
    check = water_check(BENCH, day(2026, 3, 1), 0.0) | {
        "shown_2": 12.88, "known_2": 12.39, "made_of": words.MALT_EXTRACT,
    }  # fmt: skip
    fit = computed(inst=[BENCH], check=[check]).table("fit", "offset", "slope", "u_slope")[0]
    assert (fit["slope"], fit["u_slope"]) == (1, UNCHECKED_SLOPE_U)
    assert fit["offset"] == pytest.approx(0, abs=0.01)


def test_a_bad_reading_of_a_check_is_named_in_its_line(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.1) | {"shown_2": "ten", "known_2": 10},
              water_check(BENCH, day(2026, 3, 2), 0.1)]  # fmt: skip
    rows = computed(inst=[BENCH], check=checks).table("check", "offset", "verdict")
    assert rows[0] == {"offset": '! reading "ten" is not a number', "verdict": None}
    assert rows[1]["offset"] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("instrument", "scale", "reference", "true"),
    [
        (BENCH, "SG", 1.05, float(sucrose.plato(1.05))),
        (BENCH, "Plato", 12.0, 12.0),
        (BENCH, "Brix", 12.0, 12.0),
        (GLASS, "Brix", 12.39, float(sucrose.sg(12.39))),
        (GLASS, "Plato", 12.39, float(sucrose.sg(12.39))),
        (GLASS, "SG", 1.05, 1.05),
    ],
)
def test_references_in_any_scale(computed, instrument, scale, reference, true):
    check = {
        "instrument": instrument["name"],
        "date": day(2026, 3, 1),
        "shown_2": true + 0.001,
        "known_2": reference,
        "known_in": scale,
    }
    row = computed(inst=[instrument], check=[check]).table("check", "offset")[0]
    assert row["offset"] == pytest.approx(0.001, abs=1e-9)


def test_a_thermometer_has_an_offset_in_its_own_unit(computed):
    probe = {"name": "probe", "kind": "thermometer", "fine": 0.2, "tolerated": 0.5,
             "interval": 365}  # fmt: skip
    checks = [
        {"instrument": "probe", "date": day(2026, 3, 1), "shown_2": 0.4, "known_2": 0,
         "shown_3": 100.8, "known_3": 100},
        {"instrument": "probe", "date": day(2026, 3, 2), "shown_2": 0.4},
    ]  # fmt: skip
    book = computed(inst=[probe], check=checks)
    state = book.table("state", "offset", "slope", "u", "status")[0]
    assert state["offset"] == pytest.approx(0.6)
    assert (state["slope"], state["status"]) == (1, "adjust")
    assert state["u"] == pytest.approx(0.2 / 2**0.5)
    assert book.table("check", "offset")[1]["offset"] is None  # without reference


def test_as_left_counts_after_as_found_of_the_same_day(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 1), 0.0, **{"as": "as left"}),
        water_check(FIELD, day(2026, 3, 1), 0.6),
    ]
    book = computed(inst=[FIELD], check=checks, log=[reading(FIELD, 12)])
    assert book.table("state", "offset")[0]["offset"] == 0
    assert book.table("log", "sg")[0]["sg"] == pytest.approx(WORT_SG(12))


def test_a_check_dated_ahead_is_named_and_not_yet_in_force(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 1), 0.1),
        water_check(FIELD, day(2026, 3, 14, 18), 0.15),  # the day of the state, to its end
        water_check(FIELD, day(2026, 3, 15), 0.3),
        water_check(BENCH, day(2027, 3, 1), 0.1),
    ]
    log = [reading(FIELD, 12, day(2026, 3, 14, 20)), reading(FIELD, 12, day(2026, 3, 15))]
    book = computed(inst=[FIELD, BENCH], check=checks, log=log)
    state = book.table("state", "offset", "days", "status")
    assert state[0] == {"offset": pytest.approx(0.15), "days": 0, "status": "probably ok"}
    assert state[1] == {"offset": None, "days": None, "status": "not checked"}
    verdicts = [row["verdict"] for row in book.table("check", "verdict")[:4]]
    assert verdicts == ["probably within"] * 2 + ["dated ahead"] * 2
    found = [row["sg"] for row in book.table("log", "sg")[:2]]
    wanted = [WORT_SG(REFRACTOMETER_BRIX(12, 20, offset)) for offset in (0.15, 0.3)]
    assert found == pytest.approx(wanted, abs=1e-12)


def test_a_blank_tolerance_is_that_of_its_kind(computed):
    checks = [water_check(FIELD, day(2026, 3, d), 0.5) for d in (1, 2, 3)]
    book = computed(inst=[FIELD | {"tolerated": None}], check=checks)
    assert [row["verdict"] for row in book.table("check", "verdict")[:3]] == ["outside"] * 3
    assert book.table("inst", "used_tolerance")[0]["used_tolerance"] == 0.2
    assert book.table("state", "status")[0]["status"] == "adjust"


def test_an_instrument_never_checked_says_so(computed):
    row = computed(inst=[FIELD]).table("state", "status", "offset")[0]
    assert row == {"status": "not checked", "offset": None}


@pytest.mark.parametrize(
    ("offset", "said"),
    [(0.0, "within"), (0.1, "probably within"), (0.3, "probably outside"), (0.5, "outside")],
)
def test_a_check_is_judged_with_its_doubt(computed, offset, said):
    row = computed(
        inst=[BENCH], check=[water_check(BENCH, day(2026, 3, 1), offset)]
    ).table("check", "verdict")[0]  # fmt: skip
    assert row["verdict"] == said


def test_texts_that_begin_like_formulas_stay_texts(computed):
    """As an import leaves them: a name, a number with its sign, a call."""
    tools = [FIELD | {"name": "@home"}, BENCH | {"name": "-7 spindle"}]
    checks = [water_check(tools[0], day(2026, 3, 1), 0) | {"shown_1": "+0.1"},
              water_check(tools[1], day(2026, 3, 1), 0) | {"shown_1": "-x"}]  # fmt: skip
    book = computed(inst=tools, check=checks, log=[reading(tools[0], "+12.1")])
    offsets = [row["offset"] for row in book.table("check", "offset")[:2]]
    assert offsets == [pytest.approx(0.1), '! reading "-x" is not a number']
    assert book.table("log", "sg")[0]["sg"] == pytest.approx(
        WORT_SG(REFRACTOMETER_BRIX(12.1, 20, 0.1))
    )
    assert [row["name"] for row in book.table("state", "name")[:2]] == ["@home", "-7 spindle"]


HISTORY = {"checks": "history_all", "drift": "state_drift", "expanded": "state_drift_expanded",
           "centre": "history_mean", "low": "history_low", "high": "history_high",
           "verdict": "state_control", "interval": "state_interval"}  # fmt: skip
DATES = [day(2025, 9, 1), day(2025, 10, 3), day(2025, 11, 1), day(2025, 12, 5), day(2025, 12, 5),
         day(2026, 1, 4), day(2026, 2, 1), day(2026, 3, 1)]  # fmt: skip
OFFSETS = np.array([0.05, 0.10, 0.16, 0.25, 0.0, 0.05, 0.08, 0.15])
LEFT = np.arange(8) == 4


@pytest.fixture
def history(computed):
    """The history of one instrument between those of two others, its checks in any order."""
    checks = [
        water_check(BENCH, date, float(offset), **{"as": "as left" if left else None})
        for date, offset, left in zip(DATES, OFFSETS, LEFT, strict=True)
    ]
    others = [water_check(FIELD, day(2026, 1, d), 0.3) for d in (1, 2, 3)]
    return computed(
        cells={"interval_by_history": "yes"},
        inst=[FIELD, BENCH, GLASS],
        check=[*checks[::-1], *others],
    )


def test_history_is_that_of_the_science(history):
    row = history.lines(HISTORY)[1]
    days = np.array([date_serial(date) for date in DATES])
    moved = oracles.drift(days, OFFSETS, OFFSET_U, LEFT)
    bounds = oracles.limits(OFFSETS, LEFT)
    assert row["checks"] == 8
    assert (row["drift"], row["expanded"]) == pytest.approx((moved.rate, 2 * moved.u_rate))
    assert (row["centre"], row["low"], row["high"]) == pytest.approx(
        (bounds.centre, bounds.low, bounds.high), abs=1e-5
    )
    assert row["verdict"] == "in control"
    expected = oracles.staircase(
        BENCH["interval"], OFFSETS.tolist(), BENCH["tolerated"], LEFT.tolist()
    )
    assert row["interval"] == pytest.approx(expected)


def test_the_next_date_follows_the_history_on_request(history):
    state = history.table("state", "date", "due")[1]
    interval = history.column("state_interval")[1]
    assert state["due"] == state["date"] + round(interval)


def test_without_request_the_interval_of_setup_stands(computed):
    checks = [water_check(BENCH, date, 0.0) for date in DATES]
    state = computed(inst=[BENCH], check=checks).table("state", "date", "due")[0]
    assert state["due"] == state["date"] + BENCH["interval"]


def test_few_checks_have_no_limits(history):
    rows = history.lines(HISTORY)
    assert rows[2]["verdict"] == "few checks"
    assert [rows[2][key] for key in ("drift", "low", "high")] == [None] * 3
    assert rows[3]["verdict"] is None
    assert rows[0]["drift"] == pytest.approx(0)


def test_a_jump_is_outside_the_limits(computed):
    offsets = [0.0, 0.02] * 8 + [0.5, 0.5]
    checks = [
        water_check(BENCH, day(2025, 1 + i // 2, 1 + 14 * (i % 2)) if i < 24 else None, offset)
        for i, offset in enumerate(offsets)
    ]
    row = computed(inst=[BENCH], check=checks).lines(HISTORY)[0]
    bounds = oracles.limits(np.array(offsets))
    assert row["verdict"] == f"{oracles.outside(np.array(offsets), bounds).size} outside"
    assert not row["verdict"].startswith("0")


def share(book):
    rows = [row for row in book.table("share", "source", "u", "part") if row["source"]]
    assert [row["u"] for row in rows] == sorted((row["u"] for row in rows), reverse=True)
    return {row["source"]: row["u"] for row in rows}, rows


def test_budget_of_a_refractometer(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.1)]
    book = computed(
        cells={"budget_reading": 12.1, "budget_temperature": 25, "set_u_temperature": 1,
               "budget_u_cloud": 0.05},
        inst=[FIELD], check=checks,
    )  # fmt: skip
    found, rows = share(book)

    def sg(shown=12.1, celsius=25.0, factor=1.04):
        return WORT_SG(REFRACTOMETER_BRIX(shown, celsius, 0.1), factor)

    base = sg()
    u_cal = Calibration(0.1, 0.0, UNCHECKED_SLOPE_U).at(12.1)
    expected = {
        "reading": sg(12.2) - base,
        "calibration": sg(12.1 + u_cal) - base,
        "wort factor": base - sg(factor=1.052),
        "temperature": sg(celsius=26.0) - base,
        "cloudiness": sg(12.15) - base,
    }
    assert found == pytest.approx(expected, rel=1e-6)
    total = sum(u**2 for u in expected.values()) ** 0.5
    assert book.cell("budget_answer") == pytest.approx(2 * total, rel=1e-6)
    assert sum(row["part"] for row in rows if row["part"]) == pytest.approx(1)


def test_budget_is_the_uncertainty_of_the_log(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.0)]
    book = computed(
        cells={"budget_reading": 12}, inst=[FIELD, BENCH], check=checks, log=[reading(FIELD, 12)]
    )
    u_drop = (0.1**2 + (defaults.BRIX_PER_DEGREE * budget.THERMOMETER_U) ** 2) ** 0.5
    u_cal = Calibration(0.1).at(12.0)
    assert book.cell("budget_answer") == pytest.approx(
        2 * WORT_SG_UNCERTAINTY(12, 1.04, u_drop, 0.012, u_cal), rel=5e-3
    )
    assert book.cell("budget_answer") == pytest.approx(
        book.table("log", "expanded")[0]["expanded"], rel=5e-3
    )


def test_what_a_compensation_leaves_stands_in_the_log(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.0)]
    row = computed(inst=[BENCH], check=checks, log=[reading(BENCH, 12)]).table("line", "u_drop")[0]
    assert row["u_drop"] == pytest.approx((0.1**2 + budget.COMPENSATION_U**2) ** 0.5)


def test_budget_of_a_hydrometer(computed):
    checks = [water_check(SPINDLE, day(2026, 3, 1), -1.0)]
    book = computed(
        cells={"budget_reading": 12, "budget_temperature": 30, "set_u_temperature": 2},
        inst=[SPINDLE], check=checks,
    )  # fmt: skip
    found, _ = share(book)
    assert found["reading"] == pytest.approx(0.1 * defaults.SG_PER_PLATO, rel=0.01)
    shown = float(sucrose.sg(12.0))
    assert found["temperature"] == pytest.approx(
        hydrometer.sg(shown, 32) - hydrometer.sg(shown, 30), rel=0.01
    )
    assert found["wort factor"] == pytest.approx(0, abs=1e-9)


def test_no_reading_no_budget(computed):
    book = computed(inst=[FIELD])
    assert book.cell("budget_answer") is None
    assert [row["source"] for row in book.table("share", "source")] == [None] * 6


def test_more_instruments_and_checks_than_usual(computed):
    instruments = [FIELD | {"name": f"no {i}"} for i in range(20)]
    checks = [
        water_check(instruments[i % 20], day(2026, 1 + i // 100, 1 + i % 28), i / 1000)
        for i in range(200)
    ]
    book = computed(Choices(rows=20, instruments=20, checks=200), inst=instruments, check=checks)
    rows = book.lines({"checks": "history_all"})
    assert [row["checks"] for row in rows] == [10] * 20
    assert all(row["status"] for row in book.table("state", "status"))


def test_five_thousand_checks(computed):
    tools, checks = many_checks(5000)
    # Readings at moments of their own, the last of them after all checks.
    log = [reading(tools[3], 12, day(2013 + i, 6, 15, 12)) for i in range(14)]
    choices = Choices(rows=20, instruments=12, checks=5000)
    book = computed(choices, inst=tools, check=checks, log=log)
    lines = book.table("fit", "offset", "slope", "u")
    rows = book.lines(HISTORY)
    states = book.table("state", "date", "offset", "slope", "days")
    assert sum(row["checks"] for row in rows) == 5000
    for tool, row, state in zip(tools, rows, states, strict=True):
        own = sorted(
            (date_serial(check["date"]), check.get("as") == "as left", place)
            for place, check in enumerate(checks)
            if check["instrument"] == tool["name"]
        )
        dates, left, places = (np.array(column) for column in zip(*own, strict=True))
        offsets = np.array([lines[place]["offset"] for place in places])
        u = np.array([lines[place]["u"] for place in places])
        moved = oracles.drift(dates, offsets, u, left)
        bounds = oracles.limits(offsets, left)
        last = lines[places[-1]]
        assert (row["drift"], row["expanded"]) == pytest.approx(
            (moved.rate, 2 * moved.u_rate), rel=1e-6
        )
        assert (row["centre"], row["low"], row["high"]) == pytest.approx(
            (bounds.centre, bounds.low, bounds.high), abs=1e-5
        )
        # The sheet counts those found beyond the limits; what was just set says nothing.
        assert row["verdict"].endswith(("outside", "in control"))
        assert row["interval"] == pytest.approx(
            oracles.staircase(tool["interval"], offsets.tolist(), tool["tolerated"], left.tolist())
        )
        assert (state["date"], state["offset"], state["slope"]) == pytest.approx(
            (dates[-1], last["offset"], last["slope"])
        )
    mine = [(date_serial(c["date"]), lines[i]) for i, c in enumerate(checks)
            if c["instrument"] == tools[3]["name"]]  # fmt: skip
    for line, found in zip(log, book.table("log", "sg"), strict=False):
        before = [one for one in mine if one[0] <= date_serial(line["date"])]
        _, force = max(before, key=lambda one: one[0])
        true = REFRACTOMETER_BRIX(12, 20, force["offset"], force["slope"])
        assert found["sg"] == pytest.approx(WORT_SG(true), abs=1e-12)
