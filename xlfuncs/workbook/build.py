"""Build the template workbook, and write it so that the same choices give the same bytes."""

from __future__ import annotations

import datetime
import io
import zipfile

from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.writer.excel import ExcelWriter

from xlfuncs.workbook import (
    blend,
    calibration,
    card,
    example,
    example_beer,
    example_brewday,
    fermentation,
    kettle,
    layout,
    log,
    pairs,
    runoff,
    setup,
    standards,
    start,
    styles,
    targets,
)
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.vocabulary import Choices

# A file that says when it was made differs every time; the layout's own date stands instead.
_MADE = datetime.datetime(2026, 1, 1)


def build(choices: Choices) -> Workbook:
    """The template as an openpyxl workbook, with the invented example filled in on request."""
    book = Workbook()
    book.remove(book.active)
    styles.register(book)
    paper = layout.LETTER if choices.units == "us" else layout.A4
    start.add(book, choices, paper)
    instruments, papers, wanted = setup.add(book, choices, paper)
    checks = calibration.add(book, choices, paper)
    standards.add(book, choices, paper)
    readings = log.add(book, choices, paper)
    collected = runoff.add(book, choices, paper)
    kettle.add(book, choices, paper)
    past = targets.add(book, choices, paper)
    card.add(book, choices, paper)
    parts = blend.add(book, choices, paper)
    pairs_read = pairs.add(book, choices, paper)
    fermentations = fermentation.add(book, choices, paper)
    _settings(book)
    if choices.example:
        example.fill(instruments, papers, wanted, checks, readings, choices)
        example_beer.fill(pairs_read, fermentations, choices)
        example_brewday.fill(collected, past, parts, choices)
    book.defined_names[words.LAYOUT_NAME] = DefinedName(
        words.LAYOUT_NAME, attr_text=str(words.LAYOUT_VERSION)
    )
    book.calculation.fullCalcOnLoad = False
    properties = book.properties
    properties.creator, properties.title = "xlfuncs", "Gravity log"
    properties.created = properties.modified = _MADE
    return book


def to_bytes(book: Workbook) -> bytes:
    """The workbook as the bytes of an .xlsx file."""
    buffer = io.BytesIO()
    # Workbook.save would write the hour of saving over the dates set above.
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        ExcelWriter(book, archive).save()
    return buffer.getvalue()


def _settings(book: Workbook) -> None:
    """The hidden sheet in which the xlwings add-in looks for the module of functions."""
    sheet = book.create_sheet("xlwings.conf")
    sheet["A1"], sheet["B1"] = "UDF Modules", "xlfuncs.udfs"
    sheet.sheet_state = "hidden"
