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
from xlfuncs.hosts.calc.install import MEND, installed_version, left_behind, numpy_for
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, examine, find_offices
from xlfuncs.hosts.excel import install as excel
from xlfuncs.hosts.excel.windows import Computer, ExcelProblem


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


def doctor(
    environ: Mapping[str, str] = os.environ,
    platform: str = sys.platform,
    computer: Computer | None = None,
) -> list[Finding]:
    """Look at every host: Excel, each LibreOffice, and the embedded engine.  Changes nothing."""
    offices = find_offices(environ, platform)
    calc = [_calc(office) for office in offices] or [
        Finding("Calc", (), "LibreOffice was not found", "install LibreOffice (libreoffice.org)")
    ]
    return [_excel(computer or Computer()), *calc, _embedded()]


def _excel(computer: Computer) -> Finding:
    facts = [("xlwings", computer.version("xlwings") or "none")]
    if not computer.is_windows:
        return Finding("Excel", tuple(facts), excel.ELSEWHERE, instead=excel.ANYWHERE)
    try:
        parts = excel.examine(computer)
    except ExcelProblem as problem:
        return Finding("Excel", tuple(facts), str(problem), excel.MEND)
    missing = [part for part in parts if part.missing]
    facts += [
        (part.name, part.found or "; to mend it: ".join(filter(None, (part.missing, part.mend))))
        for part in parts
    ]
    first = missing[0] if missing else excel.Part("", "")
    instead = excel.ANYWHERE if first.missing and not first.mend else ""
    return Finding("Excel", tuple(facts), first.missing, first.mend, instead)


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
    facts += [("left (xlfuncs uninstall calc)", str(folder)) for folder in left_behind(office)]
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
