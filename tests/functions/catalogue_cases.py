"""Good and bad calls of every function, derived from the catalogue."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.declaration import Argument
from xlfuncs.cells.quantities import Choice, Number, Takes
from xlfuncs.functions import CATALOGUE

FUNCTIONS = list(CATALOGUE.values())


def example(argument: Argument, position: int = 0) -> Any:
    """A good cell for the argument; a column of them moves a little from cell to cell."""
    if argument.optional and argument.takes is not Takes.RANGE:
        return argument.default
    if isinstance(argument.quantity, Choice):
        return next(iter(argument.quantity.words))
    typical = argument.quantity.typical
    step = min(argument.quantity.high - typical, max(abs(typical), 1.0)) * 0.02
    return typical + position * step


def good_call(function: CellFunction, size: int = 1) -> list[Any]:
    """Arguments of a call that gets an answer: columns where a range is wanted, else single."""
    cells: list[Any] = []
    for argument in function.arguments:
        if argument.takes is not Takes.RANGE:
            cells.append(example(argument))
        elif argument.optional:
            cells.append(None)
        else:
            cells.append([[example(argument, i)] for i in range(size)])
    return cells


def in_place_of(function: CellFunction, wanted: Argument, cell: Any) -> list[Any]:
    """A good call in which one cell of one argument is something else."""
    cells = good_call(function, size=6)
    position = function.arguments.index(wanted)
    if wanted.takes is Takes.RANGE:
        cells[position] = [[cell], *[[example(wanted, i)] for i in range(1, 6)]]
    else:
        cells[position] = cell
    return cells


@dataclass(frozen=True)
class Limits:
    """The limits of an argument, in a call whose other arguments are as in `given`."""

    function: CellFunction
    argument: Argument
    quantity: Number
    given: dict[str, str]

    def call(self, cell: Any) -> list[Any]:
        cells = in_place_of(self.function, self.argument, cell)
        for position, argument in enumerate(self.function.arguments):
            # Words that go together: the scale or unit of the value, and its own kind again.
            if argument.name in self.given:
                cells[position] = self.given[argument.name]
        return cells

    def __str__(self) -> str:
        return "-".join([self.function.name, self.argument.name, *self.given.values()])


def all_limits() -> list[Limits]:
    found = []
    for function in FUNCTIONS:
        for argument in function.arguments:
            quantity = argument.quantity
            if not isinstance(quantity, Number):
                continue
            if quantity.given is None:
                found.append(Limits(function, argument, quantity, {}))
                continue
            words = next(a for a in function.arguments if a.name == quantity.depends_on)
            same = [
                a.name
                for a in function.arguments
                if isinstance(a.quantity, Choice) and a.quantity.words == words.quantity.words
            ]
            found += [
                Limits(function, argument, quantity.given(word), dict.fromkeys(same, word))
                for word in words.quantity.words
            ]
    return found


def flat(answer: Any) -> list[Any]:
    """The cells of an answer, whatever its shape."""
    if isinstance(answer, list):
        return [cell for row in answer for cell in flat(row)]
    return [answer]


def is_cell(cell: Any) -> bool:
    """Whether a host can show it: a text, or a finite number."""
    return type(cell) is str or (type(cell) in (float, int) and math.isfinite(cell))


JUNK = st.one_of(
    st.none(),
    st.floats(),
    st.floats(0, 100),
    st.floats(0.98, 1.21),
    st.integers(-(2**63), 2**63),
    st.booleans(),
    st.text(max_size=6),
    st.sampled_from(
        ["", " ", "! earlier", "#N/A", "#DIV/0!", "12,4", "1,234", "SG", "°P", "gal", "balance"]
    ),
    st.datetimes(),
    st.dates(),
)


@st.composite
def junk_ranges(draw: st.DrawFn) -> Any:
    """A cell, a row, a column or a block of anything."""
    rows, columns = draw(st.sampled_from([(0, 0), (0, 0), (1, 1), (1, 3), (3, 1), (2, 2), (3, 2)]))
    if not rows:
        return draw(JUNK)
    return draw(_block_of_junk(rows, columns))


@functools.cache
def _block_of_junk(rows: int, columns: int) -> st.SearchStrategy[Any]:
    row = st.lists(JUNK, min_size=columns, max_size=columns)
    return st.lists(row, min_size=rows, max_size=rows)


#: By the identity of arguments, which the catalogue keeps: to make a strategy takes longer than to
#: draw from it.
_SOME: dict[int, st.SearchStrategy[Any]] = {}


def some(argument: Argument) -> st.SearchStrategy[Any]:
    """A cell for the argument: mostly good, now and then junk."""
    if id(argument) not in _SOME:
        _SOME[id(argument)] = _some(argument)
    return _SOME[id(argument)]


def _some(argument: Argument) -> st.SearchStrategy[Any]:
    if isinstance(argument.quantity, Choice):
        good = st.sampled_from(list(argument.quantity.words))
    elif argument.quantity.given is not None:
        good = st.floats(argument.quantity.typical, argument.quantity.typical * 1.1)
    else:
        near = argument.quantity.typical
        good = st.one_of(
            st.just(near),
            st.floats(argument.quantity.low, argument.quantity.high),
            st.floats(
                max(argument.quantity.low, near - 0.2 * abs(near)),
                min(argument.quantity.high, near + 0.2 * abs(near)),
            ),
        )
    return st.one_of(good, good, good, JUNK)
