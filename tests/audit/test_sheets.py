"""Readings of the sheets Fermentation and Pairs, and the volumes of Targets."""

from __future__ import annotations

import datetime

import openpyxl
import pytest

from tests.audit.test_rules import GOOD, GOOD_GLASS, TARGET, codes, only, stored
from tests.workbook.conftest import BENCH, FIELD, GLASS, TODAY, day
from tests.workbook.test_sheets import reading, third, water_check
from xlfuncs.audit import paper, record, run
from xlfuncs.functions.beer import BEER_SG
from xlfuncs.hosts import embedded
from xlfuncs.workbook.build import build, to_bytes
from xlfuncs.workbook.vocabulary import Choices

CHECKS = [GOOD, GOOD_GLASS, water_check(BENCH, day(2026, 3, 1), 0.0)]
TOOLS = [FIELD, BENCH, GLASS]


def beer(instrument, value, date=day(2026, 3, 9), **more):  # noqa: B008
    row = {"date": date, "batch": "1", "original": 1.05, "instrument": instrument["name"]}
    return row | {"reading": value, "temperature": 20} | more


def pair(drop=FIELD, brix=6.6, jar=GLASS, sg=1.0120, date=day(2026, 3, 9), **more):  # noqa: B008
    return {
        "date": date,
        "beer": "pale",
        "original": 1.05,
        "refractometer": drop["name"],
        "shown_brix": brix,
        "shown_brix_temperature": 20,
        "hydrometer": jar["name"],
        "shown_sg": sg,
        "shown_sg_temperature": 20,
    } | more


def first_cell(path, name):
    """The first cell of a named column."""
    return first_cells(path, name)[0]


def first_cells(path, *names):
    """The first cell of each named column."""
    book = openpyxl.load_workbook(path, read_only=True)
    places = [next(iter(book.defined_names[name].destinations)) for name in names]
    book.close()
    return [(title, cells.replace("$", "").split(":")[0]) for title, cells in places]


def test_good_readings_of_beer_have_no_findings(audited):
    found = audited(
        inst=TOOLS, check=CHECKS, ferment=[beer(FIELD, 6.6), beer(GLASS, 1.012)], pair=[pair()]
    )
    assert found.findings == []
    assert found.readings == 4


NARROW = FIELD | {"name": "narrow", "low": 0, "high": 5}
OLD = "before 2026-02-01"


@pytest.mark.parametrize(
    ("line", "column", "code", "words"),
    [
        (beer(FIELD, 6.6, day(2026, 2, 1)), "reading", "no-check", OLD),
        (beer(FIELD, 6.6, temperature=None), "reading", "temperature-missing", "20 °C"),
        (beer(GLASS, 1.012, temperature=None), "reading", "temperature-missing", "no gravity"),
        (beer(BENCH, 6.6, temperature=38), "reading", "not-compensated", "10 to 30 °C"),
        (beer(GLASS, 1.012, temperature=55), "reading", "read-hot", "55.0 °C"),
        (beer(NARROW, 6.6), "reading", "outside-range", "range of narrow"),
        (beer(FIELD, "six"), "reading", "no-gravity", '"six" is not a number'),
        (beer({"name": "old name"}, 6.6), "instrument", "unknown-instrument", "renamed?"),
        (beer({"name": None}, 6.6), "instrument", "no-instrument", "no instrument"),
        (beer(FIELD, 6.6, None), "date", "no-date", "no calibration"),
        (beer(FIELD, 6.6, day(2026, 3, 20)), "date", "future", "2026-03-20"),
        (beer(FIELD, 6.6, original=None), "reading", "original-missing", "into fermenter"),
        (beer(FIELD, "=3*2.2"), "reading", "formula", "formula"),
        (beer(FIELD, 6.6, batch="@home"), "batch", "text-like-formula", "formula"),
    ],
)
def test_readings_on_fermentation(filled, line, column, code, words):
    checks = [*CHECKS, water_check(NARROW, day(2026, 3, 1), 0.1)]
    path = filled(inst=[*TOOLS, NARROW], check=checks, ferment=[line])
    place = first_cell(path, f"ferment_{column}")
    found = [one for one in run.audit(path, TODAY).findings if one.code != "not-computed"]
    assert [(one.code, (one.sheet, one.cell)) for one in found] == [(code, place)]
    assert words in found[0].reason


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (pair(date=day(2026, 2, 1)), {("no-check", "shown_brix"), ("no-check", "shown_sg")}),
        (pair(date=None), {("no-date", "date")}),
        (pair(date=day(2026, 3, 20)), {("future", "date")}),
        (pair(shown_brix_temperature=None), {("temperature-missing", "shown_brix")}),
        (pair(shown_sg_temperature=None), {("temperature-missing", "shown_sg")}),
        (pair(BENCH, shown_brix_temperature=38), {("not-compensated", "shown_brix")}),
        (pair(shown_sg_temperature=55), {("read-hot", "shown_sg")}),
        (pair(NARROW), {("outside-range", "shown_brix")}),
        (pair({"name": "old"}), {("unknown-instrument", "refractometer")}),
        (pair(jar={"name": None}), {("no-instrument", "hydrometer")}),
        (pair(GLASS), {("no-gravity", "refractometer")}),
        (pair(jar=FIELD), {("no-gravity", "hydrometer")}),
        (pair(original=None), {("original-missing", "shown_brix")}),
        (pair(sg=1.03), set()),  # how far apart they are is the sheet's own business
        (pair(use="no"), set()),
        # A pair that is left out of the fit is a reading all the same.
        (pair({"name": "old"}, use="no"), {("unknown-instrument", "refractometer")}),
        (pair(original=None, use="no"), {("original-missing", "shown_brix")}),
    ],
)
def test_both_readings_of_a_pair(filled, line, expected):
    checks = [*CHECKS, water_check(NARROW, day(2026, 3, 1), 0.1)]
    path = filled(inst=[*TOOLS, NARROW], check=checks, pair=[line])
    found = [one for one in run.audit(path, TODAY).findings if one.code != "not-computed"]
    places = [(one.code, (one.sheet, one.cell)) for one in found]
    assert len(places) == len(expected)
    assert set(places) == {(code, first_cell(path, f"pair_{key}")) for code, key in expected}


def test_an_original_in_the_log_is_enough(audited):
    """For a refractometer on Fermentation; a hydrometer needs none."""
    log = [reading(GLASS, 1.0500, stage="into fermenter", batch="1")]
    bare = [beer(FIELD, 6.6, original=None), beer(FIELD, 6.6, original=None, batch="2"),
            beer(GLASS, 1.012, original=None, batch="3")]  # fmt: skip
    found = audited(inst=TOOLS, check=CHECKS, log=log, ferment=bare)
    assert codes(found) == [("original-missing", "warning")]
    unread = [reading(GLASS, "many", stage="into fermenter", batch="1")]
    found = audited(inst=TOOLS, check=CHECKS, log=unread, ferment=bare[:1])
    assert codes(found) == [("no-gravity", "severe"), ("original-missing", "warning")]


def test_sheets_that_were_given_other_titles(filled):
    """The names of the cells say which table it is."""
    days = [day(2026, 3, d) for d in (5, 9, 6, 8)]
    ferment = [beer(FIELD, 6.6, when, batch=b) for when, b in zip(days, "1122", strict=True)]
    path = filled(inst=TOOLS, check=CHECKS, ferment=ferment)
    book = openpyxl.load_workbook(path)
    book["Fermentation"].title = "Cellar"
    for defined in book.defined_names.values():
        defined.attr_text = defined.attr_text.replace("Fermentation", "Cellar")
    book.save(path)
    audit = run.audit(path, TODAY)
    assert audit.readings == 4
    assert codes(audit) == [("not-computed", "note")]


def test_a_check_that_was_overdue(audited):
    strict = FIELD | {"interval": 5}
    found = audited(
        inst=[strict, GLASS], check=CHECKS[:2], ferment=[beer(FIELD, 6.6)], pair=[pair()]
    )
    assert [(one.code, one.sheet) for one in found.findings] == [
        ("check-overdue", "Fermentation"),
        ("check-overdue", "Pairs"),
    ]


def test_a_bad_check_doubts_what_was_read_of_beer(filled):
    path = filled(
        inst=[FIELD, GLASS],
        check=[GOOD, GOOD_GLASS, water_check(FIELD, day(2026, 3, 10), 0.7)],
        log=[reading(GLASS, 1.0520, stage="into fermenter")],
        ferment=[beer(FIELD, 6.6, original=None)],
        pair=[pair(use="no")],
    )
    audit = run.audit(path, TODAY)
    finding = next(one for one in audit.findings if one.code == "outside-tolerance")
    assert finding.severity == "severe"
    assert [(d.sheet, d.batch) for d in finding.in_doubt] == [
        ("Fermentation", "1"), ("Pairs", "pale"),
    ]  # fmt: skip
    for doubt, original in zip(finding.in_doubt, (1.0520, 1.05), strict=True):
        assert doubt.recorded_sg == pytest.approx(BEER_SG(original, 6.5), abs=1e-5)
        assert doubt.corrected_sg == pytest.approx(BEER_SG(original, 5.9), abs=1e-5)
    path.write_bytes(paper.workbook([audit], TODAY))
    texts = {str(c.value) for row in openpyxl.load_workbook(path).active.iter_rows() for c in row}
    assert {"Fermentation", "Pairs"} <= texts


def test_dates_run_by_batch_on_fermentation_and_by_line_on_pairs(audited):
    days = [day(2026, 3, d) for d in (5, 9, 6, 8)]
    batches = ("1", "1", "2", "2")
    found = audited(
        inst=TOOLS,
        check=CHECKS,
        ferment=[beer(FIELD, 6.6, when, batch=b) for when, b in zip(days, batches, strict=True)],
    )
    assert found.findings == []
    found = audited(inst=TOOLS, check=CHECKS, ferment=[beer(FIELD, 6.6, when) for when in days])
    assert [(one.code, one.sheet) for one in found.findings] == [("order", "Fermentation")] * 2
    found = audited(inst=TOOLS, check=CHECKS, pair=[pair(date=when) for when in days[1:3]])
    assert (only(found).code, only(found).sheet) == ("order", "Pairs")


def test_gravities_of_beer_are_computed_anew(filled):
    path = filled(
        compute=True,
        inst=TOOLS,
        check=CHECKS,
        log=[reading(GLASS, 1.0500, stage="into fermenter")],
        ferment=[beer(FIELD, 6.6, original=None), beer(GLASS, 1.012)],
        pair=[pair(use="no")],
    )
    assert run.audit(path, TODAY).findings == []
    for name in ("ferment_sg", "pair_default_sg", "pair_sg"):
        stored(path, name, 1.03)
    found = run.audit(path, TODAY)
    assert codes(found) == [("gravity-changed", "warning")] * 3
    assert [one.sheet for one in found.findings] == ["Fermentation", "Pairs", "Pairs"]


def test_verdicts_on_volumes_are_computed_anew(filled):
    path = filled(
        compute=True,
        inst=[GLASS],
        check=[GOOD_GLASS],
        log=[
            reading(GLASS, 1.048, volume=26, volume_temperature=100, stage="first runnings"),
            reading(GLASS, 1.048, volume=20, volume_temperature=20, stage="first runnings"),
        ],
        target=[TARGET | {"volume": 20, "volume_tolerance": 1}],
    )
    assert run.audit(path, TODAY).findings == []
    stored(path, "verdict_volume", "high")
    finding = only(run.audit(path, TODAY))
    assert (finding.code, finding.severity) == ("verdict-changed", "severe")
    assert (finding.sheet, finding.cell) == first_cell(path, "verdict_volume")
    assert finding.reason == "the file says high, its entries give on target"


def test_a_volume_is_compared_at_20_degrees(filled):
    """26 at the boil are 25 at 20 °C."""
    path = filled(
        compute=True,
        inst=[GLASS],
        check=[GOOD_GLASS],
        log=[reading(GLASS, 1.048, volume=26, volume_temperature=100)],
        target=third({"volume": 25, "volume_tolerance": 0.6}),
    )
    assert run.audit(path, TODAY).findings == []


AFTERWARDS = datetime.date(2026, 4, 1)  # the example has ended


@pytest.mark.parametrize(
    ("choices", "factors"),
    [
        (Choices(example=True), "default"),
        (Choices(example=True, units="us", gravity="plato"), "fitted"),
    ],
)
def test_the_example_shows_what_its_entries_give(tmp_path, choices, factors):
    """In all its readings: the only finding is a check that it has on purpose."""
    book = build(choices)
    title, cell = next(iter(book.defined_names["beer_correction"].destinations))
    book[title][cell.replace("$", "")].value = factors
    path = tmp_path / "example.xlsx"
    path.write_bytes(to_bytes(book))
    assert embedded.calculate_file(path, path, AFTERWARDS).failures == []
    assert record.read(path).entries.cell("beer_factors") == factors
    audit = run.audit(path, AFTERWARDS)
    assert audit.readings > 40
    assert codes(audit) == [("outside-tolerance", "warning")]
