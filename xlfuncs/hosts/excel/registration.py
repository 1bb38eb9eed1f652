"""Each function of the catalogue as a user-defined function of xlwings."""

from __future__ import annotations

import decimal
import functools
from collections.abc import Callable, Mapping
from types import ModuleType
from typing import Any, cast

from xlfuncs.cells.catalogue import CellFunction

#: Raw cells in rows and columns, error values as text: the boundary does the rest.  A converter
#: such as numpy's would turn a whole range into text for the sake of one text in it.
_RAW = {"ndim": 2, "err_to_str": True}

# Errors that Excel knows and xlwings hands over as bare numbers (XlCVError, as COM gives them).
_ERRORS = {
    -2146828288 + number: text
    for number, text in {
        2043: "#GETTING_DATA",
        2045: "#SPILL!",
        2046: "#CONNECT!",
        2047: "#BLOCKED!",
        2048: "#UNKNOWN!",
        2049: "#FIELD!",
        2050: "#CALC!",
    }.items()
}


def register(xlwings: ModuleType, catalogue: Mapping[str, CellFunction]) -> dict[str, Any]:
    """The catalogue as functions that carry what xlwings needs; off Windows they are plain."""
    return {name: _registered(xlwings, function) for name, function in catalogue.items()}


def _registered(xlwings: ModuleType, function: CellFunction) -> Callable[..., Any]:
    call = _taking_what_excel_sends(function.callable())
    call.__doc__ = function.documentation.summary  # Excel shows 255 characters of it
    registered = xlwings.ret(ndim=2)(call) if function.columns else call
    for argument in function.arguments:
        registered = xlwings.arg(argument.name, doc=argument.help, **_RAW)(registered)
    # Last, as it stands above other decorators: each of those would put the category back.
    registered = xlwings.func(category=function.category)(registered)
    return cast("Callable[..., Any]", registered)


def _taking_what_excel_sends(call: Callable[..., Any]) -> Callable[..., Any]:
    @functools.wraps(call)
    def taking(*arguments: Any, **named: Any) -> Any:
        return call(*map(_plain, arguments), **{key: _plain(cell) for key, cell in named.items()})

    return taking


def _plain(raw: Any) -> Any:
    """Cells without what only COM knows: numbers for errors, decimals for sums of money."""
    if isinstance(raw, list):
        return [_plain(cell) for cell in raw]
    if type(raw) is int:
        return _ERRORS.get(raw, raw)
    return float(raw) if isinstance(raw, decimal.Decimal) else raw
