"""A workbook filled in by a test, and what an audit finds in it."""

from __future__ import annotations

import contextlib
import datetime
import functools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.audit import invented_year
from tests.helpers import cells_of
from tests.workbook.conftest import (
    BATCH,
    FIELD,
    TODAY,
    as_file,
    blank_book,
    blank_contents,
    day,
    enough_for,
    entries,
    prepared,
    reading,
    water_check,
)
from xlfuncs.audit import run
from xlfuncs.audit.findings import FileAudit
from xlfuncs.files import stored as files
from xlfuncs.hosts import embedded
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.workbook import reader


@contextlib.contextmanager
def computed_file(
    path: Path, stored: bool = False, today: datetime.date = TODAY, **content: Any
) -> Iterator[reader.Reader]:
    """A filled workbook as a file, and what its sheets show; `stored`: the file has it too.

    The sheets are computed from what the file is made of: that one from a file computes alike is
    tested elsewhere.
    """
    choices = content.pop("choices", None) or enough_for(content)
    book, content = blank_book(choices), _of_one_batch(content)
    typed = {
        (cell.parent.title, cell.coordinate): value for cell, value in entries(book, **content)
    }
    formulas = {place: _alone(value) for place, value in typed.items() if _is_formula(value)}
    given = typed | {place: ERRORS.get(value, value) for place, value in formulas.items()}
    calculation = prepared(choices, today).calculate(given)
    assert calculation.failures == []
    path.write_bytes(as_file(choices, **content))
    values = {**calculation.values, **formulas}
    if stored:
        files.store(path, values, path)
    yield reader.Reader(path, blank_contents(choices), {**values, **given})


def _is_formula(value: Any) -> bool:
    return isinstance(value, str) and value.startswith("=")


@functools.cache
def _alone(formula: str) -> Any:
    """What a typed formula gives that names no cell."""
    book = openpyxl.Workbook()
    book.active["A1"] = formula
    calculation = embedded.calculate_book(book)
    assert calculation.failures == []
    [value] = calculation.values.values()
    return value


def _of_one_batch(content: dict[str, Any]) -> dict[str, Any]:
    return {"batch": [BATCH], **content} if "log" in content else content


@pytest.fixture
def filled(tmp_path: Path) -> Callable[..., Path]:
    """Write a filled workbook; `compute` stores the values beside its formulas."""

    def make(name: str = "log.xlsx", compute: bool = False, **content: Any) -> Path:
        path = tmp_path / name
        if compute:
            with computed_file(path, stored=True, **content):
                return path
        choices = content.pop("choices", None) or enough_for(content)
        path.write_bytes(as_file(choices, **_of_one_batch(content)))
        return path

    return make


@pytest.fixture
def audited(filled: Callable[..., Path]) -> Callable[..., FileAudit]:
    """Fill a workbook and audit it; a file without computed values says so in a note, left out."""

    def make(**content: Any) -> FileAudit:
        found = run.audit(filled(**content), TODAY)
        found.findings = [one for one in found.findings if one.code != "not-computed"]
        return found

    return make


#: What steers a terminal, what turns its line, what looks like our own marking of text.
STEERING = "\x9b31m red \u202e back [bold] [/x]"
SHOWN = r"\u009b31m red \u202e back [bold] [/x]"
TEXTS = ("=cmd()", "+1-2", "-x", "@home", STEERING)


@pytest.fixture
def steering(filled: Callable[..., Path]) -> Path:
    """A log whose texts and whose name hold what could run, or steer a terminal."""
    path = filled(
        "=1+\x1b[31m2.xlsx",
        inst=[FIELD],
        check=[
            water_check(FIELD, day(2026, 3, date), found) for date, found in ((1, 0.1), (9, 0.9))
        ],
        log=[*(reading(FIELD, 12) for _ in TEXTS), reading({"name": STEERING}, 12)],
    )
    book = openpyxl.load_workbook(path)
    for column in ("batch_name", "log_batch"):
        for (title, address), text in zip(cells_of(path, column), TEXTS, strict=False):
            book[title][address].value, book[title][address].data_type = text, "s"
    book.save(path)
    return path


@pytest.fixture(scope="session")
def year(tmp_path_factory: pytest.TempPathFactory) -> tuple[run.Audited, run.Audited]:
    """The same invented year twice: in one file, and split into twelve."""
    folder = tmp_path_factory.mktemp("year")
    (folder / "whole.xlsx").write_bytes(invented_year.as_one())
    (folder / "months").mkdir()
    for number, data in enumerate(invented_year.as_twelve(), 1):
        (folder / f"months/{number:02}.xlsx").write_bytes(data)
    whole, months = (
        run.audit_all(run.files([str(folder / name)]), invented_year.TODAY)
        for name in ("whole.xlsx", "months")
    )
    return whole, months


def stored(path: Path, name: str, value: Any, line: int = 0) -> None:
    """Put another stored value beside the formula of a cell of a named column."""
    files.store(path, {cells_of(path, name)[line]: value}, path)
