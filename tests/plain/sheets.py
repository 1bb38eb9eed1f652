"""A sheet of calls in plain formulas: arguments, helper cells, answers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
from openpyxl.utils import get_column_letter

from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.quantities import Choice
from xlfuncs.plain import Helpers
from xlfuncs.plain.measured import BOUNDS, alike, ranges_of, words_of

#: What people type that is no number within limits, or is one all the same.
TYPED = [None, " ", "abc", "12,4", "1,048", "-0.5", "+1.05", "12.", ".5", "1,2,3", "x" * 50, True,
         "! earlier", 1e9, -1e9, 70, 1048, 0, "9999,5"]  # fmt: skip


def calls(name: str, good: int, seed: int = 0) -> list[list[Any]]:
    """Arguments of calls: random ones near what is usual, then each argument typed wrongly."""
    function, words = CATALOGUE[name], words_of(name)[0]
    random = np.random.default_rng(seed)
    ranges = ranges_of(function, words)
    usual = [
        words.get(a.name, a.quantity.typical if not isinstance(a.quantity, Choice) else "")
        for a in function.arguments
    ]
    found = []
    for number in range(good):
        case = list(usual)
        for place, argument in enumerate(function.arguments):
            if argument.name in ranges:
                low, high = ranges[argument.name]
                low += 1e-3 * (high - low)  # not on a limit
                near = usual[place]
                spread = 0.05 * abs(near) if number % 2 else high - low
                case[place] = float(
                    np.clip(random.uniform(near - spread, near + spread), low, high)
                )
        found.append(case)
    for place, argument in enumerate(function.arguments):
        if argument.name in ranges:
            found += [[*usual[:place], typed, *usual[place + 1 :]] for typed in TYPED]
    return found


def write(path: Path, name: str, cases: list[list[Any]]) -> list[str]:
    """The sheet; gives the addresses of the first answer of each case."""
    function, words = CATALOGUE[name], words_of(name)[0]
    book = openpyxl.Workbook()
    sheet = book.active
    width = len(function.arguments)
    places = []
    for row, case in enumerate(cases, start=1):
        helpers = Helpers(lambda n, row=row: f"{get_column_letter(width + 10 + n)}{row}")
        given: dict[str, Any] = {}
        for column, (argument, value) in enumerate(
            zip(function.arguments, case, strict=True), start=1
        ):
            cell = sheet.cell(row, column)
            if argument.name in words:
                given[argument.name] = words[argument.name]
            else:
                cell.value = value
                given[argument.name] = cell.coordinate
        answers = helpers.call(name, **given)
        sheet.cell(row, width + 1).value = answers[0][0]
        places.append(f"{get_column_letter(width + 1)}{row}")
        for number, text in enumerate(helpers.formulas):
            sheet.cell(row, width + 10 + number).value = text
    book.save(path)
    return places


def right(function: CellFunction, case: list[Any]) -> Any:
    """What the function answers to a case."""
    answer = boundary.answer(function, case)
    return answer[0][0] if isinstance(answer, list) else answer


def check(name: str, cases: list[list[Any]], answers: list[Any]) -> None:
    """Hold an engine's answers against the function's own."""
    bound = BOUNDS[name][0]
    unlike = []
    for case, answer in zip(cases, answers, strict=True):
        wanted = right(CATALOGUE[name], case)
        answer = "" if answer is None else answer
        if isinstance(wanted, float):
            most = bound.most * (
                max(abs(wanted), bound.least, *(_numbers(case))) if bound.share else 1
            )
            good = type(answer) in (int, float) and abs(answer - wanted) <= max(most, 1e-9)
        else:
            good = isinstance(answer, str) and alike(answer, wanted)
        if not good:
            unlike.append((case, wanted, answer))
    assert not unlike, f"{name}: {len(unlike)} of {len(cases)}: {unlike[:4]}"


def _numbers(case: list[Any]) -> list[float]:
    return [abs(cell) for cell in case[:1] if type(cell) in (int, float)] + [0.0]
