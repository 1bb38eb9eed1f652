"""Values beside the formulas of a workbook: list them, and write new ones.

A program that only reads a workbook shows the value stored with each formula.  Writing changes
those values and nothing else: every other part of the file stays byte for byte as it was.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from openpyxl.utils import range_boundaries
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.cells.values import ERROR_TEXTS
from xlfuncs.files import problems
from xlfuncs.files.package import Parts, local, packed, sheet_parts, unpacked
from xlfuncs.files.part import (
    NO_WORKBOOK,
    Position,
    Scan,
    SheetPart,
    address_of,
    number_text,
    position_of,
    positions,
    text_element,
)
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import replacing

Value = float | str | bool

# Excel computes everything anew when the values come from an engine older than its own; this is
# the number that Excel 2019 and later write.
_ENGINE = 191029


#: What a name of a range of cells says.
_COLUMN = re.compile(
    r"(?:'(?P<quoted>(?:[^']|'')+)'|(?P<title>[^'!]+))!(?P<cells>\$?[A-Z]+\$?\d+:\$?[A-Z]+\$?\d+)"
)


@dataclass(frozen=True)
class FormulaCell:
    """A formula, the range it fills if it is an array formula, and the value stored beside it."""

    sheet: str
    address: str
    text: str
    array_range: str | None
    stored: Any


def formula_cells(source: str | Path | Source) -> list[FormulaCell]:
    """Every formula of a workbook, sheet by sheet in reading order."""
    found = problems.read(source)
    formulas, values = problems.load(found), problems.load(found, data_only=True)
    cells = []
    for sheet in formulas.worksheets:
        # Of the cells that are there: walking over rows makes all those between them too.
        for _, cell in sorted(sheet._cells.items()):
            if cell.data_type != "f":
                continue
            area = getattr(cell.value, "ref", None)
            cells.append(
                FormulaCell(
                    sheet.title,
                    cell.coordinate,
                    (cell.value if isinstance(cell.value, str) else cell.value.text) or "",
                    area,
                    values[sheet.title][cell.coordinate].value,
                )
            )
    return cells


def formula_areas(source: str | Path | Source) -> dict[str, list[str]]:
    """By sheet title, the range of each formula: all cells of an array formula, else its own.

    Raises `WorkbookProblem`.
    """
    found = problems.read(source)
    try:
        parts = unpacked(found.data)
        _, sheets = sheet_parts(parts)
        return {title: SheetPart(title, parts[part]).areas() for title, part in sheets.items()}
    except NO_WORKBOOK as error:
        raise problems.damaged(found.path) from error


def computed_cells(source: str | Path | Source) -> set[tuple[str, str]]:
    """Sheet title and address of every cell that a formula fills.  Raises `WorkbookProblem`."""
    return {
        (title, address_of(row, column))
        for title, areas in formula_areas(source).items()
        for area in areas
        for row, column in positions(area)
    }


def no_longer_computed(book: Workbook) -> list[str]:
    """Named columns that an array formula filled and of which only the beginning computes now.

    A program that does not know the functions may save an array formula as a formula of its first
    cell, and the values of the others as if they were typed: such a workbook computes without an
    error, and wrong.  Gives places such as `Log!H6:H205`, in the order of the names.
    """
    found = []
    for defined in book.defined_names.values():
        place = _COLUMN.fullmatch(defined.attr_text or "")
        title = place and (place["title"] or place["quoted"].replace("''", "'"))
        if not place or title not in book.sheetnames:
            continue
        cells = place["cells"].replace("$", "")
        left, top, _, bottom = range_boundaries(cells)
        formula = book[title].cell(top, left).value
        if isinstance(formula, ArrayFormula) and range_boundaries(formula.ref)[3] < bottom:
            found.append(f"{title}!{cells}")
    return found


def must_compute_whole(book: Workbook, path: Path) -> None:
    """Raise `WorkbookProblem`, which names the cells, for a workbook that computes only in part."""
    cut = no_longer_computed(book)
    if cut:
        raise problems.computes_in_part(path, cut)


def store(
    source: str | Path | Source,
    values: Mapping[tuple[str, str], Value],
    out: str | Path,
    named: Mapping[str, Value] | None = None,
) -> None:
    """Write values beside the formulas of a workbook, into `out`.

    `values` maps (sheet title, cell address) to a number, a text, a truth value or the text of a
    spreadsheet error (`#N/A`).  Each cell must hold a formula or lie in an array formula's range;
    others raise `ValueError`, so that nothing that somebody typed is lost.  `named` holds what
    takes the place of the value of a named cell, where the workbook has it.  The same input gives
    the same bytes.  Raises `WorkbookProblem` for a file that is no workbook, that has changed since
    it was read, or that cannot be written, and for an ending of `out` that is not the content's.
    """
    found = problems.read(source)
    _must_end_alike(found, Path(out))
    try:
        parts = unpacked(found.data)
        put(values, parts, named)
    except NO_WORKBOOK as error:
        raise problems.damaged(found.path) from error
    with replacing(out, found) as file:
        file.write(packed(parts))


def put(
    values: Mapping[tuple[str, str], Value],
    parts: Parts,
    named: Mapping[str, Value] | None = None,
) -> None:
    """The same for the parts of a workbook, in place."""
    book, sheets = sheet_parts(parts)
    instead = _places(parts[book], named or {})
    values = {**values, **{place: value for place, value in instead if place in values}}
    by_sheet: dict[str, dict[Position, Value]] = {}
    for (title, address), value in values.items():
        if title not in sheets:
            raise ValueError(f"there is no sheet {title}")
        by_sheet.setdefault(title, {})[position_of(address)] = value
    for title, cells in by_sheet.items():
        sheet = SheetPart(title, parts[sheets[title]])
        _refuse_others(sheet, cells)
        parts[sheets[title]] = sheet.edited(cells, _written)
    parts[book] = _keeping_values(parts[book])


def _must_end_alike(source: Source, out: Path) -> None:
    """A spreadsheet program refuses a file whose ending is not that of its content."""
    wanted = source.ending()
    if out.suffix.lower() != wanted and out.resolve() != source.path.resolve():
        what = "holds macros" if wanted.endswith("m") else f"is an {wanted} file"
        raise WorkbookProblem(
            f"{source.name} {what}: the name of what is written of it must end in {wanted}"
        )


# --- the workbook's part ------------------------------


def _places(book: bytes, values: Mapping[str, Value]) -> Iterator[tuple[tuple[str, str], Value]]:
    """Sheet and address of each of these names that the workbook has, and its value."""
    for element in ElementTree.fromstring(book).iter():
        if local(element.tag) == "definedName" and element.attrib["name"] in values:
            title, _, address = (element.text or "").rpartition("!")
            title = title.removeprefix("'").removesuffix("'").replace("''", "'")
            yield (title, address.replace("$", "")), values[element.attrib["name"]]


def _keeping_values(book: bytes) -> bytes:
    """The workbook's part, without the wish to compute everything when it is opened."""
    scan = Scan(book)
    edits = []
    for tag in scan.tags:
        if local(tag.name) != "calcPr":
            continue
        kept = {name: value for name, value in tag.attributes.items() if name != "fullCalcOnLoad"}
        if kept.get("calcId", "").isdigit():
            kept["calcId"] = str(max(int(kept["calcId"]), _ENGINE))
        edits.append((tag.start, scan.inside(tag), tag.written(kept, tag.empty)))
    return scan.edited(edits)


# --- one sheet ------------------------------


def _refuse_others(sheet: SheetPart, values: Mapping[Position, Value]) -> None:
    for row, column in sorted(values.keys() - sheet.computed()):
        raise ValueError(f"{sheet.title}!{address_of(row, column)} holds no formula")


def _written(value: Value, prefix: str) -> tuple[dict[str, str], str]:
    """Attribute `t` of a cell, and the element that holds its value."""
    name = f"{prefix}v"
    if isinstance(value, bool):
        return {"t": "b"}, f"<{name}>{int(value)}</{name}>"
    if isinstance(value, str):
        kind = "e" if value in ERROR_TEXTS else "str"
        return {"t": kind}, text_element(name, value)
    return {}, f"<{name}>{number_text(value)}</{name}>"
