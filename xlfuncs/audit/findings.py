"""What an audit finds, and about one file."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import Any


class Severity(enum.StrEnum):
    """How much a finding weighs."""

    SEVERE = "severe"  #: a figure is wrong, missing, or rests on nothing
    WARNING = "warning"  #: a figure may be off by more than it says
    NOTE = "note"  #: worth knowing


SEVERE, WARNING, NOTE = Severity.SEVERE, Severity.WARNING, Severity.NOTE


@dataclass(frozen=True)
class Doubt:
    """A reading that a bad check puts in doubt."""

    batch: str
    sheet: str
    cell: str
    date: str
    recorded_sg: float
    corrected_sg: float


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, where, and why; `in_doubt` lists the readings it touches."""

    code: str
    severity: Severity
    sheet: str
    cell: str
    reason: str
    in_doubt: tuple[Doubt, ...] = ()


@dataclass
class FileAudit:
    """The findings about one file, and how much of it there was."""

    file: str
    instruments: int = 0
    checks: int = 0
    readings: int = 0
    findings: list[Finding] = field(default_factory=list)

    def count(self, severity: Severity) -> int:
        """How many findings have this severity."""
        return sum(finding.severity == severity for finding in self.findings)

    def as_data(self) -> dict[str, Any]:
        """Plain data; docs/audit.md describes the keys."""
        return {
            "file": self.file,
            "instruments": self.instruments,
            "checks": self.checks,
            "readings": self.readings,
            "findings": [
                {
                    "code": finding.code,
                    "severity": finding.severity.value,
                    "sheet": finding.sheet,
                    "cell": finding.cell,
                    "reason": finding.reason,
                    "in_doubt": [vars(doubt) for doubt in finding.in_doubt],
                }
                for finding in self.findings
            ],
        }
