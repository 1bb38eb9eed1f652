"""Workbooks that more than one benchmark fills."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices


def with_checks(path: Path, checks: int) -> Path:
    """Write the example with this many checks of its first instrument."""
    book = build.build(Choices(example=True, checks=checks))
    title, cells = next(iter(book.defined_names["check_instrument"].destinations))
    sheet, first = book[title], int(re.findall(r"\d+", cells)[0])
    day = datetime.datetime(2000, 1, 1)
    for row in range(first + 20, first + checks):
        sheet.cell(row, 1).value = "Field refractometer"
        sheet.cell(row, 2).value = day + datetime.timedelta(days=row - first)
        sheet.cell(row, 4).value = 0.1 * (row % 3)
    path.write_bytes(build.to_bytes(book))
    return path


def with_lines(path: Path, lines: int) -> Path:
    """Write the example with its log over and over, a year later each time, up to so many lines."""
    book = build.build(Choices(example=True, rows=lines))
    for key in ("date", "batch", "stage", "instrument", "reading", "temperature", "volume",
                "volume_temperature", "ph", "note"):  # fmt: skip
        title, cells = next(iter(book.defined_names[f"log_{key}"].destinations))
        column = [cell for (cell,) in book[title][cells]]
        if key == "date":
            typed = sum(cell.value is not None for cell in column)
        for number, cell in enumerate(column[typed:], typed):
            told = column[number % typed].value
            years = datetime.timedelta(365 * (number // typed))
            cell.value = told + years if isinstance(told, datetime.datetime) else told
    path.write_bytes(build.to_bytes(book))
    return path
