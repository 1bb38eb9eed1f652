"""Calls of the catalogue as formulas in a workbook, with the answers that Python gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.cells.catalogue import CellFunction

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
        expected = rows(function.callable()(*as_sent(cells)))
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


def as_sent(cells: list[Any]) -> list[Any]:
    """What reaches the boundary."""
    return [None if cell is LEFT_OUT or cell is EMPTY_CELL else cell for cell in cells]


def rows(answer: Any) -> list[list[Any]]:
    """An answer of any shape as rows."""
    return answer if isinstance(answer, list) else [[answer]]
