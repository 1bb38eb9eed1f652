"""Values beside the formulas of a workbook: list them, and write new ones.

A program that only reads a workbook shows the value stored with each formula.  Writing changes
those values and nothing else: every other part of the file stays byte for byte as it was.
"""

from __future__ import annotations

import bisect
import codecs
import functools
import io
import math
import posixpath
import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from xlfuncs.cells.values import ERROR_TEXTS
from xlfuncs.files import problems
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import replacing

Value = float | str | bool
Position = tuple[int, int]

# Excel computes everything anew when the values come from an engine older than its own; this is
# the number that Excel 2019 and later write.
_ENGINE = 191029
_TIMESTAMP = (1980, 1, 1, 0, 0, 0)


class _Malformed(Exception):
    """A part is not what a workbook's part must be."""


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
        with zipfile.ZipFile(io.BytesIO(found.data)) as archive:
            names = archive.infolist()
            parts = {info.filename: archive.read(info) for info in names}
        book, sheets = sheet_parts(parts)
        instead = _places(parts[book], named or {})
        values = {**values, **{place: value for place, value in instead if place in values}}
        by_sheet: dict[str, dict[Position, Value]] = {}
        for (title, address), value in values.items():
            if title not in sheets:
                raise ValueError(f"there is no sheet {title}")
            by_sheet.setdefault(title, {})[_position(address)] = value
        for title, cells in by_sheet.items():
            parts[sheets[title]] = _Sheet(title, parts[sheets[title]]).patched(cells)
        parts[book] = _keeping_values(parts[book])
    except (
        _Malformed, KeyError, StopIteration, UnicodeError, ElementTree.ParseError, expat.ExpatError
    ) as error:  # fmt: skip
        raise problems.damaged(found.path) from error
    with replacing(out, found) as file, zipfile.ZipFile(file, "w") as archive:
        for old in names:
            info = zipfile.ZipInfo(old.filename, _TIMESTAMP)
            info.compress_type, info.create_system = old.compress_type, 0
            archive.writestr(info, parts[old.filename], compresslevel=6)


def _must_end_alike(source: Source, out: Path) -> None:
    """A spreadsheet program refuses a file whose ending is not that of its content."""
    wanted = source.ending()
    if out.suffix.lower() != wanted and out.resolve() != source.path.resolve():
        what = "holds macros" if wanted.endswith("m") else f"is an {wanted} file"
        raise WorkbookProblem(
            f"{source.name} {what}: the name of what is written of it must end in {wanted}"
        )


# --- the parts of the file ------------------------------


def sheet_parts(parts: Mapping[str, bytes]) -> tuple[str, dict[str, str]]:
    """The name of the workbook's part, and of the part of each sheet by title."""
    book = next(
        target for kind, target in _relations(parts, "").values() if kind == "officeDocument"
    )
    relations = _relations(parts, book)
    sheets = {}
    for element in ElementTree.fromstring(parts[book]).iter():
        if local(element.tag) == "sheet":
            identity = next(v for k, v in element.attrib.items() if k.endswith("}id"))
            kind, target = relations[identity]
            if kind == "worksheet":
                sheets[element.attrib["name"]] = target
    return book, sheets


def _relations(parts: Mapping[str, bytes], source: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part."""
    folder, name = posixpath.split(source)
    return {
        element.attrib["Id"]: (
            element.attrib["Type"].rpartition("/")[2],
            posixpath.normpath(posixpath.join("/", folder, element.attrib["Target"])).lstrip("/"),
        )
        for element in ElementTree.fromstring(
            parts[posixpath.join(folder, "_rels", f"{name}.rels")]
        )
    }


def _places(book: bytes, values: Mapping[str, Value]) -> Iterator[tuple[tuple[str, str], Value]]:
    """Sheet and address of each of these names that the workbook has, and its value."""
    for element in ElementTree.fromstring(book).iter():
        if local(element.tag) == "definedName" and element.attrib["name"] in values:
            title, _, address = (element.text or "").rpartition("!")
            title = title.removeprefix("'").removesuffix("'").replace("''", "'")
            yield (title, address.replace("$", "")), values[element.attrib["name"]]


def local(tag: str) -> str:
    """The name of an element without its namespace, or the prefix that stands for it."""
    return tag.rpartition("}")[2].rpartition(":")[2]


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
        edits.append((tag.start, tag.inside, tag.written(kept, closed=tag.inside == tag.end)))
    return scan.edited(edits)


# --- one sheet ------------------------------

_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


# A quoted value may hold a `>`.
_FIRST_TAG = re.compile(rb"""<[^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*>""")


@dataclass(slots=True)
class _Tag:
    """An element where it stands: from `start` to `end`, its content from `inside` to `closing`."""

    name: str
    attributes: dict[str, str]
    start: int
    inside: int = 0
    closing: int = 0
    end: int = 0
    children: list[_Tag] = field(default_factory=list)

    def written(self, attributes: Mapping[str, str], closed: bool = False) -> str:
        """Its first tag with other attributes."""
        return f"<{self.name}{_head(attributes)}{'/' * closed}>"


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

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        start = self._parser.CurrentByteIndex
        found = _FIRST_TAG.match(self.text, start)
        assert found is not None
        tag = _Tag(name, attributes, start, found.end())
        if self._open:
            self._open[-1].children.append(tag)
        self.tags.append(tag)
        self._open.append(tag)

    def _end(self, _name: str) -> None:
        tag = self._open.pop()
        if self.text.endswith(b"/>", tag.start, tag.inside):  # <a/>
            tag.closing = tag.end = tag.inside
        else:
            tag.closing = self._parser.CurrentByteIndex
            tag.end = self.text.index(b">", tag.closing) + 1

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
                column = _position(address)[1] if address else column + 1
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
        if new_rows and self.data.inside == self.data.end:  # <sheetData/>
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
        if row.tag.inside == row.tag.end:  # <row/>
            cells = "".join(new.values())
            return [(row.tag.start, row.tag.end, f"{first}{cells}</{row.tag.name}>")]
        if kept != row.tag.attributes:
            edits.append((row.tag.start, row.tag.inside, first))
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

    def _refuse_others(self, values: Mapping[Position, Value]) -> None:
        allowed: set[Position] = set()
        for row, held in self.rows.items():
            for column, cell in held.cells.items():
                for formula in _named(cell, "f"):
                    allowed.add((row, column))
                    if formula.attributes.get("t") in ("array", "dataTable"):
                        allowed |= _positions(formula.attributes["ref"])
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
            text = tag.written({**tag.attributes, "ref": reference}, tag.inside == tag.end)
            edits.append((tag.start, tag.inside, text))
        return edits


def _named(tag: _Tag, name: str) -> list[_Tag]:
    return [child for child in tag.children if local(child.name) == name]


def _head(attributes: Mapping[str, str]) -> str:
    return "".join(
        [
            f' {name}="{value}"' if value.isalnum() else f" {name}={quoteattr(value)}"
            for name, value in attributes.items()
        ]
    )


def _position(address: str) -> Position:
    plain = address.replace("$", "")
    letters = plain.rstrip("0123456789")
    try:
        return int(plain[len(letters) :]), _column(letters)
    except ValueError:
        raise _Malformed(f"{address} is no cell") from None


@functools.cache
def _column(letters: str) -> int:
    from openpyxl.utils import column_index_from_string

    return int(column_index_from_string(letters))


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
        return {"t": "str"}, escape(_ILLEGAL.sub("", value), {"\r": "&#13;"})
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number that a cell can hold")
    return {}, repr(float(value)).removesuffix(".0")
