"""What was typed into a workbook, read by its names, cell after cell and without computing.

One pass over the few sheets that hold the names; neither styles nor other sheets are looked at.
"""

from __future__ import annotations

import functools
import io
import itertools
import sys
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from openpyxl.utils import get_column_letter, range_boundaries

from xlfuncs.files import contents, problems, scan
from xlfuncs.files.package import PartsAsAsked, defined_names, destination, sheet_parts
from xlfuncs.files.part import address_of
from xlfuncs.files.problems import Source
from xlfuncs.files.scan import WrittenCell, WrittenFormula
from xlfuncs.workbook import words


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a named column: its place, its value (None when blank), whether it is a formula."""

    file: str
    sheet: str
    address: str
    value: Any
    formula: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """The columns of a table by key: place among the values of a line, sheet, letter, first row."""

    file: str
    columns: Mapping[str, tuple[int, str, str, int]]

    def cell(self, key: str, line: int, value: Any = None) -> Cell:
        """A cell of a line, which are counted from 0."""
        _, sheet, letter, first = self.columns[key]
        address = sys.intern(f"{letter}{first + line}") if letter else ""
        return Cell(self.file, sheet, address, value)


class Line(Mapping[str, Cell]):
    """The cells of one line of a table, by key.

    It holds their values alone: the record of a year has lines by the hundred thousand.
    """

    __slots__ = ("_values", "number", "table")

    def __init__(self, table: Table, number: int, values: tuple[Any, ...]) -> None:
        self.table, self.number, self._values = table, number, values

    def __getitem__(self, key: str) -> Cell:
        return self.table.cell(key, self.number, self.value(key))

    def value(self, key: str) -> Any:
        """What a cell holds."""
        return self._values[self.table.columns[key][0]]

    def __iter__(self) -> Iterator[str]:
        return iter(self.table.columns)

    def __len__(self) -> int:
        return len(self._values)


@dataclass(frozen=True)
class _Place:
    sheet: str
    column: int
    last_column: int
    first: int
    last: int

    @property
    def cells(self) -> str:
        """Its range."""
        return f"{address_of(self.first, self.column)}:{address_of(self.last, self.last_column)}"

    @property
    def wide(self) -> int:
        """Cells on a line."""
        return self.last_column - self.column + 1

    def position(self, row: int, column: int) -> int | None:
        """Place of a cell among its cells, line by line; None for one that lies outside."""
        if not (self.first <= row <= self.last and self.column <= column <= self.last_column):
            return None
        return (row - self.first) * self.wide + column - self.column

    def address(self, position: int) -> str:
        """The address of the cell at that place."""
        line, beside = divmod(position, self.wide)
        return f"{get_column_letter(self.column + beside)}{self.first + line}"


class _Column:
    """The values of a named column, line by line, and which of them are those of formulas."""

    def __init__(self, place: _Place) -> None:
        self.place = place
        self.values: list[Any] = [None] * ((place.last - place.first + 1) * place.wide)
        self.formulas: set[int] = set()
        self.lost: set[int] = set()  # formulas without a value beside them, if only an empty text


class Entries:
    """The named columns of one workbook."""

    def __init__(self, file: str, columns: Mapping[str, _Column]) -> None:
        self.file, self._columns = file, columns

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Entries:
        """Named single cells with these values, which stand in no workbook."""
        columns = {name: _Column(_Place("", 1, 1, 1, 1)) for name in values}
        for name, value in values.items():
            columns[name].values = [value]
        return cls("", columns)

    def column(self, name: str) -> list[Cell]:
        """The cells of a named column, blank ones too; none if the workbook is too old for it."""
        column = self._columns.get(name)
        return [self._cell(column, at) for at in range(len(column.values))] if column else []

    def lost(self, name: str) -> frozenset[int]:
        """The lines, from 0, on which a named column has a formula and the file no value of it."""
        column = self._columns.get(name)
        return frozenset(column.lost if column else ())

    def filled(self, name: str) -> Iterator[Cell]:
        """The cells of a named column that hold something, if only a formula."""
        column = self._columns.get(name)
        for position, value in enumerate(column.values if column else ()):
            if column and (value is not None or position in column.formulas):
                yield self._cell(column, position)

    def single(self, name: str) -> Cell:
        """A named cell; a blank one without a place if the workbook is too old to have it."""
        column = self._columns.get(name)
        return self._cell(column, 0) if column else Cell(self.file, "", "", None)

    def cell(self, name: str) -> Any:
        """The value of a named cell, None when it is blank or not there."""
        column = self._columns.get(name)
        return column.values[0] if column else None

    def rows(self, prefix: str, keys: Iterable[str]) -> list[Line]:
        """The lines of the named columns `prefix_key`; a column that is not there is blank."""
        columns = {key: self._columns.get(f"{prefix}_{key}") for key in keys}
        values = [column.values if column else [] for column in columns.values()]
        found = []
        for number, (key, column) in enumerate(columns.items()):
            place = column.place if column else _Place("", 0, 0, 0, 0)
            letter = get_column_letter(place.column) if column else ""
            found.append((key, (number, place.sheet, letter, place.first)))
        table = Table(self.file, _kept_once(tuple(found)))
        return [
            Line(table, number, line) for number, line in enumerate(itertools.zip_longest(*values))
        ]

    def _cell(self, column: _Column, position: int) -> Cell:
        place = column.place
        formula = position in column.formulas
        return Cell(
            self.file, place.sheet, place.address(position), column.values[position], formula
        )


@functools.lru_cache(64)
def _kept_once(
    columns: tuple[tuple[str, tuple[int, str, str, int]], ...],
) -> Mapping[str, tuple[int, str, str, int]]:
    """The columns of a table by key: most files of a year have them at the same places."""
    return dict(columns)


def read(source: Path | Source, names: Iterable[str], needed: Iterable[str]) -> Entries:
    """The cells that carry these names; where a cell holds a formula, its stored value.

    Names in `needed` must be there.  Raises `WorkbookProblem` for a file that is not one of our
    workbooks.
    """
    found = problems.read(source)
    path = found.path
    try:
        with zipfile.ZipFile(io.BytesIO(found.data)) as archive:
            parts = PartsAsAsked(archive)
            book, sheets = sheet_parts(parts)
            places = _places(path, parts[book], sheets, set(names))
            lost = sorted(set(needed) - places.keys())
            if lost:
                raise problems.WorkbookProblem(
                    f"{path.name} has lost its cells “{lost[0]}”: was a sheet or a column deleted?"
                )
            return Entries(str(path), _columns(path, archive, sheets, places))
    except problems.WorkbookProblem:
        raise
    except Exception as error:  # a wrong part leads to errors of many kinds
        raise problems.damaged(path) from error


def _places(
    path: Path, book: bytes, sheets: Mapping[str, str], names: set[str]
) -> dict[str, _Place]:
    """Where the names are, after a look at the mark that every workbook of ours carries."""
    defined = defined_names(book)
    layout = defined.get(words.LAYOUT_NAME)
    if layout is None:
        raise problems.WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark"
        )
    if layout != str(words.LAYOUT_VERSION):
        raise problems.WorkbookProblem(
            f"{path.name} has layout {layout}; this program reads layout {words.LAYOUT_VERSION}: "
            f"carry it over: {problems.upgrading(path)}"
        )
    places = {}
    for name in names & defined.keys():
        found = destination(defined[name])
        if found and found[0] in sheets:
            left, top, right, bottom = range_boundaries(found[1])
            places[name] = _Place(found[0], left, right, top, bottom)
    return places


def _columns(
    path: Path,
    archive: zipfile.ZipFile,
    sheets: Mapping[str, str],
    places: Mapping[str, _Place],
) -> dict[str, _Column]:
    texts = contents.shared_texts(archive)
    columns = {name: _Column(place) for name, place in places.items()}
    cut: list[str] = []
    for title in {place.sheet for place in places.values()}:
        wanted: dict[int, list[_Column]] = {}
        for column in columns.values():
            place = column.place
            for number in range(place.column, place.last_column + 1):
                if place.sheet == title:
                    wanted.setdefault(number, []).append(column)
        take = functools.partial(_take, wanted, texts, cut)
        with archive.open(sheets[title]) as part:
            scan.cells(part, take, wanted)
    if cut:
        raise problems.computes_in_part(path, cut)
    return columns


def _take(
    wanted: Mapping[int, list[_Column]],
    texts: list[str],
    cut: list[str],
    row: int,
    number: int,
    cell: WrittenCell,
) -> None:
    """Put a cell into its columns; `cut` names those of which only a part computes any more."""
    for column in wanted[number]:
        place, at = column.place, column.place.position(row, number)
        if at is None:
            continue
        value = contents.held(cell, texts)
        column.values[at] = None if value == "" else value
        if cell.formula is not None:
            column.formulas.add(at)
            if value is None:
                column.lost.add(at)
        if at == 0 and _array_ends(cell.formula, place.last) < place.last:
            cut.append(f"{place.sheet}!{place.cells}")


def _array_ends(formula: WrittenFormula | None, otherwise: int) -> int:
    """The last row that an array formula fills; `otherwise` for another, or none."""
    if formula and formula.attributes.get("t") == "array" and formula.attributes.get("ref"):
        return int(range_boundaries(formula.attributes["ref"])[3])
    return otherwise
