"""The order of the cells, and the calculation of a whole workbook.

Cells are computed in the order in which they need each other.  A formula that cannot be computed is
named, with what depends on it; all others are not touched by it.
"""

from __future__ import annotations

import collections
import datetime
import functools
import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl.utils import range_boundaries
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.workbook import Workbook

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.files import contents, problems, stored
from xlfuncs.files.calls import Calls
from xlfuncs.files.contents import Contents, ErrorText, FormulaCell
from xlfuncs.files.part import Position, address_of
from xlfuncs.files.problems import Source
from xlfuncs.files.stored import Value
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.embedded import worksheet
from xlfuncs.hosts.embedded.formula import Tree, compiled
from xlfuncs.hosts.embedded.grammar import CannotCompute
from xlfuncs.hosts.embedded.order import (
    CIRCLE,
    Dependents,
    Filled,
    Formula,
    fill,
    in_order,
    needed,
    within,
)
from xlfuncs.hosts.embedded.values import (
    EMPTY,
    ERRORS,
    NOT_A_VALUE,
    NOT_FOUND,
    Area,
    SizesDiffer,
    block,
    settled,
)

#: What the cells of each sheet hold.
Cells = dict[str, dict[Position, Any]]

_CALLS = Calls(CATALOGUE)


@functools.lru_cache(8192)
def _bare(formula: str) -> str:
    """Kept, because a workbook holds the same formula on hundreds of lines."""
    return _CALLS.bare(formula)


@dataclass
class Calculation:
    """What a full recalculation gave.

    `values` holds every formula cell that could be computed, by sheet and address, all cells of an
    array formula's range included; `failures` holds sheet, address and reason of those that could
    not, and `calls` how often each cell function was called.
    """

    values: dict[tuple[str, str], Value] = field(default_factory=dict)
    failures: list[tuple[str, str, str]] = field(default_factory=list)
    calls: collections.Counter[str] = field(default_factory=collections.Counter)


def calculate(path: str | Path | Source, today: datetime.date | None = None) -> Calculation:
    """Compute every formula of a workbook.

    `today` is what TODAY() and NOW() give, for results that can be reproduced; without it they give
    the present.  Raises `WorkbookProblem` for a file that is not a workbook, and for one of which
    only a part computes any more.
    """
    return calculate_book(opened(problems.read(path)), today)


def opened(source: Source) -> Contents:
    """What a workbook holds, to be computed.  Raises as `calculate` does."""
    book = contents.read(source)
    stored.must_compute_whole(book, source.path)
    return book


def calculate_book(book: Contents | Workbook, today: datetime.date | None = None) -> Calculation:
    """The same for a workbook that is open, be it one that openpyxl holds; it is not changed."""
    workbook = _Workbook(book, today)
    try:
        return workbook.calculation()
    finally:
        workbook.let_go()


class Prepared:
    """A workbook whose formulas are read once, computed for one set of entries after another.

    From the second on it works as a spreadsheet does: only what hangs on a cell that is another
    than in the workbook as it is, is computed anew.
    """

    def __init__(self, book: Contents | Workbook, today: datetime.date | None = None) -> None:
        self._book = _Workbook(book, today)
        self._book.read_formulas()
        self._problems = [formula.problem for formula in self._book.formulas]
        self._typed = {title: dict(cells) for title, cells in self._book.contents.items()}
        self._filled = {
            (f.area.sheet, *position)
            for f in self._book.formulas
            for position in f.area.positions()
        }
        self._asked = 0

    @functools.cached_property
    def _as_it_is(self) -> tuple[Calculation, Cells, dict[Area, Any], Dependents]:
        """What it gives without entries: also cells and blocks, and which formulas need which."""
        calculation = self._whole({})
        return calculation, self._book.contents, self._book.blocks, Dependents(self._book.order)

    def calculate(self, typed: Mapping[tuple[str, str], Any]) -> Calculation:
        """The calculation with these values in cells of sheet and address; None is a blank.

        They are values: a text that begins with `=` stays a text.  A cell that computes does so
        all the same.  `calls` are those that were made for it.
        """
        entries = {
            (title, coordinate_to_tuple(address)): contents.serial(value, self._book.book.epoch)
            for (title, address), value in typed.items()
            if (title, *coordinate_to_tuple(address)) not in self._filled
        }
        self._asked += 1
        found = self._anew(entries) if self._asked > 1 else None
        return found or self._whole(entries)

    def _anew(self, entries: Mapping[tuple[str, Position], Any]) -> Calculation | None:
        """What became another by the entries; None if something cannot be computed then."""
        book = self._book
        before, cells, blocks, _ = self._as_it_is
        if before.failures:
            return None
        self._begin(cells, blocks)
        values = dict(before.values)
        waiting = _Waiting()
        for (sheet, position), value in entries.items():
            self._put(sheet, position, EMPTY if value is None else value, waiting)
        while waiting:
            formula = book.order[waiting.first()]
            sheet = formula.area.sheet
            for position, cell in book.cells_of(formula):
                if self._put(sheet, position, cell, waiting):
                    values[sheet, address_of(*position)] = _plain(cell)
            if formula.problem:
                return None
        return Calculation(values, [], book.calls)

    def _put(self, sheet: str, position: Position, value: Any, waiting: _Waiting) -> bool:
        """Put a value into a cell; whether it became another, for which formulas wait then."""
        cells = self._book.contents[sheet]
        known = cells.get(position, EMPTY)
        if type(known) is type(value) and known == value:
            return False
        cells[position] = value
        dependents = self._as_it_is[-1]
        for area in dependents.areas(sheet, position):
            self._book.blocks.pop(area, None)
            waiting.add(dependents.of(area))
        return True

    def _whole(self, entries: Mapping[tuple[str, Position], Any]) -> Calculation:
        """All of it, where what cannot be computed has to be named with all that needs it."""
        self._begin(self._typed, {})
        for (sheet, position), value in entries.items():
            self._book.contents[sheet][position] = EMPTY if value is None else value
        return self._book.computed()

    def _begin(self, cells: Cells, blocks: Mapping[Area, Any]) -> None:
        """Forget the entries before; go on from these cells."""
        book = self._book
        book.contents, book.blocks = _copied(cells), dict(blocks)
        book.alike, book.calls = {}, collections.Counter()
        for formula, problem in zip(book.formulas, self._problems, strict=True):
            formula.problem = problem


class _Waiting:
    """Formulas that are to be computed, each once, by their numbers in order."""

    def __init__(self) -> None:
        self._heap: list[int] = []
        self._all: set[int] = set()

    def add(self, numbers: Sequence[int]) -> None:
        """Some more: a column is needed by the same formulas for each cell that changes in it."""
        for number in numbers:
            if number not in self._all:
                self._all.add(number)
                heapq.heappush(self._heap, number)

    def first(self) -> int:
        """The first, which then waits no longer."""
        number = heapq.heappop(self._heap)
        self._all.remove(number)
        return number

    def __len__(self) -> int:
        return len(self._heap)


def calculate_file(
    path: str | Path | Source,
    out: str | Path,
    today: datetime.date | None = None,
    named: Mapping[str, Value] | None = None,
) -> Calculation:
    """Compute a workbook and write it to `out` with the values beside the formulas.

    Formulas that could not be computed keep the value they had; `named` as for `stored.store`.
    Raises as `calculate` does.
    """
    source = problems.read(path)
    calculation = calculate(source, today)
    stored.store(source, calculation.values, out, named)
    return calculation


def _copied(contents: Cells) -> Cells:
    return {title: dict(cells) for title, cells in contents.items()}


class _Workbook:
    """The formulas of a workbook, and the cells computed so far."""

    def __init__(self, book: Contents | Workbook, today: datetime.date | None) -> None:
        self.book = book if isinstance(book, Contents) else contents.of(book)
        self.calls: collections.Counter[str] = collections.Counter()
        self.functions: Mapping[str, Callable[..., Any]] = {
            **worksheet.clock(today),
            **{name: self._counted(function) for name, function in CATALOGUE.items()},
        }
        self.formulas: list[Formula] = []
        self.contents: Cells = {}
        self.ends: dict[str, tuple[int, int]] = {}
        self.trees: dict[tuple[str, str, bool, bool, bool], Tree] = {}
        self.blocks: dict[Area, Any] = {}
        self.order: list[Formula] = []
        self.alike: dict[tuple[Any, ...], Any] = {}
        self.titles = {title.casefold(): title for title in self.book.sheets}
        # What each name stands for: those of one sheet by its title, the workbook's own by "".
        self.names = {
            title: {known.casefold(): text for known, text in names.items()}
            for title, names in (
                ("", self.book.names),
                *((title, sheet.names) for title, sheet in self.book.sheets.items()),
            )
        }
        for title, sheet in self.book.sheets.items():
            self._take(title, sheet)

    def _counted(self, function: CellFunction) -> Callable[..., Any]:
        call = worksheet.cell_function(function)

        def counted(*arguments: Any) -> Any:
            self.calls[function.name] += 1
            return call(*arguments)

        return counted

    def _take(self, title: str, sheet: contents.Sheet) -> None:
        """The cells of a sheet, as formulas see them."""
        self.contents[title] = {
            position: ERRORS.get(value, NOT_A_VALUE) if type(value) is ErrorText else value
            for position, value in sheet.typed.items()
        }
        found = [_formula(title, position, cell) for position, cell in sheet.formulas.items()]
        self.formulas += found
        corners = [(1, 1), *sheet.typed, *((f.area.bottom, f.area.right) for f in found)]
        self.ends[title] = (max(row for row, _ in corners), max(column for _, column in corners))

    def calculation(self) -> Calculation:
        self.read_formulas()
        return self.computed()

    def read_formulas(self) -> None:
        """Read every formula, and see which needs which."""
        known: dict[tuple[str, str, int, bool], Tree | str] = {}  # or the problem
        for formula in self.formulas:
            if formula.problem:
                continue
            key = (formula.area.sheet, formula.text, formula.row, formula.is_array)
            found = known.get(key)
            if found is None:
                found = known[key] = self._compiled(formula)
            if isinstance(found, str):
                formula.problem = found
            else:
                formula.tree = found
        self.order = in_order(self.formulas)

    def _compiled(self, formula: Formula) -> Tree | str:
        try:
            return compiled(formula.text, formula.area, formula.row, formula.is_array, self)
        except CannotCompute as reason:
            return str(reason)
        except Exception as error:  # whatever one formula does, the others are computed
            return f"reading it failed ({type(error).__name__}: {error})"

    def computed(self) -> Calculation:
        """Compute all that has been read."""
        values: dict[tuple[str, str], Value] = {}
        failed = _Failed()
        for formula in self.order:
            failed.look(formula)
            sheet, cells = formula.area.sheet, self.cells_of(formula)
            self.contents[sheet].update(cells)
            for position, cell in cells:
                values[sheet, address_of(*position)] = _plain(cell)
            failed.note(formula)
        failures = [(f.area.sheet, f.area.address, f.problem) for f in self.formulas if f.problem]
        return Calculation(values, failures, self.calls)

    def cells_of(self, formula: Formula) -> Sequence[tuple[Position, Any]]:
        """Position and content of each cell that the formula fills."""
        if formula.tree is None or formula.problem:
            return ()
        area = formula.area
        try:
            if area.top == area.bottom and area.left == area.right:
                return (((area.top, area.left), self._single(formula.tree, area)),)
            result = formula.tree.value(area)
            fitted = _fitted(result, area.shape)
        except SizesDiffer:
            formula.problem = "ranges of different sizes do not fit together"
            return ()
        except Exception as error:  # whatever one formula does, the others are computed
            formula.problem = f"computing it failed ({type(error).__name__}: {error})"
            return ()
        return list(zip(area.positions(), fitted.ravel().tolist(), strict=True))

    def _single(self, tree: Tree, area: Area) -> Any:
        """The cell of a formula: lines on which the same stands, such as blank ones, are alike."""
        if tree.on_line is None:
            return settled(tree.value(area))
        row, contents = area.top, self.contents
        cells = [contents[sheet].get((row + down, c), EMPTY) for sheet, down, c in tree.on_line]
        key = (id(tree), *cells, *map(type, cells))  # 1 is not TRUE
        found = self.alike.get(key)
        if found is None:
            found = self.alike[key] = settled(tree.value(area))
        return found

    def let_go(self) -> None:
        """Part with what leads back here, so that all of it is freed at once: a hundred thousand
        objects in a circle would wait for somebody who looks for such."""
        self.formulas, self.order = [], []
        self.trees, self.functions = {}, {}

    # --- what a formula finds around it

    def sheet(self, title: str) -> str:
        try:
            return self.titles[title.casefold()]
        except KeyError:
            raise CannotCompute(f"there is no sheet {title}") from None

    def limits(self, sheet: str) -> tuple[int, int]:
        return self.ends[sheet]

    def name(self, name: str, sheet: str) -> str:
        for names in (self.names[sheet], self.names[""]):
            if name.casefold() in names:
                return names[name.casefold()]
        raise CannotCompute(f"{name} is not a known name")

    def table(self, name: str) -> tuple[str, contents.Table]:
        for title, sheet in self.book.sheets.items():
            for table in sheet.tables:
                if table.name.casefold() == name.casefold():
                    return title, table
        raise CannotCompute(f"there is no table {name}")

    def cell(self, sheet: str, row: int, column: int) -> Any:
        return self.contents[sheet].get((row, column), EMPTY)

    def cells(self, area: Area) -> Any:
        found = self.blocks.get(area)
        if found is None:  # asked for when all its cells are computed, so it is kept
            contents = self.contents[area.sheet]
            positions = area.positions()
            cells = np.empty(len(positions), dtype=object)
            cells[:] = [contents.get(position, EMPTY) for position in positions]
            found = self.blocks[area] = cells.reshape(area.shape)
        return found


class _Failed:
    """What could not be computed so far, and what the formulas that need it say."""

    def __init__(self) -> None:
        self._causes: list[Formula] = []
        self._cells: Filled = collections.defaultdict(dict)

    def look(self, formula: Formula) -> None:
        """Give the formula a problem if it needs what could not be computed."""
        if not self._causes or formula.problem:
            return
        for area in needed(formula):
            for cause in within(area, self._cells):
                formula.problem = self._needs(cause)
                fill(self._cells, formula.area, cause)
                return

    def _needs(self, number: int) -> str:
        cause = self._causes[number]
        _, circle, cells = cause.problem.partition(CIRCLE)
        return (
            f"needs a {circle}{cells}" if circle else f"needs {cause}, which could not be computed"
        )

    def note(self, formula: Formula) -> None:
        """Keep in mind what could not be computed."""
        if formula.problem and not within(formula.area, self._cells):
            fill(self._cells, formula.area, len(self._causes))
            self._causes.append(formula)


def _plain(cell: Any) -> Value:
    """A cell as others hold it: errors are texts."""
    return str(cell) if isinstance(cell, str) else cell


def _formula(sheet: str, position: Position, cell: FormulaCell) -> Formula:
    row, column = position
    if not cell.area:
        return Formula(Area(sheet, row, column, row, column), _bare(cell.text), False, cell.row)
    left, top, right, bottom = range_boundaries(cell.area)
    area = Area(sheet, top, left, bottom, right)
    if cell.is_what_if:
        reason = "data tables (what-if analysis) are not supported"
        return Formula(area, "", True, top, reason)
    return Formula(area, _bare(cell.text), True, top)


def _fitted(result: Any, shape: tuple[int, int]) -> Any:
    """A result in the shape of an array formula's cells.

    A row is repeated downwards, a column sideways; cells beyond the result show #N/A.
    """
    given = block(result)
    rows, columns = (
        wanted if size == 1 else min(wanted, size)
        for wanted, size in zip(shape, given.shape, strict=True)
    )
    fitted = np.empty(shape, dtype=object)
    fitted.fill(NOT_FOUND)
    fitted[:rows, :columns] = given[:rows, :columns]
    return np.frompyfunc(settled, 1, 1)(fitted)
