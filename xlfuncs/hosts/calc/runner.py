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

from xlfuncs.files import pdf, problems, stored
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import replacing
from xlfuncs.hosts.calc import addin, session
from xlfuncs.hosts.calc.install import numpy_for
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, choose_office, user_folder

Value = float | str | bool

# Nothing asks, nothing is fetched, nothing in a file is run, and no file is computed twice: the
# driver has it computed.  Links are blocked where the office asks whether a document may follow
# them; whatever does not ask meets a proxy that is not there.
_SETTINGS: dict[str, dict[str, bool | int | str]] = {
    "/org.openoffice.Office.Calc/Formula/Load": {"OOXMLRecalcMode": 1},
    "/org.openoffice.Office.Calc/Content/Update": {"Link": 2},
    "/org.openoffice.Office.Common/Misc": {"FirstRun": False},
    # One that is newer than last time tries its drawing, in pictures of 64 MiB.
    "/org.openoffice.Setup/Product": {"ooSetupLastVersion": "999.0"},
    "/org.openoffice.Office.Common/Security/Scripting": {
        "BlockUntrustedRefererLinks": True,
        "DisableMacrosExecution": True,
        "MacroSecurityLevel": 3,
    },
    "/org.openoffice.Inet/Settings": {
        "ooInetProxyType": 1,
        "ooInetNoProxy": "",
        "ooInetHTTPProxyName": "127.0.0.1",
        "ooInetHTTPProxyPort": 9,
        "ooInetHTTPSProxyName": "127.0.0.1",
        "ooInetHTTPSProxyPort": 9,
        "ooInetFTPProxyName": "127.0.0.1",
        "ooInetFTPProxyPort": 9,
    },
}


def _settings() -> str:
    """The settings as the office's profile keeps them."""
    items = "".join(
        f'<item oor:path="{path}"><prop oor:name="{name}" oor:op="fuse">'
        f"<value>{str(value).lower()}</value></prop></item>"
        for path, properties in _SETTINGS.items()
        for name, value in properties.items()
    )
    namespace = "http://openoffice.org/2001/registry"
    return f'<oor:items xmlns:oor="{namespace}">{items}</oor:items>'


def compute(source: str | Path | Source, timeout: float = 120) -> dict[tuple[str, str], Value]:
    """The value of every formula cell, by sheet and address, after a full recalculation.

    All cells of an array formula's range are there, errors as their text (`#N/A`).  The file is
    not changed.  Raises `OfficeProblem` with one plain sentence: no office, no numpy, not done in
    time, ended twice; `WorkbookProblem` for no workbook, and for one that computes only in part.
    """
    found = problems.read(source)
    # A TRUE that somebody typed is a formula to Calc, and none to the file.
    filled = stored.computed_cells(found)
    answer = _run(found, {"do": "values"}, timeout)
    values = {
        (sheet, f"{get_column_letter(column + 1)}{row + 1}"): value
        for sheet, row, column, value in answer["values"]
    }
    return {place: values[place] for place in values.keys() & filled}


def print_pdf(
    source: str | Path | Source, out_pdf: str | Path, timeout: float = 120, sheet: str = ""
) -> Path:
    """Print a workbook after a full recalculation; the finished file is moved into place.

    The same pages give the same bytes.
    With `sheet` that one alone, if it has a print area; case does not matter.
    Raises `OfficeProblem` as `compute` does, also for no workbook, and `WorkbookProblem` where the
    PDF cannot be written.
    """
    out, found = Path(out_pdf), problems.read(source)
    with replacing(out) as file, tempfile.TemporaryDirectory(prefix="xlfuncs-") as folder:
        passing = Path(folder) / "printed.pdf"
        _run(found, {"do": "print", "pdf": str(passing), "sheet": sheet}, timeout)
        if not passing.is_file():
            raise OfficeProblem(f"LibreOffice printed nothing of {found.path}")
        file.write(pdf.settled(passing.read_bytes()))
    return out


def as_xlsx(path: Path, data: bytes, timeout: float = 120) -> bytes:
    """What the office makes of another kind of workbook, such as .ods, as .xlsx.

    Raises `WorkbookProblem` with one plain sentence where that needs an office that is not there.
    """
    try:
        with tempfile.TemporaryDirectory(prefix="xlfuncs-") as folder:
            passing = Path(folder) / "converted.xlsx"
            source = Source(path, data)
            _run(source, {"do": "convert", "xlsx": str(passing)}, timeout, path.suffix.lower())
            return passing.read_bytes()
    except (OfficeProblem, OSError) as problem:
        raise WorkbookProblem(
            f"{path.name} is read by way of LibreOffice: {problem}; or save it as .xlsx"
        ) from problem


def recalculation_seconds(
    source: str | Path | Source, repeats: int = 5, timeout: float = 120
) -> list[float]:
    """How long each of several full recalculations of the loaded workbook takes."""
    answer = _run(problems.read(source), {"do": "time", "repeats": str(repeats)}, timeout)
    return [float(seconds) for seconds in answer["seconds"]]


def _run(source: Source, task: dict[str, str], timeout: float, ending: str = "") -> dict[str, Any]:
    """Do the task on a copy of the file; an office that dies gets a second chance, all afresh."""
    office = choose_office()
    deadline = time.monotonic() + timeout
    for kept in (True, False):
        with tempfile.TemporaryDirectory(prefix="xlfuncs-") as folder:
            work = Path(folder)
            try:
                copy = _copied(source, work, ending or source.ending())
                profile = _profile(office, work, kept, deadline)
                return session.run(office, profile, {**task, "file": str(copy)}, deadline)
            except session.OfficeDied:
                continue
            except session.TookTooLong:
                raise OfficeProblem(
                    f"{source.name}: LibreOffice was not done after {timeout:g} s, and was ended"
                ) from None
            except (OSError, OfficeProblem) as problem:
                raise OfficeProblem(f"{source.name}: {problem}") from problem
    raise OfficeProblem(f"{source.name}: LibreOffice ended before it was done, twice")


def _copied(source: Source, work: Path, ending: str) -> Path:
    """The file under `work`, without macros: the office would take those for our functions."""
    if ending.endswith("m"):
        from xlfuncs.hosts.excel import macros  # it needs xlwings, which computing does not

        source = Source(source.path, macros.without_functions(source.data))
    # A footer shows the name of the file.
    (work / "copy").mkdir()
    copy = work / "copy" / f"{source.path.stem}{ending}"
    copy.write_bytes(source.data)
    return copy


def _profile(office: Office, work: Path, kept: bool, deadline: float) -> Path:
    """A profile with the add-in under `work`: a copy of the kept one, or made afresh.

    The kept one is made once for each add-in and office.  Whoever makes it moves it into place
    whole; of two at once the first wins.
    """
    oxt = addin.build(work / "xlfuncs.oxt", numpy_for(office))
    told = hashlib.sha256(oxt.read_bytes())
    told.update(f"{office.soffice} {office.version} {_settings()}".encode())
    keep = user_folder("cache") / "xlfuncs" / f"calc-{told.hexdigest()[:16]}"
    profile = work / "profile"
    if kept and keep.is_dir():
        return Path(shutil.copytree(keep, profile))
    (profile / "user").mkdir(parents=True)
    (profile / "user/registrymodifications.xcu").write_text(_settings(), "utf-8")
    session.run(office, profile, {"do": "install", "oxt": str(oxt)}, deadline)
    if not keep.is_dir():
        keep.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=keep.parent) as passing:
            # An office that dies once it has answered leaves its lock behind.
            ours = shutil.ignore_patterns(".lock")
            copy = Path(shutil.copytree(profile, Path(passing) / "profile", ignore=ours))
            if not keep.is_dir():
                copy.rename(keep)
    return profile
