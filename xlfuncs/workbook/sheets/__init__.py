"""The sheets in their order: one module each, with its title, sentence, blocks and report."""

from __future__ import annotations

from xlfuncs.workbook.sheets import batches, calibration, factors, log, setup

SHEETS = (setup, calibration, batches, log, factors)
