"""The driver with one more task: compute a document and let its macros run, as the careless do."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3] / "xlfuncs/hosts/calc/inside"))

import driver
from com.sun.star.document.MacroExecMode import ALWAYS_EXECUTE_NO_WARN


def _compute(_context, desktop, task):
    document = desktop.loadComponentFromURL(
        driver._url(task["file"]),
        "_blank",
        0,
        driver._properties(Hidden=True, MacroExecutionMode=ALWAYS_EXECUTE_NO_WARN),
    )
    document.calculateAll()
    document.close(True)
    return {}


driver.TASKS["compute"] = _compute
driver.main()
