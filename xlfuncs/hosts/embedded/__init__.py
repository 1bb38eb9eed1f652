"""Compute a workbook without any spreadsheet program.

Parser and worksheet functions are those of the `formulas` package (`formula`, `worksheet`).  Its
own workbook model is not used, for reasons of substance: it has no notion of a formula that fails
alone, of the cell of its own row that a plain formula takes from a range, or of a table's
columns, and one such formula ends the calculation of the whole workbook.  `engine` puts in its
place an order of cells, which names what cannot be computed and computes the rest.
"""

from xlfuncs.hosts.embedded.engine import Calculation, calculate, calculate_book, calculate_file

__all__ = ["Calculation", "calculate", "calculate_book", "calculate_file"]
