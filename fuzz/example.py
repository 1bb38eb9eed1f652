"""The worked example with no more lines than it fills: what is attacked hundreds of times."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from xlfuncs.files import stored
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices


@functools.cache
def small() -> bytes:
    """The file, with its values beside its formulas."""
    choices = Choices(rows=75, instruments=5, checks=15, example=True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.xlsx"
        path.write_bytes(build.to_bytes(build.build(choices)))
        calculation = embedded.calculate(path)
        assert calculation.failures == []
        stored.store(path, calculation.values, path)
        return path.read_bytes()
