"""The operators of formulas, as Excel and Calc compute them: to 15 digits."""

from __future__ import annotations

import functools
import math
import operator
from collections.abc import Callable
from typing import Any

import numpy as np
from formulas.errors import BroadcastError

from xlfuncs.hosts.embedded.values import (
    DIVIDED_BY_ZERO,
    EMPTY,
    NOT_A_NUMBER,
    SAME,
    each,
    general,
    is_text,
    is_truth,
    number,
)


def near(left: Any, right: Any) -> Any:
    """Whether numbers are equal to 15 digits."""
    return abs(left - right) <= SAME * np.maximum(abs(left), abs(right))


def _is_near(left: float, right: float) -> bool:
    return left == right or abs(left - right) <= SAME * max(abs(left), abs(right))


def plus(left: float, right: float) -> float:
    """The sum, which is 0 if only what is beyond 15 digits is left of it."""
    return minus(left, -right)


def minus(left: float, right: float) -> float:
    """The difference, which is 0 if only what is beyond 15 digits is left of it."""
    return 0.0 if _is_near(left, right) else left - right


def _power(left: float, right: float) -> Any:
    if left == 0 and right <= 0:
        return DIVIDED_BY_ZERO if right else NOT_A_NUMBER
    try:
        return math.pow(left, right)
    except ValueError:
        return NOT_A_NUMBER


# --- comparing ------------------------------


def _ranked(cell: Any, other: Any) -> tuple[int, Any]:
    """A cell as it is compared: numbers come before texts, texts before truth values."""
    if type(cell) is float:
        return 0, cell
    if cell is EMPTY:
        if is_text(other):
            return 1, ""
        return (2, False) if is_truth(other) else (0, 0.0)
    if is_text(cell):
        return 1, cell.casefold()
    return (2, bool(cell)) if is_truth(cell) else (0, float(cell))


def order(left: Any, right: Any) -> int:
    """Below 0, 0 or above 0 as `left` comes before, with or after `right`."""
    (rank, one), (other_rank, other) = _ranked(left, right), _ranked(right, left)
    if rank != other_rank:
        return rank - other_rank
    if rank == 0 and _is_near(one, other):
        return 0
    return int(one > other) - int(one < other)


# --- on whole arrays ------------------------------


def _floats(raw: Any) -> Any:
    """A number or an array of nothing but numbers as floats; None for all else."""
    if type(raw) is float:
        return raw
    if isinstance(raw, np.ndarray) and set(map(type, raw.ravel().tolist())) == {float}:
        return raw.astype(float)
    return None


def _at_once(quick: Callable[..., Any], thorough: Callable[..., Any]) -> Callable[..., Any]:
    """An operator that takes whole arrays of numbers; anything else goes cell by cell."""

    def function(left: Any, right: Any) -> Any:
        if not (isinstance(left, np.ndarray) or isinstance(right, np.ndarray)):
            return thorough(left, right)
        one, other = _floats(left), _floats(right)
        if one is None or other is None:
            return thorough(left, right)
        try:
            with np.errstate(all="ignore"):
                answers = quick(one, other)
        except ValueError:
            raise BroadcastError from None
        return answers.astype(object) if np.isfinite(answers).all() else thorough(left, right)

    return function


def _arithmetic(
    body: Callable[[float, float], Any], quick: Callable[..., Any] | None = None
) -> Callable[..., Any]:
    thorough = each(lambda left, right: body(number(left), number(right)))
    return thorough if quick is None else _at_once(quick, thorough)


def _comparison(holds: Callable[[Any, Any], bool], nearly: bool) -> Callable[..., Any]:
    """`nearly`: whether it holds of numbers that are equal to 15 digits."""
    thorough = each(lambda left, right: holds(order(left, right), 0))

    def quick(left: Any, right: Any) -> Any:
        return np.where(near(left, right), nearly, holds(left, right))

    return _at_once(quick, thorough)


def _snapped(left: Any, right: Any) -> Any:
    return np.where(near(left, right), 0.0, left - right)


_OPERATORS: dict[str, Callable[..., Any]] = {
    "+": _arithmetic(plus, lambda left, right: _snapped(left, -right)),
    "-": _arithmetic(minus, _snapped),
    "*": _arithmetic(operator.mul, np.multiply),
    "/": _arithmetic(operator.truediv, np.divide),
    "^": _arithmetic(_power),
    "&": each(lambda left, right: general(left) + general(right)),
    "=": _comparison(operator.eq, True),
    "<>": _comparison(operator.ne, False),
    "<": _comparison(operator.lt, False),
    "<=": _comparison(operator.le, True),
    ">": _comparison(operator.gt, False),
    ">=": _comparison(operator.ge, True),
    "U-": each(lambda cell: -number(cell)),
    "U+": each(lambda cell: cell),
    "%": each(lambda cell: number(cell) / 100),
}
_TWICE_MINUS = each(number)


@functools.cache
def operator_function(name: str, minus: bool = False) -> Callable[..., Any]:
    """The function behind an operator; `minus` tells `--x` from `+x`."""
    return _TWICE_MINUS if name == "u+" and minus else _OPERATORS[name.upper()]
