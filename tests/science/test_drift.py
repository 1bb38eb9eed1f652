"""Drift, adjustments and intervals; and five hundred instruments whose truth is known."""

import numpy as np
import pytest
import scipy.stats

from tests import oracles
from xlfuncs.science import calibration, drift
from xlfuncs.science.conformity import COVERAGE

DAYS = np.array([0.0, 31, 58, 92, 120, 155])
OFFSETS = np.array([0.02, 0.05, 0.04, 0.11, 0.13, 0.14])


def test_drift_against_linregress():
    expected = scipy.stats.linregress(DAYS, OFFSETS)
    found = oracles.drift(DAYS, OFFSETS, 0.05)
    assert found.rate == pytest.approx(30 * expected.slope)
    # linregress takes the uncertainty from the scatter, which `scatter` states in units of u.
    assert found.u_rate * found.scatter == pytest.approx(30 * expected.stderr)


def test_drift_with_uncertainties_of_their_own_against_polyfit():
    u = np.array([0.05, 0.02, 0.05, 0.05, 0.01, 0.03])
    (slope, _), covariance = np.polyfit(DAYS, OFFSETS, 1, w=1 / u, cov="unscaled")
    found = oracles.drift(DAYS, OFFSETS, u)
    assert (found.rate, found.u_rate) == pytest.approx((30 * slope, 30 * covariance[0, 0] ** 0.5))


@pytest.mark.parametrize("days", [[], [5.0], [5.0, 5.0]])
def test_no_drift_from_a_single_day(days):
    found = oracles.drift(np.array(days), np.zeros(len(days)), 0.1)
    assert np.isnan(found.rate)
    assert found.checks == len(days)


def test_an_adjustment_is_no_drift():
    days = np.array([0.0, 30, 60, 60, 90, 120])
    offsets = np.array([0.0, 0.05, 0.10, 0.0, 0.05, 0.10])
    left = np.array([False, False, False, True, False, False])
    found = oracles.drift(days, offsets, 0.05, left)
    assert found.rate == pytest.approx(0.05)
    assert found.scatter == pytest.approx(0, abs=1e-9)
    # Two levels of a line of three days each: spread of days 2·1800.
    assert found.u_rate == pytest.approx(30 * 0.05 / 3600**0.5)
    assert oracles.drift(days, offsets, 0.05).rate < 0.025


def test_levels_are_least_squares_with_a_column_for_each():
    random = np.random.default_rng(2)
    days, u = np.sort(random.uniform(0, 300, 12)), random.uniform(0.05, 0.2, 12)
    left = np.isin(np.arange(12), [4, 9])
    offsets = random.normal(0, 0.1, 12)
    columns = np.stack([days, *(np.cumsum(left) == level for level in range(3))], axis=1)
    covariance = np.linalg.inv(columns.T @ (columns / u[:, None] ** 2))
    solution = covariance @ columns.T @ (offsets / u**2)
    found = oracles.drift(days, offsets, u, left)
    assert (found.rate, found.u_rate) == pytest.approx(
        (30 * solution[0], 30 * covariance[0, 0] ** 0.5)
    )


def test_the_first_check_may_be_as_left():
    left = np.array([True, False, False])
    found = oracles.drift(np.array([0.0, 30, 60]), np.array([0.0, 0.1, 0.2]), 0.1, left)
    assert found.rate == pytest.approx(0.1)
    assert found.checks == 3


@pytest.mark.parametrize("adjusted", [[], [4, 9], [0], [1, 2, 3]])
def test_slope_within_levels_against_the_sums_of_the_oracle(adjusted):
    random = np.random.default_rng(7)
    days, u = np.sort(random.uniform(45000, 46000, 12)), random.uniform(0.05, 0.2, 12)
    offsets, left = random.normal(0, 0.1, 12), np.isin(np.arange(12), adjusted)
    wanted = oracles.drift(days, offsets, u, left)
    per_day, its_u = drift.slope(days, offsets, u, np.cumsum(left))
    assert (30 * per_day, 30 * its_u) == pytest.approx((wanted.rate, wanted.u_rate))


@pytest.mark.parametrize(
    ("days", "levels"),
    [([], []), ([46088.3], [0]), ([46088.3] * 3, [0] * 3), ([46000.3, 46088.7], [0, 1])],
)
def test_slope_of_one_day_a_level_is_none(days, levels):
    u = np.array([0.1, 0.03, 0.07])[: len(days)]
    found = drift.slope(np.array(days), np.arange(len(days)) * 1.0, u, np.array(levels))
    assert np.isnan(found).all()


@pytest.mark.parametrize(
    ("offsets", "left", "days"),
    [
        ([], [], 30),
        ([0.5], [False], 30),  # as received
        ([0.0, 0.16], [False] * 2, 37.5),  # 80 % of the tolerance is calm
        ([0.0, 0.17], [False] * 2, 30),
        ([0.0, -0.2], [False] * 2, 30),  # on the tolerance
        ([0.0, -0.21], [False] * 2, 15),
        ([0.0, 0.3, 0.0], [False, False, True], 15),  # as left counts for nothing
        ([0.0, 0.3, 0.3, 0.3, 0.3], [False] * 5, 7),
        ([0.0] * 20, [False] * 20, 365),
    ],
)
def test_staircase(offsets, left, days):
    assert oracles.staircase(30, offsets, 0.2, left) == pytest.approx(days)


INSTRUMENTS, TIMES, CHECKS, ADJUSTED = 500, 10, 8, 5
REFERENCES = np.array([0.0, 5.0, 10.0, 15.0, 20.0])


@pytest.fixture(scope="module")
def covered():
    """Share of the stated 95 % intervals that cover the truth of 500 known instruments.

    Each instrument is calibrated ten times over, so that the shares are sure to 0.3 %.
    """
    random = np.random.default_rng(500)
    answers = {"offset": [], "slope": [], "drift": [], "offset in water": []}

    def note(what, stated, u, truth):
        answers[what].append(abs(stated - truth) <= COVERAGE * u)

    for _ in range(INSTRUMENTS):
        offset, slope = random.normal(0, 0.2), random.normal(1, 0.02)
        noise, rate = random.uniform(0.03, 0.2), random.normal(0, 0.1)
        for _ in range(TIMES):
            shown = offset + slope * REFERENCES + random.normal(0, noise, REFERENCES.size)
            line = calibration.fit_line(shown, REFERENCES, noise)
            note("offset", line.offset, line.u_offset, offset)
            note("slope", line.slope, line.u_slope, slope)
            water = calibration.fit_line(shown[:1], REFERENCES[:1], noise)
            note("offset in water", water.offset, water.u_offset, offset)
            days = np.sort(random.uniform(0, 365, CHECKS))
            checks = offset + rate * days / 30 + random.normal(0, noise, CHECKS)
            checks[ADJUSTED:] -= 0.2
            found = oracles.drift(days, checks, noise, np.arange(CHECKS) == ADJUSTED)
            note("drift", found.rate, found.u_rate, rate)
    return {what: np.mean(hits) for what, hits in answers.items()}


@pytest.mark.parametrize("what", ["offset", "slope", "offset in water", "drift"])
def test_stated_intervals_cover_what_they_say(covered, what):
    assert 0.93 <= covered[what] <= 0.97, covered
