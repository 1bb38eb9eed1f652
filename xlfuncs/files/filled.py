"""A formula filled down a column, written once in the file: the cells below only refer to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from openpyxl.formula.translate import Translator
from openpyxl.utils.cell import coordinate_from_string
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


class _Filling:
    """In place of openpyxl's translator: the formula of a cell below its first stays as it is."""

    def __init__(self, formula: str, origin: str) -> None:
        self._formula, self._origin = formula, origin
        self._column, row = coordinate_from_string(origin)
        self._below = Filled(formula, 0, row)

    def translate_formula(self, cell: str) -> Filled | str:
        """The formula of another cell to which it was filled."""
        if coordinate_from_string(cell)[0] == self._column:
            return self._below
        return str(Translator(self._formula, self._origin).translate_formula(cell))


@contextmanager
def kept_filled() -> Iterator[None]:
    """openpyxl reads cells below the first of a formula filled down as `Filled`."""
    before, _reader.Translator = _reader.Translator, _Filling
    try:
        yield
    finally:
        _reader.Translator = before
