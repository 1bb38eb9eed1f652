from pathlib import Path

import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science import beer, wort
from xlfuncs.science.corrections import (
    HIGHEST_ORIGINAL,
    LOWEST_ORIGINAL,
    METHODS,
    REGRESSIONS,
)

DOCUMENT = (Path(__file__).parents[2] / "docs" / "beer.md").read_text(encoding="utf-8")


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
    apart = regression.sg(original, beers.brix() / wort.WORT_FACTOR) - beers.sg
    assert np.max(np.abs(apart)) < 0.01


def test_the_2011_pair_is_far_off_while_beer_ferments():
    beers = beer.from_attenuation(16.0, 20.0)
    for method in ("linear-2011", "cubic-2011"):
        assert REGRESSIONS[method].lowest_attenuation == 50
    assert beers.sg - REGRESSIONS["linear-2011"].sg(16.0, beers.brix() / wort.WORT_FACTOR) > 0.01


def test_names_are_neutral():
    assert METHODS == (
        "balance",
        "regression-2001",
        "linear-2011",
        "cubic-2011",
        "linear-2017",
        "quadratic-2017",
    )


def test_the_table_of_the_documentation():
    """docs/beer.md: where a method may be used, and how far from the balance it then lies."""
    lines = DOCUMENT.split("\n")
    cells = [[cell.strip(" `") for cell in line.strip("|").split("|")] for line in lines]
    table = {row[0]: row[2:] for row in cells if len(row) == 6 and row[0] in METHODS}
    assert table.keys() == set(METHODS)
    beers = beer.from_attenuation(*np.meshgrid(np.linspace(8, 20, 49), np.linspace(50, 75, 26)))
    for method, regression in REGRESSIONS.items():
        worts, attenuation, mean, deviation = table[method]
        assert worts == f"{LOWEST_ORIGINAL:.0f} to {HIGHEST_ORIGINAL:.0f}"
        assert float(attenuation) == regression.lowest_attenuation
        apart = regression.sg(beers.original, beers.brix() / wort.WORT_FACTOR) - beers.sg
        assert mean == f"{np.mean(apart):.4f}"
        assert deviation == f"{np.std(apart):.4f}"


def test_the_uncertainty_of_the_model_is_how_far_the_regressions_lie_from_it():
    """Root mean square of their mean differences, rounded up."""
    beers = beer.from_attenuation(*np.meshgrid(np.linspace(8, 20, 49), np.linspace(50, 75, 26)))
    means = [
        np.mean(regression.sg(beers.original, beers.brix() / wort.WORT_FACTOR) - beers.sg)
        for regression in REGRESSIONS.values()
    ]
    apart = np.sqrt(np.mean(np.square(means)))
    assert 0.9 * beer.MODEL_U < apart <= beer.MODEL_U
    assert f"lie {apart:.4f} from the balance" in DOCUMENT.replace("\n", " ")
