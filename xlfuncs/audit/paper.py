"""The findings as a workbook to print."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.audit.findings import FileAudit, Severity
from xlfuncs.workbook import build, layout, styles

_HEADINGS = (("severity", 10), ("sheet", 13), ("cell", 8), ("what is wrong", 92))


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
    layout.title(sheet, "Audit of gravity logs", f"{today}: {len(audits)} workbooks; {counts}", "D")
    row = 4
    for column, (heading, width) in zip("ABCD", _HEADINGS, strict=True):
        sheet.column_dimensions[column].width = width
        _text(sheet, f"{column}{row}", heading, styles.HEADING)
    for audit in audits:
        row += 1
        _text(sheet, f"A{row}", audit.file, styles.SECTION)
        if not audit.findings:
            row += 1
            _text(sheet, f"D{row}", "nothing found", styles.TEXT)
        for finding in audit.findings:
            row += 1
            cells = (finding.severity.value, finding.sheet, finding.cell, finding.reason)
            for column, value in zip("ABCD", cells, strict=True):
                _text(sheet, f"{column}{row}", value, styles.TEXT)
            for doubt in finding.in_doubt:
                row += 1
                _text(sheet, f"B{row}", doubt.sheet, styles.STEP)
                _text(sheet, f"C{row}", doubt.cell, styles.STEP)
                _text(sheet, f"D{row}", _line(doubt.batch, doubt.date, doubt.recorded_sg,
                                              doubt.corrected_sg), styles.STEP)  # fmt: skip
    layout.page(sheet, layout.A4, f"A1:D{row}", repeat="4:4")
    return build.to_bytes(book)


def _line(batch: str, date: str, recorded: float, corrected: float) -> str:
    return f"{date}  batch {batch or '-'}: {recorded:.4f}, with this check {corrected:.4f}"


def _text(sheet: Worksheet, address: str, value: str, style: str) -> None:
    cell = sheet[address]
    # openpyxl would take a text that begins with = for a formula.
    cell.value, cell.data_type, cell.style = value, "s", style
