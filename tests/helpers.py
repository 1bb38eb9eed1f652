"""What tests of several packages share, besides published tables, cases and oracles."""

from __future__ import annotations

import contextlib
import functools
import io
import math
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from openpyxl.utils.cell import rows_from_range

from tests.plain import engines
from xlfuncs import cli
from xlfuncs.files import entered, package
from xlfuncs.files.part import SheetPart


def run(*arguments: Any, status: int = 0) -> str:
    """Run the command as a user does; its output, or what it printed as error."""
    out, err = io.StringIO(), io.StringIO()
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        patch.setattr(sys, "argv", ["xlfuncs", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            cli.main()
    assert (left.value.code or 0) == status, out.getvalue() + err.getvalue()
    return out.getvalue() if status == 0 else err.getvalue()


#: The parts of blank workbooks as they are read: once, which takes as long as to write them.
_blank_part = functools.lru_cache(64)(SheetPart)


def poppler(program: str, *arguments: Any) -> str:
    """What a program that reads PDF files says."""
    found = shutil.which(program)
    if not found:
        pytest.fail(f"{program} is needed to read a PDF (Debian and Ubuntu: poppler-utils)")
    return subprocess.run([found, *arguments], capture_output=True, check=True).stdout.decode()


def entered_into(blank: bytes, cells: Mapping[tuple[str, str], Any]) -> bytes:
    """A blank workbook, into which much else is typed too, with these entries."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(entered, "SheetPart", _blank_part)
        return entered.enter(blank, cells)


@contextlib.contextmanager
def recorded_anew() -> Iterator[None]:
    """Nothing is known of what was recorded and fitted before, nor afterwards of what is now."""

    def forget() -> None:
        for name, module in list(sys.modules.items()):
            if name.startswith("xlfuncs.plain"):
                for kept in vars(module).values():
                    getattr(kept, "cache_clear", int)()

    forget()
    try:
        yield
    finally:
        forget()


def parts_of(path: Path) -> dict[str, bytes]:
    """The parts of a workbook file by name."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def cells_of(path: Path, name: str) -> list[tuple[str, str]]:
    """Sheet and address of each cell of a named column."""
    return _cells(engines.names(path)[name])


def _cells(column: str) -> list[tuple[str, str]]:
    place = package.destination(column)
    assert place is not None
    return [(place[0], cell) for line in rows_from_range(place[1]) for cell in line]


def columns(path: Path, names: Iterable[str]) -> dict[str, list[Any]]:
    """What a file holds in the cells of named columns, dates as numbers."""
    known = engines.names(path)
    places = {name: _cells(known[name]) for name in names}
    values = engines.whole(path, {title for one in places.values() for title, _ in one})
    return {name: [values.get(place) for place in one] for name, one in places.items()}


def column(path: Path, name: str) -> list[Any]:
    """The same of one of them."""
    return columns(path, [name])[name]


def rewrite(path: Path, part: str, change: Callable[[str], str]) -> None:
    """Change one part of a workbook file, and leave the others."""
    parts = parts_of(path)
    parts[part] = change(parts[part].decode()).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def same_cell(one: Any, other: Any, rel: float, least: float = 0.0) -> bool:
    """Whether two cells hold the same text, or numbers that agree so far."""
    if isinstance(one, (str, type(None))) or isinstance(other, (str, type(None))):
        return bool(one == other)
    return math.isclose(one, other, rel_tol=rel, abs_tol=least)
