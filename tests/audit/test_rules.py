"""One mistake at a time, and the finding that names it."""

from __future__ import annotations

import pytest

from tests.workbook.conftest import BENCH, FIELD, GLASS, SPINDLE, TODAY, day
from tests.workbook.test_sheets import reading, third, water_check
from xlfuncs.audit import run
from xlfuncs.functions.instruments import HYDROMETER_SG, WORT_SG

GOOD = water_check(FIELD, day(2026, 3, 1), 0.1)
GOOD_GLASS = water_check(GLASS, day(2026, 3, 1), 0.0)


def codes(found):
    return [(finding.code, finding.severity.value) for finding in found.findings]


def only(found):
    """The one finding."""
    assert len(found.findings) == 1, found.findings
    return found.findings[0]


def test_a_good_record_has_no_findings(audited):
    found = audited(
        inst=[FIELD, BENCH, GLASS],
        check=[GOOD, GOOD_GLASS],
        log=[reading(FIELD, 12.1), reading(GLASS, 1.0465, stage="after boil")],
    )
    assert found.findings == []
    assert (found.instruments, found.checks, found.readings) == (3, 2, 2)


def test_an_empty_workbook_has_no_findings(audited):
    found = audited()
    assert found.findings == []
    assert found.readings == 0


@pytest.mark.parametrize(
    ("line", "code", "severity", "words"),
    [
        (reading(FIELD, 12, day(2026, 2, 1)), "no-check", "severe", "before 2026-02-01"),
        (reading(FIELD, 12, temperature=None), "temperature-missing", "warning", "20 °C"),
        (reading(GLASS, 1.05, temperature=None), "temperature-missing", "warning", "no gravity"),
        (reading(BENCH, 12, temperature=38), "not-compensated", "warning", "from 10 to 30 °C"),
        (reading(GLASS, 1.04, temperature=55), "read-hot", "warning", "55.0 °C"),
        (reading(GLASS, 1.04, temperature=90), "no-gravity", "severe", "outside 0 to 70"),
        (reading(FIELD, 41), "no-gravity", "severe", "reading 41 is outside"),
        (reading(FIELD, "twelve"), "no-gravity", "severe", '"twelve" is not a number'),
        (reading(FIELD, 6, stage="fermenting"), "alcohol", "warning", "after pitching"),
        (reading({"name": "old name"}, 12), "unknown-instrument", "severe", "renamed?"),
        (reading({"name": None}, 12), "no-instrument", "warning", "names no instrument"),
        (reading(FIELD, 12, date=None), "no-date", "warning", "no calibration"),
        (reading(FIELD, 12, date="last week"), "no-date", "warning", "no date that can be read"),
        (reading(FIELD, 12, day(2026, 3, 20)), "future", "warning", "2026-03-20"),
    ],
)
def test_readings(audited, line, code, severity, words):
    checks = [GOOD, GOOD_GLASS, water_check(BENCH, day(2026, 3, 1), 0.0)]
    found = audited(inst=[FIELD, BENCH, GLASS], check=checks, log=[line])
    finding = found.findings[0]
    # Too hot for an answer is also too hot to read.
    assert {other.code for other in found.findings[1:]} <= {"read-hot"}
    assert (finding.code, finding.severity) == (code, severity)
    assert words in finding.reason
    assert finding.sheet == "Log"
    assert finding.cell.endswith("6")


def test_without_a_tolerance_no_check_is_judged(audited):
    checks = [GOOD, water_check(FIELD, day(2026, 3, 10), 0.9)]
    found = audited(inst=[FIELD | {"tolerance": None}], check=checks, log=[reading(FIELD, 12)])
    finding = only(found)
    assert (finding.code, finding.severity, finding.sheet) == ("no-tolerance", "warning", "Setup")
    assert audited(inst=[FIELD | {"tolerance": None}]).findings == []


def test_a_check_that_was_overdue(audited):
    log = [reading(FIELD, 12, day(2026, 3, 31)), reading(FIELD, 12, day(2026, 4, 2))]
    found = audited(inst=[FIELD], check=[GOOD], log=log)
    overdue = [finding for finding in found.findings if finding.code == "check-overdue"]
    assert [finding.cell for finding in overdue] == ["E7"]
    assert "2026-03-01, 32 days before; due every 30" in overdue[0].reason


def test_found_outside_tolerance_doubts_what_was_read_since_the_good_check(audited):
    found = audited(
        inst=[FIELD],
        check=[
            GOOD,
            water_check(FIELD, day(2026, 3, 10), 0.7),
            water_check(FIELD, day(2026, 3, 10, 9), 0.0, state="as left"),
        ],
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
    assert [(d.batch, d.cell) for d in finding.in_doubt] == [("7", "E7"), ("8", "E8")]
    for doubt, shown in zip(finding.in_doubt, (12, 13), strict=True):
        assert doubt.recorded_sg == pytest.approx(WORT_SG(shown - 0.1), abs=1e-5)
        assert doubt.corrected_sg == pytest.approx(WORT_SG(shown - 0.7), abs=1e-5)


def test_outside_and_used_again_without_a_check_as_left(audited):
    checks = [GOOD, water_check(FIELD, day(2026, 3, 10), 0.7)]
    log = [reading(FIELD, 12, day(2026, 3, 11))]
    found = audited(inst=[FIELD], check=checks, log=log)
    assert codes(found) == [("outside-tolerance", "warning"), ("as-left-missing", "warning")]
    assert "used again on 2026-03-11" in found.findings[1].reason


def test_left_outside(audited):
    checks = [GOOD, water_check(FIELD, day(2026, 3, 10), 0.3, state="as left")]
    assert only(audited(inst=[FIELD], check=checks)).code == "left-outside"


def test_range_of_the_instrument(audited):
    narrow = FIELD | {"low": 0, "high": 10}
    log = [reading(FIELD, 10), reading(FIELD, 10.1)]
    finding = only(audited(inst=[narrow], check=[GOOD], log=log))
    assert (finding.code, finding.cell) == ("outside-range", "E7")
    assert "10.1 is outside the range of field, 0.0 to 10.0" in finding.reason


def test_compensation_of_the_instrument(audited):
    wide = BENCH | {"compensates_from": 5, "compensates_to": 40}
    checks = [water_check(BENCH, day(2026, 3, 1), 0.0)]
    log = [reading(BENCH, 12, temperature=38), reading(BENCH, 12, temperature=41)]
    finding = only(audited(inst=[wide], check=checks, log=log))
    assert (finding.code, finding.cell) == ("not-compensated", "E7")


@pytest.mark.parametrize(("shown", "disagrees"), [(1.0470, False), (1.0500, True)])
def test_refractometer_and_hydrometer_on_one_wort(audited, shown, disagrees):
    log = [reading(FIELD, 12.1), reading(GLASS, shown, day(2026, 3, 7, 13))]
    found = audited(inst=[FIELD, GLASS], check=[GOOD, GOOD_GLASS], log=log)
    assert [finding.code for finding in found.findings] == ["disagree"] * disagrees


def test_other_worts_may_differ(audited):
    log = [
        reading(FIELD, 12.1),
        reading(GLASS, 1.06, stage="after boil"),
        reading(GLASS, 1.06, batch="2"),
        reading(GLASS, 1.06, day(2026, 3, 7, 15)),
    ]
    assert audited(inst=[FIELD, GLASS], check=[GOOD, GOOD_GLASS], log=log).findings == []


def test_dates_out_of_order(audited):
    log = [reading(FIELD, 12, day(2026, 3, d)) for d in (5, 7, 6, 8)]
    finding = only(audited(inst=[FIELD], check=[GOOD], log=log))
    assert (finding.code, finding.cell) == ("order", "A8")


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
def test_two_checks_on_one_day(audited, dates, states, noted):
    """Noted where nobody can tell which was first; the cell is that of the one in question."""
    checks = [
        water_check(FIELD, date, offset, state=state)
        for date, offset, state in zip(dates, (0.1, 0.0), states, strict=True)
    ]
    found = [(one.code, one.cell) for one in audited(inst=[FIELD], check=checks).findings]
    cells = ["D56", "D57"]
    assert found == ([] if noted is None else [("two-checks", cells[noted])])


@pytest.mark.parametrize("hour", [0, 8, 12])
@pytest.mark.parametrize("dates", [(UNTIMED, UNTIMED), (NINE, TEN), (TEN, NINE), (UNTIMED, NINE)])
@pytest.mark.parametrize("states", [(None, None), ("as left", "as found")])
def test_of_two_checks_on_one_day_the_one_of_the_sheet_counts(filled, hour, dates, states):
    """What is computed anew is what the sheet computed."""
    checks = [
        water_check(FIELD, date, offset, state=state)
        for date, offset, state in zip(dates, (0.1, -0.1), states, strict=True)
    ]
    early = water_check(FIELD, day(2026, 2, 20), 0.0)
    log = [reading(FIELD, 12, day(2026, 3, 1, hour))]
    path = filled(compute=True, inst=[FIELD], check=[early, *checks], log=log)
    assert {one.code for one in run.audit(path, TODAY).findings} <= {"two-checks"}


def test_a_check_dated_ahead(audited):
    checks = [water_check(FIELD, day(2026, 4, 1), 0.0)]
    assert only(audited(inst=[FIELD], check=checks)).code == "future"


@pytest.mark.parametrize(
    ("check", "words"),
    [
        ({"date": day(2026, 3, 1), "reading_1": "bubbles"}, '"bubbles" is not a number'),
        ({"date": None, "reading_1": 0.1}, "no date"),
        ({"date": day(2026, 3, 1)}, "reading"),
    ],
)
def test_a_check_that_gives_nothing(audited, check, words):
    finding = only(audited(inst=[FIELD], check=[{"instrument": "field"} | check]))
    assert finding.code == "check-unusable"
    assert words in finding.reason


def test_an_instrument_renamed_half_way(audited):
    log = [reading(FIELD, 12), reading(FIELD | {"name": "field 2"}, 12)]
    checks = [GOOD, GOOD | {"instrument": "field 2", "date": day(2026, 3, 2)}]
    found = audited(inst=[FIELD], check=checks, log=log)
    assert [(f.code, f.sheet) for f in found.findings] == [
        ("unknown-instrument", "Calibration"),
        ("unknown-instrument", "Log"),
    ]


def test_one_name_for_two_instruments(audited):
    assert only(audited(inst=[FIELD, FIELD])).code == "name-twice"


@pytest.mark.parametrize(
    ("instrument", "scale", "reference", "shown", "offset"),
    [
        (FIELD, "SG", 1.0400, 10.2, 0.2),
        (FIELD, "Plato", 10.0, 10.2, 0.2),
        (FIELD, "Brix", 10.0, 10.2, 0.2),
        (FIELD, None, 10.0, 10.2, 0.2),
        (GLASS, "SG", 1.04, 1.0450, 0.005),
        (GLASS, "Plato", 9.99, 1.0450, 0.005),
        (SPINDLE, "Plato", 9.99, 11.187, 0.005),
        (SPINDLE, None, 1.04, 11.187, 0.005),
        (GLASS, "Brix", 9.99, 1.0450, 0.005),
        (GLASS, None, 1.04, 1.0450, 0.005),
    ],
)
def test_references_in_other_scales(audited, instrument, scale, reference, shown, offset):
    check = {
        "instrument": instrument["name"],
        "date": day(2026, 3, 1),
        "reading_1": shown,
        "reference_1": reference,
        "reference_scale": scale,
        "temperature": 20,
    }
    strict = instrument | {"tolerance": offset / 2}
    found = audited(inst=[strict], check=[check])
    assert codes(found)[0] == ("outside-tolerance", "warning")
    stated = float(found.findings[0].reason.split("found at ")[1].split(" on")[0])
    assert stated == pytest.approx(offset, abs=0.02 if instrument is FIELD else 1e-4)


def test_a_thermometer(audited):
    tool = {"name": "probe", "kind": "thermometer", "u_reading": 0.1, "tolerance": 0.5,
            "interval": 365}  # fmt: skip
    check = {"instrument": "probe", "date": day(2026, 3, 1), "reading_1": 0.9, "reference_1": 0.0,
             "reading_2": 100.5, "reference_2": 100.0}  # fmt: skip
    found = audited(inst=[tool], check=[check])
    assert "found at +0.7" in found.findings[0].reason


def test_hydrometer_in_plato(audited):
    checks = [water_check(SPINDLE, day(2026, 3, 1), -1.0)]
    log = [reading(SPINDLE, 12.0), reading(GLASS, HYDROMETER_SG(1.0484, 20), stage="mash")]
    found = audited(inst=[SPINDLE, GLASS], check=[*checks, GOOD_GLASS], log=log)
    assert found.findings == []


def test_formulas_where_values_belong(filled):
    """Each is named once, and the stored value was taken."""
    path = filled(
        compute=True,
        cells={"wort_factor": "=1.03+0.01"},
        inst=[FIELD | {"tolerance": "=0.1*2"}],
        check=[GOOD | {"reading_1": "=0.05*2"}],
        log=[reading(FIELD, "=6*2", batch='="1"')],
        target=[{"gravity": "=1+0.048"}],
    )
    audit = run.audit(path, TODAY)
    assert (audit.checks, audit.readings) == (1, 1)
    assert codes(audit) == [("formula", "warning")] * 6
    assert {one.sheet for one in audit.findings} == {"Setup", "Calibration", "Log"}


def test_text_that_looks_like_a_formula_is_kept_as_text(filled):
    import openpyxl

    path = filled(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12)])
    book = openpyxl.load_workbook(path)
    for row, text in enumerate(("=cmd()", "+1-2", "@name", "-x", "- a remark"), 6):
        book["Log"][f"I{row}"].value, book["Log"][f"I{row}"].data_type = text, "s"
    book.save(path)
    found = [f for f in run.audit(path, TODAY).findings if f.code == "text-like-formula"]
    assert [f.cell for f in found] == ["I6", "I7", "I8", "I9"]


TARGET = {"gravity": 1.048, "gravity_tolerance": 0.004}


def stored(path, name, value):
    """Write another value beside a formula, as an older version might have left it."""
    from openpyxl import load_workbook

    from xlfuncs.files.stored import store

    title, address = next(iter(load_workbook(path).defined_names[name].destinations))
    store(path, {(title, address.replace("$", "").split(":")[0]): value}, path)


def test_verdicts_and_gravities_are_computed_anew(filled):
    path = filled(
        compute=True,
        inst=[GLASS],
        check=[GOOD_GLASS],
        log=[reading(GLASS, 1.048, stage="first runnings")],
        target=[TARGET],
    )
    assert run.audit(path, TODAY).findings == []
    stored(path, "verdict_gravity", "high")
    stored(path, "log_sg", 1.0492)
    found = run.audit(path, TODAY)
    assert codes(found) == [("verdict-changed", "severe"), ("gravity-changed", "warning")]
    assert found.findings[0].reason == "the file says high, its entries give on target"
    assert found.findings[1].reason == "the file shows 1.0492, its entries give 1.0480"


def test_targets_that_were_missed_are_no_findings(filled):
    path = filled(
        compute=True, inst=[GLASS], check=[GOOD_GLASS], log=[reading(GLASS, 1.09)],
        target=third(TARGET),
    )  # fmt: skip
    assert run.audit(path, TODAY).findings == []


def test_a_file_without_computed_values_says_so(filled):
    path = filled(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12)])
    assert codes(run.audit(path, TODAY)) == [("not-computed", "note")]


def test_a_file_saved_where_the_functions_are_unknown(filled):
    """Its verdicts are #NAME?: nothing was said that could differ from the entries."""
    path = filled(compute=True, inst=[GLASS], check=[GOOD_GLASS], target=[TARGET])
    stored(path, "verdict_gravity", "#NAME?")
    assert run.audit(path, TODAY).findings == []
