"""The catalogue of cell functions, filled by `@cell_function`.

One plain `def` declares a function: the signature gives names, order and defaults, the annotations
give quantities, the docstring gives what, formula, source and one example.  Registration with each
host, the reference and the tests read the catalogue; nothing is listed a second time.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

from xlfuncs.cells import boundary
from xlfuncs.cells.declaration import Declaration


class CellFunction(Declaration):
    """A declared function that can be called with what cells hold."""

    def callable(self) -> Callable[..., Any]:
        """The function as a cell sees it: raw values or (nested) lists of them in, the same out.

        It never raises for bad input.  Its signature is plain, because hosts that read annotations
        would take quantities for converters.
        """
        names = [argument.name for argument in self.arguments]

        def call(*cells: Any, **named: Any) -> Any:
            if named:
                given = dict(zip(names, cells, strict=False))
                if not named.keys() <= set(names) - given.keys():
                    raise TypeError(f"{self.signature()} does not take {', '.join(named)} here")
                given |= named
                cells = tuple(given.get(name) for name in names)
            return boundary.answer(self, cells)

        call.__name__ = call.__qualname__ = self.name
        call.__module__ = self.body.__module__
        call.__doc__ = self.body.__doc__
        call.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
            [
                inspect.Parameter(
                    argument.name,
                    inspect.Parameter.POSITIONAL_OR_KEYWORD,
                    default=argument.default,
                )
                for argument in self.arguments
            ]
        )
        return call


CATALOGUE: dict[str, CellFunction] = {}


def cell_function(
    category: str, columns: tuple[str, ...] = (), whole: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Declare a function that cells can call, and enter it in the catalogue.

    `columns` names the columns of an answer that is a block (rows×columns); without it the answer
    has the shape of the ranges that were given.  `whole` declares one answer for all that is given:
    a fit through a range, or a block that single cells decide.  The name is bound to
    `CellFunction.callable()`.
    """

    def declare(body: Callable[..., Any]) -> Callable[..., Any]:
        function = CellFunction.of(body, category, columns, whole)
        CATALOGUE[function.name] = function
        return function.callable()

    return declare
