"""Compute a workbook without any spreadsheet program.

Cells are computed in the order in which they need each other.  A formula that cannot be computed is
named, with what depends on it; all others are not touched by it.
"""

from __future__ import annotations

import collections
import datetime
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import schedula
from formulas.errors import BroadcastError
from formulas.ranges import Ranges
from formulas.tokens.operand import Error
from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.files import problems, stored
from xlfuncs.files.calls import Calls
from xlfuncs.files.stored import Value
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import worksheet
from xlfuncs.hosts.formula import Area, CannotCompute, Node, compiled

_CALLS = Calls(CATALOGUE)


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


def calculate(path: str | Path, today: datetime.date | None = None) -> Calculation:
    """Compute every formula of a workbook.

    `today` is what TODAY() and NOW() give, for results that can be reproduced; without it they give
    the present.  Raises `WorkbookProblem` for a file that is not a workbook.
    """
    return calculate_book(problems.load(path), today)


def calculate_book(book: Any, today: datetime.date | None = None) -> Calculation:
    """The same for a workbook that openpyxl holds; the workbook is not changed."""
    return _Workbook(book, today).calculation()


def calculate_file(
    path: str | Path, out: str | Path, today: datetime.date | None = None
) -> Calculation:
    """Compute a workbook and write it to `out` with the values beside the formulas.

    Formulas that could not be computed keep the value they had.  Raises as `calculate` does.
    """
    calculation = calculate(path, today)
    stored.store(path, calculation.values, out)
    return calculation


@dataclass
class _Formula:
    area: Area
    text: str
    is_array: bool
    problem: str = ""
    evaluate: Node | None = None
    needs: list[Area] = field(default_factory=list)

    def __str__(self) -> str:
        return f"{self.area.sheet}!{self.area.address}"


class _Workbook:
    """The formulas of a workbook, and the cells computed so far."""

    def __init__(self, book: Any, today: datetime.date | None) -> None:
        self.book = book
        self.calls: collections.Counter[str] = collections.Counter()
        self.functions: Mapping[str, Any] = {
            **worksheet.functions(),
            **worksheet.clock(today),
            **{name: self._counted(function) for name, function in CATALOGUE.items()},
        }
        self.formulas: list[_Formula] = []
        self.contents: dict[str, dict[tuple[int, int], Any]] = {}
        self.ends: dict[str, tuple[int, int]] = {}
        self.references: dict[Area, Any] = {}
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
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is None:
                    continue
                if cell.data_type == "f":
                    formula = _formula(sheet.title, cell)
                    self.formulas.append(formula)
                    filled.update(formula.area.positions())
                else:
                    cells[cell.row, cell.column] = _typed(cell, self.book.epoch)
        # What is stored inside an array formula's range is the last calculation's, not typed.
        for position in filled & cells.keys():
            del cells[position]
        written = [(1, 1), *cells, *filled]
        self.ends[sheet.title] = (max(row for row, _ in written), max(c for _, c in written))

    def calculation(self) -> Calculation:
        for formula in self.formulas:
            if not formula.problem:
                try:
                    formula.evaluate, formula.needs = compiled(
                        formula.text, formula.area, formula.is_array, self
                    )
                except CannotCompute as reason:
                    formula.problem = str(reason)
                except Exception as error:  # whatever one formula does, the others are computed
                    formula.problem = f"reading it failed ({type(error).__name__}: {error})"
        values: dict[tuple[str, str], Value] = {}
        for formula in self._in_order():
            for (row, column), cell in self._computed(formula):
                self.contents[formula.area.sheet][row, column] = cell
                values[formula.area.sheet, f"{get_column_letter(column)}{row}"] = (
                    str(cell) if isinstance(cell, str) else cell
                )
        failures = [(f.area.sheet, f.area.address, f.problem) for f in self.formulas if f.problem]
        return Calculation(values, failures, self.calls)

    def _computed(self, formula: _Formula) -> Iterable[tuple[tuple[int, int], Any]]:
        """Position and content of each cell that the formula fills."""
        if formula.evaluate is None or formula.problem:
            return ()
        try:
            block = _fitted(formula.evaluate(), formula.area.shape, formula.is_array)
        except BroadcastError:
            formula.problem = "ranges of different sizes do not fit together"
            return ()
        except Exception as error:  # whatever one formula does, the others are computed
            formula.problem = f"computing it failed ({type(error).__name__}: {error})"
            return ()
        return zip(formula.area.positions(), block.ravel().tolist(), strict=True)

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

    def cells(self, area: Area) -> Any:
        found = self.references.get(area)
        if found is None:  # asked for when all its cells are computed, so it is kept
            contents = self.contents[area.sheet]
            block = np.empty(area.shape[0] * area.shape[1], dtype=object)
            for i, position in enumerate(area.positions()):
                block[i] = contents.get(position, schedula.EMPTY)
            found = self.references[area] = area.reference(block.reshape(area.shape))
        return found

    # --- order

    def _in_order(self) -> Iterator[_Formula]:
        """Each formula after those it needs; what cannot be computed is marked on the way."""
        before, after = self._links()
        waiting = [len(links) for links in before]
        ready = collections.deque(i for i, count in enumerate(waiting) if not count)
        while ready:
            i = ready.popleft()
            formula = self.formulas[i]
            failed = next(
                (str(self.formulas[j]) for j in before[i] if self.formulas[j].problem), ""
            )
            if failed and not formula.problem:
                formula.problem = f"needs {failed}, which could not be computed"
            yield formula
            for j in after[i]:
                waiting[j] -= 1
                if not waiting[j]:
                    ready.append(j)
        self._mark_circular({i for i, count in enumerate(waiting) if count}, after)

    def _links(self) -> tuple[list[set[int]], list[set[int]]]:
        """For each formula, those it needs and those that need it."""
        filled: dict[tuple[str, int], dict[int, int]] = collections.defaultdict(dict)
        for i, formula in enumerate(self.formulas):
            for row, column in formula.area.positions():
                filled[formula.area.sheet, column][row] = i
        found: dict[Area, set[int]] = {}
        before: list[set[int]] = [set() for _ in self.formulas]
        after: list[set[int]] = [set() for _ in self.formulas]
        for i, formula in enumerate(self.formulas):
            for area in formula.needs:
                if area not in found:
                    rows = set(range(area.top, area.bottom + 1))
                    columns = [
                        filled.get((area.sheet, column), {})
                        for column in range(area.left, area.right + 1)
                    ]
                    found[area] = {held[row] for held in columns for row in held.keys() & rows}
                before[i] |= found[area]
            for j in before[i]:
                after[j].add(i)
        return before, after

    def _mark_circular(self, left: set[int], after: list[set[int]]) -> None:
        """Of what is left, tell the circle from what merely hangs on it."""
        circle = set(left)
        while ends := [i for i in circle if not after[i] & circle]:
            circle.difference_update(ends)
        cells = [str(self.formulas[i]) for i in sorted(circle)]
        names = ", ".join(cells[:5]) + (" …" if len(cells) > 5 else "")
        for i in left:
            if not self.formulas[i].problem:
                needs = "" if i in circle else "needs a "
                self.formulas[i].problem = f"{needs}circular reference: {names}"


def _formula(sheet: str, cell: Any) -> _Formula:
    value = cell.value
    if isinstance(value, (ArrayFormula, DataTableFormula)):
        left, top, right, bottom = range_boundaries(value.ref or cell.coordinate)
        area = Area(sheet, top, left, bottom, right)
        if isinstance(value, DataTableFormula):
            return _Formula(area, "", True, "data tables (what-if analysis) are not supported")
        return _Formula(area, _CALLS.bare(value.text or ""), True)
    area = Area(sheet, cell.row, cell.column, cell.row, cell.column)
    return _Formula(area, _CALLS.bare(str(value)), False)


def _typed(cell: Any, epoch: datetime.datetime) -> Any:
    """A typed cell as formulas see it: dates are serial numbers."""
    value = cell.value
    if cell.data_type == "e":
        return Error.errors.get(value, Error.errors["#VALUE!"])
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        return float(to_excel(value, epoch))
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _fitted(result: Any, shape: tuple[int, int], is_array: bool) -> Any:
    """A result in the shape of the formula's cells.

    A row is repeated downwards, a column sideways; cells beyond the result show #N/A.
    """
    block = np.asarray(result.value if isinstance(result, Ranges) else result, dtype=object)
    block = block if block.ndim == 2 else block.reshape(1, -1)
    if not is_array:
        block = block[:1, :1]
    rows, columns = (
        wanted if size == 1 else min(wanted, size)
        for wanted, size in zip(shape, block.shape, strict=True)
    )
    fitted = np.empty(shape, dtype=object)
    fitted.fill(Error.errors["#N/A"])
    fitted[:rows, :columns] = block[:rows, :columns]
    return np.frompyfunc(worksheet.settled, 1, 1)(fitted)
