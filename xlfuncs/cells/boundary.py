"""Run a declared function on what cells send: scalars, rows, columns, blocks.

Blank in gives blank out, bad input gives a `! ` text in that cell alone, and a `! ` text or error
that comes in is passed on.  A spreadsheet calls a column at a time, so the way through here is a
few array operations, plus a look at each cell that is not a plain number within its limits.

A cell shows one text where several things stand in the way of its answer; the first of these:

1. the call itself: too many arguments, a range where one cell is wanted, ranges that do not fit
   together;
2. a text or error that is passed on: the cause comes before what it causes;
3. a blank, which leaves the answer blank;
4. a cell that is not fit for its argument;
5. what the function's own body refuses.

Of the same kind, the first argument of the signature decides.  A function that answers for whole
ranges takes the ranges first (a cause anywhere in them, then nothing left in them), then its single
cells by 2 to 4, then the first cell of a range that is not fit, which it names by number.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from xlfuncs.cells.declaration import Argument, Declaration
from xlfuncs.cells.quantities import Choice, Number, Takes
from xlfuncs.cells.values import BLANK, MARK, Refused, is_blank, is_passed_on
from xlfuncs.science.arrays import Array

#: What stands in the way of an answer: rank of its kind, number of the argument, text to show.
Fault = tuple[int, int, str]

#: What a cell shows where the arithmetic gives no number.
NO_ANSWER = MARK + "no answer: these values lie outside the range of the model"


class Recorded:
    """A condition that records what is done with it, instead of being true or false.

    `xlfuncs.plain` runs functions on such values to see what they do.
    """

    __slots__ = ()

    def refuse(self, result: Any, text: Callable[..., str], values: Sequence[Any]) -> Any:
        """The result, with a text where the condition will hold."""
        raise NotImplementedError


def answer(function: Declaration, cells: Sequence[Any]) -> Any:
    """What the calling cells show: one value, or rows of values."""
    arguments = function.arguments
    if len(cells) > len(arguments):
        return f"{MARK}{function.name} takes at most {len(arguments)} arguments, not {len(cells)}"
    raws = [*cells, *[None] * (len(arguments) - len(cells))]
    try:
        if function.answers_whole:
            return _answer_whole(function, [_block(raw) for raw in raws])
        if any(isinstance(raw, (list, tuple, np.ndarray)) for raw in raws):
            return _answer_range(function, [_block(raw) for raw in raws])
        return _answer_cell(function, raws)
    except Refused as refused:
        width = len(function.columns)
        return [[refused.text] * width] if width else refused.text


def refuse_where(result: Any, wrong: Any, text: Callable[[int], str]) -> Any:
    """A result in which the wrong elements show a text instead of a number.

    `text` is called with the position of each wrong element and gives the words after `! `.

    >>> refuse_where(np.array([1.0, 2.0]), np.array([False, True]), lambda i: f"no {i}").tolist()
    [1.0, '! no 1']
    """
    if not np.any(wrong):
        return result
    result, wrong = np.broadcast_arrays(result, wrong)
    mixed = np.array(result, dtype=object)
    for position in np.flatnonzero(wrong).tolist():
        mixed.flat[position] = MARK + text(position)
    return mixed


def refuse(result: Any, wrong: Any, text: Callable[..., str], *values: Any) -> Any:
    """As `refuse_where`, with `text` called with the wrong element's own values.

    >>> refuse(np.array([1.0, 2.0]), np.array([False, True]), "{:g} and {:g}".format,
    ...        np.array([5.0, 6.0]), 7.0).tolist()
    [1.0, '! 6 and 7']
    """
    if isinstance(wrong, Recorded):
        return wrong.refuse(result, text, values)

    def of(position: int) -> str:
        return text(*(float(value[position] if np.ndim(value) else value) for value in values))

    return refuse_where(result, wrong, of)


# --- three ways to answer ------------------------------


class _Shown(Refused):
    """Raised where the whole call shows a text as it stands: passed on, blank, or made before."""

    def __init__(self, text: str) -> None:
        Exception.__init__(self, text)
        self.text = text


def _answer_cell(function: Declaration, raws: Sequence[Any]) -> Any:
    """One cell per argument: no arrays on the way, so that a single call is quick."""
    values, faults = _read_cells(function.arguments, dict(enumerate(raws)))
    if faults:
        raise _Shown(_foremost(faults))
    result = _run(function, values)
    if function.columns:
        return _rows(result, 1)
    return _plain(result.item() if isinstance(result, np.ndarray) else result)


def _answer_range(function: Declaration, blocks: Sequence[_Block]) -> Any:
    """One answer for each position of the range that the arguments make together."""
    arguments = function.arguments
    for argument, block in zip(arguments, blocks, strict=True):
        if argument.takes is Takes.CELL:
            _only_cell(argument, block)
    shape = _common_shape(arguments, blocks)
    single = {i: block.cells[0] for i, block in enumerate(blocks) if len(block.cells) == 1}
    values, shared = _read_cells(arguments, single)
    faults = {position: list(shared) for position in range(math.prod(shape))} if shared else {}
    for i, block in enumerate(blocks):
        if i not in single:
            values[i], unfit = _read_column(arguments, i, _spread(block, shape), values)
            for position, fault in unfit.items():
                faults.setdefault(position, []).append(fault)
    texts = {position: _foremost(found) for position, found in faults.items()}
    return _shaped(_fill(function, values, texts, math.prod(shape)), shape, function.columns)


def _fill(
    function: Declaration, values: list[Any], texts: Mapping[int, str], size: int
) -> list[Any]:
    """Answer the positions that hold numbers, and put the texts in the others."""
    width, count = len(function.columns), size - len(texts)
    if texts and count:
        good = [i for i in range(size) if i not in texts]
        values = [value[good] if isinstance(value, np.ndarray) else value for value in values]
    try:
        result = _run(function, values) if count else ()
        cells = _rows(result, count) if width else _cells(result, count)
    except Refused as refused:
        cells = [[refused.text] * width if width else refused.text] * count
    if not texts:
        return cells
    remaining = iter(cells)
    return [
        next(remaining) if text is None else [text] * width if width else text
        for text in map(texts.get, range(size))
    ]


def _answer_whole(function: Declaration, blocks: Sequence[_Block]) -> Any:
    """One answer for all that is given; positions blank in any of the ranges are left out."""
    arguments = function.arguments
    ranges: dict[int, list[Any]] = {}
    single: dict[int, Any] = {}
    for i, (argument, block) in enumerate(zip(arguments, blocks, strict=True)):
        if argument.takes is not Takes.RANGE:
            single[i] = _only_cell(argument, block)
        elif not (argument.optional and all(map(is_blank, block.cells))):
            ranges[i] = block.cells
    kept = _complete(arguments, ranges)
    values, faults = _read_cells(arguments, single)
    if faults:
        raise _Shown(_foremost(faults))
    for i, cells in ranges.items():
        values[i], unfit = _read_column(arguments, i, [cells[at] for at in kept], values)
        for position, (_, _, text) in unfit.items():
            raise _Shown(f"{text} (cell {kept[position] + 1} of the range)")
    result = _run(function, values)
    if not function.columns:
        return _plain(result)
    # A NaN in a fit is a figure that so few points do not give: its cell stays blank.
    return [
        [BLANK if cell != cell else _plain(cell) for cell in row]
        for row in np.atleast_2d(np.asarray(result, dtype=object)).tolist()
    ]


def _complete(arguments: Sequence[Argument], ranges: Mapping[int, Sequence[Any]]) -> list[int]:
    """Positions at which no range that needs a value is blank; all the ranges are of one size."""
    if len({len(cells) for cells in ranges.values()}) > 1:
        sizes = ", ".join(f"{arguments[i].name} has {len(cells)}" for i, cells in ranges.items())
        raise Refused(f"ranges must have the same number of cells: {sizes}")
    for cell in itertools.chain.from_iterable(ranges.values()):
        if is_passed_on(cell):
            raise _Shown(cell)
    needed = [cells for i, cells in ranges.items() if not arguments[i].quantity.blank_means]
    kept = [
        position
        for position, row in enumerate(zip(*needed, strict=True))
        if not any(map(is_blank, row))
    ]
    if ranges and not kept:
        raise _Shown(BLANK)
    return kept


# --- reading arguments ------------------------------


def _read_cells(
    arguments: Sequence[Argument], raws: Mapping[int, Any]
) -> tuple[list[Any], list[Fault]]:
    """Values of the arguments that are one cell, and what stands in the way of an answer.

    `raws` holds their cells by number of the argument.  The list of values has a place for every
    argument; the others hold their default.
    """
    values: list[Any] = [argument.default for argument in arguments]
    faults: list[Fault] = []
    # Words first: the limits of a number may hang on a word that comes after it.
    for wanted in (Choice, Number):
        for i, raw in raws.items():
            argument = arguments[i]
            if not isinstance(argument.quantity, wanted):
                continue
            if argument.optional and is_blank(raw):
                continue
            quantity = _quantity(argument, arguments, values)
            value = quantity.read(raw, argument.name)
            if not isinstance(value, str) or value in quantity.words:
                values[i] = value
            elif value == BLANK and quantity.blank_means:
                values[i] = math.nan
            else:
                faults.append((_rank(value, raw), i, value))
    return values, faults


def _read_column(
    arguments: Sequence[Argument], number: int, cells: Sequence[Any], values: Sequence[Any]
) -> tuple[Array, dict[int, Fault]]:
    """Numbers of an argument that is many cells, and what stands in the way, by position.

    `values` are those of the arguments that are one cell: limits may hang on them.
    """
    argument = arguments[number]
    if argument.optional and any(map(is_blank, cells)):
        cells = [argument.default if is_blank(cell) else cell for cell in cells]
    quantity = _quantity(argument, arguments, values)
    assert isinstance(quantity, Number)
    numbers, texts = quantity.read_many(cells, argument.name)
    return numbers, {
        position: (_rank(text, cells[position]), number, text)
        for position, text in texts.items()
        if text != BLANK or not quantity.blank_means
    }


def _quantity(
    argument: Argument, arguments: Sequence[Argument], values: Sequence[Any]
) -> Number | Choice:
    """The argument's quantity; where its limits hang on a word, that word decides."""
    quantity = argument.quantity
    if isinstance(quantity, Number) and quantity.given is not None:
        for other, value in zip(arguments, values, strict=True):
            if other.name == quantity.depends_on and isinstance(value, str):
                return quantity.given(value)
    return quantity


def _rank(text: str, raw: Any) -> int:
    """Which text shows where several arguments have one: a cause passed on, a blank, a new one."""
    if text == BLANK:
        return 1
    return 0 if is_passed_on(raw) else 2


def _foremost(faults: Sequence[Fault]) -> str:
    return min(faults)[-1]


# --- shapes and answers ------------------------------


class _Block(NamedTuple):
    """Cells of a range in reading order, and its shape: (), (n,) or (rows, columns)."""

    cells: list[Any]
    shape: tuple[int, ...]

    @property
    def size(self) -> str:
        """The shape in words."""
        return " x ".join(map(str, self.shape)) + (" cells" if len(self.shape) == 1 else "")


def _block(raw: Any) -> _Block:
    if isinstance(raw, np.ndarray):
        raw = raw.tolist()
    if not isinstance(raw, (list, tuple)):
        return _Block([raw], ())
    if not raw or not isinstance(raw[0], (list, tuple)):
        return _Block(list(raw), (len(raw),)) if raw else _Block([None], (1,))
    columns = len(raw[0])
    if not all(isinstance(row, (list, tuple)) and len(row) == columns for row in raw):
        raise Refused("the rows of a range must be equally long")
    if columns == 0:
        return _Block([None], (1, 1))
    if columns == 1:
        return _Block([row[0] for row in raw], (len(raw), 1))
    return _Block(list(itertools.chain.from_iterable(raw)), (len(raw), columns))


def _only_cell(argument: Argument, block: _Block) -> Any:
    if len(block.cells) != 1:
        raise Refused(f"{argument.name} must be one cell, not {block.size}")
    return block.cells[0]


def _common_shape(arguments: Sequence[Argument], blocks: Sequence[_Block]) -> tuple[int, ...]:
    try:
        return np.broadcast_shapes(*(block.shape for block in blocks))
    except ValueError:
        sizes = ", ".join(
            f"{argument.name} is {block.size}"
            for argument, block in zip(arguments, blocks, strict=True)
            if len(block.cells) > 1
        )
        raise Refused(f"ranges do not fit together: {sizes}") from None


def _spread(block: _Block, shape: tuple[int, ...]) -> list[Any]:
    """The block's cells repeated over the whole shape, in reading order."""
    if block.shape == shape:
        return block.cells
    positions = np.arange(len(block.cells)).reshape(block.shape)
    return [block.cells[i] for i in np.broadcast_to(positions, shape).ravel().tolist()]


def _shaped(cells: list[Any], shape: tuple[int, ...], columns: Sequence[str]) -> Any:
    """The answers as the calling cells lie; those in columns of their own stay rows."""
    if columns or len(shape) == 1:
        return cells
    if not shape:
        return cells[0]
    if shape[1] == 1:
        return [[cell] for cell in cells]
    return [cells[start : start + shape[1]] for start in range(0, len(cells), shape[1])]


def _run(function: Declaration, values: Sequence[Any]) -> Any:
    with np.errstate(all="ignore"):
        try:
            return function.body(*values)
        except ArithmeticError:  # a float raises where an array goes on, to infinity
            return function.body(*(np.float64(v) if isinstance(v, float) else v for v in values))


def _cells(result: Any, count: int) -> list[Any]:
    """One plain value per element."""
    array = np.asarray(result)
    if array.ndim == 0:
        array = np.full(count, array)
    if array.dtype.kind == "f" and np.isfinite(array).all():
        return list(array.tolist())
    return [_plain(cell) for cell in array.tolist()]


def _rows(result: Any, count: int) -> list[list[Any]]:
    """Rows of an answer that is a block: the body gives one array per column."""
    return [list(row) for row in zip(*(_cells(column, count) for column in result), strict=True)]


def _plain(cell: Any) -> Any:
    """A value that every host can show; never NaN."""
    if isinstance(cell, str):
        return str(cell)
    number = float(cell)
    return number if math.isfinite(number) else NO_ANSWER
