"""The built workbook as a file: reproducible, printable, told apart, and few calls."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest

from tests.workbook.conftest import blank_book, calculated
from xlfuncs.files.stored import store
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, words
from xlfuncs.workbook.kit import write
from xlfuncs.workbook.words import Choices

ALL_CHOICES = [
    Choices(rows=20, units=units, gravity=gravity, example=example)
    for units in ("metric", "us")
    for gravity in ("sg", "plato")
    for example in (False, True)
    if not (example and gravity == "plato" and units == "metric")
]


def formulas(book):
    """Every formula, with where it stands."""
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                value = getattr(cell.value, "text", cell.value)
                if isinstance(value, str) and value.startswith("="):
                    yield sheet.title, cell.coordinate, value


@pytest.mark.parametrize("choices", ALL_CHOICES, ids=str)
def test_every_formula_is_computed_and_shows_no_error(tmp_path, choices):
    path = tmp_path / "book.xlsx"
    book, calculation = blank_book(choices), calculated(choices)
    path.write_bytes(build.to_bytes(book))
    assert calculation.failures == []
    store(path, calculation.values, path)
    errors = {
        key: value
        for key, value in calculation.values.items()
        if isinstance(value, str) and value.startswith(("! ", "#"))
    }

    # A picture leaves out what is #N/A, right of the page; no page may show an error.
    def on_page(title, address):
        area = book[title].print_area.rpartition("!")[2].replace("$", "")
        return openpyxl.worksheet.cell_range.CellRange(area).issuperset(
            openpyxl.worksheet.cell_range.CellRange(address)
        )

    assert {place: value for place, value in errors.items() if on_page(*place)} == {}
    assert {value for value in errors.values() if value.startswith("#")} <= {"#N/A"}


@pytest.mark.parametrize("example", [True, False])
@pytest.mark.parametrize("gravity", ["sg", "plato"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_full_recalculation_makes_few_calls(units, gravity, example):
    choices = Choices(rows=20, units=units, gravity=gravity, example=example)
    calls = calculated(choices).calls
    assert sum(calls.values()) <= 60, calls
    # Each function once for each column that it fills.
    assert max(calls.values()) <= 11, calls


def test_formulas_use_our_functions_by_their_plain_names(tmp_path):
    book = blank_book(Choices())
    used = {
        word
        for _, _, formula in formulas(book)
        for word in re.findall(r"([A-Z][A-Z0-9_]*_[A-Z0-9_]+)\(", formula)
    }
    assert used
    assert used <= set(CATALOGUE)


@pytest.mark.parametrize(("units", "paper"), [("metric", write.A4), ("us", write.LETTER)])
def test_pages_are_one_wide_with_titles_repeated(units, paper):
    book = blank_book(Choices(units=units))
    for sheet in book:
        if sheet.sheet_state != "visible":
            continue
        assert sheet.page_setup.paperSize == paper
        assert sheet.page_setup.fitToWidth == 1
        most = {words.LOG: 6, words.CALIBRATION: 2, words.BATCHES: 2}  # 200, 60 and 25 lines
        assert sheet.page_setup.fitToHeight == most.get(sheet.title, 1)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.print_area
    for title in (words.LOG, words.CALIBRATION, words.BATCHES):
        assert book[title].print_title_rows
        assert book[title].freeze_panes


def test_inputs_are_checked_with_a_message():
    book = blank_book(Choices())
    log = book[words.LOG]
    checked = {
        str(rule.sqref).split(":")[0][0]: rule for rule in log.data_validations.dataValidation
    }
    assert set("ABCDEFK") <= set(checked)
    for rule in checked.values():
        assert rule.error
        assert rule.showErrorMessage
        assert len(rule.error) <= 225
    for sheet in book:
        for rule in sheet.data_validations.dataValidation:
            # A list written in place may not be longer than this.
            assert len(rule.formula1 or "") <= 255


def test_rows():
    book = blank_book(Choices(rows=30, checks=20))
    defined = book.defined_names["log_reading"].attr_text
    assert re.fullmatch(r"'Log'!\$E\$(\d+):\$E\$(\d+)", defined)
    first, last = map(int, re.findall(r"\d+", defined))
    assert last - first + 1 == 30


def test_the_module_for_xlwings_is_named_in_the_workbook():
    sheet = blank_book(Choices())["xlwings.conf"]
    assert (sheet["A1"].value, sheet["B1"].value) == ("UDF Modules", "xlfuncs.udfs")
    assert sheet.sheet_state == "hidden"


def test_text_of_a_user_is_never_a_formula(tmp_path):
    """Notes that begin like a formula stay text through calculation."""
    book = build.build(Choices(rows=20))
    note = book.defined_names["log_note"].attr_text.rpartition("!")[2].replace("$", "")
    address = note.partition(":")[0]
    cell = book[words.LOG][address]
    cell.value, cell.data_type = "=cmd()", "s"
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    assert embedded.calculate_file(path, path).failures == []
    assert openpyxl.load_workbook(path)[words.LOG][address].value == "=cmd()"


def test_charts_skip_blanks(tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(blank_book(Choices())))
    with zipfile.ZipFile(path) as parts:
        charts = [n for n in parts.namelist() if n.startswith("xl/charts/chart")]
        assert len(charts) >= 2
        for chart in charts:
            assert 'dispBlanksAs val="gap"' in parts.read(chart).decode()
