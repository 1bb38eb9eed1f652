"""Compute recorded arithmetic with numpy, on many cases at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xlfuncs.plain.expressions import OPERATIONS, Expression, Value, is_text, reached
from xlfuncs.science.arrays import Array


def compute(root: Value, given: Mapping[str, Array]) -> NDArray[np.object_]:
    """The value in each case: a number or a text; NaN where the arithmetic gives none."""
    size = max(array.size for array in given.values())
    numbers: dict[int, Any] = {}
    with np.errstate(all="ignore"):
        for step in reached(root):
            if step.op == "argument":
                numbers[step.number] = given[str(step.args[0])]
            elif not is_text(step) and not any(_is_message(part) for part in step.args):
                numbers[step.number] = _number(step, numbers)
            elif step.op == "=":
                sides = [np.empty(size, dtype=object) for _ in step.args]
                for side, part in zip(sides, step.args, strict=True):
                    _fill(side, np.arange(size), part, numbers)
                numbers[step.number] = np.equal(*sides).astype(bool)
    cells = np.empty(size, dtype=object)
    _fill(cells, np.arange(size), root, numbers)
    return cells


def _is_message(value: Value) -> bool:
    """Whether the value is a text that is put together, rather than a word."""
    return isinstance(value, Expression) and is_text(value)


def _number(step: Expression, numbers: Mapping[int, Any]) -> Any:
    parts: list[Any] = [numbers[a.number] if isinstance(a, Expression) else a for a in step.args]
    if step.op == "IF":
        return np.where(*parts)
    if step.op == "ROUND":
        return np.round(parts[0], int(parts[1]))
    if step.op in ("+", "AND", "OR", "MAX", "MIN", "*"):
        result = parts[0]
        for part in parts[1:]:
            result = OPERATIONS[step.op](result, part)
        return result
    return OPERATIONS[step.op](*parts)


def _fill(
    cells: NDArray[np.object_], where: NDArray[np.intp], value: Value, numbers: Mapping[int, Any]
) -> None:
    """Put the value of each case at the positions `where` into the cells."""
    if not where.size:
        return
    if isinstance(value, Expression) and value.number in numbers:
        cells[where] = np.broadcast_to(numbers[value.number], cells.shape)[where]
    elif not isinstance(value, Expression):
        cells[where] = value
    elif value.op == "IF":
        condition = np.broadcast_to(_of(value.args[0], numbers), cells.shape)[where]
        _fill(cells, where[condition], value.args[1], numbers)
        _fill(cells, where[~condition], value.args[2], numbers)
    elif value.op == "TEXT":
        number = np.broadcast_to(_of(value.args[0], numbers), cells.shape)[where]
        cells[where] = [format(one, str(value.args[1])) for one in number.tolist()]
    elif value.op == "&":
        said = np.full(where.size, "", dtype=object)
        for part in value.args:
            one = np.empty(cells.size, dtype=object)
            _fill(one, where, part, numbers)
            said = said + one[where]
        cells[where] = said
    else:
        raise TypeError(f"{value.op} is not computed")


def _of(value: Value, numbers: Mapping[int, Any]) -> Any:
    return numbers[value.number] if isinstance(value, Expression) else value
