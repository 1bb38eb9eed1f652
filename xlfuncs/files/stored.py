"""Values beside the formulas of a workbook: list them, and write new ones.

A program that only reads a workbook shows the value stored with each formula.  Writing changes
those values and nothing else: every other part of the file stays byte for byte as it was.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path

from openpyxl.utils import range_boundaries

from xlfuncs.cells.values import ERROR_TEXTS
from xlfuncs.files import problems
from xlfuncs.files.contents import Contents
from xlfuncs.files.package import (
    Parts,
    defined_names,
    destination,
    local,
    packed,
    sheet_parts,
    unpacked,
)
from xlfuncs.files.part import (
    NO_WORKBOOK,
    Position,
    Scan,
    SheetPart,
    address_of,
    cell_element,
    number_text,
    position_of,
    positions,
    reaching,
    text_element,
)
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import replacing

Value = float | str | bool

# Excel computes everything anew when the values come from an engine older than its own; this is
# the number that Excel 2019 and later write.
_ENGINE = 191029


def computed_cells(source: str | Path | Source) -> set[tuple[str, str]]:
    """Sheet title and address of every cell that a formula fills.

    Raises `WorkbookProblem`, as `must_compute_whole` does too.
    """
    found = problems.read(source)
    try:
        parts = unpacked(found.data)
        book, by_title = sheet_parts(parts)
        names = defined_names(parts[book]).values()
        sheets = {title: SheetPart(title, parts[part]) for title, part in by_title.items()}
    except NO_WORKBOOK as error:
        raise problems.damaged(found.path) from error
    arrays = {(title, cell): area for title, sheet in sheets.items()
              for cell, area in sheet.arrays().items()}  # fmt: skip
    _must_be_whole(found.path, _cut(names, lambda *cell: arrays.get(cell)))
    return {
        (title, address_of(row, column))
        for title, sheet in sheets.items()
        for area in sheet.areas()
        for row, column in positions(area)
    }


def no_longer_computed(book: Contents) -> list[str]:
    """Named columns that an array formula filled and of which only the beginning computes now.

    A program that does not know the functions may save an array formula as a formula of its first
    cell, and the values of the others as if they were typed: such a workbook computes without an
    error, and wrong.  Gives places such as `Log!H6:H205`, in the order of the names.
    """

    def array(title: str, cell: str) -> str | None:
        sheet = book.sheets.get(title)
        formula = sheet and sheet.formulas.get(position_of(cell))
        return formula.area if formula else None

    return _cut(book.names.values(), array)


def _cut(names: Iterable[str], array: Callable[[str, str], str | None]) -> list[str]:
    """The same; `array` gives the range of the array formula in a cell."""
    found = []
    for title, cells in filter(None, map(destination, names)):
        first, _, last = cells.partition(":")
        area = array(title, first) if last else None
        if area and range_boundaries(area)[3] < range_boundaries(cells)[3]:
            found.append(f"{title}!{cells}")
    return found


def must_compute_whole(book: Contents, path: Path) -> None:
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
    data = with_values(found, values, named)
    with replacing(out, found) as file:
        file.write(data)


def with_values(
    source: Source,
    values: Mapping[tuple[str, str], Value],
    named: Mapping[str, Value] | None = None,
) -> bytes:
    """The bytes of a workbook with values beside its formulas, as `store` writes them."""
    try:
        parts = unpacked(source.data)
        put(values, parts, named)
    except NO_WORKBOOK as error:
        raise problems.damaged(source.path) from error
    return packed(parts)


def put(
    values: Mapping[tuple[str, str], Value],
    parts: Parts,
    named: Mapping[str, Value] | None = None,
) -> None:
    """The same for the parts of a workbook, in place."""
    book, sheets = sheet_parts(parts)
    values = in_places(values, defined_names(parts[book]), named or {})
    by_sheet: dict[str, dict[str, Value]] = {}
    for (title, address), value in values.items():
        if title not in sheets:
            raise ValueError(f"there is no sheet {title}")
        by_sheet.setdefault(title, {})[address] = value
    for title, cells in by_sheet.items():
        part = parts[sheets[title]]
        parts[sheets[title]] = _beside(part, cells) or _patched(SheetPart(title, part), cells)
    parts[book] = keeping_values(parts[book])


def _must_end_alike(source: Source, out: Path) -> None:
    """A spreadsheet program refuses a file whose ending is not that of its content."""
    wanted = source.ending()
    if out.suffix.lower() != wanted and out.resolve() != source.path.resolve():
        what = "holds macros" if wanted.endswith("m") else f"is an {wanted} file"
        raise WorkbookProblem(
            f"{source.name} {what}: the name of what is written of it must end in {wanted}"
        )


# --- the workbook's part ------------------------------


def in_places(
    values: Mapping[tuple[str, str], Value], names: Mapping[str, str], named: Mapping[str, Value]
) -> dict[tuple[str, str], Value]:
    """The values, those of named cells replaced; `names` says what the workbook's stand for."""
    found = dict(values)
    for name, text in names.items():
        place = destination(text)
        if place in found and name in named:
            found[place] = named[name]
    return found


def keeping_values(book: bytes) -> bytes:
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


#: A cell, spelled as nearly every program does: attributes, formula, and its value.
_CELL = re.compile(
    r"""<c\ r="([A-Z]{1,3}[1-9]\d*)"((?:\ [a-z]+="[^"<>&]*")*)
    (?:\ ?/>|>(<f\b[^<>]*(?:/>|>[^<>]*</f>))?
       (?:<v>[^<>]*</v>|<v\ ?/>|<v\ xml:space="preserve">[^<>]*</v>)?(<is>.*?</is>)?</c>)""",
    re.VERBOSE | re.DOTALL,
)
_ARRAY = re.compile(r'<f(?=[^>]* t="array")[^>]* ref="([A-Z$\d:]+)"')
_ROW = re.compile(r'<row r="([1-9]\d*)"((?: [\w:.]+="[^"<>&]*")*) ?(?:/>|>(.*?)</row>)', re.DOTALL)
_DIMENSION = re.compile(r'<dimension ref="([A-Z]+\d+(?::[A-Z]+\d+)?)" ?/>')
_OF_VALUE = re.compile(r' (?:t|vm)="[^"]*"')


def _beside(part: bytes, values: Mapping[str, Value]) -> bytes | None:
    """The part with values beside its formulas, without taking it to pieces first.

    None if that does not do: for a part spelled unlike nearly all, and where a value has no row.
    """
    try:
        text = part.decode()
    except UnicodeDecodeError:
        return None
    if "<!" in text or not _DIMENSION.search(text):
        return None
    text = reaching_to(text, set(map(position_of, values)))
    seen = 0
    within: set[str] = set()  # the ranges of the array formulas met so far
    waiting = dict(values)

    def cell(old: re.Match[str]) -> str:
        nonlocal seen
        seen += 1
        address, attributes, formula, _ = old.groups()
        if formula is None:
            if address not in within:
                return old[0]
            formula = ""
        elif array := _ARRAY.match(formula):
            within.update(itertools.starmap(address_of, positions(array[1])))
        value = waiting.pop(address, None)
        if value is None:
            return old[0]
        if 't="' in attributes or 'vm="' in attributes:
            attributes = _OF_VALUE.sub("", attributes)
        return cell_element(address, written(value), attributes, formula)

    new = _CELL.sub(cell, text)
    if seen != text.count("<c ") or not waiting.keys() <= within:
        return None
    whole = _with_cells(new, waiting) if waiting else new
    return None if whole is None else whole.encode()


def reaching_to(text: str, cells: Collection[Position]) -> str:
    """The part, which says that it reaches as far as it must to hold these cells too."""

    def further(old: re.Match[str]) -> str:
        reach = reaching(old[1], cells) if cells else old[1]
        return f'<dimension ref="{reach}"/>' if reach != old[1] else old[0]

    return _DIMENSION.sub(further, text, count=1)


def _with_cells(text: str, values: Mapping[str, Value]) -> str | None:
    """The part with cells for these values, which have none yet; None where their row is none."""
    wanted: dict[int, dict[int, Value]] = {}
    for address, value in values.items():
        number, column = position_of(address)
        wanted.setdefault(number, {})[column] = value
    whole = True

    def row(old: re.Match[str]) -> str:
        nonlocal whole
        new = wanted.pop(int(old[1]), None)
        if new is None:
            return old[0]
        cells = {position_of(cell[1])[1]: cell[0] for cell in _CELL.finditer(old[3] or "")}
        whole &= sum(map(len, cells.values())) == len(old[3] or "")
        for column, value in new.items():
            cells[column] = cell_element(address_of(int(old[1]), column), written(value))
        # The row may reach further now than it says.
        attributes = re.sub(r' spans="[^"]*"', "", old[2])
        return f'<row r="{old[1]}"{attributes}>{"".join(cells[c] for c in sorted(cells))}</row>'

    text = _ROW.sub(row, text)
    return text if whole and not wanted else None


def _patched(sheet: SheetPart, values: Mapping[str, Value]) -> bytes:
    """The same for a part however it is spelled."""
    by_position = {position_of(address): value for address, value in values.items()}
    for row, column in sorted(by_position.keys() - sheet.computed()):
        raise ValueError(f"{sheet.title}!{address_of(row, column)} holds no formula")
    return sheet.edited(by_position, written)


def written(value: Value, prefix: str = "") -> tuple[str, str]:
    """Attribute `t` of a cell, and the element that holds its value."""
    name = f"{prefix}v"
    if isinstance(value, bool):
        return "b", f"<{name}>{int(value)}</{name}>"
    if isinstance(value, str):
        return "e" if value in ERROR_TEXTS else "str", text_element(name, value)
    return "", f"<{name}>{number_text(value)}</{name}>"
