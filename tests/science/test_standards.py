import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.published import Table
from xlfuncs.science import blending, standards, sucrose


def test_sucrose_against_the_plato_table():
    table = Table("plato_rows")
    dissolved, water = standards.sucrose_standard(table["sg"], 100.0)
    table.hold(dissolved - table["plato"])
    assert dissolved + water == pytest.approx(np.full(dissolved.shape, 100))


def test_12_39_grams_in_100_make_1_050():
    dissolved, _ = standards.sucrose_standard(1.050, 100.0)
    assert dissolved == pytest.approx(12.39, abs=0.01)
    assert sucrose.sg(12.39) == pytest.approx(1.050, abs=5e-5)


@given(st.floats(1.0, 1.15), st.floats(0.1, 100), st.floats(0.7, 1))
def test_malt_extract_makes_the_gravity(sg, litres, fraction):
    grams, _ = standards.malt_extract_standard(sg, litres, fraction)
    assert blending.after_extract(litres, 1.0, grams / 1000, fraction).sg == pytest.approx(
        sg, abs=1e-11
    )


def test_uncertainty_is_the_change_that_a_hundredth_makes():
    grams, u = standards.malt_extract_standard(1.050, 1.0, 0.95)
    high, low = (blending.after_extract(1.0, 1.0, grams / 1000, f).sg for f in (0.96, 0.94))
    assert u == pytest.approx((high - low) / 2, rel=1e-3)


def test_water_needs_nothing():
    assert standards.sucrose_standard(1.0, 500.0) == (0, 500)
    grams, u = standards.malt_extract_standard(1.0, 1.0)
    assert (grams, u) == (0, 0)
