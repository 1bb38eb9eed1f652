"""Physics and brewing arithmetic: numbers or arrays in, the same shape out.

Nothing here knows a cell, a file or a spreadsheet, and numpy is the only import.  The functions
raise nothing for a bad element; limits are checked where cells come in (`xlfuncs.cells`).
"""
