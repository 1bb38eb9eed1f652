"""A cell that stands alone in a call of ours: `WORT_SG(A2)` becomes `WORT_SG(IF(A2="","",A2))`.

Calc hands an add-in the number 0 for an empty cell that is named alone, so that it cannot be told
from a 0 that was typed.  Written this way an empty cell is blank, and a 0 is a 0.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from xlfuncs.cells.quantities import Number
from xlfuncs.functions import CATALOGUE

_OURS = re.compile(rf"\b(?:{'|'.join(CATALOGUE)})\(")


@dataclass(frozen=True)
class Codes:
    """The numbers that this office has for what a formula is made of."""

    open: int  #: (
    close: int  #: )
    separator: int  #: ;
    equal: int  #: =
    condition: int  #: IF
    text: int
    spaces: int
    addin: int  #: a function of an add-in


@dataclass
class _Call:
    """An open bracket: whose arguments it holds, and at which of them we are."""

    function: str
    place: int = 0


def may_have(formula: str) -> bool:
    """Whether a formula calls a function of ours, by a look at its text.

    >>> may_have("=1+WORT_SG(A2)"), may_have("=SUM(A2)")
    (True, False)
    """
    return _OURS.search(formula) is not None


def guarded(
    tokens: Sequence[Any],
    codes: Codes,
    is_cell: Callable[[Any], bool],
    token: Callable[[int, Any], Any],
) -> list[Any] | None:
    """The tokens of a formula with each lone cell guarded; None if there is none.

    `is_cell` says whether a token names one cell, and `token` makes one.  Only a cell that is an
    argument by itself is alone: in `WORT_SG(A2+1)` it is not.
    """
    alone = set(_alone(tokens, codes, is_cell))
    if not alone:
        return None
    result: list[Any] = []
    for place, given in enumerate(tokens):
        if place in alone:
            empty = token(codes.text, "")
            start, end, comma = (
                token(code, None) for code in (codes.open, codes.close, codes.separator)
            )
            result += [token(codes.condition, None), start, given, token(codes.equal, None), empty,
                       comma, empty, comma, given, end]  # fmt: skip
        else:
            result.append(given)
    return result


def _alone(tokens: Sequence[Any], codes: Codes, is_cell: Callable[[Any], bool]) -> Iterator[int]:
    """The places of lone cells."""
    told = [(i, t) for i, t in enumerate(tokens) if t.OpCode != codes.spaces]
    starts, ends = {codes.open, codes.separator}, {codes.close, codes.separator}
    calls: list[_Call] = []
    for (_, before), (place, token), (_, after) in zip(
        [(0, None), *told], told, [*told[1:], (0, None)], strict=False
    ):
        first = before is not None and before.OpCode in starts
        last = after is not None and after.OpCode in ends
        if token.OpCode == codes.open:
            called = before is not None and before.OpCode == codes.addin
            calls.append(_Call(str(before.Data).rpartition(".")[2] if called else ""))
        elif token.OpCode == codes.close:
            calls = calls[:-1]
        elif token.OpCode == codes.separator and calls:
            calls[-1].place += 1
        elif calls and first and last and is_cell(token) and _tells_blank_from_zero(calls[-1]):
            yield place


def _tells_blank_from_zero(call: _Call) -> bool:
    """Whether an argument of ours comes next, and a blank in it is not 0 anyway."""
    function = CATALOGUE.get(call.function)
    if function is None or call.place >= len(function.arguments):
        return False
    argument = function.arguments[call.place]
    return not (isinstance(argument.quantity, Number) and argument.default == 0)
