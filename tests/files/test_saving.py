"""What is written of a workbook in memory is what the ways by its file give, byte for byte."""

import datetime
import io
import zipfile

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.files import entered, saving, stored
from xlfuncs.files.package import unpacked
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

DAY = datetime.date(2026, 3, 1)


def small():
    """Cells of every kind, of which some are in no row yet."""
    book = openpyxl.Workbook()
    book.properties.created = book.properties.modified = datetime.datetime(2026, 1, 1)
    sheet = book.active
    sheet.title = "A & <b>"
    values = [12.4, 0.1 + 0.2, 3, True, "a < b & 'c'", " spaces ", "two\nlines", "  ",
              "°ü 🍺", "", "#N/A", DAY, datetime.datetime(2026, 3, 1, 12, 34, 56), datetime.time(9),
              datetime.timedelta(hours=30)]  # fmt: skip
    for row, value in enumerate(values, 1):
        sheet.cell(row, 1).value = value
    sheet["B1"].font = openpyxl.styles.Font(bold=True)
    sheet["B2"].comment, sheet["B3"].hyperlink = Comment("said", "me"), "#A1"
    sheet["C1"] = '=IF(A1<2,"a & b",A1)'
    sheet["D4"] = ArrayFormula("D4:E30", "=A1:A2&A3")
    sheet["D5"].number_format = "0.00"
    sheet["F1"] = DataTableFormula("F1:F3", r1="A1")
    sheet.row_dimensions[40].height = 30
    sheet["H1"] = "joined"
    sheet.merge_cells("H1:J2")
    book.create_sheet("Other")
    return book


def of_openpyxl(book):
    """The parts as openpyxl writes them, but for the kind that it says an empty cell has."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        openpyxl.writer.excel.ExcelWriter(book, archive).save()
    parts = unpacked(buffer.getvalue())
    return {name: part.replace(b' t="n" />', b"/>") for name, part in parts.items()}


def test_the_parts_are_those_that_openpyxl_writes():
    assert unpacked(saving.to_bytes(small())) == of_openpyxl(small())


def test_rows_that_were_written_as_they_came_are_there_as_well():
    """A long record is not held as cells."""

    def long():
        book = openpyxl.Workbook(write_only=True)
        book.properties.created = book.properties.modified = datetime.datetime(2026, 1, 1)
        sheet = book.create_sheet("Long")
        for number in range(30_000):
            blank = openpyxl.cell.WriteOnlyCell(sheet)
            blank.font = openpyxl.styles.Font(bold=True)
            sheet.append([number, "of many", blank])
        return book

    found = unpacked(saving.to_bytes(long()))
    assert all(found[name] == part for name, part in of_openpyxl(long()).items())
    assert b"of many" in found["xl/worksheets/sheet1.xml"]


@pytest.mark.parametrize(
    "choices",
    [Choices(20, checks=20, plain=True, example=True), Choices(20, checks=20, example=True)],
)
def test_values_and_entries_stand_where_the_ways_by_the_file_put_them(choices):
    values = embedded.calculate_book(build.build(choices), DAY).values
    (place, _), *_ = ((p, v) for p, v in values.items() if isinstance(v, str) and v)
    book = build.build(choices)
    name = next(n for n, d in book.defined_names.items() if stored.destination(d.value) == place)
    entries = {
        ("Start", "ZZ900"): "=x",
        ("Log", "B7"): None,
        ("Setup", "A1"): DAY,
        ("Log", "C8"): 4,
    }
    data = entered.enter(saving.to_bytes(book), entries)
    expected = stored.with_values(Source(None, data), values, {name: "instead"})
    found = saving.to_bytes(
        build.build(choices), values=values, named={name: "instead"}, entries=entries
    )
    assert unpacked(found) == unpacked(expected)
    assert found == expected


@pytest.mark.parametrize("address", ["C1", "D4", "D5", "E30"])
def test_nothing_is_entered_where_a_formula_computes(address):
    with pytest.raises(WorkbookProblem, match=f"A & <b>!{address} holds a formula"):
        saving.to_bytes(small(), entries={("A & <b>", "A1"): 1.0, ("A & <b>", address): 2.0})
    with pytest.raises(WorkbookProblem, match="no sheet Nowhere"):
        saving.to_bytes(small(), entries={("Nowhere", "A1"): 1.0})
