"""Lines of a file for a table of a workbook: which are new, which are there, which are refused.

Everything is decided before anything is written: `plan` reads, `entered` gives the new workbook.
"""

from __future__ import annotations

import datetime
import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from xlfuncs.audit.typed import day
from xlfuncs.cells.values import date_serial
from xlfuncs.files import entered as entries
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.records import floats, headings, joined, meaning, reading, sensing, standing, tables
from xlfuncs.records.book import Book
from xlfuncs.records.headings import Matched
from xlfuncs.records.meaning import Meanings, understood
from xlfuncs.records.plans import MOST, Line, Options, Plan
from xlfuncs.records.reading import Cell, Grid
from xlfuncs.records.sensing import Dates, Rejected
from xlfuncs.records.tables import Table
from xlfuncs.workbook import words
from xlfuncs.workbook.words import Choices


@dataclass
class _Frame:
    """The cells of the file below its headings, column by column."""

    cells: dict[str, Sequence[Cell]]
    numbers: Sequence[int]
    rejected: dict[int, list[str]]
    matched: list[Matched]

    def unit(self, name: str) -> str:
        """The unit that the heading of a column tells."""
        return next(
            (one.unit for one in self.matched if one.column and one.column.name == name), ""
        )

    def reject(self, wrong: Mapping[int, str]) -> None:
        """Note why lines cannot be taken."""
        for place, reason in wrong.items():
            self.rejected.setdefault(place, []).append(str(reason))


def plan(
    data: Source, source: Source, table: Table, options: Options, today: datetime.date
) -> Plan:
    """What an import of a file into a table of a workbook would do; nothing is written.

    Raises `WorkbookProblem` for a file of which it is not clear what it says.
    """
    grid = reading.read(
        data, lambda rows: headings.suits(rows, table, options.columns), options.sheet
    )
    frame, top = _frame(grid, table, options)
    book = Book(source, table)
    _must_be_known(options.constants, table, Meanings(book, ".", Dates(), float("inf"), ""))
    if table.name == "log" and "stage" not in frame.cells and _afloat(frame, book):
        frame.cells["stage"] = [words.FERMENTING] * len(frame.numbers)
    _must_have(frame, grid, table, options)
    kinds = {name: table.column(name) for name in frame.cells}
    sign = sensing.decimal_sign(
        [(frame.cells[name], frame.numbers) for name, one in kinds.items() if one.is_number],
        grid.separator, options.decimal,
    )  # fmt: skip
    order = _order(frame, options)
    dates = Dates(order or sensing.DMY)
    scale = meaning.scale_of(
        [frame.cells[name] for name, one in kinds.items() if one.kind == tables.GRAVITY],
        sign, book.units[tables.GRAVITY],
    )  # fmt: skip
    until = date_serial(today) + 2 if table.name in ("checks", "log") else float("inf")
    meanings = Meanings(book, sign, dates, until, scale)
    values = _values(frame, table, meanings, options)
    told = _told(grid, top, frame, table, meanings, order, options)
    made = Plan(data, book, table, frame.matched, told, scale)
    _refuse_lacking(frame, table, values)
    _add_lines(made, frame, values, options.hours)
    made.rejected = [
        (frame.numbers[place], "; ".join(reasons))
        for place, reasons in sorted(frame.rejected.items())
    ]
    _in_order(made)
    standing.sort_out(made)
    _must_fit(made, options)
    if made.grows_to:
        _grow(made)
    return made


# --- the file ------------------------------


def _frame(grid: Grid, table: Table, options: Options) -> tuple[_Frame, int]:
    """The columns of the table that the file has, and the line of its headings."""
    top = headings.find(grid, table, options.columns, reading.BEGINNING)
    matched = headings.match(grid.rows[top], table, options.columns)
    headings.must_be_clear(matched, grid, table, options.columns)
    below = grid.below(top)
    if not below.numbers:
        raise WorkbookProblem(f"{grid.name} has no lines below its headings")
    rejected = {
        place: [
            f"it has {count} values, but there are {len(matched)} headings (a separator within a "
            "value needs quotation marks around it)"
        ]
        for place, count in below.too_long.items()
    }
    cells = {one.column.name: below.columns[one.place] for one in matched if one.column}
    for name, value in options.constants.items():
        there = cells.get(name, [])
        cells[name] = [value if meaning.is_blank(cell) else cell for cell in there] or [
            value
        ] * len(below.numbers)
    return _Frame(cells, below.numbers, rejected, matched), grid.numbers[top]


def _must_have(frame: _Frame, grid: Grid, table: Table, options: Options) -> None:
    """Refuse a file without a column that its lines cannot do without."""
    for names in (*((name,) for name in table.needs), table.one_of):
        if names and not frame.cells.keys() & set(names):
            unknown = ", ".join(f"“{one.heading}”" for one in frame.matched if not one.column)
            hint = f' or with --column "HEADING={names[0]}"' if unknown else ""
            if names[0] in ("batch", "stage", "instrument") and table.name == "log":
                hint += f" or give one for all lines with --{names[0]}"
            raise WorkbookProblem(
                f"{grid.name} has no column {' or '.join(names)}: name it so{hint}"
                + (f" (headings that mean nothing here: {unknown})" if unknown else "")
            )


def _afloat(frame: _Frame, book: Book) -> bool:
    """Whether all readings are of floating hydrometers, which need not say at what stage."""
    names = dict.fromkeys(map(str, frame.cells.get("instrument", [""])))
    tools = [book.tool(name) for name in names]
    return all(tool is not None and tool.kind == words.FLOATING for tool in tools)


def _must_be_known(constants: Mapping[str, str], table: Table, meanings: Meanings) -> None:
    """Refuse what is given for all lines if it means nothing."""
    for name, value in constants.items():
        means = {"batch": meanings.batch, "instrument": meanings.instrument}.get(
            name, meanings.word(table.column(name))
        )
        if isinstance(found := means(value), Rejected):
            raise WorkbookProblem(f"--{name}: {found}")


def _order(frame: _Frame, options: Options) -> str:
    if "date" not in frame.cells:
        return ""
    wanted = sensing.ORDERS.get(options.dates, "")
    return sensing.date_order(frame.cells["date"], frame.numbers, wanted)


# --- what its cells mean ------------------------------

_Values = dict[str, list[Any]]


def _values(frame: _Frame, table: Table, meanings: Meanings, options: Options) -> _Values:
    """What the cells mean, column by column; what means nothing is noted in the frame."""
    values: _Values = {}

    def take(name: str, cells: Sequence[Any], means: Any) -> None:
        values[name], wrong = understood(cells, means)
        frame.reject(wrong)

    if scale := frame.unit("reference"):  # it is told where the true values are named
        said = frame.cells.get("reference_in", [""] * len(frame.numbers))
        frame.cells["reference_in"] = [
            scale if meaning.is_blank(cell) and not meaning.is_blank(true) else cell
            for cell, true in zip(said, frame.cells["reference"], strict=True)
        ]
    tool_named = frame.cells.get("name" if table.name == "instruments" else "instrument")
    for name, cells in frame.cells.items():
        column = table.column(name)
        unit = frame.unit(name) if name != "reference" else ""
        unit = unit or options.units.get(column.kind, "")
        if name == "batch" and not table.named:
            take(name, cells, meanings.batch)
        elif name == "instrument":
            take(name, cells, meanings.instrument)
        elif column.kind == tables.DATE:
            values[name], wrong = _moments(cells, frame.cells.get("time"), meanings)
            frame.reject(wrong)
        elif column.kind == tables.WORD:
            take(name, cells, meanings.word(column))
        elif column.kind == tables.TEXT:
            take(name, cells, meanings.text)
        elif column.kind == tables.SCALE and table.name in ("checks", "log"):
            named = values.get("instrument") or understood(
                tool_named or [""] * len(cells), meanings.instrument)[0]  # fmt: skip
            degrees = options.units.get(tables.TEMPERATURE, "")
            shown = meanings.shown(column, unit, degrees)
            if len(set(named)) == 1:
                take(name, cells, functools.partial(shown, named[0]))
            else:
                pairs = list(zip(named, cells, strict=True))
                take(name, pairs, lambda pair, shown=shown: shown(*pair))
        elif column.kind != tables.TIME:
            take(name, cells, meanings.number(column, unit))
    return values


def _moments(
    cells: Sequence[Cell], clocks: Sequence[Cell] | None, meanings: Meanings
) -> tuple[list[Any], Mapping[int, Rejected]]:
    if clocks is None:
        found = meanings.dates.serials(cells)
        if found is not None and max(found) < meanings.until:
            return found, {}
    pairs = list(zip(cells, clocks or [""] * len(cells), strict=True))
    return understood(pairs, meanings.moment)


def _refuse_lacking(frame: _Frame, table: Table, values: _Values) -> None:
    """Note lines that lack what a line needs; of what is wrong already nothing more is said."""
    nothing = [None] * len(frame.numbers)
    wrong = set(frame.rejected)
    for names in (*((name,) for name in table.needs), table.one_of):
        if not names:
            continue
        columns = [values.get(name, nothing) for name in names]
        if any(None not in column for column in columns):
            continue
        lacking = {
            place: " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
            + (" are blank" if names[1:] else " is blank")
            for place, some in enumerate(zip(*columns, strict=True))
            if some.count(None) == len(some) and place not in wrong
        }
        frame.reject(lacking)


# --- its lines ------------------------------


def _add_lines(made: Plan, frame: _Frame, values: _Values, hours: float) -> None:
    """The lines to write: as they are, joined to checks, or thinned."""
    table = made.table
    alive = [place for place in range(len(frame.numbers)) if place not in frame.rejected]
    thin: list[Line] = []
    if table.name == "log":
        thin, alive, notices = floats.thin(made.book, values, frame.numbers, alive, hours)
        made.notices += notices
    if len(alive) > 20 * MOST[table.name]:
        raise WorkbookProblem(
            f"{made.data.name} has {len(alive):,} lines for the table {table.name}, which holds at "
            f"most {MOST[table.name]:,}"
        )
    rows = [
        (frame.numbers[place], {name: column[place] for name, column in values.items()})
        for place in alive
    ]
    if table.name == "checks":
        lines, wrong = joined.checks(rows, made.book)
        by_number = {number: place for place, number in enumerate(frame.numbers)}
        frame.reject({by_number[number]: reason for number, reason in wrong.items()})
        made.lines = [Line(numbers, entry) for numbers, entry in lines]
    else:
        made.lines = [
            Line((number,), {table.column(name).target: value for name, value in row.items()
                             if value is not None})
            for number, row in rows
        ]  # fmt: skip
    made.lines = sorted([*made.lines, *thin], key=lambda line: line.numbers[0])


def _in_order(made: Plan) -> None:
    """Turn lines round that stand newest first; name those whose date goes back."""
    date = f"{made.table.prefix}_date"
    if date not in made.table.typed or made.table.named:
        return
    dated = [line for line in made.lines if date in line.values]
    back = [(one, two) for one, two in itertools.pairwise(dated)
            if two.values[date] < one.values[date]]  # fmt: skip
    if not back:
        return
    if len(dated) == len(made.lines) and not any(
        two.values[date] > one.values[date] for one, two in itertools.pairwise(dated)
    ):
        made.lines.reverse()
        made.notices.append("the newest line stands first: written oldest first")
        return
    some = "; ".join(
        f"line {two.numbers[0]} ({day(two.values[date])} after {day(one.values[date])})"
        for one, two in back[:10]
    )
    more = f" and {len(back) - 10} more" if back[10:] else ""
    made.notices.append(f"dates go back, is one wrong? {some}{more}; the order of the file is kept")


def _must_fit(made: Plan, options: Options) -> None:
    most = MOST[made.table.name]
    needed = made.book.free + len(made.lines)
    if needed > most:
        hint = ""
        if any(line.hours for line in made.lines):
            hint = f"; thin more with --hours {math.ceil(options.hours * needed / most)}"
        raise WorkbookProblem(
            f"the table {made.table.name} of {made.book.source.name} would need {needed:,} lines "
            f"and can have {most:,}{hint}"
        )


# --- what was recognised ------------------------------


def _told(
    grid: Grid,
    top: int,
    frame: _Frame,
    table: Table,
    meanings: Meanings,
    order: str,
    options: Options,
) -> list[tuple[str, str]]:
    told = [*grid.told.items(), ("headings", f"on line {top}")]
    columns = [table.column(name) for name in frame.cells]
    if any(column.is_number for column in columns):
        told.append(("numbers", f"with {sensing.DECIMALS[meanings.sign]}"))
    if "date" in frame.cells:
        zone = meanings.dates.zone
        told.append(("dates", (order or "as dates of a spreadsheet, or with a month in words")
                     + (f", times as written, in {zone}" if zone else "")))  # fmt: skip
    named = {one.column.name for one in frame.matched if one.column}
    if "stage" in frame.cells and not {"stage"} & (named | options.constants.keys()):
        told.append(("stage", f"“{words.FERMENTING}”: all are of floating hydrometers"))
    told += [(name, f"“{value}” for all lines" if name not in named else f"“{value}” where blank")
             for name, value in options.constants.items()]  # fmt: skip
    return told


def units_shown(made: Plan, one: Matched, options: Options) -> str:
    """From which unit to which a column goes, in words."""
    column = one.column
    if column is None:
        return ""
    if column.kind == tables.SCALE:
        return one.unit or "scale of the instrument"
    own = made.book.units.get(column.kind, "")
    usual = made.scale if column.kind == tables.GRAVITY else own
    from_unit = one.unit or options.units.get(column.kind, "") or usual
    degree = "°" if column.kind == tables.TEMPERATURE else ""
    if not own:
        return ""
    if from_unit != own:
        return f"{degree}{from_unit}, to {degree}{own}"
    return f"{degree}{own}, as in the workbook" if usual == own != one.unit else f"{degree}{own}"


# --- writing ------------------------------


def entered(made: Plan) -> bytes:
    """The workbook with the lines in it, longer where it must be; not yet computed."""
    book = made.longer or made.book
    cells = {
        book.place(target, book.free + number): value
        for number, line in enumerate(made.lines)
        for target, value in line.values.items()
    }
    return entries.enter(book.source.data, cells)


def _grow(made: Plan) -> None:
    """A longer workbook for the lines; what does not come along is told before it is written."""
    from xlfuncs.records.carried import MACROS
    from xlfuncs.records.upgrade import upgraded

    lines = {made.table.name: made.grows_to}
    # The log has lines for the batches that fill it.
    rows = lines.get("log")
    if "batches" in lines:
        rows = Choices.rows_for(lines["batches"])
    found = upgraded(
        made.book.source,
        rows=rows,
        checks=lines.get("checks"),
        instruments=lines.get("instruments"),
    )
    made.longer = Book(Source(made.book.source.path, found.data), made.table)
    made.notices += map(str, found.lost)
    # It ends in .xlsm as before, and gets the functions again.
    grown = (
        "the longer workbook has the functions' macros again; only macros of your own are not kept"
    )
    made.notices += [grown if note == MACROS else note for note in found.notes]
