"""Worksheet functions of the `formulas` package, with corrections where they leave Excel's rules.

Each correction takes what the package passes (`Ranges`, object arrays, single values; empty cells
as `schedula.EMPTY`, errors as `XlError`) and is listed once, in `_CORRECTED`.
"""

from __future__ import annotations

import bisect
import collections
import datetime
import functools
import math
import operator
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import schedula
from formulas.errors import BroadcastError
from formulas.functions import Array, get_functions, parse_ranges
from formulas.functions.operators import OPERATORS
from formulas.ranges import Ranges
from formulas.tokens.operand import Error, XlError

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.values import date_serial


def functions() -> Mapping[str, Any]:
    """Every worksheet function by name, corrections first."""
    return collections.ChainMap(_CORRECTED, get_functions())


def clock(today: datetime.date | None) -> dict[str, Callable[[], float]]:
    """TODAY and NOW, held at `today` if it is given."""

    now = date_serial(today or datetime.datetime.now())
    return {"TODAY": lambda: math.floor(now), "NOW": lambda: now}


def cell_function(function: CellFunction) -> Callable[..., Any]:
    """A function of the catalogue as the package calls it: arrays of its own objects in and out."""
    call = function.callable()

    def wrapped(*arguments: Any) -> Any:
        cells, _ = parse_ranges(*arguments)
        return _to_array(call(*map(_to_cells, cells)))

    return wrapped


def _to_cells(raw: Any) -> Any:
    if isinstance(raw, np.ndarray):
        if raw.size == 1:
            return _to_cell(raw.item())
        return [list(map(_to_cell, row)) for row in np.atleast_2d(raw).tolist()]
    return _to_cell(raw)


def _to_cell(raw: Any) -> Any:
    if raw is schedula.EMPTY:
        return None
    if isinstance(raw, XlError):
        return str(raw)
    return raw.item() if isinstance(raw, np.generic) else raw


def _to_array(answer: Any) -> Any:
    block = np.array(answer if isinstance(answer, list) else [[answer]], dtype=object)
    for at, cell in np.ndenumerate(block):
        if isinstance(cell, str) and cell in Error.errors:
            block[at] = Error.errors[cell]
    return block.view(Array)


def settled(raw: Any) -> Any:
    """A result as its cell holds it: an empty reference is 0, what is no number is an error."""
    if isinstance(raw, np.ndarray):
        raw = raw.ravel()[0]
    if isinstance(raw, np.generic):
        raw = raw.item()
    if raw is schedula.EMPTY or raw is None:
        return 0.0
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        return float(raw) if math.isfinite(raw) else Error.errors["#NUM!"]
    if isinstance(raw, (str, bool)):
        return raw
    raise TypeError(f"a result of type {type(raw).__name__}")


def single(raw: Any) -> Any:
    """The value of a result that is one cell; None if it is more than one."""
    if isinstance(raw, Ranges):
        raw = raw.value
    if isinstance(raw, np.ndarray):
        return raw.item() if raw.size == 1 else None
    return raw


# --- what a cell holds ------------------------------


def _is_number(cell: Any) -> bool:
    return isinstance(cell, (int, float, np.number)) and not isinstance(cell, (bool, np.bool_))


def _is_text(cell: Any) -> bool:
    return isinstance(cell, str) and not isinstance(cell, schedula.Token)


def _is_error(cell: Any) -> bool:
    return isinstance(cell, XlError)


def general(cell: Any) -> str:
    """A value as text, the way `&` shows it: numbers with up to 15 digits."""
    if cell is schedula.EMPTY:
        return ""
    if isinstance(cell, (bool, np.bool_)):
        return str(bool(cell)).upper()
    if not _is_number(cell):
        return str(cell)
    number = float(cell)
    if number == 0:
        return "0"
    if not 1e-9 <= abs(number) < 1e21:
        mantissa, exponent = f"{number:.14E}".split("E")
        return f"{mantissa.rstrip('0').rstrip('.')}E{int(exponent):+03d}"
    digits = max(0, 14 - math.floor(math.log10(abs(number))))
    text = f"{float(f'{number:.15g}'):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _each(body: Callable[..., Any]) -> Callable[..., Any]:
    """Element by element over arrays that broadcast; the first error among the cells wins."""

    def one(*cells: Any) -> Any:
        error = next(filter(_is_error, cells), None)
        if error is not None:
            return error
        try:
            return body(*cells)
        except (ValueError, TypeError):
            return Error.errors["#VALUE!"]

    def function(*arguments: Any) -> Any:
        cells, _ = parse_ranges(*arguments)
        result = np.frompyfunc(one, len(cells), 1)(*_broadcast(*cells))
        return result.view(Array) if isinstance(result, np.ndarray) else result

    return function


def _object(raw: Any) -> Any:
    """An array of objects; texts that mean something else (empty, errors) stay what they are."""
    return np.asarray(raw, dtype=object)


def _broadcast(*cells: Any) -> Any:
    try:
        return np.broadcast_arrays(*map(_object, cells))
    except ValueError:
        raise BroadcastError from None


# --- numbers in ranges ------------------------------


def _of_numbers(name: str, instead: Any = schedula.EMPTY) -> Callable[..., Any]:
    """The package's function, with texts and truth values in ranges left out, as Excel does."""
    body = get_functions()[name]

    def left_out(cell: Any) -> Any:
        return cell if _is_number(cell) or _is_error(cell) else instead

    clean = np.frompyfunc(left_out, 1, 1)

    def function(*arguments: Any) -> Any:
        cells, _ = parse_ranges(*arguments)
        return body(
            *(clean(cell).view(Array) if isinstance(cell, np.ndarray) and cell.ndim else cell
              for cell in cells)
        )  # fmt: skip

    return function


def _is_numeric(raw: Any) -> Any:
    cells, _ = parse_ranges(raw)
    if isinstance(cells[0], np.ndarray):
        return np.frompyfunc(_is_number, 1, 1)(cells[0]).view(Array)
    return _is_number(cells[0])


# --- criteria of COUNTIF and its kin ------------------------------

_COMPARE = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge,
}  # fmt: skip
_CRITERION = re.compile(r"(<=|>=|<>|=|<|>)?(.*)", re.DOTALL)


def _criterion(raw: Any) -> Callable[[Any], bool]:
    """Whether a cell meets a criterion."""
    sign, wanted = "=", raw
    if raw is schedula.EMPTY:
        wanted = 0.0
    elif _is_text(raw):
        found = _CRITERION.fullmatch(raw)
        assert found is not None
        sign, wanted = found[1] or "=", found[2]
        if not wanted:
            return {
                None: lambda cell: cell is schedula.EMPTY or cell == "",
                "=": lambda cell: cell is schedula.EMPTY,
                "<>": lambda cell: cell is not schedula.EMPTY,
            }.get(found[1], lambda cell: False)
        wanted = _typed(wanted)
    if sign in _COMPARE:
        return _ordered(_COMPARE[sign], wanted)
    equals = _equals(wanted)
    return equals if sign == "=" else lambda cell: not equals(cell)


def _typed(text: str) -> Any:
    if text in Error.errors:
        return Error.errors[text]
    if text.upper() in ("TRUE", "FALSE"):
        return text.upper() == "TRUE"
    number = _number_in(text)
    return text if number is None else number


def _number_in(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _equals(wanted: Any) -> Callable[[Any], bool]:
    if _is_number(wanted):
        return lambda cell: (
            bool(cell == wanted)
            if _is_number(cell)
            else _is_text(cell) and _number_in(cell) == wanted
        )
    if _is_text(wanted):
        match = _wildcards(wanted).fullmatch
        return lambda cell: _is_text(cell) and match(cell) is not None
    return lambda cell: type(cell) is type(wanted) and cell == wanted


def _ordered(compare: Callable[[Any, Any], bool], wanted: Any) -> Callable[[Any], bool]:
    if _is_number(wanted):
        return lambda cell: _is_number(cell) and bool(compare(cell, wanted))
    if _is_text(wanted):
        folded = wanted.casefold()
        return lambda cell: _is_text(cell) and compare(cell.casefold(), folded)
    return lambda cell: type(cell) is type(wanted) and compare(cell, wanted)


@functools.lru_cache(maxsize=256)
def _wildcards(text: str) -> re.Pattern[str]:
    parts = re.findall(r"~[?*~]|.", text, re.DOTALL)
    meaning = {"*": ".*", "?": "."}
    return re.compile(
        "".join(meaning.get(part) or re.escape(part[-1]) for part in parts),
        re.IGNORECASE | re.DOTALL,
    )


class _Searched:
    """Cells in which criteria are looked for; a whole column of criteria is as good as one."""

    def __init__(self, cells: list[Any]) -> None:
        self._cells = cells

    @functools.cached_property
    def _by_number(self) -> dict[float, list[int]]:
        places: dict[float, list[int]] = {}
        for place, cell in enumerate(self._cells):
            number = _number_in(cell) if _is_text(cell) else cell if _is_number(cell) else None
            if number is not None:
                places.setdefault(number, []).append(place)
        return places

    def meeting(self, criterion: Any) -> Sequence[int]:
        """The places of the cells that meet a criterion, ascending."""
        if _is_number(criterion):
            return self._by_number.get(float(criterion), ())
        test = _criterion(criterion)
        return [place for place, cell in enumerate(self._cells) if test(cell)]


def _conditional(aggregate: Callable[[list[Any]], Any], values_first: bool) -> Callable[..., Any]:
    """COUNTIF and its kin: aggregate the values at the positions whose cells meet the criteria."""

    def function(*arguments: Any) -> Any:
        given, _ = parse_ranges(*arguments)
        if values_first:
            values, pairs = given[0], given[1:]
        else:
            values, pairs = given[2 if len(given) > 2 else 0], given[:2]
        columns = [np.atleast_2d(_object(cells)) for cells in (values, *pairs[::2])]
        if len({column.shape for column in columns}) > 1:
            return Error.errors["#VALUE!"]
        criteria = _broadcast(*pairs[1::2])
        cells, *tested = (column.ravel().tolist() for column in columns)
        searched = list(map(_Searched, tested))

        @functools.cache
        def answer(*wanted: tuple[type, Any]) -> Any:
            places = [
                column.meeting(criterion)
                for column, (_, criterion) in zip(searched, wanted, strict=True)
            ]
            common = places[0] if len(places) == 1 else sorted(set(places[0]).intersection(*places))
            return aggregate([cells[place] for place in common])

        answers = np.empty(criteria[0].shape, dtype=object)
        for at in np.ndindex(answers.shape):
            # Of the same value and type: 1 and TRUE are two criteria.
            answers[at] = answer(*((type(one[at]), one[at]) for one in criteria))
        return answers.view(Array)

    return function


def _count_meeting(*pairs: Any) -> Any:
    return _conditional(len, values_first=True)(pairs[0], *pairs)


def _over_numbers(body: Callable[[list[float]], Any]) -> Callable[[list[Any]], Any]:
    def aggregate(cells: list[Any]) -> Any:
        error = next(filter(_is_error, cells), None)
        return body(list(filter(_is_number, cells))) if error is None else error

    return aggregate


def _mean(numbers: Sequence[float]) -> Any:
    return sum(numbers) / len(numbers) if numbers else Error.errors["#DIV/0!"]


# --- LOOKUP, MATCH ------------------------------


def _kind(cell: Any) -> str:
    """Only cells of one kind are compared; "" for an empty one and an error."""
    if isinstance(cell, (bool, np.bool_)):
        return "truth"
    return "number" if _is_number(cell) else "text" if _is_text(cell) else ""


def _comparable(cell: Any) -> Any:
    return cell.casefold() if _is_text(cell) else cell


class _Vector:
    """Cells that values are looked up in, however many values there are."""

    def __init__(self, block: Any) -> None:
        self.cells = _object(block).ravel().tolist()

    @functools.cached_property
    def _by_kind(self) -> dict[str, tuple[list[Any], list[int]]]:
        found: dict[str, tuple[list[Any], list[int]]] = {}
        for place, cell in enumerate(self.cells):
            values, places = found.setdefault(_kind(cell), ([], []))
            values.append(_comparable(cell))
            places.append(place)
        return found

    @functools.cached_property
    def _first(self) -> dict[tuple[str, Any], int]:
        found: dict[tuple[str, Any], int] = {}
        for place, cell in enumerate(self.cells):
            found.setdefault((_kind(cell), _comparable(cell)), place)
        return found

    def last_up_to(self, wanted: Any) -> int | None:
        """The place of the last cell that is not above a value, in cells that ascend."""
        values, places = self._by_kind.get(_kind(wanted), ([], []))
        after = bisect.bisect_right(values, _comparable(wanted))
        return places[after - 1] if after else None

    def first_equal(self, wanted: Any) -> int | None:
        """The place of the first cell that equals a value; wildcards of a text count."""
        if _is_text(wanted) and not {"*", "?", "~"}.isdisjoint(wanted):
            equals = _equals(wanted)
            return next((place for place, cell in enumerate(self.cells) if equals(cell)), None)
        return self._first.get((_kind(wanted), _comparable(wanted)))


def _found(search: Callable[[Any], int | None], answer: Callable[[int], Any], wanted: Any) -> Any:
    """The answer for each value that is searched for."""

    def one(cell: Any) -> Any:
        place = search(0.0 if cell is schedula.EMPTY else cell)
        return Error.errors["#N/A"] if place is None else answer(place)

    return _each(one)(wanted)


def _lookup(wanted: Any, vector: Any, results: Any = None) -> Any:
    (wanted, vector, results), _ = parse_ranges(wanted, vector, results)
    searched = _Vector(vector)
    given = searched.cells if results is None else _object(results).ravel().tolist()
    if len(given) < len(searched.cells):
        return Error.errors["#N/A"]
    return _found(searched.last_up_to, given.__getitem__, wanted)


def _match(wanted: Any, vector: Any, how: Any = 1) -> Any:
    (values, cells, order), _ = parse_ranges(wanted, vector, how)
    order = single(order)
    if not _is_number(order) or order < 0:
        return get_functions()["MATCH"](wanted, vector, how)
    searched = _Vector(cells)
    search = searched.last_up_to if order else searched.first_equal
    return _found(search, lambda place: place + 1.0, values)


# --- INDEX, TEXT and other single corrections ------------------------------


def _index(array: Any, row: Any = 0, column: Any = None, area: Any = 1) -> Any:
    """INDEX by value: row or column 0 is the whole of it; arrays of numbers pick one cell each."""
    (array, row, column, area), _ = parse_ranges(array, row, column, area)
    block = np.atleast_2d(_object(array))
    if column is None:
        row, column = (0, row) if block.shape[0] == 1 else (row, 0)
    rows, columns = _broadcast(row, column)
    picked = np.frompyfunc(functools.partial(_picked, block), 2, 1)(rows, columns)
    if isinstance(picked, np.ndarray) and picked.size > 1:
        return np.frompyfunc(lambda part: _object(part).ravel()[0], 1, 1)(picked).view(Array)
    return picked.item() if isinstance(picked, np.ndarray) else picked


def _picked(block: Any, row: Any, column: Any) -> Any:
    for number in (row, column):
        if _is_error(number):
            return number
    try:
        i, j = (0 if n is schedula.EMPTY else math.floor(float(n)) for n in (row, column))
    except (ValueError, TypeError):
        return Error.errors["#VALUE!"]
    if i < 0 or j < 0:
        return Error.errors["#VALUE!"]
    if i > block.shape[0] or j > block.shape[1]:
        return Error.errors["#REF!"]
    part = block[i - 1 : i] if i else block
    part = part[:, j - 1 : j] if j else part
    return part[0, 0] if part.size == 1 else part.view(Array)


_BETWEEN_SECTIONS = re.compile(r';(?=(?:[^"]*"[^"]*")*[^"]*$)')  # a ; that is not quoted


def _text(cell: Any, pattern: Any) -> Any:
    """TEXT, with the sections of a format: positive; negative; zero."""
    if _is_text(cell) and _number_in(cell) is None:
        return cell
    sections = _BETWEEN_SECTIONS.split(general(pattern))
    number = float(0 if cell is schedula.EMPTY else cell)
    if number < 0 and len(sections) > 1:
        return _package_text(-number, sections[1])
    return _package_text(number, sections[2] if number == 0 and len(sections) > 2 else sections[0])


def _package_text(number: float, pattern: str) -> Any:
    if not re.search(r"[0#?@]|[dmyhs]|general", re.sub(r'"[^"]*"', "", pattern), re.IGNORECASE):
        return pattern.replace('"', "")  # a section of words only
    sign, pattern = (pattern[0], pattern[1:]) if pattern[:1] == "+" else ("", pattern)
    text = single(get_functions()["TEXT"](number, pattern))
    return sign + text if _is_text(text) else text


def _joined(*cells: Any) -> Any:
    parts = [_object(cell).ravel().tolist() for cell in parse_ranges(*cells)[0]]
    flat = [cell for part in parts for cell in part]
    return next(filter(_is_error, flat), None) or "".join(map(general, flat))


def _text_join(mark: Any, skip: Any, *cells: Any) -> Any:
    parts = [_object(cell).ravel().tolist() for cell in parse_ranges(*cells)[0]]
    flat = [cell for part in parts for cell in part]
    texts = [text for text in map(general, flat) if text or not single(skip)]
    return next(filter(_is_error, flat), None) or general(single(mark)).join(texts)


def _quotient(numerator: Any, denominator: Any) -> Any:
    number, by = (0.0 if n is schedula.EMPTY else float(n) for n in (numerator, denominator))
    return math.trunc(number / by) if by else Error.errors["#DIV/0!"]


_NUMBERS_ONLY = {
    "SUM", "PRODUCT", "SUMSQ", "MAX", "MIN", "AVERAGE", "COUNT", "MEDIAN", "STDEV", "STDEV.S",
    "STDEV.P", "STDEVP", "VAR", "VAR.S", "VAR.P", "VARP", "LARGE", "SMALL", "PERCENTILE",
    "PERCENTILE.INC", "PERCENTILE.EXC", "QUARTILE", "QUARTILE.INC", "QUARTILE.EXC", "AVEDEV",
    "DEVSQ", "GEOMEAN", "HARMEAN",
}  # fmt: skip

_CORRECTED: dict[str, Any] = {
    **{name: _of_numbers(name) for name in _NUMBERS_ONLY},
    "SUMPRODUCT": _of_numbers("SUMPRODUCT", instead=0),
    "ISNUMBER": _is_numeric,
    "COUNTIF": _conditional(len, values_first=False),
    "COUNTIFS": _count_meeting,
    "SUMIF": _conditional(_over_numbers(sum), values_first=False),
    "SUMIFS": _conditional(_over_numbers(sum), values_first=True),
    "AVERAGEIF": _conditional(_over_numbers(_mean), values_first=False),
    "AVERAGEIFS": _conditional(_over_numbers(_mean), values_first=True),
    "MAXIFS": _conditional(_over_numbers(lambda n: max(n, default=0)), values_first=True),
    "MINIFS": _conditional(_over_numbers(lambda n: min(n, default=0)), values_first=True),
    "LOOKUP": _lookup,
    "MATCH": _match,
    "INDEX": _index,
    "TEXT": _each(_text),
    "TRIM": _each(lambda cell: " ".join(filter(None, general(cell).split(" ")))),
    "LEN": _each(lambda cell: len(general(cell))),
    "CONCATENATE": _each(lambda *cells: "".join(map(general, cells))),
    "CONCAT": _joined,
    "TEXTJOIN": _text_join,
    "N": _each(lambda cell: float(cell) if isinstance(cell, (int, float, np.bool_)) else 0.0),
    "QUOTIENT": _each(_quotient),
    "HYPERLINK": _each(lambda link, name=None: link if name is None else name),
}
_OPERATORS = {"&": _each(lambda left, right: general(left) + general(right))}
_OF_FLOATS = {
    "+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide, "=": np.equal,
    "<>": np.not_equal, "<": np.less, "<=": np.less_equal, ">": np.greater, ">=": np.greater_equal,
}  # fmt: skip


def _floats(raw: Any) -> Any:
    """A number or an array of nothing but numbers as floats; None for all else."""
    raw = raw.value if isinstance(raw, Ranges) else raw
    if isinstance(raw, np.ndarray):
        return raw.astype(float) if set(map(type, raw.ravel().tolist())) == {float} else None
    return raw if type(raw) in (float, int) else None


def _at_once(quick: np.ufunc, thorough: Callable[..., Any]) -> Callable[..., Any]:
    """An operator that takes whole arrays of numbers; anything else goes cell by cell."""

    def function(*arguments: Any) -> Any:
        numbers = [_floats(raw) for raw in arguments]
        if any(number is None for number in numbers):
            return thorough(*arguments)
        try:
            with np.errstate(all="ignore"):
                answers = quick(*numbers)
        except ValueError:
            raise BroadcastError from None
        if not np.isfinite(answers).all():
            return thorough(*arguments)
        return answers.astype(object).view(Array) if answers.ndim else answers.item()

    return function


@functools.cache
def operator_function(name: str, minus: bool = False) -> Callable[..., Any]:
    """The function behind an operator; `minus` tells `--x` from `+x`."""
    if name == "u+" and minus:
        return lambda raw: OPERATORS["U-"](OPERATORS["U-"](raw))
    found: Callable[..., Any] = _OPERATORS.get(name) or OPERATORS[name.upper()]
    return _at_once(_OF_FLOATS[name], found) if name in _OF_FLOATS else found
