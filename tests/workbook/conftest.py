"""A workbook filled in by a test, computed by the embedded engine, read by its names."""

from __future__ import annotations

import contextlib
import datetime
import functools
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from pathlib import Path
from typing import Any

import pytest

from tests.helpers import entered_into
from xlfuncs.files import contents
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, reader, words
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 14)

#: A workbook with a few lines, in which most of what can be typed wrongly or rightly has its room;
#: and one with more, for what has not.
SMALL = Choices(rows=12, checks=8)
ROOMY = Choices(rows=30, checks=20)

FIELD = {
    "name": "field",
    "kind": "refractometer",
    "compensated": "no",
    "fine": 0.1,
    "tolerated": 0.2,
    "interval": 30,
}
BENCH = FIELD | {"name": "bench", "compensated": "yes"}
GLASS = {
    "name": "glass",
    "kind": "hydrometer",
    "scale": "SG",
    "reference": 20,
    "fine": 0.0005,
    "tolerated": 0.001,
    "interval": 365,
}
SPINDLE = GLASS | {"name": "spindle", "scale": "Plato", "fine": 0.1}


def day(year: int, month: int, date: int, hour: int = 0, minute: int = 0) -> datetime.datetime:
    return datetime.datetime(year, month, date, hour, minute)


Rows = Sequence[Mapping[str, Any]]

#: What the lines of `reading` belong to.
BATCH = {"name": "1", "date": day(2026, 3, 7)}


def water_check(
    instrument: Mapping[str, Any], date: Any, offset: Any, **more: Any
) -> dict[str, Any]:
    """A check in distilled water that finds the offset."""
    zero = 1.0 if instrument["kind"] == "hydrometer" else 0.0
    return {"instrument": instrument["name"], "date": date, "shown_1": zero + offset} | more


def reading(
    instrument: Mapping[str, Any],
    value: Any,
    date: Any = day(2026, 3, 7, 12),  # noqa: B008
    **more: Any,
) -> dict[str, Any]:
    """A line of the log."""
    line = {"date": date, "batch": "1", "stage": "before boil", "instrument": instrument["name"]}
    return line | {"reading": value, "temperature": 20} | more


def many_checks(count: int) -> tuple[Rows, Rows]:
    """Twelve instruments, and years of checks of them in any order, from seeded numbers."""
    rng = random.Random(1)
    tools = [FIELD, BENCH, GLASS, *(FIELD | {"name": f"tool {i}"} for i in range(9))]
    checks = []
    for _ in range(count):
        tool = rng.choice(tools)
        one, unit = (1.0, 0.001) if tool is GLASS else (0.0, 0.1)
        date = day(2013, 1, 1, rng.choice([0, 0, 9])) + datetime.timedelta(rng.randrange(4800))
        row = {"instrument": tool["name"], "date": date, "temperature": rng.choice([None, 20, 24])}
        row["shown_1"] = round(one + rng.gauss(0, unit), 4)
        if rng.random() < 0.4:
            row["known_2"] = 1.045 if tool is GLASS else 11.2
            row["shown_2"] = row["known_2"] + round(rng.gauss(0, unit), 4)
        if rng.random() < 0.3:
            row["as"] = words.AS_LEFT
        checks.append(row)
    return tools, checks


def entries(
    book: Any, cells: Mapping[str, Any] | None = None, **tables: Rows
) -> Iterator[tuple[Any, Any]]:
    """The cells of named cells, and of tables by prefix, each with what is typed into it."""

    def places(name: str) -> tuple[Any, ...]:
        title, address = next(iter(book.defined_names[name].destinations))
        found = book[title][address]
        return tuple(line[0] for line in found) if isinstance(found, tuple) else (found,)

    for name, value in (cells or {}).items():
        yield places(name)[0], value
    for prefix, rows in tables.items():
        columns: dict[str, tuple[Any, ...]] = {}
        for number, row in enumerate(rows):
            for key, value in row.items():
                if key not in columns:
                    columns[key] = places(f"{prefix}_{key}")
                yield columns[key][number], value


def enough_for(tables: Mapping[str, Rows]) -> Choices:
    """A workbook that has lines for all that is to be typed, and a blank one below."""
    rows, checks = len(tables.get("log", ())), len(tables.get("check", ()))
    return SMALL if rows < SMALL.rows and checks < SMALL.checks else ROOMY


def fill(book: Any, cells: Mapping[str, Any] | None = None, **tables: Rows) -> None:
    """Type named cells, and tables by prefix, into a workbook; None blanks a cell."""
    for cell, value in entries(book, cells, **tables):
        cell.value = value


@contextlib.contextmanager
def filled_in(book: Any, cells: Mapping[str, Any] | None = None, **tables: Rows) -> Iterator[None]:
    """The same for as long as it is needed; afterwards the workbook is as it was."""
    typed = list(entries(book, cells, **tables))
    before = [(cell, cell.value, cell.data_type, copy(cell._style)) for cell, _ in typed]
    try:
        for cell, value in typed:
            cell.value = value
        yield
    finally:
        for cell, value, kind, style in reversed(before):
            cell._value, cell.data_type, cell._style = value, kind, style


@functools.cache
def blank_book(choices: Choices) -> Any:
    """A new workbook, into which nobody types for good."""
    return build.build(choices)


@functools.cache
def blank_bytes(choices: Choices) -> bytes:
    """A new workbook as a file."""
    return build.to_bytes(blank_book(choices))


def as_file(choices: Choices, cells: Mapping[str, Any] | None = None, **tables: Rows) -> bytes:
    """A new workbook into which this was typed: cells by name, and tables by prefix."""
    book = blank_book(choices)
    typed = {(c.parent.title, c.coordinate): value for c, value in entries(book, cells, **tables)}
    try:
        if not any(isinstance(value, str) and value[:1] in ("=", "#") for value in typed.values()):
            return entered_into(blank_bytes(choices), typed)
    except WorkbookProblem:  # typed over what computes
        pass
    with filled_in(book, cells, **tables):
        return build.to_bytes(book)


@functools.cache
def blank_contents(choices: Choices) -> contents.Contents:
    """What a new workbook holds."""
    return contents.of(blank_book(choices))


@functools.cache
def calculated(choices: Choices) -> embedded.Calculation:
    """What it shows as it is."""
    return embedded.calculate_book(blank_contents(choices), TODAY)


@functools.cache
def prepared(choices: Choices, today: datetime.date = TODAY) -> embedded.Prepared:
    """The same with its formulas read."""
    return embedded.Prepared(blank_contents(choices), today)


@pytest.fixture
def computed() -> Callable[..., reader.Reader]:
    """Fill a new workbook (tables by prefix, named cells by name), compute it, and read it."""

    def make(
        choices: Choices | None = None,
        cells: Mapping[str, Any] | None = None,
        **tables: Rows,
    ) -> reader.Reader:
        if "log" in tables:
            tables.setdefault("batch", [BATCH])
        choices = choices or enough_for(tables)
        book = blank_book(choices)
        # Not by way of a file: what a file keeps is tested elsewhere, and this is quicker.
        typed = {
            (cell.parent.title, cell.coordinate): value
            for cell, value in entries(book, cells, **tables)
        }
        calculation = prepared(choices).calculate(typed)
        assert calculation.failures == []
        values = {**calculation.values, **typed}
        return reader.Reader(Path("filled.xlsx"), blank_contents(choices), values)

    return make
