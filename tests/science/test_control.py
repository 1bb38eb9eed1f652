import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science import control


@pytest.mark.parametrize(
    ("column", "factor"), [("d2", "d2"), ("d3", "d3"), ("D3", "lower"), ("D4", "d4")]
)
def test_factors_against_the_tables(column, factor):
    table = Table("control_chart_constants")
    found = [getattr(control.constants(int(n)), factor) for n in table["n"]]
    table.hold(np.array(found) - table[column])


def test_factors_of_two_values_in_closed_form():
    two = control.constants(2)
    assert two.d2 == pytest.approx(2 / np.sqrt(np.pi), abs=1e-10)
    assert two.d3 == pytest.approx(np.sqrt(2 - 4 / np.pi), abs=1e-5)
    assert two.e2 == pytest.approx(2.66, abs=0.005)  # as it is printed


def test_limits_hold_997_of_a_thousand():
    random = np.random.default_rng(7870)
    values = random.normal(0.1, 0.05, 200_000)
    bounds = control.limits(values)
    assert bounds.high - bounds.centre == pytest.approx(3 * 0.05, rel=0.01)
    share = control.outside(values, bounds).size / values.size
    assert share == pytest.approx(0.0027, rel=0.1)


def test_a_jump_is_outside():
    calm = np.array([0.0, 0.1, 0.05, 0.1, 0.0, 0.05])
    assert control.outside(np.append(calm, 0.5), control.limits(calm)).tolist() == [6]


def test_an_adjustment_is_no_moving_range():
    values = np.array([0.1, 0.2, 0.8, 0.0, 0.1])
    left = np.array([False, False, False, True, False])
    bounds = control.limits(values, left)
    assert bounds.centre == pytest.approx(0.3)
    assert bounds.range_high == pytest.approx(3.267 * np.mean([0.1, 0.6, 0.1]), rel=1e-3)


@pytest.mark.parametrize("values", [[], [0.1]])
def test_too_few_values_have_no_limits(values):
    bounds = control.limits(np.array(values))
    assert np.isnan([bounds.centre, bounds.low, bounds.high, bounds.range_high]).all()
    assert control.outside(np.array(values), bounds).size == 0


def test_equal_values_have_limits_of_no_width():
    bounds = control.limits(np.full(5, 0.2))
    assert bounds.low == bounds.high == pytest.approx(0.2)
