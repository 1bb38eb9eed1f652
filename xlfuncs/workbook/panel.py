"""Labelled cells above or beside a table: a label, a cell to fill in or an answer, a remark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from openpyxl.styles import Alignment
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import layout, styles
from xlfuncs.workbook.layout import Limits


@dataclass(frozen=True)
class Panel:
    """Lines of labelled cells; each part is one column or several merged ones, such as `D:H`."""

    sheet: Worksheet
    label: str
    cell: str
    remark: str

    def entry(
        self,
        row: int,
        label: str,
        key: str,
        remark: str = "",
        limits: Limits | None = None,
        value: Any = None,
        number_format: str = styles.PLAIN,
    ) -> None:
        """A cell to fill in, with a name."""
        self._line(row, label, key, value, remark, styles.INPUT, number_format)
        if limits:
            limits.add_to(self.sheet, f"{self.cell[0]}{row}")

    def answer(
        self,
        row: int,
        label: str,
        key: str,
        formula: str,
        remark: str = "",
        number_format: str = styles.PLAIN,
    ) -> None:
        """A computed cell, with a name."""
        self._line(row, label, key, "=" + formula, remark, styles.RESULT, number_format)

    def _line(
        self, row: int, label: str, key: str, value: Any, remark: str, style: str, form: str
    ) -> None:
        for columns, text, look in (
            (self.label, label, styles.LABEL),
            (self.cell, value, style),
            (self.remark, remark, styles.LEAD),
        ):
            cell = span(self.sheet, columns, row, text, look)
            if columns == self.cell:
                cell.number_format = form
            if columns != self.label:
                cell.alignment = styles.WORDS
        layout.name(self.sheet, key, f"{self.cell[0]}{row}")


def span(sheet: Worksheet, columns: str, row: int, value: Any, style: str) -> Any:
    """Put a value into a row of one column or of several merged ones; gives its first cell."""
    first, _, last = columns.partition(":")
    for number in range(ord(first), ord(last or first) + 1):
        sheet[f"{chr(number)}{row}"].style = style
    if last:
        layout.merge(sheet, f"{first}{row}:{last}{row}")
    sheet[f"{first}{row}"] = value
    return sheet[f"{first}{row}"]


def step(sheet: Worksheet, row: int, key: str, formula: str, column: str = "K") -> None:
    """A named step of the calculation, right of the printed page."""
    cell = span(sheet, column, row, "=" + formula, styles.STEP)
    layout.name(sheet, key, cell.coordinate)


def two_steps(
    sheet: Worksheet, row: int, keys: tuple[str, str], formula: str, column: str = "K"
) -> None:
    """Two named steps side by side that one array formula computes."""
    beside = chr(ord(column) + 1)
    for letter, key in zip((column, beside), keys, strict=True):
        cell = span(sheet, letter, row, None, styles.STEP)
        layout.name(sheet, key, cell.coordinate)
    cells = f"{column}{row}:{beside}{row}"
    sheet[f"{column}{row}"] = ArrayFormula(cells, "=" + formula)


def even(sheet: Worksheet, first: int, last: int) -> None:
    """Give rows the height of a line of type: steps to the right may have made them taller."""
    for row in range(first, last + 1):
        sheet.row_dimensions[row].height = 16


def wrapped(sheet: Worksheet, cells: str, height: float) -> None:
    """Let long words in a column of results run over several lines."""
    for (cell,) in sheet[cells]:
        cell.alignment = Alignment(wrap_text=True, vertical="center", horizontal="left", indent=1)
        sheet.row_dimensions[cell.row].height = height


def cautions(sheet: Worksheet, columns: str, row: int, *texts: str) -> int:
    """Cautions, one to a row, where the person looks; gives the row after them."""
    for text in texts:
        span(sheet, columns, row, text, styles.CAUTION)
        sheet.row_dimensions[row].height = 18
        row += 1
    return row
