"""Numbers and dates as they are written: which decimal sign, which order of day and month.

What a whole file says decides: one value alone is often ambiguous.
"""

from __future__ import annotations

import contextlib
import datetime
import operator
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from xlfuncs.cells.values import date_serial
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records.reading import Cell
from xlfuncs.workbook.defaults import FIRST_DATE, LAST_DATE


class Rejected(str):
    """Why a value cannot be taken, in words."""

    __slots__ = ()


# --- numbers ------------------------------

DECIMALS = {",": "decimal comma", ".": "decimal point"}
# Spaces and strokes that set off thousands.
_GROUPS = " '’\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}"
_CORE = re.compile(r"[+-]?\d*([.,]\d+)+")
# Three digits behind a sign may be thousands, but not of what is below one thousand.
_SURE = {
    sign: re.compile(
        rf"[+-]?(?:\d*[{sign}](?:\d{{1,2}}|\d{{4,}})|0[{sign}]\d+|\d{{1,3}}(?:[{other}]\d{{3}})+"
        rf"[{sign}]\d+)"
    )
    for sign, other in (",.", ".,")
}
_LIKELY_COMMA = re.compile(r"[+-]?\d{1,3},\d{3}")
_NUMBERS = {
    sign: re.compile(
        rf"([+-]?(?:\d{{1,3}}(?:[{re.escape(group)}{_GROUPS}]\d{{3}})+|\d+)?"
        rf"(?:[{sign}]\d*)?(?:(?<=[\d{sign}])e[+-]?\d{{1,2}})?)\s*([^\d\s.,+-].*)?",
        re.IGNORECASE | re.ASCII,
    )
    for sign, group in (",.", ".,")
}
#: Decimal signs by what they look like in another script or font.
_SIGNS = str.maketrans({"\N{MINUS SIGN}": "-", "٫": ","})


def decimal_sign(
    columns: Iterable[tuple[Sequence[Cell], Sequence[int]]], separator: str, wanted: str = ""
) -> str:
    """The decimal sign of columns of numbers, each with the numbers of its lines.

    Raises `WorkbookProblem` if both signs are used and none is `wanted`.
    """
    sure: dict[str, tuple[int, str]] = {}
    likely = False
    for cells, lines in columns:
        for text in dict.fromkeys(cells):
            core = _CORE.match(text.strip()) if isinstance(text, str) else None
            if core is None:
                continue
            for sign, pattern in _SURE.items():
                if sign not in sure and pattern.fullmatch(core[0]):
                    sure[sign] = lines[cells.index(text)], str(text)
            likely = likely or bool(_LIKELY_COMMA.fullmatch(core[0]))
    if wanted:
        return wanted
    if len(sure) == 2:
        (comma_line, comma), (point_line, point) = sure[","], sure["."]
        raise WorkbookProblem(
            f"numbers are written in two ways: “{comma}” on line {comma_line}, “{point}” on line "
            f"{point_line}; say which sign parts off decimals with --decimal comma or --decimal "
            "point: lines written in the other way are then rejected"
        )
    if sure:
        return next(iter(sure))
    return "," if likely and separator != "," else "."


def number(cell: Cell, sign: str) -> tuple[float, str] | None:
    """A number and what stands behind it, or None.

    >>> number("12,4 °Bx", ","), number("1.234,5", ","), number("1,234.5 L", ".")
    ((12.4, '°Bx'), (1234.5, ''), (1234.5, 'L'))
    """
    if isinstance(cell, float):
        return cell, ""
    if not isinstance(cell, str):
        return None
    found = _NUMBERS[sign].fullmatch(cell.strip().translate(_SIGNS))
    if found is None or not any(digit.isdigit() for digit in found[1]):
        return None
    plain = re.sub(rf"[{_GROUPS}{',' if sign == '.' else '.'}]", "", found[1])
    return float(plain.replace(",", ".")), (found[2] or "").strip()


# --- dates ------------------------------

YMD, DMY, MDY = "year, month, day", "day, month, year", "month, day, year"
#: What --dates may say.
ORDERS = {"ymd": YMD, "dmy": DMY, "mdy": MDY}
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})\.?")
_COMPACT = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)")
_IN_ORDER = re.compile(r"(?<![\d./-])(\d{1,2})([-/.])(\d{1,2})\2(?:\d{4}|\d\d)(?!\d)")
_THREE = re.compile(r"(\d{1,2})\s?([-/.])\s?(\d{1,2})\s?\2\s?(\d{4}|\d\d)\.?")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[\s-]*([^\W\d]{3,})\.?,?[\s-]*(\d{4}|\d\d)")
_MONTH_DAY = re.compile(r"([^\W\d]{3,})\.?[\s-]*(\d{1,2})(?:st|nd|rd|th)?,?[\s-]+(\d{4}|\d\d)")
_WEEKDAY = re.compile(r"[^\W\d]{2,10}\.?,?\s+(?=\d|[^\W\d]{3,}\.?\s+\d)")
_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan", "feb", "mar mär mrz", "apr", "may mai", "jun", "jul", "aug", "sep", "oct okt",
         "nov", "dec dez"), 1)
    for name in names.split()
}  # fmt: skip
_CLOCK = re.compile(
    r"(\d{1,2})(?:[:.h](\d\d)(?:[:.](\d\d)(?:[.,]\d+)?)?)?\s*([ap])?\.?(?:m\.?)?\s*(?:uhr|h)?\s*"
    r"(z|utc|gmt|[+-]\d\d:?(?:\d\d)?)?",
    re.IGNORECASE,
)
_BEHIND_DATE = re.compile(r"(.*\d)(?:T|,?\s+(?:at\s+|um\s+)?)(\d{1,2}(?:[:.h]\d\d|\s*[ap]m).*)",
                          re.IGNORECASE)  # fmt: skip
# Seconds since 1970, as machines write them: from 2001 on, thousandths too.
_SECONDS, _THOUSANDTHS = (1e9, 5e9), (1e12, 5e12)
_DAY_1970 = date_serial(datetime.date(1970, 1, 1))


# Of a moment whose day has ten signs, the parts; a million of them are parted in a moment.
_PARTS: list[Callable[[Any], str]] = [
    operator.itemgetter(slice(start, end)) for start, end in ((0, 10), (10, 11), (11, None))
]
_HEAD, _GAP, _TAIL = _PARTS


@dataclass
class Dates:
    """Dates of one file, in the order that it has; each text of a day is understood once."""

    order: str = DMY
    zone: str = ""  # what a time says of its zone, if one does

    def __post_init__(self) -> None:
        self._days: dict[str, float | None] = {}
        self._clocks: dict[str, float | None] = {}

    def serial(self, cell: Cell) -> float | Rejected:
        """The serial number of a moment."""
        if isinstance(cell, str):
            text = cell.strip()
            head, gap, tail = text.partition(" ")
            if not gap and text[10:11] == "T":
                head, tail = text[:10], text[11:]
            day = self._day(head)
            clock = self.clock(tail) if tail else 0.0
            if day is None or clock is None:
                return self._slowly(text)
            return day + clock
        if isinstance(cell, datetime.datetime):
            return _of_range(date_serial(cell), cell.isoformat(" "))
        if isinstance(cell, float):
            return _of_number(cell)
        return Rejected(f"“{cell}” is a time without a date")

    def serials(self, cells: Sequence[Cell]) -> list[float] | None:
        """The serial numbers of many moments written alike; None if one is written otherwise."""
        try:
            if not set(map(_GAP, cells)) <= {"", " ", "T"}:
                return None
        except TypeError:  # not all are texts
            return None
        heads, tails = list(map(_HEAD, cells)), list(map(_TAIL, cells))
        days = {head: self._day(head) for head in set(heads)}
        clocks = {tail: self.clock(tail) if tail else 0.0 for tail in set(tails)}
        if None in days.values() or None in clocks.values():
            return None
        return [days[head] + clocks[tail] for head, tail in zip(heads, tails, strict=True)]  # type: ignore[operator]

    def _day(self, text: str) -> float | None:
        if text not in self._days:
            self._days[text] = self._understood(text)
        return self._days[text]

    def clock(self, cell: Cell) -> float | None:
        """A time of day as a share of the day."""
        if isinstance(cell, datetime.time):
            return (cell.hour * 60 + cell.minute) / 1440 + cell.second / 86400
        if isinstance(cell, float):
            return cell if 0 <= cell < 1 else None
        if isinstance(cell, datetime.datetime):
            return None
        if cell not in self._clocks:
            self._clocks[cell] = self._clock(cell.strip())
        return self._clocks[cell]

    def _clock(self, text: str) -> float | None:
        found = _CLOCK.fullmatch(text)
        if found is None or not (found[2] or found[4]):
            return None
        hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
        if found[4]:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + 12 * (found[4].lower() == "p")
        if hour > 23 or minute > 59 or second > 59:
            return None
        self.zone = self.zone or (found[5] or "")
        return (hour * 3600 + minute * 60 + second) / 86400

    def _slowly(self, text: str) -> float | Rejected:
        """A moment whose date has spaces in it, or that is none."""
        parted = _BEHIND_DATE.fullmatch(text)
        head, tail = (parted[1], parted[2]) if parted else (text, "")
        day, clock = self._day(head), self.clock(tail) if tail else 0.0
        if day is not None and clock is not None:
            return day + clock
        try:
            return _of_number(float(text.replace(",", ".")))
        except ValueError:
            why = "no time" if day is not None else f"no date ({self.order}) from 2000 to 2099"
            return Rejected(f"“{text}” is {why}")

    def _understood(self, text: str) -> float | None:
        found = self._written(text)
        return self._written(_WEEKDAY.sub("", text, count=1)) if found is None else found

    def _written(self, text: str) -> float | None:
        for pattern, order in ((_YEAR_FIRST, "y-md"), (_COMPACT, "ymd"), (_THREE, ""),
                               (_DAY_MONTH, "dmy"), (_MONTH_DAY, "mdy")):  # fmt: skip
            found = pattern.fullmatch(text)
            if found:
                parts = list(found.groups())
                if pattern is _THREE:
                    order = "mdy" if self.order == MDY and parts[1] != "." else "dmy"
                    del parts[1]
                elif order == "y-md":
                    del parts[1]
                    order = "ymd"
                return _day_of(dict(zip(order, parts, strict=True)))
        return None


def _day_of(parts: dict[str, str]) -> float | None:
    month = parts["m"] if parts["m"].isdigit() else _MONTHS.get(parts["m"][:3].casefold(), 0)
    year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
    try:
        serial = date_serial(datetime.date(year, int(month), int(parts["d"])))
    except ValueError:
        return None
    return serial if FIRST_DATE <= serial <= LAST_DATE else None


def _of_number(value: float) -> float | Rejected:
    """A day of a spreadsheet, or seconds since 1970."""
    for (low, high), per_day in ((_SECONDS, 86400), (_THOUSANDTHS, 86_400_000)):
        if low <= value < high:
            return _of_range(_DAY_1970 + value / per_day, f"{value:.0f}")
    return _of_range(value, f"{value:g}")


def _of_range(serial: float, said: str) -> float | Rejected:
    if FIRST_DATE <= serial <= LAST_DATE:
        return serial
    return Rejected(f"“{said}” is no date from 2000 to 2099")


def date_order(cells: Sequence[Cell], lines: Sequence[int], wanted: str = "") -> str:
    """The order of day and month in a column of dates; blank where none needs one.

    Raises `WorkbookProblem` if they have two orders, or may have one as well as the other, unless
    it is `wanted`.
    """
    shown: dict[str, str] = {}
    unclear = year_first = ""
    for day in _days(cells):
        found = _IN_ORDER.search(day)
        if found is None:
            year_first = year_first or (YMD if _YEAR_FIRST.match(day) else "")
            continue
        first, second = int(found[1]), int(found[3])
        if found[2] == "." or first > 12:
            order = DMY
        elif second > 12:
            order = MDY
        else:
            unclear = unclear or day
            continue
        shown.setdefault(order, day)
    if wanted:
        return wanted
    if len(shown) == 2:
        one, other = (_line_of(shown[order], cells, lines) for order in (DMY, MDY))
        raise WorkbookProblem(
            f"dates stand in two orders: “{shown[DMY]}” on line {one}, “{shown[MDY]}” on line "
            f"{other}; say which is meant with --dates dmy or --dates mdy: lines in the other "
            "order are then rejected"
        )
    if shown:
        return next(iter(shown))
    if unclear:
        raise WorkbookProblem(
            f"“{unclear}” on line {_line_of(unclear, cells, lines)} may be day and month or month "
            "and day, and so may all dates of the file: say which with --dates dmy or --dates mdy"
        )
    return year_first


def _days(cells: Sequence[Cell]) -> list[str]:
    """Each different day that is written, without its time."""
    with contextlib.suppress(TypeError):  # not all are texts
        heads = dict.fromkeys(map(_HEAD, cells))
        if all(_YEAR_FIRST.fullmatch(head) for head in heads):
            return list(heads)
    # Most are told apart by what stands before a space; a weekday or month tells nothing alone.
    heads = dict.fromkeys(cell.partition(" ")[0] for cell in cells if isinstance(cell, str))
    days = [head for head in heads if head[:1].isdigit()]
    if len(days) < len(heads):
        days += dict.fromkeys(
            cell for cell in cells if isinstance(cell, str) and not cell[:1].isdigit()
        )
    return days


def _line_of(day: str, cells: Sequence[Cell], lines: Sequence[int]) -> int:
    """The first line that a day stands on."""
    places = (place for place, cell in enumerate(cells)
              if isinstance(cell, str) and day in (cell, cell.partition(" ")[0]))  # fmt: skip
    return lines[next(places)]
