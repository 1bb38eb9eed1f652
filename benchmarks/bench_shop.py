"""A shop's evening of thirty recipes; a history of a hundred workbooks, beside their audit."""

import contextlib
import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from benchmarks.bench_audit import copies
from benchmarks.measuring import Measure
from xlfuncs.hosts.calc.offices import OfficeProblem, choose_office

RECIPES, WORKBOOKS = 30, 100


def measures() -> Iterator[Measure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        office = False
        with contextlib.suppress(OfficeProblem):
            office = bool(choose_office())
        listed = folder / "recipes.csv"
        listed.write_text(_recipes())
        out = "sheets.pdf" if office else "sheets.xlsx"
        yield Measure(
            f"{RECIPES} recipes, {out}", _run("sheets", listed, "-o", folder / out), 20, "s"
        )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "logs"
        folder.mkdir()
        copies(folder, WORKBOOKS)
        taken, audit = (
            _run(*command)
            for command in (
                ("history", folder, "--xlsx", Path(name) / "history.xlsx"),
                ("audit", folder, "--json"),
            )
        )
        yield Measure(f"history of {WORKBOOKS} workbooks", taken / audit, 1.2, "audits of them")


def _recipes() -> str:
    out = io.StringIO()
    print("batch,customer,grain,before_boil_gravity,before_boil_volume,into_fermenter_gravity,"
          "into_fermenter_volume,packaged_gravity", file=out)  # fmt: skip
    for number in range(RECIPES):
        print(f"No. {number},Customer {number},5.2,1.044,28,1.0515,22,1.012", file=out)
    return out.getvalue()


def _run(*command: object) -> float:
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "xlfuncs", *map(str, command)],
        stdout=subprocess.DEVNULL,
        check=command[0] != "audit",  # which leaves with 1 when it has found something
    )
    return time.perf_counter() - start
