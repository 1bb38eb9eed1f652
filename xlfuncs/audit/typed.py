"""A typed value as the sheets take it: what counts as a number, a date, the same name."""

from __future__ import annotations

import datetime
import math
import re
import sys
from typing import Any

from xlfuncs.cells.values import DAY_ZERO, ERROR_TEXTS, numbers_in
from xlfuncs.functions import CATALOGUE
from xlfuncs.workbook.defaults import FIRST_DATE, LAST_DATE

#: What reads a number in a text, as on the sheets.
_READS = {name: CATALOGUE[name].callable() for name in ("UNIT_CONVERT", "GRAVITY_CONVERT")}


def is_number(value: Any) -> bool:
    """Whether a sheet takes it for a number: a text or a truth value is none."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def number(value: Any, otherwise: float) -> float:
    """A number in a cell where only numbers count."""
    return float(value) if is_number(value) else otherwise


def positive(value: Any, otherwise: float) -> float:
    """A number above 0 in a cell where 0 means nothing."""
    return float(value) if is_number(value) and value > 0 else otherwise


def read_number(value: Any) -> float:
    """What a function of ours reads in a cell, numbers as text too; NaN where it is not clear."""
    if is_number(value):
        return float(value)
    found = numbers_in(value) if isinstance(value, str) else []
    return found[0] if len(found) == 1 else math.nan


def understood(value: Any) -> Any:
    """A number in a cell, typed as a text too; of an error a text; others as they are.

    >>> understood("20,5"), understood(20), understood("warm"), understood("1,050")
    (20.5, 20, 'warm', '1,050')
    """
    return _understood(value, "UNIT_CONVERT", "C")


def understood_gravity(value: Any) -> Any:
    """The same of a true value on Calibration: 1,040 is a gravity, not a thousand.

    >>> understood_gravity("1,040"), understood_gravity("10,0")
    (1.04, 10.0)
    """
    return _understood(value, "GRAVITY_CONVERT", "Brix")


def _understood(value: Any, function: str, unit: str) -> Any:
    if not isinstance(value, str):
        return value
    found = _READS[function](value, unit, unit) if value.strip() else ""
    return found if isinstance(found, float) else given(value)


def moment(value: Any) -> float | None:
    """The serial number of a typed date; None for what is no date of this century."""
    return float(value) if is_number(value) and FIRST_DATE <= value <= LAST_DATE else None


def day(serial: float) -> str:
    """A serial number as ISO text, with the time if there is one.

    >>> day(46095.0), day(46095.5)
    ('2026-03-14', '2026-03-14 12:00')
    """
    found = DAY_ZERO + datetime.timedelta(seconds=round(serial * 86400))
    if found.time() == datetime.time():
        return found.date().isoformat()
    return found.isoformat(" ", "minutes")


def name(value: Any) -> str:
    """A typed name: no blanks around it or twice within; 12 and "12" are one.

    >>> name(" Pale  ale "), name(12.0), name(None)
    ('Pale ale', '12', '')
    """
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return f"{value:.15g}"
    # The same names stand in many lines and files of a year; they are kept once.
    return "" if value is None else sys.intern(re.sub(" +", " ", str(value)).strip())


def plain(value: Any) -> str:
    """A typed name for comparing: case does not count."""
    return name(value).casefold()


def initial(value: Any) -> str:
    """First letter of a scale or unit, in capitals, without its degree sign."""
    return plain(value).replace("°", "").strip()[:1].upper()


def says(value: Any) -> str:
    """A value as it stands in a sentence of a sheet."""
    return value if isinstance(value, str) else name(value).upper()


def given(value: Any) -> Any:
    """What a sheet passes on of a typed cell: of an error a text of its own."""
    return "! this cell holds an error" if value in ERROR_TEXTS else value
