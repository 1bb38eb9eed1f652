"""Read a filled workbook by its names, so that renamed sheets and moved cells do no harm."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from openpyxl.utils import range_boundaries
from openpyxl.utils.datetime import from_excel

from xlfuncs.cells.values import BLANK
from xlfuncs.files import contents, package, problems
from xlfuncs.files.contents import Contents
from xlfuncs.files.part import Position, address_of, position_of
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.workbook import words

#: Values of computed cells by sheet and address, as an engine gives them.
Values = Mapping[tuple[str, str], Any]

_DATES = (datetime.date, datetime.time, datetime.timedelta)


class Reader:
    """The named cells and columns of one workbook.

    Computed cells are looked up in `values`; the others are what was typed.  A formula without a
    value is blank: never its text.
    """

    def __init__(self, path: Path, book: Contents, values: Values) -> None:
        self.path, self.book, self._values = path, book, values

    def cell(self, name: str) -> Any:
        """The value of a named cell, None when it is blank."""
        return self.column(name)[0]

    def column(self, name: str) -> list[Any]:
        """The values of a named column, from its first line to its last."""
        return [line[0] for line in self.block(name)]

    def block(self, name: str) -> list[list[Any]]:
        """The values of a named block of cells, line by line."""
        title, cells = self.place(name)
        left, top, right, bottom = range_boundaries(cells)
        columns = range(left, right + 1)
        return [
            [self._value(title, (row, column)) for column in columns]
            for row in range(top, bottom + 1)
        ]

    def lines(self, columns: Mapping[str, str]) -> list[dict[str, Any]]:
        """The lines of named columns as dictionaries, blank ones included."""
        found = [self.column(name) for name in columns.values()]
        return [dict(zip(columns, line, strict=True)) for line in zip(*found, strict=True)]

    def table(self, prefix: str, *keys: str) -> list[dict[str, Any]]:
        """The lines of the named columns `prefix_key`, blank ones included."""
        return self.lines({key: f"{prefix}_{key}" for key in keys})

    def plain(self, name: str) -> list[Any]:
        """A named column as plain data: dates as ISO text, also those among numbers."""
        of_dates = "yy" in self._format(name)
        return [
            date_text(value) if of_dates or isinstance(value, _DATES) else value
            for value in self.column(name)
        ]

    def shown(self, name: str) -> list[str | None]:
        """A named column as its cells show it."""
        form = self._format(name)
        return [_shown(value, form) for value in self.plain(name)]

    def _format(self, name: str) -> str:
        title, cells = self.place(name)
        return self.book.number_format(title, position_of(cells.partition(":")[0]))

    def place(self, name: str) -> tuple[str, str]:
        """Sheet and address of a name."""
        place = package.destination(self.book.names.get(name, ""))
        if place is None or place[0] not in self.book.sheets:
            raise WorkbookProblem(
                f"{self.path.name} has lost its cells “{name}”: was a sheet or a column deleted? "
                f"Go back to an earlier copy, or {problems.upgrading(self.path)}."
            )
        return place

    def _value(self, title: str, position: Position) -> Any:
        value = self._values.get((title, address_of(*position)))
        if value is None:
            value = self.book.value(title, position)
        return None if value == BLANK else value


def read(source: Path | Source, values: Values, book: Contents | None = None) -> Reader:
    """Open a filled workbook, unless it is open; `values` holds what its formulas give.

    Raises WorkbookProblem when the file is not one of our workbooks.
    """
    found = problems.read(source)
    must_be_ours(found)
    return Reader(found.path, book or contents.read(found), values)


def must_be_ours(source: Source) -> None:
    """Raise WorkbookProblem for a workbook that lacks our mark, or has that of another layout."""
    try:
        parts = package.unpacked(source.data)
        book, _ = package.sheet_parts(parts)
        layout = package.defined_names(parts[book]).get(words.LAYOUT_NAME)
    except Exception as error:  # a wrong part leads to errors of many kinds
        raise problems.damaged(source.path) from error
    if layout is None:
        raise WorkbookProblem(
            f"{source.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark."
        )
    if layout != str(words.LAYOUT_VERSION):
        raise WorkbookProblem(
            f"{source.name} has layout {layout}; this program reads layout "
            f"{words.LAYOUT_VERSION}. Carry it over: {problems.upgrading(source.path)}."
        )


def date_text(value: Any) -> str | None:
    """A date cell, typed or computed, as ISO text; what is no date stays as it is."""
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, (int, float)):
        try:
            value = from_excel(value)
        except (OverflowError, ValueError):
            return str(value)
    if isinstance(value, datetime.datetime):
        moment: datetime.datetime = value + datetime.timedelta(microseconds=500000)
        if moment.time().replace(microsecond=0) == datetime.time():
            return moment.date().isoformat()
        return moment.isoformat(sep=" ", timespec="minutes")
    return str(value)


def _shown(value: Any, form: str) -> str | None:
    """A number with the decimals of a number format; texts and dates as they are."""
    if value is None:
        return None
    if isinstance(value, (str, bool)):
        return str(value)
    positive = form.replace("\\", "").partition(";")[0]  # LibreOffice escapes the +
    fraction = positive.partition(".")[2]
    least, most = fraction.count("0"), fraction.count("0") + fraction.count("#")
    if positive == "General":
        return f"{float(value):{'.3g' if abs(value) < 1 else 'g'}}"  # a ± deserves no more digits
    scaled = float(value) * (100 if "%" in positive else 1)
    text = f"{scaled:{'+' if positive.startswith('+') else ''}.{most}f}"
    while most > least and text.endswith("0"):
        text, most = text[:-1], most - 1
    return f"{text.rstrip('.')}{'%' if '%' in positive else ''}"


def blank(values: Iterable[Any]) -> bool:
    """Whether all of these are blank."""
    return all(value is None for value in values)
