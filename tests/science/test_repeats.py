"""Readings of one wort, a drop at a time."""

import numpy as np
import pytest

from xlfuncs.science import repeats


def test_one_reading_is_itself():
    one = repeats.taken_together(np.array([12.4]), 0.1)
    assert (one.mean, one.u_own, one.readings, one.far) == (12.4, 0.1, 1, None)
    assert np.isnan(one.scatter)
    assert one.u(0.15, 0.1) == pytest.approx(0.15)


def test_the_common_part_stays_however_many_there_are():
    many = repeats.taken_together(12.4 + np.array([-0.1, 0.1] * 50), 0.1)
    assert many.u_own < 0.011
    assert many.u(0.15, 0.1) == pytest.approx(np.sqrt(0.15**2 - 0.1**2), rel=0.01)


def test_few_that_agree_by_luck_are_not_believed_and_many_that_scatter_are():
    lucky = repeats.taken_together(np.array([12.4, 12.4, 12.4]), 0.1)
    assert lucky.u_own == pytest.approx(0.1 / 3**0.5)
    wide = repeats.taken_together(np.array([12.2, 12.4, 12.6]), 0.1)
    assert wide.u_own == pytest.approx(0.2 / 3**0.5)
    assert wide.far is None


@pytest.mark.parametrize("position", range(4))
@pytest.mark.parametrize("slip", [-1.0, 1.0])
def test_one_far_from_the_rest_is_named_and_still_counts(position, slip):
    readings = np.array([12.4, 12.5, 12.4, 12.45])
    readings[position] += slip
    together = repeats.taken_together(readings, 0.1)
    assert together.far == position
    assert together.mean == pytest.approx(readings.mean())
    assert together.u_own > 0.2


def test_of_two_that_lie_apart_the_later_is_named():
    assert repeats.taken_together(np.array([12.4, 13.0]), 0.1).far == 1
    assert repeats.taken_together(np.array([13.0, 12.4]), 0.1).far == 1
    assert repeats.taken_together(np.array([12.4, 12.7]), 0.1).far is None


@pytest.mark.parametrize(("number", "share"), [(2, 0.0027), (3, 0.008), (6, 0.016)])
def test_how_often_sound_readings_are_named(number, share):
    drawn = np.random.default_rng(number).normal(12.4, 0.1, (20_000, number))
    named = np.mean([repeats.taken_together(row, 0.1).far is not None for row in drawn])
    assert named == pytest.approx(share, abs=0.002)


def test_readings_of_one_wort_lie_within_half_an_hour():
    """As docs/audit.md and the log say."""
    assert repeats.TOGETHER_MINUTES == 30
