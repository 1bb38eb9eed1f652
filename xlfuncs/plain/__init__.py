"""The cell functions as formulas that every spreadsheet knows, for files that need no Python.

Nothing is written a second time: `trace` runs each function of the catalogue on values that record
what is done to them, `pieces` says what stands in for what science/ reaches by steps, `formulas`
hands out the recorded arithmetic as short formulas with helper cells, and `names` as named LAMBDAs.
"""
