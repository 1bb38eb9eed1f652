import numpy as np
import pytest

from xlfuncs.cells.boundary import refuse
from xlfuncs.plain.compute import compute
from xlfuncs.plain.expressions import argument, explore, make, reached, words

A, B = argument("a"), argument("b")


def test_equal_steps_are_one_object():
    assert (A + B) is (A + B)
    assert len(reached((A + B) * (A + B))) == 4


def test_what_comes_to_nothing_is_not_recorded():
    assert A * 1.0 is A
    assert A + 0.0 is A
    assert A * 0.0 == 0.0
    assert np.where(A > B, 1.0, 1.0) == 1.0
    assert ~~(A > B) is (A > B)
    assert make("&", "a", "", "b") == "ab"


@pytest.mark.parametrize(
    "function",
    [
        lambda a, b: np.sqrt(np.abs(a)) + np.exp(b / 9) - np.log(a * a + 1),
        lambda a, b: np.clip(a, b, 3) * np.maximum(a, 0.0) / (1 + np.minimum(b, 0.5) ** 2),
        lambda a, b: np.where((a > b) & ~(b >= 1) | np.equal(a, 2), -a, 3 - b),
        lambda a, b: np.asarray(a - b) + abs(+b),
        lambda a, b: 1 / (2 - np.where(np.isnan(np.where(a > 1, a, np.nan)), b, a)),
    ],
)
def test_recorded_arithmetic_is_that_of_numpy(function):
    random = np.random.default_rng(0)
    given = {name: random.uniform(-2, 2, 500) for name in "ab"}
    right = function(given["a"], given["b"])
    assert compute(function(A, B), given).astype(float) == pytest.approx(right, rel=1e-12)


def test_a_comparison_with_nan_is_false_as_in_python():
    value = np.where(A > 0, A, np.nan)
    given = {"a": np.array([-1.0, 2.0])}
    assert compute(~np.less_equal(value, 3.0), given).tolist() == [True, False]
    assert compute(np.less_equal(value + 1, 3.0), given).tolist() == [False, True]


def test_every_way_through_an_if_is_followed():
    def run():
        if A > B:
            return min(A, 2.0)
        return B if A and B else 7.0

    value = explore(run, lambda *ways: make("IF", *ways))
    given = {"a": np.array([1.0, 3.0, 0.0, 1.0]), "b": np.array([0.0, 0.0, 5.0, 5.0])}
    assert compute(value, given).tolist() == [1.0, 2.0, 7.0, 5.0]


def test_a_refusal_is_recorded_with_its_numbers():
    value = refuse(A, A > 1, lambda a, b: f"{a:.1f} is above {b:.3g}", A, B)
    given = {"a": np.array([0.5, 2.25]), "b": np.array([1.0, 1 / 3])}
    assert compute(value, given).tolist() == [0.5, "! 2.2 is above 0.333"]


def test_a_message_that_branches_says_once_what_its_ways_share():
    text = words(lambda: f"from {A:.1f} to {'low' if A > 1 else 'high'}, {'b' if B > 1 else 'c'}")
    assert [step.op for step in reached(text)].count("TEXT") == 1
    given = {"a": np.array([0.5, 2.5]), "b": np.array([3.0, 0.0])}
    assert compute(text, given).tolist() == ["from 0.5 to high, b", "from 2.5 to low, c"]


def test_what_no_formula_is_known_for_is_named():
    with pytest.raises(TypeError, match="numpy's arctan"):
        np.arctan(A)
    with pytest.raises(TypeError, match="numpy's median"):
        np.median(A)
