import numpy as np
import pytest
import scipy.stats

from tests import oracles
from tests.published import Table
from xlfuncs.science import control


def test_factors_against_the_table():
    table = Table("control_chart_constants")
    table.hold([getattr(control, name) for name in table["factor"]] - table["value"])


def test_the_range_of_two_normal_values_has_the_moments_of_a_half_normal():
    half = scipy.stats.halfnorm(scale=2**0.5)
    assert half.mean() == pytest.approx(control.D2, rel=1e-12)
    assert half.std() == pytest.approx(control.D3, rel=1e-12)


def test_limits_hold_997_of_a_thousand():
    random = np.random.default_rng(7870)
    values = random.normal(0.1, 0.05, 200_000)
    bounds = oracles.limits(values)
    assert bounds.high - bounds.centre == pytest.approx(3 * 0.05, rel=0.01)
    share = oracles.outside(values, bounds).size / values.size
    assert share == pytest.approx(0.0027, rel=0.1)


def test_a_jump_is_outside():
    calm = np.array([0.0, 0.1, 0.05, 0.1, 0.0, 0.05])
    assert oracles.outside(np.append(calm, 0.5), oracles.limits(calm)).tolist() == [6]


def test_an_adjustment_is_no_moving_range():
    values = np.array([0.1, 0.2, 0.8, 0.0, 0.1])
    left = np.array([False, False, False, True, False])
    bounds = oracles.limits(values, left)
    assert bounds.centre == pytest.approx(0.3)
    assert bounds.range_high == pytest.approx(3.267 * np.mean([0.1, 0.6, 0.1]), rel=1e-3)


@pytest.mark.parametrize("values", [[], [0.1]])
def test_too_few_values_have_no_limits(values):
    bounds = oracles.limits(np.array(values))
    assert np.isnan([bounds.centre, bounds.low, bounds.high, bounds.range_high]).all()
    assert oracles.outside(np.array(values), bounds).size == 0


def test_equal_values_have_limits_of_no_width():
    bounds = oracles.limits(np.full(5, 0.2))
    assert bounds.low == bounds.high == pytest.approx(0.2)
