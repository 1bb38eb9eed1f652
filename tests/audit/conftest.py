"""A workbook filled in by a test, and what an audit finds in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.workbook.conftest import BATCH, TODAY, fill
from xlfuncs.audit import run
from xlfuncs.audit.findings import FileAudit
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices


@pytest.fixture
def filled(tmp_path: Path) -> Callable[..., Path]:
    """Write a filled workbook; `compute` stores the values beside its formulas."""

    def make(name: str = "log.xlsx", compute: bool = False, **content: Any) -> Path:
        book = build.build(content.pop("choices", None) or Choices(rows=20, checks=20))
        if "log" in content:
            content.setdefault("batch", [BATCH])
        fill(book, **content)
        path = tmp_path / name
        path.write_bytes(build.to_bytes(book))
        if compute:
            assert embedded.calculate_file(path, path, TODAY).failures == []
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


def cells_of(path: Path, name: str) -> list[tuple[str, str]]:
    """Sheet and address of each cell of a named column."""
    book = openpyxl.load_workbook(path, read_only=True)
    title, address = next(iter(book.defined_names[name].destinations))
    book.close()
    first, _, last = address.replace("$", "").partition(":")
    letter = first.rstrip("0123456789")
    rows = [int(one.removeprefix(letter)) for one in (first, last or first)]
    return [(title, f"{letter}{row}") for row in range(rows[0], rows[1] + 1)]


def stored(path: Path, name: str, value: Any, line: int = 0) -> None:
    """Put another stored value beside the formula of a cell of a named column."""
    from xlfuncs.files import stored as files

    files.store(path, {cells_of(path, name)[line]: value}, path)
