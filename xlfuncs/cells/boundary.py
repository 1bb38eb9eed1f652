"""Run a declared function on what cells send: scalars, rows, columns, blocks.

Blank in gives blank out, bad input gives a `! ` text in that cell alone, and a `! ` text or error
that comes in is passed on.  A spreadsheet calls a column at a time, so the way through here is a
few array operations, plus a look at each cell that is not a plain number within its limits.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from xlfuncs.cells.quantities import Choice, Number, Takes
from xlfuncs.cells.values import BLANK, MARK, Refused, is_blank, is_passed_on

if TYPE_CHECKING:
    from xlfuncs.cells.catalogue import Argument, CellFunction

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


def answer(function: CellFunction, cells: Sequence[Any]) -> Any:
    """What the calling cells show: one value, or rows of values."""
    arguments = function.arguments
    if len(cells) > len(arguments):
        return f"{MARK}{function.name} takes at most {len(arguments)} arguments, not {len(cells)}"
    raws = [*cells, *[None] * (len(arguments) - len(cells))]
    if function.answers_whole:
        return _answer_whole(function, raws)
    if any(isinstance(raw, (list, tuple, np.ndarray)) for raw in raws):
        return _answer_range(function, raws)
    return _answer_cell(function, raws)


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


def _answer_cell(function: CellFunction, raws: Sequence[Any]) -> Any:
    """One cell per argument: no arrays on the way, so that a single call is quick."""
    values, texts = _read_single(function.arguments, raws)
    if texts:
        text = _foremost(texts)
    else:
        result = _run(function, values)
        if not function.columns:
            return _plain(result.item() if isinstance(result, np.ndarray) else result)
        if not isinstance(result, str):
            return _rows(result, 1)
        text = result
    return [[text] * len(function.columns)] if function.columns else text


def _answer_range(function: CellFunction, raws: Sequence[Any]) -> Any:
    arguments = function.arguments
    blocks = [_block(raw) for raw in raws]
    for argument, (flat, own) in zip(arguments, blocks, strict=True):
        if argument.takes is Takes.CELL and len(flat) != 1:
            return f"{MARK}{argument.name} must be one cell, not {_size(own)}"
    try:
        shape = np.broadcast_shapes(*(own for _, own in blocks))
    except ValueError:
        sizes = [
            f"{argument.name} is {_size(own)}"
            for argument, (flat, own) in zip(arguments, blocks, strict=True)
            if len(flat) > 1
        ]
        return f"{MARK}ranges do not fit together: {', '.join(sizes)}"
    size = math.prod(shape)
    single = [i for i, (flat, _) in enumerate(blocks) if len(flat) == 1]
    values, shared = _read_single(arguments, [blocks[i][0][0] for i in single], single)
    texts: dict[int, list[Fault]] = {}
    if shared:
        texts = {position: list(shared) for position in range(size)}
    for i, (flat, own) in enumerate(blocks):
        if len(flat) == 1:
            continue
        argument = arguments[i]
        if own != shape:
            flat = np.broadcast_to(_objects(flat, own), shape).ravel().tolist()
        if argument.optional and any(map(is_blank, flat)):
            flat = [argument.default if is_blank(cell) else cell for cell in flat]
        quantity = _quantity(argument, arguments, values)
        assert isinstance(quantity, Number)
        values[i], refusals = quantity.read_many(flat, argument.name)
        for position, text in refusals.items():
            if text != BLANK or not quantity.blank_means:
                texts.setdefault(position, []).append((_rank(text, flat[position]), i, text))
    return _fill(function, values, {i: _foremost(found) for i, found in texts.items()}, shape)


def _fill(
    function: CellFunction, values: list[Any], texts: dict[int, str], shape: tuple[int, ...]
) -> Any:
    """Answer the positions that hold numbers, and put the texts in the others."""
    size, width = math.prod(shape), len(function.columns)

    def texts_or(results: Sequence[Any]) -> list[Any]:
        remaining = iter(results)
        cells = []
        for i in range(size):
            text = texts.get(i)
            cells.append(next(remaining) if text is None else [text] * width if width else text)
        return cells

    if len(texts) == size:
        cells = texts_or(())
    else:
        if texts:
            good = [i for i in range(size) if i not in texts]
            values = [value[good] if isinstance(value, np.ndarray) else value for value in values]
        count = size - len(texts)
        result = _run(function, values)
        if isinstance(result, str):
            result = np.full((count, width) if width else count, result, dtype=object)
        cells = _rows(result, count) if width else _cells(result, count)
        if texts:
            cells = texts_or(cells)
    if width or len(shape) == 1:
        return cells
    if not shape:
        return cells[0]
    if shape[1] == 1:
        return [[cell] for cell in cells]
    return [cells[start : start + shape[1]] for start in range(0, size, shape[1])]


def _answer_whole(function: CellFunction, raws: Sequence[Any]) -> Any:
    """One answer for all that is given; positions blank in any of the ranges are left out."""
    result = _whole(function, [_block(raw) for raw in raws])
    if not function.columns:
        return result if isinstance(result, str) else _plain(result)
    if isinstance(result, str):
        return [[result] * len(function.columns)]
    # A NaN in a fit is a figure that so few points do not give: its cell stays blank.
    return [
        [BLANK if cell != cell else _plain(cell) for cell in row]
        for row in np.atleast_2d(np.asarray(result, dtype=object)).tolist()
    ]


def _whole(function: CellFunction, blocks: Sequence[tuple[list[Any], tuple[int, ...]]]) -> Any:
    arguments = function.arguments
    ranges, single = {}, []
    for i, (argument, (flat, own)) in enumerate(zip(arguments, blocks, strict=True)):
        if argument.takes is Takes.RANGE:
            if not (argument.optional and all(map(is_blank, flat))):
                ranges[i] = flat
        elif len(flat) == 1:
            single.append(i)
        else:
            return f"{MARK}{argument.name} must be one cell, not {_size(own)}"
    if len({len(flat) for flat in ranges.values()}) > 1:
        sizes = [f"{arguments[i].name} has {len(flat)}" for i, flat in ranges.items()]
        return f"{MARK}ranges must have the same number of cells: {', '.join(sizes)}"
    for flat in ranges.values():
        for cell in flat:
            if is_passed_on(cell):
                return cell
    needed = [flat for i, flat in ranges.items() if not arguments[i].quantity.blank_means]
    kept = [
        position
        for position, row in enumerate(zip(*needed, strict=True))
        if not any(map(is_blank, row))
    ]
    if ranges and not kept:
        return BLANK
    values, texts = _read_single(arguments, [blocks[i][0][0] for i in single], single)
    if texts:
        return _foremost(texts)
    for i, flat in ranges.items():
        quantity = _quantity(arguments[i], arguments, values)
        assert isinstance(quantity, Number)
        cells = [flat[position] for position in kept]
        values[i], refusals = quantity.read_many(cells, arguments[i].name)
        for position, text in refusals.items():
            if text != BLANK or not quantity.blank_means:
                return f"{text} (cell {kept[position] + 1} of the range)"
    return _run(function, values)


# --- reading arguments ------------------------------


def _read_single(
    arguments: Sequence[Argument], raws: Sequence[Any], positions: Sequence[int] | None = None
) -> tuple[list[Any], list[Fault]]:
    """Values of the arguments that are one cell, and what stands in the way of an answer.

    The list of values has a place for every argument; those not in `positions` hold the default.
    """
    values: list[Any] = [argument.default for argument in arguments]
    texts: list[Fault] = []
    order = range(len(raws)) if positions is None else positions
    given = dict(zip(order, raws, strict=True))
    # Words first: the limits of a number may hang on a word that comes after it.
    for wanted in (Choice, Number):
        for i, raw in given.items():
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
                texts.append((_rank(value, raw), i, value))
    return values, texts


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


def _foremost(texts: Sequence[Fault]) -> str:
    return min(texts)[-1]


# --- shapes and answers ------------------------------


def _block(raw: Any) -> tuple[list[Any], tuple[int, ...]]:
    """Cells of a range in reading order, and its shape: (), (n,) or (rows, columns)."""
    if isinstance(raw, np.ndarray):
        raw = raw.tolist()
    if not isinstance(raw, (list, tuple)):
        return [raw], ()
    if not raw or not isinstance(raw[0], (list, tuple)):
        return (list(raw), (len(raw),)) if raw else ([None], (1,))
    columns = len(raw[0])
    if columns == 0:
        return [None], (1, 1)
    if columns == 1:
        return [row[0] for row in raw], (len(raw), 1)
    return list(itertools.chain.from_iterable(raw)), (len(raw), columns)


def _objects(flat: Sequence[Any], shape: tuple[int, ...]) -> Any:
    cells = np.empty(len(flat), dtype=object)
    cells[:] = flat
    return cells.reshape(shape)


def _size(shape: tuple[int, ...]) -> str:
    return " x ".join(map(str, shape)) + (" cells" if len(shape) == 1 else "")


def _run(function: CellFunction, values: Sequence[Any]) -> Any:
    """The body's answer, or the `! ` text with which it refuses the whole call."""
    try:
        with np.errstate(all="ignore"):
            return function.body(*values)
    except Refused as refused:
        return refused.text


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
