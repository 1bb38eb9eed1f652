"""Does one task in a running office; the office's own Python runs this, and only `uno` is needed.

Reads the task as JSON from its standard input and writes the answer as JSON to its standard output.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import uno
import unohelper
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.lang import DisposedException
from com.sun.star.task import XInteractionHandler
from com.sun.star.ucb import XCommandEnvironment

_FORMULA_CELLS = 16  # com.sun.star.sheet.CellFlags.FORMULA
_LOGICAL = 1024  # com.sun.star.util.NumberFormat.LOGICAL
_ERRORS = {521: "#NULL!", 532: "#DIV/0!", 524: "#REF!", 525: "#NAME?", 503: "#NUM!",
           523: "#NUM!", 32767: "#N/A"}  # fmt: skip


class TaskProblem(Exception):
    """What to tell the user."""


def main() -> None:
    """Connect, do the task, have the office end, and write the answer."""
    task = json.load(sys.stdin)
    context = _connect(task["pipe"])
    desktop = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.frame.Desktop", context
    )
    try:
        answer = TASKS[task["do"]](context, desktop, task)
    except TaskProblem as problem:
        answer = {"problem": str(problem)}
    json.dump(answer, sys.stdout)
    sys.stdout.flush()
    with contextlib.suppress(DisposedException):  # it may be quicker than its answer
        desktop.terminate()
    os._exit(0)  # nothing of the bridge is worth waiting for


def _connect(pipe: str) -> Any:
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext(
        "com.sun.star.bridge.UnoUrlResolver", local
    )
    while True:  # whoever started us ends us when it takes too long
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except NoConnectException:
            time.sleep(0.02)


# --- workbooks ------------------------------


def _values(_context: Any, desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    document = _computed(desktop, task["file"])
    formats = document.NumberFormats
    values = []
    for name in document.Sheets.ElementNames:
        sheet = document.Sheets.getByName(name)
        values += [
            (name, row, column, value) for row, column, value in _formula_values(sheet, formats)
        ]
    document.close(True)
    return {"values": values}


def _formula_values(sheet: Any, formats: Any) -> Iterator[tuple[int, int, Any]]:
    for area in sheet.queryContentCells(_FORMULA_CELLS).RangeAddresses:
        cells = sheet.getCellRangeByPosition(
            area.StartColumn, area.StartRow, area.EndColumn, area.EndRow
        )
        for i, row in enumerate(cells.DataArray):
            for j, value in enumerate(row):
                if value is None:
                    code = cells.getCellByPosition(j, i).getError()
                    value = _ERRORS.get(code, "#VALUE!")
                elif value in (0.0, 1.0):
                    kind = formats.getByKey(cells.getCellByPosition(j, i).NumberFormat)
                    value = bool(value) if kind.Type & _LOGICAL else value
                yield area.StartRow + i, area.StartColumn + j, value


def _print(_context: Any, desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    document = _computed(desktop, task["file"])
    wanted = task.get("sheet", "")
    titles = document.Sheets.ElementNames
    if wanted and wanted.casefold() not in map(str.casefold, titles):
        raise TaskProblem(f"it has no sheet {wanted}; it has {', '.join(titles)}")
    for title in titles:
        # Where one sheet has a print area, those without are not printed.
        if wanted and title.casefold() != wanted.casefold():
            document.Sheets.getByName(title).setPrintAreas(())
    document.storeToURL(_url(task["pdf"]), _properties(FilterName="calc_pdf_Export"))
    document.close(True)
    return {}


def _time(_context: Any, desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    document = _computed(desktop, task["file"])
    seconds = []
    for _ in range(int(task["repeats"])):
        start = time.perf_counter()
        document.calculateAll()
        seconds.append(time.perf_counter() - start)
    document.close(True)
    return {"seconds": seconds}


def _computed(desktop: Any, file: str) -> Any:
    document = desktop.loadComponentFromURL(
        _url(file), "_blank", 0, _properties(Hidden=True, UpdateDocMode=0)
    )
    if document is None or not hasattr(document, "Sheets"):
        raise TaskProblem("LibreOffice cannot read it as a workbook")
    document.calculateAll()
    return document


# --- the add-in ------------------------------


class _Consent(unohelper.Base, XInteractionHandler, XCommandEnvironment):  # type: ignore[misc]
    """Says yes to whatever the extension manager asks."""

    def handle(self, request: Any) -> None:
        for choice in request.Continuations:
            if choice.queryInterface(uno.getTypeByName("com.sun.star.task.XInteractionApprove")):
                choice.select()

    def getInteractionHandler(self) -> Any:
        return self

    def getProgressHandler(self) -> Any:
        return None


def _install(context: Any, _desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    manager = _extensions(context)
    manager.addExtension(_url(task["oxt"]), (), "user", manager.createAbortChannel(), _Consent())
    return {}


def _uninstall(context: Any, _desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    manager = _extensions(context)
    for package in manager.getDeployedExtensions("user", manager.createAbortChannel(), _Consent()):
        if package.Identifier.Value == task["identifier"]:
            manager.removeExtension(
                task["identifier"], package.Name, "user", manager.createAbortChannel(), _Consent()
            )
            return {"removed": True}
    return {"removed": False}


def _extensions(context: Any) -> Any:
    return context.getValueByName("/singletons/com.sun.star.deployment.ExtensionManager")


def _url(path: str) -> str:
    return str(unohelper.systemPathToFileUrl(path))


def _properties(**values: Any) -> tuple[Any, ...]:
    return tuple(PropertyValue(Name=name, Value=value) for name, value in values.items())


TASKS: dict[str, Callable[[Any, Any, dict[str, str]], dict[str, Any]]] = {
    "values": _values, "print": _print, "time": _time,
    "install": _install, "uninstall": _uninstall,
}  # fmt: skip

if __name__ == "__main__":
    main()
