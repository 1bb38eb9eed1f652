"""Measure every plain formula, and print `measured.csv`."""

from __future__ import annotations

import csv
import functools
import sys
from collections.abc import Iterator

from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.plain import pieces
from xlfuncs.plain.measured import BOUNDS, CASES, compare, random_cases

Row = tuple[str, str, int, str]


def rows() -> Iterator[Row]:
    """Function and column, Newton steps taken, and the largest difference then."""
    for number, name in enumerate(BOUNDS):
        steps = _steps(name)
        for one in compare(name, random_cases(name, CASES, number), steps):
            yield name, one.column, steps, f"{one.largest:.3e}"


def _steps(name: str) -> int:
    """As few Newton steps as keep the function within half its bounds, refusals alike.

    Functions of the same arguments take the same number, so that they can share helper cells.
    """

    def arguments_of(name: str) -> list[str]:
        return [argument.name for argument in CATALOGUE[name].arguments]

    return max(_fewest(other) for other in BOUNDS if arguments_of(other) == arguments_of(name))


@functools.cache
def _fewest(name: str) -> int:
    cases = random_cases(name, 2000, seed=99)
    for steps in range(1, pieces.EXACT_STEPS):
        found = compare(name, cases, steps)
        if all(one.largest <= one.bound.most / 2 and not one.unlike for one in found):
            return steps
    return pieces.EXACT_STEPS


if __name__ == "__main__":
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(("function", "column", "steps", "largest"))
    out.writerows(rows())
