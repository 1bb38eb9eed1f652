"""A workbook filled in by a test, computed by the embedded engine, read by its names."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, reader
from xlfuncs.workbook.vocabulary import Choices

TODAY = datetime.date(2026, 3, 14)

FIELD = {
    "name": "field",
    "kind": "refractometer",
    "compensated": "no",
    "u_reading": 0.1,
    "tolerance": 0.2,
    "interval": 30,
}
BENCH = FIELD | {"name": "bench", "compensated": "yes"}
GLASS = {
    "name": "glass",
    "kind": "hydrometer",
    "scale": "SG",
    "reference": 20,
    "u_reading": 0.0005,
    "tolerance": 0.001,
    "interval": 365,
}
SPINDLE = GLASS | {"name": "spindle", "scale": "Plato", "u_reading": 0.0004}


def day(year: int, month: int, date: int, hour: int = 0, minute: int = 0) -> datetime.datetime:
    return datetime.datetime(year, month, date, hour, minute)


Rows = Sequence[Mapping[str, Any]]


@pytest.fixture
def computed() -> Callable[..., reader.Reader]:
    """Fill a new workbook (tables by prefix, named cells by name), compute it, and read it."""

    def make(
        choices: Choices | None = None,
        cells: Mapping[str, Any] | None = None,
        **tables: Rows,
    ) -> reader.Reader:
        book = build.build(choices or Choices(rows=20))

        def place(name: str) -> tuple[Any, str]:
            title, cells = next(iter(book.defined_names[name].destinations))
            return book[title], cells.replace("$", "").split(":")[0]

        for name, value in (cells or {}).items():
            sheet, address = place(name)
            sheet[address] = value
        for prefix, rows in tables.items():
            for number, row in enumerate(rows):
                for key, value in row.items():
                    sheet, address = place(f"{prefix}_{key}")
                    anchor = sheet[address]
                    anchor.offset(number, 0).value = value
        # Not by way of a file: what a file keeps is tested elsewhere, and this is quicker.
        calculation = embedded.calculate_book(book, TODAY)
        assert calculation.failures == []
        return reader.Reader(Path("filled.xlsx"), book, calculation.values)

    return make


def beside(book: reader.Reader, name: str) -> Any:
    """The remark in the column right of a named cell, or of the cells that it is merged with."""
    title, cell = next(iter(book._book.defined_names[name].destinations))
    sheet = book._book[title]
    address = cell.replace("$", "")
    span = next((one for one in sheet.merged_cells if address in one), sheet[address])
    right = sheet.cell(sheet[address].row, getattr(span, "max_col", sheet[address].column) + 1)
    return book._value(title, right)
