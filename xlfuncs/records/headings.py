"""Headings matched by meaning: which column of a table each stands for, and in which unit."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records import tables
from xlfuncs.records.reading import Grid, Row
from xlfuncs.records.tables import Column, Table
from xlfuncs.science.units import UNITS

#: A bracket at the end of a heading; a unit after “in”, a stroke, or as the last word.
_BRACKET = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]\s*")
_AFTER = (re.compile(r"(.*?)[\s_]+in[\s_]+(.+)"), re.compile(r"(.*?)\s*/\s*(.+)"),
          re.compile(r"(.*?)[\s_,]+(\S+)"))  # fmt: skip
_WITH_UNITS = (tables.VOLUME, tables.TEMPERATURE, tables.MASS)
_SCALED = (tables.SCALE, tables.GRAVITY)
#: Units of these are not looked at: minutes, days.
_PLAIN_KINDS = (tables.NUMBER, tables.SHARE)


@dataclass(frozen=True)
class Matched:
    """A heading of the file, the column that it stands for, None for none, and its unit if told."""

    place: int
    heading: str
    column: Column | None = None
    unit: str = ""
    strange: str = ""  # what stands in the place of the unit and is none


def unit_of(kind: str, text: str) -> str:
    """The unit or scale that a text names; blank for none of this kind.

    >>> unit_of("temperature", "°F"), unit_of("volume", "US gallons"), unit_of("scale", "°P")
    ('F', 'US gal', 'Plato')
    """
    return _spellings(kind).get(_bare(text), "")


def _bare(text: str) -> str:
    bare = re.sub(r"[\s.°_()]+", "", text.casefold())
    return re.sub(r"^(?:deg(?:rees?)?|grad)(?=.)", "", bare)


@functools.cache
def _spellings(kind: str) -> Mapping[str, str]:
    if kind in _SCALED:
        return {_bare(one): scale for scale, others in tables.SCALES.items()
                for one in (scale, *others)}  # fmt: skip
    found: dict[str, str] = {}
    for unit in UNITS.values():
        if unit.kind == kind:
            for spelling in (unit.name, *unit.spellings):
                found.setdefault(_bare(spelling), unit.name)
                found.setdefault(_bare(spelling) + "s", unit.name)
    return found


@functools.cache
def _by_heading(table: str) -> Mapping[str, Column]:
    columns = {**tables.TABLES, tables.RECIPES.name: tables.RECIPES}[table].columns
    fixed = {tables.plain(column.name): column for column in columns}
    others = {tables.plain(other): column for column in columns for other in column.headings}
    return {**others, **fixed}


def match(row: Row, table: Table, given: Mapping[str, str]) -> list[Matched]:
    """What each heading of a row stands for.

    `given` maps headings to names of columns, or to nothing where they are to be left out.
    """
    return [_matched(place, str(cell).strip(), table, given) for place, cell in enumerate(row)]


def _matched(place: int, heading: str, table: Table, given: Mapping[str, str]) -> Matched:
    known = _by_heading(table.name)
    wanted = next(
        (to for name, to in given.items() if tables.plain(name) == tables.plain(heading)), None
    )
    if wanted is not None:
        column = known.get(tables.plain(wanted)) if wanted else None
        unit = _unit_in(heading, column) if column else ""
        return Matched(place, heading, column, unit)
    column = known.get(tables.plain(heading))
    if column is not None:
        return Matched(place, heading, column, _unit_in(heading, column))
    for name, unit_text, bracket in _divided(heading):
        column = known.get(tables.plain(name))
        if column is None:
            continue
        unit = unit_of(column.kind, unit_text)
        if unit or bracket or column.kind in _PLAIN_KINDS:
            strange = "" if unit or column.kind not in _WITH_UNITS else unit_text.strip()
            return Matched(place, heading, column, unit, strange)
    return Matched(place, heading)


def _divided(heading: str) -> Iterator[tuple[str, str, bool]]:
    """Ways to part a heading into a name and a unit; whether the unit stands in brackets."""
    bracket = _BRACKET.fullmatch(heading)
    if bracket:
        yield bracket[1], bracket[2], True
    for pattern in _AFTER:
        found = pattern.fullmatch(heading)
        if found:
            yield found[1], found[2], False


def _unit_in(heading: str, column: Column) -> str:
    """The unit that a heading names anywhere at its end; a gravity may be named by its scale."""
    if column.kind in _SCALED and unit_of(column.kind, heading):
        return unit_of(column.kind, heading)
    told = (unit_of(column.kind, unit) for _, unit, _ in _divided(heading))
    return next((unit for unit in told if unit), "")


def suits(rows: Sequence[Row], table: Table, given: Mapping[str, str]) -> int:
    """How many columns of the table the best row of headings has."""
    return max((_count(row, table, given) for row in rows), default=0)


def _count(row: Row, table: Table, given: Mapping[str, str]) -> int:
    return len({one.column.name for one in match(row, table, given) if one.column})


def find(grid: Grid, table: Table, given: Mapping[str, str], beginning: int) -> int:
    """Place of the row of headings; raises `WorkbookProblem` where no heading is known."""
    counts = [_count(row, table, given) for row in grid.rows[:beginning]]
    if not counts or not max(counts):
        names = ", ".join(column.name for column in table.columns)
        seen = ", ".join(f"“{cell}”" for cell in grid.rows[0][:8]) if grid.rows else "nothing"
        raise WorkbookProblem(
            f"{grid.name}: no heading of the table {table.name} was found (on top: {seen}); its "
            f"headings are {names}"
        )
    return counts.index(max(counts))


def must_be_clear(
    matched: Sequence[Matched], grid: Grid, table: Table, given: Mapping[str, str]
) -> None:
    """Refuse two headings of one meaning, units that are none, and what `given` has wrong."""
    there = {tables.plain(one.heading) for one in matched}
    for heading, name in given.items():
        if tables.plain(heading) not in there:
            raise WorkbookProblem(f"{grid.name} has no heading “{heading}” (--column)")
        if name and tables.plain(name) not in _by_heading(table.name):
            names = ", ".join(column.name for column in table.columns)
            raise WorkbookProblem(f"the table {table.name} has no column {name}; it has {names}")
    by_column: dict[str, list[str]] = {}
    for one in matched:
        if one.column:
            by_column.setdefault(one.column.name, []).append(one.heading)
        if one.column and one.strange:
            raise WorkbookProblem(
                f"{grid.name}, heading “{one.heading}”: “{one.strange}” is no unit of "
                f'{one.column.kind}; say what it is with --column "{one.heading}='
                f'{one.column.name}", or leave it out with --column "{one.heading}="'
            )
    for name, headings in by_column.items():
        if len(headings) > 1:
            both = " and ".join(f"“{heading}”" for heading in headings)
            raise WorkbookProblem(
                f"{grid.name}: the headings {both} both mean {name}; leave one out with --column "
                f'"{headings[-1]}=", or rename one if they are called the same'
            )
