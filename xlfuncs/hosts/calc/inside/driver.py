"""Does one task in a running office; the office's own Python runs this, and only `uno` is needed.

Reads the task as JSON from its standard input and writes the answer as JSON to its standard output.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import uno
import unohelper
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.document.MacroExecMode import NEVER_EXECUTE
from com.sun.star.document.UpdateDocMode import NO_UPDATE
from com.sun.star.lang import DisposedException
from com.sun.star.sheet.FillDirection import TO_BOTTOM
from com.sun.star.task import XInteractionHandler
from com.sun.star.ucb import XCommandEnvironment

_FORMULA_CELLS = 16  # com.sun.star.sheet.CellFlags.FORMULA
_TRUTH, _NA = 1, 2
_CELLS_OF_AN_AREA = 2_500
_ERRORS = {521: "#NULL!", 532: "#DIV/0!", 524: "#REF!", 525: "#NAME?", 503: "#NUM!",
           523: "#NUM!"}  # fmt: skip


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
    sheets = document.Sheets
    titles = sheets.ElementNames
    scratch = next(name for name in map("scratch{}".format, range(999)) if name not in titles)
    sheets.insertNewByName(scratch, len(titles))
    values = [
        (title, row, column, value)
        for title in titles
        for row, column, value in _formula_values(
            sheets.getByName(title), sheets.getByName(scratch)
        )
    ]
    document.close(True)
    return {"values": values}


def _formula_values(sheet: Any, scratch: Any) -> Iterator[tuple[int, int, Any]]:
    for areas in _read_at_once(sheet.queryContentCells(_FORMULA_CELLS).RangeAddresses):
        left, top, right, bottom = _box(areas)
        cells = sheet.getCellRangeByPosition(left, top, right, bottom)
        data = cells.DataArray
        kinds = _kinds(sheet, scratch, (left, top, right, bottom), [
            column for column, values in enumerate(_by_column(data))
            if any(map(_is_in_doubt, values))
        ])  # fmt: skip
        for row, column in _places(areas):
            value = data[row - top][column - left]
            kind = kinds[column - left][row - top] if _is_in_doubt(value) else 0
            if kind == _NA:
                value = "#N/A"
            elif kind == _TRUTH:
                value = bool(value)
            elif value is None:
                code = cells.getCellByPosition(column - left, row - top).getError()
                value = _ERRORS.get(code, "#VALUE!")
            yield row, column, value


def _is_in_doubt(value: Any) -> bool:
    """Whether a value may be a truth, told as 1 or 0, or an error, told as nothing."""
    return value is None or value in (0, 1)


def _read_at_once(areas: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """All areas, unless they lie so far apart that what is between them is much more than they are:
    to ask for one more area takes as long as some thousands of cells."""
    if not areas:
        return
    left, top, right, bottom = _box(areas)
    between = (right - left + 1) * (bottom - top + 1) - len(list(_places(areas)))
    if between <= _CELLS_OF_AN_AREA * len(areas):
        yield areas
    else:
        yield from ([area] for area in areas)


def _box(areas: Sequence[Any]) -> tuple[int, int, int, int]:
    """First column and row, last column and row."""
    return (
        min(area.StartColumn for area in areas), min(area.StartRow for area in areas),
        max(area.EndColumn for area in areas), max(area.EndRow for area in areas),
    )  # fmt: skip


def _places(areas: Sequence[Any]) -> Iterator[tuple[int, int]]:
    for area in areas:
        for row in range(area.StartRow, area.EndRow + 1):
            for column in range(area.StartColumn, area.EndColumn + 1):
                yield row, column


def _kinds(
    sheet: Any, scratch: Any, area: tuple[int, int, int, int], columns: list[int]
) -> dict[int, Any]:
    """For each cell of these columns of an area, whether its 1 or 0 is a truth, or its nothing
    `#N/A`.

    To ask thousands of cells one by one would take minutes.
    """
    if not columns:
        return {}
    left, top, _, bottom = area
    cells = [sheet.getCellByPosition(left + column, top).AbsoluteName.replace("$", "")
             for column in columns]  # fmt: skip
    asked = scratch.getCellRangeByPosition(0, 0, len(columns) - 1, bottom - top)
    first = scratch.getCellRangeByPosition(0, 0, len(columns) - 1, 0)
    first.setFormulaArray((tuple(f"={_TRUTH}*ISLOGICAL({cell})+{_NA}*ISNA({cell})"
                                 for cell in cells),))  # fmt: skip
    asked.fillAuto(TO_BOTTOM, 1)
    return {columns[place]: kinds for place, kinds in enumerate(_by_column(asked.DataArray))}


def _by_column(rows: Any) -> list[Any]:
    return list(zip(*rows))  # noqa: B905 - an office may bring a Python that knows no `strict`


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


def _convert(_context: Any, desktop: Any, task: dict[str, str]) -> dict[str, Any]:
    document = _computed(desktop, task["file"])
    document.storeToURL(_url(task["xlsx"]), _properties(FilterName="Calc MS Excel 2007 XML"))
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
        _url(file),
        "_blank",
        0,
        _properties(Hidden=True, UpdateDocMode=NO_UPDATE, MacroExecutionMode=NEVER_EXECUTE),
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
    "values": _values, "print": _print, "convert": _convert, "time": _time,
    "install": _install, "uninstall": _uninstall,
}  # fmt: skip

if __name__ == "__main__":
    main()
