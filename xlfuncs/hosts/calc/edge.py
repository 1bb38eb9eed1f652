"""Between Calc's cells and the boundary: what an add-in call brings, and what it takes back.

Calc hands an empty cell over as `''` within a range, but as the number 0 when it is named alone.
So a 0 alone, where the argument cannot be 0, counts as a blank.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from xlfuncs.cells.boundary import answer
from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.functions import CATALOGUE

Rows = tuple[tuple[Any, ...], ...]


def respond(name: str, sent: Sequence[Any]) -> Rows:
    """What the cells that call the function show, as the rows of an array.

    An error that was passed on stays the text that it came as: Calc calls no function on a range
    that holds a real error, so one would take the answers of all its neighbours down the chain.
    """
    function = CATALOGUE[name]
    result = answer(function, _cells(function, sent))
    return tuple(map(tuple, result)) if isinstance(result, list) else ((result,),)


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
