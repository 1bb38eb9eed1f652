"""What the office loads: the add-in with every cell function, and the job that follows a load.

Runs inside the office, in the office's own Python; `addin` packs it.
"""

# ruff: noqa: D102 - UNO says what its methods are for
from __future__ import annotations

import gc
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uno
import unohelper
from com.sun.star.lang import Locale, XLocalizable, XServiceInfo, XServiceName
from com.sun.star.sheet.FormulaResult import ERROR
from com.sun.star.table import CellAddress
from com.sun.star.task import XJob

ADDIN = "xlfuncs.calc.AddIn"
JOB = "xlfuncs.calc.AfterLoad"
SERVICES = {ADDIN: ("com.sun.star.sheet.AddIn",), JOB: ("com.sun.star.task.Job",)}

# Folders with the numpy of this Python, written when the add-in was built.
_SITE = Path(__file__).with_name("site-packages.txt")
sys.path += [folder for folder in _SITE.read_text("utf-8").splitlines() if folder not in sys.path]

try:
    from xlfuncs.hosts.calc.edge import respond
except ImportError:
    respond = None  # type: ignore[assignment]


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
    """Has Calc compile once more what it did not understand while it read an .xlsx file.

    Calc 7.4 looks add-in functions up by a longer name then, and shows #NAME?.  A defined name
    that comes and goes makes it look again.
    """

    name = JOB

    def execute(self, arguments: tuple[Any, ...]) -> None:
        given = {argument.Name: argument.Value for argument in arguments}
        document = next((v.Value for v in given.get("Environment", ()) if v.Name == "Model"), None)
        if document is None or not hasattr(document, "NamedRanges"):
            return
        sheets = document.Sheets
        if not any(
            sheets.getByIndex(i).queryFormulaCells(ERROR).Count for i in range(sheets.Count)
        ):
            return
        modified = document.isModified()
        names, passing = document.NamedRanges, "xlfuncs_look_again"
        names.addNewByName(passing, "0", CellAddress(), 0)
        names.removeByName(passing)
        document.setModified(modified)


g_ImplementationHelper = unohelper.ImplementationHelper()  # the office looks for this name  # noqa: N816
for service in (AddIn, AfterLoad):
    g_ImplementationHelper.addImplementation(
        service, service.name, (*SERVICES[service.name], service.name)
    )

gc.collect()
gc.freeze()  # or Python would look through all of numpy again and again during a column's call
