"""The worked examples of docs/kettle.md, recomputed line by line."""

import ast
import math
import re
from pathlib import Path

import numpy as np
import pytest

from xlfuncs.functions import CATALOGUE
from xlfuncs.science import blending, sucrose

DOCUMENT = (Path(__file__).parents[2] / "docs" / "kettle.md").read_text(encoding="utf-8")
LINES = [
    line
    for block in re.findall(r"```worked\n(.*?)```", DOCUMENT, re.DOTALL)
    for line in block.splitlines()
]


def printed(text):
    """The number that a line ends with, and half a unit of its last digit."""
    number = re.match(r"-?\d+(?:\.(\d*))?", text)
    return float(number.group()), 0.5 * 10 ** -len(number.group(1) or "")


def by_hand(expression):
    """A sum of plain numbers, as printed."""
    plain = expression.translate(str.maketrans({"·": "*", "−": "-", "²": "**2", "√": "sqrt"}))
    return eval(plain, {"__builtins__": {}, "ln": math.log, "sqrt": math.sqrt})


def by_cell(expression):
    """A call of a cell function; `{a;b}` is a column of cells, as a sheet writes it."""
    call = ast.parse(expression.replace("{", "[").replace("}", "]").replace(";", ","), mode="eval")
    answer = CATALOGUE[call.body.func.id].callable()(*map(ast.literal_eval, call.body.args))
    if isinstance(answer, list):  # a block: the first figure in it
        return next(cell for cell in answer[0] if isinstance(cell, float))
    return answer


@pytest.mark.parametrize("line", LINES)
def test_worked_line(line):
    left, *middle, right = line.split(" = ")
    value, half = printed(right)
    if middle:
        found = by_hand(*middle)
    elif left.startswith("P("):
        found = sucrose.plato(by_hand(left[1:]))
    else:
        found = by_cell(left)
    assert found == pytest.approx(value, abs=half * (1 + 1e-9))


def test_every_kind_of_line_is_there():
    assert sum(" = " in line for line in LINES) == len(LINES) > 40
    assert sum(line.split("(")[0] in CATALOGUE for line in LINES) > 10


def test_points_times_volume_is_as_far_off_as_the_document_says():
    """The common approximation V·(SG - 1), against conserved mass and extract."""
    low, high = map(float, re.search(r"Between (1\.\d+) and (1\.\d+), for", DOCUMENT).groups())
    water = re.search(r"(\d\.\d) to (\d\.\d) % too little water", DOCUMENT.replace("\n", " "))
    after = re.search(r"up to (0\.\d+) points too high; after a boil, up to (1\.\d+)", DOCUMENT)
    gravities = np.arange(1000 * low, 1000 * high + 1) / 1000
    now, target = np.meshgrid(gravities, gravities)
    apart = np.abs(now - target) > 0.00499
    now, target = now[apart], target[apart]
    guess = (now - 1) / (target - 1) - 1
    short = 100 * (1 - guess / blending.water_to_add(1.0, now, target))
    assert [short.min(), short.max()] == pytest.approx([float(x) for x in water.groups()], abs=0.05)
    points = 1000 * (blending.after_water(1.0, now, guess) - target)
    assert [points.max(), -points.min()] == pytest.approx(
        [float(x) for x in after.groups()], abs=0.005
    )
