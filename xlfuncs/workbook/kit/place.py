"""Where blocks stand: rows, columns, names. Two blocks on one cell, or one name twice, are refused.

Blocks follow each other down the page; a block `beside` starts on the line of the one before.  What
is a step stands right of the page, table by table, so that it shares the lines of its table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from openpyxl.utils import get_column_letter, quote_sheetname

from xlfuncs.workbook.kit.blocks import (
    ON_PAGE,
    Block,
    Chart,
    Column,
    Group,
    Lines,
    Role,
    Section,
    Sheet,
    Steps,
    Table,
    Text,
)

#: Rows 1 and 2 hold title and lead.
_FIRST_ROW = 3
#: Lines below a table in which something typed is noticed.
_BELOW = 500


#: Cells whose names begin so are called by their addresses: they are no defined names.
PLAIN = "plain_"
UNNAMED = (PLAIN, ON_PAGE)


class LayoutProblem(ValueError):
    """Blocks that overlap, or names that are given twice."""


@dataclass(frozen=True)
class Area:
    """Cells of one sheet, rows and columns counted from 1."""

    sheet: str
    top: int
    left: int
    rows: int = 1
    columns: int = 1

    @property
    def cells(self) -> str:
        """The address on its sheet, such as `C6:C45`."""
        first = f"{get_column_letter(self.left)}{self.top}"
        if self.rows == self.columns == 1:
            return first
        return (
            f"{first}:{get_column_letter(self.left + self.columns - 1)}{self.top + self.rows - 1}"
        )

    @property
    def target(self) -> str:
        """The address as a defined name writes it."""
        first, colon, last = self.cells.partition(":")
        return f"{quote_sheetname(self.sheet)}!{_absolute(first)}" + (
            f":{_absolute(last)}" if colon else ""
        )

    def cell(self, row: int, column: int = 0) -> str:
        """Address of one of its cells, its column held fast, as a formula in a line names it."""
        return f"${get_column_letter(self.left + column)}{self.top + row}"

    def overlaps(self, other: Area) -> bool:
        """Whether two areas of one sheet share a cell."""
        return (
            self.top < other.top + other.rows
            and other.top < self.top + self.rows
            and self.left < other.left + other.columns
            and other.left < self.left + self.columns
        )


def _absolute(address: str) -> str:
    letters = address.rstrip("0123456789")
    return f"${letters}${address[len(letters) :]}"


@dataclass
class Placed:
    """A block and the cells it takes; of a table, its page and its steps."""

    block: Block
    area: Area
    steps: Area | None = None


@dataclass
class Page:
    """A sheet with all its blocks placed."""

    sheet: Sheet
    blocks: list[Placed] = field(default_factory=list)
    width: int = 0  # columns of the page
    height: int = 0  # its rows


@dataclass
class Layout:
    """All sheets of a workbook, and what every name stands for."""

    pages: list[Page] = field(default_factory=list)
    names: dict[str, Area] = field(default_factory=dict)

    def add(self, sheet: Sheet) -> None:
        """Place the blocks of one more sheet."""
        page = Page(sheet)
        page.width = max(
            len(sheet.widths), *(block.column - 1 + _width(block) for block in sheet.blocks)
        )
        row = bottom = _FIRST_ROW
        step_column = page.width + 2
        for block in sheet.blocks:
            if not block.beside:
                row = bottom + (block.gap if page.blocks else 0)
            rows = _height(block)
            area = Area(sheet.title, row, block.column, rows, _width(block, page.width))
            placed = Placed(block, area)
            wide = _step_width(block)
            if wide:
                top = row if isinstance(block, Table) else 1
                deep = _step_height(block)
                placed.steps = Area(sheet.title, top, step_column, deep, wide)
                step_column += wide + 1
            page.blocks.append(placed)
            bottom = max(bottom, row + rows)
            self._claim(page, placed)
        page.height = bottom - 1
        self._guard(page)
        self.pages.append(page)

    def _guard(self, page: Page) -> None:
        """Name the free lines below the tables in which something typed is noticed."""
        for placed in page.blocks:
            if isinstance(placed.block, Table) and placed.block.guarded:
                area, end = placed.area, placed.area.top + placed.area.rows
                below = [
                    one.area.top for one in page.blocks if one.area.rows and one.area.top >= end
                ]
                free = min(below, default=end + _BELOW) - end
                self.names[f"{placed.block.name}_below"] = Area(
                    area.sheet, end, area.left, free, area.columns
                )

    def _claim(self, page: Page, placed: Placed) -> None:
        for other in page.blocks[:-1]:
            if placed.area.rows and other.area.rows and placed.area.overlaps(other.area):
                raise LayoutProblem(
                    f"{page.sheet.title}: {placed.area.cells} overlaps {other.area.cells}"
                )
        for name, area in _names(placed):
            if name in self.names:
                raise LayoutProblem(f"{page.sheet.title}: the name {name} is given twice")
            self.names[name] = area


def page_columns(table: Table) -> list[Column]:
    """The columns of a table that stand on the page."""
    return [column for column in table.columns if column.role is not Role.STEP]


def step_columns(table: Table) -> list[Column]:
    """The columns of a table that stand right of the page."""
    return [column for column in table.columns if column.role is Role.STEP]


def _width(block: Block, page: int = 0) -> int:
    match block:
        case Section() | Text():
            return (block.to or page or block.column) - block.column + 1
        case Lines():
            return block.columns
        case Table():
            return len(page_columns(block))
        case Chart():
            return 1
    return 0


def _height(block: Block) -> int:
    match block:
        case Section() | Text():
            return 1
        case Lines():
            return len(block.lines)
        case Table():
            return block.rows + 2 if page_columns(block) else 0
        case Chart():
            return block.rows
    return 0


def _step_width(block: Block) -> int:
    match block:
        case Table():
            return len(step_columns(block))
        case Steps():
            return 1 + max((len(names) for names in block.blocks), default=1)
    return 0


def _step_height(block: Block) -> int:
    match block:
        case Table():
            return block.rows + 2
        case Steps():
            return len(block.cells) + len(block.blocks)
    return 0


def _names(placed: Placed) -> Iterator[tuple[str, Area]]:
    block, area = placed.block, placed.area
    match block:
        case Section() | Text() if block.name:
            yield block.name, Area(area.sheet, area.top, area.left)
        case Lines():
            for number, line in enumerate(block.lines):
                yield line.name, Area(area.sheet, area.top + number, area.left + block.label)
        case Steps():
            steps = placed.steps
            assert steps
            for number, name in enumerate(block.cells):
                yield name, Area(area.sheet, steps.top + number, steps.left + 1)
            for number, names in enumerate(block.blocks, len(block.cells)):
                for place, name in enumerate(names):
                    yield name, Area(area.sheet, steps.top + number, steps.left + 1 + place)
        case Table():
            yield from _table_names(block, placed)


def _table_names(table: Table, placed: Placed) -> Iterator[tuple[str, Area]]:
    area, steps = placed.area, placed.steps
    first = area.top + 2
    head = area.left if page_columns(table) else steps.left if steps else area.left
    yield f"{table.name}_top", Area(area.sheet, area.top + 1, head)
    lefts = {}
    for columns, left in ((page_columns(table), area.left), (step_columns(table), 0)):
        if columns and not left:
            assert steps
            left = steps.left
        for number, column in enumerate(columns):
            lefts[column.name] = left + number
            yield column.name, Area(area.sheet, first, left + number, table.rows)
    for part in table.parts:
        if isinstance(part, Group):
            left = lefts[part.columns[0].name]
            yield part.name, Area(area.sheet, first, left, table.rows, len(part.columns))
