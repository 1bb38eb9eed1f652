import math

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.science import sucrose, wort

BRIX = np.array([8.2, 10.1, 12.6, 14.9, 17.3, 20.4])
SG = np.array([1.0311, 1.0393, 1.0487, 1.0589, 1.0684, 1.0818])


def test_factor_one_is_sucrose():
    extract = np.linspace(0, 30, 31)
    assert wort.sg(extract, 1.0) == pytest.approx(sucrose.sg(extract), abs=1e-12)


@given(st.floats(-1, 44), st.floats(0.9, 1.2))
def test_gravity_and_brix_are_inverse(brix, factor):
    assert wort.brix(wort.sg(brix, factor), factor) == pytest.approx(brix, abs=1e-10)


@given(st.floats(-1, 44), st.floats(0.01, 1), st.floats(0.9, 1.2))
def test_gravity_rises_with_brix(brix, more, factor):
    assert wort.sg(brix + more, factor) > wort.sg(brix, factor)


def effective(factor):
    """Both readings err: the weight of a pair is its effective variance in SG."""
    slope = np.gradient(sucrose.sg(np.linspace(0, 30, 3001)), np.linspace(0, 30, 3001))
    at = np.interp(BRIX / factor, np.linspace(0, 30, 3001), slope)
    return np.hypot(0.001, at * 0.1 / factor)


def test_factor_fit_against_curve_fit():
    fit = wort.fit_factor(BRIX, SG)
    sigma = effective(fit.factor)
    (factor,), covariance = scipy.optimize.curve_fit(
        wort.sg, BRIX, SG, p0=[1.0], sigma=sigma, absolute_sigma=True
    )
    assert fit.factor == pytest.approx(factor, abs=1e-6)
    assert fit.uncertainty == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-3)
    squares = np.sum((SG - wort.sg(BRIX, fit.factor)) ** 2)
    assert fit.residual == pytest.approx(np.sqrt(squares / (BRIX.size - 1)), rel=1e-9)
    assert fit.pairs == BRIX.size


def test_scatter_larger_than_the_readings_grows_the_uncertainty():
    scattered = SG + 0.005 * np.array([1, -1, 1, -1, 1, -1])
    fit = wort.fit_factor(BRIX, scattered)
    quiet = wort.fit_factor(BRIX, SG)
    assert fit.uncertainty > 2 * quiet.uncertainty
    (factor,), covariance = scipy.optimize.curve_fit(
        wort.sg, BRIX, scattered, p0=[1.0], sigma=effective(fit.factor)
    )
    assert fit.factor == pytest.approx(factor, abs=1e-6)
    assert fit.uncertainty == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-3)


def test_factor_fit_finds_the_factor_of_exact_pairs():
    brix = np.linspace(5, 25, 9)
    fit = wort.fit_factor(brix, wort.sg(brix, 1.023))
    assert fit.factor == pytest.approx(1.023, abs=1e-12)
    assert fit.residual == pytest.approx(0, abs=1e-12)


def test_one_pair_is_a_ratio_without_residual():
    fit = wort.fit_factor(np.array([12.5]), np.array([1.0484]))
    assert fit.factor == pytest.approx(12.5 / sucrose.plato(1.0484))
    assert np.isnan(fit.residual)
    assert fit.pairs == 1
    twice = wort.fit_factor(np.full(2, 12.5), np.full(2, 1.0484))
    assert fit.uncertainty == pytest.approx(math.sqrt(2) * twice.uncertainty, rel=1e-9)


def test_uncertainty_of_a_gravity_by_hand():
    step = 1e-5
    by_brix = (wort.sg(12.4 + step) - wort.sg(12.4 - step)) / (2 * step)
    by_factor = (wort.sg(12.4, 1.04 + step) - wort.sg(12.4, 1.04 - step)) / (2 * step)
    expected = np.sqrt((by_brix * 0.1) ** 2 + (by_brix * 0.05) ** 2 + (by_factor * 0.01) ** 2)
    assert wort.sg_uncertainty(12.4, 1.04, 0.1, 0.01, 0.05) == pytest.approx(expected, rel=1e-5)


def test_uncertainty_against_draws():
    rng = np.random.default_rng(7)
    draws = wort.sg(
        rng.normal(12.4, 0.1, 200_000) - rng.normal(0, 0.05, 200_000),
        rng.normal(1.04, 0.01, 200_000),
    )
    u = wort.sg_uncertainty(12.4, 1.04, 0.1, 0.01, 0.05)
    assert u == pytest.approx(np.std(draws), rel=0.01)
