"""What a workbook holds, however its parts are spelled; openpyxl is asked for the same."""

import datetime
import io
import zipfile

import openpyxl
import pytest
from openpyxl.utils.cell import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.table import Table

from xlfuncs.files import contents, problems
from xlfuncs.files.contents import ErrorText, FormulaCell
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def packed(book, sheet=None, path="log.xlsx", **parts):
    """An openpyxl workbook as it is read; `sheet` takes the place of what its first one holds."""
    out = io.BytesIO()
    book.save(out)
    if sheet is not None:
        parts["xl/worksheets/sheet1.xml"] = f'<worksheet xmlns="{MAIN}">{sheet}</worksheet>'
    new = io.BytesIO()
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(new, "w") as archive:
        for name in old.namelist():
            archive.writestr(name, parts.get(name) or old.read(name))
    return Source(problems.Path(path), new.getvalue())


@pytest.fixture
def book():
    book = openpyxl.Workbook()
    book.active.title = "Log"
    return book


def cells(rows):
    return f"<sheetData>{rows}</sheetData>"


def test_kinds_of_values(book):
    book.active["B2"] = datetime.datetime(2026, 3, 14, 6)
    book.active["B3"], book.active["B4"], book.active["B5"] = 0.25, 12, "=1+1"
    book.active["B6"], book.active["B7"], book.active["B8"] = True, "#N/A", "pale"
    book.active["B7"].data_type = "s"
    book.active["C7"] = "#N/A"
    held = contents.read(packed(book)).sheets["Log"]
    assert held.typed == {
        (2, 2): 46095.25, (3, 2): 0.25, (4, 2): 12.0, (6, 2): True, (7, 2): "#N/A",
        (7, 3): "#N/A", (8, 2): "pale",
    }  # fmt: skip
    assert [type(held.typed[7, column]) for column in (2, 3)] == [str, ErrorText]
    assert type(held.typed[4, 2]) is float
    assert held.formulas == {(5, 2): FormulaCell("=1+1", 5)}


def test_cells_without_addresses_follow_one_another(book):
    rows = "<row><c><v>1</v></c><c/><c><v>3</v></c></row><row><c r='D7'><v>4</v></c></row>"
    rows += "<row><c><v>5</v></c></row><row r='9.0'><c><v>6</v></c></row>"
    held = contents.read(packed(book, cells(rows))).sheets["Log"]
    assert held.typed == {(1, 1): 1.0, (1, 3): 3.0, (7, 4): 4.0, (8, 1): 5.0, (9, 1): 6.0}


def test_texts_of_runs_and_a_day_in_words(book):
    rows = (
        "<row r='1'><c r='A1' t='inlineStr'><is><r><t>pale </t></r><r><t>ale</t></r>"
        "<rPh sb='0' eb='1'><t>no</t></rPh></is></c><c r='B1' t='d'><v>2026-03-14</v></c>"
        "<c r='C1' t='str'><v>said</v></c><c r='D1' t='str'><v></v></c><c r='E1'><v>1e999</v></c>"
        "</row>"
    )
    held = contents.read(packed(book, cells(rows))).sheets["Log"]
    assert held.typed == {(1, 1): "pale ale", (1, 2): 46095.0, (1, 3): "said", (1, 5): "#NUM!"}


def test_formulas_filled_down_read_as_in_their_first_cell(book):
    rows = (
        "<row r='2'><c r='B2'><f t='shared' ref='B2:C3' si='0'>A2*$A$1</f><v>1</v></c>"
        "<c r='C2'><f t='shared' si='0'/><v>1</v></c></row>"
        "<row r='3'><c r='B3'><f t='shared' si='0'/><v>1</v></c></row>"
    )
    held = contents.read(packed(book, cells(rows))).sheets["Log"]
    assert held.formulas == {
        (2, 2): FormulaCell("=A2*$A$1", 2),
        (2, 3): FormulaCell("=B2*$A$1", 2),
        (3, 2): FormulaCell("=A2*$A$1", 2),
    }


def test_what_an_array_formula_fills_was_not_typed(book):
    book.active["A1"] = ArrayFormula("A1:B2", "=D1:E2*2")
    book.active["B2"], book.active["B3"], book.active["C1"] = 7, 8, 9
    held = contents.read(packed(book)).sheets["Log"]
    assert held.typed == {(3, 2): 8.0, (1, 3): 9.0}
    assert held.formulas == {(1, 1): FormulaCell("=D1:E2*2", 1, "A1:B2")}


@pytest.mark.parametrize("of_1904", [False, True])
def test_numbers_that_show_as_dates_are_dates(book, of_1904):
    if of_1904:
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    day = datetime.datetime(2026, 3, 14)
    book.active["A1"], book.active["A2"], book.active["A3"] = day, 1e9, "pale"
    book.active["A2"].number_format = "yyyy-mm-dd"
    book.active["A4"] = datetime.timedelta(hours=30)
    held = contents.read(packed(book))
    assert held.value("Log", (1, 1)) == day
    assert held.value("Log", (2, 1)) == 1e9  # no day of the calendar
    assert held.value("Log", (3, 1)) == "pale"
    assert held.value("Log", (4, 1)) == datetime.timedelta(hours=30)
    assert held.value("Log", (9, 9)) is None
    assert held.number_format("Log", (2, 1)) == "yyyy-mm-dd"
    assert held.number_format("Log", (9, 9)) == "General"


def test_names_of_one_sheet_are_its_own(book):
    book.create_sheet("Log (2)").defined_names["log_sg"] = DefinedName(
        "log_sg", attr_text="'Log (2)'!$A$1:$A$9"
    )
    book.defined_names["log_sg"] = DefinedName("log_sg", attr_text="Log!$A$1:$A$9")
    held = contents.read(packed(book))
    assert held.names == {"log_sg": "Log!$A$1:$A$9"}
    assert held.sheets["Log (2)"].names == {"log_sg": "'Log (2)'!$A$1:$A$9"}


def test_tables(book):
    for row in (("day", "sg"), (1, 1.05), (2, 1.04)):
        book.active.append(row)
    book.active.add_table(Table(displayName="Readings", ref="A1:B3"))
    book.create_sheet("Other")
    held = contents.read(packed(book))
    assert held.sheets["Log"].tables == [("Readings", "A1:B3", ["day", "sg"], 1, 0)]
    assert held.sheets["Other"].tables == []


@pytest.mark.parametrize(
    "rows",
    [
        "<row r='1'><c r='A1'><v>twelve</v></c></row>",
        "<row r='1'><c r='A1' t='s'><v>99</v></c></row>",
        "<row r='1'><c r='A1'><v>1</v></c>",
    ],
)
def test_what_no_workbook_holds_is_damage(book, rows):
    with pytest.raises(WorkbookProblem, match=r"brew\.xlsx is cut short or damaged"):
        contents.read(packed(book, cells(rows), "brew.xlsx"))


@pytest.mark.parametrize("plain", [False, True])
def test_a_file_holds_what_the_workbook_in_memory_holds(plain):
    made = build.build(Choices(rows=20, checks=20, example=True, plain=plain))
    made["Log"]["Z1"] = "#N/A"
    memory, file = contents.of(made), contents.read(Source(None, build.to_bytes(made)))
    assert file.names == memory.names
    for title, sheet in file.sheets.items():
        assert sheet.formulas == memory.sheets[title].formulas
        assert sheet.typed == memory.sheets[title].typed
        for position in sheet.typed:
            assert file.number_format(title, position) == memory.number_format(title, position)
            assert file.value(title, position) == memory.value(title, position), (
                title, f"{get_column_letter(position[1])}{position[0]}"
            )  # fmt: skip
