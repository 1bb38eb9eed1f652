"""Workbooks computed and printed by LibreOffice Calc without a window.

Each call has an office process of its own, in a profile of its own: a copy of one that is kept, in
which the add-in is installed.  So several may run at once, the user's own office is not touched,
and what is killed leaves nothing behind.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from openpyxl.utils import get_column_letter

from xlfuncs.files import problems
from xlfuncs.hosts.calc import addin, session
from xlfuncs.hosts.calc.install import numpy_for
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, choose_office, user_folder

Value = float | str | bool

# Nothing asks, nothing is fetched, and no file is computed twice: the driver has it computed.
_SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>1</value></prop></item>
<item oor:path="/org.openoffice.Office.Common/Misc">
<prop oor:name="FirstRun" oor:op="fuse"><value>false</value></prop></item>
</oor:items>
"""


def compute(path: str | Path, timeout: float = 120) -> dict[tuple[str, str], Value]:
    """The value of every formula cell, by sheet and address, after a full recalculation.

    All cells of an array formula's range are there, errors as their text (`#N/A`).  The file is
    not changed.  Raises `OfficeProblem` with one plain sentence: no office, no numpy, not a
    workbook, not done in time, ended twice.
    """
    answer = _run(Path(path), {"do": "values"}, timeout)
    return {
        (sheet, f"{get_column_letter(column + 1)}{row + 1}"): value
        for sheet, row, column, value in answer["values"]
    }


def print_pdf(path: str | Path, out_pdf: str | Path, timeout: float = 120, sheet: str = "") -> Path:
    """Print a workbook after a full recalculation; the finished file is moved into place.

    With `sheet` that one alone, if it has a print area; case does not matter.
    Raises `OfficeProblem` as `compute` does.
    """
    out = Path(out_pdf)
    if not out.absolute().parent.is_dir():
        raise OfficeProblem(f"the folder of {out} does not exist")
    with tempfile.TemporaryDirectory(prefix=".xlfuncs-", dir=out.absolute().parent) as folder:
        passing = Path(folder) / "printed.pdf"
        _run(Path(path), {"do": "print", "pdf": str(passing), "sheet": sheet}, timeout)
        if not passing.is_file():
            raise OfficeProblem(f"LibreOffice printed nothing of {path}")
        passing.replace(out)
    return out


def recalculation_seconds(path: str | Path, repeats: int = 5, timeout: float = 120) -> list[float]:
    """How long each of several full recalculations of the loaded workbook takes."""
    answer = _run(Path(path), {"do": "time", "repeats": str(repeats)}, timeout)
    return [float(seconds) for seconds in answer["seconds"]]


def _run(path: Path, task: dict[str, str], timeout: float) -> dict[str, Any]:
    """Do the task on a copy of the file; an office that dies gets a second chance, all afresh."""
    if not path.is_file():
        raise OfficeProblem(f"{path} does not exist")
    office = choose_office()
    deadline = time.monotonic() + timeout
    for kept in (True, False):
        with tempfile.TemporaryDirectory(prefix="xlfuncs-") as folder:
            work = Path(folder)
            try:
                copy = _copied(path, work)
                profile = _profile(office, work, kept, deadline)
                return session.run(office, profile, {**task, "file": str(copy)}, deadline)
            except session.OfficeDied:
                continue
            except session.TookTooLong:
                raise OfficeProblem(
                    f"{path.name}: LibreOffice was not done after {timeout:g} s, and was ended"
                ) from None
            except (OSError, OfficeProblem) as problem:
                raise OfficeProblem(f"{path.name}: {problem}") from problem
    raise OfficeProblem(f"{path.name}: LibreOffice ended before it was done, twice")


def _copied(path: Path, work: Path) -> Path:
    """The file under `work`, without macros: the office would take those for our functions."""
    if path.suffix.lower() != ".xlsm":
        return shutil.copyfile(path, work / f"workbook{path.suffix}")
    from xlfuncs.hosts.excel import macros  # it needs xlwings, which computing does not

    copy = work / "workbook.xlsx"
    copy.write_bytes(macros.without_functions(problems.content(path)))
    return copy


def _profile(office: Office, work: Path, kept: bool, deadline: float) -> Path:
    """A profile with the add-in under `work`: a copy of the kept one, or made afresh.

    The kept one is made once for each add-in and office.  Whoever makes it moves it into place
    whole; of two at once the first wins.
    """
    oxt = addin.build(work / "xlfuncs.oxt", numpy_for(office))
    told = hashlib.sha256(oxt.read_bytes())
    told.update(f"{office.soffice} {office.version} {_SETTINGS}".encode())
    keep = user_folder("cache") / "xlfuncs" / f"calc-{told.hexdigest()[:16]}"
    profile = work / "profile"
    if kept and keep.is_dir():
        return Path(shutil.copytree(keep, profile))
    (profile / "user").mkdir(parents=True)
    (profile / "user/registrymodifications.xcu").write_text(_SETTINGS, "utf-8")
    session.run(office, profile, {"do": "install", "oxt": str(oxt)}, deadline)
    if not keep.is_dir():
        keep.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=keep.parent) as passing:
            copy = Path(shutil.copytree(profile, Path(passing) / "profile"))
            if not keep.is_dir():
                copy.rename(keep)
    return profile
