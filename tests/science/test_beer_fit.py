"""A brewery's own correction from paired readings."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from xlfuncs.science import beer, beer_fit
from xlfuncs.science.beer_fit import PRIOR, PRIOR_SPREAD


def _brewery(random, pairs, wort_factor, alcohol_factor):
    """Paired readings of beers of all ages, with the noise that the weights assume."""
    beers = beer.from_attenuation(random.uniform(9, 20, pairs), random.uniform(5, 72, pairs))
    return (
        beers.original,
        beers.brix(wort_factor, alcohol_factor) + random.normal(0, 0.1, pairs),
        beers.sg + random.normal(0, 0.001, pairs),
    )


def outliers(fit):
    """Pairs that the sheets mark as lying apart from what the others say."""
    return np.abs(fit.deviations) > beer_fit.OUTLIER


@pytest.mark.parametrize("pairs", [3, 10, 30, 100])
def test_known_factors_are_recovered_within_twice_the_uncertainty(pairs):
    random = np.random.default_rng(7 + pairs)
    wort, alcohol = 0, 0
    for _ in range(200):
        factors = random.normal(PRIOR, PRIOR_SPREAD)
        fit = beer_fit.fit(*_brewery(random, pairs, *factors))
        wort += abs(fit.wort_factor - factors[0]) <= 2 * fit.u_wort_factor
        alcohol += abs(fit.alcohol_factor - factors[1]) <= 2 * fit.u_alcohol_factor
    assert min(wort, alcohol) >= 180, f"{wort} and {alcohol} of 200"


def test_one_pair_moves_it_little_and_thirty_let_the_data_speak():
    random = np.random.default_rng(5)
    true = 1.06, 0.88
    one = beer_fit.fit(*_brewery(random, 1, *true))
    thirty = beer_fit.fit(*_brewery(random, 30, *true))
    assert abs(one.alcohol_factor - 1.0) < 0.05
    assert one.u_alcohol_factor > 0.85 * PRIOR_SPREAD[1]
    assert abs(thirty.wort_factor - true[0]) < 0.01
    assert thirty.u_wort_factor < 0.4 * PRIOR_SPREAD[0]
    assert thirty.u_alcohol_factor < 0.65 * PRIOR_SPREAD[1]


def test_pairs_that_the_defaults_explain_leave_the_defaults():
    beers = beer.from_attenuation(np.array([10.0, 12.0, 18.0]), np.array([60.0, 30.0, 65.0]))
    fit = beer_fit.fit(beers.original, beers.brix(1.04, 1.0), beers.sg)
    assert abs(fit.wort_factor - 1.04) < 1e-9
    assert abs(fit.alcohol_factor - 1.0) < 1e-9
    assert fit.error < 1e-9
    assert fit.default_error < 1e-9


def test_it_is_the_most_probable_pair_of_factors():
    """scipy's least squares on the same posterior, written out plainly, ends at the same place."""
    original, brix, sg = _brewery(np.random.default_rng(11), 12, 1.06, 0.93)

    def residuals(factors):
        def shown(gravity):
            return beer.from_sg(original, gravity).brix(*factors)

        slope = (shown(sg + 1e-4) - shown(sg - 1e-4)) / 2e-4
        data = (brix - shown(sg)) / np.sqrt(0.1**2 + (0.001 * slope) ** 2)
        return [*data, *((factors - PRIOR) / PRIOR_SPREAD)]

    best = least_squares(residuals, [1.04, 1.0], jac="3-point", xtol=1e-12, ftol=1e-12)
    covariance = np.linalg.inv(best.jac.T @ best.jac)
    fit = beer_fit.fit(original, brix, sg)
    assert abs(fit.wort_factor - best.x[0]) < 1e-6
    assert abs(fit.alcohol_factor - best.x[1]) < 1e-6
    assert fit.u_wort_factor == pytest.approx(covariance[0, 0] ** 0.5, rel=1e-4)
    assert fit.u_alcohol_factor == pytest.approx(covariance[1, 1] ** 0.5, rel=1e-4)
    assert fit.correlation == pytest.approx(
        covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]), rel=1e-4
    )


def test_readings_ten_times_as_noisy_settle_too():
    random = np.random.default_rng(8)
    for _ in range(50):
        original, brix, sg = _brewery(random, 3, 1.04 + random.normal(0, 0.04), 1.0)
        fit = beer_fit.fit(original, brix + random.normal(0, 1, 3), sg + random.normal(0, 0.01, 3))
        assert np.isfinite([fit.wort_factor, fit.alcohol_factor]).all()


def test_leaving_a_pair_out_is_a_fit_without_it():
    original, brix, sg = _brewery(np.random.default_rng(2), 8, 1.06, 0.93)
    fit = beer_fit.fit(original, brix, sg)
    for i in range(8):
        rest = np.arange(8) != i
        other = beer_fit.fit(original[rest], brix[rest], sg[rest])
        corrected = beer.from_brix(original[i], brix[i], other.wort_factor, other.alcohol_factor).sg
        assert abs(sg[i] - corrected - fit.sg_errors[i]) < 1e-5
    plain = sg - beer.from_brix(original, brix).sg
    assert fit.default_error == pytest.approx(np.sqrt(np.mean(plain**2)), rel=1e-12)
    assert fit.error == pytest.approx(np.sqrt(np.mean(fit.sg_errors**2)), rel=1e-12)


def test_a_deviation_is_counted_in_what_the_others_leave_unsure():
    """The misfit to a fit without the pair, over its own doubt and theirs (GUM, equation 13)."""
    original, brix, sg = _brewery(np.random.default_rng(2), 5, 1.06, 0.93)
    fit = beer_fit.fit(original, brix, sg)
    for i in range(5):
        rest = np.arange(5) != i
        other = beer_fit.fit(original[rest], brix[rest], sg[rest])

        def shown(wort_factor, alcohol_factor, gravity=sg[i], original=original[i]):
            return beer.from_sg(original, gravity).brix(wort_factor, alcohol_factor)

        factors, u = (other.wort_factor, other.alcohol_factor), other.u_wort_factor
        by_wort = (shown(factors[0] + u, factors[1]) - shown(factors[0] - u, factors[1])) / 2
        u = other.u_alcohol_factor
        by_alcohol = (shown(factors[0], factors[1] + u) - shown(factors[0], factors[1] - u)) / 2
        by_sg = (shown(*factors, sg[i] + 0.001) - shown(*factors, sg[i] - 0.001)) / 2
        common = 2 * other.correlation * by_wort * by_alcohol
        doubt = np.sqrt(0.1**2 + by_sg**2 + by_wort**2 + by_alcohol**2 + common)
        expected = (shown(*factors) - brix[i]) / doubt
        assert fit.deviations[i] == pytest.approx(expected, rel=0.01)


def test_an_own_correction_beats_the_defaults_where_there_is_something_to_learn():
    fit = beer_fit.fit(*_brewery(np.random.default_rng(4), 60, 1.08, 0.9))
    assert fit.error < 0.8 * fit.default_error
    assert fit.pairs == 60
    assert not outliers(fit).any()


def test_an_outlier_is_named_and_still_counts():
    original, brix, sg = _brewery(np.random.default_rng(9), 30, 1.05, 1.0)
    clean = beer_fit.fit(original, brix, sg)
    assert not outliers(clean).any()
    brix[17] += 1.5
    fit = beer_fit.fit(original, brix, sg)
    assert np.flatnonzero(outliers(fit)).tolist() == [17]
    assert fit.pairs == 30
    assert fit.wort_factor > clean.wort_factor
