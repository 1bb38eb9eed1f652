"""What holds for every function of the catalogue, those that are added later included."""

import doctest
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.functions.catalogue_cases import (
    FUNCTIONS,
    all_limits,
    example,
    flat,
    good_call,
    in_place_of,
    is_cell,
    junk_ranges,
    some,
)
from tests.helpers import same_cell
from xlfuncs import udfs
from xlfuncs.cells.quantities import Choice, Number, Takes

ARGUMENTS = [(function, argument) for function in FUNCTIONS for argument in function.arguments]
CELLWISE = [f for f in FUNCTIONS if f.arguments and not f.answers_whole]
WITH_RANGES = [
    f for f in CELLWISE if any(argument.takes is Takes.CELLS for argument in f.arguments)
]
WHOLE = [f for f in FUNCTIONS if f.answers_whole]

# Words that VBA keeps for itself: a function or an argument of that name does not compile.
VBA_RESERVED = frozenset(
    """
    addressof alias and any append array as attribute base begin binary boolean byref byte byval
    call case cbool cbyte ccur cdate cdbl cdec cint clng clnglng clngptr close compare const csng
    cstr currency cvar cverr date debug decimal declare defbool defbyte defcur defdate defdbl defdec
    defint deflng defobj defsng defstr defvar dim do doevents double each else elseif empty end
    endif enum eqv erase error event exit explicit false fix for friend function get global go
    gosub goto if imp implements in input inputb instr int integer is len lenb let like line lock
    long longlong longptr loop lset me mid midb mod module name new next not nothing null object on
    open option optional or output paramarray preserve print private property psetl public put
    raiseevent random read redim rem reset resume return rset scale seek select set sgn shared
    single spc static step stop string strptr sub tab text then time to true type typeof unlock
    until varptr variant wend while width with withevents write xor
    """.split()  # noqa: SIM905
)
LIMIT_REFUSAL = re.compile(r"! (?P<name>\w+) \S+ is (outside \S+ to|not above|not a)")
CELL_ADDRESS = re.compile(r"\$?[a-z]{1,3}\$?[0-9]+|r[0-9]*c[0-9]*|[rc][0-9]*", re.IGNORECASE)


def _id(value):
    return getattr(value, "name", str(value))


def _same(answer, expected):
    answer, expected = flat(answer), flat(expected)
    return len(answer) == len(expected) and all(
        same_cell(one, other, rel=1e-9, least=1e-12)
        for one, other in zip(answer, expected, strict=True)
    )


# --- names, help, documentation ------------------------------


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
def test_names(function):
    assert re.fullmatch(r"[A-Z][A-Z0-9]*(_[A-Z0-9]+)*", function.name)
    arguments = [argument.name for argument in function.arguments]
    for name in [function.name, *arguments]:
        assert not CELL_ADDRESS.fullmatch(name), f"{name} looks like a cell address"
        assert name.casefold() not in VBA_RESERVED, f"VBA reserves {name}"
        assert not name.startswith("_"), "VBA names begin with a letter"
    assert function.name.casefold() not in arguments
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", name) for name in arguments)
    assert sum(map(len, arguments)) <= 254
    optional = [argument.optional for argument in function.arguments]
    assert optional == sorted(optional), "optional arguments come last"


@pytest.mark.parametrize(("function", "argument"), ARGUMENTS, ids=_id)
def test_help(function, argument):
    assert 10 <= len(argument.help) <= 255
    assert "nan" not in argument.help
    assert "None" not in argument.help
    assert ("Blank: " in argument.help) == (argument.optional and argument.default is not None)
    assert "inf" not in argument.help.split()
    if argument.default is None:
        assert argument.takes is Takes.RANGE or argument.quantity.blank_means
    elif argument.optional:
        assert argument.quantity.read(argument.default, "default") == argument.default


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
def test_documentation(function):
    documentation = function.documentation
    assert re.match(r"[A-Z].*[.]$", documentation.summary)
    assert len(documentation.summary) <= 255, "Excel shows no more"
    assert documentation.example.startswith(">>> ")
    assert function.category
    if function.arguments:
        assert documentation.formula
        assert re.search(r"[12][09]\d\d|SPS-4|R9-97|common practice", documentation.source)


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
def test_the_example_runs(function):
    names = {name: getattr(udfs, name) for name in dir(udfs)}
    test = doctest.DocTestParser().get_doctest(
        function.documentation.example, names, function.name, None, None
    )
    assert any(function.name in line.source for line in test.examples)
    report = []
    results = doctest.DocTestRunner(verbose=False).run(test, out=report.append)
    assert results.attempted
    assert not results.failed, "".join(report)


def test_signatures_are_plain():
    assert udfs.WORT_SG(12.4) == udfs.WORT_SG(12.4, 1.04) == udfs.WORT_SG(brix=12.4)
    for function in FUNCTIONS:
        assert getattr(udfs, function.name).__name__ == function.name


# --- scalar, row, column, block ------------------------------


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
def test_typical_values_are_good_values(function):
    """Together they may still make no sense; that a good call gets an answer the example shows."""
    cells = flat(function.callable()(*good_call(function, size=6)))
    assert all(map(is_cell, cells))
    assert any(cell != "" for cell in cells)
    assert not any(LIMIT_REFUSAL.match(str(cell)) for cell in cells), cells


@pytest.mark.parametrize("function", WITH_RANGES, ids=_id)
@given(data=st.data())
@settings(max_examples=25)
def test_a_range_answers_as_its_cells_do(function, data):
    """Row, column and block hold what as many scalar calls give; junk among the cells or not."""
    call = function.callable()
    rows, columns = data.draw(st.sampled_from([(1, 4), (4, 1), (2, 2)]))
    single = data.draw(st.sets(st.sampled_from([a.name for a in function.arguments])))
    values = []
    for argument in function.arguments:
        if argument.takes is Takes.CELL or argument.name in single:
            values.append([data.draw(some(argument))] * 4)
        else:
            values.append([data.draw(some(argument)) for _ in range(4)])
    ranges = [
        cells[0]
        if argument.takes is Takes.CELL or argument.name in single
        else [cells[row * columns : (row + 1) * columns] for row in range(rows)]
        for argument, cells in zip(function.arguments, values, strict=True)
    ]
    scalars = [call(*cells) for cells in zip(*values, strict=True)]
    answer = call(*ranges)
    if not any(isinstance(cells, list) for cells in ranges):
        assert _same(answer, scalars[0])
        return
    assert _same(answer, scalars), (ranges, answer, scalars)
    if not function.columns:
        assert (len(answer), len(answer[0])) == (rows, columns)
    else:
        assert {len(row) for row in answer} == {len(function.columns)}


@pytest.mark.parametrize("function", WHOLE, ids=_id)
def test_a_whole_range_may_lie_as_it_likes(function):
    call = function.callable()
    column = good_call(function, size=6)
    shaped = {
        "row": lambda cells: [[cell for (cell,) in cells]],
        "block": lambda cells: [[a, b] for (a,), (b,) in zip(cells[::2], cells[1::2], strict=True)],
        "flat": lambda cells: [cell for (cell,) in cells],
        "with a blank row": lambda cells: [*cells, [None], [""]],
    }
    for shape, change in shaped.items():
        changed = [change(cells) if isinstance(cells, list) else cells for cells in column]
        assert _same(call(*changed), call(*column)), shape


@pytest.mark.parametrize("function", WHOLE, ids=_id)
def test_a_range_of_one_cell_is_a_cell(function):
    call = function.callable()
    single = [cells[0][0] if isinstance(cells, list) else cells for cells in good_call(function)]
    assert _same(call(*single), call(*good_call(function)))


# --- blank, text, causes passed on, limits ------------------------------


@pytest.mark.parametrize(("function", "argument"), ARGUMENTS, ids=_id)
@pytest.mark.parametrize("blank", [None, "", " "])
def test_blank(function, argument, blank):
    call = function.callable()
    cells = in_place_of(function, argument, blank)
    if argument.takes is Takes.RANGE:
        cells[function.arguments.index(argument)] = [[blank]] * 6
    answer = flat(call(*cells))
    if argument.optional:
        default = None if argument.takes is Takes.RANGE else argument.default
        cells[function.arguments.index(argument)] = default
        assert _same(answer, call(*cells))
    elif isinstance(argument.quantity, Number) and argument.quantity.blank_means:
        assert not set(answer) & {""}
    else:
        assert set(answer) == {""}


@pytest.mark.parametrize(("function", "argument"), ARGUMENTS, ids=_id)
def test_a_text_is_named(function, argument):
    answer = flat(function.callable()(*in_place_of(function, argument, "abc")))
    kind = "one of" if isinstance(argument.quantity, Choice) else "a number"
    for cell in answer:
        assert cell.startswith(f'! {argument.name} "abc" is not {kind}')


@pytest.mark.parametrize(("function", "argument"), ARGUMENTS, ids=_id)
@pytest.mark.parametrize("cause", ["! reading 140 is outside -1 to 40", "#N/A", "#DIV/0!"])
def test_an_earlier_cause_is_passed_on(function, argument, cause):
    assert set(flat(function.callable()(*in_place_of(function, argument, cause)))) == {cause}


@pytest.mark.parametrize("limits", all_limits(), ids=str)
def test_just_inside_the_limits(limits):
    low = math.nextafter(limits.quantity.low, math.inf) if limits.quantity.above else None
    for value in (limits.quantity.low if low is None else low, limits.quantity.high):
        assert math.isfinite(value)
        for cell in flat(limits.function.callable()(*limits.call(value))):
            assert is_cell(cell)
            refused = LIMIT_REFUSAL.match(str(cell))
            assert not refused or refused["name"] != limits.argument.name, cell


@pytest.mark.parametrize("limits", all_limits(), ids=str)
def test_just_outside_the_limits(limits):
    quantity, name = limits.quantity, limits.argument.name
    below = quantity.low if quantity.above else math.nextafter(quantity.low, -math.inf)
    for value, words in (
        (below, "is not above" if quantity.above else "is outside"),
        (math.nextafter(quantity.high, math.inf), "is outside"),
    ):
        for cell in flat(limits.function.callable()(*limits.call(value))):
            assert re.match(rf"! {name} \S+ {words} ", str(cell)), cell


# --- anything at all ------------------------------


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
@given(data=st.data())
def test_anything_at_all_gets_a_text_or_a_finite_number(function, data):
    most = len(function.arguments) + 1
    cells = data.draw(st.lists(junk_ranges(), max_size=most))
    assert all(map(is_cell, flat(function.callable()(*cells))))


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.arguments], ids=_id)
@given(data=st.data())
def test_anything_near_a_good_call_gets_a_text_or_a_finite_number(function, data):
    cells = [
        data.draw(st.lists(some(argument), min_size=1, max_size=5))
        if argument.takes is Takes.RANGE
        else data.draw(some(argument))
        for argument in function.arguments
    ]
    assert all(map(is_cell, flat(function.callable()(*cells))))


@pytest.mark.parametrize("function", FUNCTIONS, ids=_id)
def test_too_many_arguments(function):
    cells = [*good_call(function), 1.0]
    assert function.callable()(*cells) == (
        f"! {function.name} takes at most {len(cells) - 1} arguments, not {len(cells)}"
    )


@pytest.mark.parametrize("function", CELLWISE, ids=_id)
def test_arrays_that_come_in_are_left_as_they_were(function):
    cells = [
        np.full((3, 1), example(argument)) if argument.takes is Takes.CELLS else example(argument)
        for argument in function.arguments
    ]
    copies = [np.array(cell) for cell in cells]
    function.callable()(*cells)
    assert all(np.array_equal(one, other) for one, other in zip(cells, copies, strict=True))
