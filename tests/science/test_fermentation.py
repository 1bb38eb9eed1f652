"""The course of a fermentation."""

import numpy as np
import pytest

from xlfuncs.science.fermentation import forecast, state


def _course(days, start=1.050, final=1.011, rate=1.2, lag=1.6):
    b = np.exp(lag)
    return final + (start - final) * (1 + b) / (b + np.exp(rate * days))


# --- forecast ------------------------------


@pytest.mark.parametrize("readings", [4, 6, 8, 12])
def test_the_end_lies_within_twice_the_stated_uncertainty(readings):
    """Fermentations as the prior has them, read once a day with 0.001 SG of noise."""
    random = np.random.default_rng(readings)
    final_found, day_found = 0, 0
    days = np.arange(float(readings))
    for _ in range(100):
        final = 1 + 0.050 * (1 - random.normal(0.75, 0.08))
        rate, lag = np.exp(random.normal(0, 0.5)), random.normal(2, 1.5)
        sgs = _course(days, 1.050, final, rate, lag) + random.normal(0, 0.001, readings)
        b = np.exp(lag)
        day = np.log((1.050 - final) * (1 + b) / 0.001 - b) / rate
        found = forecast(days, sgs)
        final_found += abs(found.final - final) <= 2 * found.u_final
        day_found += abs(found.day - day) <= 2 * found.u_day
    assert min(final_found, day_found) >= 90, f"{final_found} and {day_found} of 100"


def test_early_on_it_leans_on_common_practice_and_says_so():
    days = np.array([0.0, 1.0, 2.0])
    early = forecast(days, _course(days, final=1.020))
    late = forecast(np.arange(12.0), _course(np.arange(12.0), final=1.020))
    assert abs(early.final - (1.050 - 0.75 * 0.050)) < 0.004
    assert early.u_final > 5 * late.u_final
    assert abs(late.final - 1.020) < 2e-4


def test_readings_that_say_nothing_leave_common_practice():
    """Three quarters ± an eighth, a tail of a day (half or twice), a lag of 2 ± 2; day by hand."""
    fall, b = 0.75 * 0.050, np.exp(2.0)
    inside = fall * (1 + b) / 0.001 - b
    by_fall, by_lag = (1 + b) / 0.001 / inside, b * (fall / 0.001 - 1) / inside
    u_day = np.hypot(np.log(inside) * np.log(2), np.hypot(by_fall * 0.125 * 0.050, by_lag * 2))
    found = forecast(np.array([0.0, 1.0, 2.0]), np.array([1.050, 1.060, 1.040]), u_sg=10.0)
    assert found.day == pytest.approx(np.log(inside), rel=1e-3)
    assert found.u_day == pytest.approx(u_day, rel=0.012)
    assert found.u_final == pytest.approx(10 / 3**0.5, rel=1e-3)  # where three readings start
    found = forecast(np.array([0.0, 1e-6, 2e-6]), np.full(3, 1.050), u_sg=1e-5)
    assert found.final == pytest.approx(1.050 - fall, abs=1e-5)
    assert found.u_final == pytest.approx(0.125 * 0.050, rel=1e-3)


@pytest.mark.parametrize(
    "course",
    [
        lambda t: 1.011 + 0.039 * np.exp(-0.8 * t),
        lambda t: 1.011 + 0.039 / (1 + np.exp((t - 3) / 0.6)),
        lambda t: 1.011 + 0.039 * (1 - np.exp(-6 * np.exp(-t))),
    ],
    ids=["exponential", "logistic", "gompertz"],
)
def test_courses_of_other_shape(course):
    days = np.arange(9.0)
    found = forecast(days, course(days))
    assert abs(found.final - 1.011) <= 2 * found.u_final
    end = np.linspace(0, 12, 12001)
    assert abs(found.day - end[np.argmax(course(end) < 1.012)]) <= 2 * found.u_day


def test_dates_and_order_do_not_matter():
    days = np.array([0, 1, 2, 3, 5, 7.0])
    found = forecast(days, _course(days))
    mixed = [3, 0, 5, 1, 4, 2]
    dated = forecast(46_095 + days[mixed], _course(days)[mixed])
    assert dated.final == pytest.approx(found.final, abs=1e-7)
    assert dated.day - 46_095 == pytest.approx(found.day, abs=1e-4)
    assert dated.u_day == pytest.approx(found.u_day, rel=1e-3)


def test_scatter_larger_than_the_readings_grows_the_uncertainty():
    days = np.arange(8.0)
    scattered = _course(days) + 0.003 * np.array([1, -1, 1, -1, 1, -1, 1, -1])
    quiet, found = forecast(days, _course(days)), forecast(days, scattered)
    assert found.u_final > 2 * quiet.u_final
    assert found.u_day > 2 * quiet.u_day
    assert quiet == forecast(days, _course(days), u_sg=0.001)


@pytest.mark.parametrize("first", [1.004, 1.0055, 1.008])
def test_beer_that_stands_still_is_at_its_end_from_the_first_reading_on(first):
    days = 100 + np.arange(12.0)
    found = forecast(days, np.full(12, first), u_sg=1e-5)
    assert found.day == 100
    assert found.u_day == 0
    assert found.final == pytest.approx(first, abs=0.001)


# --- state ------------------------------


@pytest.mark.parametrize(
    ("days", "points", "expected"),
    [
        ([0], [50], "too few readings"),
        ([0, 1], [50, 50], "not started"),
        ([0, 1, 2, 4], [50, 50, 49, 50], "not started"),
        ([0, 1, 2], [29.5, 29.5, 30.5], "not started"),  # the last reading tells wort from beer
        ([0, 1, 2], [30.5, 30.5, 29.5], "too few readings"),
        ([0, 1], [30, 30], "not started"),  # from 1.030 on
        ([0, 1, 2], [50, 49, 44], "fermenting"),
        ([0, 0.5], [50, 44], "fermenting"),  # too near each other for a rate
        ([0, 1, 2, 3], [50, 49, 40, 28], "fermenting"),
        ([0, 1, 2, 3, 4, 5], [50, 48, 35, 22, 15, 12], "slowing"),
        ([0, 2, 4, 6], [50, 22, 14, 11], "slowing"),
        ([0, 1, 2], [62.5, 31.25, 15.625], "fermenting"),  # half as fast is not less than half
        ([0, 2, 4, 5, 7], [50, 22, 11, 11, 10], "steady"),
        ([0, 2, 4, 5, 6.9], [50, 22, 11, 11, 11], "slowing"),
        ([0, 2, 4, 7], [50, 22, 11, 11], "steady"),
        ([0, 3], [10, 10], "steady"),
        ([0, 1], [10, 10], "too few readings"),
        ([0, 4, 7], [50, 14, 11], "slowing"),
        ([0, 1, 4], [50, 44, 38], "slowing"),  # two points a day after six
        ([0, 1, 2, 3], [50, 40, 30, 28], "slowing"),  # a day is long enough for a rate
        ([0, 0.9, 1.8], [50, 40, 38], "fermenting"),  # and less is not
    ],
)
def test_states(days, points, expected):
    sgs = 1 + np.array(points) / 1000
    assert state(np.array(days, dtype=float), sgs) == expected
    if len(days) > 1:
        backwards = slice(None, None, -1)
        assert state(np.array(days, dtype=float)[backwards], sgs[backwards]) == expected


def test_a_fall_of_the_uncertainty_of_a_difference_may_be_none():
    """2·√2·u, as two readings of the same differ by in one case of twenty: no fall as yet."""
    days, lowest = np.array([0.0, 1.0]), 1.050 - 2 * 2**0.5 * 0.001
    assert state(days, np.array([1.050, lowest])) == "not started"
    assert state(days, np.array([1.050, lowest - 1e-6])) == "fermenting"


def test_steady_hangs_on_the_uncertainty():
    days, sgs = np.array([0.0, 4, 6, 8]), np.array([1.050, 1.013, 1.0115, 1.010])
    assert state(days, sgs, 0.001) == "slowing"
    assert state(days, sgs, 0.002) == "steady"
    assert state(days, sgs, 0.0003) == "slowing"
