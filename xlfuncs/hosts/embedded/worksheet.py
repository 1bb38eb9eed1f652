"""Worksheet functions by name: those that sheets use most; for the rest the `formulas` package's.

Those of this module follow what Excel and Calc answer where the package does not, and take whole
columns at once.
"""

from __future__ import annotations

import datetime
import decimal
import functools
import math
import re
import statistics
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.values import DAY_ZERO, date_serial
from xlfuncs.hosts.embedded import lookup
from xlfuncs.hosts.embedded.criteria import conditional, digits, wildcards
from xlfuncs.hosts.embedded.operators import TRUTH, as_column, minus, operator_function
from xlfuncs.hosts.embedded.package import of_package
from xlfuncs.hosts.embedded.values import (
    DIVIDED_BY_ZERO,
    EMPTY,
    ERRORS,
    NOT_A_NUMBER,
    NOT_A_VALUE,
    NOT_FOUND,
    SizesDiffer,
    block,
    cells,
    each,
    each_number,
    general,
    is_error,
    is_number,
    is_text,
    is_truth,
    number,
    number_in,
    single,
    truth,
    whole,
    without_errors,
)

#: Functions that name cells while they compute: what they need cannot be known beforehand.
UNFORESEEABLE = {"INDIRECT", "OFFSET"}


@functools.cache
def function(name: str) -> Callable[..., Any] | None:
    """A worksheet function that takes and gives cells and blocks; None if there is none."""
    return _OWN.get(name) or of_package(name)


def takes_references(name: str) -> bool:
    """Whether a function is the package's, which wants references as it knows them."""
    return name not in _OWN


def clock(today: datetime.date | None) -> dict[str, Callable[[], float]]:
    """TODAY and NOW, held at `today` if it is given."""

    now = date_serial(today or datetime.datetime.now())
    return {"TODAY": lambda: float(math.floor(now)), "NOW": lambda: now}


def cell_function(function: CellFunction) -> Callable[..., Any]:
    """A function of the catalogue, called with cells and blocks."""
    call = function.callable()

    def wrapped(*arguments: Any) -> Any:
        return _from_cells(call(*map(_to_cells, arguments)))

    return wrapped


def _to_cells(raw: Any) -> Any:
    if isinstance(raw, np.ndarray):
        if raw.size == 1:
            return _to_cell(raw.item())
        return [list(map(_to_cell, row)) for row in block(raw).tolist()]
    return _to_cell(raw)


def _to_cell(raw: Any) -> Any:
    if raw is EMPTY:
        return None
    return str(raw) if is_error(raw) else raw


def _from_cells(answer: Any) -> Any:
    if isinstance(answer, list):
        return np.frompyfunc(_from_cell, 1, 1)(np.array(answer, dtype=object))
    return _from_cell(answer)


def _from_cell(cell: Any) -> Any:
    if isinstance(cell, str):
        return ERRORS.get(cell, cell)
    return float(cell) if isinstance(cell, int) and not isinstance(cell, bool) else cell


# --- choices ------------------------------


@functools.partial(each, catches_errors=True)
def _if(asked: Any, then: Any, otherwise: Any) -> Any:
    return asked if is_error(asked) else then if truth(asked) else otherwise


def if_blocks(condition: Any, yes: Any, no: Any) -> Any:
    """IF with a condition of several cells."""
    asked = as_column(condition)
    if np.max(asked.kinds) > TRUTH:
        return _if(condition, yes, no)
    yes, no = (np.asarray(given, dtype=object) for given in (yes, no))
    try:
        return np.where(asked.numbers, yes, no)
    except ValueError:
        raise SizesDiffer from None


def _instead(hits: Callable[[Any], bool]) -> Callable[..., Any]:
    return each(
        lambda cell, otherwise: otherwise if hits(cell) else cell,
        catches_errors=True,
    )


def _first_that_holds(*pairs: Any) -> Any:
    """IFS: the value beside the first condition that holds."""
    answer: Any = NOT_FOUND
    for condition, value in reversed(list(zip(pairs[::2], pairs[1::2], strict=True))):
        answer = if_blocks(condition, value, answer)
    return answer


def _switch(wanted: Any, *rest: Any) -> Any:
    pairs, otherwise = (rest[:-1], rest[-1]) if len(rest) % 2 else (rest, NOT_FOUND)
    equal = operator_function("=")
    answer = otherwise
    for value, result in reversed(list(zip(pairs[::2], pairs[1::2], strict=True))):
        answer = if_blocks(equal(wanted, value), result, answer)
    return answer


def _truths(arguments: Sequence[Any]) -> list[bool]:
    """Truth values among the arguments; texts and empty cells of ranges do not count."""
    found = []
    for argument in arguments:
        for cell in without_errors(argument):
            if isinstance(argument, np.ndarray) and (is_text(cell) or cell is EMPTY):
                continue
            found.append(truth(cell))
    if not found:
        raise ValueError("no truth value")
    return found


def _kind(test: Callable[[Any], bool]) -> Callable[..., Any]:
    return each(test, catches_errors=True)


# --- numbers in ranges ------------------------------


def _numbers(arguments: Sequence[Any]) -> list[float]:
    """Numbers of the arguments: of ranges nothing but numbers, of single values what they spell."""
    found = []
    for argument in arguments:
        if isinstance(argument, np.ndarray):
            found += [float(cell) for cell in without_errors(argument) if is_number(cell)]
        elif argument is not EMPTY:
            found += [number(cell) for cell in without_errors(argument)]
    return found


def _aggregate(body: Callable[[list[float]], Any], least: int = 0) -> Callable[..., Any]:
    """A function of all numbers in its arguments; with fewer than `least` it is #DIV/0!."""

    def aggregate(*arguments: Any) -> Any:
        found = _numbers(arguments)
        return DIVIDED_BY_ZERO if len(found) < least else body(found)

    return whole(aggregate)


def _of_rank(body: Callable[[list[float], float], Any]) -> Callable[..., Any]:
    """LARGE and its kin: numbers of a range, and one number or several that say which."""

    def ranked(numbers: Any, which: Any) -> Any:
        found = sorted(_numbers([numbers if isinstance(numbers, np.ndarray) else block(numbers)]))
        return each(lambda place: body(found, number(place)))(which)

    return whole(ranked)


def _smallest(found: list[float], place: float) -> Any:
    place = math.ceil(place)
    return found[place - 1] if 1 <= place <= len(found) else NOT_A_NUMBER


def _percentile(found: list[float], share: float) -> Any:
    return float(np.percentile(found, 100 * share)) if found and 0 <= share <= 1 else NOT_A_NUMBER


def _rank(value: Any, numbers: Any, ascending: Any = 0.0) -> Any:
    found = _numbers([block(numbers)])
    up = truth(single(ascending))

    def one(cell: Any) -> Any:
        sought = number(cell)
        if sought not in found:
            return NOT_FOUND
        return 1.0 + sum(other < sought if up else other > sought for other in found)

    return each(one)(value)


def _mode(found: list[float]) -> Any:
    counts = {value: found.count(value) for value in found}
    best = max(counts.values(), default=0)
    return next(value for value in found if counts[value] == best) if best > 1 else NOT_FOUND


def _products(*arguments: Any) -> Any:
    """SUMPRODUCT: what is no number counts as 0."""
    blocks = [block(argument) for argument in arguments]
    if len({one.shape for one in blocks}) > 1:
        return NOT_A_VALUE
    columns = [
        [float(cell) if is_number(cell) else 0.0 for cell in without_errors(one)] for one in blocks
    ]
    return math.fsum(map(math.prod, zip(*columns, strict=True)))


def _of_pairs(body: Callable[[Any, Any], Any]) -> Callable[..., Any]:
    """A function of two columns of which only rows with two numbers count."""

    def paired(ys: Any, xs: Any) -> Any:
        both = zip(without_errors(block(ys)), without_errors(block(xs)), strict=True)
        pairs = [(x, y) for y, x in both if is_number(x) and is_number(y)]
        try:
            return float(body(*zip(*pairs, strict=True)))
        except (statistics.StatisticsError, TypeError):
            return DIVIDED_BY_ZERO

    return whole(paired)


def _over_numbers(body: Callable[[list[float]], Any]) -> Callable[[list[Any]], Any]:
    return whole(
        lambda found: body([float(cell) for cell in without_errors(*found) if is_number(cell)])
    )


def _mean(numbers: Sequence[float]) -> float:
    return math.fsum(numbers) / len(numbers)


def _blanks(cells_: Any) -> float:
    return float(sum(cell is EMPTY or (is_text(cell) and not cell) for cell in cells(cells_)))


# --- rounding ------------------------------


def _rounding(how: str) -> Callable[..., Any]:
    """To a number of decimals, of what the number shows in 15 digits: 1.005 is not below 1.005."""

    def rounded(value: float, places: float = 0.0) -> float:
        unit = decimal.Decimal(1).scaleb(-math.trunc(places))
        shown = decimal.Decimal(f"{value:.15g}")
        if shown.adjusted() - unit.adjusted() > 20:
            return value
        return float((shown / unit).to_integral_value(rounding=how) * unit)

    return each_number(rounded)


def floor(value: float) -> float:
    """The whole number below, of what the number shows in 15 digits."""
    return float(math.floor(digits(value)))


def _remainder(value: float, by: float) -> float:
    return minus(value, floor(value / by) * by)


def _multiple(how: Callable[[float], float]) -> Callable[..., Any]:
    """CEILING and FLOOR: to a multiple of a number."""

    def to_multiple(value: float, unit: float = 1.0) -> float:
        if value > 0 > unit:
            raise ValueError("signs differ")
        return how(digits(value / unit)) * unit if unit else 0.0

    return each_number(to_multiple)


# --- text ------------------------------

_BETWEEN_SECTIONS = re.compile(r';(?=(?:[^"]*"[^"]*")*[^"]*$)')  # a ; that is not quoted


def _text(cell: Any, pattern: Any) -> Any:
    """TEXT, with the sections of a format: positive; negative; zero."""
    if is_text(cell) and number_in(cell) is None:
        return cell
    sections = _BETWEEN_SECTIONS.split(general(pattern))
    shown = number(cell)
    if shown < 0 and len(sections) > 1:
        return _package_text(-shown, sections[1])
    return _package_text(shown, sections[2] if shown == 0 and len(sections) > 2 else sections[0])


def _package_text(shown: float, pattern: str) -> Any:
    if not re.search(r"[0#?@]|[dmyhs]|general", re.sub(r'"[^"]*"', "", pattern), re.IGNORECASE):
        return pattern.replace('"', "")  # a section of words only
    sign, pattern = (pattern[0], pattern[1:]) if pattern[:1] == "+" else ("", pattern)
    in_package = of_package("TEXT")
    assert in_package is not None
    if decimals := re.search(r"\.([0#?]+)(%?)", pattern):
        shown = _OWN["ROUND"](shown, float(len(decimals[1]) + 2 * bool(decimals[2])))
    text = in_package(shown, pattern)
    return sign + text if is_text(text) else text


def _fixed(value: Any, decimals: Any = 2.0, plain: Any = False) -> str:
    places = math.trunc(number(decimals))
    shown = single(_OWN["ROUND"](value, float(places)))
    if is_error(shown):
        raise ValueError("no number")
    mark = "" if truth(plain) else ","
    return f"{shown:{mark}.{max(0, places)}f}"


def _left(cell: Any, count: Any = 1.0) -> str:
    return general(cell)[: _count(count)]


def _right(cell: Any, count: Any = 1.0) -> str:
    text = general(cell)
    return text[max(0, len(text) - _count(count)) :]


def _mid(cell: Any, start: Any, count: Any) -> str:
    first = _count(start)
    if first < 1:
        raise ValueError("starts before the text")
    return general(cell)[first - 1 : first - 1 + _count(count)]


def _count(cell: Any) -> int:
    count = math.trunc(number(cell))
    if count < 0:
        raise ValueError("a count below 0")
    return count


def _find(sought: Any, cell: Any, start: Any = 1.0) -> float:
    return 1.0 + general(cell).index(general(sought), max(1, _count(start)) - 1)


def _search(sought: Any, cell: Any, start: Any = 1.0) -> float:
    found = wildcards(general(sought)).search(general(cell), max(1, _count(start)) - 1)
    if found is None:
        raise ValueError("not in the text")
    return found.start() + 1.0


def _substitute(cell: Any, old: Any, new: Any, which: Any = EMPTY) -> str:
    text, sought, instead = general(cell), general(old), general(new)
    if not sought:
        return text
    if which is EMPTY:
        return text.replace(sought, instead)
    wanted = _count(which)
    if wanted < 1:
        raise ValueError("counts from 1")
    parts = text.split(sought)
    if wanted >= len(parts):
        return text
    return sought.join(parts[:wanted]) + instead + sought.join(parts[wanted:])


def _replace(cell: Any, start: Any, count: Any, new: Any) -> str:
    text, first = general(cell), _count(start) - 1
    if first < 0:
        raise ValueError("starts before the text")
    return text[:first] + general(new) + text[first + _count(count) :]


def _value(cell: Any) -> Any:
    if is_text(cell) and number_in(cell) is None:
        return _day_in(cell)
    return number(cell)


def _day_in(text: str) -> float:
    """The serial number of a day written as ISO 8601 says; the one spelling of every locale."""
    return date_serial(datetime.datetime.fromisoformat(text.strip()))


def _joined(*arguments: Any) -> str:
    return "".join(map(general, without_errors(*arguments)))


def _text_join(mark: Any, skip: Any, *arguments: Any) -> str:
    texts = map(general, without_errors(*arguments))
    left_out = truth(single(skip))
    return general(single(mark)).join(text for text in texts if text or not left_out)


# --- dates ------------------------------

_DAY_0 = DAY_ZERO.date()


def _date_of(cell: Any) -> datetime.date:
    """The day of a serial number; raises `ValueError` for one that no calendar has."""
    serial = _value(cell)
    if not 0 <= serial < 2958466:
        raise ValueError(f"{serial} is no day")
    return _DAY_0 + datetime.timedelta(days=floor(serial))


def _months_between(first: datetime.date, last: datetime.date) -> int:
    return (last.year - first.year) * 12 + last.month - first.month - (last.day < first.day)


def _date_difference(first: Any, last: Any, unit: Any) -> Any:
    """DATEDIF: whole days, months or years from one day to a later one."""
    start, end = _date_of(first), _date_of(last)
    if start > end:
        return NOT_A_NUMBER
    months = _months_between(start, end)
    match general(unit).casefold():
        case "d":
            return float((end - start).days)
        case "m":
            return float(months)
        case "y":
            return float(months // 12)
        case "ym":
            return float(months % 12)
        case "md":
            return float((end - _months_later(start, months)).days)
        case "yd":
            return float((end - _months_later(start, months // 12 * 12)).days)
    return NOT_A_NUMBER


def _months_later(day: datetime.date, months: int) -> datetime.date:
    years, month = divmod(day.month - 1 + months, 12)
    following = datetime.date(day.year + years + month // 11, (month + 1) % 12 + 1, 1)
    last = (following - datetime.timedelta(days=1)).day
    return datetime.date(day.year + years, month + 1, min(day.day, last))


def _serial(day: datetime.date) -> float:
    return float((day - _DAY_0).days)


def _date(year: Any, month: Any, day: Any) -> Any:
    years, months, days = (math.floor(number(part)) for part in (year, month, day))
    years += 1900 if 0 <= years < 1900 else 0
    if not 1900 <= years <= 9999:
        return NOT_A_NUMBER
    serial = _serial(_months_later(datetime.date(years, 1, 1), months - 1)) + days - 1
    return serial if 0 <= serial < 2958466 else NOT_A_NUMBER


def _month_end(cell: Any, months: Any) -> float:
    month = _months_later(_date_of(cell).replace(day=1), math.trunc(number(months)) + 1)
    return _serial(month) - 1


def _weekday(cell: Any, kind: Any = 1.0) -> float:
    monday = _date_of(cell).weekday()  # 0 for Monday
    starts = {1: 6, 2: 0, 3: 0, **{code: code - 11 for code in range(11, 18)}}
    code = _count(kind)
    if code not in starts:
        raise ValueError(f"no such way to count: {code}")
    return float((monday - starts[code]) % 7 + (code != 3))


def _clock_part(body: Callable[[int], int]) -> Callable[..., Any]:
    """Of the seconds of the day, to the nearest."""
    return each(lambda cell: float(body(round(_value(cell) % 1 * 86400) % 86400)))


_OWN: dict[str, Callable[..., Any]] = {
    # choices and kinds of cells
    "IFERROR": _instead(is_error),
    "IFNA": _instead(lambda cell: cell is NOT_FOUND),
    "IFS": _first_that_holds,
    "SWITCH": _switch,
    "AND": whole(lambda *given: all(_truths(given))),
    "OR": whole(lambda *given: any(_truths(given))),
    "XOR": whole(lambda *given: sum(_truths(given)) % 2 == 1),
    "NOT": each(lambda cell: not truth(cell)),
    "TRUE": lambda: True,
    "FALSE": lambda: False,
    "NA": lambda: NOT_FOUND,
    "ISNUMBER": _kind(is_number),
    "ISTEXT": _kind(is_text),
    "ISNONTEXT": _kind(lambda cell: not is_text(cell)),
    "ISLOGICAL": _kind(is_truth),
    "ISBLANK": _kind(lambda cell: cell is EMPTY),
    "ISERROR": _kind(is_error),
    "ISERR": _kind(lambda cell: is_error(cell) and cell is not NOT_FOUND),
    "ISNA": _kind(lambda cell: cell is NOT_FOUND),
    "ISEVEN": each(lambda cell: math.trunc(number(cell)) % 2 == 0),
    "ISODD": each(lambda cell: math.trunc(number(cell)) % 2 == 1),
    "N": each(lambda cell: float(cell) if is_number(cell) or is_truth(cell) else 0.0),
    "T": each(lambda cell: cell if is_text(cell) else ""),
    "HYPERLINK": each(lambda link, name=None: link if name is None else name),
    # numbers in ranges
    "SUM": _aggregate(math.fsum),
    "PRODUCT": _aggregate(lambda found: math.prod(found) if found else 0.0),
    "SUMSQ": _aggregate(lambda found: math.fsum(x * x for x in found)),
    "MAX": _aggregate(lambda found: max(found, default=0.0)),
    "MIN": _aggregate(lambda found: min(found, default=0.0)),
    "AVERAGE": _aggregate(_mean, least=1),
    "MEDIAN": _aggregate(lambda found: statistics.median(found) if found else NOT_A_NUMBER),
    "MODE": _aggregate(_mode),
    "STDEV": _aggregate(statistics.stdev, least=2),
    "STDEVP": _aggregate(statistics.pstdev, least=1),
    "VAR": _aggregate(statistics.variance, least=2),
    "VARP": _aggregate(statistics.pvariance, least=1),
    "DEVSQ": _aggregate(lambda found: statistics.pvariance(found) * len(found), least=1),
    "AVEDEV": _aggregate(lambda f: _mean([abs(x - _mean(f)) for x in f]), least=1),
    "GEOMEAN": _aggregate(statistics.geometric_mean, least=1),
    "COUNT": lambda *given: float(
        sum(
            is_number(cell) or (not isinstance(one, np.ndarray) and is_text(cell)
                                and number_in(cell) is not None)
            for one in given for cell in cells(one)
        )
    ),
    "COUNTA": lambda *given: float(sum(cell is not EMPTY for cell in cells(*given))),
    "COUNTBLANK": _blanks,
    "LARGE": _of_rank(lambda found, place: _smallest(found[::-1], place)),
    "SMALL": _of_rank(_smallest),
    "PERCENTILE": _of_rank(_percentile),
    "QUARTILE": _of_rank(lambda found, quarter: _percentile(found, math.trunc(quarter) / 4)),
    "RANK": whole(_rank),
    "SUMPRODUCT": whole(_products),
    "SLOPE": _of_pairs(lambda xs, ys: statistics.linear_regression(xs, ys).slope),
    "INTERCEPT": _of_pairs(lambda xs, ys: statistics.linear_regression(xs, ys).intercept),
    "CORREL": _of_pairs(statistics.correlation),
    "RSQ": _of_pairs(lambda xs, ys: statistics.correlation(xs, ys) ** 2),
    # criteria
    "COUNTIF": conditional(lambda found: float(len(found)), values_first=False),
    "COUNTIFS": lambda *pairs: conditional(lambda found: float(len(found)), values_first=True)(
        pairs[0], *pairs
    ),
    "SUMIF": conditional(_over_numbers(math.fsum), values_first=False),
    "SUMIFS": conditional(_over_numbers(math.fsum), values_first=True),
    "AVERAGEIF": conditional(_over_numbers(_mean), values_first=False),
    "AVERAGEIFS": conditional(_over_numbers(_mean), values_first=True),
    "MAXIFS": conditional(_over_numbers(lambda n: max(n, default=0.0)), values_first=True),
    "MINIFS": conditional(_over_numbers(lambda n: min(n, default=0.0)), values_first=True),
    # cells looked for
    "LOOKUP": whole(lookup.lookup),
    "MATCH": whole(lookup.match),
    "VLOOKUP": whole(lookup.table_lookup(across=False)),
    "HLOOKUP": whole(lookup.table_lookup(across=True)),
    "INDEX": lookup.index,
    "CHOOSE": whole(lookup.choose),
    # arithmetic
    "ABS": each_number(abs),
    "SIGN": each_number(lambda x: (x > 0) - (x < 0)),
    "SQRT": each_number(math.sqrt),
    "EXP": each_number(math.exp),
    "LN": each_number(math.log),
    "LOG10": each_number(math.log10),
    "LOG": each_number(lambda x, base=10.0: math.log10(x) if base == 10 else math.log(x, base)),
    "POWER": operator_function("^"),
    "PI": lambda: math.pi,
    "INT": each_number(floor),
    "MOD": each_number(_remainder),
    "QUOTIENT": each_number(lambda x, by: math.trunc(digits(x / by))),
    "ROUND": _rounding(decimal.ROUND_HALF_UP),
    "ROUNDUP": _rounding(decimal.ROUND_UP),
    "ROUNDDOWN": _rounding(decimal.ROUND_DOWN),
    "TRUNC": _rounding(decimal.ROUND_DOWN),
    "CEILING": _multiple(math.ceil),
    "FLOOR": _multiple(math.floor),
    # text
    "TEXT": each(_text),
    "FIXED": each(_fixed),
    "VALUE": each(_value),
    "TRIM": each(lambda cell: " ".join(filter(None, general(cell).split(" ")))),
    "CLEAN": each(lambda cell: "".join(c for c in general(cell) if ord(c) >= 32)),
    "UPPER": each(lambda cell: general(cell).upper()),
    "LOWER": each(lambda cell: general(cell).lower()),
    "PROPER": each(lambda cell: re.sub(r"[^\W\d_]+", lambda word: word[0].capitalize(),
                                       general(cell))),
    "LEN": each(lambda cell: float(len(general(cell)))),
    "LEFT": each(_left),
    "RIGHT": each(_right),
    "MID": each(_mid),
    "FIND": each(_find),
    "SEARCH": each(_search),
    "SUBSTITUTE": each(_substitute),
    "REPLACE": each(_replace),
    "REPT": each(lambda cell, count: general(cell) * _count(count)),
    "EXACT": each(lambda left, right: general(left) == general(right)),
    "CHAR": each(lambda cell: bytes([_count(cell)]).decode("cp1252")),
    "CODE": each(lambda cell: float(general(cell)[0].encode("cp1252")[0])),
    "UNICHAR": each(lambda cell: chr(_count(cell))),
    "UNICODE": each(lambda cell: float(ord(general(cell)[0]))),
    "CONCATENATE": each(lambda *given: "".join(map(general, given))),
    "CONCAT": whole(_joined),
    "TEXTJOIN": whole(_text_join),
    # dates
    "DATE": each(_date),
    "YEAR": each(lambda cell: float(_date_of(cell).year)),
    "MONTH": each(lambda cell: float(_date_of(cell).month)),
    "DAY": each(lambda cell: float(_date_of(cell).day)),
    "HOUR": _clock_part(lambda seconds: seconds // 3600),
    "MINUTE": _clock_part(lambda seconds: seconds // 60 % 60),
    "SECOND": _clock_part(lambda seconds: seconds % 60),
    "TIME": each_number(lambda h, m, s: (math.trunc(h) * 3600 + math.trunc(m) * 60
                                         + math.trunc(s)) / 86400 % 1),
    "WEEKDAY": each(_weekday),
    "DATEDIF": each(_date_difference),
    "DATEVALUE": each(lambda cell: float(math.floor(_day_in(general(cell))))),
    "DAYS": each(lambda last, first: _serial(_date_of(last)) - _serial(_date_of(first))),
    "EDATE": each(lambda cell, months: _serial(_months_later(_date_of(cell),
                                                             math.trunc(number(months))))),
    "EOMONTH": each(_month_end),
}  # fmt: skip

_SAME_AS = {
    "STDEV.S": "STDEV", "STDEV.P": "STDEVP", "VAR.S": "VAR", "VAR.P": "VARP",
    "PERCENTILE.INC": "PERCENTILE", "QUARTILE.INC": "QUARTILE", "RANK.EQ": "RANK",
    "MODE.SNGL": "MODE",
}  # fmt: skip
_OWN.update({name: _OWN[other] for name, other in _SAME_AS.items()})
