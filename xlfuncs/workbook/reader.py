"""Read a filled workbook by its names, so that renamed sheets and moved cells do no harm."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from openpyxl.utils.datetime import from_excel
from openpyxl.workbook import Workbook

from xlfuncs.cells.values import BLANK
from xlfuncs.files import problems
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.workbook import words

#: Values of computed cells by sheet and address, as an engine gives them.
Values = Mapping[tuple[str, str], Any]


class Reader:
    """The named cells and columns of one workbook.

    Computed cells are looked up in `values`; the others are what was typed.  A formula without a
    value is blank: never its text.
    """

    def __init__(self, path: Path, book: Workbook, values: Values) -> None:
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
        block = self.book[title][cells]
        lines = block if isinstance(block, tuple) else ((block,),)
        return [[self._value(title, cell) for cell in line] for line in lines]

    def lines(self, columns: Mapping[str, str]) -> list[dict[str, Any]]:
        """The lines of named columns as dictionaries, blank ones included."""
        found = [self.column(name) for name in columns.values()]
        return [dict(zip(columns, line, strict=True)) for line in zip(*found, strict=True)]

    def table(self, prefix: str, *keys: str) -> list[dict[str, Any]]:
        """The lines of the named columns `prefix_key`, blank ones included."""
        return self.lines({key: f"{prefix}_{key}" for key in keys})

    def plain(self, name: str) -> list[Any]:
        """A named column as plain data: dates as ISO text."""
        values = self.column(name)
        return [date_text(value) for value in values] if "yy" in self._format(name) else values

    def shown(self, name: str) -> list[str | None]:
        """A named column as its cells show it."""
        form = self._format(name)
        return [_shown(value, form) for value in self.plain(name)]

    def _format(self, name: str) -> str:
        title, cells = self.place(name)
        return str(self.book[title][cells.partition(":")[0]].number_format)

    def place(self, name: str) -> tuple[str, str]:
        """Sheet and address of a name."""
        defined = self.book.defined_names.get(name)
        places = list(defined.destinations) if defined else []
        if len(places) != 1 or places[0][0] not in self.book.sheetnames:
            raise WorkbookProblem(
                f"{self.path.name} has lost its cells “{name}”: was a sheet or a column deleted? "
                f"Go back to an earlier copy, or {problems.upgrading(self.path)}."
            )
        title, cells = places[0]
        return title, cells.replace("$", "")

    def _value(self, title: str, cell: Any) -> Any:
        value = self._values.get((title, cell.coordinate), cell.value)
        if cell.data_type == "f" and value is cell.value:
            return None
        return None if value == BLANK else value


def read(source: Path | Source, values: Values) -> Reader:
    """Open a filled workbook; `values` holds what its formulas give.

    Raises WorkbookProblem when the file is not one of our workbooks.
    """
    found = problems.read(source)
    path, book = found.path, problems.load(found)
    layout = book.defined_names.get(words.LAYOUT_NAME)
    if layout is None:
        raise WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark."
        )
    if str(layout.attr_text) != str(words.LAYOUT_VERSION):
        raise WorkbookProblem(
            f"{path.name} has layout {layout.attr_text}; this program reads layout "
            f"{words.LAYOUT_VERSION}. Carry it over: {problems.upgrading(path)}."
        )
    return Reader(path, book, values)


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
    positive = form.partition(";")[0]
    fraction = positive.partition(".")[2]
    least, most = fraction.count("0"), fraction.count("0") + fraction.count("#")
    if positive == "General":
        return f"{float(value):g}"
    scaled = float(value) * (100 if "%" in positive else 1)
    text = f"{scaled:{'+' if positive.startswith('+') else ''}.{most}f}"
    while most > least and text.endswith("0"):
        text, most = text[:-1], most - 1
    return f"{text.rstrip('.')}{'%' if '%' in positive else ''}"


def blank(values: Iterable[Any]) -> bool:
    """Whether all of these are blank."""
    return all(value is None for value in values)
