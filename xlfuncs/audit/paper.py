"""The findings as a workbook to print."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Iterable, Sequence

from openpyxl.styles import Alignment
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.audit.findings import Doubt, FileAudit, Severity
from xlfuncs.cells.values import visible
from xlfuncs.workbook import build
from xlfuncs.workbook.kit import styles, write

_HEADINGS = (("severity", 10), ("sheet", 13), ("cell", 8), ("what is wrong", 70))
#: Characters that a line takes: of a reason, and of a file's name in larger type across the page.
_REASON, _NAME = 82, 80
#: Points of a line of type, and of the tallest row that Excel takes.
_LINE, _TALLEST = 12.5, 409


def workbook(audits: Sequence[FileAudit], today: datetime.date) -> bytes:
    """An .xlsx file with every finding, file by file, and the readings that are in doubt.

    All of it is text: nothing that came out of a workbook can run as a formula here.
    """
    book = Workbook()
    styles.register(book)
    sheet = book.active
    sheet.title = "Audit"
    counts = ", ".join(
        f"{sum(audit.count(severity) for audit in audits)} {severity}" for severity in Severity
    )
    _text(sheet, "A1", "Audit of gravity logs", styles.TITLE)
    _text(sheet, "A2", f"{today}; workbooks: {len(audits)}; {counts}", styles.LEAD)
    sheet.merged_cells.add("A2:D2")
    sheet.row_dimensions[1].height, sheet.row_dimensions[2].height = 28, 30
    sheet.sheet_view.showGridLines = False
    row = 4
    for column, (_, width) in zip("ABCD", _HEADINGS, strict=True):
        sheet.column_dimensions[column].width = width
    _line(sheet, row, (heading for heading, _ in _HEADINGS), styles.HEADING)
    for audit in audits:
        row += 1
        _file(sheet, row, audit.file)
        if not audit.findings:
            row += 1
            _line(sheet, row, ("", "", "", "nothing found"), styles.TEXT)
        for finding in audit.findings:
            row += 1
            told = (finding.severity.value, finding.sheet, finding.cell, finding.reason)
            _line(sheet, row, told, styles.TEXT)
            for doubt in finding.in_doubt:
                row += 1
                _line(sheet, row, ("", doubt.sheet, doubt.cell, _doubt(doubt)), styles.STEP)
    write.page(sheet, write.A4, f"A1:D{row}", repeat="4:4")
    return build.to_bytes(book)


def _doubt(doubt: Doubt) -> str:
    return (
        f"{doubt.date}  batch {doubt.batch or '-'}: {doubt.recorded_sg:.4f}, "
        f"with this check {doubt.corrected_sg:.4f}"
    )


def _file(sheet: Worksheet, row: int, name: str) -> None:
    """The name of a file, across the page."""
    _text(sheet, f"A{row}", name, styles.SECTION)
    sheet.merged_cells.add(f"A{row}:D{row}")
    sheet[f"A{row}"].alignment = Alignment(wrap_text=True, vertical="bottom")
    _height(sheet, row, name, _NAME)


def _line(sheet: Worksheet, row: int, texts: Iterable[str], style: str) -> None:
    """A row of texts, as high as the last of them needs: printing does not make room by itself."""
    for column, text in zip("ABCD", texts, strict=True):
        _text(sheet, f"{column}{row}", text, style)
        sheet[f"{column}{row}"].alignment = Alignment(wrap_text=True, vertical="top")
    _height(sheet, row, text, _REASON)


def _height(sheet: Worksheet, row: int, text: str, characters: int) -> None:
    lines = sum(len(textwrap.wrap(part, characters)) or 1 for part in visible(text).split("\n"))
    sheet.row_dimensions[row].height = min(_LINE * lines + 3, _TALLEST)


def _text(sheet: Worksheet, address: str, value: str, style: str) -> None:
    cell = sheet[address]
    # openpyxl would take a text that begins with = for a formula.
    cell.value, cell.data_type, cell.style = visible(value), "s", style
