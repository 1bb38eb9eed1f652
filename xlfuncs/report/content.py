"""What a workbook says, as plain data; docs/report.md describes the keys.

Each sheet declares what the report takes from it (`ReportPart`); nothing is listed here again.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from xlfuncs.workbook import words
from xlfuncs.workbook.kit.blocks import ReportPart
from xlfuncs.workbook.reader import Reader, blank, date_text
from xlfuncs.workbook.sheets import SHEETS


def parts() -> Iterator[ReportPart]:
    """What the report takes, sheet by sheet."""
    smallest = words.Choices(rows=1)
    for module in SHEETS:
        yield from module.sheet(smallest).parts


def gather(reader: Reader) -> dict[str, Any]:
    """The report of one workbook: cells as dictionaries, tables as lists of lines."""
    content: dict[str, Any] = {
        "file": reader.path.name,
        "layout": words.LAYOUT_VERSION,
        "state_on": date_text(reader.cell("state_as_of")),
    }
    for part in parts():
        content[part.key] = lines(reader, part) if part.keep else cells(reader, part)
    return content


def cells(reader: Reader, part: ReportPart) -> dict[str, Any]:
    """The single cells of a part."""
    return {key: reader.plain(name)[0] for key, name in part.cells.items()}


def lines(reader: Reader, part: ReportPart) -> list[dict[str, Any]]:
    """The lines of a part that say something, each with its number."""
    columns = [reader.plain(name) for name in part.cells.values()]
    found = []
    for number, line in enumerate(zip(*columns, strict=True), 1):
        told = dict(zip(part.cells, line, strict=True))
        if not blank(told[key] for key in part.keep):
            found.append({"line": number, **told})
    return found
