"""Own factors, to be written: names only."""

from __future__ import annotations

from xlfuncs.workbook import words
from xlfuncs.workbook.kit.blocks import Sheet, Steps


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    names = ("own_wort_factor", "own_u_wort_factor", "own_beer_wort_factor",
             "own_beer_u_wort_factor", "own_alcohol_factor", "own_model_error",
             "runoff_says", "before_says", "after_says", "ferment_says")  # fmt: skip
    return Sheet(words.FACTORS, "", "", (Steps(dict.fromkeys(names, '""')),))
