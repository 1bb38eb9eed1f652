"""One formula as a tree of calls that gives its value.

What `grammar` reads becomes calls, one tree for each formula, so that a formula which cannot be
understood is a matter of its own.  Formulas filled down from each other are one tree, computed `at`
each of their areas.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, Protocol

import numpy as np
from openpyxl.utils import range_boundaries

from xlfuncs.files.contents import Table
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.embedded import worksheet
from xlfuncs.hosts.embedded.grammar import (
    LAST_COLUMN,
    LAST_ROW,
    CannotCompute,
    Cells,
    Constant,
    Missing,
    Name,
    Operation,
    Part,
    TablePart,
    Unreadable,
    parsed,
)
from xlfuncs.hosts.embedded.operators import operator_function
from xlfuncs.hosts.embedded.values import (
    EMPTY,
    NOT_A_VALUE,
    Area,
    Referenced,
    block,
    broadcast,
    is_error,
    single,
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

# Formulas that are filled down are read once: each is read as it would stand in the row _HOME,
# where rows that move with the formula lie above _FIXED, and rows that do not lie below.
_HOME, _FIXED = 2**19, 2**18
_NOT_CELLS = re.compile(r"""("(?:[^"]|"")*"|'(?:[^']|'')*'|\[(?:[^\[\]]|\[[^\[\]]*\])*\])""")
_ROW_OF_CELL = re.compile(
    r"(?<![\w.\\])(\$?(?:[A-Z]{1,2}|[A-W][A-Z]{2}|X[A-E][A-Z]|XF[A-D]))(\$?)([1-9]\d{0,6})(?![\w.(!])",
    re.IGNORECASE,
)
_ROWS = re.compile(r"\d\s*:\s*\$?\d")  # 3:5, or any cell that ends in a range of them


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

    def table(self, name: str) -> tuple[str, Table]:
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
    except Unreadable as error:
        raise CannotCompute(f"the formula cannot be read: {text}") from error


# --- reading ------------------------------


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
        far |= not (there < _FIXED if fixed else _FIXED < there < LAST_ROW)
        return f"{column}{fixed}{there}"

    parts = _NOT_CELLS.split(text)
    parts[::2] = [_ROW_OF_CELL.sub(moved, part) for part in parts[::2]]
    return (text, 0) if far or _ROWS.search(text) else ("".join(parts), down)


# --- from what it says to calls ------------------------------


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
        growing = _Growing(sheet, moved, scope, names)
        value = growing.node(parsed(text), plain, whole)
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
        """The place with its cells."""
        area = self.place(at)
        return NOT_A_VALUE if area is None else Referenced(area, self._scope.cells(area))


class _Growing:
    """Makes nodes of what a formula says, and keeps what they need."""

    def __init__(self, sheet: str, moved: bool, scope: Scope, names: tuple[str, ...]) -> None:
        self.sheet = sheet
        self.moved = moved
        self.scope = scope
        self.names = names
        self.needs: list[Place] = []
        self.is_bound = False  # to the line where it stands, or to being counted

    def on_line(self) -> tuple[tuple[str, int, int], ...] | None:
        """As in `Tree`."""
        moving = [place for place in self.needs if not isinstance(place, _Same)]
        cells = [place.on_line for place in moving if isinstance(place, _OnLine)]
        return None if self.is_bound or len(cells) < len(moving) else tuple(dict.fromkeys(cells))

    def node(self, part: Part, plain: bool, whole: bool) -> Node:
        """`plain` and `whole` as for `_read`."""
        if isinstance(part, Cells):
            return self._cells(part, plain, whole)
        if isinstance(part, Constant):
            return _Same(part.value)
        if isinstance(part, Name):
            return self._name(part, plain, whole)
        if isinstance(part, TablePart):
            return self._at(self._table(part), plain and not whole, whole)
        if isinstance(part, Missing):
            return _Same(0.0)
        if isinstance(part, Operation):
            return self._operation(part, plain)
        name = re.sub(r"^_XLFN\.(_XLWS\.)?", "", part.name)
        plain, whole = plain and name not in _OF_ARRAYS, name not in _OF_ONE
        children = [self.node(argument, plain, whole) for argument in part.arguments]
        return self._function(name, part.arguments, children)

    def _operation(self, part: Operation, plain: bool) -> Node:
        of_places = part.symbol in (",", " ")
        children = [self.node(operand, plain, of_places) for operand in part.operands]
        if not of_places:
            return _call(operator_function(part.symbol), children)
        places = [child.place for child in children if isinstance(child, _Reference)]
        if len(places) < len(children):
            raise CannotCompute("areas joined to what a function gives are not supported")
        if part.symbol == " ":
            return self._at(_shared(places), False, True)
        return lambda at: block([cell for child in children for cell in block(child(at)).ravel()])

    def _function(self, name: str, parts: tuple[Part, ...], children: list[Node]) -> Node:
        if name in self.scope.functions:
            self.is_bound |= name in CATALOGUE
            if name in CATALOGUE:  # a missing argument is a blank one, not 0
                children = [
                    _Same(EMPTY) if isinstance(part, Missing) else child
                    for part, child in zip(parts, children, strict=True)
                ]
            return _call(self.scope.functions[name], children)
        if name == "IF" and 2 <= len(children) <= 3:
            return _choice(*children)
        if name in _PLACES and len(children) <= 1:
            self.is_bound = True
            return _place(name, children)
        if name == "{}":
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

    # --- places

    def _cells(self, part: Cells, plain: bool, whole: bool) -> Node:
        sheet = self.scope.sheet(part.sheet or self.sheet)
        several = part.top < part.bottom or part.left < part.right
        place = self._moving(sheet, part.top, part.bottom, part.left, part.right)
        return self._at(place, several and plain and not whole, whole)

    def _moving(self, sheet: str, first: int, last: int, left: int, right: int) -> Place:
        """Cells whose rows go with the formula if they lie where only moved rows do."""
        moving = [self.moved and _FIXED < row < LAST_ROW for row in (first, last)]
        if not any(moving) and last < LAST_ROW and right < LAST_COLUMN:
            return _Same(Area(sheet, first, left, last, right))
        if all(moving) and first == last and left == right:
            return _OnLine(sheet, first - _HOME, left)

        def place(at: Area) -> Area:
            up = _HOME - at.top
            top, bottom = first - up * moving[0], last - up * moving[1]
            top, bottom = min(top, bottom), max(top, bottom)
            end = right
            # Columns and rows to the sheet's end: as far as anything is written.
            if bottom == LAST_ROW or end == LAST_COLUMN:
                row, column = self.scope.limits(sheet)
                if bottom == LAST_ROW:
                    bottom = max(row, at.bottom, top)
                if end == LAST_COLUMN:
                    end = max(column, at.right, left)
            return Area(sheet, top, left, bottom, end)

        return place

    def _at(self, place: Place, intersect: bool, whole: bool) -> Node:
        place = _crossing(place) if intersect else place
        self.needs.append(place)
        return _Reference(place, self.scope, whole)

    def _name(self, part: Name, plain: bool, whole: bool) -> Node:
        sheet = self.scope.sheet(part.sheet) if part.sheet else self.sheet
        if part.name.casefold() in self.names:
            raise CannotCompute(f"the name {part.name} refers to itself")
        names = (*self.names, part.name.casefold())
        text = self.scope.name(part.name, sheet)
        tree = _read(text, sheet, False, plain, whole, self.scope, names)
        self.needs += tree.needs
        self.is_bound |= tree.on_line is None
        return tree.value

    def _table(self, part: TablePart) -> Place:
        """The cells that a structured reference means."""
        sheet, table = self.scope.table(part.table)
        left, top, right, bottom = range_boundaries(table.cells)
        inside = part.inside
        this_row = inside.startswith("@")
        inside = inside.removeprefix("@")
        items = re.findall(r"\[((?:[^\[\]']|'.)*)\]", inside) or [inside] * bool(inside)
        parts = {item.casefold() for item in items if item.startswith("#")}
        wanted = [re.sub("'(.)", r"\1", item).casefold() for item in items if item[:1] != "#"]
        if wanted:
            titles = [column.casefold() for column in table.columns]
            if not set(wanted) <= set(titles):
                raise CannotCompute(f"{part.table}[{part.inside}]: the table has no such column")
            left, right = left + titles.index(wanted[0]), left + titles.index(wanted[-1])
        first, last = top + table.headings, bottom - table.totals
        if this_row or "#this row" in parts:

            def own_row(at: Area) -> Area | None:
                return Area(sheet, at.top, left, at.top, right) if top <= at.top <= bottom else None

            return own_row
        rows = [(first, last)] if not parts else []
        rows += [(top, bottom)] * ("#all" in parts) + [(first, last)] * ("#data" in parts)
        rows += [(top, top)] * ("#headers" in parts) + [(bottom, bottom)] * ("#totals" in parts)
        return _Same(Area(sheet, min(rows)[0], left, max(end for _, end in rows), right))


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


def _shared(places: list[Place]) -> Place:
    """The cells that lie in all places."""

    def shared(at: Area) -> Area | None:
        areas = [area for place in places if (area := place(at)) is not None]
        if len(areas) < len(places) or len({area.sheet for area in areas}) > 1:
            return None
        _, tops, lefts, bottoms, rights = zip(*areas, strict=True)
        area = Area(areas[0].sheet, max(tops), max(lefts), min(bottoms), min(rights))
        return area if area.top <= area.bottom and area.left <= area.right else None

    return shared


class _Same:
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


_FALSE = _Same(False)


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
