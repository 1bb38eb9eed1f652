"""The sheets in their order: one module each, with its title, sentence, blocks and report.

Start, which leads to all of them, stands before them: `build.layout` makes it of the others.
"""

from __future__ import annotations

from xlfuncs.workbook.sheets import (
    batch_sheet,
    batches,
    blend,
    calibration,
    convert,
    factors,
    fermentation,
    kettle,
    log,
    runoff,
    setup,
    standards,
    targets,
)

SHEETS = (
    setup,
    calibration,
    batches,
    log,
    runoff,
    kettle,
    targets,
    fermentation,
    factors,
    batch_sheet,
    convert,
    standards,
    blend,
)
