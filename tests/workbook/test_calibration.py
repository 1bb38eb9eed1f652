"""The calibration sheet: lines, history, intervals, what the ± is made of."""

from __future__ import annotations

import numpy as np
import pytest

from tests import oracles
from tests.workbook.conftest import BENCH, FIELD, GLASS, SPINDLE, TODAY, day, many_checks
from tests.workbook.test_sheets import reading, water_check
from xlfuncs.cells.values import date_serial
from xlfuncs.functions.calibration import CALIBRATION_FIT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG, WORT_SG_UNCERTAINTY
from xlfuncs.science import hydrometer, sucrose
from xlfuncs.workbook.vocabulary import Choices

FIT = ("offset", "slope", "u_offset", "u_slope", "residual", "points")


@pytest.mark.parametrize(
    ("shown", "known"),
    [
        ((0.2,), (0.0,)),
        ((0.2, 10.4), (0.0, 10.0)),
        ((0.2, 10.4, 20.3), (0.0, 10.0, 20.0)),
        ((0.2, 4.9), (0.0, 4.9)),  # too close together for a slope
        ((0.2, 5.3), (0.0, 5.0)),
        ((10.1, 12.3, 14.2), (10.0, 12.0, 14.0)),
        ((0.2, None, 20.3), (0.0, None, 20.0)),
    ],
)
def test_the_line_is_that_of_calibration_fit(computed, shown, known):
    check = {"instrument": "bench", "date": day(2026, 3, 1)}
    check |= {f"reading_{i}": value for i, value in enumerate(shown, 1)}
    check |= {f"reference_{i}": value for i, value in enumerate(known, 1)}
    row = computed(inst=[BENCH], check=[check]).table("step", *FIT)[0]
    expected = CALIBRATION_FIT(
        [x for x in shown if x is not None], [x for x in known if x is not None], 0.1
    )[0]
    assert [row[key] for key in FIT] == pytest.approx(
        [None if cell == "" else cell for cell in expected], abs=1e-12
    )


def test_a_bad_reading_of_a_check_is_named_in_its_line(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.1) | {"reading_2": "ten", "reference_2": 10},
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
        "reading_1": true + 0.001,
        "reference_1": reference,
        "reference_scale": scale,
    }
    row = computed(inst=[instrument], check=[check]).table("check", "offset")[0]
    assert row["offset"] == pytest.approx(0.001, abs=1e-9)


def test_a_thermometer_has_an_offset_in_its_own_unit(computed):
    probe = {"name": "probe", "kind": "thermometer", "u_reading": 0.2, "tolerance": 0.5,
             "interval": 365}  # fmt: skip
    checks = [
        {"instrument": "probe", "date": day(2026, 3, 1), "reading_1": 0.4, "reference_1": 0,
         "reading_2": 100.8, "reference_2": 100},
        {"instrument": "probe", "date": day(2026, 3, 2), "reading_1": 0.4},
    ]  # fmt: skip
    book = computed(inst=[probe], check=checks)
    state = book.table("state", "offset", "slope", "u_offset", "status")[0]
    assert state["offset"] == pytest.approx(0.6)
    assert (state["slope"], state["status"]) == (1, "adjust")
    assert state["u_offset"] == pytest.approx(0.2 / 2**0.5)
    assert book.table("check", "offset")[1]["offset"] is None  # without reference


def test_as_left_counts_after_as_found_of_the_same_day(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 1), 0.0, state="as left"),
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
    assert state[0] == {"offset": pytest.approx(0.15), "days": 0, "status": "ok"}
    assert state[1] == {"offset": None, "days": None, "status": "not checked"}
    verdicts = [row["verdict"] for row in book.table("check", "verdict")[:4]]
    assert verdicts == ["within", "within", "dated ahead", "dated ahead"]
    found = [row["sg"] for row in book.table("log", "sg")[:2]]
    wanted = [WORT_SG(REFRACTOMETER_BRIX(12, 20, offset)) for offset in (0.15, 0.3)]
    assert found == pytest.approx(wanted, abs=1e-12)


def test_without_a_tolerance_no_check_is_judged(computed):
    checks = [water_check(FIELD, day(2026, 3, d), 0.5) for d in (1, 2, 3)]
    book = computed(inst=[FIELD | {"tolerance": None}], check=checks)
    assert [row["verdict"] for row in book.table("check", "verdict")[:3]] == ["no tolerance"] * 3
    assert book.table("history", "interval")[0]["interval"] == FIELD["interval"]
    assert [row["status"] for row in book.table("state", "status")[:2]] == ["no tolerance", None]


def test_texts_that_begin_like_formulas_stay_texts(computed):
    """As an import leaves them: a name, a number with its sign, a call."""
    tools = [FIELD | {"name": "@home"}, BENCH | {"name": "-7 spindle"}]
    checks = [water_check(tools[0], day(2026, 3, 1), 0) | {"reading_1": "+0.1"},
              water_check(tools[1], day(2026, 3, 1), 0) | {"reading_1": "-x"}]  # fmt: skip
    book = computed(inst=tools, check=checks, log=[reading(tools[0], "+12.1")])
    offsets = [row["offset"] for row in book.table("check", "offset")[:2]]
    assert offsets == [pytest.approx(0.1), '! reading "-x" is not a number']
    assert book.table("log", "sg")[0]["sg"] == pytest.approx(
        WORT_SG(REFRACTOMETER_BRIX(12.1, 20, 0.1))
    )
    assert [row["name"] for row in book.table("state", "name")[:2]] == ["@home", "-7 spindle"]


HISTORY = ("checks", "drift", "expanded", "centre", "low", "high", "verdict", "interval")
DATES = [day(2025, 9, 1), day(2025, 10, 3), day(2025, 11, 1), day(2025, 12, 5), day(2025, 12, 5),
         day(2026, 1, 4), day(2026, 2, 1), day(2026, 3, 1)]  # fmt: skip
OFFSETS = np.array([0.05, 0.10, 0.16, 0.25, 0.0, 0.05, 0.08, 0.15])
LEFT = np.arange(8) == 4


@pytest.fixture
def history(computed):
    """The history of one instrument between those of two others, its checks in any order."""
    checks = [
        water_check(BENCH, date, float(offset), state="as left" if left else None)
        for date, offset, left in zip(DATES, OFFSETS, LEFT, strict=True)
    ]
    others = [water_check(FIELD, day(2026, 1, d), 0.3) for d in (1, 2, 3)]
    return computed(
        cells={"interval_by_history": "yes"},
        inst=[FIELD, BENCH, GLASS],
        check=[*checks[::-1], *others],
    )


def test_history_is_that_of_the_science(history):
    row = history.table("history", *HISTORY)[1]
    days = np.array([date_serial(date) for date in DATES])
    moved = oracles.drift(days, OFFSETS, BENCH["u_reading"], LEFT)
    bounds = oracles.limits(OFFSETS, LEFT)
    assert row["checks"] == 8
    assert (row["drift"], row["expanded"]) == pytest.approx((moved.rate, 2 * moved.u_rate))
    assert (row["centre"], row["low"], row["high"]) == pytest.approx(
        (bounds.centre, bounds.low, bounds.high), abs=1e-5
    )
    assert row["verdict"] == "in control"
    expected = oracles.staircase(
        BENCH["interval"], OFFSETS.tolist(), BENCH["tolerance"], LEFT.tolist()
    )
    assert row["interval"] == pytest.approx(expected)


def test_the_next_date_follows_the_history_on_request(history):
    state = history.table("state", "date", "due")[1]
    interval = history.table("history", "interval")[1]["interval"]
    assert state["due"] == state["date"] + round(interval)


def test_without_request_the_interval_of_setup_stands(computed):
    checks = [water_check(BENCH, date, 0.0) for date in DATES]
    state = computed(inst=[BENCH], check=checks).table("state", "date", "due")[0]
    assert state["due"] == state["date"] + BENCH["interval"]


def test_few_checks_have_no_limits(history):
    rows = history.table("history", *HISTORY)
    assert rows[2]["verdict"] == "too few checks"
    assert [rows[2][key] for key in ("drift", "centre", "low", "high")] == [None] * 4
    assert rows[3]["verdict"] is None
    assert rows[0]["drift"] == pytest.approx(0)


def test_a_jump_is_outside_the_limits(computed):
    offsets = [0.0, 0.02] * 8 + [0.5, 0.5]
    checks = [
        water_check(BENCH, day(2025, 1 + i // 2, 1 + 14 * (i % 2)) if i < 24 else None, offset)
        for i, offset in enumerate(offsets)
    ]
    row = computed(inst=[BENCH], check=checks).table("history", *HISTORY)[0]
    bounds = oracles.limits(np.array(offsets))
    assert row["verdict"] == f"{oracles.outside(np.array(offsets), bounds).size} outside limits"
    assert not row["verdict"].startswith("0")


def share(book):
    rows = book.table("share", "source", "u", "part")
    assert [row["u"] for row in rows] == sorted((row["u"] for row in rows), reverse=True)
    return {row["source"]: row["u"] for row in rows}, rows


def test_budget_of_a_refractometer(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.1)]
    book = computed(
        cells={"budget_reading": 12.1, "budget_temperature": 25, "budget_u_temperature": 1,
               "budget_u_cloud": 0.05},
        inst=[FIELD], check=checks,
    )  # fmt: skip
    found, rows = share(book)

    def sg(shown=12.1, celsius=25.0, factor=1.04):
        return WORT_SG(REFRACTOMETER_BRIX(shown, celsius, 0.1), factor)

    base = sg()
    expected = {
        "reading": sg(12.2) - base,
        "calibration": sg(12.2) - base,
        "wort factor": base - sg(factor=1.05),
        "temperature": sg(celsius=26.0) - base,
        "cloudiness, colour": sg(12.15) - base,
    }
    assert found == pytest.approx(expected, rel=1e-6)
    total = sum(u**2 for u in expected.values()) ** 0.5
    assert book.cell("budget_expanded") == pytest.approx(2 * total, rel=1e-6)
    assert sum(row["part"] for row in rows) == pytest.approx(1)


def test_budget_without_extras_is_the_uncertainty_of_the_log(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.0)]
    book = computed(
        cells={"budget_reading": 12, "chart_instrument": "bench"}, inst=[FIELD, BENCH],
        check=checks, log=[reading(BENCH, 12)],
    )  # fmt: skip
    found, _ = share(book)
    assert found["temperature"] == pytest.approx(0, abs=1e-9)
    assert book.cell("budget_expanded") == pytest.approx(
        2 * WORT_SG_UNCERTAINTY(12, 1.04, 0.1, 0.01, 0.1), rel=5e-3
    )
    assert book.cell("budget_expanded") == pytest.approx(
        book.table("log", "expanded")[0]["expanded"], rel=5e-3
    )


def test_budget_of_a_hydrometer(computed):
    checks = [water_check(SPINDLE, day(2026, 3, 1), -1.0)]
    book = computed(
        cells={"budget_reading": 12, "budget_temperature": 30, "budget_u_temperature": 2},
        inst=[SPINDLE], check=checks,
    )  # fmt: skip
    found, _ = share(book)
    assert found["reading"] == pytest.approx(0.0004, rel=0.01)
    shown = float(sucrose.sg(12.0))
    assert found["temperature"] == pytest.approx(
        hydrometer.sg(shown, 32) - hydrometer.sg(shown, 30), rel=0.01
    )
    assert found["wort factor"] == pytest.approx(0, abs=1e-9)


def test_no_reading_no_budget(computed):
    book = computed(inst=[FIELD])
    assert book.cell("budget_expanded") is None
    assert [row["source"] for row in book.table("share", "source")] == [None] * 5


def test_more_instruments_and_checks_than_usual(computed):
    instruments = [FIELD | {"name": f"no {i}"} for i in range(20)]
    checks = [
        water_check(instruments[i % 20], day(2026, 1 + i // 100, 1 + i % 28), i / 1000)
        for i in range(200)
    ]
    book = computed(Choices(rows=20, instruments=20, checks=200), inst=instruments, check=checks)
    rows = book.table("history", "checks")
    assert [row["checks"] for row in rows] == [10] * 20
    assert TODAY.year == 2026
    assert all(row["status"] for row in book.table("state", "status"))


def test_five_thousand_checks(computed):
    tools, checks = many_checks(5000)
    # Readings at moments of their own, the last of them after all checks.
    log = [reading(tools[3], 12, day(2013 + i, 6, 15, 12)) for i in range(14)]
    choices = Choices(rows=20, instruments=12, checks=5000)
    book = computed(choices, inst=tools, check=checks, log=log)
    lines = book.table("step", "offset", "slope", "u_offset")
    rows = book.table("history", *HISTORY)
    states = book.table("state", "date", "offset", "slope", "days")
    assert sum(row["checks"] for row in rows) == 5000
    for tool, row, state in zip(tools, rows, states, strict=True):
        own = sorted(
            (date_serial(check["date"]), check.get("state") == "as left", place)
            for place, check in enumerate(checks)
            if check["instrument"] == tool["name"]
        )
        dates, left, places = (np.array(column) for column in zip(*own, strict=True))
        offsets = np.array([lines[place]["offset"] for place in places])
        u = np.array([lines[place]["u_offset"] for place in places])
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
        assert row["verdict"].endswith(("outside limits", "in control"))
        assert row["interval"] == pytest.approx(
            oracles.staircase(tool["interval"], offsets.tolist(), tool["tolerance"], left.tolist())
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
