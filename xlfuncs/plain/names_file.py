"""The workbook that holds the cell functions as named LAMBDAs, an example line for each."""

from __future__ import annotations

import ast
import datetime
import io
from pathlib import Path
from typing import Any

import xlsxwriter

from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.files.replacing import replacing
from xlfuncs.plain.names import all_names

#: The functions, and how to take them along.
SHEET, DEFINITIONS = "Functions", "Definitions"
HEADINGS = ("Function", "Answer", "First argument, and so on: change the numbers", "What it gives")
#: The row of the first function, counted from 1.
FIRST_ROW = 9
_ARGUMENTS = 3  # the column, counted from 0, of the first argument
_SUMMARY = 2

_INTRODUCTION = (
    "These names compute without Python, add-in or macro, in Excel 365, Excel 2024 and Excel on "
    "the web.  They have not yet been seen in Excel: docs/anywhere.md has a checklist.",
    "To take them into a workbook of yours: 1. open both workbooks;",
    f"2. right-click the tab {SHEET}, Move or Copy…, choose your workbook, tick Create a copy, OK;",
    "3. write =WORT_SG(A2) in any cell of it.  Keep the copied sheet, hidden if you like.",
    "Never use these names and the add-in in one workbook: each function would be there twice.",
)
# A file that says when it was made differs every time.
_MADE = datetime.datetime(2026, 1, 1)


def example(function: CellFunction) -> list[Any]:
    """The arguments of the first call in the function's documentation."""
    source = function.documentation.example.removeprefix(">>> ").split("\n")[0]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == function.name:
            return [ast.literal_eval(value) for value in node.args]
    raise ValueError(f"{function.name} has no example")


def to_bytes() -> bytes:
    """The workbook as the bytes of an .xlsx file, the same every time."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    book.set_properties({"title": "Functions by name", "author": "xlfuncs", "created": _MADE})
    for name in all_names():
        book.define_name(name.name, "=" + name.stored)
    _functions(book)
    _definitions(book)
    book.close()
    return buffer.getvalue()


def write(file: Path) -> None:
    """Write the workbook; a file of that name is replaced by the whole of it, or not at all."""
    file.parent.mkdir(parents=True, exist_ok=True)
    with replacing(file) as out:
        out.write(to_bytes())


def _functions(book: Any) -> None:
    sheet = book.add_worksheet(SHEET)
    bold, wrapped = book.add_format({"bold": True}), book.add_format({"text_wrap": True})
    typed = book.add_format({"bg_color": "#FFF8DC", "border": 1, "border_color": "#BBBBBB"})
    title = book.add_format({"bold": True, "font_size": 14})
    sheet.write(0, 0, "The functions by name, without Python", title)
    for row, line in enumerate(_INTRODUCTION, start=1):
        sheet.write(row, 0, line)
    for column, heading in zip((0, 1, _ARGUMENTS, _SUMMARY), HEADINGS, strict=True):
        sheet.write(FIRST_ROW - 2, column, heading, bold)
    row = FIRST_ROW - 1
    for function in (CATALOGUE[name.name] for name in all_names() if name.name in CATALOGUE):
        cells = example(function)
        sheet.write(row, 0, function.signature())
        for column, cell in enumerate(cells, start=_ARGUMENTS):
            sheet.write(row, column, cell, typed)
        addresses = [
            xlsxwriter.utility.xl_rowcol_to_cell(row, _ARGUMENTS + number)
            for number in range(len(cells))
        ]
        answer = boundary.answer(function, cells)
        # A function with two answers shows the first; INDEX keeps the other from spilling.
        call = f"{function.name}({','.join(addresses)})"
        if function.columns:
            answer, call = answer[0][0], f"INDEX({call},1,1)"
        sheet.write_dynamic_array_formula(row, 1, row, 1, "=" + call, None, answer)
        sheet.write(row, _SUMMARY, function.documentation.summary, wrapped)
        row += 1
    sheet.set_column(0, 0, 62)
    sheet.set_column(1, 1, 16)
    sheet.set_column(_SUMMARY, _SUMMARY, 60)
    sheet.set_column(_ARGUMENTS, _ARGUMENTS + 7, 10)
    sheet.freeze_panes(FIRST_ROW - 1, 1)


def _definitions(book: Any) -> None:
    """Every definition as a person would type it, to read."""
    sheet = book.add_worksheet(DEFINITIONS)
    bold = book.add_format({"bold": True})
    sheet.write_row(0, 0, ["Name", "Definition"], bold)
    for row, name in enumerate(all_names(), start=1):
        sheet.write_string(row, 0, name.name)
        sheet.write_string(row, 1, name.shown)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 1, 120)
    sheet.freeze_panes(1, 1)
