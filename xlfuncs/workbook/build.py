"""Build the template workbook, and write it so that the same choices give the same bytes."""

from __future__ import annotations

import datetime

from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName

from xlfuncs.files.saving import to_bytes as to_bytes
from xlfuncs.workbook import example, words
from xlfuncs.workbook.kit import styles, write
from xlfuncs.workbook.kit.blocks import sortable
from xlfuncs.workbook.kit.formulas import LONGEST
from xlfuncs.workbook.kit.place import Layout
from xlfuncs.workbook.sheets import SHEETS, start
from xlfuncs.workbook.words import Choices

#: What a program takes in one formula.
_LONGEST_PLAIN = 8192
# A file that says when it was made differs every time; the layout's own date stands instead.
_MADE = datetime.datetime(2026, 1, 1)


def layout(choices: Choices) -> Layout:
    """All sheets with their blocks placed."""
    from xlfuncs.workbook import plain_edition

    placed = Layout()
    others = [module.sheet(choices) for module in SHEETS]
    made = [start.sheet(choices, others), *others]
    with_functions = map(start.noticed, map(sortable, made))
    for sheet in plain_edition.sheets(made) if choices.plain else with_functions:
        placed.add(sheet)
    return placed


def build(choices: Choices, *, filled: bool = True, placed: Layout | None = None) -> Workbook:
    """The template as an openpyxl workbook, with the invented example filled in on request.

    Not `filled` it only says that it is an example: somebody else types it in.  `placed` are its
    sheets, where they are known already.
    """
    book = Workbook()
    book.remove(book.active)
    styles.register(book)
    write.write(
        book,
        placed or layout(choices),
        write.LETTER if choices.units == "us" else write.A4,
        _LONGEST_PLAIN if choices.plain else LONGEST,
    )
    if not choices.plain:
        _settings(book)
    if choices.example and filled:
        example.fill(book, choices)
    book.defined_names[words.LAYOUT_NAME] = DefinedName(
        words.LAYOUT_NAME, attr_text=str(words.LAYOUT_VERSION)
    )
    book.calculation.fullCalcOnLoad = False
    describe(book, "Gravity log")
    return book


def describe(book: Workbook, title: str) -> None:
    """Say what a workbook is, and not when it was made."""
    properties = book.properties
    properties.creator, properties.title = "xlfuncs", title
    properties.created = properties.modified = _MADE


def _settings(book: Workbook) -> None:
    """The hidden sheet in which the xlwings add-in looks for the module of functions."""
    sheet = book.create_sheet("xlwings.conf")
    sheet["A1"], sheet["B1"] = "UDF Modules", "xlfuncs.udfs"
    sheet.sheet_state = "hidden"
