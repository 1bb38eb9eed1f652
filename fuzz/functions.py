"""Every function with good, bad and absurd arguments: a text or a finite number, never more."""

from __future__ import annotations

import datetime
import math
import random
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import numpy as np

from fuzz.failure import Failure
from xlfuncs.cells.declaration import Argument
from xlfuncs.cells.quantities import Choice
from xlfuncs.functions import CATALOGUE

_ODD: list[Any] = [
    None, "", " ", "\t", "x", "! earlier", "#N/A", "#DIV/0!", "12,4", "1,234.5", "1.05", "SG", "°P",
    "gal", "-", "\x00", "🍺", "nan", "inf", "1e999", "1_000", True, False, 0, -0.0, 5e-324, -5e-324,
    2.2250738585072014e-308, 1.7976931348623157e308, -1.7976931348623157e308, math.nan, math.inf,
    -math.inf, 10**400, -(10**400), 2**63, 1e-300, datetime.date(2026, 3, 14),
    datetime.datetime(1, 1, 1), datetime.datetime(9999, 12, 31, 23, 59, 59), datetime.time(1, 2),
    datetime.timedelta(days=3), Decimal("1.048"), Decimal("NaN"), 1 + 2j, b"1.05", [], {}, (), [[]],
    [[], [1.0]], [[1.0], [1.0, 2.0]], np.float64(1.05), np.float32(1.05), np.int8(3), np.nan,
    np.datetime64("2026-03-14"), np.timedelta64(3, "D"), np.array([]), np.array(1.05),
    np.array([[1.05, 1.06]]), np.array(["1.05"]), np.bool_(True),
]  # fmt: skip


def attack(dice: random.Random) -> Iterator[Failure | None]:
    """Calls with arguments that are near a good call, or nothing like it."""
    names = sorted(CATALOGUE)
    calls = {name: CATALOGUE[name].callable() for name in names}
    while True:
        name = dice.choice(names)
        arguments = _arguments(dice, list(CATALOGUE[name].arguments))
        yield failure(name, arguments, calls[name])


def failure(name: str, arguments: list[Any], call: Any = None) -> Failure | None:
    """What is wrong with the answer of a call; None if nothing is."""
    call = call or CATALOGUE[name].callable()
    try:
        answer = call(*arguments)
    except Exception as error:  # whatever gets through to the spreadsheet is a fault
        what = f"{name} raises {type(error).__name__}: {error}"
    else:
        wrong = [cell for cell in _flat(answer) if not _is_cell(cell)]
        if not wrong:
            return None
        what = f"{name} gives {wrong[0]!r}"
    return Failure(what[:300], f"assert functions.failure({name!r}, {arguments!r}) is None")


def _arguments(dice: random.Random, wanted: list[Argument]) -> list[Any]:
    required = sum(not argument.optional for argument in wanted)
    count = dice.choice([len(wanted), required, dice.randint(required, len(wanted))])
    spoilt = dice.choice([0.0, 0.1, 0.5])
    return [_argument(dice, argument, spoilt) for argument in wanted[:count]]


def _argument(dice: random.Random, argument: Argument, spoilt: float) -> Any:
    def cell() -> Any:
        return dice.choice(_ODD) if dice.random() < spoilt else _good(dice, argument)

    rows, columns = dice.choice([(0, 0), (0, 0), (0, 0), (1, 1), (4, 1), (9, 1), (1, 4), (2, 3)])
    if not rows:
        return cell()
    return [[cell() for _ in range(columns)] for _ in range(rows)]


def _good(dice: random.Random, argument: Argument) -> Any:
    quantity = argument.quantity
    if isinstance(quantity, Choice):
        return dice.choice(list(quantity.words))
    if quantity.given is not None:
        return quantity.typical * dice.uniform(0.9, 1.1)
    near = quantity.typical * dice.uniform(0.7, 1.3)
    anywhere = dice.uniform(max(quantity.low, -1e6), min(quantity.high, 1e6))
    edge = dice.choice([quantity.low, quantity.high])
    return dice.choice([near, near, near, anywhere, edge, math.nextafter(edge, near)])


def _flat(answer: Any) -> list[Any]:
    if isinstance(answer, list):
        return [cell for row in answer for cell in _flat(row)]
    return [answer]


def _is_cell(cell: Any) -> bool:
    return type(cell) is str or (type(cell) in (float, int) and math.isfinite(cell))
