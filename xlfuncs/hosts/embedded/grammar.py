"""What a formula says, as a tree: operations and functions, with what they take at the leaves.

Its words are told apart, then put together as a spreadsheet does.  A sign binds more closely than a
power (-2^2 is 4), and what binds alike is taken from the left.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from openpyxl.utils import column_index_from_string

from xlfuncs.hosts.embedded.values import ERRORS

LAST_ROW, LAST_COLUMN = 1048576, 16384


class CannotCompute(Exception):
    """Why a formula cannot be computed, in words."""


class Unreadable(Exception):
    """A formula, or a name in it, that is none."""


class Constant(NamedTuple):
    """A number, text, truth value or error."""

    value: Any


class Missing(NamedTuple):
    """An argument that is left out: `IF(A1,,2)`."""


class Cells(NamedTuple):
    """Cells by their corners, in any order; `sheet` is empty for the formula's own."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int


class Name(NamedTuple):
    """A defined name; `sheet` is empty if it names none."""

    sheet: str
    name: str


class TablePart(NamedTuple):
    """`Table[Column]`, `Table[[#This Row],[Column]]` and the like."""

    table: str
    inside: str


class Operation(NamedTuple):
    """An operator: `+` and its like of two, `U+`, `U-` and `%` of one, `,` and a blank of areas."""

    symbol: str
    operands: tuple[Part, ...]


class Call(NamedTuple):
    """A function by its name, or the rows of a constant in braces as `{}`."""

    name: str
    arguments: tuple[Part, ...]


Part = Constant | Missing | Cells | Name | TablePart | Operation | Call

#: How closely operators of two bind.
_BINDING = {
    "=": 1, "<>": 1, "<": 1, ">": 1, "<=": 1, ">=": 1, "&": 2, "+": 3, "-": 3, "*": 4, "/": 4,
    "^": 5, ",": 7, " ": 8,
}  # fmt: skip
_SIGN = 6

_SHEET = r"(?:(?:'(?P<quoted>(?:[^'\[\]]|'')+)'|(?P<sheet>[^\W\d][\w.]*))!)?"
_CELLS = re.compile(
    _SHEET + r"\$?(?P<left>[A-Z]{1,3})?(?:\$?(?P<top>[1-9]\d{0,6}))?"
    r"(?P<several>:(?:(?:'(?:[^'\[\]]|'')+'|[^\W\d][\w.]*)!)?"
    r"\$?(?P<right>[A-Z]{1,3})?(?:\$?(?P<bottom>[1-9]\d{0,6}))?)?",
    re.IGNORECASE,
)
_NAME = re.compile(_SHEET + r"(?P<name>[^\W\d][\w.\\?]*)")
_TABLE_PART = re.compile(
    r"(?P<table>[^\W\d][\w.]*)\[(?P<inside>(?:[^\[\]']|'.|\[(?:[^\[\]']|'.)*\])*)\]"
)


# What is written without a gap, from the sheet in quotes to the brackets of a table, is one word.
_QUOTED = r"'(?:[^']|'')*'"
_BRACKETS = r"\[(?:[^\[\]']|'.|\[(?:[^\[\]']|'.)*\])*\]"
_WORDS = re.compile(
    r"(?P<blank>\s+)"
    r'|(?P<text>"(?:[^"]|"")*")'
    rf"|(?P<error>{'|'.join(map(re.escape, ERRORS))})"
    r"|(?P<number>(?:\d+\.?\d*|\.\d+)(?:[Ee][+-]?\d+)?)(?![\w.$:!?@\\'\[(])"
    rf"|(?P<place>(?:[\w.$:!?@\\]|{_QUOTED}|{_BRACKETS})+(?:(?<=!)#REF!)?)(?P<function>\()?"
    r"|(?P<operator><=|>=|<>|[-+*/^&=<>%])"
    r"|(?P<sign>[(){},;])"
    r"|(?P<unknown>.)"
)
_SPILLED = re.compile(r"[\w)]#")
_OPERANDS = {"text", "error", "number", "place"}


class _Word(NamedTuple):
    """A word and what it is: one of the groups of `_WORDS`."""

    kind: str
    text: str

    def ends_operand(self) -> bool:
        return self.kind in _OPERANDS or self.text in (")", "}")

    def begins_operand(self) -> bool:
        return self.kind in _OPERANDS or self.kind == "function" or self.text in ("(", "{")


_END = _Word("end", "")


@functools.lru_cache(8192)
def parsed(text: str) -> Part:
    """A formula's tree; raises `Unreadable`, and `CannotCompute` for what is not supported."""
    words = [
        _Word(str(found.lastgroup), found[0])
        for found in _WORDS.finditer(text.strip().removeprefix("="))
    ]
    if any(word.kind == "unknown" for word in words):
        if any(word.text == "#" for word in words) and _SPILLED.search(text):
            raise CannotCompute("references to a spilled range (A1#) are not supported")
        raise Unreadable(text)
    reader = _Reader(_without_blanks(words))
    tree = reader.expression(0)
    reader.close("")
    return tree


def _without_blanks(words: list[_Word]) -> Iterator[_Word]:
    """The words, and of the blanks between them those that stand for what two areas share."""
    for before, word, after in zip([_END, *words], words, [*words[1:], _END], strict=False):
        if word.kind != "blank":
            yield word
        elif before.ends_operand() and after.begins_operand():
            yield _Word("operator", " ")


class _Reader:
    """Puts words together, the next of which is `self.word`."""

    def __init__(self, words: Iterator[_Word]) -> None:
        self._words = words
        self.word = next(words, _END)

    def _take(self) -> _Word:
        """The next word; go on behind it."""
        word, self.word = self.word, next(self._words, _END)
        return word

    def close(self, bracket: str) -> None:
        """Go on behind this bracket; without one the formula has to end here."""
        if self.word.text != bracket:
            if self.word.text.startswith(":"):
                _must_be_supported(self.word.text)
            raise Unreadable(self.word.text or "a bracket that is not closed")
        self._take()

    def expression(self, least: int, joined: bool = True) -> Part:
        """An expression of operators that bind as closely as that, or more.

        `joined` says that a comma joins areas; between arguments it parts them.
        """
        tree = self._operand(joined)
        while self.word.kind == "operator" or (joined and self.word.text == ","):
            symbol = self.word.text
            if symbol != "%" and _BINDING[symbol] < least:
                break
            self._take()
            right = () if symbol == "%" else (self.expression(_BINDING[symbol] + 1, joined),)
            tree = Operation(symbol, (tree, *right))
        return tree

    def _operand(self, joined: bool) -> Part:
        kind, text = self._take()
        if kind in _OPERANDS:
            return _operand(kind, text)
        if text in ("+", "-"):
            return Operation(f"U{text}", (self.expression(_SIGN, joined),))
        if text == "(":
            tree = self.expression(0)
            self.close(")")
            return tree
        if text == "{":
            rows = [Call("{}", tuple(self._arguments()))]
            while self.word.text == ";":
                self._take()
                rows.append(Call("{}", tuple(self._arguments())))
            self.close("}")
            return Call("{}", tuple(rows))
        if kind == "function":
            name = text.removesuffix("(")
            _must_be_supported(name)
            arguments = [] if self.word.text == ")" else self._arguments()
            self.close(")")
            return Call(name.upper(), tuple(arguments))
        raise Unreadable(text or "the end")

    def _arguments(self) -> list[Part]:
        """What stands between commas."""
        found: list[Part] = []
        while True:
            left_out = self.word.text in (",", ";", ")", "}")
            found.append(Missing() if left_out else self.expression(0, joined=False))
            if self.word.text != ",":
                return found
            self._take()


def _must_be_supported(word: str) -> None:
    if "@" in word:
        raise CannotCompute("the operator @ is not supported")
    if ":" in word:
        raise CannotCompute("a range up to what a function gives is not supported")


@functools.lru_cache(8192)
def _operand(kind: str, word: str) -> Part:
    if kind == "text":
        return Constant(word[1:-1].replace('""', '"'))
    if kind == "number":
        return Constant(float(word))
    if word.upper() in ("TRUE", "FALSE"):
        return Constant(word.upper() == "TRUE")
    if kind == "error" or word.endswith("#REF!"):
        return Constant(ERRORS[word[word.rindex("#") :]])
    found = _TABLE_PART.fullmatch(word)
    if found:
        return TablePart(found["table"], found["inside"].strip())
    if "[" in word:
        raise CannotCompute("it refers to another workbook")
    return _cells(word) or _span(word) or _name(word)


def _span(word: str) -> Cells | None:
    """The least rectangle that holds all of `A1:B2:C3`."""
    found = [_cells(corner) for corner in word.split(":")]
    if len(found) < 2 or not all(found):
        return None
    sheets, tops, lefts, bottoms, rights = zip(*filter(None, found), strict=True)
    if set(sheets[1:]) - {sheets[0], ""}:
        return None
    return Cells(sheets[0], min(tops), min(lefts), max(bottoms), max(rights))


def _cells(word: str) -> Cells | None:
    found = _CELLS.fullmatch(word)
    if found is None:
        return None
    left, top, right, bottom = found["left"], found["top"], found["right"], found["bottom"]
    if not found["several"]:
        if not (left and top):
            return None
        right, bottom = left, top
    elif bool(left) != bool(right) or bool(top) != bool(bottom) or not (left or top):
        return None
    columns = sorted(map(column_index_from_string, (left, right))) if left else [1, LAST_COLUMN]
    rows = sorted((int(top), int(bottom))) if top else [1, LAST_ROW]
    if columns[1] > LAST_COLUMN or rows[1] > LAST_ROW:
        return None
    return Cells(_sheet(found), rows[0], columns[0], rows[1], columns[1])


def _name(word: str) -> Name:
    _must_be_supported(word)
    found = _NAME.fullmatch(word)
    if found is None:
        raise Unreadable(word)
    return Name(_sheet(found), found["name"])


def _sheet(found: re.Match[str]) -> str:
    return (found["quoted"] or "").replace("''", "'") or found["sheet"] or ""
