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
