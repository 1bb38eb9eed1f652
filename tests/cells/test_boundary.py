"""How a declared function answers cells and ranges, shown on small functions made for it."""

from typing import Annotated
from unittest import mock

import numpy as np
import pytest

from xlfuncs import functions
from xlfuncs.cells import boundary, catalogue
from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import Choice, Number, Takes
from xlfuncs.cells.values import Refused

Level = Annotated[float, Number("Level", low=0, high=10)]
Positive = Annotated[float, Number("Divisor", low=0, high=10, above=True)]
Levels = Annotated[np.ndarray, Number("Levels", low=0, high=10), Takes.RANGE]
OneLevel = Annotated[float, Number("Level", low=0, high=10), Takes.CELL]
Checked = Annotated[float, Number("Checked", low=0, high=10, blank_means="never")]
Mode = Annotated[str, Choice("Mode", {"sum": ("+",), "product": ("*",)}), Takes.CELL]

with mock.patch.object(catalogue, "CATALOGUE", {}):

    @cell_function("Test")
    def RATIO(a: Level, b: Positive, shift: Level = 1):
        """Ratio."""
        return boundary.refuse_where(
            a / b + shift, np.asarray(a) == 7, lambda i: f"a {np.ravel(a)[i]:g} is not liked"
        )

    @cell_function("Test", columns=("a", "twice a"))
    def BOTH(a: Level, b: Level = 0):
        """A and its double."""
        return a + b, 2 * a

    @cell_function("Test")
    def COMBINE(a: Level, mode: Mode = "sum", b: OneLevel = 2):
        """By mode."""
        if b == 9:
            raise Refused("b 9 is not possible")
        return a + b if mode == "sum" else a * b

    @cell_function("Test", whole=True)
    def MEAN(a: Levels, weights: Levels = 1, scale: OneLevel = 1):
        """Weighted mean."""
        if np.sum(a) == 0:
            raise Refused("a is all zero")
        return scale * np.average(a, weights=weights * np.ones(a.size))

    @cell_function("Test", columns=("n", "sd"), whole=True)
    def SPREAD(a: Levels):
        """Number and standard deviation."""
        return a.size, np.std(a, ddof=1) if a.size > 1 else np.nan

    @cell_function("Test")
    def NEVER(a: Checked, b: Level):
        """Whether checked."""
        return (
            np.where(np.isnan(a), "never", "checked")
            if np.ndim(a + b)
            else ("never" if np.isnan(a) else "checked")
        )

    @cell_function("Test")
    def WRONG(a: Level):
        """Not a number above five."""
        return np.log(5 - a)

    @cell_function("Test")
    def NOTHING():
        """Nothing in."""
        return "here"


# --- shapes ------------------------------


@pytest.mark.parametrize(
    ("a", "answer"),
    [
        (4, 3.0),
        ([4, 6], [3.0, 4.0]),
        ((4, 6), [3.0, 4.0]),
        ([[4, 6]], [[3.0, 4.0]]),
        ([[4], [6]], [[3.0], [4.0]]),
        (((4,), (6,)), [[3.0], [4.0]]),
        ([[4, 6], [2, 8]], [[3.0, 4.0], [2.0, 5.0]]),
        ([[4]], [[3.0]]),
        ([4], [3.0]),
        (np.array([4.0, 6.0]), [3.0, 4.0]),
        (np.array([[4.0], [6.0]]), [[3.0], [4.0]]),
        (np.array(4.0), 3.0),
        ([], [""]),
        ([[]], [[""]]),
    ],
)
def test_the_answer_has_the_shape_of_the_range(a, answer):
    assert RATIO(a, 2) == answer


@pytest.mark.parametrize(
    ("a", "b", "answer"),
    [
        ([[4], [6]], [[1], [2]], [[5.0], [4.0]]),
        ([[4], [6]], 2, [[3.0], [4.0]]),
        (4, [[1, 2, 4]], [[5.0, 3.0, 2.0]]),
        ([[4], [6]], [[2]], [[3.0], [4.0]]),
        ([[4], [6]], [[1, 2]], [[5.0, 3.0], [7.0, 4.0]]),
        ([[4, 6], [2, 8]], [[1, 2]], [[5.0, 4.0], [3.0, 5.0]]),
        ([[4, 6], [2, 8]], [[1], [2]], [[5.0, 7.0], [2.0, 5.0]]),
    ],
)
def test_ranges_broadcast(a, b, answer):
    assert RATIO(a, b) == answer


def test_ranges_that_do_not_fit():
    text = "! ranges do not fit together: a is 2 x 1, b is 3 x 1"
    assert RATIO([[4], [6]], [[1], [2], [3]]) == text
    assert RATIO([4, 6], [1, 2, 3]) == "! ranges do not fit together: a is 2 cells, b is 3 cells"


def test_too_many_arguments():
    assert RATIO(1, 2, 3, 4) == "! RATIO takes at most 3 arguments, not 4"
    assert NOTHING(1) == "! NOTHING takes at most 0 arguments, not 1"
    assert NOTHING() == "here"


def test_by_name_from_python():
    assert RATIO(4, shift=0, b=2) == 2.0
    with pytest.raises(TypeError, match="does not take c here"):
        RATIO(4, 2, c=1)
    with pytest.raises(TypeError, match="does not take a here"):
        RATIO(4, 2, a=1)


# --- blanks, texts, causes ------------------------------


@pytest.mark.parametrize("blank", [None, "", " "])
def test_blank_in_blank_out_and_blank_optional_means_its_default(blank):
    assert RATIO(blank, 2) == ""
    assert RATIO(4, blank) == ""
    assert RATIO(4) == ""
    assert RATIO(4, 2, blank) == 3.0
    assert RATIO([[4], [blank], [6]], 2) == [[3.0], [""], [4.0]]
    assert RATIO([[4], [6]], blank) == [[""], [""]]
    assert RATIO([[4], [6]], 2, [[blank], [3]]) == [[3.0], [6.0]]
    assert RATIO([[4], [6]], 2, blank) == [[3.0], [4.0]]
    assert COMBINE(4, blank) == 6.0
    assert COMBINE([[4]], [[blank]], [[blank]]) == [[6.0]]


def test_a_bad_cell_never_spoils_its_neighbours():
    column = [[4], ["abc"], [12], [True], [float("nan")], ["! earlier"], ["#N/A"], [None], ["6,0"]]
    assert RATIO(column, 2) == [
        [3.0],
        ['! a "abc" is not a number'],
        ["! a 12 is outside 0 to 10"],
        ["! a TRUE is not a number"],
        ["! a nan is not a number"],
        ["! earlier"],
        ["#N/A"],
        [""],
        [4.0],
    ]


def test_a_body_refuses_single_elements():
    assert RATIO(7, 2) == "! a 7 is not liked"
    assert RATIO([[4], [None], [7]], 2) == [[3.0], [""], ["! a 7 is not liked"]]


def test_the_foremost_text_shows():
    """An earlier cause, else a blank, else the first fault of this call."""
    assert RATIO(12, "! earlier") == "! earlier"
    assert RATIO(12, None) == ""
    assert RATIO(None, "#REF!") == "#REF!"
    assert RATIO(12, 11) == "! a 12 is outside 0 to 10"
    assert RATIO([[12], [12], [None]], [["! earlier"], [None], ["#REF!"]]) == [
        ["! earlier"],
        [""],
        ["#REF!"],
    ]


def test_an_optional_argument_is_checked_too():
    assert RATIO(4, 2, 12) == "! shift 12 is outside 0 to 10"
    assert RATIO([[4], [6]], 2, "! earlier") == [["! earlier"], ["! earlier"]]


def test_the_body_refuses_the_call():
    assert COMBINE(4, "sum", 9) == "! b 9 is not possible"
    assert COMBINE([[4], [None]], "sum", 9) == [["! b 9 is not possible"], [""]]


def test_single_cell_arguments():
    assert COMBINE([[4], [6]], "*", 3) == [[12.0], [18.0]]
    assert COMBINE(4, ["sum", "sum"]) == "! mode must be one cell, not 2 cells"
    assert COMBINE(4, "sum", [[1, 2]]) == "! b must be one cell, not 1 x 2"
    assert COMBINE([[4], [6]], "power") == [['! mode "power" is not one of sum, product']] * 2


def test_what_the_model_cannot_answer_is_said():
    text = "! no answer: these values lie outside the range of the model"
    assert WRONG(5) == WRONG(6) == text
    assert WRONG([4, 5, 6]) == [0.0, text, text]


def test_a_blank_that_has_a_meaning():
    assert NEVER(None, 1) == "never"
    assert NEVER([[None], [3], ["x"]], 1) == [["never"], ["checked"], ['! a "x" is not a number']]
    assert NEVER(None, None) == ""
    assert NEVER([[None], [None]], [[1], [None]]) == [["never"], [""]]


# --- answers in columns ------------------------------


def test_a_refused_call_fills_its_columns():
    sizes = "a is 2 x 1, b is 3 x 1"
    assert BOTH([[3], [4]], [[1], [2], [3]]) == [[f"! ranges do not fit together: {sizes}"] * 2]


def test_columns():
    assert BOTH(3) == [[3.0, 6.0]]
    assert BOTH([[3], [4]]) == [[3.0, 6.0], [4.0, 8.0]]
    assert BOTH([[3], [None], [12]]) == [
        [3.0, 6.0],
        ["", ""],
        ["! a 12 is outside 0 to 10"] * 2,
    ]
    assert BOTH(None) == [["", ""]]


# --- whole ranges ------------------------------


@pytest.mark.parametrize(
    "a", [[2, 4], [[2, 4]], [[2], [4]], [2, None, 4, ""], [[2, None], [4, ""]], ["2", "4,0"]]
)
def test_a_range_answered_as_a_whole(a):
    assert MEAN(a) == 3.0


def test_partners_are_left_out_together():
    assert MEAN([2, 4, None, 8], [1, None, 1, 1]) == 5.0
    sizes = "a has 2, weights has 1"
    assert MEAN([2, 4], [1]) == f"! ranges must have the same number of cells: {sizes}"
    assert MEAN([2, 4], [None, None]) == 3.0, "a range of blanks is an argument left out"
    assert MEAN([None, None]) == MEAN(None) == MEAN() == ""


def test_faults_in_a_whole_range():
    assert MEAN([2, None, "abc"]) == '! a "abc" is not a number (cell 3 of the range)'
    assert MEAN([2, 12]) == "! a 12 is outside 0 to 10 (cell 2 of the range)"
    assert MEAN([2, "! earlier", "abc"]) == "! earlier"
    assert MEAN([2, 4], None, 12) == "! scale 12 is outside 0 to 10"
    assert MEAN([2, 4], None, [1, 2]) == "! scale must be one cell, not 2 cells"
    assert MEAN([2, 4], None, [[2]]) == 6.0
    assert MEAN([0, 0]) == "! a is all zero"


def test_the_foremost_text_of_a_whole_range():
    """A cause in the ranges, else nothing left in them, else single cells, else an unfit cell."""
    assert MEAN([2, 12], ["#N/A", 1], "! earlier") == "#N/A"
    assert MEAN([None, 2], [1, None], "! earlier") == ""
    assert MEAN([2, 12], None, "! earlier") == "! earlier"
    assert MEAN([2, 12], [-1, 1], 12) == "! scale 12 is outside 0 to 10"
    assert MEAN([2, 12], [-1, 1]) == "! a 12 is outside 0 to 10 (cell 2 of the range)"


def test_a_range_as_a_whole_is_declared():
    with pytest.raises(TypeError, match="FORGOTTEN takes a range as a whole: declare `whole=True`"):

        @cell_function("Test")
        def FORGOTTEN(a: Levels):
            """Sum."""
            return np.sum(a)


def test_columns_of_a_whole_range():
    assert SPREAD([2, 4]) == [[2.0, pytest.approx(2**0.5)]]
    assert SPREAD([2]) == [[1.0, ""]]
    assert SPREAD(["x"]) == [['! a "x" is not a number (cell 1 of the range)'] * 2]


@pytest.mark.parametrize(
    "ragged", [[[1.0], [1.0, 2.0]], [[], [1.0]], [[1.0], 2.0], [[1.0, 2.0], []]]
)
def test_rows_of_unequal_length_are_refused_and_none_is_dropped(ragged):
    for name, function in functions.CATALOGUE.items():
        others = [1.0] * (len(function.arguments) - 1)
        if function.arguments:
            told = str(function.callable()(ragged, *others))
            assert "! the rows of a range must be equally long" in told, name
