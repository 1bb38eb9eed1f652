"""A formula filled down a column, written once in the file: the cells below only refer to it.

openpyxl has no such cells, and takes most of its time for them: while it reads, one of its names
stands aside for ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from openpyxl.cell import Cell
from openpyxl.formula.translate import Translator
from openpyxl.utils import range_boundaries
from openpyxl.worksheet import _reader
from openpyxl.worksheet.formula import ArrayFormula


class Filled(ArrayFormula):  # type: ignore[misc]
    """What one cell of the column holds: the formula as it reads in the first cell, and its number.

    Numbers are given anew on each sheet.  `cells`, the whole of them, stands in the first alone.
    It is an array formula for openpyxl, which writes only formulas of its own kinds.
    """

    t = "shared"

    def __init__(self, formula: str, number: int, row: int, cells: str = "") -> None:
        super().__init__(cells, formula if cells else None)
        self.formula, self.number, self.row = formula, number, row

    def __iter__(self) -> Iterator[tuple[str, str]]:
        yield from super().__iter__()
        yield "si", str(self.number)


def fill_down(sheet: Any, formula: str, number: int, cells: str) -> None:
    """Put a formula, as it reads in the first, into all cells of a column."""
    column, top, _, bottom = range_boundaries(cells)
    sheet.cell(top, column).value = Filled(formula, number, top, cells)
    below = Filled(formula, number, top)
    for row in range(top + 1, bottom + 1):
        # To look for each cell, and for what its value is, takes openpyxl most of a build.
        cell = sheet._cells.get((row, column))
        if cell is None:
            cell = sheet._cells[row, column] = Cell(sheet, row, column)
        cell._value, cell.data_type = below, "f"


class _Below:
    """The formula of a cell below the first: its text, when somebody asks for it."""

    def __init__(self, formula: str, origin: str, cell: str) -> None:
        self._formula, self._origin, self._cell = formula, origin, cell

    def __str__(self) -> str:
        return str(Translator(self._formula, self._origin).translate_formula(self._cell))


class _WhenAsked:
    """In place of openpyxl's translator."""

    def __init__(self, formula: str, origin: str) -> None:
        self._formula, self._origin = formula, origin

    def translate_formula(self, cell: str) -> _Below:
        """The formula of another cell to which it was filled."""
        return _Below(self._formula, self._origin, cell)


@contextmanager
def translated_when_asked() -> Iterator[None]:
    """openpyxl reads a formula below the first as what gives its text by `str` alone.

    For a workbook of which few formulas are looked at: to translate them takes longer than all
    else.
    """
    _reader.Translator = _WhenAsked
    try:
        yield
    finally:
        _reader.Translator = Translator
