"""The audit: two thousand workbooks, one workbook with five thousand checks."""

import re
import resource
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from benchmarks.measuring import Measure
from benchmarks.workbooks import with_checks
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build, words
from xlfuncs.workbook.words import Choices

WORKBOOKS = 2_000
CHECKS = 5_000


def measures() -> Iterator[Measure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        copies(folder, WORKBOOKS)
        taken = _audit(folder)
        yield Measure("audit of a workbook, of 2000", taken / WORKBOOKS, 0.15, "s")
        yield Measure("memory of the audit of 2000 workbooks", _largest(), 280, "MiB")
        with tempfile.TemporaryDirectory() as other:
            taken = _audit(folder, "--xlsx", str(Path(other) / "record.xlsx"))
        yield Measure("the same with the record of all", taken / WORKBOOKS, 0.3, "s")
        yield Measure("memory of the record of 2000 workbooks", _largest(), 320, "MiB")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with_checks(folder / "long.xlsx", CHECKS)
        yield Measure("audit of a workbook with 5000 checks", _audit(folder), 20, "s")


def _largest() -> float:
    """What the largest program so far took, MiB."""
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def _audit(folder: Path, *more: str) -> float:
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "xlfuncs", "audit", str(folder), "--json", *more],
        stdout=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode in (0, 1)
    return time.perf_counter() - start


def copies(folder: Path, workbooks: int) -> None:
    """Copies of the example in which the readings of the log differ."""
    original = folder / "0000.xlsx"
    original.write_bytes(build.to_bytes(build.build(Choices(example=True))))
    embedded.calculate_file(original, original)
    with zipfile.ZipFile(original) as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    titles = re.findall(r'<sheet [^>]*?name="([^"]*)"', parts["xl/workbook.xml"].decode())
    log = f"xl/worksheets/sheet{titles.index(words.LOG) + 1}.xml"
    text = parts[log].decode()
    random = np.random.default_rng(2000)

    def other(found: re.Match[str]) -> str:
        return f"{found[1]}{float(found[2]) * random.uniform(0.99, 1.01):.4f}{found[3]}"

    for number in range(1, workbooks):
        parts[log] = re.sub(
            r'(<c r="E\d+"[^>]*><v>)(\d+\.?\d*)(</v>)', other, text
        ).encode()  # column E holds the readings
        with zipfile.ZipFile(folder / f"{number:04}.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
            for part, content in parts.items():
                archive.writestr(part, content, compresslevel=1)
