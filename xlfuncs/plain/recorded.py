"""What a cell function does with its arguments, recorded with the stand-ins and kept."""

from __future__ import annotations

import functools
from typing import Any

from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.cells.quantities import Choice
from xlfuncs.plain import pieces, trace
from xlfuncs.plain.expressions import argument

#: Constants in the places of arguments, as they are given to the body.
Constants = tuple[tuple[str, Any], ...]


@functools.cache
def with_stand_ins(name: str, constants: Constants, steps: int) -> trace.Answer:
    """The function's answer, short, from arguments that are read and within their limits."""
    function, given = CATALOGUE[name], dict(constants)
    values = {
        each.name: given[each.name] if each.name in given else argument(each.name)
        for each in function.arguments
    }
    for each in function.arguments:
        if isinstance(each.quantity, Choice) and each.name not in given:
            raise ValueError(f"{name}: {each.name} must be a constant")
    with pieces.standing_in(steps):
        return trace.answer(function, values)
