"""Tables on a sheet: columns with heading, hint, name, format, check of input, and formula."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field
from typing import Any

from openpyxl.utils import absolute_coordinate, get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import styles

LETTER, A4 = 1, 9


@dataclass(frozen=True)
class Limits:
    """What may be typed into an input cell, and what to say when it is something else."""

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
    def between(cls, low: float | str, high: float | str, what: str) -> Limits:
        """A number between two limits, which may be formulas."""
        return cls("decimal", str(low), str(high), what)

    def add_to(self, sheet: Worksheet, cells: str) -> None:
        """Check the input of these cells."""
        rule = DataValidation(
            type=self.kind,
            formula1=self.low,
            formula2=self.high or None,
            operator="between" if self.high else None,
            allow_blank=True,
            errorStyle="stop",
            errorTitle="Please check",
            error=self.message[:225],
            promptTitle="",
            prompt=self.message[:255],
            showErrorMessage=True,
            showInputMessage=bool(self.message) and self.kind != "list",
        )
        sheet.add_data_validation(rule)
        rule.add(cells)


def dates() -> Limits:
    """A date that a spreadsheet can hold."""
    return Limits("date", "36526", "73050", "A date from 2000 on; a time may follow it")


def gravities(message: str) -> Limits:
    """A gravity in the unit of gravities that is chosen on Setup."""
    return Limits.between(
        'IF(unit_gravity="Plato",0.1,1)', 'IF(unit_gravity="Plato",45,1.206)', message
    )


def temperatures(highest: int, what: str) -> Limits:
    """A temperature from freezing to so many °C, in the unit chosen on Setup."""
    fahrenheit = round(highest * 1.8 + 32)
    return Limits.between(
        'IF(unit_temperature="F",32,0)',
        f'IF(unit_temperature="F",{fahrenheit},{highest})',
        what,
    )


@dataclass(frozen=True)
class Column:
    """One column of a table.

    With a formula it is computed by one array formula over its rows, or, where the formula holds
    `{row}`, by an ordinary formula in each row (`{above}` is the row before).
    """

    key: str
    heading: str
    hint: str = ""
    width: float = 11
    format: str = styles.PLAIN
    formula: str = ""
    style: str = styles.INPUT
    limits: Limits | None = None

    @property
    def computed(self) -> bool:
        """Whether the sheet fills it in."""
        return self.style != styles.INPUT


def instrument() -> Column:
    """The column in which a line names its instrument."""
    one_of_ours = Limits.listed("inst_name", "One of the instruments on the Setup sheet")
    return Column("instrument", "Instrument", "choose", width=19, limits=one_of_ours)


def shown_reading() -> Column:
    """The column of what an instrument of any kind shows."""
    return Column(
        "reading",
        "Reading",
        "as shown",
        9,
        styles.READING,
        limits=Limits.between(
            -1, 45, "What the instrument shows: °Brix, SG, or °Plato on a hydrometer"
        ),
    )


@dataclass
class Table:
    """A block of rows under headings; each column is a defined name `prefix_key`."""

    sheet: Worksheet
    prefix: str
    top: int  # row of the headings; hints stand below, then the rows
    rows: int
    columns: Sequence[Column]
    left: int = 1
    letters: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for number, column in enumerate(self.columns):
            self.letters[column.key] = get_column_letter(self.left + number)

    @property
    def first(self) -> int:
        """First row of cells."""
        return self.top + 2

    @property
    def last(self) -> int:
        """Last row of cells."""
        return self.first + self.rows - 1

    def cells(self, key: str) -> str:
        """Address of a column's cells, such as `C6:C45`."""
        letter = self.letters[key]
        return f"{letter}{self.first}:{letter}{self.last}"

    def write(self) -> Table:
        """Put headings, formats, names, formulas and input checks on the sheet."""
        for column in self.columns:
            self._write_column(column)
        self.sheet.row_dimensions[self.top].height = 40
        self.sheet.row_dimensions[self.top + 1].height = 24
        return self

    def _write_column(self, column: Column) -> None:
        sheet, letter = self.sheet, self.letters[column.key]
        sheet.column_dimensions[letter].width = column.width
        heading, hint = sheet[f"{letter}{self.top}"], sheet[f"{letter}{self.top + 1}"]
        heading.value, hint.value = column.heading, column.hint
        heading.style = styles.HEADING if column.computed else styles.HEADING_INPUT
        hint.style = styles.HINT if column.computed else styles.HINT_INPUT
        first = sheet[f"{letter}{self.first}"]
        first.style = column.style
        first.number_format = column.format
        if column.format == styles.PLAIN and column.style in (styles.INPUT, styles.RESULT):
            first.alignment = styles.WORDS
        for row in range(self.first + 1, self.last + 1):
            # As openpyxl copies a sheet: to look each style up by its name takes most of a build.
            sheet.cell(row, first.column)._style = copy(first._style)
        cells = self.cells(column.key)
        name(sheet, f"{self.prefix}_{column.key}", cells)
        if column.formula:
            if "{row}" in column.formula:
                for row in range(self.first, self.last + 1):
                    formula = column.formula.replace("{row}", str(row))
                    sheet[f"{letter}{row}"] = "=" + formula.replace("{above}", str(row - 1))
            else:
                self._array(cells, column.formula)
        if column.limits:
            column.limits.add_to(sheet, cells)

    def block(self, keys: Sequence[str], formula: str) -> None:
        """Compute neighbouring columns by one array formula over all rows."""
        first, last = self.letters[keys[0]], self.letters[keys[-1]]
        self._array(f"{first}{self.first}:{last}{self.last}", formula)

    def block_by_row(self, keys: Sequence[str], formula: str) -> None:
        """Compute neighbouring columns by one array formula in each row; `{row}` is its number."""
        first, last = self.letters[keys[0]], self.letters[keys[-1]]
        for row in range(self.first, self.last + 1):
            self._array(f"{first}{row}:{last}{row}", formula.replace("{row}", str(row)))

    def _array(self, cells: str, formula: str) -> None:
        self.sheet[cells.split(":")[0]] = ArrayFormula(cells, "=" + formula)

    def fill(self, row: int, values: dict[str, Any]) -> None:
        """Type values into the input cells of one row, counted from 0."""
        for key, value in values.items():
            if value is not None:
                self.sheet[f"{self.letters[key]}{self.first + row}"] = value


def name(sheet: Worksheet, label: str, cells: str) -> None:
    """Give cells of a sheet a name that formulas and readers use."""
    book: Workbook = sheet.parent
    target = f"{quote_sheetname(sheet.title)}!{absolute_coordinate(cells)}"
    book.defined_names[label] = DefinedName(label, attr_text=target)


def merge(sheet: Worksheet, cells: str) -> None:
    """Show neighbouring cells as one.

    The cells keep the styles they have; `Worksheet.merge_cells` would work out each one's border
    anew, which takes longer than all the rest of a sheet.
    """
    sheet.merged_cells.add(cells)


def put(sheet: Worksheet, label: str, value: Any) -> None:
    """Type a value into the named cell of a sheet."""
    target = sheet.parent.defined_names[label].attr_text
    sheet[target.rpartition("!")[2].replace("$", "")] = value


def entry(
    sheet: Worksheet,
    row: int,
    label: str,
    key: str,
    value: Any,
    explanation: str = "",
    limits: Limits | None = None,
    number_format: str = styles.PLAIN,
) -> None:
    """A labelled input cell: label in B, cell in C with a name, explanation in D."""
    sheet[f"B{row}"] = label
    sheet[f"B{row}"].style = styles.LABEL
    cell = sheet[f"C{row}"]
    cell.value, cell.style, cell.number_format = value, styles.INPUT, number_format
    sheet[f"D{row}"] = explanation
    sheet[f"D{row}"].style = styles.LEAD
    sheet[f"D{row}"].alignment = styles.WORDS
    name(sheet, key, f"C{row}")
    if limits:
        limits.add_to(sheet, f"C{row}")


def answer(
    sheet: Worksheet,
    row: int,
    label: str,
    key: str,
    formula: str,
    explanation: str = "",
    number_format: str = styles.PLAIN,
    left: int = 2,
) -> None:
    """A labelled computed cell: label in B, cell in C with a name, explanation in D.

    `left` is the number of the label's column, where that is not B.
    """
    at_label, at_cell, at_explanation = (f"{get_column_letter(left + i)}{row}" for i in range(3))
    sheet[at_label], sheet[at_label].style = label, styles.LABEL
    cell = sheet[at_cell]
    cell.value, cell.style, cell.number_format = "=" + formula, styles.RESULT, number_format
    if number_format == styles.PLAIN:
        cell.alignment = styles.WORDS
    sheet[at_explanation], sheet[at_explanation].style = explanation, styles.LEAD
    sheet[at_explanation].alignment = styles.WORDS
    name(sheet, key, at_cell)


def title(sheet: Worksheet, text: str, lead: str, last_column: str) -> None:
    """Title and lead of a sheet, in rows 1 and 2."""
    sheet["A1"], sheet["A1"].style = text, styles.TITLE
    sheet["A2"] = lead
    sheet["A2"].style = styles.LEAD
    merge(sheet, f"A2:{last_column}2")
    sheet.row_dimensions[1].height = 28
    sheet.row_dimensions[2].height = 30
    sheet.sheet_view.showGridLines = False


def page(
    sheet: Worksheet, paper: int, area: str, repeat: str = "", landscape: bool = False
) -> None:
    """One page wide on the paper, headings repeated, sheet and page number in the footer."""
    sheet.print_area = area
    if repeat:
        sheet.print_title_rows = repeat
    setup = sheet.page_setup
    setup.paperSize = paper
    setup.orientation = "landscape" if landscape else "portrait"
    setup.fitToWidth, setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.5
    sheet.page_margins.top, sheet.page_margins.bottom = 0.6, 0.8
    sheet.page_margins.footer = 0.4
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "&P / &N"
