"""What the cells of a workbook hold: typed values, formulas and names, without their looks.

openpyxl makes an object with looks of every cell, which takes it longer than all formulas take to
be computed.  Here a file is read row by row: memory holds what was typed, and one row besides.
"""

from __future__ import annotations

import datetime
import functools
import io
import math
import sys
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import IO, Any, NamedTuple
from xml.etree import ElementTree

from openpyxl.formula.translate import Translator
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format, is_timedelta_format
from openpyxl.utils import range_boundaries
from openpyxl.utils.datetime import (
    CALENDAR_MAC_1904,
    CALENDAR_WINDOWS_1900,
    from_excel,
    from_ISO8601,
    to_excel,
)
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.files import problems, scan
from xlfuncs.files.filled import Filled
from xlfuncs.files.package import PartsAsAsked, local, names_by_sheet, relations, sheet_parts
from xlfuncs.files.part import Position, address_of, by_row
from xlfuncs.files.problems import Source
from xlfuncs.files.scan import WrittenCell, WrittenFormula

_GENERAL = "General"
_STYLES, _TEXTS = "xl/styles.xml", "xl/sharedStrings.xml"


class ErrorText(str):
    """An error that a cell holds, such as #N/A."""


class FormulaCell(NamedTuple):
    """A formula, which reads so in `row`: it may have been filled down from there.

    `area` is the range that an array formula fills.
    """

    text: str
    row: int
    area: str = ""
    is_what_if: bool = False


class Table(NamedTuple):
    """A table of a sheet: its name, range, headings of columns, and rows of headings and totals."""

    name: str
    cells: str
    columns: list[str]
    headings: int
    totals: int


@dataclass
class Sheet:
    """The cells of a sheet by row and column.

    Typed are numbers, texts, truth values and `ErrorText`; dates are serial numbers, as formulas
    see them.  What is stored in the range of an array formula was not typed.
    """

    typed: dict[Position, Any] = field(default_factory=dict)
    formulas: dict[Position, FormulaCell] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    tables: list[Table] = field(default_factory=list)


@dataclass
class Contents:
    """The sheets of a workbook by title, and what its names stand for."""

    sheets: Mapping[str, Sheet]
    names: Mapping[str, str]
    epoch: datetime.datetime
    number_format: Callable[[str, Position], str]  # of a cell of a sheet

    def value(self, title: str, position: Position) -> Any:
        """What was typed into a cell: a date where it shows as one, None where nothing was."""
        value = self.sheets[title].typed.get(position)
        if type(value) is not float:
            return value
        form = self.number_format(title, position)
        if form == _GENERAL or not is_date_format(form):
            return value
        try:
            return from_excel(value, self.epoch, timedelta=is_timedelta_format(form))
        except (OverflowError, ValueError):  # no day of the calendar
            return value


def serial(value: Any, epoch: datetime.datetime = CALENDAR_WINDOWS_1900) -> Any:
    """A value as formulas see it: dates and whole numbers are floats.

    A time has the 16 digits that openpyxl writes: a workbook in memory computes as its file does.
    """
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        return float(f"{to_excel(value, epoch):.16g}")
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


# --- of a file ------------------------------


def read(source: Source) -> Contents:
    """The contents of a workbook file; raises `WorkbookProblem` for one that is damaged."""
    try:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            return _read(archive)
    except Exception as error:  # a wrong part leads to errors of many kinds
        raise problems.damaged(source.path) from error


def _read(archive: zipfile.ZipFile) -> Contents:
    parts = PartsAsAsked(archive)
    book, by_title = sheet_parts(parts)
    names = names_by_sheet(parts[book])
    epoch = _epoch(parts[book])
    texts = shared_texts(archive)
    sheets: dict[str, Sheet] = {}
    looks: dict[str, dict[Position, str]] = {}
    for title, part in by_title.items():
        with archive.open(part) as file:
            sheets[title], looks[title] = _sheet(file, texts, epoch)
        sheets[title].names = names.get(title, {})
        sheets[title].tables = [
            _table(parts[relation.target])
            for relation in relations(parts, part)
            if relation.what == "table"
        ]
    styles = archive.read(_STYLES) if _STYLES in archive.namelist() else b""

    @functools.cache
    def formats() -> list[str]:
        return _number_formats(styles)

    def number_format(title: str, position: Position) -> str:
        look = int(looks[title].get(position, 0))
        return formats()[look] if look < len(formats()) else _GENERAL

    return Contents(sheets, names.get("", {}), epoch, number_format)


def _sheet(
    part: IO[bytes], texts: list[str], epoch: datetime.datetime
) -> tuple[Sheet, dict[Position, str]]:
    """The cells of a sheet, and the number of the look of each."""
    sheet, looks = Sheet(), {}
    filled, computed = _FilledDown(), _Computed()

    def take(row: int, column: int, cell: WrittenCell) -> None:
        position = row, column
        if look := cell.attributes.get("s"):
            looks[position] = look
        if cell.formula is not None:
            sheet.formulas[position] = formula = filled.formula(cell.formula, position)
            if formula.area:
                computed.add(formula.area)
            return
        value = held(cell, texts, epoch)
        if value is not None and not computed.holds(position):
            sheet.typed[position] = value

    scan.cells(part, take)
    return sheet, looks


class _Computed:
    """The cells that array formulas fill, of which the first is met first."""

    def __init__(self) -> None:
        self._columns: dict[int, list[tuple[int, int]]] = {}

    def add(self, area: str) -> None:
        """The range of one more."""
        left, top, right, bottom = range_boundaries(area)
        for column in range(left, right + 1):
            self._columns.setdefault(column, []).append((top, bottom))

    def holds(self, position: Position) -> bool:
        """Whether one of them fills a cell."""
        row, column = position
        return any(top <= row <= bottom for top, bottom in self._columns.get(column, ()))


class _FilledDown:
    """The formulas of a sheet that are written once and only referred to in other cells."""

    def __init__(self) -> None:
        self._first: dict[str, tuple[str, Position]] = {}

    def formula(self, written: WrittenFormula, position: Position) -> FormulaCell:
        """The formula of a cell."""
        row, column = position
        said = written.attributes
        text, kind, number = f"={written.text}", said.get("t"), said.get("si", "")
        if kind in ("array", "dataTable"):
            area = said.get("ref") or address_of(row, column)
            return FormulaCell(text, row, area, kind == "dataTable")
        if kind == "shared" and number in self._first:
            text, (first, begun) = self._first[number]
            if begun == column:
                return FormulaCell(text, first)
            origin = Translator(text, address_of(first, begun))
            return FormulaCell(str(origin.translate_formula(address_of(row, column))), row)
        if kind == "shared" and written.text:
            self._first[number] = text, position
        return FormulaCell(text, row)


def held(
    cell: WrittenCell, texts: list[str], epoch: datetime.datetime = CALENDAR_WINDOWS_1900
) -> Any:
    """The value that a cell stores; None if it stores none."""
    kind, said = cell.attributes.get("t", "n"), cell.value
    if kind == "inlineStr":
        return None if cell.inline is None else sys.intern(cell.inline)
    if kind == "str" and cell.formula is not None:
        return sys.intern(said or "")
    if not said:
        return None
    if kind == "n":
        return _number(said)
    if kind == "s":
        return texts[int(said)]
    if kind == "b":
        return bool(int(said))
    if kind == "e":
        return ErrorText(said)
    if kind == "d":
        return serial(from_ISO8601(said), epoch)
    return sys.intern(said)


@functools.lru_cache(4096)
def _number(text: str) -> float | ErrorText:
    """A number as a file writes it: days, temperatures and volumes come again and again."""
    number = float(text)
    return number if math.isfinite(number) else ErrorText("#NUM!")


def shared_texts(archive: zipfile.ZipFile) -> list[str]:
    """The table of texts that cells of kind `s` point into."""
    if _TEXTS not in archive.namelist():
        return []
    with archive.open(_TEXTS) as part:
        # The same words stand in many files of a year; they are kept once.
        return [
            sys.intern(_text(element))
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


def _epoch(book: bytes) -> Any:
    """From when the workbook counts its days."""
    for element in ElementTree.fromstring(book).iter():
        if local(element.tag) == "workbookPr" and element.get("date1904") in ("1", "true"):
            return CALENDAR_MAC_1904
    return CALENDAR_WINDOWS_1900


def _number_formats(styles: bytes) -> list[str]:
    """The number format of each look of a cell."""
    if not styles:
        return []
    tree = ElementTree.fromstring(styles)
    own = {
        element.get("numFmtId"): element.get("formatCode", _GENERAL)
        for element in tree.iter()
        if local(element.tag) == "numFmt"
    }
    numbers = [
        look.get("numFmtId", "0")
        for group in tree
        if local(group.tag) == "cellXfs"
        for look in group
    ]
    return [own.get(number) or BUILTIN_FORMATS.get(int(number), _GENERAL) for number in numbers]


def _table(part: bytes) -> Table:
    table = ElementTree.fromstring(part)
    columns = [
        element.get("name", "") for element in table.iter() if local(element.tag) == "tableColumn"
    ]
    return Table(
        table.get("displayName", ""),
        table.attrib["ref"],
        columns,
        int(table.get("headerRowCount", "1")),
        int(table.get("totalsRowCount", "0")),
    )


# --- of a workbook in memory ------------------------------


def of(book: Workbook) -> Contents:
    """The contents of a workbook that openpyxl holds."""

    def number_format(title: str, position: Position) -> str:
        cell = book[title]._cells.get(position)
        return str(cell.number_format) if cell is not None else _GENERAL

    return Contents(
        {sheet.title: _of_sheet(sheet, book.epoch) for sheet in book.worksheets},
        names_of(book.defined_names),
        book.epoch,
        number_format,
    )


def names_of(defined: Mapping[str, Any]) -> dict[str, str]:
    """What names stand for that openpyxl holds."""
    return {name: str(one.value) for name, one in defined.items()}


def _of_sheet(sheet: Any, epoch: datetime.datetime) -> Sheet:
    found = Sheet(names=names_of(sheet.defined_names))
    computed = _Computed()
    filled: dict[int, FormulaCell] = {}
    # Of the cells that are there: walking over rows makes all those between them too.
    in_order = ((row, c) for row, columns in by_row(sheet._cells).items() for c in columns)
    for position in in_order:
        cell = sheet._cells[position]
        value = cell._value
        if type(value) is Filled:
            if value.number not in filled:
                filled[value.number] = FormulaCell(value.formula, value.row)
            found.formulas[position] = filled[value.number]
        elif cell.data_type == "f":
            found.formulas[position] = formula = _formula(cell)
            if formula.area:
                computed.add(formula.area)
        elif cell.value not in (None, "") and not computed.holds(position):
            error = cell.data_type == "e"
            found.typed[position] = ErrorText(cell.value) if error else serial(cell.value, epoch)
    found.tables = [
        Table(
            table.displayName,
            table.ref,
            [column.name for column in table.tableColumns],
            1 if table.headerRowCount is None else table.headerRowCount,
            table.totalsRowCount or 0,
        )
        for table in sheet.tables.values()
    ]
    return found


def _formula(cell: Any) -> FormulaCell:
    value = cell.value
    if isinstance(value, (ArrayFormula, DataTableFormula)):
        text = getattr(value, "text", None) or ""
        area = value.ref or cell.coordinate
        return FormulaCell(text, cell.row, area, isinstance(value, DataTableFormula))
    return FormulaCell(str(value), cell.row)
