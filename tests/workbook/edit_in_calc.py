"""Run by the office's own Python: lines of the log deleted, inserted, sorted, as by a person."""

import json
import os
import sys
import time
from itertools import groupby

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.table import TableSortField

_ERROR = 4  # com.sun.star.sheet.FormulaResult.ERROR


def connected(pipe):
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext(
        "com.sun.star.bridge.UnoUrlResolver", local
    )
    while True:
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except Exception:  # not listening yet
            time.sleep(0.2)


def value(name, what):
    found = PropertyValue()
    found.Name, found.Value = name, what
    return found


def delete(log, table, line):
    log.Rows.removeByIndex(table.StartRow + line, 1)


def insert(log, table, line):
    """A line, and the formulas of the line above filled down into it."""
    row = table.StartRow + line
    log.Rows.insertByIndex(row, 1)
    end = log.createCursor()
    end.gotoEndOfUsedArea(False)
    line_above = log.getCellRangeByPosition(0, row - 1, end.RangeAddress.EndColumn, row - 1)
    [formulas] = line_above.FormulaArray
    computed = groupby(range(len(formulas)), lambda column: formulas[column].startswith("="))
    for columns in (list(run) for filled, run in computed if filled):
        both = log.getCellRangeByPosition(columns[0], row - 1, columns[-1], row)
        both.fillAuto(uno.Enum("com.sun.star.sheet.FillDirection", "TO_BOTTOM"), 1)


def sort(log, table, line):
    """Whole lines as far as the page goes, by their first column, the latest first."""
    field = TableSortField()
    field.Field, field.IsAscending = 0, False
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    columns = log.getCellRangeByPosition(0, table.StartRow, line, table.EndRow)
    columns.sort((value("SortFields", fields), value("ContainsHeader", False)))


def wrong(book, titles):
    """The cells with errors on each of the sheets."""
    cells = {title: book.Sheets.getByName(title).queryFormulaCells(_ERROR) for title in titles}
    return {title: found.RangeAddressesAsString for title, found in cells.items()}


def main():
    task = json.load(sys.stdin)
    context = connected(task["pipe"])
    desktop = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.frame.Desktop", context
    )
    for file, edit, line, out in task["edits"]:
        book = desktop.loadComponentFromURL(file, "_blank", 0, (value("Hidden", True),))
        table = book.NamedRanges.getByName("log_date").getReferredCells().RangeAddress
        globals()[edit](book.Sheets.getByIndex(table.Sheet), table, line)
        book.calculate()
        book.storeToURL(out, (value("FilterName", "Calc MS Excel 2007 XML"),))
        book.close(True)
    book = desktop.loadComponentFromURL(task["anew"], "_blank", 0, (value("Hidden", True),))
    book.calculateAll()
    json.dump(wrong(book, task["titles"]), sys.stdout)
    sys.stdout.flush()
    os._exit(0)  # taking the bridge down may crash, when all is done


main()
