"""Write placed sheets as cells: with our functions in array formulas, or line by line."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from copy import copy
from itertools import accumulate
from typing import Any

from openpyxl.formatting.rule import DataBarRule
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.files.filled import fill_down
from xlfuncs.workbook.kit import charts, styles
from xlfuncs.workbook.kit.blocks import (
    Chart,
    Column,
    Group,
    Limits,
    Lines,
    Role,
    Section,
    Steps,
    Table,
    Text,
    Verbatim,
)
from xlfuncs.workbook.kit.formulas import LONGEST, rewritten
from xlfuncs.workbook.kit.place import (
    UNNAMED,
    Area,
    Layout,
    LayoutProblem,
    Page,
    Placed,
    page_columns,
)

LETTER, A4 = 1, 9

_LOOK = {
    Role.TYPED: styles.TYPED,
    Role.RESULT: styles.RESULT,
    Role.STEP: styles.STEP,
    Role.FIXED: styles.RESULT,
    Role.BOX: styles.BOX,
}
#: Lines of a table on one page, and how many more rows stand around it.
_LINES_OF_A_PAGE, _AROUND = 40, 20
#: Widths in digits: of a screen 1366 pixels wide, and of what parts page and steps at least.
_SCREEN, _GAP = 175, 8
_TITLE = 25  # and what a title takes at least
_COMPUTED = "This cell is computed. What it shows follows from what is typed elsewhere."


def write(book: Workbook, layout: Layout, paper: int, longest: int = LONGEST) -> None:
    """Add all sheets of a layout to a workbook, with their names.

    A formula of more than `longest` characters is refused.
    """
    for name, area in layout.names.items():
        if not name.startswith(UNNAMED):
            book.defined_names[name] = DefinedName(name, attr_text=area.target)
    font = _fonts(book)
    for page in layout.pages:
        _Writer(book.create_sheet(page.sheet.title), page, layout, longest, font).write(paper)


def _fonts(book: Workbook) -> Callable[[int, float], int]:
    """For the number of a font, that of the same font in so many points at least."""

    @functools.cache
    def font(number: int, least: float) -> int:
        if book._fonts[number].size >= least:
            return number
        larger = copy(book._fonts[number])
        larger.size = least
        return int(book._fonts.add(larger))

    return font


class _Writer:
    """Writes the blocks of one sheet."""

    def __init__(
        self, sheet: Worksheet, page: Page, layout: Layout, longest: int,
        font: Callable[[int, float], int],
    ) -> None:  # fmt: skip
        self.sheet, self.page, self.layout, self.longest = sheet, page, layout, longest
        self.font = font  # as `_fonts` gives it
        self.wide = max(page.width, 1)
        self.filled = 0  # columns that are filled down

    def write(self, paper: int) -> None:
        sheet, page = self.sheet, self.page
        for number, width in enumerate(page.sheet.widths, 1):
            sheet.column_dimensions[get_column_letter(number)].width = width
        single: list[str] = []
        for placed in page.blocks:
            match placed.block:
                case Section() as section:
                    self._section(section, placed.area)
                case Text() as text:
                    self._text(text, placed.area)
                case Lines() as lines:
                    single += self._lines(lines, placed.area)
                case Table() as table:
                    self._table(table, placed)
                    single += self._open_to_typing(table)
                case Steps() as steps:
                    self._steps(steps, placed)
                case Chart() as chart:
                    charts.add(sheet, chart, placed.area, self.layout.names)
        if single:
            self._refuse(" ".join(single))
        self._head()
        if page.sheet.least:
            self._enlarge(page.sheet.least)
        self._print(paper)

    def _head(self) -> None:
        """Title and lead; as wide as the first screen, beyond which the steps stand."""
        sheet, data = self.sheet, self.page.sheet
        ends = list(accumulate(sheet.column_dimensions[get_column_letter(number)].width
                               for number in range(1, self.wide + 1)))  # fmt: skip
        sheet.column_dimensions[get_column_letter(self.wide + 1)].width = max(
            _GAP, _SCREEN - ends[-1]
        )
        _put(sheet["A1"], data.heading or data.title)
        _put(sheet["A2"], data.lead)
        sheet["A1"].style, sheet["A2"].style = styles.TITLE, styles.LEAD
        last = max(1, sum(end <= _SCREEN - _GAP for end in ends))
        self._merge(2, 1, last)
        if data.notice:
            first = 2 + sum(end < _TITLE for end in ends)
            self._check(data.notice)
            self._span(1, first, max(first, last), self._words(data.notice), styles.NOTICE)
        sheet.row_dimensions[1].height = 26
        sheet.row_dimensions[2].height = 26 if data.lead else 4
        sheet.sheet_view.showGridLines = False

    def _enlarge(self, least: float) -> None:
        """Bring smaller type up to so many points."""
        for (_, column), cell in self.sheet._cells.items():
            if column <= self.wide and cell.has_style:
                cell._style.fontId = self.font(cell._style.fontId, least)

    def _merge(self, row: int, first: int, last: int) -> None:
        """Show neighbouring cells as one.

        `Worksheet.merge_cells` would work out each border anew, which takes longer than the rest.
        """
        if last > first:
            self.sheet.merged_cells.add(
                f"{get_column_letter(first)}{row}:{get_column_letter(last)}{row}"
            )

    def _span(self, row: int, first: int, last: int, value: Any, style: str) -> Any:
        """A value over some columns of a row; gives its first cell."""
        for column in range(first, last + 1):
            self.sheet.cell(row, column).style = style
        self._merge(row, first, last)
        cell = self.sheet.cell(row, first)
        _put(cell, value)
        return cell

    def _section(self, section: Section, area: Area) -> None:
        last = area.left + area.columns - 1
        for column in range(area.left, last + 1):
            self.sheet.cell(area.top, column).style = styles.SECTION
        self.sheet.cell(area.top, area.left).value = self._words(section.text)
        self.sheet.row_dimensions[area.top].height = 20

    def _text(self, text: Text, area: Area) -> None:
        last = area.left + area.columns - 1
        cell = self._span(area.top, area.left, last, self._words(text.text), text.style)
        if text.link:
            cell.hyperlink = f"#{quote_sheetname(text.link)}!A1"
            cell.style = text.style
        if _is_formula(text.text):
            self._check(text.text)
        high = {styles.ANSWER: 20.0}.get(text.style, 14.0)
        self.sheet.row_dimensions[area.top].height = high * text.lines

    def _lines(self, lines: Lines, area: Area) -> list[str]:
        """Labelled cells; gives the addresses of those that are computed."""
        computed = []
        at, note = area.left + lines.label, area.left + lines.label + lines.cell
        for number, line in enumerate(lines.lines):
            row = area.top + number
            self._span(row, area.left, at - 1, self._words(line.label), styles.LABEL)
            value = self._words("=" + line.formula) if line.formula else line.value
            look = styles.CELL
            if line.formula:
                self._check(line.formula)
                look = styles.ANSWER if line.big else styles.RESULT
                computed.append(f"{get_column_letter(at)}{row}")
            cell = self._span(row, at, note - 1, value, look)
            cell.number_format = line.format
            if look == styles.RESULT:
                cell.alignment = styles.WORDS
            if lines.note:
                self._span(row, note, note + lines.note - 1, self._words(line.note), styles.NOTE)
            if line.limits:
                self._limit(line.limits, f"{get_column_letter(at)}{row}")
            self.sheet.row_dimensions[row].height = 20 if line.big else 15
        return computed

    def _steps(self, steps: Steps, placed: Placed) -> None:
        area = placed.steps
        assert area
        for number, (name, formula) in enumerate(steps.cells.items()):
            self._step(area.top + number, area.left, name)
            self._check(formula)
            self._step(area.top + number, area.left + 1, "=" + formula)
            if name in steps.formats:
                cell = self.sheet.cell(area.top + number, area.left + 1)
                cell.number_format = steps.formats[name]
        for number, (names, formula) in enumerate(steps.blocks.items(), len(steps.cells)):
            self._step(area.top + number, area.left, names[0])
            first = f"{get_column_letter(area.left + 1)}{area.top + number}"
            last = f"{get_column_letter(area.left + len(names))}{area.top + number}"
            self._check(formula)
            self._step(area.top + number, area.left + 1, None)
            self.sheet[first] = ArrayFormula(f"{first}:{last}", "=" + formula.replace("all.", ""))

    def _step(self, row: int, column: int, value: Any) -> None:
        cell = self.sheet.cell(row, column)
        cell.value = self._words(value) if isinstance(value, str) else value
        cell.style = styles.STEP

    def _words(self, text: str) -> str | None:
        """Words as they are; what starts with `=` is a formula of single cells."""
        if not _is_formula(text):
            return text or None
        return rewritten(text, lambda _, name: self._single(name))

    def _single(self, name: str) -> str:
        """How a formula calls a name that stands for the same cells on every line.

        The head of a table by its address: not every program knows the ROW of a name.
        """
        by_address = name.startswith(UNNAMED) or name.endswith("_top")
        return self.layout.names[name].target if by_address else name

    # --- tables ----------------------------------------------------------------------------------

    def _table(self, table: Table, placed: Placed) -> None:
        for part in table.parts:
            columns = part.columns if isinstance(part, Group) else (part,)
            for column in columns:
                self._column(table, column)
            if isinstance(part, Group) and part.formula:
                self._formulas(table, part.name, part.formula, by_line=False)
        for row in (placed.area.top, placed.area.top + 1):
            if page_columns(table):
                self.sheet.row_dimensions[row].height = (
                    table.heading if row == placed.area.top else 21
                )
        if table.high:
            for row in range(placed.area.top + 2, placed.area.top + 2 + table.rows):
                self.sheet.row_dimensions[row].height = table.high
        if table.filtered:
            first = placed.area.cells.partition(":")[0]
            last = placed.area.cells.partition(":")[2]
            letters = first.rstrip("0123456789")
            self.sheet.auto_filter.ref = f"{letters}{placed.area.top + 1}:{last}"

    def _open_to_typing(self, table: Table) -> list[str]:
        """Computed columns on the page that no array formula guards."""
        return [self.layout.names[column.name].cells for column in table.columns
                if column.role is Role.RESULT and column.formula and column.by_line]  # fmt: skip

    def _column(self, table: Table, column: Column) -> None:
        sheet, area = self.sheet, self.layout.names[column.name]
        letter = get_column_letter(area.left)
        typed = column.role is Role.TYPED
        self._heading(sheet.cell(area.top - 2, area.left), column.heading,
                      styles.HEADING_TYPED if typed else styles.HEADING, column.role)  # fmt: skip
        self._heading(sheet.cell(area.top - 1, area.left), column.hint,
                      styles.HINT_TYPED if typed else styles.HINT, column.role)  # fmt: skip
        if column.role is not Role.STEP:
            if not self.page.sheet.widths:
                sheet.column_dimensions[letter].width = column.width
            first = sheet.cell(area.top, area.left)
            first.style, first.number_format = _LOOK[column.role], column.format
            if column.wrap:
                first.alignment = styles.WRAPPED_WORDS
            elif column.bar:
                first.alignment = styles.OVER_BAR
            elif column.format == styles.GENERAL and column.role is not Role.BOX:
                first.alignment = styles.WORDS
            for row in range(area.top + 1, area.top + area.rows):
                # As openpyxl copies a sheet: to look up styles by name takes most of a build.
                sheet.cell(row, area.left)._style = copy(first._style)
        elif column.format != styles.GENERAL:  # the report writes them as their cells show them
            for row in range(area.top, area.top + area.rows):
                sheet.cell(row, area.left).number_format = column.format
        for row, value in enumerate(column.values, area.top):
            _put(sheet.cell(row, area.left), value)
        if column.formula:
            self._formulas(table, column.name, column.formula, column.by_line)
        for line, formula in enumerate(column.lines):
            self.sheet.cell(area.top + line, area.left).value = self._words("=" + formula)
        if column.limits:
            self._limit(column.limits, area.cells)
        if column.bar:
            sheet.conditional_formatting.add(area.cells, DataBarRule(
                "num", 0, "num", 1, styles.BAR, showValue=True, minLength=0, maxLength=100
            ))  # fmt: skip

    def _heading(self, cell: Any, text: str, style: str, role: Role) -> None:
        cell.value = self._words(text)
        cell.style = styles.STEP if role is Role.STEP else style

    def _formulas(self, table: Table, name: str, formula: str, by_line: bool) -> None:
        area = self.layout.names[name]
        if not by_line:
            self._check(formula, area.rows)
            first = area.cells.partition(":")[0]
            text = "=" + rewritten(formula, lambda _, name: name)
            if area.rows * area.columns == 1:
                self.sheet[first] = text
            else:
                self.sheet[first] = ArrayFormula(area.cells, text)
            return
        self._must_be_short(formula)
        text = "=" + rewritten(formula, self._on_first_line(area))
        if area.rows == 1:
            self.sheet.cell(area.top, area.left).value = text
            return
        self.filled += 1
        fill_down(self.sheet, text, self.filled, area.cells)

    def _on_first_line(self, area: Area) -> Callable[[str, str], str]:
        """What a name in a formula means on the first line of a table."""

        def cell(prefix: str, name: str) -> str:
            known = self.layout.names.get(name)
            if known is None or prefix == "all." or known.rows == known.columns == 1:
                return self._single(name)
            if known.rows != area.rows:
                raise LayoutProblem(f"{name} has {known.rows} lines, not {area.rows}")
            address = known.cell(-1 if prefix == "above." else 0)
            if known.sheet == area.sheet:
                return address
            return f"{quote_sheetname(known.sheet)}!{address}"

        return cell

    def _check(self, formula: str, rows: int = 1) -> None:
        """Refuse a formula that is too long, or that names a column of other lines."""
        self._must_be_short(formula)

        def look(prefix: str, name: str) -> str:
            known = self.layout.names.get(name)
            if known and not prefix and known.rows not in (1, rows):
                raise LayoutProblem(f"{name} has {known.rows} lines, not {rows}: {formula}")
            return name

        rewritten(formula, look)

    def _must_be_short(self, formula: str) -> None:
        if len(formula) > self.longest:
            raise LayoutProblem(f"{len(formula)} characters: {formula}")

    # --- the sheet as a whole --------------------------------------------------------------------

    def _limit(self, limits: Limits, cells: str) -> None:
        rule = DataValidation(
            type=limits.kind,
            formula1=limits.low,
            formula2=limits.high or None,
            operator="between" if limits.high else None,
            allow_blank=True,
            errorStyle="stop",
            errorTitle="Please check",
            error=limits.message[:225],
            prompt=limits.message[:255],
            showErrorMessage=True,
            showInputMessage=bool(limits.message) and limits.kind == "decimal",
        )
        self.sheet.add_data_validation(rule)
        rule.add(cells)

    def _refuse(self, cells: str) -> None:
        """Let nobody type over a single computed cell; columns guard themselves as arrays."""
        rule = DataValidation(
            type="custom", formula1="FALSE", allow_blank=False, errorStyle="stop",
            errorTitle="Computed", error=_COMPUTED, showErrorMessage=True,
        )  # fmt: skip
        self.sheet.add_data_validation(rule)
        for cell in cells.split():
            rule.add(cell)

    def _print(self, paper: int) -> None:
        sheet, data = self.sheet, self.page.sheet
        repeat = ""
        if data.frozen:
            top = self.layout.names[f"{data.frozen}_top"].top
            column = get_column_letter(data.frozen_columns + 1)
            sheet.freeze_panes = f"{column}{top + 1}"
            repeat = f"{top - 1}:{top}"
        area = f"A1:{get_column_letter(self.wide)}{self.page.height}"
        page(sheet, paper, area, repeat, data.landscape, self._pages() if data.tall else 1)

    def _pages(self) -> int:
        """How many pages the sheet may take by the lines of its longest table."""
        lines = max(placed.block.rows for placed in self.page.blocks
                    if isinstance(placed.block, Table) and page_columns(placed.block))  # fmt: skip
        return math.ceil((lines + _AROUND) / _LINES_OF_A_PAGE)


def _is_formula(text: str) -> bool:
    return text.startswith("=") and not isinstance(text, Verbatim)


def _put(cell: Any, value: Any) -> None:
    cell.value = value
    if isinstance(value, Verbatim):  # openpyxl would take one that begins with = for a formula
        cell.data_type = "s"


def page(
    sheet: Worksheet,
    paper: int,
    area: str,
    repeat: str = "",
    landscape: bool = False,
    pages: int = 0,
) -> None:
    """One page wide on the paper; sheet, file and page number in the footer."""
    sheet.print_area = area
    if repeat:
        sheet.print_title_rows = repeat
    setup = sheet.page_setup
    setup.paperSize = paper
    setup.orientation = "landscape" if landscape else "portrait"
    setup.fitToWidth, setup.fitToHeight = 1, pages
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    margins = sheet.page_margins
    margins.left = margins.right = 0.2
    margins.top, margins.bottom, margins.footer = 0.35, 0.5, 0.25
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.center.text = "&F"
    sheet.oddFooter.right.text = "&P / &N"
    sheet.print_options.horizontalCentered = True


def type_into(book: Workbook, name: str, value: Any, line: int = 0) -> None:
    """Type a value into a named cell, or into one line of a named column."""
    if value is None:
        return
    title, cells = next(iter(book.defined_names[name].destinations))
    first = book[title][cells.replace("$", "").partition(":")[0]]
    book[title].cell(first.row + line, first.column).value = value
