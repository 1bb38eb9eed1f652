"""What a cell function is: its arguments, its answer, its documentation, read from one `def`.

The boundary runs a declaration and the catalogue collects them; neither is known here.
"""

from __future__ import annotations

import inspect
import typing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Self

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
class Declaration:
    """One function that a cell can call, as it was declared."""

    name: str
    category: str
    arguments: tuple[Argument, ...]
    #: Headings of the answer's columns; empty when it has the range's shape.
    columns: tuple[str, ...]
    #: Whether there is one answer for all that is given, rather than one for each element.
    answers_whole: bool
    body: Callable[..., Any]
    documentation: Documentation

    @classmethod
    def of(
        cls, body: Callable[..., Any], category: str, columns: tuple[str, ...], answers_whole: bool
    ) -> Self:
        """Read from the `def` itself what it says of arguments and documentation."""
        arguments = _arguments(body)
        if not answers_whole and any(argument.takes is Takes.RANGE for argument in arguments):
            raise TypeError(f"{body.__name__} takes a range as a whole: declare `whole=True`")
        return cls(
            body.__name__, category, arguments, columns, answers_whole, body, _documentation(body)
        )

    def signature(self) -> str:
        """The call as the reference prints it, optional arguments in brackets.

        >>> from xlfuncs.functions import CATALOGUE
        >>> CATALOGUE["WORT_SG"].signature()
        'WORT_SG(brix, [wort_factor=1.04])'
        """
        return f"{self.name}({', '.join(argument.word for argument in self.arguments)})"


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
