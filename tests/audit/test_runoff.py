"""Readings of the Runoff sheet, which share one date, one batch and one refractometer."""

from __future__ import annotations

import pytest

from tests.audit.test_rules import GOOD, GOOD_GLASS, codes, only, stored
from tests.audit.test_sheets import CHECKS, NARROW, TOOLS, beer, first_cell, first_cells
from tests.workbook.conftest import BENCH, FIELD, GLASS, TODAY, day
from tests.workbook.test_sheets import reading, water_check
from xlfuncs.audit import run
from xlfuncs.functions.instruments import WORT_SG

SHARED = {"run_batch": "1", "run_date": day(2026, 3, 7), "run_instrument": "field"}


def runoff(shown, **more):
    return {
        "volume": 10,
        "volume_temperature": 70,
        "reading": shown,
        "temperature": 20,
    } | more


FALLING = [runoff(shown, volume=30 - shown) for shown in (17.1, 12.2, 7.3)]


@pytest.fixture
def found(filled):
    """Fill the sheet and audit it: what is found, by code and named cell."""

    def make(run_rows, cells=(), inst=(*TOOLS, NARROW), **tables):
        tables.setdefault("check", [*CHECKS, water_check(NARROW, day(2026, 3, 1), 0.1)])
        path = filled(cells=SHARED | dict(cells), run=run_rows, inst=inst, **tables)
        keys = ("batch", "date", "instrument", "limit", "reading", "ph", "volume")
        places = first_cells(path, *(f"run_{key}" for key in keys))
        names = dict(zip(places, keys, strict=True))
        audit = run.audit(path, TODAY)
        assert audit.readings == len(run_rows) + len(tables.get("log", ()))
        return [
            (one.code, names.get((one.sheet, one.cell)), one.reason)
            for one in audit.findings
            if one.code != "not-computed"
        ]

    return make


def test_a_falling_runoff_has_no_findings(found):
    """Its gravities neither disagree with each other nor with what the log says of that day."""
    log = [reading(GLASS, 1.0480, day(2026, 3, 7), stage="runoff"),
           reading(GLASS, 1.0480, day(2026, 3, 7), stage=None)]  # fmt: skip
    assert found(FALLING, log=log) == []


@pytest.mark.parametrize(
    ("line", "cells", "code", "place", "words"),
    [
        (runoff(9), {"run_date": day(2026, 2, 1)}, "no-check", "reading", "before 2026-02-01"),
        (runoff(9, temperature=None), {}, "temperature-missing", "reading", "20 °C"),
        (runoff(9, temperature=38), {"run_instrument": "bench"}, "not-compensated", "reading",
         "from 10 to 30 °C"),
        (runoff(9), {"run_instrument": "narrow"}, "outside-range", "reading", "range of narrow"),
        (runoff(41), {}, "no-gravity", "reading", "reading 41 is outside"),
        (runoff(9, temperature="warm"), {}, "no-gravity", "reading", "warm is not a number"),
        (runoff(9, temperature="27"), {}, "no-gravity", "reading", "temperature 27 is not"),
        (runoff("nine"), {}, "no-gravity", "reading", '"nine" is not a number'),
        (runoff(9, ph="=5+0.5"), {}, "formula", "ph", "formula"),
        (runoff(9, volume="@home"), {}, "text-like-formula", "volume", "formula"),
    ],
)  # fmt: skip
def test_readings_on_runoff(found, line, cells, code, place, words):
    [finding] = found([line], cells)
    assert finding[:2] == (code, place)
    assert words in finding[2]


@pytest.mark.parametrize(
    ("cells", "code", "place", "words"),
    [
        ({"run_date": None}, "no-date", "date", "no calibration"),
        ({"run_date": "last week"}, "no-date", "date", "no date that can be read"),
        ({"run_date": day(2026, 3, 20)}, "future", "date", "2026-03-20"),
        ({"run_instrument": None}, "no-instrument", "instrument", "no instrument"),
        ({"run_instrument": "old name"}, "unknown-instrument", "instrument", "renamed?"),
        ({"run_instrument": "glass"}, "no-gravity", "instrument", "not a refractometer"),
    ],
)
def test_what_readings_share_is_named_once(found, cells, code, place, words):
    [finding] = found(FALLING, cells)
    assert finding[:2] == (code, place)
    assert words in finding[2]


def test_an_empty_sheet_asks_for_nothing(found):
    assert found([], dict.fromkeys(SHARED)) == []


def test_every_reading_without_a_check_in_time_is_named(found):
    assert [one[0] for one in found(FALLING, check=[])] == ["no-check"] * 3
    strict = [FIELD | {"interval": 5}, BENCH, GLASS, NARROW]
    assert [one[0] for one in found(FALLING, inst=strict)] == ["check-overdue"] * 3


def test_a_bad_check_doubts_the_runoff(audited):
    finding = only(
        audited(
            inst=[FIELD],
            check=[
                GOOD,
                water_check(FIELD, day(2026, 3, 10), 0.7),
                water_check(FIELD, day(2026, 3, 10, 9), 0.0, state="as left"),
            ],
            cells=SHARED,
            run=FALLING,
        )
    )
    assert (finding.code, finding.severity) == ("outside-tolerance", "severe")
    assert [(d.sheet, d.batch) for d in finding.in_doubt] == [("Runoff", "1")] * 3
    for doubt, shown in zip(finding.in_doubt, (17.1, 12.2, 7.3), strict=True):
        assert doubt.recorded_sg == pytest.approx(WORT_SG(shown - 0.1), abs=1e-5)
        assert doubt.corrected_sg == pytest.approx(WORT_SG(shown - 0.7), abs=1e-5)


@pytest.mark.parametrize(
    ("date", "check"),
    [
        (day(2026, 3, 7), day(2026, 3, 7, 14)),  # a day alone takes every check of that day
        (day(2026, 3, 7, 15), day(2026, 3, 7, 14)),
        (day(2026, 3, 7, 9), day(2026, 3, 7, 14)),  # before it was checked
        (None, day(2026, 3, 7)),
    ],
)
@pytest.mark.parametrize("tool", [FIELD, BENCH])
def test_the_runoff_is_computed_anew(filled, date, check, tool):
    """With the check that the sheet itself chooses: what is computed is what is stored."""
    path = filled(
        compute=True,
        inst=[FIELD, BENCH],
        check=[
            *(water_check(one, day(2026, 3, 1), 0.1) for one in (FIELD, BENCH)),
            *(water_check(one, check, -0.15) for one in (FIELD, BENCH)),
        ],
        cells=SHARED | {"run_date": date, "run_instrument": tool["name"]},
        run=[*FALLING, runoff(5, temperature=27), runoff(4, temperature=None)],
    )
    assert {one.code for one in run.audit(path, TODAY).findings} <= {
        "no-date",
        "temperature-missing",
    }
    stored(path, "run_sg", 1.09)
    changed = [one for one in run.audit(path, TODAY).findings if one.code == "gravity-changed"]
    assert [(one.sheet, one.cell) for one in changed] == [first_cell(path, "run_reading")]
    assert "the file shows 1.0900" in changed[0].reason


def test_the_stored_value_of_a_formula_is_taken(filled):
    path = filled(
        compute=True,
        inst=[FIELD],
        check=[GOOD],
        cells=SHARED | {"run_date": "=TODAY()"},
        run=[runoff("=4+5")],
    )
    audit = run.audit(path, TODAY)
    assert audit.readings == 1
    assert codes(audit) == [("formula", "warning")] * 2
    places = first_cells(path, "run_date", "run_reading")
    assert {(one.sheet, one.cell) for one in audit.findings} == set(places)


def test_the_runoff_alone_can_be_what_was_never_computed(filled):
    path = filled(inst=[FIELD], check=[GOOD], cells=SHARED, run=FALLING)
    assert codes(run.audit(path, TODAY)) == [("not-computed", "note")]


def test_the_runoff_is_neither_a_target_nor_an_original(filled):
    """What the log says of the batch counts there, not the Runoff sheet beside it."""
    path = filled(
        compute=True,
        inst=[FIELD, GLASS],
        check=[GOOD, GOOD_GLASS],
        cells=SHARED,
        run=FALLING,
        log=[reading(GLASS, 1.0500, stage="into fermenter")],
        ferment=[beer(FIELD, 6.6, original=None)],
        target=[{"gravity": 1.048, "gravity_tolerance": 0.004}],
    )
    assert run.audit(path, TODAY).findings == []
