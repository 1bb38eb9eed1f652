"""Spreadsheet functions for a brewer's gravity log."""

__version__ = "0.1.0"
