"""LibreOffice computes template and example; the embedded engine gives the same, cell by cell."""

from __future__ import annotations

import datetime
import re

import openpyxl
import pytest
from xlfuncs.workbook.vocabulary import Choices

from tests.helpers import run
from tests.workbook.conftest import fill, many_checks
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner
from xlfuncs.workbook import build
from xlfuncs.workbook import vocabulary as words


def differences(path, least=1e-300):
    """Cells whose value differs by more than 1e-12 relative and than `least`."""
    ours = embedded.calculate(path)
    theirs = runner.compute(path)
    assert ours.failures == []
    assert ours.values
    assert set(ours.values) == set(theirs)
    return {
        place: (value, theirs[place])
        for place, value in ours.values.items()
        if value != theirs[place]
        and not (
            isinstance(value, float)
            and isinstance(theirs[place], float)
            and value == pytest.approx(theirs[place], rel=1e-12, abs=least)
        )
    }


def spoilt(book):
    """The example as a careless day would leave it: texts, blanks, slips, lines out of order."""
    log, checks = book[words.LOG], book[words.CALIBRATION]
    log["E6"] = "12,4"
    log["E7"] = "twelve"
    log["F8"] = 80
    log["D9"] = "no such instrument"
    log["A10"] = None
    log["E11"] = None
    log["F12"] = None
    log["G13"] = -3
    log["E14"] = "! from elsewhere"
    log["A15"] = datetime.datetime(2020, 1, 1)
    log["E16"] = "=NA()"
    log["G17"] = "=1/0"
    log["D18"] = "=NA()"
    start = next(iter(book.defined_names["check_date"].destinations))[1]
    row = int(start.split("$")[2].rstrip(":"))
    checks[f"B{row + 1}"] = None
    checks[f"D{row + 2}"] = "one"
    checks[f"A{row + 3}"] = "no such instrument"
    return book


@pytest.mark.parametrize(
    ("choices", "change"),
    [
        (Choices(), None),
        (Choices(example=True), None),
        (Choices(example=True, units="us", gravity="plato"), None),
        (Choices(example=True), spoilt),
    ],
    ids=["template", "example", "example in US units and Plato", "spoilt example"],
)
def test_both_engines_agree_on_every_cell(needs_office, tmp_path, choices, change):
    book = build.build(choices)
    if change:
        book = change(book)
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    assert differences(path) == {}


def test_both_engines_agree_on_hundreds_of_checks(needs_office, tmp_path):
    tools, checks = many_checks(400)
    book = build.build(Choices(rows=20, instruments=12, checks=400))
    fill(book, inst=tools, check=checks)
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    # Calc takes what is left of a difference for 0 when it is rounding alone.
    assert differences(path, least=1e-12) == {}


@pytest.fixture
def example(tmp_path):
    path = tmp_path / "example.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices(example=True))))
    return path


def test_calculate_by_calc_keeps_the_file_as_it_is(needs_office, tmp_path, example):
    """Values come from Calc; panes, styles, validation and charts stay our own."""
    run("calculate", example, "--engine", "calc", "-o", tmp_path / "calc.xlsx")
    run("calculate", example, "-o", tmp_path / "embedded.xlsx")
    by_calc, by_us = (
        openpyxl.load_workbook(tmp_path / name) for name in ("calc.xlsx", "embedded.xlsx")
    )
    for sheet in by_us:
        other = by_calc[sheet.title]
        assert other.freeze_panes == sheet.freeze_panes
        assert len(other._charts) == len(sheet._charts)
        assert len(other.data_validations.dataValidation) == len(
            sheet.data_validations.dataValidation
        )
    values = openpyxl.load_workbook(tmp_path / "calc.xlsx", data_only=True)[words.LOG]
    assert values["K6"].value == pytest.approx(1.0713, abs=1e-4)


def test_print_makes_pages_and_never_overwrites_unasked(needs_office, tmp_path, example):
    out = tmp_path / "out.pdf"
    run("print", example, "-o", out)
    assert out.read_bytes().startswith(b"%PDF")
    before = out.read_bytes()
    assert "exists already" in run("print", example, "-o", out, status=2)
    assert out.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["example.xlsx", "out.pdf"]


def test_the_batch_sheet_is_printed_alone(needs_office, tmp_path, example):
    run("print", example, "--sheet", "batch sheet", "-o", tmp_path / "batch.pdf")
    run("print", example, "-o", tmp_path / "all.pdf")
    pages = [
        len(re.findall(rb"/Type\s*/Page\b", (tmp_path / name).read_bytes()))
        for name in ("batch.pdf", "all.pdf")
    ]
    assert pages[0] == 1
    assert pages[1] > 10


def test_a_sheet_that_is_not_there_is_named(needs_office, tmp_path, example):
    said = run("print", example, "--sheet", "Grist", "-o", tmp_path / "x.pdf", status=2)
    assert "it has no sheet Grist; it has Start, Setup" in said
    assert not (tmp_path / "x.pdf").exists()
