"""Audit of filled workbooks: every reading traced to the calibration in force at its time."""
