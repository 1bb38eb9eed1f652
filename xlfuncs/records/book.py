"""The workbook that lines go into: its units, its limits, and what stands in a table already."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from typing import Any

from xlfuncs.audit import entries, setup
from xlfuncs.audit.entries import Entries
from xlfuncs.audit.setup import Instrument, Settings
from xlfuncs.audit.typed import name as typed_name
from xlfuncs.audit.typed import plain
from xlfuncs.cells.values import is_blank
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.records import tables
from xlfuncs.records.headings import unit_of
from xlfuncs.records.tables import Table
from xlfuncs.workbook import words
from xlfuncs.workbook.kit.blocks import Column, Limits
from xlfuncs.workbook.kit.blocks import Table as SheetTable
from xlfuncs.workbook.sheets import batches, calibration, log
from xlfuncs.workbook.sheets import setup as setup_sheet
from xlfuncs.workbook.words import Choices

_UNITS = ("set_volume", "set_temperature", "set_mass", "set_gravity")
_TOOLS = tuple(f"inst_{key}" for key in setup.INSTRUMENT)
_CHOICE = re.compile(r'IF\((\w+)="(\w+)",([\d.]+),([\d.]+)\)')


#: A line of a table by the workbook's columns; blanks are None.
Entered = dict[str, Any]


class House:
    """Units, instruments and batches by which lines of a file are understood."""

    def __init__(
        self,
        units: Mapping[str, str],
        tools: Sequence[Instrument] = (),
        batches: Mapping[str, str] | None = None,
    ) -> None:
        self.units, self.tools, self.batches = units, tools, batches or {}

    def tool(self, name: str) -> Instrument | None:
        """The instrument of that name; the first where there is none to name."""
        wanted = plain(name)
        if not wanted:
            return self.tools[0] if self.tools else None
        return next((tool for tool in self.tools if plain(tool.name) == wanted), None)

    def bounds(self, target: str) -> tuple[float, float] | None:
        """What the sheet takes in a column of numbers."""
        limits = _limits()[target]
        if limits is None or limits.kind != "decimal":
            return None
        return _bound(limits.low, self.units), _bound(limits.high, self.units)


class Book(House):
    """What a workbook holds that lines of one table need to know."""

    def __init__(self, source: Source, table: Table) -> None:
        self.source, self.table = source, table
        names = {*table.typed, *_UNITS, *_TOOLS, "batch_name"}
        self._entries = entries.read(source, names, names)
        settings = setup.settings(self._entries)
        super().__init__(
            _units(self._entries, settings, source),
            setup.instruments(self._entries, settings),
            {
                plain(cell.value): typed_name(cell.value)
                for cell in self._entries.column("batch_name")
                if not is_blank(cell.value)
            },
        )
        self._columns = columns = {name: self._entries.column(name) for name in table.typed}
        self.length = len(next(iter(columns.values())))
        self.lines: list[Entered] = [
            {name: None if is_blank(cells[line].value) else cells[line].value
             for name, cells in columns.items()}
            for line in range(self.length)
        ]  # fmt: skip
        filled = (line for line in range(self.length)
                  if any(cells[line].value is not None or cells[line].formula
                         for cells in columns.values()))  # fmt: skip
        #: The line after the last one that holds anything, from 0.
        self.free = max(filled, default=-1) + 1

    def place(self, name: str, line: int) -> tuple[str, str]:
        """Sheet and address of a cell of the table, lines counted from 0."""
        cell = self._columns[name][line]
        return cell.sheet, cell.address


def _bound(formula: str, units: Mapping[str, str]) -> float:
    """A limit: a number, or two between which a unit of Setup chooses."""
    choice = _CHOICE.fullmatch(formula)
    if choice is None:
        return float(formula)
    kind = choice[1].removeprefix("unit_")
    return float(choice[3] if units[kind] == choice[2] else choice[4])


@functools.cache
def _limits() -> Mapping[str, Limits | None]:
    """The limits of each typed column, as its sheet declares them."""
    sheets = [module.sheet(Choices()) for module in (setup_sheet, calibration, batches, log)]
    columns: Sequence[Column] = [
        column
        for sheet in sheets
        for block in sheet.blocks
        if isinstance(block, SheetTable)
        for column in block.columns
    ]
    return {column.name: column.limits for column in columns}


def _units(book: Entries, settings: Settings, source: Source) -> Mapping[str, str]:
    """The units of Setup by kind of quantity."""
    volume = unit_of(tables.VOLUME, str(book.cell("set_volume") or words.VOLUME_UNITS[0]))
    if not volume:
        raise WorkbookProblem(
            f"{source.name}: volumes are in “{book.cell('set_volume')}” on Setup, which is no unit"
        )
    return {
        tables.VOLUME: volume,
        tables.TEMPERATURE: settings.temperature,
        tables.MASS: settings.mass,
        tables.GRAVITY: settings.gravity,
    }
