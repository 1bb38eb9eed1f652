"""What the cells of a log see when alcohol is in the sample."""

import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science import beer, corrections, least_squares, sucrose, wort
from xlfuncs.udfs import (
    APPARENT_ATTENUATION,
    BEER_ABV,
    BEER_ABW,
    BEER_ENERGY,
    BEER_FIT,
    BEER_SG,
    BEER_SG_SPREAD,
    BEER_SG_UNCERTAINTY,
    ORIGINAL_SG,
    REAL_ATTENUATION,
    REAL_EXTRACT,
    WORT_BRIX,
)

ANALYSES = [
    BEER_ABV, BEER_ABW, REAL_EXTRACT, APPARENT_ATTENUATION, REAL_ATTENUATION, BEER_ENERGY,
]  # fmt: skip


# --- readings that cannot be ------------------------------


@pytest.mark.parametrize("method", corrections.METHODS)
def test_a_reading_above_the_worts_own(method):
    original = sucrose.sg(12.6 / 1.04)
    assert (
        BEER_SG(original, 13.2, 1.04, method)
        == "! brix 13.2 is above the 12.6 of the unfermented wort"
    )


@pytest.mark.parametrize("method", corrections.METHODS)
def test_a_reading_below_complete_fermentation(method):
    text = BEER_SG(1.048, 1.0, 1.04, method)
    assert text == "! brix 1 is below the 2.7 of complete fermentation"


def test_limits_are_shown_with_as_many_decimals_as_tell_them_from_the_reading():
    assert round(WORT_BRIX(1.048), 3) == 12.385
    assert BEER_SG(1.048, 12.9) == "! brix 12.9 is above the 12.4 of the unfermented wort"
    least = float(beer.from_attenuation(sucrose.plato(1.048), 100).brix())
    assert round(least, 4) == 2.6576
    assert BEER_SG(1.048, 2.657) == "! brix 2.657 is below the 2.658 of complete fermentation"


@pytest.mark.parametrize("function", [BEER_SG, BEER_SG_UNCERTAINTY])
def test_noise_above_the_unfermented_wort_goes_on_smoothly(function):
    """Across the wort's own reading: no text, no jump, no kink, up to 0.5 °Bx above it."""
    own = WORT_BRIX(1.048)
    brix = own + np.linspace(-0.5, beer.NOISE_BRIX, 101)
    cells = np.array(function(1.048, brix), dtype=float)
    steps = np.diff(cells)
    assert np.all(np.abs(np.diff(steps)) < 1e-3 * np.abs(steps).max())
    assert isinstance(function(1.048, own + 0.51), str)


def test_noise_below_the_wort_of_the_hydrometer_goes_on_smoothly():
    """ORIGINAL_SG(1.048, 12.37): a hundredth under wort of 1.048."""
    assert 1.0478 < ORIGINAL_SG(1.048, 12.37) < 1.048
    brix = WORT_BRIX(1.048) + np.linspace(-0.5, 0.5, 101)
    steps = np.diff(np.array(ORIGINAL_SG(1.048, brix), dtype=float))
    assert np.all(steps > 0)
    assert np.all(np.abs(np.diff(steps)) < 1e-3 * steps.max())


@pytest.mark.parametrize("analyse", ANALYSES)
def test_noise_above_the_original_gravity_goes_on_smoothly(analyse):
    """BEER_ABV(1.048, 1.0481): a tenth of a point over, by noise."""
    sgs = 1.048 + np.linspace(-0.004, beer.NOISE_SG, 101)
    steps = np.diff(np.array(analyse(1.048, sgs), dtype=float))
    assert np.all(np.sign(steps) == np.sign(steps[0]))
    assert np.all(np.abs(np.diff(steps)) < 2e-3 * np.abs(steps).max())


def test_a_noisy_reading_that_is_corrected_is_analysed():
    originals, factors = np.meshgrid(np.linspace(1.001, 1.106, 50), [0.95, 1.02, 1.04, 1.06, 1.2])
    brix = np.array(WORT_BRIX(originals, factors)) + beer.NOISE_BRIX
    for analyse in ANALYSES:
        cells = analyse(originals, BEER_SG(originals, brix, factors))
        assert all(isinstance(cell, float) for row in cells for cell in row)


def test_an_unfermented_sample_is_still_wort():
    for sg in (1.0, 1.012, 1.048, 1.106):
        assert abs(BEER_SG(sg, WORT_BRIX(sg)) - sg) < 2e-5
        assert abs(BEER_SG(sg, WORT_BRIX(sg, 1.02), 1.02) - sg) < 2e-5


def test_more_alcohol_than_the_model_knows():
    assert BEER_SG(1.106, 7.4).startswith("! alcohol 16")
    assert BEER_SG(1.106, 7.4).endswith(" % is above the 15 % of the model")
    assert BEER_ABV(1.106, 0.990) == "! alcohol 15.6 % is above the 15 % of the model"


# --- methods ------------------------------


def test_regressions_divide_the_whole_reading_by_the_wort_factor():
    """Digit for digit in the cell too; where a row lies outside its use, a text."""
    table = Table("refractometer_regressions")
    refused = 0
    for row in table.rows:
        initial, current = float(row["initial"]), float(row["current"]) * 1.04
        cell = BEER_SG(sucrose.sg(initial), current, 1.04, row["method"])
        least = corrections.REGRESSIONS[row["method"]].lowest_attenuation - 1e-6
        if beer.from_brix(initial, current).real_attenuation < least:
            refused += 1
            assert cell.startswith(f"! {row['method']} holds from 50 % real attenuation, not at ")
        else:
            assert abs(cell - float(row["sg"])) <= float(row["tolerance"])
    assert refused == 2 * 7 * 2, "two formulas, seven worts, the two highest readings of each"


def test_a_regression_outside_its_worts():
    assert BEER_SG(1.012, 2.0, 1.04, "linear-2017") == (
        "! linear-2017 holds for worts of 4 to 22 °P, not 3.1 °P"
    )
    assert BEER_SG(1.1, 14.0, 1.04, "regression-2001").endswith("of 4 to 22 °P, not 23.8 °P")
    for within, beyond in ((4.01, 3.99), (21.99, 22.01)):
        assert isinstance(BEER_SG(sucrose.sg(within), within / 2, 1.04, "linear-2017"), float)
        assert "of 4 to 22 °P" in BEER_SG(sucrose.sg(beyond), beyond / 2, 1.04, "linear-2017")


def test_the_alcohol_factor_belongs_to_the_balance():
    assert BEER_SG(1.048, 6.2, 1.04, "balance", 1.1) < BEER_SG(1.048, 6.2)
    assert BEER_SG(1.048, 6.2, 1.04, "linear-2017", 1.1) == BEER_SG(1.048, 6.2, 1.04, "linear-2017")


def test_the_wort_factor_belongs_to_the_extract_alone():
    """Of a sample without extract it makes no difference."""
    dry = 2.6745
    one, other = BEER_SG(1.048, dry, 1.0), BEER_SG(1.048, dry, 1.08)
    assert abs(one - other) < 1e-5
    assert abs(BEER_SG(1.048, 6.2, 1.0) - BEER_SG(1.048, 6.2, 1.08)) > 1e-3


def test_spread():
    rows = BEER_SG_SPREAD(1.048, 6.2)
    assert [name for name, _ in rows] == [*corrections.METHODS, "lowest", "highest"]
    for name, sg in rows[:6]:
        assert sg == BEER_SG(1.048, 6.2, 1.04, name)
    gravities = [sg for _, sg in rows[:6]]
    assert [sg for _, sg in rows[6:]] == [min(gravities), max(gravities)]


def test_spread_with_methods_that_do_not_hold():
    rows = dict(BEER_SG_SPREAD(1.048, 9.2))
    assert rows["cubic-2011"].startswith("! cubic-2011 holds from 50 % real attenuation")
    assert rows["lowest"] == rows["regression-2001"]
    assert rows["highest"] == rows["balance"]


def test_spread_of_an_impossible_reading():
    rows = BEER_SG_SPREAD([[1.048]], [[13.1]])
    assert {sg for _, sg in rows} == {"! brix 13.1 is above the 12.4 of the unfermented wort"}
    assert len(rows) == 8


# --- uncertainty ------------------------------


def test_uncertainty_counts_every_part():
    parts = np.diag([0.1, wort.FACTOR_U, beer.ORIGINAL_U, beer.MODEL_U])
    alone = [BEER_SG_UNCERTAINTY(1.048, 6.2, 1.04, *part) for part in parts]
    together = BEER_SG_UNCERTAINTY(1.048, 6.2)
    assert together == pytest.approx(np.sqrt(np.sum(np.square(alone))), rel=1e-12)
    assert min(alone) > 1e-4
    assert alone[3] == beer.MODEL_U
    assert BEER_SG_UNCERTAINTY(1.048, 13.1) == BEER_SG(1.048, 13.1)


# --- analysis ------------------------------


def test_original_gravity_goes_there_and_back():
    for original, brix in ((1.040, 5.0), (1.060, 7.8), (1.090, 12.0)):
        assert abs(ORIGINAL_SG(BEER_SG(original, brix), brix) - original) < 1e-9
    assert abs(ORIGINAL_SG(1.048, WORT_BRIX(1.048)) - 1.048) < 1e-9


@pytest.mark.parametrize(
    ("sg", "brix", "text"),
    [
        (1.010, 2.1, "! brix 2.1 is below the 2.7 of wort of that beer_sg"),
        (1.048, 11.88, "! brix 11.88 is below the 12.4 of wort of that beer_sg"),
        (1.050, 20.0, "! original 30.5 °Plato is above the 25 of the model"),
        (0.981, 5.0, "! brix 5 is too much for beer_sg 0.981: that leaves no extract"),
    ],
)
def test_original_gravity_that_cannot_be(sg, brix, text):
    assert ORIGINAL_SG(sg, brix) == text


def test_no_fermentation():
    assert [abs(analyse(1.05, 1.05)) < 1e-9 for analyse in ANALYSES] == [
        True, True, False, True, True, False,
    ]  # fmt: skip
    assert abs(REAL_EXTRACT(1.05, 1.05) - sucrose.plato(1.05)) < 1e-9


@pytest.mark.parametrize("analyse", ANALYSES)
def test_gravities_that_cannot_be(analyse):
    assert analyse(1.048, 1.0521) == "! beer_sg 1.0521 is above original_sg 1.048"
    assert analyse(1.048, 0.985) == (
        "! beer_sg 0.985 is below what complete fermentation of original_sg 1.048 leaves"
    )


@pytest.mark.parametrize("analyse", [APPARENT_ATTENUATION, REAL_ATTENUATION])
def test_water_has_no_attenuation(analyse):
    assert analyse(1.0, 1.0) == "! original_sg 1 holds no extract to attenuate"
    assert BEER_ABV(1.0, 1.0) == 0


def test_a_dry_beer_may_lie_below_water():
    assert APPARENT_ATTENUATION(1.048, 0.998) > 100
    assert REAL_ATTENUATION(1.048, 0.998) < 100


def test_a_bad_row_leaves_its_neighbours():
    column = BEER_ABV(
        [[1.048], [None], [1.05], ["x"], [1.06]], [[1.01], [1.01], [1.06], [1.01], [1.01]]
    )
    assert column[0][0] == pytest.approx(BEER_ABV(1.048, 1.01), rel=1e-12)
    assert column[1:4] == [
        [""],
        ["! beer_sg 1.06 is above original_sg 1.05"],
        ['! original_sg "x" is not a number'],
    ]
    assert column[4][0] == pytest.approx(BEER_ABV(1.06, 1.01), rel=1e-12)


# --- the brewery's own correction ------------------------------


def test_fit_leans_on_the_defaults_and_names_its_errors():
    [answer] = BEER_FIT([1.048], [6.2], [BEER_SG(1.048, 6.2)])
    factor, alcohol, u_factor, u_alcohol, error, default_error, pairs = answer
    assert factor == pytest.approx(1.04, abs=1e-6)
    assert alcohol == pytest.approx(1.0, abs=1e-6)
    assert 0.8 * wort.FACTOR_U < u_factor < wort.FACTOR_U
    assert 0.8 * 0.05 < u_alcohol < 0.05
    assert max(error, default_error) < 1e-6
    assert pairs == 1


def test_fit_leaves_out_rows_with_a_blank():
    full = BEER_FIT([1.048, 1.06], [6.4, 8.1], [1.0105, 1.013])
    assert BEER_FIT([1.048, None, 1.06, 1.05], [6.4, 7, 8.1, None], [1.0105, 1, 1.013, 1]) == full
    assert full[0][6] == 2


def test_fit_names_a_pair_that_cannot_be():
    assert BEER_FIT([1.048, 1.06], [6.4, 8.1], [1.0605, 1.013])[0][0] == (
        "! hydrometer_sgs 1.0605 is above original_sgs 1.048"
    )
    assert BEER_FIT([1.048, 1.06], [6.4, 40], [1.0105, 1.013])[0][0] == (
        "! brix_readings 40 is above all that unfermented wort of original_sgs 1.06 can show"
    )
    unfermented = BEER_FIT([1.048], [12.4], [1.0485])
    assert isinstance(unfermented[0][0], float), "a reading's own noise is no error"


def test_a_fit_that_beer_sg_would_refuse_is_refused():
    assert BEER_FIT([1.0], [6.2], [1.0])[0][0] == (
        "! brix_readings 6.2 is above all that unfermented wort of original_sgs 1 can show"
    )
    originals = [1.040, 1.050, 1.060, 1.070] * 8
    unfermented = [1.35 * sucrose.plato(sg) for sg in originals]
    assert BEER_FIT(originals, unfermented, originals)[0][0].startswith("! brix_readings 13.4")
    beers = beer.from_attenuation(sucrose.plato(np.array(originals)), 40.0)
    high = BEER_FIT(originals, beers.brix(1.3), beers.sg)[0]
    assert set(high) == {high[0]}
    assert high[0].startswith("! no wort factor from 0.9 to 1.2 fits, but 1.2")
    factor, alcohol = BEER_FIT(originals, beers.brix(1.1), beers.sg)[0][:2]
    assert isinstance(BEER_SG(1.048, 6.2, factor, "balance", alcohol), float)


def test_a_fit_that_does_not_settle_is_refused(monkeypatch):
    monkeypatch.setattr(least_squares, "_MOST_STEPS", 1)
    assert BEER_FIT([1.048, 1.06], [6.4, 8.1], [1.0105, 1.013])[0][0] == (
        "! the two instruments lie too far apart for any factors: look for a slip"
    )
