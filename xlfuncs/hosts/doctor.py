"""What each host needs on this computer, what is there, and the one command that mends it."""

from __future__ import annotations

import importlib.metadata
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import xlfuncs
from xlfuncs import __version__
from xlfuncs.hosts.calc.install import MEND, installed_version, numpy_for
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, examine, find_offices

_WITHOUT_EXCEL = (
    "xlfuncs calculate FILE stores the values in the workbook, which any Excel then shows; "
    "LibreOffice Calc (below) computes as you type"
)


@dataclass(frozen=True)
class Finding:
    """One host: whether cells can be computed there, what was found, what is missing.

    `facts` are pairs of what and which (a version, a path).  `missing` and `mend` are empty when
    nothing is; `mend` is one command or one thing to do, and where nothing mends it, `instead` says
    which way is open.
    """

    host: str
    facts: tuple[tuple[str, str], ...]
    missing: str = ""
    mend: str = ""
    instead: str = ""

    @property
    def ready(self) -> bool:
        """Whether the host computes cells as it is."""
        return not self.missing


def doctor(environ: Mapping[str, str] = os.environ, platform: str = sys.platform) -> list[Finding]:
    """Look at every host: Excel, each LibreOffice, and the embedded engine.  Changes nothing."""
    offices = find_offices(environ, platform)
    calc = [_calc(office) for office in offices] or [
        Finding("Calc", (), "LibreOffice was not found", "install LibreOffice (libreoffice.org)")
    ]
    return [_excel(environ, platform), *calc, _embedded()]


def _excel(environ: Mapping[str, str], platform: str) -> Finding:
    xlwings = _version("xlwings")
    facts = (("xlwings", xlwings or "none"), ("platform", platform))
    if platform != "win32":
        missing = "Excel calls Python functions on Windows only, and this is not Windows"
        return Finding("Excel", facts, missing, instead=_WITHOUT_EXCEL)
    excel = Path(environ.get("APPDATA", "")) / "Microsoft/Excel"
    if not excel.is_dir():
        missing = "Excel was not found (or was never started by this user)"
        return Finding("Excel", facts, missing, instead=_WITHOUT_EXCEL)
    if not xlwings:
        return Finding("Excel", facts, "xlwings is not installed", _again())
    start = excel / "XLSTART/xlwings.xlam"
    if not start.is_file():
        missing = "the xlwings add-in is not in Excel"
        return Finding("Excel", facts, missing, "xlwings addin install")
    return Finding("Excel", (*facts, ("add-in", str(start))))


def _calc(office: Office) -> Finding:
    facts = [("office", str(office.soffice)), ("version", office.version or "unknown")]
    if office.python is None:
        return Finding(
            "Calc", tuple(facts), "it has no Python for add-ins", "apt install python3-uno"
        )
    try:
        python = examine(office)
        facts.append(("its Python", f"{python.version} ({office.python})"))
        place = numpy_for(office)
        facts.append(("numpy", str(place) if place else python.numpy))
    except OfficeProblem as problem:
        mend = MEND if MEND in str(problem) else "apt install python3-uno"
        return Finding("Calc", tuple(facts), str(problem), mend)
    installed = installed_version(office)
    facts.append(("add-in", installed or "none"))
    if not installed:
        return Finding("Calc", tuple(facts), "the add-in is not installed", MEND)
    if installed != __version__:
        return Finding("Calc", tuple(facts), f"the add-in is not of version {__version__}", MEND)
    return Finding("Calc", tuple(facts))


def _embedded() -> Finding:
    formulas = _version("formulas")
    facts = (("formulas", formulas or "none"),)
    if not formulas:
        return Finding("Embedded", facts, "formulas is not installed", _again())
    return Finding("Embedded", facts)


def _again() -> str:
    """What installs this package with all that it needs: from where it lies, never by its name."""
    folder = Path(xlfuncs.__file__).parents[1]
    if (folder / "pyproject.toml").is_file():
        return f'"{sys.executable}" -m pip install -e "{folder}"'
    return "install xlfuncs again, from its folder or its wheel"


def _version(distribution: str) -> str:
    try:
        return importlib.metadata.version(distribution)
    except importlib.metadata.PackageNotFoundError:
        return ""
