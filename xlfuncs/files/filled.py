"""A formula filled down a column, written once in the file: the cells below only refer to it."""

from __future__ import annotations

from collections.abc import Iterator

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
