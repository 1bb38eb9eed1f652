"""What an import would do, decided before anything is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.records import tables
from xlfuncs.records.book import Book, Entered
from xlfuncs.records.headings import Matched
from xlfuncs.records.tables import Table
from xlfuncs.workbook.words import Choices

#: The longest that a table can be made.
MOST = {"instruments": 500, "checks": 5000, "batches": 625, "log": 5000}


@dataclass(frozen=True)
class Options:
    """What the person says about the file where it says nothing itself, or says it unclearly."""

    columns: Mapping[str, str] = field(default_factory=dict)  # heading -> name, blank: left out
    constants: Mapping[str, str] = field(default_factory=dict)  # name -> value of blank cells
    dates: str = ""  # a key of `sensing.ORDERS`
    decimal: str = ""  # , or .
    units: Mapping[str, str] = field(default_factory=dict)  # kind -> unit, where none is told
    sheet: str | None = None
    hours: float = 1.0  # of which readings afloat are thinned to their median

    @classmethod
    def of(
        cls,
        columns: Iterable[str],
        constants: Mapping[str, str | None],
        table: Table,
        *,
        units: str | None = None,
        dates: str | None = None,
        decimal: str | None = None,
        sheet: str | None = None,
        hours: float = 1.0,
    ) -> Options:
        """The options as the command line gives them.  Raises `WorkbookProblem`."""
        given = {}
        for one in columns:
            heading, sign, name = one.rpartition("=")
            if not sign or not heading.strip():
                raise WorkbookProblem(f"--column “{one}” is not of the form HEADING=NAME")
            given[heading.strip()] = name.strip()
        filled = {name: value for name, value in constants.items() if value is not None}
        for name in filled:
            if name not in [column.name for column in table.columns]:
                raise WorkbookProblem(f"the table {table.name} has no column {name} (--{name})")
        chosen = Choices(units=units) if units else None
        own = {} if chosen is None else {
            tables.VOLUME: chosen.volume_unit, tables.TEMPERATURE: chosen.temperature_unit,
            tables.MASS: chosen.mass_unit,
        }  # fmt: skip
        sign = {"comma": ",", "point": "."}.get(decimal or "", "")
        return cls(given, filled, dates or "", sign, own, sheet, hours)


@dataclass(frozen=True)
class Line:
    """A line to write, with the numbers of the lines of the file that it comes from."""

    numbers: tuple[int, ...]
    values: Entered
    hours: tuple[Any, ...] | None = None  # of a median: what tells whether its hour is there


@dataclass
class Plan:
    """What an import would do."""

    data: Source
    book: Book
    table: Table
    matched: list[Matched]
    told: list[tuple[str, str]]  # what was recognised, and as what
    scale: str  # of gravities of a plan that name none
    lines: list[Line] = field(default_factory=list)
    there: list[int] = field(default_factory=list)  # numbers of lines that the workbook has
    rejected: list[tuple[int, str]] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    longer: Book | None = None  # the same workbook with a longer table, if it must grow

    @property
    def grows_to(self) -> int:
        """How many lines the table must have; 0 if it need not grow."""
        needed = self.book.free + len(self.lines)
        if needed <= self.book.length:
            return 0
        return min(MOST[self.table.name], needed + needed // 10)
