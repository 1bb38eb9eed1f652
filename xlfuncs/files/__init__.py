"""Workbook files as files: what can be wrong with one, and values stored beside its formulas."""
