"""Formulas in the order in which they need each other.

A formula filled down a column is one tree at many places.  The order is found between such columns,
thousands instead of a hundred thousand cells; only where columns need each other in a circle, as
lines do that look at the line above, is it found cell by cell.
"""

from __future__ import annotations

import collections
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from xlfuncs.hosts.embedded.formula import Place, Tree
from xlfuncs.hosts.embedded.values import Area

#: By sheet and column, then by row: what fills the cell.
Filled = dict[tuple[str, int], dict[int, int]]


@dataclass(slots=True)
class Formula:
    """A formula where it stands, and why it cannot be computed if it cannot."""

    area: Area
    text: str
    is_array: bool
    row: int  # in which it reads so
    problem: str = ""
    tree: Tree | None = None

    def __str__(self) -> str:
        return f"{self.area.sheet}!{self.area.address}"


#: With what the problem of a formula in a circle begins.
CIRCLE = "circular reference: "


def needed(formula: Formula) -> Iterator[Area]:
    """The areas that must be computed before the formula."""
    for place in formula.tree.needs if formula.tree else ():
        area = place(formula.area)
        if area is not None:
            yield area


def fill(filled: Filled, area: Area, number: int) -> None:
    """Note that the formula of this number fills the area."""
    for column in range(area.left, area.right + 1):
        held = filled[area.sheet, column]
        for row in range(area.top, area.bottom + 1):
            held[row] = number


def within(area: Area, filled: Mapping[tuple[str, int], Mapping[int, int]]) -> list[int]:
    """The formulas that fill cells of an area."""
    rows = range(area.top, area.bottom + 1)
    found: set[int] = set()
    for column in range(area.left, area.right + 1):
        held = filled.get((area.sheet, column))
        if not held:
            continue
        if len(rows) < len(held):
            found.update(held[row] for row in rows if row in held)
        else:
            found.update(i for row, i in held.items() if row in rows)
    return sorted(found)


class Dependents:
    """Which formulas need a cell, by their numbers among some in order."""

    def __init__(self, formulas: Sequence[Formula]) -> None:
        self._of: dict[Area, list[int]] = {}
        self._columns: dict[tuple[str, int], list[Area]] = collections.defaultdict(list)
        for number, formula in enumerate(formulas):
            for area in dict.fromkeys(needed(formula)):
                if area not in self._of:
                    self._of[area] = []
                    for column in range(area.left, area.right + 1):
                        self._columns[area.sheet, column].append(area)
                self._of[area].append(number)

    def areas(self, sheet: str, position: tuple[int, int]) -> list[Area]:
        """The areas with the cell in them that formulas need as a whole."""
        row, column = position
        return [a for a in self._columns.get((sheet, column), ()) if a.top <= row <= a.bottom]

    def of(self, area: Area) -> list[int]:
        """The formulas that need the area."""
        return self._of[area]


def in_order(formulas: Sequence[Formula]) -> list[Formula]:
    """Each formula after those it needs; those in a circle get a problem that says so."""
    runs = _runs(formulas)
    found: list[Formula] = []
    for circle in _circles(_needs_of(runs)):
        if len(circle) == 1 and not _needs_itself(runs[circle[0]]):
            found += runs[circle[0]]
        else:
            found += _cell_by_cell([formula for i in circle for formula in runs[i]])
    return found


# --- columns ------------------------------

#: Formulas of one tree in one column, from above to below.
_Run = list[Formula]


def _runs(formulas: Iterable[Formula]) -> list[_Run]:
    runs: dict[object, _Run] = {}
    for number, formula in enumerate(formulas):
        area = formula.area
        single = formula.tree and area.top == area.bottom and area.left == area.right
        key = (area.sheet, area.left, id(formula.tree)) if single else number
        runs.setdefault(key, []).append(formula)
    for run in runs.values():
        run.sort(key=lambda formula: formula.area.top)
    return list(runs.values())


def _reach(place: Place, run: _Run) -> list[Area]:
    """Areas that hold all that a place of the tree means on the lines of the run."""
    ends = [place(run[0].area), place(run[-1].area)]
    first, last = ends
    if first is None or last is None or first.sheet != last.sheet:
        return [area for formula in run if (area := place(formula.area)) is not None]
    # From line to line a place stays where it is or goes down too.
    return [Area(first.sheet, min(first.top, last.top), min(first.left, last.left),
                 max(first.bottom, last.bottom), max(first.right, last.right))]  # fmt: skip


def _needs_itself(run: _Run) -> bool:
    own = run[0].area
    return any(
        area.sheet == own.sheet
        and area.left <= run[0].area.right
        and own.left <= area.right
        and area.top <= run[-1].area.bottom
        and own.top <= area.bottom
        for place in (run[0].tree.needs if run[0].tree else ())
        for area in _reach(place, run)
    )


def _needs_of(runs: Sequence[_Run]) -> list[list[int]]:
    """For each run, the others that fill cells which it may need."""
    columns: dict[tuple[str, int], list[tuple[int, int, int]]] = collections.defaultdict(list)
    for number, run in enumerate(runs):
        area, bottom = run[0].area, run[-1].area.bottom
        for column in range(area.left, area.right + 1):
            columns[area.sheet, column].append((area.top, bottom, number))
    known: dict[Area, list[int]] = {}

    def filling(area: Area) -> list[int]:
        if area not in known:
            known[area] = sorted({
                number
                for column in range(area.left, area.right + 1)
                for top, bottom, number in columns.get((area.sheet, column), ())
                if top <= area.bottom and area.top <= bottom
            })  # fmt: skip
        return known[area]

    found = []
    for run in runs:
        needs: dict[int, None] = {}
        for place in run[0].tree.needs if run[0].tree else ():
            for area in _reach(place, run):
                needs.update(dict.fromkeys(filling(area)))
        found.append(list(needs))
    return found


def _circles(before: Sequence[Sequence[int]]) -> Iterator[list[int]]:
    """Numbers that need each other, together; each group after those that it needs (Tarjan)."""
    index: dict[int, int] = {}
    lowest: dict[int, int] = {}
    open_: list[int] = []
    waiting: set[int] = set()
    for start in range(len(before)):
        if start in index:
            continue
        path = [(start, iter(before[start]))]
        while path:
            number, others = path[-1]
            if number not in index:
                index[number] = lowest[number] = len(index)
                open_.append(number)
                waiting.add(number)
            for other in others:
                if other not in index:
                    path.append((other, iter(before[other])))
                    break
                if other in waiting:
                    lowest[number] = min(lowest[number], index[other])
            else:
                path.pop()
                if path:
                    above = path[-1][0]
                    lowest[above] = min(lowest[above], lowest[number])
                if lowest[number] == index[number]:
                    at = open_.index(number)
                    circle = open_[at:]
                    del open_[at:]
                    waiting.difference_update(circle)
                    yield circle


# --- cells ------------------------------


def _cell_by_cell(formulas: Sequence[Formula]) -> list[Formula]:
    """Some formulas in order, at the end those in a circle and what hangs on it."""
    before, after = _links(formulas)
    left = [len(links) for links in before]
    ready = collections.deque(i for i, count in enumerate(left) if not count)
    found = []
    while ready:
        i = ready.popleft()
        if i < len(formulas):
            found.append(formulas[i])
        for j in after[i]:
            left[j] -= 1
            if not left[j]:
                ready.append(j)
    rest = {i for i, count in enumerate(left) if count}
    _mark_circular(formulas, rest, after)
    return found + [formulas[i] for i in sorted(rest) if i < len(formulas)]


def _links(formulas: Sequence[Formula]) -> tuple[list[list[int]], list[list[int]]]:
    """For each of some formulas, what of them it needs and what needs it.

    An area that formulas need is a knot of its own, numbered after the formulas: a thousand
    formulas that need a thousand cells are two thousand links, not a million.
    """
    filled: Filled = collections.defaultdict(dict)
    for i, formula in enumerate(formulas):
        fill(filled, formula.area, i)
    knots: dict[Area, int] = {}
    before: list[list[int]] = [[] for _ in formulas]
    for i, formula in enumerate(formulas):
        for area in dict.fromkeys(needed(formula)):
            if area not in knots:
                knots[area] = len(before)
                before.append(within(area, filled))
            before[i].append(knots[area])
    after: list[list[int]] = [[] for _ in before]
    for i, links in enumerate(before):
        for j in links:
            after[j].append(i)
    return before, after


def _mark_circular(
    formulas: Sequence[Formula], left: set[int], after: Sequence[Sequence[int]]
) -> None:
    """Of what is left, tell the circle from what merely hangs on it."""
    circle = set(left)
    while ends := [i for i in circle if circle.isdisjoint(after[i])]:
        circle.difference_update(ends)
    cells = [str(formulas[i]) for i in sorted(circle) if i < len(formulas)]
    names = ", ".join(cells[:5]) + (" …" if len(cells) > 5 else "")
    for i in left:
        if i < len(formulas) and not formulas[i].problem:
            formulas[i].problem = f"{'' if i in circle else 'needs a '}{CIRCLE}{names}"
