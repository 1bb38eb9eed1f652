"""Import: a floating hydrometer's export of a million lines, down to the medians of its hours."""

import datetime
import gc
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas

from benchmarks.measuring import Measure, seconds
from xlfuncs.files import problems
from xlfuncs.records import importing, reading
from xlfuncs.records.plans import Options
from xlfuncs.records.tables import LOG
from xlfuncs.workbook import build
from xlfuncs.workbook.example import FLOATER, OAT
from xlfuncs.workbook.words import Choices

LINES = 1_000_000
START = np.datetime64("2025-03-01T00:00:00")
TODAY = datetime.date(2026, 11, 26)


def measures() -> Iterator[Measure]:
    """The baseline reads the file, and no more.

    Ours recognises how it is written, understands each value, looks into the workbook, and thins.
    """
    kept = gc.get_threshold()
    gc.set_threshold(100_000, 20, 100)  # as the command does
    with tempfile.TemporaryDirectory() as name:
        file, book = Path(name) / "float.csv", Path(name) / "book.xlsx"
        hours = _export(file)
        # So long that it need not grow.
        book.write_bytes(build.to_bytes(build.build(Choices(rows=hours + 200, example=True))))
        options = Options.of((), {"batch": OAT, "instrument": FLOATER}, LOG)

        def thin() -> None:
            source = problems.read(book)
            made = importing.plan(reading.content(file), source, LOG, options, TODAY)
            assert len(made.lines) == hours

        ours, theirs = seconds(thin, lambda: pandas.read_csv(file), runs=5)
        yield Measure("import of 1,000,000 readings afloat", ours / theirs, 8, "of pandas.read_csv")
    gc.set_threshold(*kept)


def _export(path: Path) -> int:
    """An invented fermentation, read each second; how many hours it takes."""
    random = np.random.default_rng(12)
    steps = np.arange(LINES)
    moments = np.datetime_as_string(START + steps, unit="s")
    gravity = 1.012 + 0.04 * np.exp(-5 * steps / LINES) + random.normal(0, 4e-4, LINES)
    celsius = 20 + random.normal(0, 0.3, LINES)
    with path.open("w", encoding="utf-8") as file:
        file.write("timestamp,SG,temperature\n")
        file.writelines(
            f"{moment},{sg:.4f},{warm:.1f}\n"
            for moment, sg, warm in zip(moments, gravity, celsius, strict=True)
        )
    return -(-LINES // 3600)
