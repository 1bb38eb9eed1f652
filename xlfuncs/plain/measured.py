"""How near the plain formulas come to the functions, measured on both.

It takes seconds, so `measuring` does it for `make docs` and keeps what it found in `measured.csv`,
which a test compares; what makes workbooks and documents reads it there.
"""

from __future__ import annotations

import csv
import functools
import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.quantities import Choice, Number, Takes
from xlfuncs.plain import pieces, recorded
from xlfuncs.plain.compute import compute
from xlfuncs.science import corrections, gravity
from xlfuncs.science.arrays import Array

Cells = NDArray[np.object_]
Words = Mapping[str, str]


@dataclass(frozen=True)
class Bound:
    """How far from the function a plain answer may lie."""

    most: float
    unit: str
    share: bool = False  # of the answer, or of the volume where that is larger
    least: float = 0.0  # the share is of this at least


_SG = Bound(2e-5, "SG")
_BRIX = Bound(2e-3, "°Bx")
_ALCOHOL = Bound(5e-3, "%")
# A thousandth of a beer's alcohol, which 0.005 % ABV is, is as much of its attenuation.
_ATTENUATION = Bound(1e-3, "of 100 %", share=True, least=100.0)
_AMOUNT = Bound(2e-4, "of the amount", share=True)
_DOUBT = Bound(0.02, "of the ±", share=True)
_WORD = Bound(0.0, "words")

#: Every function that has a plain form for a row of cells: a bound for each of its answers.
BOUNDS: dict[str, tuple[Bound, ...]] = {
    "REFRACTOMETER_BRIX": (_BRIX,),
    "HYDROMETER_SG": (_SG,),
    "WORT_SG": (_SG,),
    "WORT_BRIX": (_BRIX,),
    "WORT_SG_UNCERTAINTY": (_DOUBT,),
    "BEER_SG": (_SG,),
    "BEER_SG_UNCERTAINTY": (_DOUBT,),
    "ORIGINAL_SG": (_SG,),
    "BEER_ABV": (_ALCOHOL,),
    "BEER_ABW": (_ALCOHOL,),
    "REAL_EXTRACT": (Bound(2e-3, "°P"),),
    "APPARENT_ATTENUATION": (_ATTENUATION,),
    "REAL_ATTENUATION": (_ATTENUATION,),
    "BEER_ENERGY": (Bound(0.05, "kcal"),),
    "BLEND_SHARE": (Bound(2e-4, "of the blend"),),
    "DILUTION_WATER": (_AMOUNT,),
    "BOIL_OFF_VOLUME": (_AMOUNT,),
    "EXTRACT_TO_ADD": (_AMOUNT,),
    "EXTRACT_MASS": (_AMOUNT,),
    "VOLUME_AT": (_AMOUNT,),
    "MASH_EFFICIENCY": (_AMOUNT,),
    "BOIL_SG": (_SG,),
    "BOIL_MINUTES": (_AMOUNT,),
    "TARGET_CHECK": (_WORD,),
    "CALIBRATION_STATUS": (_WORD,),
    "SUCROSE_STANDARD": (_AMOUNT, _AMOUNT),
    "MALT_EXTRACT_STANDARD": (_AMOUNT, _DOUBT),
    # 0.002 °P of the 50 °P that each scale spans.
    "GRAVITY_CONVERT": (Bound(4e-5, "of the scale"),),
    "UNIT_CONVERT": (_AMOUNT,),
}

#: Random cases on which each function is measured.
CASES = 10_000
_UNITS = {"from_unit": "US gal", "to_unit": "L"}
#: Volumes, masses and numbers without a unit are tried up to here.
_LARGE = 1e4
#: A case is on a limit when so small a share of an argument's range takes it across.
_NEAR = 1e-5


@dataclass(frozen=True)
class Accuracy:
    """The largest difference of one answer in the cases that both answer with a number."""

    function: str
    column: str
    bound: Bound
    largest: float
    answered: int
    unlike: int  # one answers and the other refuses, or in other words, and not on a limit


def words_of(name: str) -> list[dict[str, str]]:
    """The words with which a function is measured."""
    if name == "GRAVITY_CONVERT":
        pairs = itertools.product(gravity.SCALES, repeat=2)
        return [{"from_scale": one, "to_scale": other} for one, other in pairs]
    if name == "UNIT_CONVERT":
        return [_UNITS]
    return [{"method": corrections.BALANCE}] if name == "BEER_SG" else [{}]


Case = tuple[Words, dict[str, Array]]


def random_cases(name: str, count: int, seed: int = 0) -> list[Case]:
    """Arguments drawn evenly over their declared ranges."""
    random = np.random.default_rng(seed)
    found: list[Case] = []
    for words in words_of(name):
        drawn = {
            argument: random.uniform(low, high, max(count // len(words_of(name)), 10))
            for argument, (low, high) in ranges_of(CATALOGUE[name], words).items()
        }
        found.append((words, drawn))
    return found


def ranges_of(function: CellFunction, words: Words) -> dict[str, tuple[float, float]]:
    """The declared range of each argument that is a number, as far as it is tried."""
    found = {}
    for argument in function.arguments:
        quantity = argument.quantity
        if isinstance(quantity, Choice):
            continue
        if quantity.given is not None:
            quantity = quantity.given(words[quantity.depends_on])
        low, high = max(quantity.low, -_LARGE), min(quantity.high, _LARGE)
        found[argument.name] = (low + 1e-6 if quantity.above else low, high)
    return found


def asked(function: CellFunction, words: Words, given: Mapping[str, Array]) -> Cells:
    """What the function itself answers: a row for each case, a column for each of its answers."""
    cells = [
        given[argument.name].tolist() if argument.name in given else words[argument.name]
        for argument in function.arguments
    ]
    if any(a.takes is Takes.CELL and isinstance(a.quantity, Number) for a in function.arguments):
        singles = [boundary.answer(function, list(case)) for case in zip(*cells, strict=True)]
        rows = [answer[0] if isinstance(answer, list) else answer for answer in singles]
    else:
        rows = boundary.answer(function, cells)
    answers = np.empty((len(rows), len(function.columns) or 1), dtype=object)
    answers[:] = rows if function.columns else [[cell] for cell in rows]
    return answers


def compare(name: str, cases: list[Case], steps: int) -> list[Accuracy]:
    """The function against its recorded arithmetic."""
    function = CATALOGUE[name]
    columns = function.columns or ("",)
    largest, answered, unlike = ([0] * len(columns) for _ in range(3))
    for words, given in cases:
        right = asked(function, words, given)
        [answer] = recorded.with_stand_ins(name, tuple(sorted(words.items())), steps)
        for column, value in enumerate(answer):
            ours, theirs = compute(value, given), right[:, column]
            plain, numbers = _are_numbers(ours), _are_numbers(theirs)
            both = numbers & plain
            said = [
                place
                for place in np.flatnonzero(~both).tolist()
                if not _same_words(ours[place], theirs[place])
            ]
            unlike[column] += len(said) - _at_a_limit(function, words, given, said, column)
            answered[column] += int(both.sum())
            difference = np.abs(ours[both].astype(float) - theirs[both].astype(float))
            difference /= _whole(BOUNDS[name][column], words, given, theirs, both)
            largest[column] = max(largest[column], difference.max(initial=0.0))
    return [
        Accuracy(name, *found)
        for found in zip(columns, BOUNDS[name], largest, answered, unlike, strict=True)
    ]


def _are_numbers(cells: Cells) -> NDArray[np.bool_]:
    return np.array([isinstance(cell, float) and bool(np.isfinite(cell)) for cell in cells])


def _whole(
    bound: Bound, words: Words, given: Mapping[str, Array], answers: Cells, where: Any
) -> Any:
    """What a difference is counted as a share of."""
    if "to_scale" in words:
        scale = gravity.SCALES[words["to_scale"]]
        return scale.high - scale.low
    if not bound.share:
        return 1.0
    whole = np.maximum(np.abs(answers[where].astype(float)), bound.least)
    if "volume" in given:
        whole = np.maximum(whole, given["volume"][where])
    return np.where(whole > 0, whole, 1.0)


def _same_words(ours: Any, theirs: Any) -> bool:
    return isinstance(ours, str) and isinstance(theirs, str) and alike(ours, theirs)


def _at_a_limit(
    function: CellFunction, words: Words, given: Mapping[str, Array], places: list[int], column: int
) -> int:
    """How many of the cases lie so near to a limit that the function turns there too."""
    if not places:
        return 0
    here = {key: values[places] for key, values in given.items()}
    answers = asked(function, words, here)[:, column]
    turns = np.zeros(len(places), dtype=bool)
    for key, (low, high) in ranges_of(function, words).items():
        for side in (-_NEAR, _NEAR):
            moved = np.clip(here[key] + side * (high - low), low, high)
            others = asked(function, words, here | {key: moved})[:, column]
            turns |= [type(a) is not type(b) for a, b in zip(answers, others, strict=True)]
    return int(turns.sum())


_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def alike(first: str, second: str) -> bool:
    """Whether two texts say the same, but for the last digit or a thousandth of numbers in them."""
    if first == second:
        return True
    ours, theirs = (_NUMBER.findall(text) for text in (first, second))
    if _NUMBER.sub("#", first) != _NUMBER.sub("#", second):
        return False
    return all(
        abs(float(one) - float(other)) <= max(1.01 * _last_digit(one, other), abs(float(one)) / 1e3)
        for one, other in zip(ours, theirs, strict=True)
    )


def _last_digit(*numbers: str) -> float:
    """What one more in the last digit makes of the number that has fewer of them."""
    return float(max(10.0 ** -len(number.partition(".")[2]) for number in numbers))


# --- kept ------------------------------

_FILE = Path(__file__).with_name("measured.csv")


@dataclass(frozen=True)
class Kept:
    """What was measured of one answer: Newton steps taken, and the largest difference then."""

    function: str
    column: str
    bound: Bound
    steps: int
    largest: float


@functools.cache
def kept() -> tuple[Kept, ...]:
    """What was measured when the formulas were made."""
    with _FILE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return tuple(
        Kept(row["function"], row["column"], _bound(row), int(row["steps"]), float(row["largest"]))
        for row in rows
    )


def _bound(row: Mapping[str, str]) -> Bound:
    columns = CATALOGUE[row["function"]].columns or ("",)
    return BOUNDS[row["function"]][columns.index(row["column"])]


def steps_of(name: str) -> int:
    """With how many Newton steps the function is written: all of them unless fewer were enough."""
    return next((one.steps for one in kept() if one.function == name), pieces.EXACT_STEPS)
