"""LOOKUP, MATCH, VLOOKUP, INDEX: cells that are looked for, or picked by number."""

from __future__ import annotations

import bisect
import functools
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from xlfuncs.hosts.embedded.criteria import digits, equal_to
from xlfuncs.hosts.embedded.values import (
    EMPTY,
    NO_SUCH_CELL,
    NOT_A_VALUE,
    NOT_FOUND,
    SAME,
    Remembered,
    block,
    broadcast,
    each,
    is_error,
    is_number,
    is_text,
    is_truth,
    number,
    single,
    truth,
)


def _key(cell: Any) -> tuple[str, Any]:
    """A cell as it is looked up: only cells of one kind are compared, and texts without case."""
    if type(cell) is float:
        return "number", cell
    if is_truth(cell):
        return "truth", cell
    if is_text(cell):
        return "text", cell.casefold()
    return ("number", float(cell)) if is_number(cell) else ("", None)


class _Vector:
    """Cells that values are looked up in, however many values there are."""

    def __init__(self, area: Any) -> None:
        self.cells = area.ravel().tolist()

    @functools.cached_property
    def _by_kind(self) -> dict[str, tuple[list[Any], list[int]]]:
        found: dict[str, tuple[list[Any], list[int]]] = {}
        for place, (kind, value) in enumerate(map(_key, self.cells)):
            if kind:
                values, places = found.setdefault(kind, ([], []))
                values.append(value)
                places.append(place)
        return found

    @functools.cached_property
    def _first(self) -> dict[tuple[str, Any], int]:
        found: dict[tuple[str, Any], int] = {}
        for place, cell in enumerate(self.cells):
            found.setdefault(_exactly(cell), place)
        return found

    def last_up_to(self, wanted: Any) -> int | None:
        """The place of the last cell that is not above a value, in cells that ascend."""
        kind, sought = _key(wanted)
        values, places = self._by_kind.get(kind, ([], []))
        if kind == "number":
            sought += SAME * abs(sought)
        after = bisect.bisect_right(values, sought)
        return places[after - 1] if after else None

    def last_down_to(self, wanted: Any) -> int | None:
        """The place of the last cell that is not below a value, in cells that descend."""
        kind, sought = _key(wanted)
        values, places = self._by_kind.get(kind, ([], []))
        if kind == "number":
            sought -= SAME * abs(sought)
        after = next((i for i, value in enumerate(values) if value < sought), len(values))
        return places[after - 1] if after else None

    def first_equal(self, wanted: Any) -> int | None:
        """The place of the first cell that equals a value; wildcards of a text count."""
        if is_text(wanted) and not {"*", "?", "~"}.isdisjoint(wanted):
            equals = equal_to(wanted)
            return next((place for place, cell in enumerate(self.cells) if equals(cell)), None)
        return self._first.get(_exactly(wanted))


_vector = Remembered(_Vector)


def _exactly(cell: Any) -> tuple[str, Any]:
    kind, value = _key(cell)
    return kind, digits(value) if kind == "number" else value


def _found(search: Callable[[Any], int | None], answer: Callable[[int], Any], wanted: Any) -> Any:
    """The answer for each value that is searched for."""

    def one(cell: Any) -> Any:
        place = search(0.0 if cell is EMPTY else cell)
        return NOT_FOUND if place is None else answer(place)

    return each(one)(wanted)


def _flat(raw: Any) -> list[Any]:
    cells: list[Any] = block(raw).ravel().tolist()
    return cells


def lookup(wanted: Any, vector: Any, results: Any = None) -> Any:
    """LOOKUP: the result beside the last cell that is not above a value."""
    if results is None:
        area = block(vector)
        across = area.shape[1] > area.shape[0]
        vector, results = (area[0], area[-1]) if across else (area[:, 0], area[:, -1])
    searched, given = _vector(block(vector)), _flat(results)
    if len(given) < len(searched.cells):
        return NOT_FOUND
    return _found(searched.last_up_to, given.__getitem__, wanted)


def match(wanted: Any, vector: Any, how: Any = 1.0) -> Any:
    """MATCH: the place of a value among cells, counted from 1."""
    sought = number(single(how))
    searched = _vector(block(vector))
    search = (
        searched.first_equal
        if not sought
        else searched.last_up_to
        if sought > 0
        else searched.last_down_to
    )
    return _found(search, lambda place: place + 1.0, wanted)


def table_lookup(across: bool) -> Callable[..., Any]:
    """VLOOKUP, or HLOOKUP if the table lies across."""

    def function(wanted: Any, table: Any, column: Any, nearest: Any = True) -> Any:
        area = block(table).T if across else block(table)
        picked = math.floor(number(single(column)))
        if picked < 1:
            return NOT_A_VALUE
        if picked > area.shape[1]:
            return NO_SUCH_CELL
        searched = _vector(area[:, :1])
        search = searched.last_up_to if truth(single(nearest)) else searched.first_equal
        return _found(search, _flat(area[:, picked - 1]).__getitem__, wanted)

    return function


def index(array: Any, row: Any = 0.0, column: Any = None, area: Any = 1.0) -> Any:
    """INDEX by value: row or column 0 is the whole of it; arrays of numbers pick one cell each."""
    cells = block(array)
    if column is None:
        row, column = (0.0, row) if cells.shape[0] == 1 else (row, 0.0)
    if not (isinstance(row, np.ndarray) or isinstance(column, np.ndarray)):
        return _picked(cells, row, column)
    rows, columns = broadcast(row, column)
    if rows.size == 1:
        return _picked(cells, rows.item(), columns.item())
    picked = np.frompyfunc(functools.partial(_picked, cells), 2, 1)(rows, columns)
    return np.frompyfunc(lambda part: block(part)[0, 0], 1, 1)(picked)


def _picked(cells: Any, row: Any, column: Any) -> Any:
    for place in (row, column):
        if is_error(place):
            return place
    try:
        i, j = math.floor(number(row)), math.floor(number(column))
    except (ValueError, TypeError):
        return NOT_A_VALUE
    if i < 0 or j < 0:
        return NOT_A_VALUE
    if i > cells.shape[0] or j > cells.shape[1]:
        return NO_SUCH_CELL
    part = cells[i - 1 : i] if i else cells
    part = part[:, j - 1 : j] if j else part
    return part[0, 0] if part.size == 1 else part


def choose(which: Any, *choices: Any) -> Any:
    """CHOOSE: the argument that a number picks."""

    def one(number_of: Any, *cells: Any) -> Any:
        place = math.floor(number(number_of))
        return cells[place - 1] if 1 <= place <= len(cells) else NOT_A_VALUE

    if isinstance(which, np.ndarray):
        return each(one, catches_errors=True)(which, *choices)
    return which if is_error(which) else one(which, *choices)
