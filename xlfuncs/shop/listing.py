"""The lines of a list of recipes, from a .csv or an .xlsx file, in the units of a brewhouse.

Headings, separator, decimal sign, order of dates and units are recognised as `import` does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records import headings, meaning, reading, sensing, tables
from xlfuncs.records.book import House
from xlfuncs.records.meaning import Meanings
from xlfuncs.records.plans import Options
from xlfuncs.records.reading import Cell
from xlfuncs.records.sensing import Dates
from xlfuncs.shop.brewhouse import Brewhouse

#: A line of a list: its number in the file, and its cells by field.
Line = tuple[int, dict[str, Any]]


@dataclass
class Listing:
    """The lines of a list, those that mean nothing and why, and the headings that mean nothing."""

    lines: list[Line] = field(default_factory=list)
    refused: list[tuple[int, str]] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


def read(path: Path, house: Brewhouse, options: Options) -> Listing:
    """The lines of a list; raises `WorkbookProblem` where it is not clear what the list says."""
    table, given = tables.RECIPES, options.columns
    grid = reading.read(reading.content(path), lambda rows: headings.suits(rows, table, given))
    if not grid.rows:
        raise WorkbookProblem(f"{path.name} is empty: its first line holds the headings")
    top = headings.find(grid, table, given, reading.BEGINNING)
    matched = headings.match(grid.rows[top], table, given)
    headings.must_be_clear(matched, grid, table, given)
    below = grid.below(top)
    cells = {one.column.name: below.columns[one.place] for one in matched if one.column}
    if table.needs[0] not in cells:
        raise WorkbookProblem(
            f"{path.name}, line {grid.numbers[top]}: no heading means “batch”, the name of a recipe"
        )
    unread = [one.heading for one in matched if one.heading and not one.column]
    found = Listing(unread=[one for one in unread if one not in given])
    meanings = _meanings(cells, below.numbers, house, grid.separator, options)
    units = {one.column.name: one.unit for one in matched if one.column}
    for place, number in enumerate(below.numbers):
        line = {
            name: _means(column[place], table.column(name), units[name], meanings)
            for name, column in cells.items()
        }
        wrong = [str(value) for value in line.values() if isinstance(value, sensing.Rejected)]
        if place in below.too_long:
            wrong = [f"{below.too_long[place]} values, but there are {len(matched)} headings"]
        if wrong:
            found.refused.append((number, "; ".join(wrong)))
        else:
            found.lines.append((number, line))
    return found


def _meanings(
    cells: Mapping[str, Sequence[Cell]],
    lines: Sequence[int],
    house: Brewhouse,
    separator: str,
    options: Options,
) -> Meanings:
    """How the cells of this list are understood."""
    columns = {name: tables.RECIPES.column(name) for name in cells}
    numbers = [(cells[name], lines) for name, column in columns.items() if column.is_number]
    sign = sensing.decimal_sign(numbers, separator, options.decimal)
    wanted = sensing.ORDERS.get(options.dates, "")
    order = sensing.date_order(cells["date"], lines, wanted) if "date" in cells else ""
    gravities = [cells[name] for name, one in columns.items() if one.kind == tables.GRAVITY]
    scale = meaning.scale_of(gravities, sign, house.units[tables.GRAVITY])
    return Meanings(House(house.units), sign, Dates(order or sensing.DMY), float("inf"), scale)


def _means(cell: Cell, column: tables.Column, unit: str, meanings: Meanings) -> meaning.Meaning:
    if column.is_number:
        return meanings.number(column, unit)(cell)
    if column.kind == tables.DATE:
        return meanings.moment((cell, ""))
    return meanings.text(cell)
