"""What was typed into a workbook, read by its names, a row at a time and without computing.

The sheets are streamed twice: for what was typed, and for the values stored beside formulas.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils import get_column_letter, range_boundaries

from xlfuncs.workbook import problems
from xlfuncs.workbook import vocabulary as words


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a named column: its place, its value (None when blank), whether it is a formula."""

    sheet: str
    address: str
    value: Any
    formula: bool = False


@dataclass(frozen=True)
class _Place:
    sheet: str
    column: int
    first: int
    last: int


class Entries:
    """The named columns of one workbook."""

    def __init__(self, columns: Mapping[str, list[Cell]]) -> None:
        self._columns = columns

    def column(self, name: str) -> list[Cell]:
        """The cells of a named column; none if the workbook is too old to have it."""
        return self._columns.get(name, [])

    def cell(self, name: str) -> Any:
        """The value of a named cell, None when it is blank or not there."""
        cells = self.column(name)
        return cells[0].value if cells else None

    def rows(self, prefix: str, keys: Iterable[str]) -> list[dict[str, Cell]]:
        """The rows of the named columns `prefix_key`; a column that is not there is blank."""
        columns = {key: self.column(f"{prefix}_{key}") for key in keys}
        length = max((len(cells) for cells in columns.values()), default=0)
        blank = Cell("", "", None)
        return [
            {key: cells[i] if i < len(cells) else blank for key, cells in columns.items()}
            for i in range(length)
        ]


def read(path: Path, typed: Iterable[str], needed: Iterable[str], stored: Iterable[str]) -> Entries:
    """The cells that carry these names: `typed` by people, and values `stored` beside formulas.

    Where somebody put a formula into a cell for typing, its stored value counts.  Names in `needed`
    must be there.  Raises `WorkbookProblem` for a file that is not one of our workbooks.
    """
    data = problems.content(path)
    try:
        places = _places(path, data, {*typed, *stored})
        lost = sorted(set(needed) - places.keys())
        if lost:
            raise problems.WorkbookProblem(
                f"{path.name} has lost its cells “{lost[0]}”: was a sheet or a column deleted?"
            )
        columns = _stream(data, {name: places[name] for name in typed if name in places}, False)
        wanted = {name: places[name] for name in stored if name in places}
        wanted |= {
            name: places[name]
            for name, cells in columns.items()
            if any(cell.formula for cell in cells)
        }
        values = _stream(data, wanted, True)
    except problems.WorkbookProblem:
        raise
    except Exception as error:  # openpyxl raises whatever a wrong part leads to
        raise problems.damaged(path) from error
    for name, cells in values.items():
        columns[name] = [
            Cell(cell.sheet, cell.address, cell.value, typed_cell.formula)
            for cell, typed_cell in zip(cells, columns.get(name, cells), strict=True)
        ]
    return Entries(columns)


def _open(data: bytes, values: bool) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about extensions that a reader does not need
        return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values)


def _places(path: Path, data: bytes, names: set[str]) -> dict[str, _Place]:
    book = _open(data, values=False)
    mark = book.defined_names.get(words.LAYOUT_NAME)
    if mark is None:
        raise problems.WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark"
        )
    if str(mark.attr_text) != str(words.LAYOUT_VERSION):
        raise problems.WorkbookProblem(
            f"{path.name} has layout {mark.attr_text}; this program reads layout "
            f"{words.LAYOUT_VERSION}"
        )
    places = {}
    for name in names & book.defined_names.keys():
        found = list(book.defined_names[name].destinations)
        if len(found) == 1 and found[0][0] in book.sheetnames:
            sheet, cells = found[0]
            left, top, _, bottom = range_boundaries(cells.replace("$", ""))
            places[name] = _Place(sheet, left, top, bottom)
    return places


def _stream(data: bytes, places: Mapping[str, _Place], values: bool) -> dict[str, list[Cell]]:
    columns = {
        name: [
            Cell(place.sheet, f"{get_column_letter(place.column)}{row}", None)
            for row in range(place.first, place.last + 1)
        ]
        for name, place in places.items()
    }
    if not places:
        return columns
    book = _open(data, values)
    for title in {place.sheet for place in places.values()}:
        here = [(name, place) for name, place in places.items() if place.sheet == title]
        by_column: dict[int, list[tuple[str, _Place]]] = {}
        for name, place in here:
            by_column.setdefault(place.column, []).append((name, place))
        sheet = book[title]
        # What the file says about its size may be wrong or missing.
        sheet.reset_dimensions()
        rows = sheet.iter_rows(
            min_row=min(place.first for _, place in here),
            max_row=max(place.last for _, place in here),
            max_col=max(by_column),
        )
        for row in rows:
            for cell in row:
                value = cell.value
                if value is None:
                    continue
                for name, place in by_column.get(cell.column, ()):
                    if place.first <= cell.row <= place.last:
                        old = columns[name][cell.row - place.first]
                        columns[name][cell.row - place.first] = Cell(
                            title,
                            old.address,
                            None if value == "" else value,
                            cell.data_type == "f",
                        )
    return columns
