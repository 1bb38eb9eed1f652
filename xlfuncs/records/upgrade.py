"""A workbook of an earlier day in the sheets of today, with all that its user put into it."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel

from xlfuncs.files import entered
from xlfuncs.files.problems import Source
from xlfuncs.records import old as olds
from xlfuncs.records import record as records
from xlfuncs.records.old import Entry, Lost, Old
from xlfuncs.records.record import Record
from xlfuncs.workbook import build
from xlfuncs.workbook.kit.place import Layout
from xlfuncs.workbook.words import Choices


@dataclass
class Upgraded:
    """The new workbook, what could not be carried into it as it was, and what to know of it."""

    data: bytes
    lost: list[Lost] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def upgraded(
    source: str | Path | Source,
    *,
    rows: int | None = None,
    checks: int | None = None,
    instruments: int | None = None,
    plain: bool | None = None,
) -> Upgraded:
    """Today's sheets with the entries of a workbook, its formulas not yet computed.

    Tables get as many lines as they had, as are filled, or as are asked for, whichever is more;
    `plain` chooses the kind of formulas, which is that of the old workbook otherwise.  Raises
    `WorkbookProblem` for a file that is no workbook of ours.
    """
    old = olds.read(source)
    record = records.of_today(old)
    choices = _choices(old, record, rows, checks, instruments, plain)
    layout = build.layout(choices)
    typed = dict(_entries(record, layout))
    data = entered.enter(
        build.to_bytes(build.build(choices)),
        {place: _value(entry) for place, entry in typed.items()},
    )
    record.lost += [
        entry.lost("its value stands in place of the formula " + entry.formula)
        for entry in typed.values()
        if entry.formula
    ]
    return Upgraded(data, record.lost, record.notes)


def _choices(
    old: Old,
    record: Record,
    rows: int | None,
    checks: int | None,
    instruments: int | None,
    plain: bool | None,
) -> Choices:
    was = olds.choices_of(old)
    # The log has lines for the batches that fill it: so many more where the batches are more.
    for_batches = _first(lambda lines: Choices(rows=lines).batches >= record.filled("batch"))
    return replace(
        was,
        rows=max(was.rows, rows or 0, record.filled("log"), for_batches),
        checks=max(was.checks, checks or 0, record.filled("check")),
        instruments=max(was.instruments, instruments or 0, record.filled("inst")),
        plain=was.plain if plain is None else plain,
    )


def _first(holds: Callable[[int], bool]) -> int:
    """The least number of lines of the log for which something holds."""
    lines = 1
    while not holds(lines):
        lines += 1
    return lines


# --- entries ------------------------------


def _entries(record: Record, layout: Layout) -> Iterator[tuple[tuple[str, str], Entry]]:
    """Sheet and address of each of today's cells that is typed into, and what goes there."""
    for name, entry in record.cells.items():
        yield (layout.names[name].sheet, layout.names[name].cells), entry
    for lines in record.tables.values():
        for number, line in enumerate(lines):
            for name, entry in line.entries.items():
                area = layout.names[name]
                if number < area.rows:
                    cell = f"{get_column_letter(area.left)}{area.top + number}"
                    yield (area.sheet, cell), entry
                elif not entry.blank:
                    why = f"the table on {area.sheet} has {area.rows} lines"
                    record.lost.append(entry.lost(why))


def _value(entry: Entry) -> entered.Entry:
    """An entry as it is typed."""
    value = entry.value
    if isinstance(value, (datetime.time, datetime.timedelta)):
        return float(to_excel(value))
    return value  # type: ignore[no-any-return]
