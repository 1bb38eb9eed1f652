"""The operators of formulas, as Excel and Calc compute them: to 15 digits."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from xlfuncs.hosts.embedded.values import (
    DIVIDED_BY_ZERO,
    EMPTY,
    NOT_A_NUMBER,
    SAME,
    Remembered,
    SizesDiffer,
    block,
    broadcast,
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

#: Kinds of cells: those up to `TRUTH` are numbers to arithmetic, the first two to comparisons.
_FLOAT, _EMPTY, TRUTH, _TEXT, _ERROR = range(5)
_KINDS = {float: _FLOAT, bool: TRUTH, type(EMPTY): _EMPTY, str: _TEXT}
#: A cell as a number, by its kind.
_NUMBER_OF: tuple[Callable[[Any], float], ...] = (
    float, lambda empty: 0.0, float, lambda text: math.nan, lambda error: math.nan,
)  # fmt: skip


class Column(NamedTuple):
    """The cells of a block as numbers, with the kind of each, or of all; no number is NaN."""

    numbers: Any
    kinds: Any


def _column(cells: Any) -> Column:
    flat = cells.ravel().tolist()
    types = set(map(type, flat))
    if types == {float} or types == {bool}:
        return Column(np.array(flat, dtype=float).reshape(cells.shape), _KINDS[types.pop()])
    kinds = [_KINDS.get(type(cell), _ERROR) for cell in flat]
    numbers = [_NUMBER_OF[kind](cell) for kind, cell in zip(kinds, flat, strict=True)]
    return Column(np.array(numbers).reshape(cells.shape), np.array(kinds).reshape(cells.shape))


_known_column = Remembered(_column)


def as_column(raw: Any) -> Column:
    """Any result as numbers and kinds; those of a single cell are single too."""
    if isinstance(raw, np.ndarray):
        return _known_column(raw)  # type: ignore[no-any-return]
    kind = _KINDS.get(type(raw))
    return _column(block(raw)) if kind is None else Column(_NUMBER_OF[kind](raw), kind)


def _folded(cells: Any) -> Any:
    """The cells of a block as they are compared with texts, whatever those are that are none."""
    texts = [cell.casefold() if type(cell) is str else "" for cell in cells.ravel().tolist()]
    return np.array(texts, dtype=object).reshape(cells.shape)


_known_folded = Remembered(_folded)


def _as_folded(raw: Any) -> Any:
    if isinstance(raw, np.ndarray):
        return _known_folded(raw)
    return raw.casefold() if type(raw) is str else ""


def _at_once(
    body: Callable[[float, float], Any],
    quick: Callable[..., Any],
    thorough: Callable[..., Any],
    last_kind: int,
    of_texts: Callable[[Any, Any], Any] | None = None,
) -> Callable[..., Any]:
    """An operator: `body` takes two numbers, `quick` arrays of them, `thorough` any two cells.

    `last_kind` is the last of the kinds above that count as numbers in an array; `of_texts` takes
    arrays of texts in small letters, if it is an operator of texts.
    """

    def function(left: Any, right: Any) -> Any:
        if type(left) is float and type(right) is float and right:
            answer = body(left, right)
            return answer if math.isfinite(answer) else NOT_A_NUMBER
        if not (isinstance(left, np.ndarray) or isinstance(right, np.ndarray)):
            return thorough(left, right)
        one, other = as_column(left), as_column(right)
        try:
            with np.errstate(all="ignore"):
                answers = quick(one.numbers, other.numbers)
        except ValueError:
            raise SizesDiffer from None
        done = np.isfinite(answers) & (np.maximum(one.kinds, other.kinds) <= last_kind)
        numbers, answers = answers, answers.astype(object)
        if done.all():
            kind = TRUTH if numbers.dtype == bool else _FLOAT
            _known_column.keep(answers, Column(numbers.astype(float, copy=False), kind))
            return answers
        if of_texts:
            texts = _of_texts(one.kinds) & _of_texts(other.kinds) & ~done
            if texts.any():
                answers[texts] = of_texts(_as_folded(left), _as_folded(right))[texts]
                done |= texts
        if not done.all():
            left, right = broadcast(left, right, answers)[:2]
            answers[~done] = thorough(left[~done], right[~done])
        return answers

    return function


def _of_texts(kinds: Any) -> Any:
    """What compares with a text as a text does: an empty cell is an empty text."""
    return (kinds == _TEXT) | (kinds == _EMPTY)


def _arithmetic(
    body: Callable[[float, float], Any], quick: Callable[..., Any]
) -> Callable[..., Any]:
    thorough = each(lambda left, right: body(number(left), number(right)))
    return _at_once(body, quick, thorough, TRUTH)


def _comparison(holds: Callable[[Any, Any], bool], nearly: bool) -> Callable[..., Any]:
    """`nearly`: whether it holds of numbers that are equal to 15 digits."""

    def quick(left: Any, right: Any) -> Any:
        return np.where(near(left, right), nearly, holds(left, right))

    def body(left: float, right: float) -> Any:
        return nearly if _is_near(left, right) else holds(left, right)

    thorough = each(lambda left, right: holds(order(left, right), 0))
    return _at_once(body, quick, thorough, _EMPTY, holds)


def _equality(holds: Callable[[Any, Any], bool], same: bool) -> Callable[..., Any]:
    """A comparison, quicker where many cells are held against one text, as sheets often do."""
    compare = _comparison(holds, same)

    def function(left: Any, right: Any) -> Any:
        if type(right) is not str or not isinstance(left, np.ndarray):
            return compare(left, right)
        kinds = as_column(left).kinds
        if np.max(kinds) == _ERROR:
            return compare(left, right)
        answers: Any = holds(_known_folded(left), right.casefold())
        if not right:  # a number is no empty text
            answers = np.where(_of_texts(kinds), answers, not same)
        given = answers.astype(object)
        _known_column.keep(given, Column(answers.astype(float), TRUTH))
        return given

    return function


def _snapped(left: Any, right: Any) -> Any:
    apart = left - right
    nothing = abs(apart) <= SAME * np.maximum(abs(left), abs(right))
    return np.where(nothing, 0.0, apart)


_OPERATORS: dict[str, Callable[..., Any]] = {
    "+": _arithmetic(plus, lambda left, right: _snapped(left, -right)),
    "-": _arithmetic(minus, _snapped),
    "*": _arithmetic(operator.mul, np.multiply),
    "/": _arithmetic(operator.truediv, np.divide),
    "^": each(lambda left, right: _power(number(left), number(right))),
    "&": each(lambda left, right: general(left) + general(right)),
    "=": _equality(operator.eq, True),
    "<>": _equality(operator.ne, False),
    "<": _comparison(operator.lt, False),
    "<=": _comparison(operator.le, True),
    ">": _comparison(operator.gt, False),
    ">=": _comparison(operator.ge, True),
    "U-": each(lambda cell: -number(cell)),
    "U+": each(lambda cell: cell),
    "%": each(lambda cell: number(cell) / 100),
}


def operator_function(symbol: str) -> Callable[..., Any]:
    """The function behind an operator; `U+` and `U-` are signs."""
    return _OPERATORS[symbol]
