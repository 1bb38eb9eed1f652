"""An error that somebody typed or pasted into a cell: it is named, and it stays in its line."""

from dataclasses import replace

import openpyxl
import pytest

from tests.audit.conftest import filled  # noqa: F401
from tests.helpers import cells_of, run
from tests.workbook.conftest import BATCH, FIELD, GLASS, SMALL, day, fill, reading, water_check
from xlfuncs.audit import run as audit
from xlfuncs.hosts import embedded
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.workbook import build, words
from xlfuncs.workbook.words import Choices

NOT_THERE = ERRORS["#N/A"]
CHECKS = (
    water_check(FIELD, day(2026, 3, 1), 0.1),
    water_check(GLASS, day(2026, 3, 1), 0.001),
)
LOG = (
    reading(FIELD, 12, volume=20, volume_temperature=20),
    reading(GLASS, 1.048, stage="into fermenter"),
)


def shown(book, name):
    """What a column shows, but its blanks."""
    return [cell for cell in book.column(name) if cell is not None]


@pytest.mark.parametrize("key", ["kind", "scale", "material", "compensated"])
def test_in_the_line_of_an_instrument(computed, key):
    sound = computed(inst=[FIELD, GLASS], check=CHECKS, batch=[BATCH], log=LOG)
    book = computed(inst=[FIELD, GLASS | {key: NOT_THERE}], check=CHECKS, batch=[BATCH], log=LOG)
    assert book.column("log_sg")[0] == sound.column("log_sg")[0]
    assert book.column("log_sg")[1] is None
    assert book.column("log_remark")[1].startswith(
        "its kind on Setup is none, or an error stands there"
    )
    assert shown(book, "inst_is") == ["refractometer", words.BROKEN]
    assert shown(book, "state_status")[0] == shown(sound, "state_status")[0]
    pages = ("log_gravity", "log_tells", "log_verdict", "state_status", "state_due",
             "check_verdict", "check_offset", "inst_every", "card_remark")  # fmt: skip
    told = [cell for name in pages for cell in shown(book, name)]
    assert not [cell for cell in told if str(cell).startswith("#")]


def test_in_a_word_of_a_check(computed):
    good = [*CHECKS, CHECKS[0] | {"date": day(2026, 3, 2)}]
    for key in ("known_in", "made_of", "as"):
        bad = [*CHECKS, CHECKS[0] | {"date": day(2026, 3, 2), key: NOT_THERE}]
        book = computed(inst=[FIELD, GLASS], check=bad, batch=[BATCH], log=LOG)
        assert book.column("check_offset")[2] == "! this line holds an error"
        sound = computed(inst=[FIELD, GLASS], check=good[:2], batch=[BATCH], log=LOG)
        assert book.column("log_sg") == sound.column("log_sg")


@pytest.mark.parametrize("name", ["set_source", "set_beer_source"])
def test_where_the_factors_are_chosen(computed, name):
    sound = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH], log=LOG[:1])
    book = computed(cells={name: NOT_THERE}, inst=[FIELD], check=CHECKS[:1], batch=[BATCH],
                    log=LOG[:1])  # fmt: skip
    assert book.cell("factors_remark") == "an error stands above: the common factors are in use"
    assert book.column("log_sg") == sound.column("log_sg")


def test_where_lines_take_it_for_a_blank(computed):
    """As a text there: the usual tolerance, the usual intervals, no reading left out."""
    sound = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH], log=LOG[:1])
    book = computed(
        cells={"interval_by_history": NOT_THERE, "chart_instrument": NOT_THERE},
        inst=[FIELD],
        check=CHECKS[:1],
        batch=[BATCH | {"tolerance_volume": NOT_THERE}],
        log=[LOG[0] | {"leave": NOT_THERE}],
    )
    for name in ("log_sg", "log_verdict", "log_volume_verdict", "state_due", "state_status"):
        assert book.column(name) == sound.column(name)


def test_in_a_line_of_the_log(computed):
    for key in ("batch", "stage", "temperature", "ph"):
        book = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH],
                        log=[LOG[0] | {key: NOT_THERE}, LOG[0]])  # fmt: skip
        assert book.column("log_remark")[0] == "an error was typed"
        assert isinstance(book.column("log_sg")[1], float)


def test_the_audit_and_the_report_say_so(tmp_path):
    book = build.build(Choices(rows=20, checks=20))
    fill(book, inst=[FIELD, GLASS], check=CHECKS, batch=[BATCH], log=LOG)
    path = tmp_path / "log.xlsx"
    path.write_bytes(build.to_bytes(book))
    title, address = cells_of(path, "inst_kind")[1]
    book = openpyxl.load_workbook(path)
    book[title][address] = "#N/A"
    book.save(path)
    assert embedded.calculate(path).failures == []
    assert words.BROKEN in run("report", path)
    found = audit.audit(path, day(2026, 3, 14).date()).findings
    assert {one.cell for one in found if one.code == "no-gravity"} == {
        cells_of(path, "log_reading")[1][1]
    }


# --- what is no number ------------------------------


@pytest.mark.parametrize("true", ["10 %", "ten", None])
def test_a_true_value_that_is_no_number_is_named_beside_the_check(computed, true):
    solution = CHECKS[0] | {"shown_2": 10.1, "known_2": true}
    book = computed(inst=[FIELD], check=[solution, CHECKS[0]])
    assert book.column("check_verdict")[0] == "a true value is missing or no number"
    assert book.column("check_offset")[:2] == pytest.approx([0.1, 0.1])
    assert book.column("check_verdict")[1] == "probably within"
    alone = {**solution, "shown_1": None}
    told = computed(inst=[FIELD], check=[alone]).column("check_verdict")[0]
    assert told == "a true value is missing or no number"


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("stone", "! no unit: nothing in litres"),
        ("hL", "of every volume you type"),
    ],
)
def test_a_unit_of_volume_that_is_none_is_named_beside_it(computed, plain, unit, said):
    book = computed(replace(SMALL, plain=plain), {"set_volume": unit})
    title, cell = book.place("set_volume")
    assert said in [value for (sheet, at), value in book._values.items()
                    if sheet == title and at.endswith(cell[1:])]  # fmt: skip


@pytest.mark.parametrize("unit", words.VOLUME_UNITS)
def test_a_planned_volume_that_is_a_text_is_refused_in_words(computed, unit):
    """Not multiplied by the unit, which would give an error, and no verdict is made of it."""
    book = computed(
        cells={"set_volume": unit},
        inst=[FIELD],
        check=CHECKS[:1],
        batch=[BATCH | {"before_boil_gravity": 1.046, "before_boil_volume": "5 gal"}],
        log=LOG[:1],
    )
    planned = {line[1] for line in book.block("target_litres")}
    assert planned == {None, "! planned volume 5 gal is not a number"}
    assert book.column("log_volume_verdict")[0] is None
    assert book.column("log_verdict")[0] is not None
    assert isinstance(book.column("log_volume_20")[0], float)


def test_a_true_value_out_of_reach_is_refused(computed, filled):  # noqa: F811
    """1e300 overflowed in the audit, and its check counts nowhere."""
    tables = {"inst": [FIELD], "batch": [BATCH], "log": LOG[:1],
              "check": [CHECKS[0], CHECKS[0] | {"date": day(2026, 3, 2), "shown_2": 10.1,
                                                "known_2": 1e300}]}  # fmt: skip
    book = computed(**tables)
    assert book.column("check_offset")[1].startswith("! true value 1E+300 is out of reach")
    found = audit.audit(filled("log.xlsx", **tables), day(2026, 3, 14).date()).findings
    [finding] = [one for one in found if one.code == "check-unusable"]
    assert "out of reach" in finding.reason
    assert not [one for one in found if one.code == "file"]


#: An entry on Setup, and what is said of it.
NO_DOUBTS = [
    ("division", 1e300, "smallest division 1E+300 is no number from 0.000001 to 10"),
    ("division", 1e-300, "smallest division 1E-300 is no number from 0.000001 to 10"),
    ("fine", 1e300, "how finely you can read it 1E+300 is no number from 0.000001 to 5"),
    ("fine", 0, "how finely you can read it 0 is no number from 0.000001 to 5"),
    ("fine", "0,1", "how finely you can read it 0,1 is no number from 0.000001 to 5"),
    ("tolerated", 46, "offset put up with 46 is no number from 0.000001 to 45"),
    ("tolerated", -1, "offset put up with -1 is no number from 0.000001 to 45"),
]


@pytest.mark.parametrize(("key", "value", "says"), NO_DOUBTS)
def test_a_smallest_division_out_of_limits_is_named_and_counts_as_blank(
    computed, filled, key, value, says  # noqa: F811
):  # fmt: skip
    """1e300 made weights of 0 and broke the audit of its file off; 1e-300 made endless ones."""
    told = "inst_used_tolerance" if key == "tolerated" else "inst_used_fine"
    tools = [{"name": "A", "kind": "refractometer"}, {"name": "B", "kind": "hydrometer"}]
    checks = [water_check(tools[0], day(2026, 3, 1), 0.1) | {"shown_2": 10.1, "known_2": 10},
              water_check(tools[1], day(2026, 3, 1), 0.001)]  # fmt: skip
    log = [reading(tools[0], 12.1), reading(tools[1], 1.048, stage="into fermenter")]
    tables = {"check": checks, "batch": [BATCH], "log": log}
    sound = computed(inst=tools, **tables)
    spoilt = [tool | {key: value} for tool in tools]
    book = computed(inst=spoilt, **tables)
    assert [f"! {says}: taken as blank"] * 2 == book.column(told)[:2]
    for name in ("check_offset", "check_expanded", "check_verdict", "log_sg", "log_u",
                 "log_verdict", "state_status", "inst_u", "inst_tolerance"):  # fmt: skip
        assert book.column(name) == sound.column(name), name
    found = audit.audit(filled("log.xlsx", inst=spoilt, **tables), day(2026, 3, 14).date())
    assert not [one for one in found.findings if one.code == "file"]
    reasons = [one.reason for one in found.findings
               if one.code in ("out-of-limits", "no-number")]  # fmt: skip
    assert len(reasons) == 2
    assert isinstance(value, str) or all("taken as blank" in reason for reason in reasons)


@pytest.mark.parametrize(("name", "says", "worst"), [
    ("set_u_wort_factor", "u_wort_factor_says", 0.21),
    ("set_u_temperature", "u_temperature_says", 20.1),
])  # fmt: skip
@pytest.mark.parametrize("huge", [False, True])
def test_a_doubt_of_setup_out_of_limits_is_named_and_counts_as_blank(
    computed, filled, name, says, worst, huge  # noqa: F811
):  # fmt: skip
    value = 1e300 if huge else worst
    malt = CHECKS[0] | {"date": day(2026, 3, 2), "shown_1": None, "shown_2": 10.4, "known_2": 10,
                        "made_of": "malt extract"}  # fmt: skip
    tables = {"inst": [FIELD, GLASS], "check": [*CHECKS, malt], "batch": [BATCH], "log": LOG}
    sound, book = computed(**tables), computed(cells={name: value}, **tables)
    assert book.cell(says).endswith("taken as blank")
    for column in ("check_offset", "check_expanded", "log_sg", "log_u"):
        assert book.column(column) == sound.column(column), column
    path = filled("log.xlsx", cells={name: value}, **tables)
    found = audit.audit(path, day(2026, 3, 14).date()).findings
    assert [one.code for one in found if one.code in ("file", "out-of-limits")] == ["out-of-limits"]


@pytest.mark.parametrize("factor", [0.3, 1e300, 1e-300])
def test_a_check_in_malt_extract_is_refused_with_a_wort_factor_that_is_none(
    computed, filled, factor  # noqa: F811
):  # fmt: skip
    malt = CHECKS[0] | {"shown_1": None, "shown_2": 10.4, "known_2": 10, "made_of": "malt extract"}
    tables = {"cells": {"set_wort_factor": factor}, "inst": [FIELD], "check": [malt]}
    told = computed(**tables).column("check_offset")[0]
    assert told.startswith("! wort factor")
    assert told.endswith("is no number from 0.9 to 1.2")
    found = audit.audit(filled("log.xlsx", **tables), day(2026, 3, 14).date()).findings
    [finding] = [one for one in found if one.code == "check-unusable"]
    assert finding.reason.endswith("is no number from 0.9 to 1.2")


def test_a_reading_of_a_thermometer_out_of_reach_is_refused(computed, filled):  # noqa: F811
    probe = {"name": "probe", "kind": "thermometer"}
    tables = {"inst": [probe], "check": [water_check(probe, day(2026, 3, 1), 1e300)]}
    told = computed(**tables).column("check_offset")[0]
    assert told.startswith("! reading 1E+300 is out of reach")
    found = audit.audit(filled("log.xlsx", **tables), day(2026, 3, 14).date()).findings
    [finding] = [one for one in found if one.code == "check-unusable"]
    assert "out of reach" in finding.reason
