"""What is typed in a workbook, under the names of today's sheets."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field

from xlfuncs.records.old import Entry, Lost, Old
from xlfuncs.workbook import build
from xlfuncs.workbook.kit.blocks import Lines, Role, Table
from xlfuncs.workbook.words import Choices


@dataclass
class Line:
    """One line of a table: what is typed in it by name, and where it stood."""

    entries: dict[str, Entry]
    stood: tuple[str, int] | None = None  # sheet and row

    @property
    def blank(self) -> bool:
        """Whether nothing was typed."""
        return all(entry.blank for entry in self.entries.values())


@dataclass
class Record:
    """All that is typed: single cells by name, lines by table; and what has no place today."""

    cells: dict[str, Entry] = field(default_factory=dict)
    tables: dict[str, list[Line]] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)  # old names, and those of today
    titles: dict[str, str] = field(default_factory=dict)  # old sheets that are called otherwise now
    reordered: str = ""  # the table whose lines come from several, in another order
    lost: list[Lost] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def filled(self, table: str) -> int:
        """The number of lines of a table up to the last that is not blank."""
        lines = self.tables.get(table, [])
        return next((i for i in range(len(lines), 0, -1) if not lines[i - 1].blank), 0)


@dataclass(frozen=True)
class Typed:
    """What a person types into today's sheets: single cells, and columns by table."""

    cells: tuple[str, ...]
    tables: Mapping[str, tuple[str, ...]]
    guarded: frozenset[str]  # tables that can be lengthened


@functools.cache
def typed() -> Typed:
    """The names of today's cells that are typed into, as the sheets declare them."""
    cells: list[str] = []
    tables: dict[str, tuple[str, ...]] = {}
    guarded = set()
    for page in build.layout(Choices(rows=1)).pages:
        for block in page.sheet.blocks:
            if isinstance(block, Lines):
                cells += [line.name for line in block.lines if not line.formula]
            elif isinstance(block, Table):
                columns = tuple(c.name for c in block.columns if c.role is Role.TYPED)
                if columns:
                    tables[block.name] = columns
                    guarded |= {block.name} if block.guarded else set()
    return Typed(tuple(cells), tables, frozenset(guarded))


def of_today(old: Old) -> Record:
    """The record of a workbook of today's layout."""
    record = Record(names={name: name for name in old.names})
    columns = [name for names in typed().tables.values() for name in names]
    record.lost += [
        Lost(old.source.name, name, "", "its cells had been deleted before")
        for name in (*typed().cells, *columns)
        if name in old.book.defined_names and name not in old.names
    ]
    for name in typed().cells:
        entry = old.single(name)
        if entry is not None:
            record.cells[name] = entry
    for table, names in typed().tables.items():
        lines = old.lines(names, below=table in typed().guarded)
        record.tables[table] = [Line(line, _stood(line)) for line in lines]
    return record


def _stood(line: Mapping[str, Entry]) -> tuple[str, int]:
    first = next(iter(line.values()))
    return first.sheet, first.row
