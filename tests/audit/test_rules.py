"""One mistake at a time, and the finding that names it."""

from __future__ import annotations

import openpyxl
import pytest

from tests.audit.conftest import stored
from tests.helpers import cells_of
from tests.workbook.conftest import (
    BATCH,
    BENCH,
    FIELD,
    GLASS,
    SPINDLE,
    TODAY,
    day,
    reading,
    water_check,
)
from xlfuncs.audit import run
from xlfuncs.functions.beer import BEER_SG
from xlfuncs.functions.instruments import HYDROMETER_SG, WORT_SG
from xlfuncs.workbook.words import Choices

GOOD = water_check(FIELD, day(2026, 3, 1), 0.1)
GOOD_GLASS = water_check(GLASS, day(2026, 3, 1), 0.0)
GOOD_BENCH = water_check(BENCH, day(2026, 3, 1), 0.0)
TOOLS, CHECKS = [FIELD, BENCH, GLASS], [GOOD, GOOD_BENCH, GOOD_GLASS]


def codes(found):
    return [(finding.code, finding.severity.value) for finding in found.findings]


def only(found):
    """The one finding."""
    assert len(found.findings) == 1, found.findings
    return found.findings[0]


def beer(instrument, value, date=day(2026, 3, 9), **more):  # noqa: B008
    return reading(instrument, value, date, stage="fermenting", **more)


def test_a_good_record_has_no_findings(audited):
    found = audited(
        inst=TOOLS,
        check=CHECKS,
        log=[
            reading(FIELD, 12.1),
            reading(GLASS, 1.0465, stage="after boil"),
            reading(GLASS, 1.0500, stage="into fermenter"),
            beer(FIELD, 6.6),
            beer(GLASS, 1.012, day(2026, 3, 12)),
        ],
    )
    assert found.findings == []
    assert (found.instruments, found.checks, found.readings) == (3, 3, 5)


def test_an_empty_workbook_has_no_findings(audited):
    found = audited()
    assert (found.findings, found.readings) == ([], 0)


MINUTES = "12:00"
NARROW = FIELD | {"name": "narrow", "low": 0, "high": 10}
WIDE = BENCH | {"name": "wide", "compensates_from": 5, "compensates_to": 40}


@pytest.mark.parametrize(
    ("line", "column", "code", "severity", "words"),
    [
        (reading(FIELD, 12, day(2026, 2, 1)), "reading", "no-check", "severe", "before 2026-02-01"),
        (reading(FIELD, 12, temperature=None), "reading", "temperature-missing", "warning",
         "20 °C was assumed"),
        (reading(GLASS, 1.05, temperature=None), "reading", "temperature-missing", "warning",
         "no gravity"),
        (reading(BENCH, 12, temperature=38), "reading", "not-compensated", "warning",
         "from 10 to 30 °C"),
        (reading(WIDE, 12, temperature=41), "reading", "not-compensated", "warning",
         "from 5 to 40 °C"),
        (reading(GLASS, 1.04, temperature=55), "reading", "read-hot", "warning", "55.0 °C"),
        (reading(GLASS, 1.04, temperature=90), "reading", "no-gravity", "severe",
         "outside 0 to 70"),
        (reading(GLASS, 1.04, temperature="warm"), "reading", "no-gravity", "severe",
         "temperature warm is not a number"),
        (reading(FIELD, 41), "reading", "no-gravity", "severe", "reading 41 is outside"),
        (reading(FIELD, "twelve"), "reading", "no-gravity", "severe", '"twelve" is not a number'),
        (reading(NARROW, 10.1), "reading", "outside-range", "severe",
         "10.1 is outside the range of narrow, 0.0 to 10.0"),
        (reading({"name": "probe"}, 20), "reading", "no-gravity", "severe", "is a thermometer"),
        (reading({"name": "old name"}, 12), "instrument", "unknown-instrument", "severe",
         "renamed?"),
        (reading(FIELD, 12, batch="2"), "batch", "unknown-batch", "warning", "not on Batches"),
        (reading(FIELD, 12, batch=None), "batch", "unknown-batch", "warning", "names no batch"),
        (reading(FIELD, 12, stage="lunch"), "stage", "unknown-stage", "warning", '"lunch" is no'),
        (reading(FIELD, 12, stage=None), "stage", "unknown-stage", "warning", "no stage"),
        (beer(GLASS, 1.012, None), "date", "no-date", "warning", "no calibration"),
        (reading(FIELD, 12, date="last week"), "date", "no-date", "warning", "that can be read"),
        (reading(FIELD, 12, date=0.3), "date", "no-date", "warning", "that can be read"),
        (reading(FIELD, 12, day(2026, 3, 20)), "date", "future", "warning", "2026-03-20"),
        (beer(FIELD, 6.6), "reading", "original-missing", "warning", "“into fermenter”"),
        (reading(FIELD, 1.05), "reading", "scale", "severe", "reads like SG"),
        (reading(GLASS, 12.4), "reading", "scale", "severe", "reads like °Brix"),
        (reading(FIELD, "=3*4"), "reading", "formula", "warning", "a formula stands"),
        (reading(FIELD, 12, note="@home"), "note", "text-like-formula", "note", "kept as text"),
    ],
)  # fmt: skip
def test_readings(filled, line, column, code, severity, words):
    probe = {"name": "probe", "kind": "thermometer"}
    checks = [*CHECKS, *(water_check(one, day(2026, 3, 1), 0.0) for one in (NARROW, WIDE)),
              {"instrument": "probe", "date": day(2026, 3, 1), "shown_1": 0.0}]  # fmt: skip
    path = filled(inst=[*TOOLS, NARROW, WIDE, probe], check=checks, log=[line],
                  choices=Choices(rows=20, checks=20, instruments=6))  # fmt: skip
    found = [one for one in run.audit(path, TODAY).findings if one.code != "not-computed"]
    place = cells_of(path, f"log_{column}")[0]
    named = [one for one in found if (one.code, (one.sheet, one.cell)) == (code, place)]
    assert len(named) == 1, found
    assert named[0].severity == severity
    assert words in named[0].reason
    # What follows from it: too hot for an answer is too hot to read; the wrong scale gives none.
    assert {one.code for one in found} - {code} <= {"read-hot", "no-gravity"}


@pytest.mark.parametrize(
    "line",
    [
        reading(FIELD, 12, day(2026, 3, 1)),
        reading(BENCH, 12, temperature=None),
        reading(WIDE, 12, temperature=39),
        reading(GLASS, 1.04, temperature=39),
        reading(NARROW, 10),
        reading(FIELD | {"name": " FIELD "}, 12, batch=" 1", stage="Before Boil "),
        reading({"name": None}, 12),
        reading(FIELD, 12, date=None),  # the brew day of its batch
        reading(FIELD, "12,0"),
        reading(FIELD, 1.0, stage="runoff end"),
        reading(FIELD, None, volume=20),
        reading(FIELD, 12, note="- a remark"),
    ],
)
def test_readings_without_a_finding(audited, line):
    checks = [*CHECKS, *(water_check(one, day(2026, 3, 1), 0.0) for one in (NARROW, WIDE))]
    assert audited(inst=[*TOOLS, NARROW, WIDE], check=checks, log=[line]).findings == []


# --- Setup and what stands below the frames ---


@pytest.mark.parametrize(
    ("cells", "code", "words"),
    [
        ({"set_volume": "stone"}, "unit", "no extract is reckoned"),
        ({"set_temperature": "kelvin"}, "unit", "°C counts"),
        ({"set_gravity": 0.3}, "unit", "SG counts"),
        ({"set_mass": "stone"}, "unit", "kg counts"),
        ({"set_marks": "luke"}, "marks", "is neither cold nor hot: cold counts"),
        ({"set_wort_factor": "1,03"}, "no-number", "nothing is reckoned with it"),
        ({"set_tolerance": "narrow"}, "no-number", "taken as blank"),
        ({"set_u_temperature": 21}, "out-of-limits", "21 is no number from 0 to 20"),
        ({"set_u_wort_factor": -0.01}, "out-of-limits", "-0.01 is no number from 0 to 0.2"),
    ],
)
def test_settings_that_are_none(filled, cells, code, words):
    path = filled(cells=cells)
    finding = only(run.audit(path, TODAY))
    assert finding.code == code
    assert words in finding.reason
    assert (finding.sheet, finding.cell) == cells_of(path, next(iter(cells)))[0]


@pytest.mark.parametrize(
    "cells",
    [
        {"set_volume": "hL", "set_temperature": " °f ", "set_gravity": "°P", "set_mass": "LB"},
        {"set_marks": " Hot "},
        {"set_volume": None, "set_temperature": "celsius", "set_gravity": "plato"},
        {"set_wort_factor": 1.03, "set_tolerance": 0.03},
    ],
)
def test_settings_as_they_may_be_spelt(audited, cells):
    assert audited(cells=cells).findings == []


def test_an_entry_of_an_instrument_that_is_no_number(audited):
    assert only(audited(inst=[FIELD | {"tolerated": "0,2"}])).code == "no-number"


@pytest.mark.parametrize(("key", "least", "most"), [
    ("division", 0.000001, 10), ("fine", 0.000001, 5), ("tolerated", 0.000001, 45),
])  # fmt: skip
def test_an_entry_of_an_instrument_out_of_limits(audited, key, least, most):
    for value in (least / 2, most * 1.01, 1e300):
        finding = only(audited(inst=[FIELD | {key: value}]))
        assert finding.code == "out-of-limits"
        assert finding.reason.endswith(f"no number from 0.000001 to {most}: taken as blank")
    for value in (least, most):
        assert audited(inst=[FIELD | {key: value}]).findings == []


@pytest.mark.parametrize(
    ("name", "sheet", "value"),
    [("log_reading", "Log", 12), ("check_shown_1", "Calibration", 0.1),
     ("batch_name", "Batches", "21")],
)  # fmt: skip
def test_a_line_below_the_frame(filled, name, sheet, value):
    path = filled()
    title, last = cells_of(path, name)[-1]
    book = openpyxl.load_workbook(path)
    letter = last.rstrip("0123456789")
    book[title][f"{letter}{int(last.removeprefix(letter)) + 2}"] = value
    book.save(path)
    finding = only(run.audit(path, TODAY))
    assert (finding.code, finding.severity, finding.sheet) == ("below-frame", "severe", sheet)
    assert "nothing is read" in finding.reason


def test_names_that_stand_twice(audited):
    assert only(audited(inst=[FIELD, FIELD | {"name": "FIELD "}])).code == "name-twice"
    assert only(audited(batch=[BATCH, BATCH])).code == "name-twice"
    assert audited(inst=[FIELD, BENCH], batch=[BATCH, {"name": "2"}]).findings == []


def test_an_instrument_renamed_half_way(audited):
    log = [reading(FIELD, 12), reading(FIELD | {"name": "field 2"}, 12)]
    checks = [GOOD, GOOD | {"instrument": "field 2", "date": day(2026, 3, 2)}]
    found = audited(inst=[FIELD], check=checks, log=log)
    assert [(f.code, f.sheet) for f in found.findings] == [
        ("unknown-instrument", "Calibration"),
        ("unknown-instrument", "Log"),
    ]


# --- dates ---


def test_dates_out_of_order_within_a_batch(audited):
    dates = [day(2026, 3, d) for d in (5, 7, 6, 8)]
    log = [reading(FIELD, 12, date) for date in dates]
    finding = only(audited(inst=[FIELD], check=[GOOD], log=log))
    assert (finding.code, finding.reason) == (
        "order", "2026-03-06 stands after 2026-03-07: was a date mistyped?",
    )  # fmt: skip
    under_way = [BATCH, BATCH | {"name": "2"}]
    log = [reading(FIELD, 12, date, batch=b) for date, b in zip(dates, "1121", strict=True)]
    assert audited(inst=[FIELD], check=[GOOD], batch=under_way, log=log).findings == []


def test_a_check_that_was_overdue(audited):
    log = [reading(FIELD, 12, day(2026, 3, 31)), reading(FIELD, 12, day(2026, 4, 2))]
    found = audited(inst=[FIELD], check=[GOOD], log=log)
    overdue = [finding for finding in found.findings if finding.code == "check-overdue"]
    assert len(overdue) == 1
    assert "2026-03-01, 32 days before; due every 30" in overdue[0].reason


# --- checks ---


def test_found_outside_tolerance_doubts_what_was_read_since_the_good_check(audited):
    found = audited(
        inst=[FIELD],
        check=[
            GOOD,
            water_check(FIELD, day(2026, 3, 10), 0.7),
            water_check(FIELD, day(2026, 3, 10, 9), 0.0) | {"as": "as left"},
        ],
        batch=[{"name": name} for name in "1789"],
        log=[
            reading(FIELD, 12, day(2026, 2, 20)),  # before the good check
            reading(FIELD, 12, day(2026, 3, 2), batch="7"),
            reading(FIELD, 13, day(2026, 3, 9), batch="8"),
            reading(FIELD, 13, day(2026, 3, 11), batch="9"),
        ],
    )
    assert codes(found) == [("no-check", "severe"), ("outside-tolerance", "severe")]
    finding = found.findings[1]
    assert "found at +0.7 on 2026-03-10, tolerated is ±0.2" in finding.reason
    assert "batches 7, 8" in finding.reason
    assert [doubt.batch for doubt in finding.in_doubt] == ["7", "8"]
    for doubt, shown in zip(finding.in_doubt, (12, 13), strict=True):
        assert doubt.recorded_sg == pytest.approx(WORT_SG(shown - 0.1), abs=1e-5)
        assert doubt.corrected_sg == pytest.approx(WORT_SG(shown - 0.7), abs=1e-5)


def test_a_bad_check_doubts_what_was_read_of_beer(audited):
    found = audited(
        inst=[FIELD, GLASS],
        check=[GOOD, GOOD_GLASS, water_check(FIELD, day(2026, 3, 10), 0.7)],
        log=[reading(GLASS, 1.0520, stage="into fermenter"), beer(FIELD, 6.6)],
    )
    [finding] = [one for one in found.findings if one.code == "outside-tolerance"]
    [doubt] = finding.in_doubt
    assert doubt.recorded_sg == pytest.approx(BEER_SG(1.0520, 6.5), abs=1e-5)
    assert doubt.corrected_sg == pytest.approx(BEER_SG(1.0520, 5.9), abs=1e-5)


def test_outside_and_used_again_without_a_check_as_left(audited):
    checks = [GOOD, water_check(FIELD, day(2026, 3, 10), 0.7)]
    log = [reading(FIELD, 12, day(2026, 3, 11))]
    found = audited(inst=[FIELD], check=checks, log=log)
    assert codes(found) == [("outside-tolerance", "warning"), ("as-left-missing", "warning")]
    assert "used again on 2026-03-11" in found.findings[1].reason


def test_left_outside(audited):
    checks = [GOOD, water_check(FIELD, day(2026, 3, 10), 0.3) | {"as": "as left"}]
    assert only(audited(inst=[FIELD], check=checks)).code == "left-outside"


def test_what_is_put_up_with_by_default(audited):
    """A blank tolerance is that of the kind, as Setup shows it."""
    bare = {"name": "bare"}
    for offset, fires in ((0.2, False), (0.21, True)):
        found = audited(inst=[bare], check=[water_check(FIELD | bare, day(2026, 3, 1), offset)])
        assert ("outside-tolerance" in {one.code for one in found.findings}) is fires


NINE, TEN, UNTIMED = day(2026, 3, 1, 9), day(2026, 3, 1, 10), day(2026, 3, 1)


@pytest.mark.parametrize(
    ("dates", "states", "noted"),
    [
        ((UNTIMED, UNTIMED), (None, None), 1),
        ((NINE, NINE), (None, None), 1),
        ((NINE, TEN), (None, None), None),
        ((TEN, NINE), (None, None), None),
        ((UNTIMED, NINE), (None, None), 0),
        ((NINE, UNTIMED), (None, None), 1),
        ((UNTIMED, UNTIMED), ("as found", "as left"), None),
        ((UNTIMED, UNTIMED), ("as left", "as found"), None),
        ((UNTIMED, NINE), ("as found", "as left"), None),
        ((NINE, UNTIMED), ("as found", "as left"), 1),  # it would count as before
        ((UNTIMED, day(2026, 3, 2, 9)), (None, None), None),
    ],
)
def test_two_checks_on_one_day(filled, dates, states, noted):
    """Noted where nobody can tell which was first; the cell is that of the one in question."""
    checks = [
        water_check(FIELD, date, offset) | {"as": state}
        for date, offset, state in zip(dates, (0.1, 0.0), states, strict=True)
    ]
    path = filled(inst=[FIELD], check=checks)
    found = [(one.code, (one.sheet, one.cell)) for one in run.audit(path, TODAY).findings]
    place = cells_of(path, "check_shown_1")
    assert found == ([] if noted is None else [("two-checks", place[noted])])


def test_a_check_dated_ahead(audited):
    assert only(audited(inst=[FIELD], check=[GOOD | {"date": day(2026, 4, 1)}])).code == "future"


@pytest.mark.parametrize(
    ("check", "words"),
    [
        ({"date": day(2026, 3, 1), "shown_1": "bubbles"}, '"bubbles" is not a number'),
        ({"date": None, "shown_1": 0.1}, "no date:"),
        ({"date": "1 March", "shown_1": 0.1}, "no date that can be read"),
        ({"date": day(2026, 3, 1)}, "no reading"),
        ({"date": day(2026, 3, 1), "shown_2": 10.2}, "reference is missing"),
        ({"date": day(2026, 3, 1), "shown_1": 0, "temperature": "warm"}, "warm is not a number"),
    ],
)
def test_a_check_that_gives_nothing(audited, check, words):
    finding = only(audited(inst=[FIELD], check=[{"instrument": "field"} | check]))
    assert finding.code == "check-unusable"
    assert words in finding.reason


@pytest.mark.parametrize(
    ("instrument", "scale", "reference", "shown", "offset"),
    [
        (FIELD, "SG", 1.0400, 10.2, 0.2),
        (FIELD, "Plato", 10.0, 10.2, 0.2),
        (FIELD, "Brix", 10.0, 10.2, 0.2),
        (FIELD, None, 10.0, 10.2, 0.2),
        (GLASS, "SG", 1.04, 1.0450, 0.005),
        (GLASS, " °P", 9.99, 1.0450, 0.005),
        (GLASS, "Brix", 9.99, 1.0450, 0.005),
        (GLASS, None, 1.04, 1.0450, 0.005),
        (SPINDLE, "Plato", 9.99, 11.187, 0.005),
        (SPINDLE, None, 9.99, 11.187, 0.005),
        (SPINDLE, "SG", 1.04, 11.187, 0.005),
    ],
)
def test_references_in_other_scales(audited, instrument, scale, reference, shown, offset):
    check = {"instrument": instrument["name"], "date": day(2026, 3, 1), "shown_2": shown,
             "known_2": reference, "known_in": scale, "temperature": 20}  # fmt: skip
    plato = 0.0041 if instrument is SPINDLE else 1.0
    strict = instrument | {"tolerated": offset / 2 / plato}
    found = audited(inst=[strict], check=[check])
    assert codes(found)[0] == ("outside-tolerance", "warning")
    stated = float(found.findings[0].reason.split("found at ")[1].split(" on")[0])
    assert stated == pytest.approx(offset, abs=0.02 if instrument is FIELD else 1e-4)


def test_malt_extract_shows_wort(audited):
    """10 °P of malt extract shows 10.4 °Bx on a refractometer that is right."""
    check = {"instrument": "field", "date": day(2026, 3, 1), "shown_2": 10.4, "known_2": 10,
             "temperature": 20}  # fmt: skip
    assert audited(inst=[FIELD], check=[check | {"made_of": "Malt extract "}]).findings == []
    assert codes(audited(inst=[FIELD], check=[check]))[0][0] == "outside-tolerance"


def test_a_thermometer(audited):
    tool = {"name": "probe", "kind": "thermometer", "fine": 0.1, "tolerated": 0.5}
    check = {"instrument": "probe", "date": day(2026, 3, 1), "shown_1": 0.9, "shown_2": 100.5,
             "known_2": 100.0}  # fmt: skip
    assert "found at +0.7" in audited(inst=[tool], check=[check]).findings[0].reason


# --- readings that do not go together ---


@pytest.mark.parametrize(("shown", "disagrees"), [(1.0470, False), (1.0510, True)])
def test_refractometer_and_hydrometer_on_one_wort(audited, shown, disagrees):
    log = [reading(FIELD, 12.1), reading(GLASS, shown, day(2026, 3, 7, 13))]
    found = audited(inst=TOOLS, check=CHECKS, log=log)
    assert [finding.code for finding in found.findings] == ["disagree"] * disagrees


def test_other_worts_may_differ(audited):
    log = [
        reading(FIELD, 12.1),
        reading(GLASS, 1.06, stage="after boil"),
        reading(GLASS, 1.06, batch="2"),
        reading(GLASS, 1.06, day(2026, 3, 7, 19)),
    ]
    found = audited(inst=TOOLS, check=CHECKS, batch=[BATCH, {"name": "2"}], log=log)
    assert found.findings == []


def test_the_original_of_a_beer(audited):
    """Measured it is good, planned it is a note, unread it is missing; a hydrometer needs none."""
    into = reading(GLASS, 1.0500, stage="into fermenter")
    planned = [BATCH | {"into_fermenter_gravity": 1.050}]
    tools = {"inst": TOOLS, "check": CHECKS}
    assert audited(**tools, log=[into, beer(FIELD, 6.6)]).findings == []
    assert audited(**tools, log=[beer(GLASS, 1.012)]).findings == []
    found = audited(**tools, batch=planned, log=[beer(FIELD, 6.6)])
    assert codes(found) == [("original-planned", "note")]
    found = audited(**tools, log=[into | {"reading": "many"}, beer(FIELD, 6.6)])
    assert codes(found) == [("no-gravity", "severe"), ("original-missing", "warning")]


def test_a_gravity_that_rises(audited):
    days = (day(2026, 3, 9), day(2026, 3, 10), day(2026, 3, 11))
    log = [beer(GLASS, sg, when) for sg, when in zip((1.020, 1.0205, 1.030), days, strict=True)]
    finding = only(audited(inst=TOOLS, check=CHECKS, log=log))
    assert finding.code == "rises"
    assert "from 1.0205 to 1.030" in finding.reason


def test_more_extract_than_the_grain_holds(audited):
    plan = [BATCH | {"grain": 5, "after_boil_volume": 24}]
    log = [reading(FIELD, shown, day(2026, 3, 7, hour), stage="after boil")
           for shown, hour in ((31.4, 12), (13.4, 13))]  # fmt: skip
    finding = only(audited(inst=TOOLS, check=CHECKS, batch=plan, log=log))
    assert finding.code == "too-much-extract"
    assert "% of the extract of the grain" in finding.reason


@pytest.mark.parametrize(("last", "fires"), [(12.1, False), (13.5, True)])
def test_one_of_several_readings_far_from_the_others(audited, last, fires):
    log = [reading(FIELD, shown, day(2026, 3, 7, 12, minute))
           for minute, shown in enumerate((12.1, 12.2, last))]  # fmt: skip
    found = audited(inst=TOOLS, check=CHECKS, log=log)
    assert ("far" in {one.code for one in found.findings}) is fires


def test_hydrometer_in_plato(audited):
    checks = [water_check(SPINDLE, day(2026, 3, 1), -1.0)]  # shows 0 °P in water
    log = [reading(SPINDLE, 12.0), reading(GLASS, HYDROMETER_SG(1.0484, 20))]
    found = audited(inst=[SPINDLE, GLASS], check=[*checks, GOOD_GLASS], log=log)
    assert found.findings == []


# --- what the file itself says ---


def test_formulas_where_values_belong(filled):
    """Each is named once, and the stored value was taken."""
    path = filled(
        compute=True,
        cells={"set_wort_factor": "=1.03+0.01"},
        inst=[FIELD | {"tolerated": "=0.1*2"}],
        check=[GOOD | {"shown_1": "=0.05*2"}],
        batch=[BATCH | {"before_boil_gravity": "=1+0.048"}],
        log=[reading(FIELD, "=6*2", batch='="1"')],
    )
    audit = run.audit(path, TODAY)
    assert (audit.checks, audit.readings) == (1, 1)
    assert codes(audit) == [("formula", "warning")] * 6
    assert {one.sheet for one in audit.findings} == {"Setup", "Calibration", "Batches", "Log"}


def test_text_that_looks_like_a_formula_is_kept_as_text(filled):
    path = filled(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12)] * 5)
    book = openpyxl.load_workbook(path)
    places = cells_of(path, "log_note")
    texts = ("=cmd()", "+1-2", "@name", "-x", "- a remark")
    for (title, address), text in zip(places, texts, strict=False):
        book[title][address].value, book[title][address].data_type = text, "s"
    book.save(path)
    found = [f for f in run.audit(path, TODAY).findings if f.code == "text-like-formula"]
    assert [(one.sheet, one.cell) for one in found] == places[:4]


PLAN = [BATCH | {"before_boil_gravity": 1.048, "tolerance": 0.004, "before_boil_volume": 25,
                 "tolerance_volume": 0.6}]  # fmt: skip


def test_verdicts_and_gravities_are_computed_anew(filled):
    """26 at the boil are 25 at 20 °C."""
    path = filled(
        compute=True,
        inst=[GLASS],
        check=[GOOD_GLASS],
        batch=PLAN,
        log=[reading(GLASS, 1.048, volume=26, volume_temperature=100)],
    )
    assert run.audit(path, TODAY).findings == []
    stored(path, "log_verdict", "high")
    stored(path, "log_volume_verdict", "low")
    stored(path, "log_sg", 1.0492)
    found = run.audit(path, TODAY)
    assert codes(found) == [
        ("verdict-changed", "severe"), ("verdict-changed", "severe"),
        ("gravity-changed", "warning"),
    ]  # fmt: skip
    assert [one.reason for one in found.findings] == [
        "the file says high, its entries give on target",
        "the file says low, its entries give on target",
        "the file shows 1.0492, its entries give 1.0480",
    ]
    assert (found.findings[0].sheet, found.findings[0].cell) == cells_of(path, "log_verdict")[0]


def test_targets_that_were_missed_are_no_findings(filled):
    path = filled(compute=True, inst=[GLASS], check=[GOOD_GLASS], batch=PLAN,
                  log=[reading(GLASS, 1.09)])  # fmt: skip
    assert run.audit(path, TODAY).findings == []


def test_a_file_without_computed_values_says_so(filled):
    path = filled(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12)])
    assert codes(run.audit(path, TODAY)) == [("not-computed", "note")]


def test_a_file_saved_where_the_functions_are_unknown(filled):
    """Its verdicts are #NAME?: nothing was said that could differ from the entries."""
    path = filled(compute=True, inst=[GLASS], check=[GOOD_GLASS], batch=PLAN,
                  log=[reading(GLASS, 1.048)])  # fmt: skip
    stored(path, "log_verdict", "#NAME?")
    assert run.audit(path, TODAY).findings == []


def test_a_file_that_lost_the_values_of_some_formulas(filled):
    """openpyxl keeps those of an array formula but the first: that one says nothing wrong."""
    path = filled(compute=True, inst=[GLASS], check=[GOOD_GLASS], batch=PLAN,
                  log=[reading(GLASS, 1.048), reading(GLASS, 1.048)])  # fmt: skip
    assert run.audit(path, TODAY).findings == []
    openpyxl.load_workbook(path).save(path)
    assert run.audit(path, TODAY).findings == []
