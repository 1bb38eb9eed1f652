"""A formula filled down a column, written once in the file: the cells below only refer to it.

openpyxl has no such cells, and takes most of its time for them: while it reads and writes, some of
its names stand aside for ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from openpyxl.formula.translate import Translator
from openpyxl.worksheet import _reader, _writer
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


#: What stands in the part for a cell below the first: its address, its look, and the number.
_SHORT = re.compile(rb"\[\[([A-Z]+\d+) (\d+) (\d+)\]\]")


@contextmanager
def written_short() -> Iterator[None]:
    """openpyxl writes cells below the first of a formula in short; `written_out` makes them cells.

    An element of XML for each of a hundred thousand such cells takes it longer than all else.
    """
    write = _writer.write_cell

    def short(file: Any, sheet: Any, cell: Any, styled: Any = None) -> None:
        value = cell._value
        if isinstance(value, Filled) and not value.ref:
            file.write(f"[[{cell.coordinate} {cell.style_id if styled else 0} {value.number}]]")
        else:
            write(file, sheet, cell, styled)

    _writer.write_cell = short
    try:
        yield
    finally:
        _writer.write_cell = write


def written_out(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The pieces of a part that openpyxl wrote, with the cells that it wrote in short.

    No piece ends within a row.
    """

    def cell(short: re.Match[bytes]) -> bytes:
        address, look, number = short.groups()
        styled = b' s="%s"' % look if look != b"0" else b""
        return b'<c r="%s"%s><f t="shared" si="%s" /><v /></c>' % (address, styled, number)

    among = b""  # whether the cells have begun
    for piece in pieces:
        head, mark, rest = (b"", among, piece) if among else piece.partition(b"<sheetData>")
        # A text that looks like one of these stands in an element of its own.
        runs = re.split(rb"(<is>.*?</is>|<f[ >].*?</f>)", rest, flags=re.DOTALL)
        runs[::2] = [_SHORT.sub(cell, run) for run in runs[::2]]
        yield head + (b"" if among else mark) + b"".join(runs)
        among = mark
