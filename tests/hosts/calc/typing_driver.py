"""The driver with one more task, a person who types; for the office's own Python."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3] / "xlfuncs/hosts/calc/inside"))

import driver


def _type(context, desktop, task):
    """Type formulas, by cell, into a workbook (a new one without a file), then undo the last."""
    dispatcher = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.frame.DispatchHelper", context
    )
    document = desktop.loadComponentFromURL(
        driver._url(task["file"]) if task["file"] else "private:factory/scalc",
        "_blank", 0, driver._properties(Hidden=True),
    )  # fmt: skip
    sheet = document.Sheets.getByIndex(0)

    def command(name, **values):
        frame = document.CurrentController.Frame
        dispatcher.executeDispatch(frame, f".uno:{name}", "", 0, driver._properties(**values))

    def shown(address):
        cell = sheet.getCellRangeByName(address)
        return [cell.Formula.replace("XLFUNCS.CALC.ADDIN.", ""), cell.String]

    opened = {"modified": document.isModified(),
              "undo": list(document.UndoManager.AllUndoActionTitles)}  # fmt: skip
    if document.Sheets.Count > 1:
        opened["shown"] = {address: shown(address) for address in task["look"].split()}
    for address, formula in task["typed"].items():
        command("GoToCell", ToPoint=address)
        command("EnterString", StringName=formula)
    typed = {address: shown(address) for address in task["typed"]}
    command("Undo")
    undone = shown(address)
    command("Redo")
    redone = shown(address)
    modified = document.isModified()
    document.close(True)
    return {"opened": opened, "typed": typed, "undone": undone, "redone": redone,
            "modified": modified}  # fmt: skip


driver.TASKS["type"] = _type
driver.main()
