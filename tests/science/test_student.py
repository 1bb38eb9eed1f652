import numpy as np
import pytest
import scipy
from scipy.special import stdtrit

from tests.published import Table
from xlfuncs.science.student import quantile

#: Before 1.17 scipy has ten digits of it.
NEAR = 1e-12 if tuple(map(int, scipy.__version__.split(".")[:2])) >= (1, 17) else 1e-10


def test_against_the_table_of_the_gum():
    table = Table("student_t")
    table.hold(quantile(table["freedom"], (1 + table["probability"]) / 2) - table["t"])


@pytest.mark.parametrize("probability", [0.5, 0.51, 0.9, 0.975, 0.9995])
def test_against_scipy_for_every_freedom_up_to_three_hundred(probability):
    freedom = np.arange(1, 301)
    expected = stdtrit(freedom, probability)
    assert quantile(freedom, probability) == pytest.approx(expected, rel=NEAR, abs=1e-12)


@pytest.mark.parametrize(
    ("freedom", "probability"), [(0, 0.9), (2.5, 0.9), (np.nan, 0.9), (3, 1.0), (3, 0.4)]
)
def test_outside_its_limits_there_is_none(freedom, probability):
    assert np.isnan(quantile(freedom, probability))
