"""Every function of the catalogue in Calc: it shows what the Python callable answers."""

from tests.functions.catalogue_cases import (
    FUNCTIONS,
    all_limits,
    example,
    good_call,
    in_place_of,
)
from tests.helpers import same_cell
from tests.hosts.calc.sheets import EMPTY_CELL, LEFT_OUT, CaseBook
from xlfuncs.cells.quantities import Choice, Takes
from xlfuncs.hosts.calc import runner


def _column(argument):
    """A column with what a log has in it: numbers, an unfilled row, a slip, an earlier cause."""
    good = [example(argument, i) for i in range(3)]
    return [[good[0]], [None], ["twelve"], ["! earlier 9 is outside 1 to 2"], [good[1]], [good[2]]]


def _limit_cases(book, limits):
    quantity = limits.quantity
    # A step that is kept when Calc reads it.
    below, above = (
        sign * 1e-12 * max(1, abs(limit))
        for sign, limit in ((-1, quantity.low), (1, quantity.high))
    )
    least = quantity.low - below if quantity.above else quantity.low
    outside = quantity.low if quantity.above else quantity.low + below
    for value in (least, quantity.high, outside, quantity.high + above):
        book.add(f"limit {limits} {value!r}", limits.function, limits.call(value))


def _add_cases(book, function):
    arguments = function.arguments
    good = good_call(function, 6)
    book.add("in cells", function, good)
    book.add("in the formula", function, good, literal=True)
    for place, argument in enumerate(arguments):
        for name, cell in (
            ("blank", None), ("text", "twelve"), ("cause", "! earlier 9 is outside 1 to 2"),
            ("number as text", "12,4"), ("spaces", "  "),
        ):  # fmt: skip
            book.add(f"{name} {argument.name}", function, in_place_of(function, argument, cell))
        if argument.takes is Takes.CELLS:
            for name, cells in (
                ("column", _column(argument)),
                ("row", [[cell for [cell] in _column(argument)]]),
            ):
                book.add(
                    f"{name} of {argument.name}",
                    function,
                    [cells if i == place else cell for i, cell in enumerate(good)],
                )
        if argument.takes is not Takes.RANGE:
            alone = [EMPTY_CELL if i == place else cell for i, cell in enumerate(good)]
            book.add(f"empty cell {argument.name}", function, alone)
        if argument.optional:
            between = [LEFT_OUT if i == place else cell for i, cell in enumerate(good)]
            book.add(f"left empty {argument.name}", function, between)
            book.add(f"left out from {argument.name} on", function, good[:place])
            if not isinstance(argument.quantity, Choice) and argument.takes is not Takes.RANGE:
                other = argument.quantity.typical
                given = [other if i == place else cell for i, cell in enumerate(good)]
                book.add(f"given {argument.name}", function, given)


def test_calc_shows_what_python_answers(needs_office, tmp_path):
    """All in one run of the office, and so in one test: to load thousands of cases takes longer
    than to compare them."""
    book = CaseBook()
    for function in FUNCTIONS:
        _add_cases(book, function)
    for limits in all_limits():
        _limit_cases(book, limits)
    values = runner.compute(book.save(tmp_path / "cases.xlsx"))
    assert book.cases.keys() == {function.name for function in FUNCTIONS}
    wrong = []
    for name, cases in book.cases.items():
        for case in cases:
            for addresses, expected in zip(case.addresses, case.expected, strict=True):
                for address, value in zip(addresses, expected, strict=True):
                    shown = values.get((name, address))
                    if not same_cell(shown, value, rel=1e-12):
                        wrong.append(
                            f"{case.name}: {case.formula} {address}: {shown!r}, not {value!r}"
                        )
    assert not wrong, "\n".join(wrong)
