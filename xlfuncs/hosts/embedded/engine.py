"""The order of the cells, and the calculation of a whole workbook.

Cells are computed in the order in which they need each other.  A formula that cannot be computed is
named, with what depends on it; all others are not touched by it.
"""

from __future__ import annotations

import collections
import datetime
import functools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.files import problems, stored
from xlfuncs.files.calls import Calls
from xlfuncs.files.filled import Filled as FilledDown
from xlfuncs.files.problems import Source
from xlfuncs.files.stored import Value
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.embedded import worksheet
from xlfuncs.hosts.embedded.formula import Tree, compiled
from xlfuncs.hosts.embedded.grammar import CannotCompute
from xlfuncs.hosts.embedded.order import CIRCLE, Filled, Formula, fill, in_order, needed, within
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


def opened(source: Source) -> Any:
    """A workbook as openpyxl holds it, to be computed.  Raises as `calculate` does."""
    book = problems.load(source, filled=True)
    stored.must_compute_whole(book, source.path)
    return book


def calculate_book(book: Any, today: datetime.date | None = None) -> Calculation:
    """The same for a workbook that openpyxl holds; the workbook is not changed."""
    return _Workbook(book, today).calculation()


class Prepared:
    """A workbook whose formulas are read once and computed for one set of entries after another."""

    def __init__(self, book: Any, today: datetime.date | None = None) -> None:
        self._book = _Workbook(book, today)
        self._book.read_formulas()
        self._typed = {title: dict(cells) for title, cells in self._book.contents.items()}
        self._problems = [formula.problem for formula in self._book.formulas]

    def calculate(self, typed: Mapping[tuple[str, str], Any]) -> Calculation:
        """The calculation with these values in cells of sheet and address; None is a blank.

        They are values: a text that begins with `=` stays a text.
        """
        book = self._book
        book.contents = {title: dict(cells) for title, cells in self._typed.items()}
        book.blocks, book.alike = {}, {}
        book.calls = collections.Counter()
        for formula, problem in zip(book.formulas, self._problems, strict=True):
            formula.problem = problem
        for (title, address), value in typed.items():
            cells, position = book.contents[title], coordinate_to_tuple(address)
            if value is None:
                cells.pop(position, None)
            else:
                cells[position] = _value(value, book.book.epoch)
        return book.computed()


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


class _Workbook:
    """The formulas of a workbook, and the cells computed so far."""

    def __init__(self, book: Any, today: datetime.date | None) -> None:
        self.book = book
        self.calls: collections.Counter[str] = collections.Counter()
        self.functions: Mapping[str, Callable[..., Any]] = {
            **worksheet.clock(today),
            **{name: self._counted(function) for name, function in CATALOGUE.items()},
        }
        self.formulas: list[Formula] = []
        self.contents: dict[str, dict[tuple[int, int], Any]] = {}
        self.ends: dict[str, tuple[int, int]] = {}
        self.trees: dict[tuple[str, str, bool, bool, bool], Tree] = {}
        self.blocks: dict[Area, Any] = {}
        self.order: list[Formula] = []
        self.alike: dict[tuple[Any, ...], Any] = {}
        self.titles: dict[str, str] = {
            sheet.title.casefold(): sheet.title for sheet in book.worksheets
        }
        # What each name stands for: those of one sheet by its title, the workbook's own by "".
        self.names = {
            title: {known.casefold(): str(name.value) for known, name in names.items()}
            for title, names in (
                ("", book.defined_names),
                *((sheet.title, sheet.defined_names) for sheet in book.worksheets),
            )
        }
        for sheet in book.worksheets:
            self._read(sheet)

    def _counted(self, function: CellFunction) -> Callable[..., Any]:
        call = worksheet.cell_function(function)

        def counted(*arguments: Any) -> Any:
            self.calls[function.name] += 1
            return call(*arguments)

        return counted

    def _read(self, sheet: Any) -> None:
        cells = self.contents[sheet.title] = {}
        filled: set[tuple[int, int]] = set()
        # Of the cells that are there: walking over rows makes all those between them too.
        for position, cell in sorted(sheet._cells.items()):
            if cell.value is None:
                continue
            if cell.data_type == "f":
                formula = _formula(sheet.title, cell)
                self.formulas.append(formula)
                filled.update(formula.area.positions() if formula.is_array else (position,))
            else:
                cells[position] = _typed(cell, self.book.epoch)
        # What is stored inside an array formula's range is the last calculation's, not typed.
        for position in filled & cells.keys():
            del cells[position]
        written = [(1, 1), *cells, *filled]
        self.ends[sheet.title] = (max(row for row, _ in written), max(c for _, c in written))

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
            for (row, column), cell in self._computed(formula):
                self.contents[formula.area.sheet][row, column] = cell
                values[formula.area.sheet, f"{get_column_letter(column)}{row}"] = (
                    str(cell) if isinstance(cell, str) else cell
                )
            failed.note(formula)
        failures = [(f.area.sheet, f.area.address, f.problem) for f in self.formulas if f.problem]
        return Calculation(values, failures, self.calls)

    def _computed(self, formula: Formula) -> Iterable[tuple[tuple[int, int], Any]]:
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
        return zip(area.positions(), fitted.ravel().tolist(), strict=True)

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

    def table(self, name: str) -> tuple[str, Any]:
        for sheet in self.book.worksheets:
            for table in sheet.tables.values():
                if table.displayName.casefold() == name.casefold():
                    return sheet.title, table
        raise CannotCompute(f"there is no table {name}")

    def cell(self, sheet: str, row: int, column: int) -> Any:
        return self.contents[sheet].get((row, column), EMPTY)

    def cells(self, area: Area) -> Any:
        found = self.blocks.get(area)
        if found is None:  # asked for when all its cells are computed, so it is kept
            contents = self.contents[area.sheet]
            cells = np.empty(area.shape[0] * area.shape[1], dtype=object)
            for i, position in enumerate(area.positions()):
                cells[i] = contents.get(position, EMPTY)
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


def _formula(sheet: str, cell: Any) -> Formula:
    value = cell.value
    area = Area(sheet, cell.row, cell.column, cell.row, cell.column)
    if isinstance(value, FilledDown):
        return Formula(area, _bare(value.formula), False, value.row)
    if isinstance(value, (ArrayFormula, DataTableFormula)):
        left, top, right, bottom = range_boundaries(value.ref or cell.coordinate)
        area = Area(sheet, top, left, bottom, right)
        if isinstance(value, DataTableFormula):
            reason = "data tables (what-if analysis) are not supported"
            return Formula(area, "", True, top, reason)
        return Formula(area, _bare(value.text or ""), True, top)
    return Formula(area, _bare(str(value)), False, area.top)


def _typed(cell: Any, epoch: datetime.datetime) -> Any:
    """A typed cell as formulas see it."""
    if cell.data_type == "e":
        return ERRORS.get(cell.value, NOT_A_VALUE)
    return _value(cell.value, epoch)


def _value(value: Any, epoch: datetime.datetime) -> Any:
    """A value as formulas see it: dates are serial numbers."""
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        return float(to_excel(value, epoch))
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


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
