"""The blocks of a sheet, as data: what stands on it, not where and not how it looks.

Formulas are spreadsheet text without the leading `=`, written for one line of their table: the bare
name of a column means its cell on the same line, `all.` before a name means the whole column, and
`above.` the line before (in a column that is computed line by line).  `kit.formulas` turns them
into one array formula for all lines, or into a formula in each line.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from xlfuncs.workbook.defaults import FIRST_DATE, LAST_DATE, Reach, plain_number
from xlfuncs.workbook.kit import styles

#: How the name of a cell begins that only shows a step of its line.
ON_PAGE = "page_"


class Role(enum.Enum):
    """Who fills a cell in, and where it stands."""

    TYPED = "typed"  # by a person
    RESULT = "result"  # computed, on the page
    STEP = "step"  # computed, right of the page
    FIXED = "fixed"  # written when the sheet is made
    BOX = "box"  # computed or empty, with room for a pen


@dataclass(frozen=True)
class Limits:
    """What may be typed into a cell, and what to say when it is something else."""

    kind: str  # list, decimal, date
    low: str = ""
    high: str = ""
    message: str = ""

    @classmethod
    def among(cls, *words: str) -> Limits:
        """One of a few words."""
        return cls("list", f'"{",".join(words)}"', message="Choose one of: " + ", ".join(words))

    @classmethod
    def listed(cls, name: str, message: str) -> Limits:
        """One of the entries of a named range."""
        return cls("list", name, message=message)

    @classmethod
    def between(cls, low: float | str, high: float | str, message: str) -> Limits:
        """A number between two limits, which may be formulas."""
        return cls("decimal", str(low), str(high), message)

    @classmethod
    def within(cls, reach: Reach, message: str = "") -> Limits:
        """A number that counts."""
        message = message or f"A number {reach.limits}"
        low, high = plain_number(reach.low), plain_number(reach.high)
        if reach.other:
            chosen = f'{reach.other.cell}="{reach.other.unit}"'
            low = f"IF({chosen},{plain_number(reach.other.low)},{low})"
            high = f"IF({chosen},{plain_number(reach.other.high)},{high})"
        return cls.between(low, high, message)

    @classmethod
    def date(cls) -> Limits:
        """A date that a spreadsheet can hold."""
        return cls(
            "date", str(FIRST_DATE), str(LAST_DATE), "A date from 2000 on; a time may follow it"
        )

    @classmethod
    def temperature(cls, highest: int, message: str) -> Limits:
        """A temperature from freezing to so many °C, in the unit chosen on Setup."""
        fahrenheit = round(highest * 1.8 + 32)
        return cls.between(
            'IF(unit_temperature="F",32,0)',
            f'IF(unit_temperature="F",{fahrenheit},{highest})',
            f"{message}, in the unit chosen on Setup",
        )

    @classmethod
    def gravity(cls, message: str) -> Limits:
        """A gravity in the unit chosen on Setup."""
        return cls.between(
            'IF(unit_gravity="Plato",0,0.98)',
            'IF(unit_gravity="Plato",45,1.206)',
            f"{message}, in the unit chosen on Setup",
        )

    @classmethod
    def amount(cls, message: str) -> Limits:
        """A number that is not negative."""
        return cls.between(0, 1000000, message)


class Verbatim(str):
    """Words of the user: a text whatever they begin with, never a formula."""


@dataclass(frozen=True)
class Column:
    """One column of a table; `name` is the defined name of its cells.

    With a formula and `by_line` it is computed by a formula in each line in both editions,
    otherwise
    by one array formula where the functions are at hand.
    """

    name: str
    heading: str = ""
    hint: str = ""
    width: float = 11
    format: str = styles.GENERAL
    formula: str = ""
    role: Role = Role.TYPED
    limits: Limits | None = None
    by_line: bool = False
    values: Sequence[Any] = ()
    lines: Sequence[str] = ()  # a formula of its own for each line
    wrap: bool = False
    bar: bool = False  # a share, drawn as a bar in its cell too


@dataclass(frozen=True)
class Group:
    """Neighbouring columns of one table under one name, computed by one formula.

    In formulas its bare name means, in each of its columns, the cell of the same place.
    """

    name: str
    columns: tuple[Column, ...]
    formula: str = ""


def typed(name: str, heading: str, hint: str = "", width: float = 11, format: str = styles.GENERAL,
          limits: Limits | None = None) -> Column:  # fmt: skip
    """A column that a person fills in."""
    return Column(name, heading, hint, width, format, limits=limits)


def result(name: str, heading: str, hint: str, width: float, format: str, formula: str,
           by_line: bool = False, wrap: bool = False, bar: bool = False) -> Column:  # fmt: skip
    """A computed column on the page."""
    return Column(name, heading, hint, width, format, formula, Role.RESULT, by_line=by_line,
                  wrap=wrap, bar=bar)  # fmt: skip


def step(name: str, hint: str, formula: str, by_line: bool = False,
         format: str = styles.GENERAL) -> Column:  # fmt: skip
    """A computed column right of the page; its heading is its own name."""
    return Column(name, name, hint, 12, format, formula, Role.STEP, by_line=by_line)


@dataclass(frozen=True)
class Block:
    """Something that stands on a sheet."""

    column: int = field(default=1, kw_only=True)  # its first column, from 1
    beside: bool = field(default=False, kw_only=True)  # starts on the line of the block before
    gap: int = field(default=1, kw_only=True)  # empty lines before it


@dataclass(frozen=True)
class Section(Block):
    """A heading with a rule as wide as the page, or to a column."""

    text: str
    to: int = 0
    name: str = ""


@dataclass(frozen=True)
class Text(Block):
    """One line of words, or a formula that gives them; `to` is its last column."""

    text: str
    style: str = styles.TEXT
    to: int = 0
    lines: float = 1
    name: str = ""
    link: str = ""  # title of the sheet that it leads to


@dataclass(frozen=True)
class Line:
    """One labelled cell: what is typed into it or computed in it, and a note beside it."""

    name: str
    label: str
    note: str = ""
    format: str = styles.GENERAL
    formula: str = ""
    value: Any = None
    limits: Limits | None = None
    big: bool = False


@dataclass(frozen=True)
class Lines(Block):
    """Labelled cells under each other: label, cell and note each take some columns."""

    lines: tuple[Line, ...]
    label: int = 2
    cell: int = 1
    note: int = 5

    @property
    def columns(self) -> int:
        """How many columns it takes."""
        return self.label + self.cell + self.note


@dataclass(frozen=True)
class Table(Block):
    """Lines under headings. The steps among its columns stand right of the page, line by line."""

    name: str
    rows: int
    parts: tuple[Column | Group, ...]
    high: float = 0  # height of a line in points, 0: the usual
    heading: float = 27  # height of its headings
    filtered: bool = False
    guarded: bool = False  # what is typed below it is noticed: `<name>_below`

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns, those of groups included."""
        return tuple(
            column
            for part in self.parts
            for column in (part.columns if isinstance(part, Group) else (part,))
        )


@dataclass(frozen=True)
class Steps(Block):
    """Single computed cells right of the page, each under its name."""

    cells: Mapping[str, str]
    blocks: Mapping[tuple[str, ...], str] = field(default_factory=dict)  # one formula, some cells
    formats: Mapping[str, str] = field(default_factory=dict)  # of the cells that a report shows


@dataclass(frozen=True)
class Trace:
    """One series of a picture: its name and the names of its columns."""

    name: str
    y: str
    x: str = ""
    marker: str = "circle"
    line: bool = False
    limit: bool = False
    fine: bool = False  # a second kind of limit, dotted
    expanded: str = ""  # the column of its ±, drawn as bars


@dataclass(frozen=True)
class Chart(Block):
    """A picture: points over numbers, or points over named stages."""

    kind: str  # scatter, stages
    heading: str
    y_title: str
    traces: tuple[Trace, ...]
    size: tuple[float, float]  # cm
    rows: int  # lines of the sheet that it covers
    x_title: str = ""
    categories: str = ""
    x_format: str = styles.GENERAL
    y_format: str = styles.GENERAL
    y_from: float | None = None
    x_range: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True)
class Sheet:
    """One sheet: what it is for, its blocks in order, and how it is printed."""

    title: str
    sentence: str  # on the start page
    lead: str
    blocks: tuple[Block, ...]
    widths: tuple[float, ...] = ()  # of the page's columns, where no table gives them
    landscape: bool = False
    frozen: str = ""  # the table whose headings stay
    frozen_columns: int = 0
    least: float = 0  # no type on its page is smaller, in points
    tall: bool = False  # may take more pages than one
    parts: tuple[ReportPart, ...] = ()
    heading: str = ""  # at its head, where that is not its title
    notice: str = ""  # beside its title: a formula that says what must be known first, or nothing


@dataclass(frozen=True)
class ReportPart:
    """What the report takes from a sheet: single cells, or the lines of a table.

    `cells` maps the keys of the report to the names of cells or columns; a line is left out when
    all columns in `keep` are blank.
    """

    key: str
    cells: Mapping[str, str]
    keep: tuple[str, ...] = ()
    title: str = ""


def sortable(sheet: Sheet) -> Sheet:
    """The sheet with lines that can be sorted, in each table that takes any number of them."""
    return replace(sheet, blocks=tuple(
        _sortable(block) if isinstance(block, Table) and block.guarded else block
        for block in sheet.blocks
    ))  # fmt: skip


def _sortable(table: Table) -> Table:
    """A table whose lines can be sorted: what it shows is computed among its steps.

    No program sorts lines that an array formula crosses, and one that a person may clear is no
    place for a result that others use.  So a result's name moves to a step with its formula, and
    its cell on the page shows that step.
    """
    parts: list[Column | Group] = []
    for part in table.parts:
        if isinstance(part, Column) and part.role is Role.RESULT and part.formula:
            shown = replace(part, name=f"{ON_PAGE}{part.name}", formula=part.name, by_line=True)
            parts += [shown, step(part.name, part.hint, part.formula, part.by_line, part.format)]
        else:
            parts.append(part)
    return replace(table, parts=tuple(parts))
