"""The catalogue of cell functions, filled by `@cell_function`.

One plain `def` declares a function: the signature gives names, order and defaults, the annotations
give quantities, the docstring gives what, formula, source and one example.  Registration with each
host, the reference and the tests read the catalogue; nothing is listed a second time.
"""

from __future__ import annotations

import inspect
import typing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from xlfuncs.cells import boundary
from xlfuncs.cells.quantities import Choice, Number, Quantity, Takes

REQUIRED = inspect.Parameter.empty


@dataclass(frozen=True)
class Argument:
    """One argument of a cell function."""

    name: str
    quantity: Quantity
    takes: Takes
    default: Any = REQUIRED

    @property
    def optional(self) -> bool:
        """Whether the cell may leave it out."""
        return self.default is not REQUIRED

    @property
    def help(self) -> str:
        """The explanation shown beside the argument, limits included; at most 255 characters."""
        limits = self.quantity.limits() if isinstance(self.quantity, Number) else ""
        text = self.quantity.help + (f" ({limits})" if limits else "")
        if self.optional and self.default is not None:
            text += f". Blank: {self.default}"
        return text

    @property
    def word(self) -> str:
        """The argument as a signature prints it: optional ones in brackets, with their default."""
        if not self.optional:
            return self.name
        return f"[{self.name}]" if self.default is None else f"[{self.name}={self.default}]"


@dataclass(frozen=True)
class Documentation:
    """The docstring of a cell function, by part."""

    summary: str
    details: str
    formula: str
    source: str
    example: str


@dataclass(frozen=True)
class CellFunction:
    """One function that a cell can call."""

    name: str
    category: str
    arguments: tuple[Argument, ...]
    columns: tuple[
        str, ...
    ]  # headings of the answer's columns; empty when it has the range's shape
    body: Callable[..., Any]
    documentation: Documentation

    @property
    def answers_whole(self) -> bool:
        """Whether there is one answer for all that is given, rather than one for each element.

        So it is where an argument is a range, and for a block that single cells decide.
        """
        takes = {argument.takes for argument in self.arguments}
        return Takes.RANGE in takes or (bool(self.columns) and takes == {Takes.CELL})

    def signature(self) -> str:
        """The call as the reference prints it, optional arguments in brackets.

        >>> from xlfuncs.functions import CATALOGUE
        >>> CATALOGUE["WORT_SG"].signature()
        'WORT_SG(brix, [wort_factor=1.04])'
        """
        return f"{self.name}({', '.join(argument.word for argument in self.arguments)})"

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
    category: str, columns: tuple[str, ...] = ()
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Declare a function that cells can call, and enter it in the catalogue.

    `columns` names the columns of an answer that is a block (rows×columns); without it the answer
    has the shape of the ranges that were given.  The name is bound to `CellFunction.callable()`.
    """

    def declare(body: Callable[..., Any]) -> Callable[..., Any]:
        function = CellFunction(
            body.__name__, category, _arguments(body), columns, body, _documentation(body)
        )
        CATALOGUE[function.name] = function
        return function.callable()

    return declare


def _arguments(body: Callable[..., Any]) -> tuple[Argument, ...]:
    hints = typing.get_type_hints(body, include_extras=True)
    found = []
    for parameter in inspect.signature(body).parameters.values():
        marks = hints[parameter.name].__metadata__
        quantity = next(mark for mark in marks if isinstance(mark, (Number, Choice)))
        takes = next((mark for mark in marks if isinstance(mark, Takes)), Takes.CELLS)
        found.append(Argument(parameter.name, quantity, takes, parameter.default))
    return tuple(found)


def _documentation(body: Callable[..., Any]) -> Documentation:
    text = inspect.cleandoc(body.__doc__ or "")
    text, _, example = text.partition("\n>>> ")
    parts = {"Formula": "", "Source": ""}
    prose = []
    for paragraph in text.split("\n\n"):
        heading, colon, rest = paragraph.partition(": ")
        flat = " ".join(paragraph.split())
        if colon and heading in parts:
            parts[heading] = " ".join(rest.split())
        elif flat:
            prose.append(flat)
    return Documentation(
        prose[0] if prose else "",
        "\n\n".join(prose[1:]),
        parts["Formula"],
        parts["Source"],
        ">>> " + example if example else "",
    )
