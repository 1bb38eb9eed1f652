"""A small workbook to import into, and files of lines."""

import datetime
import functools
from dataclasses import replace

import pytest

from tests.workbook.conftest import SMALL
from xlfuncs.files.entered import enter
from xlfuncs.files.problems import Source
from xlfuncs.hosts.excel import macros
from xlfuncs.records import importing, reading
from xlfuncs.records.book import Book
from xlfuncs.records.plans import Options
from xlfuncs.records.tables import TABLES
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 11, 26)

_ENTRIES = {
    "inst_name": ["Field", "Glass", "Tank floater", "Probe", "Saccharometer"],
    "inst_kind": [None, "hydrometer", "floating hydrometer", "thermometer", "hydrometer"],
    "inst_scale": [None, "SG", "SG", None, "Plato"],
    "inst_identity": ["R-1", None, None, None, None],
    "batch_name": ["Pale 12", 13.0],
    "batch_grain": [5.2, None],
    "batch_into_fermenter_gravity": [1.05, None],
    "log_batch": ["Pale 12"],
    "log_stage": ["before boil"],
    "log_date": [datetime.datetime(2026, 3, 14, 9, 30)],
    "log_reading": [11.4],
    "log_note": ["typed"],
    "check_instrument": ["Field"],
    "check_date": [datetime.date(2025, 3, 1)],
    "check_shown_1": [0.1],
}


def _made(choices):
    source = Source(None, build.to_bytes(build.build(choices)))
    cells = {}
    for name, values in _ENTRIES.items():
        table = next(one for one in TABLES.values() if name in one.typed)
        book = Book(source, table)
        cells |= {book.place(name, line): value for line, value in enumerate(values)}
    return enter(source.data, cells)


@functools.cache
def _metric():
    return _made(Choices(rows=20))


@functools.cache
def _plain():
    return _made(replace(SMALL, units="us", plain=True))


@pytest.fixture
def book(tmp_path):
    """A metric workbook with the functions in its formulas."""
    path = tmp_path / "book.xlsx"
    path.write_bytes(_metric())
    return path


@pytest.fixture
def plain_book(tmp_path):
    """One in gallons and °F, in plain formulas."""
    path = tmp_path / "plain.xlsx"
    path.write_bytes(_plain())
    return path


@pytest.fixture
def macro_book(tmp_path):
    """The metric one with the functions inside."""
    path = tmp_path / "book.xlsm"
    path.write_bytes(macros.with_functions(_metric()))
    return path


@pytest.fixture
def planned(tmp_path, book):
    """What an import of a text, or of the bytes of a file, would do."""

    def plan(content, table="log", *, into=book, name="lines.csv", columns=(), **options):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        constants = {key: options.pop(key, None) for key in ("batch", "stage", "instrument")}
        chosen = Options.of(columns, constants, TABLES[table], **options)
        source = Source(into, into.read_bytes())
        return importing.plan(reading.content(path), source, TABLES[table], chosen, TODAY)

    return plan
