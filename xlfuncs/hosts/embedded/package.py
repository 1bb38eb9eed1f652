"""Worksheet functions of the `formulas` package, which takes cells, errors and places as its own.

It is loaded when one of them is asked for, topic by topic: its statistics alone take longer to load
than a workbook takes to compute.
"""

from __future__ import annotations

import functools
import importlib
from collections.abc import Callable
from typing import Any

import numpy as np
from openpyxl.utils import get_column_letter

from xlfuncs.hosts.embedded.values import EMPTY, ERRORS, CellError, Referenced, SizesDiffer

#: Topics of the package, the light ones first.
_TOPICS = (
    "logic", "math", "text", "date", "look", "info", "eng", "financial", "google", "stat", "comp",
)  # fmt: skip


@functools.cache  # a column of dates asks for one of them line by line
def of_package(name: str) -> Callable[..., Any] | None:
    """A function that takes and gives cells and blocks, and `Referenced`; None if there is none."""
    for topic in _TOPICS:
        found = importlib.import_module(f"formulas.functions.{topic}").FUNCTIONS.get(name)
        if callable(found):
            return _with_its_cells(found)
    return None


def _with_its_cells(function: Callable[..., Any]) -> Callable[..., Any]:
    import schedula
    from formulas.errors import BroadcastError
    from formulas.ranges import Ranges
    from formulas.tokens.operand import Error, XlError

    def given(raw: Any) -> Any:
        if isinstance(raw, Referenced):
            area = raw.area
            left, right = get_column_letter(area.left), get_column_letter(area.right)
            one = area.shape == (1, 1)
            text = f"{left}{area.top}" if one else f"{left}{area.top}:{right}{area.bottom}"
            sheet = area.sheet.upper()
            place = {
                "r1": str(area.top), "r2": str(area.bottom), "c1": left, "c2": right,
                "n1": area.left, "n2": area.right, "ref": text, "sheet_id": sheet,
                "name": f"{sheet}!{text}",
            }  # fmt: skip
            return Ranges().set_value(place, given(raw.cells))
        if isinstance(raw, np.ndarray):
            return np.frompyfunc(given, 1, 1)(raw)
        if raw is EMPTY:
            return schedula.EMPTY
        return Error.errors[str(raw)] if isinstance(raw, CellError) else raw

    def taken(raw: Any) -> Any:
        if isinstance(raw, Ranges):
            raw = raw.value
        if isinstance(raw, np.ndarray):
            if raw.size == 1:
                return taken(raw.item())
            return np.frompyfunc(taken, 1, 1)(np.asarray(raw, dtype=object))
        if isinstance(raw, np.generic):
            raw = raw.item()
        if raw is schedula.EMPTY:
            return EMPTY
        if isinstance(raw, XlError):
            return ERRORS[str(raw)]
        return float(raw) if isinstance(raw, int) and not isinstance(raw, bool) else raw

    def call(*arguments: Any) -> Any:
        try:
            return taken(function(*map(given, arguments)))
        except BroadcastError:
            raise SizesDiffer from None

    return call
