"""The part of one sheet, or another part in XML, edited in place, however it is spelled.

Parts are edited as text: rebuilding them from a parsed tree would change the rest as well.
"""

from __future__ import annotations

import bisect
import codecs
import functools
import itertools
import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar
from xml.etree import ElementTree
from xml.parsers import expat

from xlfuncs.files.package import local

Position = tuple[int, int]
Value = TypeVar("Value")
#: How a cell holds a value: its kind, and the element in it, written with the sheet's prefix.
Write = Callable[[Value, str], tuple[str, str]]


class Malformed(Exception):
    """A part is not what a workbook's part must be."""


def no_document_type(*_: Any) -> None:
    """For a parser that meets one: no part of a workbook has it."""
    raise Malformed("a document type in a workbook")


#: What comes of parts that are missing, or are not what they must be.
NO_WORKBOOK = (
    Malformed, KeyError, StopIteration, UnicodeError, ElementTree.ParseError, expat.ExpatError,
)  # fmt: skip

_IN_TEXT = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#13;"})
_IN_QUOTES = {**_IN_TEXT, **str.maketrans({'"': "&quot;", "\n": "&#10;", "\t": "&#9;"})}
_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


# A quoted value may hold a `>`.
_FIRST_TAG = re.compile(rb"""<[^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*>""")


@dataclass(slots=True)
class Tag:
    """An element where it stands: from `start` to `end`, with its last tag from `closing`."""

    name: str
    attributes: dict[str, str]
    start: int
    closing: int = 0
    end: int = 0
    children: list[Tag] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        """Whether it is one tag: `<a/>`."""
        return self.closing == self.end

    def written(self, attributes: Mapping[str, str], empty: bool = False) -> str:
        """Its first tag with other attributes."""
        return f"<{self.name}{head(attributes)}{'/' * empty}>"


class Scan:
    """The elements of an XML part, and where they stand in it."""

    def __init__(self, part: bytes) -> None:
        self.text = _utf8(part)
        self.tags: list[Tag] = []
        self._open: list[Tag] = []
        self._parser = parser = expat.ParserCreate()
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.StartDoctypeDeclHandler = no_document_type
        parser.Parse(self.text, True)
        del self._parser  # which leads back here: nobody would free the circle for a long time

    def edited(self, edits: list[tuple[int, int, str]]) -> bytes:
        """The part with some stretches replaced; the others stay byte for byte."""
        pieces, done = [], 0
        for start, end, new in sorted(edits, key=lambda edit: edit[:2]):
            pieces += [self.text[done:start], new.encode()]
            done = end
        return b"".join([*pieces, self.text[done:]])

    def inside(self, tag: Tag) -> int:
        """Where the first tag of an element ends."""
        found = _FIRST_TAG.match(self.text, tag.start)
        assert found is not None
        return found.end()

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        tag = Tag(name, attributes, self._parser.CurrentByteIndex)
        if self._open:
            self._open[-1].children.append(tag)
        self.tags.append(tag)
        self._open.append(tag)

    def _end(self, _name: str) -> None:
        tag = self._open.pop()
        here = self._parser.CurrentByteIndex
        # Of <a/> the end is where the tag has ended; a text may end in /> too.
        if not tag.children and self.text.endswith(b"/>", 0, here) and self.inside(tag) == here:
            tag.closing = tag.end = here
        else:
            tag.closing, tag.end = here, self.text.index(b">", here) + 1


_ENCODING = re.compile(r"""(<\?xml[^>]*?\bencoding\s*=\s*["'])([\w.-]+)(["'])""")


def _utf8(part: bytes) -> bytes:
    """A part in UTF-8, whatever it says of itself."""
    if part.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text = part.decode("utf-16")
    else:
        said = _ENCODING.match(part.decode("latin-1"))
        encoding = said[2] if said else "utf-8"
        if codecs.lookup(encoding).name == "utf-8":
            return part
        text = part.decode(encoding)
    return _ENCODING.sub(r"\1UTF-8\3", text, count=1).encode()


@dataclass
class _Row:
    """A row that is there: its element, and its cells by column."""

    tag: Tag
    cells: dict[int, Tag]


class SheetPart:
    """The cells of a sheet's part, and where they stand."""

    def __init__(self, title: str, part: bytes) -> None:
        self.title = title
        self.scan = Scan(part)
        data = next((tag for tag in self.scan.tags if local(tag.name) == "sheetData"), None)
        if data is None:
            raise Malformed(f"{title} holds no cells")
        self.data = data
        self.prefix = data.name.removesuffix("sheetData")
        self.rows: dict[int, _Row] = {}
        number = 0
        for row in _named(data, "row"):
            number = _row_number(row, number + 1)
            cells: dict[int, Tag] = {}
            column = 0
            for cell in _named(row, "c"):
                said = cell.attributes.get("r")
                column = column_of(said.rstrip("0123456789")) if said else column + 1
                cells[column] = cell
            self.rows[number] = _Row(row, cells)

    def edited(self, values: Mapping[Position, Value], write: Write[Value]) -> bytes:
        """The part with these values in its cells; their formulas and looks stay as they were."""

        def written(old: Tag | None, row: int, column: int, value: Value) -> str:
            return self._cell(old, row, column, *write(value, self.prefix))

        wanted: dict[int, dict[int, Value]] = {}
        for (row, column), value in sorted(values.items()):
            wanted.setdefault(row, {})[column] = value
        edits: list[tuple[int, int, str]] = []
        there = sorted(self.rows)
        new_rows: dict[int, str] = {}
        for number, cells in wanted.items():
            if number in self.rows:
                edits += self._row(self.rows[number], number, cells, written)
            else:
                text = "".join(written(None, number, c, value) for c, value in cells.items())
                before = self._place(there, number)
                tag = f"{self.prefix}row"
                new_rows[before] = new_rows.get(before, "") + f'<{tag} r="{number}">{text}</{tag}>'
        if new_rows and self.data.empty:  # <sheetData/>
            (rows,) = new_rows.values()
            first = self.data.written(self.data.attributes)
            edits.append((self.data.start, self.data.end, f"{first}{rows}</{self.data.name}>"))
        else:
            edits += [(at, at, text) for at, text in new_rows.items()]
        edits += self._dimension(values)
        return self.scan.edited(edits)

    def _place(self, there: list[int], number: int) -> int:
        """Where a new row goes: before the next one."""
        after = bisect.bisect(there, number)
        return self.rows[there[after]].tag.start if after < len(there) else self.data.closing

    def _row(
        self,
        row: _Row,
        number: int,
        wanted: Mapping[int, Value],
        written: Callable[[Tag | None, int, int, Value], str],
    ) -> list[tuple[int, int, str]]:
        edits: list[tuple[int, int, str]] = []
        new: dict[int, str] = {}
        there = sorted(row.cells)
        for column, value in wanted.items():
            old = row.cells.get(column)
            text = written(old, number, column, value)
            if old is not None:
                edits.append((old.start, old.end, text))
                continue
            after = bisect.bisect(there, column)
            at = row.cells[there[after]].start if after < len(there) else row.tag.closing
            new[at] = new.get(at, "") + text
        if not new:
            return edits
        # The row may reach further now than it says.
        kept = {name: value for name, value in row.tag.attributes.items() if name != "spans"}
        first = row.tag.written(kept)
        if row.tag.empty:  # <row/>
            cells = "".join(new.values())
            return [(row.tag.start, row.tag.end, f"{first}{cells}</{row.tag.name}>")]
        if kept != row.tag.attributes:
            edits.append((row.tag.start, self.scan.inside(row.tag), first))
        return edits + [(at, at, text) for at, text in new.items()]

    def _cell(self, old: Tag | None, row: int, column: int, kind: str, element: str) -> str:
        """A cell with another value: its formula, and what else it holds, as they were."""
        said = {"t": kind} if kind else {}
        if old is None:
            first = head({"r": address_of(row, column), **said})
            return f"<{self.prefix}c{first}>{element}</{self.prefix}c>"
        attributes = {k: v for k, v in old.attributes.items() if k not in ("t", "vm")}
        formula, rest = "", ""
        for child in old.children:
            inner = self.scan.text[child.start : child.end].decode()
            if local(child.name) == "f":
                formula += inner
            elif local(child.name) not in ("v", "is"):
                rest += inner
        return f"{old.written({**attributes, **said})}{formula}{element}{rest}</{old.name}>"

    def areas(self) -> list[str]:
        """The range of each formula."""
        return [
            formula.attributes["ref"].replace("$", "")
            if formula.attributes.get("t") in ("array", "dataTable")
            else address_of(row, column)
            for row, held in self.rows.items()
            for column, cell in held.cells.items()
            for formula in _named(cell, "f")
        ]

    def arrays(self) -> dict[str, str]:
        """The range of each array formula by its first cell."""
        return {
            address_of(row, column): formula.attributes["ref"].replace("$", "")
            for row, held in self.rows.items()
            for column, cell in held.cells.items()
            for formula in _named(cell, "f")
            if formula.attributes.get("t") == "array"
        }

    def computed(self) -> set[Position]:
        """The cells that a formula fills."""
        return {position for area in self.areas() for position in positions(area)}

    def _dimension(self, values: Mapping[Position, Value]) -> list[tuple[int, int, str]]:
        edits = []
        for tag in self.scan.tags:
            if local(tag.name) != "dimension" or "ref" not in tag.attributes or not values:
                continue
            reference = reaching(tag.attributes["ref"], values)
            if reference == tag.attributes["ref"]:
                continue
            text = tag.written({**tag.attributes, "ref": reference}, tag.empty)
            edits.append((tag.start, self.scan.inside(tag), text))
        return edits


def _named(tag: Tag, name: str) -> list[Tag]:
    return [child for child in tag.children if local(child.name) == name]


def head(attributes: Mapping[str, str]) -> str:
    """Attributes as an element's first tag has them."""
    return "".join(
        [
            f' {name}="{value if value.isalnum() else value.translate(_IN_QUOTES)}"'
            for name, value in attributes.items()
        ]
    )


def position_of(address: str) -> Position:
    """Row and column of an address."""
    column = address.rstrip("0123456789")
    row = address[len(column) :]
    if not row:
        raise Malformed(f"{address} is no cell")
    return int(row), column_of(column)


@functools.cache
def column_of(letters: str) -> int:
    """The number of a column."""
    from openpyxl.utils import column_index_from_string

    try:
        return int(column_index_from_string(letters.replace("$", "")))
    except ValueError:
        raise Malformed(f"{letters} is no column") from None


@functools.cache
def letters(column: int) -> str:
    """The letters of a column."""
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(column))


def address_of(row: int, column: int) -> str:
    """The address of a cell."""
    return f"{letters(column)}{row}"


def _row_number(row: Tag, following: int) -> int:
    said = row.attributes.get("r", str(following))
    if not said.isdecimal():
        raise Malformed(f"{said} is no row")
    return int(said)


def positions(reference: str) -> set[Position]:
    """The cells of a range."""
    first, _, last = reference.partition(":")
    (top, left), (bottom, right) = position_of(first), position_of(last or first)
    return {(i, j) for i in range(top, bottom + 1) for j in range(left, right + 1)}


def by_row(*cells: Iterable[Position]) -> dict[int, list[int]]:
    """The columns of these cells by row, both in order."""
    found: dict[int, list[int]] = {}
    for row, column in itertools.chain(*cells):
        found.setdefault(row, []).append(column)
    return {row: sorted(found[row]) for row in sorted(found)}


def reaching(reference: str, cells: Collection[Position]) -> str:
    """A range, as far as it must go to hold these cells too.

    >>> reaching("A1", []), reaching("B2:C3", [(1, 3), (9, 2)])
    ('A1', 'B1:C9')
    """
    first, _, last = reference.partition(":")
    corners = [position_of(first), position_of(last or first), *cells]
    rows, columns = zip(*corners, strict=True)
    start = address_of(min(rows), min(columns))
    end = address_of(max(rows), max(columns))
    return start if start == end else f"{start}:{end}"


def cell_element(
    address: str, content: tuple[str, str], attributes: str = "", formula: str = ""
) -> str:
    """A cell of this content; its other attributes and its formula as they are written."""
    kind, element = content
    said = f' t="{kind}"' if kind else ""
    return f'<c r="{address}"{attributes}{said}>{formula}{element}</c>'


@functools.lru_cache(4096)  # the same few words stand in most cells
def text_element(name: str, text: str) -> str:
    """An element that holds a text: without what XML does not allow, with the spaces at its ends.

    >>> text_element("v", "a & b"), text_element("x:t", " a")
    ('<v>a &amp; b</v>', '<x:t xml:space="preserve"> a</x:t>')
    """
    text = _ILLEGAL.sub("", text).translate(_IN_TEXT)
    kept = ' xml:space="preserve"' if text != text.strip() else ""
    return f"<{name}{kept}>{text}</{name}>"


def number_text(value: float) -> str:
    """A number as a cell holds it.

    >>> number_text(25.0), number_text(0.1)
    ('25', '0.1')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number that a cell can hold")
    return repr(float(value)).removesuffix(".0")
