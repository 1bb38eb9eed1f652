"""What was typed into a workbook, read by its names, cell after cell and without computing.

One pass over the few sheets that hold the names; neither styles nor other sheets are looked at.
"""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from xml.etree import ElementTree

from openpyxl.utils import get_column_letter, range_boundaries

from xlfuncs.files import problems
from xlfuncs.files.package import local, sheet_parts
from xlfuncs.workbook import words


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a named column: its place, its value (None when blank), whether it is a formula.

    A formula is `lost` where the file holds no value beside it, not even an empty text.
    """

    sheet: str
    address: str
    value: Any
    formula: bool = False
    lost: bool = False


_NOWHERE = Cell("", "", None)


@dataclass(frozen=True)
class _Place:
    sheet: str
    column: int
    last_column: int
    first: int
    last: int

    def position(self, row: int, column: int) -> int | None:
        """Place of a cell among its cells, line by line; None for one that lies outside."""
        if not (self.first <= row <= self.last and self.column <= column <= self.last_column):
            return None
        wide = self.last_column - self.column + 1
        return (row - self.first) * wide + column - self.column


class Entries:
    """The named columns of one workbook."""

    def __init__(self, columns: Mapping[str, list[Cell]]) -> None:
        self._columns = columns

    def column(self, name: str) -> list[Cell]:
        """The cells of a named column; none if the workbook is too old to have it."""
        return self._columns.get(name, [])

    def single(self, name: str) -> Cell:
        """A named cell; a blank one without a place if the workbook is too old to have it."""
        cells = self.column(name)
        return cells[0] if cells else _NOWHERE

    def cell(self, name: str) -> Any:
        """The value of a named cell, None when it is blank or not there."""
        return self.single(name).value

    def rows(self, prefix: str, keys: Iterable[str]) -> list[dict[str, Cell]]:
        """The rows of the named columns `prefix_key`; a column that is not there is blank."""
        columns = {key: self.column(f"{prefix}_{key}") for key in keys}
        length = max((len(cells) for cells in columns.values()), default=0)
        return [
            {key: cells[i] if i < len(cells) else _NOWHERE for key, cells in columns.items()}
            for i in range(length)
        ]


class _Parts(dict[str, bytes]):
    """The parts of a file, each read when it is asked for."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        super().__init__()
        self._archive = archive

    def __missing__(self, name: str) -> bytes:
        self[name] = self._archive.read(name)
        return self[name]


def read(path: Path, names: Iterable[str], needed: Iterable[str]) -> Entries:
    """The cells that carry these names; where a cell holds a formula, its stored value.

    Names in `needed` must be there.  Raises `WorkbookProblem` for a file that is not one of our
    workbooks.
    """
    data = problems.content(path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = _Parts(archive)
            book, sheets = sheet_parts(parts)
            places = _places(path, parts[book], sheets, set(names))
            lost = sorted(set(needed) - places.keys())
            if lost:
                raise problems.WorkbookProblem(
                    f"{path.name} has lost its cells “{lost[0]}”: was a sheet or a column deleted?"
                )
            return Entries(_columns(path, archive, sheets, places))
    except problems.WorkbookProblem:
        raise
    except Exception as error:  # a wrong part leads to errors of many kinds
        raise problems.damaged(path) from error


def _places(
    path: Path, book: bytes, sheets: Mapping[str, str], names: set[str]
) -> dict[str, _Place]:
    """Where the names are, after a look at the mark that every workbook of ours carries."""
    defined = {
        element.attrib["name"]: element.text or ""
        for element in ElementTree.fromstring(book).iter()
        if local(element.tag) == "definedName"
    }
    layout = defined.get(words.LAYOUT_NAME)
    if layout is None:
        raise problems.WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark"
        )
    if layout != str(words.LAYOUT_VERSION):
        raise problems.WorkbookProblem(
            f"{path.name} has layout {layout}; this program reads layout {words.LAYOUT_VERSION}: "
            "copy its entries into a new workbook"
        )
    places = {}
    for name in names & defined.keys():
        title, _, cells = defined[name].rpartition("!")
        title = title.removeprefix("'").removesuffix("'").replace("''", "'")
        if title in sheets and "#REF" not in cells:
            left, top, right, bottom = range_boundaries(cells.replace("$", ""))
            places[name] = _Place(title, left, right, top, bottom)
    return places


def _columns(
    path: Path,
    archive: zipfile.ZipFile,
    sheets: Mapping[str, str],
    places: Mapping[str, _Place],
) -> dict[str, list[Cell]]:
    texts = _shared_texts(archive)
    columns: dict[str, list[Cell]] = {}
    cut = []
    for title in {place.sheet for place in places.values()}:
        wanted: dict[str, list[tuple[str, int, _Place]]] = {}
        for name, place in places.items():
            if place.sheet != title:
                continue
            letters = [
                get_column_letter(column) for column in range(place.column, place.last_column + 1)
            ]
            for column, letter in enumerate(letters, place.column):
                wanted.setdefault(letter, []).append((name, column, place))
            columns[name] = [
                Cell(title, f"{letter}{row}", None)
                for row in range(place.first, place.last + 1)
                for letter in letters
            ]
        with archive.open(sheets[title]) as part:
            for row, letter, element in _cells(part):
                for name, column, place in wanted.get(letter, ()):
                    at = place.position(row, column)
                    if at is not None:
                        address = columns[name][at].address
                        columns[name][at] = Cell(title, address, *_content(element, texts))
                    if at == 0 and _array_ends(element, place.last) < place.last:
                        cut.append(f"{title}!{letter}{place.first}:{letter}{place.last}")
    if cut:
        raise problems.computes_in_part(path, cut)
    return columns


def _cells(part: IO[bytes]) -> Iterator[tuple[int, str, ElementTree.Element]]:
    """Row, column letter and element of every cell; memory holds one row at a time."""
    number = 0
    for _, row in ElementTree.iterparse(part):
        if local(row.tag) != "row":
            continue
        number = int(row.get("r") or number + 1)
        digits = str(number)
        for place, element in enumerate(row, 1):
            # A cell without address follows the one before it.
            address = element.get("r")
            letter = address.removesuffix(digits) if address else get_column_letter(place)
            yield number, letter, element
        row.clear()


def _array_ends(element: ElementTree.Element, otherwise: int) -> int:
    """The last row that the array formula in a cell fills; `otherwise` if it holds none."""
    for child in element:
        if local(child.tag) == "f" and child.get("t") == "array" and child.get("ref"):
            return int(range_boundaries(child.attrib["ref"])[3])
    return otherwise


def _content(element: ElementTree.Element, texts: list[str]) -> tuple[Any, bool, bool]:
    """The value of a cell, None when it is blank; whether it is a formula, and one without it."""
    kind = element.get("t", "n")
    inside = {local(child.tag): child for child in element}
    formula = "f" in inside
    if kind == "inlineStr":
        value: Any = _text(inside["is"]) if "is" in inside else ""
    else:
        value = (inside["v"].text or "") if "v" in inside else ""
        if kind == "s" and value:
            value = texts[int(value)]
        elif kind == "b":
            value = value == "1"
        elif kind == "n" and value:
            value = float(value)
            value = value if math.isfinite(value) else "#NUM!"
    lost = formula and value == "" and kind != "str"
    return (None if value == "" else value), formula, lost


def _shared_texts(archive: zipfile.ZipFile) -> list[str]:
    """The table of texts that cells of kind `s` point into."""
    name = "xl/sharedStrings.xml"
    if name not in archive.namelist():
        return []
    with archive.open(name) as part:
        return [
            _text(element)
            for _, element in ElementTree.iterparse(part)
            if local(element.tag) == "si"
        ]


def _text(element: ElementTree.Element) -> str:
    """The text of its runs, without the reading aids that stand beside some of them."""
    return "".join(
        part.text or ""
        for child in element
        if local(child.tag) in ("t", "r")
        for part in child.iter()
        if local(part.tag) == "t"
    )
