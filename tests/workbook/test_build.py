"""The built workbook as a file: reproducible, printable, told apart, and few calls."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest

from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.vocabulary import Choices

ALL_CHOICES = [
    Choices(rows=12, units=units, gravity=gravity, example=example)
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
    path.write_bytes(build.to_bytes(build.build(choices)))
    calculation = embedded.calculate_file(path, path)
    assert calculation.failures == []
    errors = {
        key: value
        for key, value in calculation.values.items()
        if isinstance(value, str) and value.startswith(("! ", "#"))
    }
    # A chart leaves out what is #N/A, and the options say what cannot be done; nothing else may
    # show an error.
    stored = openpyxl.load_workbook(path, data_only=True)

    def under(title, address, heading):
        cell = stored[title][address]
        above = (stored[title].cell(row, cell.column).value for row in range(1, cell.row))
        return any(str(value).startswith(heading) for value in above)

    assert {
        (title, address): value
        for (title, address), value in errors.items()
        if not under(title, address, "Chart" if value == "#N/A" else words.ANSWERED)
    } == {}


def test_a_full_recalculation_makes_few_calls(tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices(example=True))))
    calls = embedded.calculate(path).calls
    assert sum(calls.values()) <= 60, calls
    # Each function once for each column that it fills.
    assert max(calls.values()) <= 8, calls


def test_formulas_use_our_functions_by_their_plain_names(tmp_path):
    book = build.build(Choices())
    used = {
        word
        for _, _, formula in formulas(book)
        for word in re.findall(r"([A-Z][A-Z0-9_]*_[A-Z0-9_]+)\(", formula)
    }
    assert used
    assert used <= set(CATALOGUE)


def test_input_and_computed_cells_are_told_apart_without_colour():
    book = build.build(Choices())
    named = {style.name: style for style in styles._styles()}
    assert named[styles.INPUT].border.left.style == "dashed"
    assert named[styles.RESULT].border.left is None
    for title, address, _ in formulas(book):
        assert book[title][address].style not in (styles.INPUT, styles.HEADING_INPUT, ""), address


@pytest.mark.parametrize(("units", "paper"), [("metric", layout.A4), ("us", layout.LETTER)])
def test_pages_are_one_wide_with_titles_repeated(units, paper):
    book = build.build(Choices(units=units))
    for sheet in book:
        if sheet.sheet_state != "visible":
            continue
        assert sheet.page_setup.paperSize == paper
        assert sheet.page_setup.fitToWidth == 1
        one_page = sheet.title in (words.RUNOFF, words.TARGETS, words.CARD)
        assert sheet.page_setup.fitToHeight == (1 if one_page else 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.print_area
    assert book[words.LOG].print_title_rows == "$4:$5"
    assert book[words.CALIBRATION].print_title_rows
    assert book[words.LOG].freeze_panes == "D6"


def test_inputs_are_checked_with_a_message():
    book = build.build(Choices())
    log = book[words.LOG]
    checked = {str(rule.sqref).split(":")[0]: rule for rule in log.data_validations.dataValidation}
    assert {"A6", "C6", "D6", "E6", "F6", "G6", "H6"} <= set(checked)
    for rule in checked.values():
        assert rule.error
        assert rule.showErrorMessage
        assert len(rule.error) <= 225
    for sheet in book:
        for rule in sheet.data_validations.dataValidation:
            # A list written in place may not be longer than this.
            assert len(rule.formula1 or "") <= 255


def test_rows(tmp_path):
    book = build.build(Choices(rows=123))
    defined = book.defined_names["log_reading"].attr_text
    assert defined == "'Log'!$E$6:$E$128"


def test_the_module_for_xlwings_is_named_in_the_workbook():
    sheet = build.build(Choices())["xlwings.conf"]
    assert (sheet["A1"].value, sheet["B1"].value) == ("UDF Modules", "xlfuncs.udfs")
    assert sheet.sheet_state == "hidden"


def test_text_of_a_user_is_never_a_formula(tmp_path):
    """Notes that begin like a formula stay text through calculation."""
    book = build.build(Choices(rows=12))
    cell = book[words.LOG]["I6"]
    cell.value, cell.data_type = "=cmd()", "s"
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    assert embedded.calculate_file(path, path).failures == []
    assert openpyxl.load_workbook(path)[words.LOG]["I6"].value == "=cmd()"


def test_charts_skip_blanks(tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices())))
    with zipfile.ZipFile(path) as parts:
        charts = [n for n in parts.namelist() if n.startswith("xl/charts/chart")]
        assert len(charts) >= 2
        for chart in charts:
            assert 'dispBlanksAs val="gap"' in parts.read(chart).decode()
