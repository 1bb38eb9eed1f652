"""Entries put into cells: what each reader takes them for, and that nothing else changes."""

import datetime
import io
import re

import openpyxl
import pytest
from openpyxl.styles import Font
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet.formula import ArrayFormula

from tests.helpers import cells_of, parts_of
from tests.hosts.calc.conftest import _usable_office, needs_office  # noqa: F401
from xlfuncs.audit import entries
from xlfuncs.files.entered import enter
from xlfuncs.files.package import packed, unpacked
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner
from xlfuncs.hosts.excel import macros
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

SHEET = "xl/worksheets/sheet1.xml"
DATE = datetime.datetime(2026, 3, 14, 9, 30)
#: What would become a formula, a number or something else where a text is typed again.
STAYS_TEXT = ["=1+1", "+5", "-5", "@name", "'quoted", "12.5", "2026-03-14", "#N/A", "TRUE", "=A1"]


@pytest.fixture
def data():
    book = openpyxl.Workbook()
    log = book.active
    log.title = "Log & notes"
    log["A1"], log["A2"], log["B1"] = "x < y", 12.5, "typed"
    log["A1"].font = log["A3"].font = Font(bold=True)
    log["A3"].number_format = "yyyy-mm-dd hh:mm"
    log["C1"] = "=A2*2"
    log["D1"] = ArrayFormula("D1:D3", "=A1:A3")
    book.create_sheet("Other")["A1"] = "='Log & notes'!A2"
    return to_bytes(book)


def to_bytes(book):
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def entered(data, values):
    """The workbook with these entries on its first sheet, as openpyxl reads that sheet."""
    cells = {("Log & notes", address): value for address, value in values.items()}
    return openpyxl.load_workbook(io.BytesIO(enter(data, cells)))["Log & notes"]


@pytest.mark.parametrize(
    "value",
    [12.4, 0.1, -1e-300, True, False, "plain", "a < b & \"c\" 'd'", "  spaces  ", "two\nlines",
     "°Bx – ü 🍺", *STAYS_TEXT],
)  # fmt: skip
@pytest.mark.parametrize("address", ["A1", "A2", "B2", "F9"])
def test_each_kind_of_entry_in_cells_with_text_number_nothing_and_not_there(data, value, address):
    cell = entered(data, {address: value})[address]
    assert cell.value == value
    assert cell.data_type == {str: "s", bool: "b", float: "n"}[type(value)]


def test_a_date_is_the_number_that_its_cell_shows_as_one(data):
    assert entered(data, {"A3": DATE})["A3"].value == DATE
    assert entered(data, {"A2": DATE.date()})["A2"].value == to_excel(DATE.date())


@pytest.mark.parametrize("nothing", [None, ""])
def test_nothing_empties_a_cell_and_keeps_its_look(data, nothing):
    cell = entered(data, {"A1": nothing})["A1"]
    assert cell.value is None
    assert cell.font.bold


def test_all_else_stays_byte_for_byte(data):
    after = unpacked(enter(data, {("Log & notes", "A2"): 13.5, ("Log & notes", "B1"): "=new"}))
    before = unpacked(data)
    assert list(after) == list(before)
    assert [name for name in before if after[name] != before[name]] == [SHEET]

    def without(sheet):
        return re.sub(r'<c r="(?:A2|B1)"[^>]*>.*?</c>', "", sheet.decode())

    assert without(after[SHEET]) == without(before[SHEET])


@pytest.mark.parametrize("address", ["C1", "D1", "D3"])
def test_a_formula_is_never_overwritten(data, address):
    with pytest.raises(WorkbookProblem, match=f"Log & notes!{address} holds a formula"):
        enter(data, {("Log & notes", "A1"): 1.0, ("Log & notes", address): 2.0})


def test_what_cannot_be(data):
    with pytest.raises(WorkbookProblem, match="no sheet Nowhere"):
        enter(data, {("Nowhere", "A1"): 1.0})
    with pytest.raises(WorkbookProblem, match="damaged"):
        enter(b"PK no workbook", {("Log & notes", "A1"): 1.0})
    with pytest.raises(WorkbookProblem, match="damaged"):
        enter(packed({**unpacked(data), SHEET: b"<worksheet/>"}), {("Log & notes", "A1"): 1.0})
    with pytest.raises(ValueError, match="nan is no number"):
        enter(data, {("Log & notes", "A1"): float("nan")})


def test_the_same_entries_give_the_same_bytes(data):
    cells = {("Log & notes", "B2"): "=x", ("Other", "B1"): DATE}
    assert enter(data, cells) == enter(data, cells)
    assert enter(enter(data, cells), cells) == enter(data, cells)


@pytest.mark.usefixtures("needs_office")
def test_what_office_and_engine_take_a_text_for(data, tmp_path):
    """Both are asked what kind of value stands in the cell, and what it is."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    asked = book.create_sheet("Asked")
    for row in range(1, len(STAYS_TEXT) + 1):
        asked[f"A{row}"], asked[f"B{row}"] = f"=TYPE(Other!F{row})", f'=Other!F{row}&""'
    cells = {("Other", f"F{row}"): text for row, text in enumerate(STAYS_TEXT, 1)}
    path = tmp_path / "asked.xlsx"
    path.write_bytes(enter(to_bytes(book), cells))
    for values in (runner.compute(path), embedded.calculate(path).values):
        for row, text in enumerate(STAYS_TEXT, 1):
            assert values["Asked", f"A{row}"] == 2
            assert values["Asked", f"B{row}"] == text


@pytest.mark.parametrize("plain", [False, True])
def test_entries_of_a_workbook_of_ours_are_found_by_name_and_counted(tmp_path, plain):
    """With functions inside or in plain formulas: the log's first line gives its gravity."""
    book = to_bytes(build.build(Choices(rows=20, checks=20, plain=plain)))
    data = book if plain else macros.with_functions(book)
    path = tmp_path / ("log.xlsx" if plain else "log.xlsm")
    path.write_bytes(data)

    def first(name):
        return cells_of(path, name)[0]

    cells = {
        first("inst_name"): "Field",
        first("batch_name"): "=Pale",
        first("log_date"): DATE,
        first("log_batch"): "=Pale",
        first("log_stage"): "before boil",
        first("log_reading"): 12.4,
        first("log_temperature"): 20.0,
    }
    path.write_bytes(enter(data, cells))
    assert parts_of(path).keys() == unpacked(data).keys()
    typed = entries.read(path, ["log_batch", "log_reading", "log_date"], [])
    assert [typed.column(name)[0].value for name in ("log_batch", "log_reading", "log_date")] == [
        "=Pale", 12.4, to_excel(DATE)
    ]  # fmt: skip
    values = embedded.calculate(path).values
    assert values[first("log_gravity")] == pytest.approx(1.0481, abs=1e-4)  # of 12.4 °Bx at 1.04
