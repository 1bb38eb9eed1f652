"""What the office loads: the add-in with every cell function, and the job that follows a load.

Runs inside the office, in the office's own Python; `addin` packs it.
"""

# ruff: noqa: D102 - UNO says what its methods are for
from __future__ import annotations

import contextlib
import functools
import gc
import itertools
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import uno
import unohelper
from com.sun.star.lang import Locale, XLocalizable, XServiceInfo, XServiceName
from com.sun.star.sheet import FormulaToken
from com.sun.star.sheet.CellFlags import FORMULA
from com.sun.star.sheet.FormulaLanguage import ODFF
from com.sun.star.sheet.FormulaMapGroup import SPECIAL
from com.sun.star.sheet.FormulaMapGroupSpecialOffset import EXTERNAL, NAME, PUSH, SPACES
from com.sun.star.sheet.FormulaResult import ERROR
from com.sun.star.table import CellAddress
from com.sun.star.task import XJob
from com.sun.star.util import XChangesListener

ADDIN = "xlfuncs.calc.AddIn"
JOB = "xlfuncs.calc.AfterLoad"
SERVICES = {ADDIN: ("com.sun.star.sheet.AddIn",), JOB: ("com.sun.star.task.Job",)}

# Folders with the numpy of this Python, written when the add-in was built.
_SITE = Path(__file__).with_name("site-packages.txt")
sys.path += [folder for folder in _SITE.read_text("utf-8").splitlines() if folder not in sys.path]

try:
    from xlfuncs.hosts.calc import lone
    from xlfuncs.hosts.calc.edge import respond
except ImportError:
    lone = respond = None  # type: ignore[assignment]


def _missing(name: str) -> str:
    version = ".".join(map(str, sys.version_info[:2]))
    return f"! {name} is missing in the office's Python {version}; run: xlfuncs install calc"


class _Service(unohelper.Base, XServiceInfo):  # type: ignore[misc]
    name: str

    def __init__(self, context: Any) -> None:
        self.context = context

    def getImplementationName(self) -> str:
        return self.name

    def getSupportedServiceNames(self) -> tuple[str, ...]:
        return (*SERVICES[self.name], self.name)

    def supportsService(self, name: str) -> bool:
        return name in self.getSupportedServiceNames()


class AddIn(_Service, uno.getClass("xlfuncs.calc.XCells"), XServiceName, XLocalizable):  # type: ignore[misc]
    """Every cell function as a method; Calc knows their names from the type library."""

    name = ADDIN

    def __getattr__(self, name: str) -> Callable[..., Any]:
        if not name.isupper():  # as cell functions are named; the office asks for others too
            raise AttributeError(name)

        def call(*cells: Any) -> Any:
            if respond is None:
                return ((_missing("numpy"),),)
            try:
                return respond(name, cells)
            except ImportError as missing:
                return ((_missing(missing.name or "a library"),),)

        setattr(self, name, call)
        return call

    def getServiceName(self) -> str:
        return ADDIN

    def setLocale(self, locale: Any) -> None:
        self.locale = locale

    def getLocale(self) -> Any:
        return Locale("en", "", "")


class AfterLoad(_Service, XJob):  # type: ignore[misc]
    """Looks after a workbook that was opened or made: names first, then lone cells."""

    name = JOB

    def execute(self, arguments: tuple[Any, ...]) -> None:
        given = {argument.Name: argument.Value for argument in arguments}
        document = next((v.Value for v in given.get("Environment", ()) if v.Name == "Model"), None)
        if document is None or not hasattr(document, "NamedRanges"):
            return
        _look_again(document)
        if lone is not None:
            cells = LoneCells(document)
            with _unnoticed(document):
                cells.guard(map(document.Sheets.getByIndex, range(document.Sheets.Count)))
            document.addChangesListener(cells)


def _look_again(document: Any) -> None:
    """Have Calc compile once more what it did not understand while it read an .xlsx file.

    Calc 7.4 looks add-in functions up by a longer name then, and shows #NAME?.  A defined name
    that comes and goes makes it look again.
    """
    sheets = document.Sheets
    if any(sheets.getByIndex(i).queryFormulaCells(ERROR).Count for i in range(sheets.Count)):
        names, passing = document.NamedRanges, "xlfuncs_look_again"
        with _unnoticed(document):
            names.addNewByName(passing, "0", CellAddress(), 0)
            names.removeByName(passing)


@contextlib.contextmanager
def _unnoticed(document: Any) -> Iterator[None]:
    """What is done here, the user has neither to undo nor to save."""
    modified = document.isModified()
    document.UndoManager.lock()
    try:
        yield
    finally:
        document.UndoManager.unlock()
        document.setModified(modified)


class LoneCells(unohelper.Base, XChangesListener):  # type: ignore[misc]
    """Guards the cells that stand alone in calls of ours; `lone` says why."""

    def __init__(self, document: Any) -> None:
        self.names = document.NamedRanges
        codes = document.createInstance("com.sun.star.sheet.FormulaOpCodeMapper")
        special = codes.getAvailableMappings(ODFF, SPECIAL)
        self.name_code = special[NAME].Token.OpCode
        self.codes = lone.Codes(
            *(token.OpCode for token in codes.getMappings(("(", ")", ";", "=", "IF"), ODFF)),
            *(special[offset].Token.OpCode for offset in (PUSH, SPACES, EXTERNAL)),
        )

    def changesOccurred(self, event: Any) -> None:
        changed = (change.ReplacedElement for change in event.Changes)
        self.guard(cells for cells in changed if hasattr(cells, "queryContentCells"))

    def disposing(self, _event: Any) -> None:
        pass

    def guard(self, areas: Iterable[Any]) -> None:
        """In all formulas of these ranges or sheets."""
        named = functools.cache(self._named_cells)  # slow: only if a formula needs it, and once
        for get, put in itertools.chain.from_iterable(map(_ours, areas)):
            tokens = lone.guarded(
                get(), self.codes, lambda token: self._is_cell(token, named), FormulaToken
            )
            if tokens:
                put(tuple(tokens))

    def _is_cell(self, token: Any, named: Callable[[], set[int]]) -> bool:
        if token.OpCode == self.name_code:
            return token.Data.Sheet < 0 and token.Data.Index in named()
        return hasattr(token.Data, "RelativeColumn")

    def _named_cells(self) -> set[int]:
        """The numbers of the workbook's names that stand for one cell."""
        return {name.TokenIndex for name in map(self.names.getByIndex, range(self.names.Count))
                if hasattr(name.ReferredCells, "CellAddress")}  # fmt: skip


def _ours(cells: Any) -> Iterator[tuple[Callable[[], Any], Callable[[Any], None]]]:
    """How to get and put the tokens of each formula that calls us; an array formula is one.

    The texts of a whole area are asked for at once: most formulas of a workbook call nobody.
    """
    sheet = cells.Spreadsheet
    for area in cells.queryContentCells(FORMULA).RangeAddresses:
        top, left = area.StartRow, area.StartColumn
        texts = sheet.getCellRangeByPosition(left, top, area.EndColumn, area.EndRow).FormulaArray
        seen: set[tuple[int, int]] = set()  # in array formulas met before
        for row, line in enumerate(texts, top):
            for column, formula in enumerate(line, left):
                if (row, column) in seen or not lone.may_have(formula):
                    continue
                cell = sheet.getCellByPosition(column, row)
                if not formula.startswith("{"):
                    yield cell.getTokens, cell.setTokens
                    continue
                array = sheet.createCursorByRange(cell)
                array.collapseToCurrentArray()
                place = array.RangeAddress
                seen.update(itertools.product(
                    range(place.StartRow, place.EndRow + 1),
                    range(place.StartColumn, place.EndColumn + 1),
                ))  # fmt: skip
                if (row, column) == (place.StartRow, place.StartColumn):
                    yield array.getArrayTokens, array.setArrayTokens


g_ImplementationHelper = unohelper.ImplementationHelper()  # the office looks for this name  # noqa: N816
for service in (AddIn, AfterLoad):
    g_ImplementationHelper.addImplementation(
        service, service.name, (*SERVICES[service.name], service.name)
    )

gc.collect()
gc.freeze()  # or Python would look through all of numpy again and again during a column's call
