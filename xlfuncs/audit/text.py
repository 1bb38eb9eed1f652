"""The audit as text for a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from xlfuncs import terminal
from xlfuncs.audit.findings import Audit

#: Of long lists so much is shown; --json and the record have all of it.
_SHOWN = 12

#: Names of files that were skipped which are printed.
_MOST_NAMES = 20

#: Names of files that were skipped which are printed.
_MOST_NAMES = 20


def show(audit: Audit) -> None:
    """Print the findings of each file, the instruments over all files, and what was left out."""
    for one in audit.files:
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
                        f"with this check {doubt.corrected_sg:.4f}"
                        + (f", in {doubt.file}" if doubt.file != one.file else ""),
                    )
                    for doubt in finding.in_doubt
                ]
            terminal.table(one.file, ("severity", "sheet", "cell", "what is wrong"), rows)
    if len(audit.files) > 1:
        _show_joined(audit)
    counts = ", ".join(f"{count} {severity}" for severity, count in audit.totals().items())
    clean = sum(not one.findings for one in audit.files)
    readings = sum(one.readings for one in audit.files)
    terminal.say(
        f"workbooks: {len(audit.files)}, readings: {readings}; {counts}; {clean} without a finding",
    )
    if audit.skipped:
        names = [Path(name).name for name in audit.skipped[:_MOST_NAMES]]
        names += [f"{len(audit.skipped) - _MOST_NAMES} more"] * (len(audit.skipped) > _MOST_NAMES)
        ending = f"{len(audit.skipped)} in these folders, of other endings: {', '.join(names)}"
        terminal.say(f"not audited: {ending}")


def _show_joined(audit: Audit) -> None:
    words = {"identity": "its mark", "name": "its name", "identity and name": "its mark, or name"}
    terminal.table(
        "Instruments over all files",
        ("instrument", "mark", "joined by", "files", "checks", "readings"),
        [
            (", ".join(one.names), one.identity, words.get(one.joined_by, ""), len(one.files),
             one.checks, one.readings)
            for one in audit.inventory
        ],
    )  # fmt: skip
    some = audit.shown_otherwise
    if some:
        terminal.table(
            f"Shown without a check of another file: {len(some)} readings whose own workbook has "
            "another figure (take the checks in force along into the next workbook)",
            ("file", "sheet", "cell", "shown", "with it"),
            [(one.file, one.sheet, one.cell, f"{one.shown_sg:.4f} {one.shown_verdict}",
              f"{one.sg:.4f} {one.verdict}" if isinstance(one.sg, float) else one.sg)
             for one in some[:_SHOWN]],
        )  # fmt: skip
        if some[_SHOWN:]:
            terminal.say(f"… and {len(some) - _SHOWN} more (--json, --xlsx)\n")
