"""Between Calc's cells and the boundary: what an add-in call brings, and what it takes back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from xlfuncs.cells.boundary import answer
from xlfuncs.functions import CATALOGUE

Rows = tuple[tuple[Any, ...], ...]


def respond(name: str, sent: Sequence[Any]) -> Rows:
    """What the cells that call the function show, as the rows of an array.

    An error that was passed on stays the text that it came as: Calc calls no function on a range
    that holds a real error, so one would take the answers of all its neighbours down the chain.
    """
    function = CATALOGUE[name]
    cells = [raw[0][0] if _is_one_cell(raw) else raw for raw in sent]
    result = answer(function, cells)
    return tuple(map(tuple, result)) if isinstance(result, list) else ((result,),)


def _is_one_cell(raw: Any) -> bool:
    return isinstance(raw, tuple) and len(raw) == len(raw[0]) == 1
