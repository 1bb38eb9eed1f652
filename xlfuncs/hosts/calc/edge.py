"""Between Calc's cells and the boundary: what an add-in call brings, and what it takes back.

Calc hands an empty cell over as `''` within a range, but as the number 0 when it is named alone.
So a 0 alone, where the argument cannot be 0, counts as a blank.
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Sequence
from typing import Any

from xlfuncs.cells.boundary import answer
from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.functions import CATALOGUE

Rows = tuple[tuple[Any, ...], ...]


def _error(code: int) -> float:
    """A number that Calc takes for its error of that code: NaN with the code as payload."""
    number: float = struct.unpack("<d", struct.pack("<Q", 0x7FF8000000000000 | code))[0]
    return number


_ERRORS = {
    text: _error(code)
    for text, code in {
        "#NULL!": 521,
        "#DIV/0!": 532,
        "#VALUE!": 519,
        "#REF!": 524,
        "#NAME?": 525,
        "#NUM!": 503,
        "#N/A": 32767,
    }.items()
}


def respond(name: str, sent: Sequence[Any]) -> Rows:
    """What the cells that call the function show, as the rows of an array; errors as Calc's own."""
    function = CATALOGUE[name]
    result = answer(function, _cells(function, sent))
    if not isinstance(result, list):
        return ((_ERRORS.get(result, result),),)
    if not _ERRORS.keys().isdisjoint(itertools.chain.from_iterable(result)):
        result = [[_ERRORS.get(cell, cell) for cell in row] for row in result]
    return tuple(map(tuple, result))


def _cells(function: CellFunction, sent: Sequence[Any]) -> list[Any]:
    """The arguments as the boundary takes them; one cell is a value rather than an array."""
    cells = [
        raw[0][0] if isinstance(raw, tuple) and len(raw) == len(raw[0]) == 1 else raw
        for raw in sent
    ]
    return [
        None if type(cell) is float and not cell and _cannot_be_zero(function, place, cells)
        else cell
        for place, cell in enumerate(cells)
    ]  # fmt: skip


def _cannot_be_zero(function: CellFunction, place: int, cells: Sequence[Any]) -> bool:
    quantity = function.arguments[place].quantity
    if isinstance(quantity, Number) and quantity.given is not None:
        for argument, cell in zip(function.arguments, cells, strict=False):
            if argument.name == quantity.depends_on and isinstance(argument.quantity, Choice):
                word = argument.quantity.read(cell, argument.name)
                if word in argument.quantity.words:
                    return isinstance(quantity.given(word).read(0.0, ""), str)
    return isinstance(quantity.read(0.0, ""), str)
