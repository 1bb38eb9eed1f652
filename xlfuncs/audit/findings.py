"""What an audit finds, about one file and about all of them."""

from __future__ import annotations

import enum
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any


class Severity(enum.StrEnum):
    """How much a finding weighs."""

    SEVERE = "severe"  #: a figure is wrong, missing, or rests on nothing
    WARNING = "warning"  #: a figure may be off by more than it says
    NOTE = "note"  #: worth knowing


SEVERE, WARNING, NOTE = Severity.SEVERE, Severity.WARNING, Severity.NOTE


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading that a bad check puts in doubt."""

    batch: str
    sheet: str
    cell: str
    date: str
    recorded_sg: float
    corrected_sg: float
    file: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, where, and why; `in_doubt` lists the readings it touches."""

    code: str
    severity: Severity
    sheet: str
    cell: str
    reason: str
    in_doubt: tuple[Doubt, ...] = ()
    file: str = ""


@dataclass
class FileAudit:
    """The findings about one file, and how much of it there was."""

    file: str
    sha256: str = ""
    instruments: int = 0
    checks: int = 0
    readings: int = 0
    repeated: int = 0
    findings: list[Finding] = field(default_factory=list)

    def count(self, severity: Severity) -> int:
        """How many findings have this severity."""
        return sum(finding.severity == severity for finding in self.findings)

    def as_data(self) -> dict[str, Any]:
        """Plain data; docs/audit.md describes the keys."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "instruments": self.instruments,
            "checks": self.checks,
            "readings": self.readings,
            "repeated": self.repeated,
            "findings": [
                {
                    "code": finding.code,
                    "severity": finding.severity.value,
                    "sheet": finding.sheet,
                    "cell": finding.cell,
                    "reason": finding.reason,
                    "in_doubt": [asdict(doubt) for doubt in finding.in_doubt],
                }
                for finding in self.findings
            ],
        }


@dataclass(frozen=True, slots=True)
class Inventory:
    """An instrument over all files."""

    name: str
    names: list[str]  # as the files call it
    identity: str
    kind: str
    joined_by: str  # identity, name or both; blank where one line of one file has it
    files: list[str]
    checks: int
    readings: int


@dataclass(frozen=True, slots=True)
class Otherwise:
    """A reading whose own workbook shows another gravity, or verdict, than the year gives."""

    file: str
    sheet: str
    cell: str
    shown_sg: float
    sg: float | str | None
    shown_verdict: str
    verdict: str


@dataclass
class Audit:
    """All of it."""

    version: str
    audited_on: str
    files: list[FileAudit]
    inventory: list[Inventory]
    shown_otherwise: list[Otherwise]
    skipped: list[str] = field(default_factory=list)  # files of other kinds in the folders

    def totals(self) -> dict[str, int]:
        """How many findings have each severity."""
        return {one.value: sum(file.count(one) for file in self.files) for one in Severity}

    def as_data(self) -> dict[str, Any]:
        """Plain data but for what may be long; docs/audit.md describes the keys."""
        return {
            "version": self.version,
            "audited_on": self.audited_on,
            "totals": self.totals(),
        }

    def lists(self) -> dict[str, Iterator[Any]]:
        """The rest of it, one element after the other."""
        return {
            "inventory": map(asdict, self.inventory),
            "shown_otherwise": map(asdict, self.shown_otherwise),
            "files": (one.as_data() for one in self.files),
            "skipped": iter(self.skipped),
        }
