"""The cells of a sheet's part, one after the other, as the part is read.

A tree of elements takes longer to make than all that is wanted of it, so nothing of a cell is kept
that nobody wants, and the part is in memory only piece by piece.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Container, Mapping
from typing import IO, NamedTuple
from xml.parsers import expat

from xlfuncs.files.package import local
from xlfuncs.files.part import column_of, no_document_type

_DIGITS = "0123456789"
_PIECE = 2**16
_local = functools.lru_cache(1024)(local)


class WrittenFormula(NamedTuple):
    """A formula as a cell holds it: its text, and what is said of it."""

    text: str
    attributes: Mapping[str, str]


class WrittenCell(NamedTuple):
    """A cell as the part holds it; None for what is not there."""

    attributes: Mapping[str, str]
    formula: WrittenFormula | None
    value: str | None
    inline: str | None  # a text that stands in the cell itself


#: What is done with a cell: row, column, and what it holds.
Take = Callable[[int, int, WrittenCell], None]


def cells(part: IO[bytes], take: Take, wanted: Container[int] | None = None) -> None:
    """Give each cell of a sheet's part to `take`, in the order of the file.

    `wanted` are the columns that matter; without it all do.  Raises `ExpatError` and `Malformed`
    for what is no such part.
    """
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = no_document_type
    parser.StartElementHandler = _followed(parser, take, wanted)
    try:
        while piece := part.read(_PIECE):
            parser.Parse(piece, False)
        parser.Parse(b"", True)
    finally:  # they know the parser: memory would go on holding it, and what it has read
        parser.StartElementHandler = parser.EndElementHandler = parser.CharacterDataHandler = None


def _followed(
    parser: expat.XMLParserType, take: Take, wanted: Container[int] | None
) -> Callable[[str, dict[str, str]], None]:
    """What follows the elements of a part; it asks for their ends within a wanted cell alone.

    One function with its variables around it, since it is called for every element.
    """
    row = column = 0
    row_is_said = False
    depth = 0  # of what is open, counted from the cell
    child = ""  # of the cell
    counts = False  # whether it is a run of an inline text, no reading aid beside one
    said: dict[str, str] = {}  # of a formula
    cell: dict[str, str] = {}
    formula: WrittenFormula | None = None
    value: str | None = None
    inline: str | None = None
    texts: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal row, column, row_is_said, depth, cell, formula, value, inline
        name = _local(name)
        if depth:
            within(name, attributes)
        elif name == "c":
            address = attributes.get("r")
            if not address:  # it follows the one before it
                column += 1
            else:
                letters = address.rstrip(_DIGITS)
                column = column_of(letters)
                if not row_is_said:
                    row, row_is_said = int(address[len(letters) :]), True
            if wanted is None or column in wanted:
                depth, cell = 1, attributes
                formula = value = inline = None
                parser.EndElementHandler, parser.CharacterDataHandler = end, texts.append
        elif name == "row":
            number = attributes.get("r")
            row, row_is_said = int(float(number)) if number else row + 1, bool(number)
            column = 0

    def within(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth, child, counts, said, inline
        depth += 1
        texts.clear()
        if depth == 2:
            child, said = name, attributes
            if name == "is":
                inline = ""
        elif depth == 3:
            counts = child == "is" and name in ("t", "r")

    def end(name: str) -> None:
        nonlocal depth, formula, value, inline
        depth -= 1
        if not depth:
            parser.EndElementHandler = parser.CharacterDataHandler = None
            take(row, column, WrittenCell(cell, formula, value, inline))
        elif depth > 1:
            if counts and _local(name) == "t":
                inline = f"{inline}{''.join(texts)}"
            texts.clear()
        elif child == "v":
            value = "".join(texts)
        elif child == "f":
            formula = WrittenFormula("".join(texts), said)

    return start
