"""Building the template against writing the same cells; computing it against a bound."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from copy import copy
from pathlib import Path

from openpyxl import Workbook

from benchmarks.measuring import Measure, in_new_python, seconds
from benchmarks.workbooks import with_checks
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.words import Choices

COLD = """
from xlfuncs.hosts import embedded
embedded.calculate({path!r})
"""


def measures() -> Iterator[Measure]:
    choices = Choices(example=True)
    cells = [
        (sheet.title, cell.coordinate, cell.value, cell.style, cell.number_format)
        for sheet in build.build(choices)
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None or cell.has_style
    ]

    def bare() -> None:
        """The same cells with openpyxl alone: value, style and number format."""
        book = Workbook()
        book.remove(book.active)
        styles.register(book)
        sheets = {title: book.create_sheet(title) for title in dict.fromkeys(c[0] for c in cells)}
        for title, address, value, style, number_format in cells:
            cell = sheets[title][address]
            cell.value = copy(value) if not isinstance(value, (str, float, int)) else value
            cell.style = style
            cell.number_format = number_format
        book.save(io.BytesIO())

    baseline, ours = seconds(bare, lambda: build.to_bytes(build.build(choices)), runs=5)
    yield Measure("build the example", ours / baseline, 2, "× the same cells with bare openpyxl")

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "example.xlsx"
        path.write_bytes(build.to_bytes(build.build(choices)))
        calls = sum(embedded.calculate(path).calls.values())
        yield Measure("compute the example", calls, 60, "calls of our functions")
        empty, cold = seconds(in_new_python(""), in_new_python(COLD.format(path=str(path))), runs=3)
        yield Measure("compute the example, cold", cold - empty, 3, "s")
        few, many = (with_checks(Path(folder) / f"{n}.xlsx", n) for n in (1000, 4000))
        base, taken = seconds(
            lambda: embedded.calculate(few), lambda: embedded.calculate(many), runs=1
        )
        yield Measure("compute 4000 checks", taken / base, 5, "× 1000 checks")
