"""COUNTIF and its kin: cells that meet a criterion such as ">3" or "a*"."""

from __future__ import annotations

import functools
import operator
import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from xlfuncs.hosts.embedded.values import (
    EMPTY,
    ERRORS,
    NOT_A_VALUE,
    Remembered,
    block,
    broadcast,
    is_number,
    is_text,
    number_in,
)

_COMPARE = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge,
}  # fmt: skip
_CRITERION = re.compile(r"(<=|>=|<>|=|<|>)?(.*)", re.DOTALL)

_PLAIN_WORD = re.compile(r"[^<=>*?~][^*?~]*", re.DOTALL)  # neither a comparison nor a pattern


def conditional(aggregate: Callable[[list[Any]], Any], values_first: bool) -> Callable[..., Any]:
    """A function that aggregates the values at the places whose cells meet the criteria."""

    def function(*given: Any) -> Any:
        if values_first:
            values, pairs = given[0], given[1:]
        else:
            values, pairs = given[2 if len(given) > 2 else 0], given[:2]
        columns = [block(cells) for cells in (values, *pairs[::2])]
        if len({column.shape for column in columns}) > 1:
            return NOT_A_VALUE
        criteria = broadcast(*pairs[1::2])
        cells = columns[0].ravel()
        searched = list(map(_searched, columns[1:]))

        @functools.cache
        def answer(*wanted: tuple[type, Any]) -> Any:
            places = [
                column.meeting(criterion)
                for column, (_, criterion) in zip(searched, wanted, strict=True)
            ]
            common = places[0] if len(places) == 1 else sorted(set(places[0]).intersection(*places))
            return aggregate([cells[place] for place in common])

        answers = np.empty(criteria[0].shape, dtype=object)
        for at in np.ndindex(answers.shape):
            # Of the same value and type: 1 and TRUE are two criteria.
            answers[at] = answer(*((type(one[at]), one[at]) for one in criteria))
        return answers if answers.ndim else answers.item()

    return function


class _Searched:
    """Cells in which criteria are looked for; a whole column of criteria is as good as one."""

    def __init__(self, cells: Any) -> None:
        self._cells = cells.ravel().tolist()

    @functools.cached_property
    def _by_number(self) -> dict[float, list[int]]:
        places: dict[float, list[int]] = {}
        for place, cell in enumerate(self._cells):
            number = number_in(cell) if is_text(cell) else cell if is_number(cell) else None
            if number is not None:
                places.setdefault(digits(number), []).append(place)
        return places

    @functools.cached_property
    def _by_text(self) -> dict[str, list[int]]:
        places: dict[str, list[int]] = {}
        for place, cell in enumerate(self._cells):
            if is_text(cell):
                places.setdefault(cell.casefold(), []).append(place)
        return places

    @functools.cached_property
    def _numbers(self) -> Any:
        """The numbers among the cells, as they count; NaN, which no order knows, for the others."""
        return np.array([digits(cell) if is_number(cell) else np.nan for cell in self._cells])

    def meeting(self, criterion: Any) -> Sequence[int]:
        """The places of the cells that meet a criterion, ascending."""
        if is_number(criterion):
            return self._by_number.get(digits(criterion), ())
        if is_text(criterion) and _PLAIN_WORD.fullmatch(criterion) and is_text(_typed(criterion)):
            return self._by_text.get(criterion.casefold(), ())
        compare, wanted = _comparison(criterion)
        if compare is not None and is_number(wanted):
            with np.errstate(invalid="ignore"):
                return np.flatnonzero(compare(self._numbers, digits(wanted))).tolist()
        test = _criterion(criterion)
        return [place for place, cell in enumerate(self._cells) if test(cell)]


_searched = Remembered(_Searched)


def digits(number: float) -> float:
    """A number as it counts: with 15 digits."""
    return number if number % 1 == 0 else float(f"{number:.15g}")


def _comparison(raw: Any) -> tuple[Callable[[Any, Any], Any] | None, Any]:
    """What a criterion such as ">3" compares with, and how; None for one of another kind."""
    found = _CRITERION.fullmatch(raw) if is_text(raw) else None
    if found is None or found[1] not in _COMPARE or not found[2]:
        return None, None
    return _COMPARE[found[1]], _typed(found[2])


def _criterion(raw: Any) -> Callable[[Any], bool]:
    """Whether a cell meets a criterion."""
    sign, wanted = "=", raw
    if raw is EMPTY:
        wanted = 0.0
    elif is_text(raw):
        found = _CRITERION.fullmatch(raw)
        assert found is not None
        sign, wanted = found[1] or "=", found[2]
        if not wanted:
            return {
                None: lambda cell: cell is EMPTY or cell == "",
                "=": lambda cell: cell is EMPTY,
                "<>": lambda cell: cell is not EMPTY,
            }.get(found[1], lambda cell: False)
        wanted = _typed(wanted)
    if sign in _COMPARE:
        return _ordered(_COMPARE[sign], wanted)
    equals = equal_to(wanted)
    return equals if sign == "=" else lambda cell: not equals(cell)


def _typed(text: str) -> Any:
    if text in ERRORS:
        return ERRORS[text]
    if text.upper() in ("TRUE", "FALSE"):
        return text.upper() == "TRUE"
    number = number_in(text)
    return text if number is None else number


def equal_to(wanted: Any) -> Callable[[Any], bool]:
    """Whether a cell equals a value; wildcards of a text count, and a text may spell a number."""
    if is_number(wanted):
        sought = digits(wanted)
        return lambda cell: (
            digits(cell) == sought
            if is_number(cell)
            else is_text(cell) and number_in(cell) == wanted
        )
    if is_text(wanted):
        match = wildcards(wanted).fullmatch
        return lambda cell: is_text(cell) and match(cell) is not None
    return lambda cell: type(cell) is type(wanted) and cell == wanted


def _ordered(compare: Callable[[Any, Any], bool], wanted: Any) -> Callable[[Any], bool]:
    if is_number(wanted):
        sought = digits(wanted)
        return lambda cell: is_number(cell) and bool(compare(digits(cell), sought))
    if is_text(wanted):
        folded = wanted.casefold()
        return lambda cell: is_text(cell) and compare(cell.casefold(), folded)
    return lambda cell: type(cell) is type(wanted) and compare(cell, wanted)


@functools.lru_cache(maxsize=256)
def wildcards(text: str) -> re.Pattern[str]:
    """A text with `*` and `?` (and `~*`, `~?` for these characters themselves) as a pattern."""
    parts = re.findall(r"~[?*~]|.", text, re.DOTALL)
    meaning = {"*": ".*", "?": "."}
    return re.compile(
        "".join(meaning.get(part) or re.escape(part[-1]) for part in parts),
        re.IGNORECASE | re.DOTALL,
    )
