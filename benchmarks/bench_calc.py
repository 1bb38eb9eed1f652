"""LibreOffice Calc: against Calc's own formula for the same, and against an empty sheet's page."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from unittest.mock import patch

from openpyxl import Workbook
from openpyxl.worksheet.formula import ArrayFormula

from benchmarks.measuring import Measure, seconds
from benchmarks.workbooks import with_checks, with_lines
from xlfuncs.hosts.calc import runner
from xlfuncs.hosts.calc.install import numpy_for
from xlfuncs.hosts.calc.offices import OfficeProblem, choose_office
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

ROWS = 10_000
NATIVE = f"=(A1:A{ROWS}-1)*1000"
OURS = f'=GRAVITY_CONVERT(A1:A{ROWS},"SG","Points")'


def measures() -> Iterator[Measure]:
    try:
        numpy_for(choose_office())
    except OfficeProblem as problem:
        print(f"LibreOffice is not measured: {problem}", file=sys.stderr)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with patch.dict(os.environ, XDG_CACHE_HOME=name, LOCALAPPDATA=name):
            yield from _whole_runs(folder)
            yield from _recalculations(folder)


def _whole_runs(folder: Path) -> Iterator[Measure]:
    example, empty = _example(folder), folder / "empty.xlsx"
    Workbook().save(empty)

    def printed(path: Path) -> Callable[[], None]:
        return lambda: runner.print_pdf(path, path.with_suffix(".pdf"))

    [fresh] = seconds(printed(example), runs=1)  # makes the kept profile too
    page, kept = seconds(printed(empty), printed(example), runs=5)
    unit = "× an empty sheet, kept profile"
    yield Measure("Calc, example to PDF, fresh profile", fresh / page, 8, unit)
    yield Measure("Calc, example to PDF, kept profile", kept / page, 4, unit)


def _recalculations(folder: Path) -> Iterator[Measure]:
    native, ours = _column(folder / "native.xlsx", NATIVE), _column(folder / "ours.xlsx", OURS)
    taken: dict[Path, list[float]] = {native: [], ours: []}
    for _ in range(3):  # in turns, so that a busy machine slows both alike
        for path, times in taken.items():
            times += runner.recalculation_seconds(path, repeats=9)
    column, unit = median(taken[native]), "× Calc's own array formula over 10,000 rows"
    yield Measure("Calc, array call over 10,000 rows", median(taken[ours]) / column, 6, unit)
    full = median(runner.recalculation_seconds(_example(folder), repeats=9))
    yield Measure("Calc, hard recalculation of the example", full / column, 100, unit)
    long = with_lines(folder / "long.xlsx", 1000)
    lines = median(runner.recalculation_seconds(long, repeats=5))
    yield Measure("Calc, hard recalculation of 1000 lines", lines / column, 300, unit)
    base, many = (
        median(runner.recalculation_seconds(with_checks(folder / f"{n}.xlsx", n), repeats=3))
        for n in (1000, 4000)
    )
    yield Measure("Calc, hard recalculation of 4000 checks", many / base, 10, "× 1000 checks")


def _example(folder: Path) -> Path:
    path = folder / "example.xlsx"
    if not path.exists():
        path.write_bytes(build.to_bytes(build.build(Choices(example=True))))
    return path


def _column(path: Path, formula: str) -> Path:
    book = Workbook()
    sheet = book.active
    for row in range(1, ROWS + 1):
        sheet.cell(row, 1).value = 1.02 + row * 1e-6
    sheet["B1"] = ArrayFormula(f"B1:B{ROWS}", formula)
    book.save(path)
    return path
