"""Each function of the catalogue as a user-defined function of xlwings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import ModuleType
from typing import Any, cast

from xlfuncs.cells.catalogue import CellFunction

#: Raw cells in rows and columns, error values as text: the boundary does the rest.  A converter
#: such as numpy's would turn a whole range into text for the sake of one text in it.
_RAW = {"ndim": 2, "err_to_str": True}


def register(xlwings: ModuleType, catalogue: Mapping[str, CellFunction]) -> dict[str, Any]:
    """The catalogue as functions that carry what xlwings needs; off Windows they are plain."""
    return {name: _registered(xlwings, function) for name, function in catalogue.items()}


def _registered(xlwings: ModuleType, function: CellFunction) -> Callable[..., Any]:
    call = function.callable()
    call.__doc__ = function.documentation.summary  # Excel shows 255 characters of it
    registered = xlwings.ret(ndim=2)(call) if function.columns else call
    for argument in function.arguments:
        registered = xlwings.arg(argument.name, doc=argument.help, **_RAW)(registered)
    # Last, as it stands above other decorators: each of those would put the category back.
    registered = xlwings.func(category=function.category)(registered)
    return cast("Callable[..., Any]", registered)
