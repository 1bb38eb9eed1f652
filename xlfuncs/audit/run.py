"""Audit one file or many; a broken file is one finding, and the rest go on."""

from __future__ import annotations

import datetime
import glob
from collections.abc import Iterable
from pathlib import Path

from xlfuncs.audit import record, rules
from xlfuncs.audit.findings import SEVERE, FileAudit, Finding, Severity
from xlfuncs.cells.values import date_serial
from xlfuncs.files.problems import ENDINGS, WorkbookProblem

_ORDER = {severity: place for place, severity in enumerate(Severity)}


def files(arguments: Iterable[str]) -> list[Path]:
    """The workbooks that arguments name: files, folders (all below them), patterns.

    Each is named once, in the order of the arguments and of their names.  What does not exist is
    kept, so that it becomes a finding.  Lock files of an open program are left out.
    """
    found: dict[Path, None] = {}
    for argument in arguments:
        path = Path(argument)
        if path.is_dir():
            some = sorted(one for one in path.rglob("*.*") if one.suffix.lower() in ENDINGS)
        elif not path.exists() and glob.has_magic(argument):
            some = sorted(map(Path, glob.glob(argument, recursive=True)))  # noqa: PTH207
        else:
            some = [path]
        found |= dict.fromkeys(one for one in some if not one.name.startswith(("~$", ".~")))
    return list(found)


def skipped(arguments: Iterable[str]) -> list[Path]:
    """The other files in the folders that arguments name, but hidden ones and lock files."""
    found = {
        one: None
        for argument in arguments
        if Path(argument).is_dir()
        for one in sorted(Path(argument).rglob("*"))
        if one.is_file()
        and one.suffix.lower() not in ENDINGS
        and not one.name.startswith((".", "~$"))
    }
    return list(found)


def audit(path: Path, today: datetime.date) -> FileAudit:
    """The findings about one file, severe ones first.

    >>> audit(Path("nowhere.xlsx"), datetime.date(2026, 3, 14)).findings[0].code
    'file'
    """
    result = FileAudit(str(path))
    try:
        seen = rules.Seen(record.read(path), date_serial(today))
        found = [finding for rule in rules.RULES for finding in rule(seen)]
    except WorkbookProblem as problem:
        result.findings.append(Finding("file", SEVERE, "", "", str(problem)))
        return result
    except Exception as error:  # a fault of ours in one file must not hide what is in the others
        reason = (
            f"the audit of this file broke off ({type(error).__name__}: {error}): a fault of "
            "xlfuncs, not of yours; please report it"
        )
        result.findings.append(Finding("file", SEVERE, "", "", reason))
        return result
    result.instruments = len(seen.record.instruments)
    result.checks = sum(len(instrument.checks) for instrument in seen.record.instruments)
    result.readings = len(seen.record.readings)
    result.findings = sorted(found, key=lambda finding: _ORDER[finding.severity])
    return result
