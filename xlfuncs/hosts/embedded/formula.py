"""One formula as a tree of calls that gives its value.

The parser is that of the `formulas` package; its tokens are put together here, one tree for each
formula, so that a formula which cannot be understood is a matter of its own.  Formulas filled down
from each other are one tree, computed `at` each of their areas.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar, NamedTuple, Protocol

import numpy as np
import schedula
from formulas.errors import FormulaError, ParenthesesError, TokenError
from formulas.functions.operators import OPERATORS
from formulas.parser import Parser
from formulas.ranges import Ranges
from formulas.tokens.function import Array as ArrayToken
from formulas.tokens.function import Function
from formulas.tokens.operand import Empty, Error, Number, Operand, Range, String
from formulas.tokens.operator import Intersect, Operator, OperatorToken, Separator
from formulas.tokens.parenthesis import Parenthesis
from openpyxl.utils import get_column_letter, range_boundaries

from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.embedded import worksheet
from xlfuncs.hosts.embedded.operators import operator_function
from xlfuncs.hosts.embedded.values import (
    EMPTY,
    NOT_A_VALUE,
    block,
    broadcast,
    is_error,
    single,
    taken,
    truth,
)

# In a formula that is no array formula, a range that meets an operator or one of `_OF_ONE` stands
# for its cell in the formula's row or column; inside `_OF_ARRAYS` all is computed as arrays.
_OF_ONE = {
    "IF", "IFERROR", "IFNA", "NOT", "ABS", "ROUND", "ROUNDUP", "ROUNDDOWN", "INT", "TRUNC",
    "MOD", "SQRT", "EXP", "LN", "LOG10", "TEXT", "LEFT", "RIGHT", "MID", "LEN", "VALUE", "TRIM",
    "YEAR", "MONTH", "DAY", "DATE", "ISNUMBER", "ISTEXT", "ISBLANK", "ISERROR", "ISNA", "SIGN",
    "LOG", "POWER", "UPPER", "LOWER", "PROPER", "FIND", "SEARCH", "SUBSTITUTE", "REPLACE", "FIXED",
    "CHAR", "CODE", "EXACT", "HOUR", "MINUTE", "SECOND", "WEEKDAY", "DATEDIF", "EDATE", "EOMONTH",
    "ISERR", "ISLOGICAL", "ISNONTEXT", "QUOTIENT", "REPT", "CONCATENATE", "HYPERLINK",
}  # fmt: skip
_OF_ARRAYS = {
    "SUMPRODUCT", "LOOKUP", "MMULT", "FREQUENCY", "TRANSPOSE", "LINEST", "TREND", "SLOPE",
    "INTERCEPT", "CORREL", "RSQ",
}  # fmt: skip

_LAST_ROW, _LAST_COLUMN = 1048576, 16384

# Formulas that are filled down are read once: each is read as it would stand in the row _HOME,
# where rows that move with the formula lie above _FIXED, and rows that do not lie below.
_HOME, _FIXED = 2**19, 2**18
_NOT_CELLS = re.compile(r"""("(?:[^"]|"")*"|'(?:[^']|'')*'|\[(?:[^\[\]]|\[[^\[\]]*\])*\])""")
_ROW_OF_CELL = re.compile(
    r"(?<![\w.\\])(\$?(?:[A-Z]{1,2}|[A-W][A-Z]{2}|X[A-E][A-Z]|XF[A-D]))(\$?)([1-9]\d{0,6})(?![\w.(!])",
    re.IGNORECASE,
)
# Formulas that differ only in what they name, or in their constants, are parsed once, with cells of
# the column _STAND in the places of theirs: in the first row for the first of theirs, and so on.
_STAND = "XFB"
_OPERAND = re.compile(
    r"""
    "(?P<text>(?:[^"]|"")*)"
    | \[(?:[^\[\]]|\[[^\[\]]*\])*\]
    | (?<![\w.!:$\\\]])
      (?:
        (?:(?:'(?P<quoted>(?:[^'\[\]]|'')+)'|(?P<sheet>[^\W\d][\w.]*))!)?
        \$?(?P<left>[A-Z]{1,3})\$?(?P<top>[1-9]\d{0,6})
        (?::\$?(?P<right>[A-Z]{1,3})\$?(?P<bottom>[1-9]\d{0,6}))?
        | (?P<name>(?!(?:[a-z]{1,3}\d+|r\d+c\d+|true|false)\b)[a-z]\w*)
        | (?P<number>\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)
      )
      (?![\w.(!:\[\#\\])
    | '(?:[^']|'')*'
    """,
    re.VERBOSE,
)
_ROWS = re.compile(r"\d\s*:\s*\$?\d")  # 3:5, or any cell that ends in a range of them


class CannotCompute(Exception):
    """Why a formula cannot be computed, in words."""


class _Unreadable(Exception):
    """A formula, or a name in it, that the parser does not understand."""


class Area(NamedTuple):
    """A rectangle of cells; rows and columns count from 1, both ends included."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.bottom - self.top + 1, self.right - self.left + 1

    @property
    def address(self) -> str:
        """Its first cell."""
        return f"{get_column_letter(self.left)}{self.top}"

    def positions(self) -> list[tuple[int, int]]:
        """Row and column of each cell, in reading order."""
        columns = range(self.left, self.right + 1)
        return [(row, column) for row in range(self.top, self.bottom + 1) for column in columns]

    def reference(self, cells: Any = None) -> Any:
        """The area as a reference that the package's functions take, with its cells if given."""
        sheet, last = self.sheet.upper(), get_column_letter(self.right)
        text = self.address if self.shape == (1, 1) else f"{self.address}:{last}{self.bottom}"
        parts = {
            "r1": str(self.top), "r2": str(self.bottom), "c1": get_column_letter(self.left),
            "c2": last, "n1": self.left, "n2": self.right, "ref": text, "sheet_id": sheet,
            "name": f"{sheet}!{text}",
        }  # fmt: skip
        return Ranges().set_value(parts, schedula.EMPTY if cells is None else cells)


class Scope(Protocol):
    """What a formula finds around it."""

    functions: Mapping[str, Callable[..., Any]]
    trees: dict[tuple[str, str, bool, bool, bool], Tree]

    def sheet(self, title: str) -> str:
        """The title as the sheet writes it; raises `CannotCompute` if there is none."""

    def limits(self, sheet: str) -> tuple[int, int]:
        """Last row and column in which anything is written."""

    def name(self, name: str, sheet: str) -> str:
        """What a defined name stands for; raises `CannotCompute` if it is not known."""

    def table(self, name: str) -> tuple[str, Any]:
        """Sheet and table of that name; raises `CannotCompute` if there is none."""

    def cells(self, area: Area) -> Any:
        """The computed cells of an area, as a block."""

    def cell(self, sheet: str, row: int, column: int) -> Any:
        """One computed cell."""


#: What a part of a formula gives when the formula stands in an area.
Node = Callable[[Area], Any]
#: The area that a reference means when the formula stands in an area; None if it means none.
Place = Callable[[Area], Area | None]


class Tree(NamedTuple):
    """A formula that was read: what computes it, and what must be computed before.

    `on_line` says that besides cells that are the same for all lines it looks at nothing but these
    cells of its line, each a sheet, rows below its own, and column: with the same in them it gives
    the same.  None for others, and for those that call our functions, whose calls are counted.
    """

    value: Node
    needs: tuple[Place, ...]
    on_line: tuple[tuple[str, int, int], ...] | None = None


def compiled(text: str, area: Area, row: int, is_array: bool, scope: Scope) -> Tree:
    """A formula that stands in an area, as a tree.  Raises `CannotCompute`.

    The text is that of one in `row`, from which it was filled down.
    """
    moved, down = _at_home(text, row)
    try:
        return _read(moved, area.sheet, down != 0, not is_array, False, scope, ())
    except _Unreadable as error:
        raise CannotCompute(f"the formula cannot be read: {text}") from error


# --- reading ------------------------------


class _Builder:
    """Takes the tokens in the order of computing; keeps what each operator and function takes."""

    def __init__(self, match: Any = None) -> None:
        self.stack: list[Any] = []
        self.arguments: dict[Any, list[Any]] = {}

    def __len__(self) -> int:
        return len(self.stack)

    def append(self, token: Any) -> None:
        if isinstance(token, (Operator, Function)):
            first = len(self.stack) - token.get_n_args
            if first < 0:
                raise FormulaError
            arguments = self.stack[first:]
            del self.stack[first:]
            token.update_input_tokens(*arguments)
            self.arguments[token] = arguments
        self.stack.append(token)

    def pop(self) -> Any:
        return self.stack.pop()

    def finish(self) -> None:
        """Part of what the parser calls; nothing is left to do."""


class _TableReference(Operand):  # type: ignore[misc]
    """`Table[Column]`, `Table[[#This Row],[Column]]` and the like."""

    _re = re.compile(
        r"^\s*(?P<name>(?P<table>[^\W\d][\w.]*)"
        r"\[(?P<inside>(?:[^\[\]']|'.|\[(?:[^\[\]']|'.)*\])*)\])\s*"
    )


class _Number(Number):  # type: ignore[misc]
    """A number; its exponent needs no sign."""

    _re = re.compile(
        r"^\s*(?P<name>(?:\d+(?:\.\d*)?|\.\d+)(?:E[+-]?\d+)?|"
        r"TRUE(?!\(\))|FALSE(?!\(\)))(?![a-z\d.]|\s*:)\s*",
        re.IGNORECASE,
    )


#: A word, neither a sheet's nor the beginning of a range, and what follows it.
_WORD = re.compile(r"(?!\w*(?:ANCHORARRAY|INDIRECT))[^\W\d][\w.]*(?:([(\[])|(?![\w.!:#\\]))", re.I)


class _Parser(Parser):  # type: ignore[misc]
    """The package's parser, which tries only those tokens that can begin as the rest of a formula
    does: a token that does not fit is an exception, and a formula is made of hundreds."""

    ast_builder = _Builder
    filters: ClassVar = [
        _TableReference, Error, String, _Number, Range, OperatorToken, Separator, Function,
        ArrayToken, Parenthesis, Intersect,
    ]  # fmt: skip
    beginnings: ClassVar = {
        first: kinds
        for firsts, kinds in {
            '"': [String],
            "0123456789.": [_Number, Range],
            "#": [Error],
            "'[$": [Error, Range],
            "+-*/^&<>=%:@": [OperatorToken],
            ",": [Separator],
            "{};": [ArrayToken],
            "()": [Parenthesis],
        }.items()
        for first in firsts
    }

    #: What begins with a word, by what follows it.
    after_word: ClassVar = {
        "(": [Function], "[": [_TableReference, Range], None: [_Number, Range],
    }  # fmt: skip

    def ast(self, expression: str, context: Any = None) -> tuple[list[Any], Any]:
        """Tokens and builder, as the package's; raises `FormulaError`."""
        rest = expression.replace("\n", " ").strip().removeprefix("=").lstrip()
        builder = self.ast_builder()
        tokens: list[Any] = []
        stack: list[Any] = []
        Parenthesis("(").ast(tokens, stack, builder)
        while rest:
            token = self._next(rest, context, tokens, stack, builder)
            rest = rest[token.end_match :]
        Parenthesis(")").ast(tokens, stack, builder)
        while stack:
            if isinstance(stack[-1], Parenthesis):
                raise ParenthesesError
            builder.append(stack.pop())
        if len(builder) != 1:
            raise FormulaError(expression)
        return tokens[1:-1], builder

    def _next(self, rest: str, context: Any, tokens: Any, stack: Any, builder: Any) -> Any:
        kinds = self.beginnings.get(rest[0])
        if kinds is None:
            word = _WORD.match(rest)
            kinds = self.filters if word is None else self.after_word[word[1]]
        for kind in kinds:
            try:
                token = kind(rest, context, self)
                token.ast(tokens, stack, builder)
            except TokenError:
                continue
            return token
        raise FormulaError(rest)


_PARSER = _Parser()


@functools.lru_cache(maxsize=8192)
def _parsed(text: str, sheet: str) -> tuple[Any, Mapping[Any, list[Any]]]:
    """The last token of a formula on a sheet, and what each token takes.

    Kept, because a workbook says the same name, and names the same range, hundreds of times.
    """
    _, builder = _PARSER.ast(text, context={"sheet": sheet})
    return builder.stack[-1], builder.arguments


#: What a formula names or holds: cells, a name, or a text or number in brackets of its own.
_Operand = Area | str | tuple[str | float]


def _with_stands(text: str, sheet: str) -> tuple[str, list[_Operand]]:
    """The formula with other cells in the places of what it names and holds, and the latter.

    What else may name cells (rows, columns, tables, a range up to what a function gives) stays.
    """
    if _STAND in text or "{" in text or _ROWS.search(text):
        return text, []
    operands: dict[_Operand, int] = {}

    def stand(found: re.Match[str]) -> str:
        kind = found.lastgroup
        operand: _Operand
        if kind is None:
            return found[0]
        if kind == "text":
            operand = (found["text"].replace('""', '"'),)
        elif kind == "number":
            operand = (float(found["number"]),)
        elif kind == "name":
            operand = found["name"]
        else:
            left, top, right, bottom = found["left"], found["top"], found["right"], found["bottom"]
            title = (found["quoted"] or "").replace("''", "'") or found["sheet"] or sheet
            rows = sorted((int(top), int(bottom or top)))
            columns = sorted((_column(left), _column(right or left)))
            operand = Area(title, rows[0], columns[0], rows[1], columns[1])
        return f"{_STAND}{operands.setdefault(operand, len(operands) + 1)}"

    return _OPERAND.sub(stand, text), list(operands)


@functools.cache
def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number


@functools.lru_cache(4096)
def _at_home(text: str, row: int) -> tuple[str, int]:
    """A formula as it would read if it were filled from its row to `_HOME`, and the way there.

    Formulas filled down from each other become one.  One with rows too far away stays as it is.
    """
    down = _HOME - row
    far = False

    def moved(cell: re.Match[str]) -> str:
        nonlocal far
        column, fixed, number = cell.groups()
        there = int(number) if fixed else int(number) + down
        far |= not (there < _FIXED if fixed else _FIXED < there < _LAST_ROW)
        return f"{column}{fixed}{there}"

    parts = _NOT_CELLS.split(text)
    parts[::2] = [_ROW_OF_CELL.sub(moved, part) for part in parts[::2]]
    return (text, 0) if far or _ROWS.search(text) else ("".join(parts), down)


# --- from tokens to calls ------------------------------


def _read(
    text: str,
    sheet: str,
    moved: bool,
    plain: bool,
    whole: bool,
    scope: Scope,
    names: tuple[str, ...],
) -> Tree:
    """The tree of a formula on a sheet.

    `moved` says that it reads as it would stand in the row _HOME, `plain` that it is no array
    formula, `whole` that a range is wanted as it is; `names` are those that it was met in.
    """
    key = (text, sheet, moved, plain, whole)
    if key not in scope.trees:
        try:
            parsed, operands = _with_stands(text, sheet)
            root, arguments = _parsed(parsed, sheet)
        except Exception as error:  # the parser raises more than its own errors
            raise _Unreadable from error
        growing = _Growing(sheet, moved, arguments, operands, scope, names)
        value = growing.node(root, plain, whole)
        scope.trees[key] = Tree(value, tuple(growing.needs), growing.on_line())
    return scope.trees[key]


class _Reference:
    """The cells of a place, or the one cell; functions that ask for the place itself find it."""

    def __init__(self, place: Place, scope: Scope, as_block: bool) -> None:
        self.place = place
        self._scope = scope
        self._as_block = as_block
        self._on_line = place.on_line if isinstance(place, _OnLine) and not as_block else None

    def __call__(self, at: Area) -> Any:
        if self._on_line:
            sheet, down, column = self._on_line
            return self._scope.cell(sheet, at.top + down, column)
        area = self.place(at)
        if area is None:
            return NOT_A_VALUE
        if not self._as_block and area.top == area.bottom and area.left == area.right:
            return self._scope.cell(area.sheet, area.top, area.left)
        return self._scope.cells(area)

    def reference(self, at: Area) -> Any:
        """The cells as the package's functions take them."""
        area = self.place(at)
        return NOT_A_VALUE if area is None else area.reference(self._scope.cells(area))


class _Growing:
    """Makes nodes of a formula's tokens, and keeps what they need."""

    def __init__(
        self,
        sheet: str,
        moved: bool,
        arguments: Mapping[Any, list[Any]],
        operands: list[_Operand],
        scope: Scope,
        names: tuple[str, ...],
    ) -> None:
        self.sheet = sheet
        self.moved = moved
        self.arguments = arguments
        self.operands = operands
        self.scope = scope
        self.names = names
        self.needs: list[Place] = []
        self.is_bound = False  # to the line where it stands, or to being counted

    def on_line(self) -> tuple[tuple[str, int, int], ...] | None:
        """As in `Tree`."""
        moving = [place for place in self.needs if not isinstance(place, _Constant)]
        cells = [place.on_line for place in moving if isinstance(place, _OnLine)]
        return None if self.is_bound or len(cells) < len(moving) else tuple(dict.fromkeys(cells))

    def node(self, token: Any, plain: bool, whole: bool) -> Node:
        if isinstance(token, _TableReference):
            return self._at(self._table(token), plain and not whole, whole)
        if isinstance(token, Range):
            return self._range(token, plain, whole)
        if isinstance(token, Empty):
            return _Constant(0.0)
        if isinstance(token, Operand):
            return _Constant(taken(token.compile()))
        name = re.sub(r"^_XLFN\.(_XLWS\.)?", "", token.name.upper())
        if isinstance(token, Operator):
            whole = name in (":", ",", " ")
        else:
            plain, whole = plain and name not in _OF_ARRAYS, name not in _OF_ONE
        given = self.arguments[token]
        children = [self.node(child, plain, whole) for child in given]
        if not isinstance(token, Operator):
            return self._function(name, given, children)
        if whole:
            return self._of_references(name, children)
        if name == "@":
            raise CannotCompute("the operator @ is not supported")
        minus = "-" in token.attr.get("sum_minus", "")
        return _call(operator_function(token.name, minus), children)

    def _function(self, name: str, tokens: list[Any], children: list[Node]) -> Node:
        if name in self.scope.functions:
            self.is_bound |= name in CATALOGUE
            if name in CATALOGUE:  # a missing argument is a blank one, not 0
                children = [
                    _Constant(EMPTY) if isinstance(token, Empty) else child
                    for token, child in zip(tokens, children, strict=True)
                ]
            return _call(self.scope.functions[name], children)
        if name == "IF" and 2 <= len(children) <= 3:
            return _choice(*children)
        if name in _PLACES and len(children) <= 1:
            self.is_bound = True
            return _place(name, children)
        if name in ("ARRAY", "ARRAYROW"):
            return _array(children)
        if name in worksheet.UNFORESEEABLE:
            raise CannotCompute(f"the function {name} is not supported")
        function = worksheet.function(name)
        if function is None:
            raise CannotCompute(f"the function {name} is not supported")
        if worksheet.takes_references(name):
            children = [
                child.reference if isinstance(child, _Reference) else child for child in children
            ]
        return _call(function, children)

    def _of_references(self, name: str, children: list[Node]) -> Node:
        """Ranges joined by a colon, a comma or a blank."""
        places = [child.place for child in children if isinstance(child, _Reference)]
        if len(places) < len(children):
            raise CannotCompute("a range up to what a function gives is not supported")
        if name == ":":
            return self._at(_span(places), False, True)
        references = [child.reference for child in children if isinstance(child, _Reference)]
        join = OPERATORS[name]
        return lambda at: block(taken(join(*[reference(at) for reference in references])))

    # --- places

    def _range(self, token: Any, plain: bool, whole: bool) -> Node:
        parts = token.attr
        if parts.get("filename") or parts.get("excel_id"):
            raise CannotCompute("it refers to another workbook")
        if parts.get("anchor"):
            raise CannotCompute("references to a spilled range (A1#) are not supported")
        if "n1" not in parts:
            return self._name(parts["ref"], plain, whole)
        if self.operands and parts["c1"] == _STAND:
            operand = self.operands[int(parts["r1"]) - 1]
            if isinstance(operand, str):
                return self._name(operand, plain, whole)
            if not isinstance(operand, Area):
                return _Constant(operand[0])
            sheet, first, left, last, right = operand
            sheet = self.scope.sheet(sheet)
        else:
            sheet = self.scope.sheet(parts["sheet"].replace("''", "'"))
            first, last = sorted((int(parts["r1"]) or 1, int(parts["r2"]) or 1))
            left, right = sorted((parts["n1"] or 1, parts["n2"]))
        several = first < last or left < right
        place = self._moving(sheet, first, last, left, right)
        return self._at(place, several and plain and not whole, whole)

    def _moving(self, sheet: str, first: int, last: int, left: int, right: int) -> Place:
        """Cells whose rows go with the formula if they lie where only moved rows do."""
        moving = [self.moved and _FIXED < row < _LAST_ROW for row in (first, last)]
        if not any(moving) and last < _LAST_ROW and right < _LAST_COLUMN:
            return _Constant(Area(sheet, first, left, last, right))

        if all(moving) and first == last and left == right:
            return _OnLine(sheet, first - _HOME, left)

        def place(at: Area) -> Area:
            up = _HOME - at.top
            top, bottom = first - up * moving[0], last - up * moving[1]
            top, bottom = min(top, bottom), max(top, bottom)
            end = right
            # Columns and rows to the sheet's end: as far as anything is written.
            if bottom == _LAST_ROW or end == _LAST_COLUMN:
                row, column = self.scope.limits(sheet)
                if bottom == _LAST_ROW:
                    bottom = max(row, at.bottom, top)
                if end == _LAST_COLUMN:
                    end = max(column, at.right, left)
            return Area(sheet, top, left, bottom, end)

        return place

    def _at(self, place: Place, intersect: bool, whole: bool) -> Node:
        place = _crossing(place) if intersect else place
        self.needs.append(place)
        return _Reference(place, self.scope, whole)

    def _name(self, name: str, plain: bool, whole: bool) -> Node:
        if name.casefold() in self.names:
            raise CannotCompute(f"the name {name} refers to itself")
        if re.fullmatch(r"\$?[A-Z]{1,3}\$?[0-9]+", name):  # only before a colon and a function
            raise CannotCompute("a range up to what a function gives is not supported")
        text = f"={self.scope.name(name, self.sheet)}"
        names = (*self.names, name.casefold())
        tree = _read(text, self.sheet, False, plain, whole, self.scope, names)
        self.needs += tree.needs
        self.is_bound |= tree.on_line is None
        return tree.value

    def _table(self, token: Any) -> Place:
        """The cells that a structured reference means."""
        sheet, table = self.scope.table(token.attr["table"])
        left, top, right, bottom = range_boundaries(table.ref)
        inside = token.attr["inside"].strip()
        this_row = inside.startswith("@")
        inside = inside.removeprefix("@")
        items = re.findall(r"\[((?:[^\[\]']|'.)*)\]", inside) or [inside] * bool(inside)
        parts = {item.casefold() for item in items if item.startswith("#")}
        wanted = [re.sub("'(.)", r"\1", item).casefold() for item in items if item[:1] != "#"]
        if wanted:
            titles = [column.name.casefold() for column in table.tableColumns]
            if not set(wanted) <= set(titles):
                raise CannotCompute(f"{token.name}: the table has no such column")
            left, right = left + titles.index(wanted[0]), left + titles.index(wanted[-1])
        first = top + (1 if table.headerRowCount is None else table.headerRowCount)
        last = bottom - (table.totalsRowCount or 0)
        if this_row or "#this row" in parts:

            def own_row(at: Area) -> Area | None:
                return Area(sheet, at.top, left, at.top, right) if top <= at.top <= bottom else None

            return own_row
        rows = [(first, last)] if not parts else []
        rows += [(top, bottom)] * ("#all" in parts) + [(first, last)] * ("#data" in parts)
        rows += [(top, top)] * ("#headers" in parts) + [(bottom, bottom)] * ("#totals" in parts)
        return _Constant(Area(sheet, min(rows)[0], left, max(end for _, end in rows), right))


class _OnLine:
    """The place of one cell so many rows below the formula's own."""

    def __init__(self, sheet: str, down: int, column: int) -> None:
        self.on_line = sheet, down, column

    def __call__(self, at: Area) -> Area:
        sheet, down, column = self.on_line
        row = at.top + down
        return Area(sheet, row, column, row, column)


def _crossing(place: Place) -> Place:
    """Of a range, its cell in the row or column of the formula."""

    def crossing(at: Area) -> Area | None:
        area = place(at)
        if area is None or area.shape == (1, 1):
            return area
        top = bottom = at.top if area.shape[0] > 1 else area.top
        left = right = at.left if area.shape[1] > 1 else area.left
        if not (area.top <= top <= area.bottom and area.left <= left <= area.right):
            return None
        return Area(area.sheet, top, left, bottom, right)

    return crossing


def _span(places: list[Place]) -> Place:
    """The least rectangle that holds all places."""

    def span(at: Area) -> Area | None:
        areas = [area for place in places if (area := place(at)) is not None]
        if len(areas) < len(places) or len({area.sheet for area in areas}) > 1:
            return None
        _, tops, lefts, bottoms, rights = zip(*areas, strict=True)
        return Area(areas[0].sheet, min(tops), min(lefts), max(bottoms), max(rights))

    return span


class _Constant:
    """A value, or a place, that is the same wherever the formula stands."""

    def __init__(self, value: Any) -> None:
        self._value = value

    def __call__(self, at: Area) -> Any:
        return self._value


def _call(function: Callable[..., Any], children: list[Node]) -> Node:
    def call(at: Area) -> Any:
        answer = function(*[child(at) for child in children])
        if isinstance(answer, np.ndarray) and answer.size == 1:
            return answer.item()
        return answer

    return call


def _array(children: list[Node]) -> Node:
    """An array constant: a row of constants, or a column of such rows."""

    def rows(at: Area) -> Any:
        parts = [child(at) for child in children]
        return block(
            [cell for part in parts for cell in part.tolist()]
            if isinstance(parts[0], np.ndarray)
            else [parts]
        )

    return rows


#: What a function tells of a place; those of a size tell it of values too.
_PLACES: dict[str, Callable[[Area], Any]] = {
    "ROW": lambda area: _numbered(range(area.top, area.bottom + 1), down=True),
    "COLUMN": lambda area: _numbered(range(area.left, area.right + 1), down=False),
    "ROWS": lambda area: float(area.shape[0]),
    "COLUMNS": lambda area: float(area.shape[1]),
}
_SIZES = {"ROWS", "COLUMNS"}


def _numbered(numbers: range, down: bool) -> Any:
    cells = block([list(map(float, numbers))])
    return cells[0, 0] if cells.size == 1 else cells.T if down else cells


def _place(name: str, children: list[Node]) -> Node:
    """What a function tells of a reference, or of the formula's own cell."""
    tell = _PLACES[name]
    if not children:
        return tell
    (child,) = children
    if isinstance(child, _Reference):
        found = child.place
        return lambda at: NOT_A_VALUE if (area := found(at)) is None else tell(area)
    if name not in _SIZES:
        raise CannotCompute(f"{name} of anything but a reference is not supported")
    return lambda at: tell(Area("", 1, 1, *block(child(at)).shape))


_FALSE = _Constant(False)


def _choice(condition: Node, yes: Node, no: Node = _FALSE) -> Node:
    """IF: only the branch that is wanted; both only if an array wants both."""

    def choose(at: Area) -> Any:
        asked = condition(at)
        one = single(asked)
        if one is None:
            return _each_choice(asked, yes, no, at)
        if is_error(one):
            return one
        try:
            return yes(at) if truth(one) else no(at)
        except ValueError:
            return NOT_A_VALUE

    return choose


def _each_choice(asked: Any, yes: Node, no: Node, at: Area) -> Any:
    wanted = {bool(cell) if type(cell) in (bool, float) else None for cell in asked.ravel()}
    if len(wanted) == 1 and None not in wanted:
        branch = yes if wanted.pop() else no
        return broadcast(asked, branch(at))[1]
    return worksheet.if_blocks(asked, yes(at), no(at))
