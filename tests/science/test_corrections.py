import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science import beer
from xlfuncs.science.corrections import (
    HIGHEST_ORIGINAL,
    LOWEST_ORIGINAL,
    METHODS,
    REGRESSIONS,
)


@pytest.mark.parametrize("method", REGRESSIONS)
def test_regressions_digit_for_digit(method):
    table = Table("refractometer_regressions")
    rows = table["method"] == method
    assert rows.sum() == 49
    found = REGRESSIONS[method].sg(table["initial"][rows], table["current"][rows])
    assert np.max(np.abs(found - table["sg"][rows])) <= table["tolerance"].max()


@pytest.mark.parametrize("method", REGRESSIONS)
def test_where_it_may_be_used_a_regression_lies_within_a_hundredth_of_the_balance(method):
    """The range of use that the documentation states, to 80 % real attenuation."""
    regression = REGRESSIONS[method]
    original, attenuation = np.meshgrid(
        np.linspace(LOWEST_ORIGINAL, HIGHEST_ORIGINAL, 37),
        np.linspace(regression.lowest_attenuation, 80, 41),
    )
    beers = beer.from_attenuation(original, attenuation)
    assert beers.abv.max() < beer.MOST_ALCOHOL
    apart = regression.sg(original, beers.brix(1.0)) - beers.sg
    assert np.max(np.abs(apart)) < 0.01


def test_the_2011_pair_is_far_off_while_beer_ferments():
    beers = beer.from_attenuation(16.0, 20.0)
    for method in ("linear-2011", "cubic-2011"):
        assert REGRESSIONS[method].lowest_attenuation == 50
    assert beers.sg - REGRESSIONS["linear-2011"].sg(16.0, beers.brix(1.0)) > 0.01


def test_names_are_neutral():
    assert METHODS == (
        "balance",
        "regression-2001",
        "linear-2011",
        "cubic-2011",
        "linear-2017",
        "quadratic-2017",
    )
