"""The cell functions as formulas that every spreadsheet knows, for files that need no Python.

Nothing is written a second time: `trace` runs each function of the catalogue on values that record
what is done to them, `pieces` says what stands in for what science/ reaches by steps, `rows` hands
out the recorded arithmetic as short formulas with helper cells, `measured` holds them against the
functions, and `names` hands out the functions whole, as named LAMBDAs.
"""

from xlfuncs.plain.rows import FROM_CELL, Helpers, Plain, formula

__all__ = ["FROM_CELL", "Helpers", "Plain", "formula"]
