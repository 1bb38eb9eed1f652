"""What a cell holds while a workbook is computed, and how it is taken as number, text or truth.

A cell holds a float, a text, a truth value, an error (`CellError`) or nothing (`EMPTY`); a block of
cells is a two-dimensional array of objects.  Functions of this package take and give those.
"""

from __future__ import annotations

import functools
import math
import re
import weakref
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import numpy as np
from openpyxl.utils import get_column_letter


class _Nothing:
    """What an empty cell holds."""

    def __repr__(self) -> str:
        return "EMPTY"


EMPTY = _Nothing()


class CellError(str):
    """An error that a cell holds, as the text that shows it."""


#: Errors by the text that shows them: there is one of each.
ERRORS: dict[str, CellError] = {
    text: CellError(text)
    for text in ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A",
                 "#GETTING_DATA")
}  # fmt: skip

NOT_A_VALUE, NOT_A_NUMBER, DIVIDED_BY_ZERO, NOT_FOUND, NO_SUCH_CELL = (
    ERRORS[name] for name in ("#VALUE!", "#NUM!", "#DIV/0!", "#N/A", "#REF!")
)

#: Numbers that differ by less than this share of themselves count as equal: a spreadsheet shows
#: 15 digits, and 0.1+0.2=0.3 is true in it.
SAME = 2.0**-48


@functools.lru_cache(1024)  # a workbook has few areas, which are asked for again and again
def _positions(top: int, left: int, bottom: int, right: int) -> tuple[tuple[int, int], ...]:
    columns = range(left, right + 1)
    return tuple([(row, column) for row in range(top, bottom + 1) for column in columns])


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

    def positions(self) -> tuple[tuple[int, int], ...]:
        """Row and column of each cell, in reading order."""
        return _positions(*self[1:])


class Referenced(NamedTuple):
    """Cells together with where they stand."""

    area: Area
    cells: Any


class SizesDiffer(Exception):
    """Blocks that do not fit together, cell by cell."""


class ErrorInCells(Exception):
    """Cells of which one holds an error, which is then the answer."""

    def __init__(self, error: Any) -> None:
        self.error = error


def is_number(cell: Any) -> bool:
    """A number; a truth value is none."""
    return isinstance(cell, (float, int, np.number)) and not isinstance(cell, bool)


def is_truth(cell: Any) -> bool:
    """TRUE or FALSE."""
    return isinstance(cell, (bool, np.bool_))


def is_text(cell: Any) -> bool:
    """A text, be it empty; neither an error nor an empty cell is one."""
    return isinstance(cell, str) and not isinstance(cell, CellError)


def is_error(cell: Any) -> bool:
    """An error such as #N/A."""
    return isinstance(cell, CellError)


_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?\s*(%?)\s*", re.IGNORECASE)


def number_in(text: str) -> float | None:
    """The number that a text spells; None if it spells none."""
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    number = float(text.replace("%", "")) / (100 if found[3] else 1)
    return number if math.isfinite(number) else None


def number(cell: Any) -> float:
    """A cell as operators take it; raises `ValueError` for a text that is no number."""
    if type(cell) is float:
        return cell
    if cell is EMPTY:
        return 0.0
    if is_text(cell):
        spelt = number_in(cell)
        if spelt is None:
            raise ValueError(f"{cell!r} is no number")
        return spelt
    return float(cell)


def truth(cell: Any) -> bool:
    """A cell as a condition; raises `ValueError` for a text that says neither."""
    if is_text(cell):
        said = {"TRUE": True, "FALSE": False}.get(cell.upper())
        if said is None:
            raise ValueError(f"{cell!r} is no condition")
        return said
    return cell is not EMPTY and bool(cell)


def general(cell: Any) -> str:
    """A value as text, the way `&` shows it: numbers with up to 15 digits."""
    if cell is EMPTY:
        return ""
    if is_truth(cell):
        return str(bool(cell)).upper()
    if not is_number(cell):
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


# --- blocks ------------------------------


def block(raw: Any) -> Any:
    """A result as a block of cells; what is single becomes a block of one."""
    if not isinstance(raw, np.ndarray) or raw.dtype != object:
        raw = np.asarray(raw, dtype=object)
    return raw if raw.ndim == 2 else raw.reshape(1, -1)


def cells(*arguments: Any) -> Iterator[Any]:
    """Every cell of the arguments, in reading order."""
    for argument in arguments:
        if isinstance(argument, np.ndarray):
            yield from argument.ravel().tolist()
        else:
            yield argument


def without_errors(*arguments: Any) -> list[Any]:
    """The same as a list; raises `ErrorInCells` for the first error."""
    found = list(cells(*arguments))
    for cell in found:
        if isinstance(cell, CellError):
            raise ErrorInCells(cell)
    return found


class Remembered:
    """Something made of a block, made once while the block lives: a thousand formulas look up the
    same column."""

    def __init__(self, make: Callable[[Any], Any]) -> None:
        self._make = make
        # With what is made of a block the reference that is told when the block is no more.
        self._known: dict[int, tuple[Any, weakref.ref[Any]]] = {}

    def __call__(self, cells: Any) -> Any:
        """What is made of it."""
        found = self._known.get(id(cells))
        return self.keep(cells, self._make(cells)) if found is None else found[0]

    def keep(self, cells: Any, made: Any) -> Any:
        """Remember what is known of a block without looking at it."""
        key, known = id(cells), self._known
        known[key] = made, weakref.ref(cells, lambda _: known.pop(key, None))
        return made


def single(raw: Any) -> Any:
    """The value of a result that is one cell; None if it is more than one."""
    if isinstance(raw, np.ndarray):
        return raw.item() if raw.size == 1 else None
    return raw


def broadcast(*arguments: Any) -> list[Any]:
    """Blocks of one size: a row is repeated downwards, a column sideways."""
    try:
        return list(np.broadcast_arrays(*(np.asarray(one, dtype=object) for one in arguments)))
    except ValueError:
        raise SizesDiffer from None


def settled(raw: Any) -> Any:
    """A result as its cell holds it: an empty reference is 0, what is no number is an error."""
    if type(raw) is float:
        return raw if math.isfinite(raw) else NOT_A_NUMBER
    if type(raw) is str:
        return raw
    if isinstance(raw, np.ndarray):
        raw = raw.ravel()[0]
    if isinstance(raw, np.generic):
        raw = raw.item()
    if raw is EMPTY or raw is None:
        return 0.0
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        return float(raw) if math.isfinite(raw) else NOT_A_NUMBER
    if isinstance(raw, (str, bool)):
        return raw
    raise TypeError(f"a result of type {type(raw).__name__}")


# --- functions of single cells ------------------------------


def each(body: Callable[..., Any], catches_errors: bool = False) -> Callable[..., Any]:
    """A function of single cells, over arrays of any size that fit together.

    The first error among the cells is the answer, unless `body` deals with errors itself.
    """

    def one(*given: Any) -> Any:
        if not catches_errors:
            for cell in given:
                if isinstance(cell, CellError):
                    return cell
        try:
            answer = body(*given)
        except ZeroDivisionError:
            return DIVIDED_BY_ZERO
        except OverflowError:
            return NOT_A_NUMBER
        except (ValueError, TypeError):
            return NOT_A_VALUE
        if type(answer) is float and not math.isfinite(answer):
            return NOT_A_NUMBER
        return answer

    @functools.cache
    def of_arrays(count: int) -> Any:
        return np.frompyfunc(one, count, 1)

    def function(*arguments: Any) -> Any:
        for argument in arguments:
            if isinstance(argument, np.ndarray):
                arrays = [np.asarray(cells, dtype=object) for cells in arguments]
                try:
                    with np.errstate(all="ignore"):  # `one` says it in the cell
                        return of_arrays(len(arrays))(*arrays)
                except ValueError:  # `one` lets none pass
                    raise SizesDiffer from None
        return one(*arguments)

    return function


def each_number(body: Callable[..., float]) -> Callable[..., Any]:
    """The same for a function of numbers; one that has no answer for them gives #NUM!."""

    def one(*given: Any) -> Any:
        numbers = list(map(number, given))
        try:
            return float(body(*numbers))
        except (ValueError, TypeError):
            return NOT_A_NUMBER

    return each(one)


def whole(body: Callable[..., Any]) -> Callable[..., Any]:
    """A function of whole ranges; an error in them is the answer."""

    def function(*arguments: Any) -> Any:
        try:
            return body(*arguments)
        except ErrorInCells as found:
            return found.error
        except ZeroDivisionError:
            return DIVIDED_BY_ZERO
        except OverflowError:
            return NOT_A_NUMBER
        except (ValueError, TypeError):
            return NOT_A_VALUE

    return function
