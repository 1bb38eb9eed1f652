"""Values beside the formulas of a workbook: list them, and write new ones.

A program that only reads a workbook shows the value stored with each formula.  Writing changes
those values and nothing else: every other part of the file stays byte for byte as it was.
"""

from __future__ import annotations

import bisect
import codecs
import functools
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.parsers import expat

from openpyxl.utils import range_boundaries
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.cells.values import ERROR_TEXTS
from xlfuncs.files import problems
from xlfuncs.files.filled import Filled
from xlfuncs.files.package import (
    Parts,
    defined_names,
    destination,
    local,
    packed,
    sheet_parts,
    unpacked,
)
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import replacing

Value = float | str | bool
Position = tuple[int, int]

# Excel computes everything anew when the values come from an engine older than its own; this is
# the number that Excel 2019 and later write.
_ENGINE = 191029


class _Malformed(Exception):
    """A part is not what a workbook's part must be."""


#: What comes of parts that are missing, or are not what they must be.
_NO_WORKBOOK = (
    _Malformed, KeyError, StopIteration, UnicodeError, ElementTree.ParseError, expat.ExpatError,
)  # fmt: skip


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


def computed_cells(source: str | Path | Source) -> set[tuple[str, str]]:
    """Sheet title and address of every cell that a formula fills.

    Raises `WorkbookProblem`, as `must_compute_whole` does too.
    """
    found = problems.read(source)
    try:
        parts = unpacked(found.data)
        book, by_title = sheet_parts(parts)
        names = defined_names(parts[book]).values()
        sheets = {title: _Sheet(title, parts[part]) for title, part in by_title.items()}
    except _NO_WORKBOOK as error:
        raise problems.damaged(found.path) from error
    arrays = {(title, cell): area for title, sheet in sheets.items()
              for cell, area in sheet.arrays().items()}  # fmt: skip
    _must_be_whole(found.path, _cut(names, lambda *cell: arrays.get(cell)))
    return {
        (title, _address(row, column))
        for title, sheet in sheets.items()
        for area in sheet.areas()
        for row, column in _positions(area)
    }


def no_longer_computed(book: Workbook) -> list[str]:
    """Named columns that an array formula filled and of which only the beginning computes now.

    A program that does not know the functions may save an array formula as a formula of its first
    cell, and the values of the others as if they were typed: such a workbook computes without an
    error, and wrong.  Gives places such as `Log!H6:H205`, in the order of the names.
    """

    def array(title: str, cell: str) -> str | None:
        formula = book[title][cell].value if title in book.sheetnames else None
        if not isinstance(formula, ArrayFormula) or isinstance(formula, Filled):
            return None
        return str(formula.ref)

    return _cut((defined.attr_text or "" for defined in book.defined_names.values()), array)


def _cut(names: Iterable[str], array: Callable[[str, str], str | None]) -> list[str]:
    """The same; `array` gives the range of the array formula in a cell."""
    found = []
    for title, cells in filter(None, map(destination, names)):
        first, _, last = cells.partition(":")
        area = array(title, first) if last else None
        if area and range_boundaries(area)[3] < range_boundaries(cells)[3]:
            found.append(f"{title}!{cells}")
    return found


def must_compute_whole(book: Workbook, path: Path) -> None:
    """Raise `WorkbookProblem`, which names the cells, for a workbook that computes only in part."""
    _must_be_whole(path, no_longer_computed(book))


def _must_be_whole(path: Path, cut: list[str]) -> None:
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
    except _NO_WORKBOOK as error:
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
        by_sheet.setdefault(title, {})[_position(address)] = value
    for title, cells in by_sheet.items():
        part = parts[sheets[title]]
        parts[sheets[title]] = _beside(part, cells) or _Sheet(title, part).patched(cells)
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
    for name, text in defined_names(book).items():
        cell = destination(text)
        if name in values and cell:
            yield cell, values[name]


def _keeping_values(book: bytes) -> bytes:
    """The workbook's part, without the wish to compute everything when it is opened."""
    scan = _Scan(book)
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

_IN_TEXT = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#13;"})
_IN_QUOTES = {**_IN_TEXT, **str.maketrans({'"': "&quot;", "\n": "&#10;", "\t": "&#9;"})}
_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


# A quoted value may hold a `>`.
_FIRST_TAG = re.compile(rb"""<[^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*>""")


@dataclass(slots=True)
class _Tag:
    """An element where it stands: from `start` to `end`, with its last tag from `closing`."""

    name: str
    attributes: dict[str, str]
    start: int
    closing: int = 0
    end: int = 0
    children: list[_Tag] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        """Whether it is one tag: `<a/>`."""
        return self.closing == self.end

    def written(self, attributes: Mapping[str, str], empty: bool = False) -> str:
        """Its first tag with other attributes."""
        return f"<{self.name}{_head(attributes)}{'/' * empty}>"


class _Scan:
    """The elements of an XML part and where they stand in it, however it is spelled.

    Parts are edited in place: rebuilding them from a parsed tree would change the rest as well.
    """

    def __init__(self, part: bytes) -> None:
        self.text = _utf8(part)
        self.tags: list[_Tag] = []
        self._open: list[_Tag] = []
        self._parser = parser = expat.ParserCreate()
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.StartDoctypeDeclHandler = self._refuse
        parser.Parse(self.text, True)

    def edited(self, edits: list[tuple[int, int, str]]) -> bytes:
        """The part with some stretches replaced; the others stay byte for byte."""
        pieces, done = [], 0
        for start, end, new in sorted(edits, key=lambda edit: edit[:2]):
            pieces += [self.text[done:start], new.encode()]
            done = end
        return b"".join([*pieces, self.text[done:]])

    def inside(self, tag: _Tag) -> int:
        """Where the first tag of an element ends."""
        found = _FIRST_TAG.match(self.text, tag.start)
        assert found is not None
        return found.end()

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        tag = _Tag(name, attributes, self._parser.CurrentByteIndex)
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

    def _refuse(self, *_: Any) -> None:
        raise _Malformed("a document type in a workbook")


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


#: A cell, spelled as nearly every program does: attributes, formula, and its value.
_CELL = re.compile(
    r"""<c\ r="([A-Z]{1,3})([1-9]\d*)"((?:\ [a-z]+="[^"<>&]*")*)
    (?:\ ?/>|>(<f\b[^<>]*(?:/>|>[^<>]*</f>))?
       (?:<v>[^<>]*</v>|<v\ ?/>|<v\ xml:space="preserve">[^<>]*</v>)?(<is>.*?</is>)?</c>)""",
    re.VERBOSE | re.DOTALL,
)
_DIMENSION = re.compile(r'<dimension ref="([A-Z]+\d+)(?::([A-Z]+\d+))?" ?/>')
_OF_VALUE = re.compile(r' (?:t|vm)="[^"]*"')


def _beside(part: bytes, values: Mapping[Position, Value]) -> bytes | None:
    """The part with values beside its formulas, without taking it to pieces first.

    None if that does not do: for a part spelled unlike nearly all, and where a value has no formula
    of its own.
    """
    try:
        text = part.decode()
    except UnicodeDecodeError:
        return None
    found = _DIMENSION.search(text)
    if "<!" in text or found is None:
        return None
    rows, columns = zip(*values, strict=True)
    (top, left), (bottom, right) = _position(found[1]), _position(found[2] or found[1])
    if min(rows) < top or max(rows) > bottom or min(columns) < left or max(columns) > right:
        return None
    seen = done = 0

    def cell(old: re.Match[str]) -> str:
        nonlocal seen, done
        seen += 1
        letters, row, attributes, formula, _ = old.groups()
        value = values.get((int(row), _column(letters)))
        if value is None or formula is None:
            return old[0]
        done += 1
        kind, shown = _written(value)
        if 't="' in attributes or 'vm="' in attributes:
            attributes = _OF_VALUE.sub("", attributes)
        kept = ' xml:space="preserve"' if shown != shown.strip() else ""
        return f'<c r="{letters}{row}"{attributes}{_head(kind)}>{formula}<v{kept}>{shown}</v></c>'

    new = _CELL.sub(cell, text)
    return new.encode() if done == len(values) and seen == text.count("<c ") else None


@dataclass
class _Row:
    """A row that is there: its element, and its cells by column."""

    tag: _Tag
    cells: dict[int, _Tag]


class _Sheet:
    """The cells of a sheet's part, and where they stand."""

    def __init__(self, title: str, part: bytes) -> None:
        self.title = title
        self.scan = _Scan(part)
        data = next((tag for tag in self.scan.tags if local(tag.name) == "sheetData"), None)
        if data is None:
            raise _Malformed(f"{title} holds no cells")
        self.data = data
        self.prefix = data.name.removesuffix("sheetData")
        self.rows: dict[int, _Row] = {}
        number = 0
        for row in _named(data, "row"):
            number = _row_number(row, number + 1)
            cells: dict[int, _Tag] = {}
            column = 0
            for cell in _named(row, "c"):
                address = cell.attributes.get("r")
                column = _column(address.rstrip("0123456789")) if address else column + 1
                cells[column] = cell
            self.rows[number] = _Row(row, cells)

    def patched(self, values: Mapping[Position, Value]) -> bytes:
        """The part with values beside its formulas."""
        self._refuse_others(values)
        wanted: dict[int, dict[int, Value]] = {}
        for (row, column), value in sorted(values.items()):
            wanted.setdefault(row, {})[column] = value
        edits: list[tuple[int, int, str]] = []
        there = sorted(self.rows)
        new_rows: dict[int, str] = {}
        for number, cells in wanted.items():
            if number in self.rows:
                edits += self._row(self.rows[number], number, cells)
            else:
                text = "".join(self._cell(None, number, c, value) for c, value in cells.items())
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
        self, row: _Row, number: int, wanted: Mapping[int, Value]
    ) -> list[tuple[int, int, str]]:
        edits: list[tuple[int, int, str]] = []
        new: dict[int, str] = {}
        there = sorted(row.cells)
        for column, value in wanted.items():
            old = row.cells.get(column)
            text = self._cell(old, number, column, value)
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

    def _cell(self, old: _Tag | None, row: int, column: int, value: Value) -> str:
        """A cell with another value: its formula, and what else it holds, as they were."""
        kind, text = _written(value)
        kept = ' xml:space="preserve"' if text != text.strip() else ""
        element = f"<{self.prefix}v{kept}>{text}</{self.prefix}v>"
        if old is None:
            head = _head({"r": _address(row, column)} | kind)
            return f"<{self.prefix}c{head}>{element}</{self.prefix}c>"
        attributes = {k: v for k, v in old.attributes.items() if k not in ("t", "vm")} | kind
        formula, rest = "", ""
        for child in old.children:
            said = self.scan.text[child.start : child.end].decode()
            if local(child.name) == "f":
                formula += said
            elif local(child.name) not in ("v", "is"):
                rest += said
        return f"{old.written(attributes)}{formula}{element}{rest}</{old.name}>"

    def areas(self) -> list[str]:
        """The range of each formula."""
        return [
            formula.attributes["ref"].replace("$", "")
            if formula.attributes.get("t") in ("array", "dataTable")
            else _address(row, column)
            for row, held in self.rows.items()
            for column, cell in held.cells.items()
            for formula in _named(cell, "f")
        ]

    def arrays(self) -> dict[str, str]:
        """The range of each array formula by its first cell."""
        return {
            _address(row, column): formula.attributes["ref"].replace("$", "")
            for row, held in self.rows.items()
            for column, cell in held.cells.items()
            for formula in _named(cell, "f")
            if formula.attributes.get("t") == "array"
        }

    def _refuse_others(self, values: Mapping[Position, Value]) -> None:
        allowed = {position for area in self.areas() for position in _positions(area)}
        for row, column in sorted(values.keys() - allowed):
            raise ValueError(f"{self.title}!{_address(row, column)} holds no formula")

    def _dimension(self, values: Mapping[Position, Value]) -> list[tuple[int, int, str]]:
        edits = []
        for tag in self.scan.tags:
            if local(tag.name) != "dimension" or "ref" not in tag.attributes or not values:
                continue
            first, _, last = tag.attributes["ref"].partition(":")
            top, left = _position(first)
            bottom, right = _position(last or first)
            rows = [top, bottom, *(row for row, _ in values)]
            columns = [left, right, *(column for _, column in values)]
            start = _address(min(rows), min(columns))
            end = _address(max(rows), max(columns))
            reference = start if start == end else f"{start}:{end}"
            if reference == tag.attributes["ref"]:
                continue
            text = tag.written({**tag.attributes, "ref": reference}, tag.empty)
            edits.append((tag.start, self.scan.inside(tag), text))
        return edits


def _named(tag: _Tag, name: str) -> list[_Tag]:
    return [child for child in tag.children if local(child.name) == name]


def _head(attributes: Mapping[str, str]) -> str:
    return "".join(
        [
            f' {name}="{value if value.isalnum() else value.translate(_IN_QUOTES)}"'
            for name, value in attributes.items()
        ]
    )


def _position(address: str) -> Position:
    plain = address.replace("$", "")
    letters = plain.rstrip("0123456789")
    row = plain[len(letters) :]
    if not row:
        raise _Malformed(f"{address} is no cell")
    return int(row), _column(letters)


@functools.cache
def _column(letters: str) -> int:
    from openpyxl.utils import column_index_from_string

    try:
        return int(column_index_from_string(letters))
    except ValueError:
        raise _Malformed(f"{letters} is no column") from None


@functools.cache
def _letters(column: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(column))


def _address(row: int, column: int) -> str:
    return f"{_letters(column)}{row}"


def _row_number(row: _Tag, following: int) -> int:
    said = row.attributes.get("r", str(following))
    if not said.isdecimal():
        raise _Malformed(f"{said} is no row")
    return int(said)


def _positions(reference: str) -> set[Position]:
    first, _, last = reference.partition(":")
    (top, left), (bottom, right) = _position(first), _position(last or first)
    return {(i, j) for i in range(top, bottom + 1) for j in range(left, right + 1)}


def _written(value: Value) -> tuple[dict[str, str], str]:
    """Attribute `t` and content of the element that holds a value."""
    if isinstance(value, bool):
        return {"t": "b"}, str(int(value))
    if isinstance(value, str):
        if value in ERROR_TEXTS:
            return {"t": "e"}, value
        return {"t": "str"}, _ILLEGAL.sub("", value).translate(_IN_TEXT)
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number that a cell can hold")
    return {}, repr(float(value)).removesuffix(".0")
