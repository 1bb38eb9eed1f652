"""What a formula says, as a tree: operations and functions, with what they take at the leaves.

openpyxl tells the words of a formula apart; here they are put together as a spreadsheet reads them.
A sign binds more closely than a power (-2^2 is 4), and what binds alike is taken from the left.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from openpyxl.formula.tokenizer import Token, Tokenizer, TokenizerError
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


class _Words(Tokenizer):  # type: ignore[misc]
    """openpyxl's, with numbers of any length before an exponent that has a sign: 12.5E-3."""

    SN_RE = re.compile(r"(?:\d+\.?\d*|\.\d+)[Ee]$")


@functools.lru_cache(8192)
def parsed(text: str) -> Part:
    """A formula's tree; raises `Unreadable`, and `CannotCompute` for what is not supported."""
    text = text.strip()
    try:
        words = _Words(f"={text.removeprefix('=')}").items
    except (TokenizerError, IndexError) as error:
        if re.search(r"[\w)]#(?!N/A|NAME|NULL|NUM|REF|VALUE|DIV)", text):
            reason = "references to a spilled range (A1#) are not supported"
            raise CannotCompute(reason) from None
        raise Unreadable(text) from error
    reader = _Reader(words)
    tree = reader.expression(0)
    reader.take(None)
    return tree


class _Reader:
    """Puts words together, the next of which is `self.word`."""

    def __init__(self, words: list[Token]) -> None:
        self._words = _without_blanks(words)
        self.word = next(self._words, None)

    def take(self, kind: str | None) -> str:
        """Go on behind a word of this kind, and give its text; None is the formula's end."""
        word = self.word
        if word is None or word.type != kind:
            if word is None and kind is None:
                return ""
            if word is not None and word.value.startswith(":"):
                _must_be_supported(word.value)
            raise Unreadable(getattr(word, "value", "the end"))
        self.word = next(self._words, None)
        return str(word.value)

    def _at(self, kind: str, subtype: str | None = None) -> bool:
        word = self.word
        return word is not None and word.type == kind and subtype in (None, word.subtype)

    def expression(self, least: int) -> Part:
        """An expression of operators that bind as closely as that, or more."""
        tree = self._operand()
        while self._at(Token.OP_IN) or self._at(Token.OP_POST):
            if self._at(Token.OP_POST):
                self.take(Token.OP_POST)
                tree = Operation("%", (tree,))
                continue
            symbol = self.word.value  # type: ignore[union-attr]
            binding = _BINDING[symbol]
            if binding < least:
                break
            self.take(Token.OP_IN)
            tree = Operation(symbol, (tree, self.expression(binding + 1)))
        return tree

    def _operand(self) -> Part:
        if self._at(Token.OP_PRE):
            sign = self.take(Token.OP_PRE)
            return Operation(f"U{sign}", (self.expression(_SIGN),))
        if self._at(Token.OPERAND):
            word, subtype = self.word.value, self.word.subtype  # type: ignore[union-attr]
            self.take(Token.OPERAND)
            return _operand(word, subtype)
        if self._at(Token.PAREN, Token.OPEN):
            self.take(Token.PAREN)
            tree = self.expression(0)
            self._close(Token.PAREN)
            return tree
        if self._at(Token.ARRAY, Token.OPEN):
            self.take(Token.ARRAY)
            rows = [Call("{}", tuple(self._arguments()))]
            while self._at(Token.SEP):
                self.take(Token.SEP)
                rows.append(Call("{}", tuple(self._arguments())))
            self._close(Token.ARRAY)
            return Call("{}", tuple(rows))
        if self._at(Token.FUNC, Token.OPEN):
            name = self.take(Token.FUNC).removesuffix("(")
            _must_be_supported(name)
            arguments = [] if self._at(Token.FUNC, Token.CLOSE) else self._arguments()
            self._close(Token.FUNC)
            return Call(name.upper(), tuple(arguments))
        raise Unreadable(getattr(self.word, "value", "the end"))

    def _close(self, kind: str) -> None:
        if not self._at(kind, Token.CLOSE):
            raise Unreadable("a bracket that is not closed")
        self.take(kind)

    def _arguments(self) -> list[Part]:
        """What stands between commas."""
        found: list[Part] = []
        while True:
            left_out = self._at(Token.SEP) or (
                self.word is not None and self.word.subtype == Token.CLOSE
            )
            found.append(Missing() if left_out else self.expression(0))
            if not self._at(Token.SEP, Token.ARG):
                return found
            self.take(Token.SEP)


def _without_blanks(words: list[Token]) -> Iterator[Token]:
    """The words, and of the blanks between them those that stand for what two areas share."""
    for before, word, after in zip([None, *words], words, [*words[1:], None], strict=False):
        if word.type != Token.WSPACE:
            yield word
        elif (
            before is not None
            and after is not None
            and (before.type == Token.OPERAND or before.subtype == Token.CLOSE)
            and (after.type == Token.OPERAND or after.subtype == Token.OPEN)
        ):
            yield Token(" ", Token.OP_IN)


def _must_be_supported(word: str) -> None:
    if "@" in word:
        raise CannotCompute("the operator @ is not supported")
    if ":" in word:
        raise CannotCompute("a range up to what a function gives is not supported")


@functools.lru_cache(8192)
def _operand(word: str, subtype: str) -> Part:
    if subtype == Token.TEXT:
        return Constant(word[1:-1].replace('""', '"'))
    if subtype == Token.NUMBER:
        return Constant(float(word))
    if word.upper() in ("TRUE", "FALSE"):
        return Constant(word.upper() == "TRUE")
    if subtype == Token.ERROR or word.endswith("#REF!"):
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
