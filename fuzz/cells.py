"""One and several bad cells in a filled workbook, through every command that reads one."""

from __future__ import annotations

import datetime
import io
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
from typer.testing import CliRunner

from fuzz.failure import Failure
from xlfuncs.cli import app
from xlfuncs.files.problems import WorkbookProblem

EXAMPLE = Path(__file__).parents[1] / "workbooks" / "brewday-example.xlsx"
COMMANDS = (["calculate"], ["report"], ["report", "--json"], ["audit"], ["audit", "--json"])

_ODD: list[Any] = [
    None, "", " ", "x", "12,4", "12.4 ", "1.050", "plato", "sg", "°P", "°F ", "f", "! earlier",
    "#N/A", True, False, 0, -1, 0.3, 6, 140, 1e-300, 1e300, -1e300, 2958466, 1e9, "=NA()", "=1/0",
    "=NOSUCH(1)", '="="', "=A1", "'=1", "🍺", "x" * 5000, "[bold]", "\\", "a\nb",
    datetime.datetime(2026, 3, 14), datetime.datetime(1900, 1, 1), datetime.datetime(9999, 12, 31),
    datetime.time(6, 30),
]  # fmt: skip


def attack(dice: random.Random) -> Iterator[Failure | None]:
    """The example, with bad cells where something is typed, or where something is computed."""
    book = openpyxl.load_workbook(EXAMPLE)
    places = [
        (sheet.title, cell.coordinate, cell.data_type == "f")
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None or not cell.protection.locked
    ]
    typed = [place for place in places if not place[2]]
    while True:
        count = dice.choice([1, 1, 1, 2, 5, 20])
        chosen = [dice.choice(typed if dice.random() < 0.9 else places) for _ in range(count)]
        yield failure({(sheet, cell): dice.choice(_ODD) for sheet, cell, _ in chosen})


def failure(changes: dict[tuple[str, str], Any]) -> Failure | None:
    """What is wrong with how a workbook with these cells is taken; None if nothing is."""
    book = openpyxl.load_workbook(EXAMPLE)
    for (sheet, cell), value in changes.items():
        try:
            book[sheet][cell] = value
        except AttributeError:  # a cell that is merged into another
            continue
    out = io.BytesIO()
    book.save(out)
    for command in COMMANDS:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "log.xlsx"
            path.write_bytes(out.getvalue())
            result = CliRunner().invoke(app, [*command, str(path)])
        # A problem with the file is one sentence; findings and uncomputed cells are status 1.
        if isinstance(result.exception, (SystemExit, WorkbookProblem, type(None))):
            continue
        what = f"{' '.join(command)}: {type(result.exception).__name__}: {result.exception}"
        return Failure(what[:300], f"assert cells.failure({changes!r}) is None")
    return None
