"""Entries put into the cells of a workbook, as if somebody had typed them."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Mapping

from xlfuncs.cells.values import date_serial
from xlfuncs.files.package import packed, sheet_parts, unpacked
from xlfuncs.files.part import (
    NO_WORKBOOK,
    Position,
    SheetPart,
    address_of,
    number_text,
    position_of,
    text_element,
)
from xlfuncs.files.problems import WorkbookProblem

#: What somebody may type; None empties the cell.
Entry = float | str | bool | datetime.date | None


def enter(data: bytes, cells: Mapping[tuple[str, str], Entry]) -> bytes:
    """The bytes of a workbook with these entries in its cells.

    `cells` maps (sheet title, cell address) to a number, a text, a truth value, a date, or None
    for an empty cell.  A text stays a text, whatever it begins with: nothing of it becomes a
    formula.  The look of a cell stays, and every other cell and part byte for byte.  What the
    formulas give is not computed anew: see `stored.store`.

    Raises `WorkbookProblem`: for a cell that a formula fills, which is never overwritten, a sheet
    that is not there, and bytes that are no workbook.
    """
    try:
        parts = unpacked(data)
        _, sheets = sheet_parts(parts)
        by_sheet: dict[str, dict[Position, Entry]] = {}
        for (title, address), entry in cells.items():
            by_sheet.setdefault(title, {})[position_of(address)] = entry
        for title, entries in by_sheet.items():
            if title not in sheets:
                raise WorkbookProblem(f"the workbook has no sheet {title}")
            sheet = SheetPart(title, parts[sheets[title]])
            _refuse_formulas(sheet, entries)
            parts[sheets[title]] = sheet.edited(entries, _written)
    except (*NO_WORKBOOK, zipfile.BadZipFile) as error:
        raise WorkbookProblem("the workbook is cut short or damaged") from error
    return packed(parts)


def _refuse_formulas(sheet: SheetPart, entries: Mapping[Position, Entry]) -> None:
    computed = sorted(entries.keys() & sheet.computed())
    if computed:
        raise WorkbookProblem(
            f"{sheet.title}!{address_of(*computed[0])} holds a formula, which is not overwritten"
        )


def _written(entry: Entry, prefix: str) -> tuple[dict[str, str], str]:
    """Attribute `t` of a cell, and the element that holds the entry."""
    if entry is None or entry == "":
        return {}, ""
    if isinstance(entry, bool):
        return {"t": "b"}, f"<{prefix}v>{int(entry)}</{prefix}v>"
    if isinstance(entry, str):
        text = text_element(f"{prefix}t", entry)
        return {"t": "inlineStr"}, f"<{prefix}is>{text}</{prefix}is>"
    number = date_serial(entry) if isinstance(entry, datetime.date) else entry
    return {}, f"<{prefix}v>{number_text(number)}</{prefix}v>"
