"""What a cell sends and what it gets back: numbers, blanks, texts, errors.

A cell that cannot be answered gets a text that starts with `! `; such a text, and a spreadsheet's
own error value (`#N/A` and the like, which hosts hand over as text), is passed on unchanged.
"""

from __future__ import annotations

import datetime
import math
import numbers
import re
from typing import Any

BLANK = ""
MARK = "! "

#: Spreadsheet error values as text; hosts translate their own error objects from and to these.
ERROR_TEXTS = frozenset(
    {
        "#NULL!",
        "#DIV/0!",
        "#VALUE!",
        "#REF!",
        "#NAME?",
        "#NUM!",
        "#N/A",
        "#GETTING_DATA",
        "#SPILL!",
        "#CONNECT!",
        "#CALC!",
        "#BLOCKED!",
        "#UNKNOWN!",
        "#FIELD!",
    }
)

#: What day 0 of a spreadsheet is.
DAY_ZERO = datetime.datetime(1899, 12, 30)


class Refused(Exception):
    """Raised by the body of a function that answers for a whole range: the `! ` text to show."""

    def __init__(self, reason: str) -> None:
        super().__init__(MARK + reason)
        self.text = MARK + reason


def is_blank(raw: Any) -> bool:
    """Whether the cell holds nothing: empty, or a text of spaces only."""
    return raw is None or (isinstance(raw, str) and not raw.strip())


def is_passed_on(raw: Any) -> bool:
    """Whether the cell holds an earlier `! ` text or a spreadsheet error.

    >>> is_passed_on("! reading 140 is outside 0 to 45"), is_passed_on("#N/A"), is_passed_on("x")
    (True, True, False)
    """
    return isinstance(raw, str) and (raw.startswith(MARK) or raw in ERROR_TEXTS)


def show(raw: Any) -> str:
    """A value as a message names it: short, and without binary noise.

    >>> show(0.1 + 0.2), show("abc"), show(True)
    ('0.3', '"abc"', 'TRUE')
    """
    if isinstance(raw, bool):
        return str(raw).upper()
    if isinstance(raw, numbers.Real):
        try:
            return f"{raw:.10g}"
        except OverflowError:
            return "beyond 1e308"
        except (TypeError, ValueError):  # a span of time, which numpy counts among the numbers
            return f'"{raw}"'
    if isinstance(raw, datetime.datetime) and raw.time() == datetime.time():
        return raw.date().isoformat()
    if isinstance(raw, (datetime.date, datetime.datetime)):
        return raw.isoformat(sep=" ") if isinstance(raw, datetime.datetime) else raw.isoformat()
    return f'"{shortened(str(raw).strip())}"'


def shortened(text: str, longest: int = 40) -> str:
    """A text for a sentence or a title: of one that is longer its beginning.

    >>> shortened("abc"), shortened("abcd", 3)
    ('abc', 'ab…')
    """
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


#: How a text begins that a spreadsheet may take for a formula.
FORMULA_SIGNS = ("=", "+", "-", "@")
#: Controls but tab and line feed, turners of the writing direction, halves of a character.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


def visible(text: str) -> str:
    r"""A text of unknown origin for a terminal or a page: what would act unseen is written out.

    JSON that is made visible means what it meant before.

    >>> visible("a\x1b[31m°")
    'a\\u001b[31m°'
    """
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def show_sg(sg: float) -> str:
    """A specific gravity as brewers write it: three decimals, more where they say something.

    >>> show_sg(1.05), show_sg(1.0485)
    ('1.050', '1.0485')
    """
    for decimals in (3, 4, 5):
        if round(sg, decimals) == round(sg, 6):
            return f"{sg:.{decimals}f}"
    return f"{sg:.6f}"


def date_serial(moment: datetime.date) -> float:
    """Spreadsheet serial number of a date or date-time (day 1 is 1899-12-31).

    >>> date_serial(datetime.date(2026, 3, 14))
    46095.0
    """
    if not isinstance(moment, datetime.datetime):
        moment = datetime.datetime(moment.year, moment.month, moment.day)
    elapsed = moment.replace(tzinfo=None) - DAY_ZERO
    return elapsed.days + elapsed.seconds / 86400 + elapsed.microseconds / 86400e6


_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.IGNORECASE | re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(([.,])\d{3})(\2\d{3})*", re.ASCII)
_BOTH = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d+|[+-]?\d{1,3}(\.\d{3})+,\d+", re.ASCII)


def numbers_in(text: str) -> list[float]:
    """Every number that a text may stand for: none, one, or two when it is ambiguous.

    A comma or point before exactly three digits may set off thousands or decimals.

    >>> numbers_in("12,4"), numbers_in("1,050"), numbers_in("1.234,5"), numbers_in("twelve")
    ([12.4], [1.05, 1050.0], [1234.5], [])
    """
    text = text.strip().replace("\N{MINUS SIGN}", "-").replace("\N{NO-BREAK SPACE}", "")
    found: list[float] = []
    if _PLAIN.fullmatch(text):
        found.append(float(text.replace(",", ".")))
    if _GROUPED.fullmatch(text) and not text.lstrip("+-").startswith("0"):
        found.append(float(text.replace(",", "").replace(".", "")))
    if _BOTH.fullmatch(text):
        decimal = max(text.rfind(","), text.rfind("."))
        whole = text[:decimal].replace(",", "").replace(".", "")
        found.append(float(f"{whole}.{text[decimal + 1 :]}"))
    return [number for number in found if math.isfinite(number)]
