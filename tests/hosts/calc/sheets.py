"""Calls of the catalogue as formulas in a workbook, with the answers that Python gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.quantities import Number

EMPTY_CELL = object()  # an argument that is the name of one empty cell
_WIDTH = 8  # columns for each argument
LEFT_OUT = object()  # an argument of which nothing is written between the separators


@dataclass(frozen=True)
class Case:
    """One formula: where its answer stands, and what that ought to be."""

    name: str
    formula: str
    addresses: list[list[str]]
    expected: list[list[Any]]


@dataclass
class CaseBook:
    """A workbook that fills with cases: one sheet a function, one case below the other."""

    book: Any = field(default_factory=openpyxl.Workbook)
    cases: dict[str, list[Case]] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)

    def add(
        self, name: str, function: CellFunction, cells: list[Any], literal: bool = False
    ) -> None:
        """A case whose arguments stand in cells of the sheet, or (`literal`) in the formula."""
        cells = [kept(cell) for cell in cells]
        sheet, top = self._sheet(function.name)
        written, height = [], 1
        for place, cell in enumerate(cells):
            first = 1 + _WIDTH * place
            column = get_column_letter(first)
            if cell is LEFT_OUT:
                written.append("")
            elif cell is EMPTY_CELL:
                written.append(f"{column}{top}")
            elif isinstance(cell, list):
                height = max(height, len(cell))
                for i, row in enumerate(cell):
                    for j, value in enumerate(row):
                        sheet.cell(top + i, first + j).value = value
                last = get_column_letter(first + len(cell[0]) - 1)
                written.append(f"{column}{top}:{last}{top + len(cell) - 1}")
            elif cell is None:
                written.append(f"{column}{top}:{column}{top}")
            elif literal:
                text = f'"{cell}"' if isinstance(cell, str) else repr(float(cell))
                written.append(text)
            else:
                sheet.cell(top, first).value = cell
                written.append(f"{column}{top}")
        expected = rows(function.callable()(*as_sent(function, cells)))
        self._place(name, function.name, f"{function.name}({','.join(written)})", expected)
        self.rows[function.name] = top + max(height, len(expected)) + 1

    def _place(self, name: str, title: str, call: str, expected: list[list[Any]]) -> None:
        sheet, top = self._sheet(title)
        first = 100  # to the right of every argument
        addresses = [
            [f"{get_column_letter(first + j)}{top + i}" for j in range(len(row))]
            for i, row in enumerate(expected)
        ]
        anchor, last = addresses[0][0], addresses[-1][-1]
        if anchor == last:
            sheet[anchor] = f"={call}"
        else:
            sheet[anchor] = ArrayFormula(f"{anchor}:{last}", f"={call}")
        self.cases.setdefault(title, []).append(Case(name, call, addresses, expected))

    def _sheet(self, title: str) -> tuple[Any, int]:
        if title not in self.book.sheetnames:
            self.book.create_sheet(title)
        return self.book[title], self.rows.get(title, 1)

    def save(self, path: Path) -> Path:
        self.book.save(path)
        return path


def kept(cell: Any) -> Any:
    """The cell with numbers that Calc keeps: it reads no more than 15 digits from a file."""
    if isinstance(cell, list):
        return [kept(inner) for inner in cell]
    return float(f"{cell:.15g}") if isinstance(cell, (int, float)) else cell


def as_sent(function: CellFunction, cells: list[Any]) -> list[Any]:
    """What reaches the boundary: Calc gives a cell named alone as 0 when it is empty.

    So a 0 alone counts as blank where the argument cannot be 0, and as 0 where it can.
    """
    sent = [None if cell is LEFT_OUT else cell for cell in cells]
    for place, cell in enumerate(sent):
        if cell is EMPTY_CELL or (isinstance(cell, float) and cell == 0):
            quantity = function.arguments[place].quantity
            if isinstance(quantity, Number) and quantity.given is not None:
                names = [argument.name for argument in function.arguments]
                quantity = quantity.given(sent[names.index(quantity.depends_on)])
            can_be_zero = isinstance(quantity, Number) and (
                quantity.low < 0 <= quantity.high or (quantity.low == 0 and not quantity.above)
            )
            sent[place] = 0.0 if can_be_zero else None
    return sent


def rows(answer: Any) -> list[list[Any]]:
    """An answer of any shape as rows."""
    return answer if isinstance(answer, list) else [[answer]]
