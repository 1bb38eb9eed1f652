"""Entries put into the cells of a workbook, as if somebody had typed them."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Collection, Container, Mapping

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
        for title, entries in by_sheet(cells, sheets).items():
            sheet = SheetPart(title, parts[sheets[title]])
            refuse(title, entries.keys() & sheet.computed())
            parts[sheets[title]] = sheet.edited(entries, written)
    except (*NO_WORKBOOK, zipfile.BadZipFile) as error:
        raise WorkbookProblem("the workbook is cut short or damaged") from error
    return packed(parts)


def by_sheet(
    cells: Mapping[tuple[str, str], Entry], titles: Container[str]
) -> dict[str, dict[Position, Entry]]:
    """The entries of each sheet; raises `WorkbookProblem` where there is none of that title."""
    found: dict[str, dict[Position, Entry]] = {}
    for (title, address), entry in cells.items():
        if title not in titles:
            raise WorkbookProblem(f"the workbook has no sheet {title}")
        found.setdefault(title, {})[position_of(address)] = entry
    return found


def refuse(title: str, computed: Collection[Position]) -> None:
    """Raise `WorkbookProblem` if something is to be entered into cells that a formula fills."""
    if computed:
        raise WorkbookProblem(
            f"{title}!{address_of(*min(computed))} holds a formula, which is not overwritten"
        )


def written(entry: Entry, prefix: str = "") -> tuple[str, str]:
    """Attribute `t` of a cell, and the element that holds the entry."""
    if entry is None or entry == "":
        return "", ""
    if isinstance(entry, bool):
        return "b", f"<{prefix}v>{int(entry)}</{prefix}v>"
    if isinstance(entry, str):
        text = text_element(f"{prefix}t", entry)
        return "inlineStr", f"<{prefix}is>{text}</{prefix}is>"
    number = date_serial(entry) if isinstance(entry, datetime.date) else entry
    return "", f"<{prefix}v>{number_text(number)}</{prefix}v>"
