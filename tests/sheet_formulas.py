"""The formulas of docs/science.md, computed as a sheet computes them."""

import re
from pathlib import Path

import numpy as np

from xlfuncs.functions import CATALOGUE
from xlfuncs.science import beer, budget, wort

DOCUMENT = (Path(__file__).parents[1] / "docs" / "science.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"```sheet (\w+)\n(.*?)```", DOCUMENT, re.DOTALL))
WORDS = {
    "SQRT": np.sqrt,
    "MAX": np.maximum,
    "ABS": np.abs,
    "IF": np.where,
    **{name: function.callable() for name, function in CATALOGUE.items()},
}
DEFAULTS = {
    "wort_factor": 1.04,
    "u_factor": wort.FACTOR_U,
    "u_reading": 0.1,
    "u_compensation": budget.COMPENSATION_U,
    "u_temperature": budget.THERMOMETER_U,
    "u_model": beer.MODEL_U,
    "compensated": False,
    "temperature": 24.0,
}


def sheet(block, **inputs):
    """The block's figures by name, each computed from those before."""
    cells = DEFAULTS | inputs
    for line in BLOCKS[block].splitlines():
        name, formula = line.split(" = ")
        cells[name] = eval(formula.replace("^", "**"), {"__builtins__": {}}, WORDS | cells)
    return cells
