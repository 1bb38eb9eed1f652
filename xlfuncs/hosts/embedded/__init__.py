"""Compute a workbook without any spreadsheet program.

`grammar` reads what a formula says, `formula` makes calls of it, and `worksheet` has the
functions that sheets use most; the rest are those of the `formulas` package (`package`).  Its own
workbook model is not used (looked at in 1.3.4): one formula that it cannot read, and it reads no
reference into a table, ends the calculation of all others; a circle of cells leaves cells without a
value and without a word; a plain formula that meets a range does not take the cell of its own row;
35 of the 158 formulas in `tests/hosts/embedded/test_engine.py` come out otherwise than in Excel;
and it takes five times as long for the worked example.  Nor is its parser: it takes eight times as
long as this one, and longer than all formulas take to be computed.  `engine` computes the cells in
the order in which they need each other, names what cannot be computed, and computes the rest.
"""

from xlfuncs.hosts.embedded.engine import (
    Calculation,
    Prepared,
    calculate,
    calculate_book,
    calculate_file,
    opened,
)

__all__ = ["Calculation", "Prepared", "calculate", "calculate_book", "calculate_file", "opened"]
