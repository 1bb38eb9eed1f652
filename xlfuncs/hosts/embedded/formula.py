"""One formula as a tree of calls that gives its value.

The parser is that of the `formulas` package; its tokens are put together here, one tree for each
formula, so that a formula which cannot be understood is a matter of its own.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar, NamedTuple, Protocol

import numpy as np
import schedula
from formulas.cell import CELL
from formulas.errors import FormulaError
from formulas.functions import COMPILING
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

Node = Callable[[], Any]

# In a formula that is no array formula, a range that meets an operator or one of `_OF_ONE` stands
# for its cell in the formula's row or column; inside `_OF_ARRAYS` all is computed as arrays.
_OF_ONE = {
    "IF", "IFERROR", "IFNA", "NOT", "ABS", "ROUND", "ROUNDUP", "ROUNDDOWN", "INT", "TRUNC",
    "MOD", "SQRT", "EXP", "LN", "LOG10", "TEXT", "LEFT", "RIGHT", "MID", "LEN", "VALUE", "TRIM",
    "YEAR", "MONTH", "DAY", "DATE", "ISNUMBER", "ISTEXT", "ISBLANK", "ISERROR", "ISNA",
}  # fmt: skip
_OF_ARRAYS = {
    "SUMPRODUCT", "LOOKUP", "MMULT", "FREQUENCY", "TRANSPOSE", "LINEST", "TREND", "SLOPE",
    "INTERCEPT", "CORREL",
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
_ROWS = re.compile(r"\d\s*:\s*\$?\d")  # 3:5, or any cell that ends in a range of them


class CannotCompute(Exception):
    """Why a formula cannot be computed, in words."""


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

    functions: Mapping[str, Any]

    def sheet(self, title: str) -> str:
        """The title as the sheet writes it; raises `CannotCompute` if there is none."""

    def limits(self, sheet: str) -> tuple[int, int]:
        """Last row and column in which anything is written."""

    def name(self, name: str, sheet: str) -> str:
        """What a defined name stands for; raises `CannotCompute` if it is not known."""

    def table(self, name: str) -> tuple[str, Any]:
        """Sheet and table of that name; raises `CannotCompute` if there is none."""

    def cells(self, area: Area) -> Any:
        """The computed cells of an area, as a reference."""


def compiled(text: str, area: Area, is_array: bool, scope: Scope) -> tuple[Node, list[Area]]:
    """A formula as a call that computes it, and the areas that must be computed before.

    Raises `CannotCompute`.
    """
    tree = _Tree(area, scope)
    return tree.formula(text, not is_array, False), tree.needs


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


class _Parser(Parser):  # type: ignore[misc]
    ast_builder = _Builder
    filters: ClassVar = [
        _TableReference, Error, String, Number, Range, OperatorToken, Separator, Function,
        ArrayToken, Parenthesis, Intersect,
    ]  # fmt: skip


_PARSER = _Parser()


@functools.lru_cache(maxsize=8192)
def _parsed(text: str, sheet: str) -> tuple[Any, Mapping[Any, list[Any]]]:
    """The last token of a formula on a sheet, and what each token takes.

    Kept, because a workbook says the same name, and names the same range, hundreds of times.
    """
    _, builder = _PARSER.ast(text, context={"sheet": sheet})
    return builder.stack[-1], builder.arguments


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


class _Tree:
    def __init__(self, area: Area, scope: Scope) -> None:
        self.area = area
        self.scope = scope
        self.needs: list[Area] = []
        self.names: list[str] = []
        self.down = 0  # how far the formula that is read was moved down

    def formula(self, text: str, plain: bool, whole: bool) -> Node:
        """The formula's root; `plain` says that it is no array formula, `whole` that a range is
        wanted as it is."""
        moved, down = (text, 0) if self.names else _at_home(text, self.area.top)
        try:
            root, arguments = _parsed(moved, self.area.sheet)
        except Exception as error:  # the parser raises more than its own errors
            raise CannotCompute(f"the formula cannot be read: {text}") from error
        before, self.down = self.down, down
        node = self._node(root, arguments, plain, whole)
        self.down = before
        return node

    def _row(self, number: str) -> int:
        """The row that a row of the moved formula stands for."""
        row = int(number) or 1
        return row - self.down if _FIXED < row < _LAST_ROW else row

    def _node(
        self, token: Any, arguments: Mapping[Any, list[Any]], plain: bool, whole: bool
    ) -> Node:
        if isinstance(token, _TableReference):
            return self._area(self._table(token), plain and not whole)
        if isinstance(token, Range):
            return self._range(token, plain, whole)
        if isinstance(token, Operand):
            value = token.compile()
            return lambda: value
        name = re.sub(r"^_XLFN\.(_XLWS\.)?", "", token.name.upper())
        if isinstance(token, Operator):
            whole = name in (":", ",", " ")
        else:
            plain, whole = plain and name not in _OF_ARRAYS, name not in _OF_ONE
        given = arguments[token]
        children = [self._node(child, arguments, plain, whole) for child in given]
        if isinstance(token, Operator):
            minus = "-" in token.attr.get("sum_minus", "")
            return _call(worksheet.operator_function(token.name, minus), children)
        return self._function(name, given, children)

    def _function(self, name: str, tokens: list[Any], children: list[Node]) -> Node:
        functions = self.scope.functions
        if name not in functions:
            raise CannotCompute(f"the function {name} is not supported")
        if name in CATALOGUE:  # a missing argument is a blank one, not 0
            children = [
                (lambda: schedula.EMPTY) if isinstance(token, Empty) else child
                for token, child in zip(tokens, children, strict=True)
            ]
        function = functions[name]
        if isinstance(function, dict):  # it wants to know more than its arguments
            known = {CELL: self.area.reference(), COMPILING: False}
            wanted = list(function.get("extra_inputs", {}))
            if not known.keys() >= set(wanted):
                raise CannotCompute(f"the function {name} is not supported")
            children = [*(_constant(known[key]) for key in wanted), *children]
            function = function["function"]
        if name == "IF" and 2 <= len(children) <= 3:
            return _choice(children, function)
        return _call(function, children)

    def _range(self, token: Any, plain: bool, whole: bool) -> Node:
        parts = token.attr
        if parts.get("filename") or parts.get("excel_id"):
            raise CannotCompute("it refers to another workbook")
        if parts.get("anchor"):
            raise CannotCompute("references to a spilled range (A1#) are not supported")
        if "n1" not in parts:
            return self._name(parts["ref"], plain, whole)
        sheet = self.scope.sheet(parts["sheet"].replace("''", "'"))
        row, column = self.scope.limits(sheet)
        top, bottom = sorted((self._row(parts["r1"]), self._row(parts["r2"])))
        left, right = sorted((parts["n1"] or 1, parts["n2"]))
        # Columns and rows to the sheet's end: as far as anything is written.
        if bottom == _LAST_ROW:
            bottom = max(row, self.area.bottom, top)
        if right == _LAST_COLUMN:
            right = max(column, self.area.right, left)
        return self._area(Area(sheet, top, left, bottom, right), plain and not whole)

    def _area(self, area: Area, intersect: bool) -> Node:
        if intersect and area.shape != (1, 1):
            here = self.area
            top = bottom = here.top if area.shape[0] > 1 else area.top
            left = right = here.left if area.shape[1] > 1 else area.left
            if not (area.top <= top <= area.bottom and area.left <= left <= area.right):
                return _constant(Error.errors["#VALUE!"])
            area = Area(area.sheet, top, left, bottom, right)
        self.needs.append(area)
        return lambda: self.scope.cells(area)

    def _name(self, name: str, plain: bool, whole: bool) -> Node:
        if name.casefold() in self.names:
            raise CannotCompute(f"the name {name} refers to itself")
        if cell := re.fullmatch(r"(\$?[A-Z]{1,3}\$?)([0-9]+)", name):
            start = f"{cell[1]}{self._row(cell[2])}"
            raise CannotCompute(f"a range from {start} to what a function gives is not supported")
        self.names.append(name.casefold())
        node = self.formula(f"={self.scope.name(name, self.area.sheet)}", plain, whole)
        self.names.pop()
        return node

    def _table(self, token: Any) -> Area:
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
        rows = [(first, last)] if not parts else []
        if this_row or "#this row" in parts:
            rows = [(self.area.top, self.area.top)]
        rows += [(top, bottom)] * ("#all" in parts) + [(first, last)] * ("#data" in parts)
        rows += [(top, top)] * ("#headers" in parts) + [(bottom, bottom)] * ("#totals" in parts)
        return Area(sheet, min(rows)[0], left, max(end for _, end in rows), right)


def _constant(value: Any) -> Node:
    return lambda: value


def _call(function: Callable[..., Any], children: list[Node]) -> Node:
    return lambda: function(*[child() for child in children])


def _choice(children: list[Node], whole: Callable[..., Any]) -> Node:
    """IF: only the branch that is wanted, unless the condition is an array."""
    condition, *branches = children

    def choose() -> Any:
        asked = condition()
        single = worksheet.single(asked)
        if isinstance(single, (bool, float, int, np.bool_)):
            if single:
                return branches[0]()
            return branches[1]() if len(branches) > 1 else False
        return whole(asked, *[branch() for branch in branches])

    return choose
