"""The sheets in their order: one module each, with its title, sentence, blocks and report."""

from __future__ import annotations

from xlfuncs.workbook.sheets import (
    batches,
    calibration,
    factors,
    fermentation,
    kettle,
    log,
    runoff,
    setup,
    targets,
)

SHEETS = (setup, calibration, batches, log, runoff, kettle, targets, fermentation, factors)
