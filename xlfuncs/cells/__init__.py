"""The boundary between spreadsheet cells and arithmetic.

`quantities` says what one argument may be, `values` reads what a cell sends, `catalogue` holds the
declaration `@cell_function`, and `boundary` runs a declared function on cells and ranges.
"""
