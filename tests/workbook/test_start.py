"""Start: what to do next, links, and whether the figures are fresh."""

from __future__ import annotations

import datetime

import openpyxl
from openpyxl.worksheet.formula import ArrayFormula

from tests.workbook.conftest import FIELD, day
from xlfuncs import __version__
from xlfuncs.files import stored
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, words
from xlfuncs.workbook.sheets import SHEETS, start
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 14)


def test_it_says_what_to_do_next(computed):
    check = {"instrument": "field", "date": day(2026, 3, 1), "shown_1": 0.0}
    line = {"date": day(2026, 3, 7), "batch": "pale", "stage": "before boil", "reading": 11,
            "temperature": 20}  # fmt: skip
    steps = [
        ({}, "Setup"),
        ({"inst": [FIELD]}, "Calibration"),
        ({"check": [check]}, "Batches"),
        ({"batch": [{"name": "pale"}]}, "type the first reading on Log"),
        ({"log": [line]}, "type the next reading on Log"),
    ]
    tables = {}
    for more, wanted in steps:
        tables |= more
        assert computed(**tables).cell("start_says").endswith(wanted), wanted


def test_every_sheet_is_named_with_its_sentence_and_a_link():
    book = build.build(Choices(rows=20))
    sheet = book[words.START]
    links = {
        cell.value: cell.hyperlink.location or cell.hyperlink.target
        for row in sheet.iter_rows()
        for cell in row
        if cell.hyperlink
    }
    others = [title for title in book.sheetnames if title not in (words.START, "xlwings.conf")]
    assert list(links) != []
    assert set(links) == set(others)
    assert len(SHEETS) == len(others)
    for title, link in links.items():
        assert link.lstrip("#") == f"'{title}'!A1"
    text = [cell.value for row in sheet.iter_rows() for cell in row]
    for module in SHEETS:
        assert module.sheet(Choices(rows=20)).sentence in text


def test_computed_where_the_functions_are_it_says_that_they_are_loaded(computed):
    assert computed().cell("functions_state") == f"Functions loaded, version {__version__}"


def test_a_stored_value_never_says_that_the_functions_are_loaded(tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices(rows=20, example=True))))
    embedded.calculate_file(path, path, TODAY, named=start.as_stored(TODAY))
    book = openpyxl.load_workbook(path, data_only=True)

    def value(name):
        title, cells = next(iter(book.defined_names[name].destinations))
        return book[title][cells.replace("$", "")].value

    for name in ("functions_state", "functions_missing"):
        assert value(name).startswith("NOT LOADED: the figures are those stored on 2026-03-14 ")
    assert value("stored_lost").startswith("NOT LOADED, and this program keeps none of the figures "
                                           "stored on 2026-03-14: ")  # fmt: skip
    # What was stored besides is what was computed.
    assert value("own_wort_factor") > 1
    assert not any(
        "loaded, version" in str(cell.value)
        for row in book[words.START].iter_rows()
        for cell in row
    )


def test_without_the_functions_the_cell_computes_the_same_words(tmp_path, monkeypatch):
    """A program that has none of our functions computes the cell anew, for TODAY() asks for it."""
    book = build.build(Choices(rows=20))
    title, cells = next(iter(book.defined_names["functions_state"].destinations))
    formula = book[title][cells.replace("$", "")].value
    assert "TODAY()" in formula
    book[title][cells.replace("$", "")].value = formula.replace("CELLS_VERSION()", "NA()")
    calculation = embedded.calculate_book(book, TODAY)
    said = calculation.values[title, cells.replace("$", "")]
    assert said.startswith("NOT LOADED: the figures are those stored when this file was last saved")


def test_where_stored_figures_are_not_kept_each_sheet_says_so():
    """An array formula is computed anew by some programs whatever is stored beside it."""
    said = heads(build.build(Choices(rows=20)))
    assert set(said.values()) == {""}
    book = build.build(Choices(rows=20))
    for name in ("functions_state", "stored_kept"):
        title, cells = next(iter(book.defined_names[name].destinations))
        cell = book[title][cells.replace("$", "")]
        without = getattr(cell.value, "text", cell.value).replace("CELLS_VERSION()", "NA()")
        cell.value = without if isinstance(cell.value, str) else ArrayFormula(cells, without)
    said = heads(book)
    assert said.keys() == {words.START} | {module.sheet(Choices()).title for module in SHEETS}
    for words_there in said.values():
        assert words_there.startswith("NOT LOADED, and this program keeps none of the figures")
        assert "trust nothing on these sheets" in words_there


def heads(book):
    """What stands beside the title of each sheet, and on Start what is said of the functions."""
    values = embedded.calculate_book(book, TODAY).values
    title, cells = next(iter(book.defined_names["functions_state"].destinations))
    found = {title: values[title, cells.replace("$", "")]}
    found[title] = "" if found[title].startswith("Functions loaded") else found[title]
    return found | {
        sheet.title: values[sheet.title, cell.coordinate]
        for sheet in book.worksheets
        for cell in sheet[1]
        if "stored_lost" in str(cell.value)
    }


def test_a_workbook_without_these_cells_is_stored_as_it_is(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = "=1+1"
    path = tmp_path / "other.xlsx"
    book.save(path)
    stored.store(path, {("Sheet", "A1"): 2.0}, path, start.as_stored(TODAY))
    assert openpyxl.load_workbook(path, data_only=True).active["A1"].value == 2
