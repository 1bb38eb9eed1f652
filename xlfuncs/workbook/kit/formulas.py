"""How formulas read: a handful of idioms, and the two ways in which a column is written.

See `kit.blocks` for what bare names, `all.` and `above.` mean.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial

from xlfuncs.science import gravity
from xlfuncs.science.arrays import Array
from xlfuncs.workbook.defaults import FIRST_DATE, LAST_DATE, Reach, plain_number

_TOKEN = re.compile(r'"[^"]*"|(?:all\.|above\.)?\b[A-Za-z_]\w*(?![\w(])')

#: No formula is longer: what is longer is two thoughts, and gets a step of its own.
LONGEST = 300

#: Behind the last line of any table.
NONE = 9999


def rewritten(formula: str, cell: Callable[[str, str], str]) -> str:
    """A formula with each of its names replaced.

    `cell` gets the prefix (`""`, `"all."` or `"above."`) and the name.
    """

    def replace(match: re.Match[str]) -> str:
        token = match.group()
        if token.startswith('"'):
            return token
        prefix, dot, name = token.rpartition(".")
        return cell(prefix + dot, name)

    return _TOKEN.sub(replace, formula)


def cases(*pairs: tuple[str, str], otherwise: str = '""') -> str:
    """The value of the first condition that holds."""
    formula = otherwise
    for condition, value in reversed(pairs):
        formula = f"IF({condition},{value},{formula})"
    return formula


def if_numbers(cells: Sequence[str], then: str, otherwise: str = '""') -> str:
    """A value where all of these are numbers."""
    return f"IF({'*'.join(f'ISNUMBER({cell})' for cell in cells)},{then},{otherwise})"


def number_or_text(cell: str, then: str) -> str:
    """A value where this is a number; blanks and refusals pass on as they are."""
    return f"IF(ISNUMBER({cell}),{then},{cell})"


def blank_or(cell: str, formula: str) -> str:
    """Blank where a cell is blank."""
    return f'IF({cell}="","",{formula})'


def or_blank(formula: str) -> str:
    """Blank where an error was typed: it must not reach what a whole column is needed for."""
    return f'IFERROR({formula},"")'


def word(cell: str) -> str:
    """A word that was typed, in small letters; an error is none."""
    return or_blank(f"LOWER(TRIM({cell}))")


def default(cell: str, otherwise: str) -> str:
    """What was typed, or what a blank stands for."""
    return f'IF({cell}="",{otherwise},{cell})'


def typed(cell: str) -> str:
    """What was typed, blanks as empty text (a blank cell would count as 0).

    An error becomes a text of our own: Calc calls no function on a range that holds an error, so
    one such cell would take the answers of all its neighbours.
    """
    return f'IF(ISERROR({cell}),"! this cell holds an error",{blank_or(cell, cell)})'


def text_only(cell: str) -> str:
    """A text that was typed, which may say a number: for a function that reads it."""
    return f'IF(ISTEXT({cell}),{cell},"")'


def told_numbers(texts: str, some: str) -> str:
    """The numbers that texts say, with a decimal comma or point: one call for all their columns.

    Nothing is called where `some`, the number of lines with a text, is 0.
    """
    return f'IF({some}=0,"",UNIT_CONVERT({texts},"C","C"))'


def any_text(*texts: str) -> str:
    """1 where one of these columns of texts holds one."""
    return f"({'+'.join(f'LEN({text})' for text in texts)}>0)*1"


def number_told(cell: str, told: str) -> str:
    """A number that was typed, as a text too; `told` is what its text says.  Others pass on."""
    return f"IF(ISNUMBER({told}),{told},{typed(cell)})"


def place(table: str, column: str) -> str:
    """Number of a line within its table, from 1."""
    return f"(ROW({column})-ROW({table}_top))"


def on_line(number: str, numbers: str, column: str, otherwise: str = '""') -> str:
    """What a column holds on the line of that number; 0 is no line."""
    return f"IF({number}=0,{otherwise},LOOKUP({number},all.{numbers},all.{column}))"


def initial(cell: str) -> str:
    """First letter of a scale or unit, in capitals, without its degree sign; an error has none."""
    return or_blank(f'LEFT(TRIM(SUBSTITUTE(UPPER({cell}),"°","")),1)')


def is_date(cell: str) -> str:
    """1 where a cell holds a date from 2000 on."""
    return f"IFERROR(ISNUMBER({cell})*({cell}>={FIRST_DATE})*({cell}<={LAST_DATE}),0)"


def positive(cell: str) -> str:
    """1 where a cell holds a number above 0; N() would take only the first cell of a column."""
    return f"IFERROR(ISNUMBER({cell})*({cell}>0),0)"


def limits_of(reach: Reach) -> tuple[str, str]:
    """From where to where a number counts, in the unit that is chosen on Setup."""
    low, high = plain_number(reach.low), plain_number(reach.high)
    if reach.other:
        low += f"+{plain_number(reach.other.low - reach.low)}*{reach.other.switch}"
        high += f"+{plain_number(reach.other.high - reach.high)}*{reach.other.switch}"
    return low, high


def within(cell: str, reach: Reach) -> str:
    """1 where a cell holds a number that counts."""
    low, high = limits_of(reach)
    return f"IFERROR(ISNUMBER({cell})*({cell}>={low})*({cell}<={high}),0)"


def not_counted(cell: str, reach: Reach) -> str:
    """Why what was typed does not count; blank where it counts, or nothing was typed."""
    said = f'"! {reach.what} "&{cell}&" {reach.outside}: {reach.instead}"'
    low, high = limits_of(reach)
    counts = f"ISNUMBER({cell})*({cell}>={low})*({cell}<={high})"
    return f'IFERROR(IF((TRIM({cell})="")+{counts}>0,"",{said}),"! this cell holds an error")'


def remarks_joined(remarks: str) -> str:
    """Several remarks, each of which begins with the mark, as one sentence."""
    return f'SUBSTITUTE(MID({remarks},3,900),"! ","; ")'


def matched(what: str, column: str) -> str:
    """Number of the line on which a text stands, 0 for none; case and outer blanks do not count."""
    return f'IFERROR(IF(TRIM({what})="",0,MATCH(TRIM({what}),all.{column},0)),0)'


def shown(number: str, digits: int) -> str:
    """A number from 0 on in a sentence, with so many decimals and the decimal sign of the place.

    A hair more keeps the noughts at its end, and is cut off with what follows them: patterns of
    digits, as TEXT takes them, are wrong wherever the decimal sign is a comma.  In a column, write
    a sentence line by line: Calc 7.4 shifts texts that are put together of two columns in an array
    formula, from line to line, where a condition leaves some lines out.
    """
    rounded = f"ROUND({number},{digits})"
    if not digits:
        return rounded
    hair = f"0.0{'0' * digits}1"
    return f"LEFT({rounded}+{hair},LEN(INT({rounded}))+{digits + 1})"


def dated(day: str) -> str:
    """A date in a sentence, as year-month-day under every locale."""
    two = '"-"&RIGHT("0"&{}({}),2)'
    return f"YEAR({day})&{two.format('MONTH', day)}&{two.format('DAY', day)}"


def plotted(what: str, condition: str = "") -> str:
    """A number for a picture, or what a picture leaves out."""
    test = f"ISNUMBER({what})" + (f"*({condition})" if condition else "")
    return f"IF({test},{what},NA())"


# --- units: everything is reckoned in litres, kilograms, °C and SG ------------------------------


def _converted(
    cell: str, what: str, formula: Callable[[str], str], blank: str = '""', told: str = ""
) -> str:
    """What was typed, converted; `told` is the number that its text says, where that is known."""
    converted = cases(
        (f'TRIM({cell})=""', blank),
        *((f"ISNUMBER({number})", formula(number)) for number in (cell, told) if number),
        otherwise=f'"! {what} "&{cell}&" is not a number"',
    )
    return f'IFERROR({converted},"! this cell holds an error")'


def celsius(cell: str, blank: str = '""', told: str = "") -> str:
    """A temperature that was typed, in °C, or what a blank stands for."""
    return _converted(cell, "temperature", "celsius_0+celsius_step*{}".format, blank, told)


def litres(cell: str, what: str = "volume") -> str:
    """A volume that was typed, in litres."""

    def of(number: str) -> str:
        return number_or_text("unit_litres", f"{number}*unit_litres")

    return _converted(cell, what, of)


def in_litres(cell: str) -> str:
    """A volume in the unit of Setup in litres; blanks and refusals pass on.

    Where that unit is none, it is the refusal.
    """
    return number_or_text(cell, number_or_text("unit_litres", f"{cell}*unit_litres"))


def kilograms(cell: str, what: str = "mass") -> str:
    """A mass that was typed, in kilograms."""
    return _converted(cell, what, "{}*unit_kilograms".format)


def in_units(cell: str, unit: str) -> str:
    """A computed amount in the user's unit; what is no number stays as it is."""
    return number_or_text(cell, f"{cell}/{unit}")


def as_sg(cell: str) -> str:
    """A gravity typed in the unit chosen on Setup, as SG."""
    given = typed(cell)
    return f'IF(unit_gravity="SG",{given},GRAVITY_CONVERT({given},"Plato","SG"))'


def on_scale(cell: str) -> str:
    """SG in the unit of gravities chosen on Setup."""
    return f'IF(unit_gravity="SG",{cell},GRAVITY_CONVERT({cell},"SG","Plato"))'


# --- gravities without a call --------------------------------------------------------------------
#
# A call of our functions costs a spreadsheet a thousand times more than arithmetic: single cells
# turn gravities by polynomials that are made of science/ itself, °Plato to SG within 2e-7 and SG to
# °Plato within 2e-5.


def _polynomial(
    source: str, target: str, low: float, high: float, degree: int, zero: float = 0.0
) -> list[float]:
    """Coefficients of one scale in powers of another less `zero`, the constant first."""

    def convert(values: Array) -> Array:
        return np.asarray(gravity.convert(values + zero, source, target))

    limits = [low - zero, high - zero]
    fitted = Chebyshev.interpolate(convert, degree, limits).convert(kind=Polynomial)
    return [float(f"{coefficient:.8g}") for coefficient in fitted.coef]


_SG_OF_PLATO = _polynomial("Plato", "SG", -5, 45, degree=5)
_PLATO_OF_SG = _polynomial("SG", "Plato", 0.98, 1.206, degree=6, zero=1)


def _of(coefficients: Sequence[float], x: str) -> str:
    """A polynomial as nested products."""
    *others, formula = (f"{coefficient:.8g}" for coefficient in coefficients)
    for coefficient in reversed(others):
        formula = f"{coefficient}+{x}*({formula})"
    return formula


def sg_of_plato(cell: str) -> str:
    """SG of a number of °Plato or °Brix."""
    return _of(_SG_OF_PLATO, cell)


def plato_of_sg(cell: str) -> str:
    """°Plato or °Brix of a number of SG."""
    return _of(_PLATO_OF_SG, f"({cell}-1)")


def sg_of(cell: str) -> str:
    """A gravity typed in the unit of Setup, as SG; blanks and texts pass on."""
    near = sg_of_plato(cell)
    return f'IF(ISNUMBER({cell})*(unit_gravity<>"SG"),{near},IF({cell}="","",{cell}))'


def shown_on_scale(cell: str) -> str:
    """SG in the unit of Setup, for a few cells; blanks and texts pass on."""
    near = plato_of_sg(cell)
    return f'IF(ISNUMBER({cell})*(unit_gravity<>"SG"),{near},{cell})'
