"""The driver with one more task, what the function wizard shows; for the office's own Python."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3] / "xlfuncs/hosts/calc/inside"))

import driver


def _wizard(context, desktop, task):
    described = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.sheet.FunctionDescriptions", context
    )
    found = {}
    for i in range(described.Count):
        told = {entry.Name: entry.Value for entry in described.getByIndex(i)}
        if told["Name"] in task["names"].split():
            found[told["Name"]] = {
                "description": told["Description"],
                "arguments": [
                    [argument.Name, argument.Description, argument.IsOptional]
                    for argument in told["Arguments"] or ()
                ],
            }
    return {"found": found}


driver.TASKS["wizard"] = _wizard
driver.main()
