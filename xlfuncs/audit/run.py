"""Audit one file, or many as one record; a broken file is one finding, and the rest go on."""

from __future__ import annotations

import contextlib
import datetime
import glob
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from xlfuncs import __version__
from xlfuncs.audit import record, rules, year
from xlfuncs.audit.findings import (
    NOTE,
    SEVERE,
    Audit,
    FileAudit,
    Finding,
    Inventory,
    Otherwise,
    Severity,
)
from xlfuncs.audit.record import Record
from xlfuncs.audit.setup import Piece
from xlfuncs.audit.year import Year
from xlfuncs.cells.values import date_serial
from xlfuncs.files import problems
from xlfuncs.files.problems import ENDINGS, OPEN_DOCUMENT, Source, WorkbookProblem

_READ = (*ENDINGS, OPEN_DOCUMENT)
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
            some = sorted(one for one in path.rglob("*.*") if one.suffix.lower() in _READ)
        elif not path.exists() and glob.has_magic(argument):
            some = sorted(map(Path, glob.glob(argument, recursive=True)))  # noqa: PTH207
        else:
            some = [path]
        found |= dict.fromkeys(one for one in some if not one.name.startswith(("~$", ".~")))
    return list(found)


def skipped(arguments: Iterable[str]) -> list[str]:
    """The other files in the folders that arguments name, but hidden ones and lock files."""
    found = {
        str(one): None
        for argument in arguments
        if Path(argument).is_dir()
        for one in sorted(Path(argument).rglob("*"))
        if one.is_file()
        and one.suffix.lower() not in _READ
        and not one.name.startswith((".", "~$"))
    }
    return list(found)


@dataclass
class Audited:
    """What was found, and the record that it was found in."""

    audit: Audit
    year: Year

    @property
    def files(self) -> list[FileAudit]:
        """The findings, file by file."""
        return self.audit.files


def audit(path: Path, today: datetime.date) -> FileAudit:
    """The findings about one file, severe ones first.

    >>> audit(Path("nowhere.xlsx"), datetime.date(2026, 3, 14)).findings[0].code
    'file'
    """
    return audit_all([path], today).files[0]


def audit_all(paths: Iterable[Path], today: datetime.date) -> Audited:
    """The findings about some files as one record; what is broken is a finding, the rest goes on.

    Of each file no more is kept than its record, so that thousands can be audited.
    """
    results: dict[str, FileAudit] = {}
    records: list[Record] = []
    known: dict[str, str] = {}  # files by checksum
    for path in paths:
        result = results[str(path)] = FileAudit(str(path))
        with _told(results, [result.file]):
            found = _read(path, result)
            if result.sha256 in known:
                other = f"the same file as {known[result.sha256]}, byte by byte: it counts there"
                result.findings.append(Finding("same-file", NOTE, "", "", other, (), result.file))
                continue
            book = record.typed(found)
            records.append(record.understood(book))
            known[result.sha256] = result.file
            seen = rules.Typed(book, records[-1])
            result.findings += [one for rule in rules.ENTRY_RULES for one in rule(seen)]
    whole = _examined(records, results, date_serial(today))
    for result in results.values():
        _still_the_same(result)
        result.findings.sort(key=lambda finding: _ORDER[finding.severity])
    return Audited(
        Audit(
            __version__,
            today.isoformat(),
            list(results.values()),
            [_inventory(piece) for piece in whole.pieces],
            list(_shown_otherwise(whole)),
        ),
        whole,
    )


def _examined(records: list[Record], results: Mapping[str, FileAudit], today: float) -> Year:
    """The joined record, after all rules have looked at it."""
    whole = Year(records)
    with _told(results, results):
        whole = year.join(records)

    def look(some: Iterable[Callable[[Any], Iterable[Finding]]], at: Any, *files: str) -> None:
        with _told(results, files):
            found = [finding for rule in some for finding in rule(at)]
            for finding in found:
                results[finding.file].findings.append(finding)

    for one in whole.records:
        result = results[one.file]
        result.instruments, result.checks = len(one.instruments), len(one.checks)
        result.readings, result.repeated = len(one.readings), len(one.repeated)
        look(rules.RULES, rules.Seen(one, today), one.file)
    for piece in whole.pieces:
        look(rules.INSTRUMENT_RULES, piece, *dict.fromkeys(line.cell.file for line in piece.lines))
    for brew in whole.brews:
        look(rules.BATCH_RULES, brew, *dict.fromkeys(r.record.file for r in brew.readings))
    look(rules.YEAR_RULES, whole, *results)
    return whole


def _read(path: Path, result: FileAudit) -> Source:
    """A workbook file; its checksum is that of the bytes which were read."""
    try:
        found = problems.read(path)
    except WorkbookProblem:
        result.sha256 = _checksum(path)
        raise
    result.sha256 = hashlib.sha256(found.held).hexdigest()
    return found


def _checksum(path: Path) -> str:
    """Of a file as it is now; blank where it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except (OSError, ValueError):  # a name may hold what no file name can
        return ""


def _still_the_same(result: FileAudit) -> None:
    if _checksum(Path(result.file)) != result.sha256:
        reason = (
            "the file was changed or taken away while the audit ran, which read "
            + (f"what has the checksum {result.sha256[:12]}…" if result.sha256 else "nothing")
            + ": close it elsewhere and audit again"
        )
        result.findings.append(Finding("file-changed", SEVERE, "", "", reason, (), result.file))


@contextlib.contextmanager
def _told(results: Mapping[str, FileAudit], files: Iterable[str]) -> Iterator[None]:
    """Whatever goes wrong is a finding of these files, and hides nothing in the others."""
    try:
        yield
        return
    except WorkbookProblem as problem:
        reason = str(problem)
    except Exception as error:
        reason = (
            f"the audit of this file broke off ({type(error).__name__}: {error}): a fault of "
            "xlfuncs, not of yours; please report it"
        )
    for file in files:
        results[file].findings.append(Finding("file", SEVERE, "", "", reason, (), file))


def _inventory(piece: Piece) -> Inventory:
    by = ["identity"] if any(line.mark for line in piece.lines) else []
    by += ["name"] if not all(line.mark for line in piece.lines) else []
    last = piece.lines[-1]
    return Inventory(
        last.name,
        list(dict.fromkeys(line.name for line in piece.lines)),
        piece.identity,
        last.kind,
        " and ".join(by) if len(piece.lines) > 1 else "",
        list(dict.fromkeys(line.cell.file for line in piece.lines)),
        len(piece.checks),
        len(piece.readings),
    )


def _shown_otherwise(whole: Year) -> Iterator[Otherwise]:
    """Where a workbook by itself is right, and the year knows more."""
    for reading in (reading for one in whole.records for reading in one.readings):
        shown, alone = reading.row.value("sg"), reading.alone
        if alone is None or not isinstance(shown, float) or not isinstance(alone.sg, float):
            continue
        if abs(shown - alone.sg) > rules.SAME_SG:  # which is a finding
            continue
        told = str(reading.row.value("verdict") or "")
        moved = not isinstance(reading.sg, float) or abs(reading.sg - shown) > rules.SAME_SG
        if moved or (told == alone.verdict and told != reading.verdict):
            cell = reading.cell
            yield Otherwise(
                cell.file, cell.sheet, cell.address, shown, reading.sg, told, reading.verdict
            )
