"""A workbook of an earlier day in the sheets of today, with all that its user put into it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel
from openpyxl.workbook import Workbook

from xlfuncs.files import entered, package
from xlfuncs.files.problems import Source
from xlfuncs.records import first_edition
from xlfuncs.records import old as olds
from xlfuncs.records import record as records
from xlfuncs.records.beside import Beside
from xlfuncs.records.carried import Carrier
from xlfuncs.records.moves import CannotFollow, Moves
from xlfuncs.records.old import Entry, Lost, Old, Template
from xlfuncs.records.record import Record
from xlfuncs.workbook import build
from xlfuncs.workbook.kit.place import Area, Layout
from xlfuncs.workbook.words import Choices


@dataclass
class Upgraded:
    """The new workbook, the choices that it is made with, what could not be carried into it as it
    was, and what to know of it."""

    data: bytes
    choices: Choices
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
    if old.layout == olds.FIRST:
        record, made = first_edition.record(old), first_edition.template()
    else:
        record, made = records.of_today(old), olds.template(olds.choices_of(old))
    choices = _choices(old, record, rows, checks, instruments, plain)
    layout = build.layout(choices)
    book = build.build(choices, filled=False, placed=layout)
    moves = _moves(old, made, record, layout, book)
    beside = Beside(old, made, moves, book, record.taken())
    beside.carry()
    record.lost += [
        entry.lost("typed over a cell that computes, which computes again")
        for entry in olds.typed_over(old, made, record.taken())
    ]
    typed = _entries(record, layout)
    values = {
        (sheet, cell): _value(entry)
        for (sheet, cell), entry in typed.items()
        if not entry.blank or book[sheet][cell].value is not None
    }
    for place in _formulas(typed, moves, book, record):
        values.pop(place, None)
    parts = package.unpacked(build.to_bytes(book, entries=values))
    carrier = Carrier(old, made, moves, parts)
    carrier.carry()
    lost = [*record.lost, *beside.lost, *carrier.lost]
    return Upgraded(
        package.packed(parts), choices, lost, [*record.notes, *beside.notes, *carrier.notes]
    )


def _moves(old: Old, made: Template, record: Record, layout: Layout, book: Workbook) -> Moves:
    ours = {title: record.titles.get(now, now) for title, now in made.titles(old).items()}
    taken = {sheet.title.casefold() for sheet in book.worksheets}
    own = {}
    for title in old.book.sheetnames:
        if title in ours or title == olds.SETTINGS:
            continue
        now, number = title, 2
        while now.casefold() in taken:
            now, number = f"{title[:28]} {number}", number + 1
        taken.add(now.casefold())
        own[title] = now
        if now != title:
            record.notes.append(f"your sheet {title} is called {now} now: {title} is one of ours")
    known = {
        name: now
        for name, now in record.names.items()
        if name in old.names and name in made.names and now in layout.names
    }
    lines = {
        line.stood: (_table(layout, record.reordered), number)
        for number, line in enumerate(record.tables.get(record.reordered, []))
        if line.stood
    }
    return Moves(
        [(old.names[name], layout.names[now]) for name, now in known.items()],
        ours,
        own,
        {name.casefold(): now for name, now in known.items()},
        frozenset(name.casefold() for name in made.names if name not in known),
        lines,
        alike=old.layout == olds.TODAY,
    )


def _table(layout: Layout, name: str) -> Area:
    """The lines of a table of today, in their first column."""
    return layout.names[records.typed().tables[name][0]]


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
    for_batches = Choices.rows_for(record.filled("batch"))
    return replace(
        was,
        rows=max(was.rows, rows or 0, record.filled("log"), for_batches),
        checks=max(was.checks, checks or 0, record.filled("check")),
        instruments=max(was.instruments, instruments or 0, record.filled("inst")),
        plain=was.plain if plain is None else plain,
    )


# --- entries ------------------------------


def _entries(record: Record, layout: Layout) -> dict[tuple[str, str], Entry]:
    """Sheet and address of each of today's cells that is typed into, and what goes there."""
    typed = {
        (layout.names[name].sheet, layout.names[name].cells): entry
        for name, entry in record.cells.items()
    }
    for lines in record.tables.values():
        for number, line in enumerate(lines):
            for name, entry in line.entries.items():
                area = layout.names[name]
                if number < area.rows:
                    cell = f"{get_column_letter(area.left)}{area.top + number}"
                    typed[area.sheet, cell] = entry
                elif not entry.blank:
                    why = f"the table on {area.sheet} has {area.rows} lines"
                    record.lost.append(entry.lost(why))
    return typed


def _formulas(
    typed: Mapping[tuple[str, str], Entry], moves: Moves, book: Workbook, record: Record
) -> Iterator[tuple[str, str]]:
    """Put in the formulas that somebody typed as entries, following what they refer to."""
    for (sheet, cell), entry in typed.items():
        if not entry.formula:
            continue
        try:
            book[sheet][cell] = moves.formula(entry.formula, entry.sheet, sheet)
        except CannotFollow as reason:
            why = f"its value stands in place of {entry.formula}: {reason}"
            record.lost.append(entry.lost(why))
            continue
        yield sheet, cell


def _value(entry: Entry) -> entered.Entry:
    """An entry as it is typed."""
    value = entry.value
    if isinstance(value, (datetime.time, datetime.timedelta)):
        return float(to_excel(value))
    return value  # type: ignore[no-any-return]
