"""A workbook filled in by a test, and what an audit finds in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.workbook.conftest import TODAY, fill
from xlfuncs.audit import run
from xlfuncs.audit.findings import FileAudit
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.vocabulary import Choices


@pytest.fixture
def filled(tmp_path: Path) -> Callable[..., Path]:
    """Write a filled workbook; `compute` stores the values beside its formulas."""

    def make(name: str = "log.xlsx", compute: bool = False, **content: Any) -> Path:
        book = build.build(content.pop("choices", None) or Choices(rows=20, checks=20))
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
