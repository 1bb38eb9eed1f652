"""What commands take as people type them, against loading what every one of them needs."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from benchmarks.measuring import Measure, processor_seconds
from benchmarks.workbooks import with_lines

LINES = 1_000


def measures() -> Iterator[Measure]:
    with tempfile.TemporaryDirectory() as folder:
        example = Path(folder) / "example.xlsx"
        long = with_lines(Path(folder) / "long.xlsx", LINES)
        bounds = {
            ("version",): 1.5,
            ("new", example, "--example", "--force"): 14,
            ("report", example): 10,
            ("calculate", example): 10,
            ("calculate", long): 28,
        }
        baseline, *taken = processor_seconds(
            [sys.executable, "-c", "import numpy, openpyxl"],
            *([sys.executable, "-m", "xlfuncs", *words] for words in bounds),
        )
        for (words, bound), seconds in zip(bounds.items(), taken, strict=True):
            said = " ".join(
                f"{LINES} lines"
                if word == long
                else "the example"
                if word == example
                else str(word)
                for word in words
            )
            yield Measure(f"xlfuncs {said}", seconds / baseline, bound, "× import numpy, openpyxl")
