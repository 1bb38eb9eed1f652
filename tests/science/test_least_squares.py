"""Least squares to the end."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from xlfuncs.science import beer, beer_fit, fermentation, runoff
from xlfuncs.science.least_squares import settle

X = np.linspace(0, 4, 9)


def model_of(y):
    def model(p):
        fall = np.exp(-p[1] * X)
        slopes = np.column_stack([fall, -p[0] * X * fall, np.ones_like(X)])
        return p[0] * fall + p[2] - y, slopes

    return model


def test_it_ends_where_scipy_does():
    y = 3 * np.exp(-0.7 * X) + 1 + np.random.default_rng(1).normal(0, 0.3, X.size)
    found = settle(model_of(y), np.array([2.0, 0.5, 0.5]), np.ones(3))
    residuals, slopes = (lambda p, which=which: model_of(y)(p)[which] for which in (0, 1))
    best = least_squares(residuals, [2.0, 0.5, 0.5], slopes, ftol=1e-15, xtol=1e-15)
    assert found == pytest.approx(best.x, abs=1e-6)
    # Where the sum is least the gradient is nothing but rounding.
    gradient = slopes(found).T @ residuals(found)
    assert np.abs(gradient) == pytest.approx(0, abs=1e-13)


def test_a_far_start_is_damped():
    y = 3 * np.exp(-0.7 * X) + 1
    found = settle(model_of(y), np.array([1.0, 0.2, 0.0]), np.ones(3))
    assert found == pytest.approx([3, 0.7, 1], abs=1e-9)


def test_a_step_that_raises_the_sum_is_halved():
    """Whole steps on atan lead from 1.5 ever farther away from 0, where its square is least."""
    found = settle(lambda p: (np.arctan(p), np.diag(1 / (1 + p**2))), np.array([1.5]), np.ones(1))
    assert found == pytest.approx(0, abs=1e-9)


def test_it_ends_from_so_near_that_the_sum_tells_nothing():
    y = 3 * np.exp(-0.7 * X) + 1 + np.random.default_rng(1).normal(0, 0.3, X.size)
    best = settle(model_of(y), np.array([2.0, 0.5, 0.5]), np.ones(3))
    again = settle(model_of(y), best + 1e-7, np.ones(3))
    assert again == pytest.approx(best, abs=1e-12)


def test_what_does_not_end_is_not_a_number():
    def runs_off(p):
        return np.exp(-p), -np.exp(-p)[:, np.newaxis]

    found = settle(runs_off, np.zeros(1), np.ones(1))
    assert np.isnan(found).all()


def _beers(random):
    beers = beer.from_attenuation(random.uniform(9, 20, 12), random.uniform(5, 72, 12))
    shown = beers.brix(1.06, 0.93) + random.normal(0, 0.1, 12)
    return beers.original, shown, beers.sg + random.normal(0, 0.001, 12)


def _fermentation(random):
    days = np.array([0.0, 1, 2, 3, 5, 7])
    return days, 1.011 + 0.24 / (5 + np.exp(1.2 * days)) + random.normal(0, 0.001, 6)


def _runoff(random):
    volumes = np.array([2.0, 6, 10, 14, 18, 22])
    return volumes, 18 * np.exp(-volumes / 15) + random.normal(0, 0.1, 6)


@pytest.mark.parametrize(
    ("fit", "made", "names"),
    [
        (beer_fit.fit, _beers, ("wort_factor", "alcohol_factor", "u_alcohol_factor", "error")),
        (fermentation.forecast, _fermentation, ("final", "u_final", "day")),
        (lambda *given: runoff.fit(*given, 2.5), _runoff, ("volume", "scale", "uncertainty")),
    ],
    ids=["pairs", "forecast", "runoff"],
)
def test_no_fit_enlarges_the_last_bits_of_its_readings(fit, made, names):
    """Two ways to one reading differ by its rounding: so may the answers, and by little more."""
    random = np.random.default_rng(6)
    readings = made(random)
    bit = np.finfo(float).eps
    fits = [
        fit(*(values * (1 + bit * random.integers(-1, 2, values.size)) for values in readings))
        for _ in range(30)
    ]
    for name in names:
        found = np.array([getattr(one, name) for one in fits])
        assert np.ptp(found) < 1e-11 * np.abs(found).max(), name
