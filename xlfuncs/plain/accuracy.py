"""How near the plain formulas come to the functions, measured on both."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.plain import recorded
from xlfuncs.plain.compute import compute
from xlfuncs.science import corrections
from xlfuncs.science.arrays import Array


@dataclass(frozen=True)
class Bound:
    """How far from the function a plain answer may lie, and in what unit that counts."""

    unit: str
    most: float
    share: bool = False  # of the answer, or of the volume where that is larger


_SG = Bound("SG", 2e-5)
_BRIX = Bound("°Bx", 2e-3)
_ALCOHOL = Bound("% alcohol", 5e-3)
_AMOUNT = Bound("of the amount", 2e-4, share=True)
_DOUBT = Bound("of the ±", 0.02, share=True)

#: Every function that has a plain form for a row of cells.
BOUNDS = {
    "REFRACTOMETER_BRIX": _BRIX,
    "HYDROMETER_SG": _SG,
    "WORT_SG": _SG,
    "WORT_BRIX": _BRIX,
    "WORT_SG_UNCERTAINTY": _DOUBT,
    "BEER_SG": _SG,
    "BEER_SG_UNCERTAINTY": _DOUBT,
    "ORIGINAL_SG": _SG,
    "BEER_ABV": _ALCOHOL,
    "BEER_ABW": _ALCOHOL,
    "REAL_EXTRACT": Bound("°P", 2e-3),
    # 0.005 % ABV is a thousandth of a beer's alcohol, and 0.1 % attenuation of its attenuation.
    "APPARENT_ATTENUATION": Bound("%", 0.1),
    "REAL_ATTENUATION": Bound("%", 0.1),
    "BEER_ENERGY": Bound("kcal", 0.05),
    "BLEND_SHARE": Bound("of A", 2e-4),
    "DILUTION_WATER": _AMOUNT,
    "BOIL_OFF_VOLUME": _AMOUNT,
    "EXTRACT_TO_ADD": _AMOUNT,
    "EXTRACT_MASS": _AMOUNT,
    "VOLUME_AT": _AMOUNT,
    "MASH_EFFICIENCY": _AMOUNT,
    "BOIL_SG": _SG,
    "BOIL_MINUTES": _AMOUNT,
    "TARGET_CHECK": Bound("word", 0.0),
    "CALIBRATION_STATUS": Bound("word", 0.0),
    "SUCROSE_STANDARD": _AMOUNT,
    "MALT_EXTRACT_STANDARD": _AMOUNT,
    "GRAVITY_CONVERT": _AMOUNT,
    "UNIT_CONVERT": _AMOUNT,
}

#: Words that stand for the others when a function is measured.
_WORDS = {
    "BEER_SG": {"method": corrections.BALANCE},
    "GRAVITY_CONVERT": {"from_scale": "SG", "to_scale": "Extract"},
    "UNIT_CONVERT": {"from_unit": "US gal", "to_unit": "L"},
}
_MOST_STEPS = 3
#: Volumes and masses of a brewery, and numbers without a unit, are tried up to here.
_LARGE = 1e4


@dataclass(frozen=True)
class Accuracy:
    """The largest difference of one function in so many cases that both answer with a number."""

    function: str
    bound: Bound
    largest: float
    answered: int
    #: Cases that one answers and the other refuses, or refuses in other words.
    unlike: int
    steps: int


def cases(
    function: CellFunction, count: int, random: np.random.Generator, words: Mapping[str, str]
) -> dict[str, Array]:
    """Arguments drawn evenly over their declared ranges."""
    drawn = {}
    for argument in function.arguments:
        quantity = argument.quantity
        if isinstance(quantity, Choice):
            continue
        if quantity.given is not None:
            quantity = quantity.given(words[quantity.depends_on])
        low, high = max(quantity.low, -_LARGE), min(quantity.high, _LARGE)
        drawn[argument.name] = random.uniform(low + (quantity.above and 1e-6), high, count)
    return drawn


def asked(
    function: CellFunction, given: Mapping[str, Array], words: Mapping[str, str]
) -> NDArray[np.object_]:
    """What the function answers: a row for each case, a column for each of its own."""
    rows = []
    size = len(next(iter(given.values())))
    singles = [argument for argument in function.arguments if argument.name not in given]
    assert all(argument.name in words for argument in singles)
    if function.answers_whole or any(a.takes.name == "CELL" and a.name in given for a in function.arguments):
        for position in range(size):
            cells = [
                float(given[a.name][position]) if a.name in given else words[a.name]
                for a in function.arguments
            ]
            rows.append(boundary.answer(function, cells))
        rows = [row[0] if isinstance(row, list) else [row] for row in rows]
    else:
        cells = [
            given[a.name].tolist() if a.name in given else words[a.name]
            for a in function.arguments
        ]
        answer = boundary.answer(function, cells)
        rows = [row if isinstance(row, list) else [row] for row in answer]
    answers = np.empty((size, len(rows[0])), dtype=object)
    answers[:] = rows
    return answers


def compare(name: str, given: Mapping[str, Array], steps: int) -> Accuracy:
    """Function and recorded arithmetic on the same arguments."""
    function, words = CATALOGUE[name], _WORDS.get(name, {})
    right = asked(function, given, words)
    answer = recorded.with_stand_ins(name, tuple(sorted(words.items())), steps)[0]
    bound, largest, answered, unlike = BOUNDS[name], 0.0, 0, 0
    for column, value in enumerate(answer):
        ours, theirs = compute(value, given), right[:, column]
        numbers = np.array([isinstance(cell, float) for cell in theirs])
        plain = np.array([isinstance(cell, float) and np.isfinite(cell) for cell in ours])
        both = numbers & plain
        unlike += int(np.sum(numbers != plain))
        unlike += int(np.sum(ours[~numbers & ~plain] != theirs[~numbers & ~plain]))
        if both.any():
            a, b = ours[both].astype(float), theirs[both].astype(float)
            scale = np.maximum(np.abs(b), given["volume"][both] if "volume" in given else 0.0)
            differences = np.abs(a - b)
            if bound.share:
                differences = differences / np.where(scale > 0, scale, 1.0)
            largest = max(largest, float(differences.max()))
            answered += int(both.sum())
    return Accuracy(name, bound, largest, answered, unlike, steps)


@functools.cache
def steps_of(name: str) -> int:
    """As few Newton steps as keep the function within its bound."""
    if name not in BOUNDS:
        return _MOST_STEPS
    given = cases(CATALOGUE[name], 2000, np.random.default_rng(1), _WORDS.get(name, {}))
    for steps in range(1, _MOST_STEPS):
        if compare(name, given, steps).largest <= BOUNDS[name].most / 2:
            return steps
    return _MOST_STEPS
