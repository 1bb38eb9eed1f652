"""The audit as text for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from xlfuncs import terminal
from xlfuncs.audit.findings import FileAudit

#: Names of files that were skipped which are printed.
_MOST_NAMES = 20


def show(
    audits: Sequence[FileAudit], totals: Mapping[str, int], skipped: Sequence[Path] = ()
) -> None:
    """Print the findings of each file, a line that counts them, and what was not looked at."""
    for one in audits:
        if one.findings:
            rows: list[tuple[Any, ...]] = []
            for finding in one.findings:
                rows.append((finding.severity, finding.sheet, finding.cell, finding.reason))
                rows += [
                    (
                        "",
                        doubt.sheet,
                        doubt.cell,
                        f"{doubt.date} batch {doubt.batch or '-'}: {doubt.recorded_sg:.4f}, "
                        f"with this check {doubt.corrected_sg:.4f}",
                    )
                    for doubt in finding.in_doubt
                ]
            terminal.table(one.file, ("severity", "sheet", "cell", "what is wrong"), rows)
    counts = ", ".join(f"{count} {severity}" for severity, count in totals.items())
    clean = sum(not one.findings for one in audits)
    readings = sum(one.readings for one in audits)
    terminal.say(
        f"workbooks: {len(audits)}, readings: {readings}; {counts}; {clean} without a finding",
    )
    if skipped:
        names = [path.name for path in skipped[:_MOST_NAMES]]
        names += [f"{len(skipped) - _MOST_NAMES} more"] * (len(skipped) > _MOST_NAMES)
        ending = f"{len(skipped)} in these folders, of other endings: {', '.join(names)}"
        terminal.say(f"not audited: {ending}")
