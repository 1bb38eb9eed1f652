import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests import uncertainties
from xlfuncs.science import blending, kettle, sucrose

volume = st.floats(1, 1000)
sg = st.floats(1.005, 1.1)
rate = st.floats(0.1, 50)


@given(volume, sg, sg, rate)
def test_minutes_boil_away_what_the_target_needs(volume, sg, target, rate):
    minutes = kettle.boil_minutes(volume, sg, target, rate)
    after = blending.after_water(volume, sg, -minutes / 60 * rate)
    assert after == pytest.approx(target, abs=1e-11)


def test_efficiency_is_extract_over_extract():
    """All that 5 kg of grain with 80 % hold, in 30 L."""
    sg = sucrose.sg(sucrose.inverse(sucrose.EXTRACT_PER_LITRE, 4000 / 30, 12.0, steps=5))
    assert kettle.mash_efficiency(30.0, sg, 5.0) == pytest.approx(100)
    assert kettle.mash_efficiency(30.0, sg, 8.0, 0.5) == pytest.approx(100)
    assert kettle.mash_efficiency(15.0, sg, 5.0) == pytest.approx(50)


@given(volume, sg, st.floats(0.5, 1.3), sg, rate, st.floats(0.7, 1))
def test_each_option_ends_where_it_says(volume, sg, part, target, rate, fraction):
    """Each one is carried out, and mass and extract are counted afterwards."""
    target_volume = part * volume
    assume(blending.sg_at_volume(volume, sg, min(volume, target_volume)) < 1.15)
    boil, extract, water, leave = kettle.options(volume, sg, target_volume, target, rate, fraction)
    planned = blending.after_water(volume, sg, -leave.amount / 60 * rate)
    assert leave.sg == pytest.approx(planned, abs=2e-6)
    assert leave.volume == min(volume, target_volume)
    extract_now = blending.extract_mass(volume, sg)
    for option in (boil, water):
        if not option.hindrance:
            held = blending.extract_mass(option.volume, option.sg)
            assert held == pytest.approx(extract_now, rel=1e-9)
    if not boil.hindrance:
        sign = 1 if boil.name == "boil longer" else -1
        minutes = leave.amount + sign * boil.amount
        assert minutes >= -1e-9
        assert blending.after_water(volume, sg, -minutes / 60 * rate) == pytest.approx(
            target, abs=2e-6
        )
    if not extract.hindrance:
        done = blending.after_extract(leave.volume, leave.sg, extract.amount, fraction)
        assert (done.sg, done.volume) == pytest.approx((extract.sg, extract.volume), rel=1e-9)
        assert extract.sg == target
    if not water.hindrance:
        assert blending.after_water(leave.volume, leave.sg, water.amount) == pytest.approx(
            target, abs=1e-9
        )
    for option in (boil, extract, water):
        assert math.isnan(option.amount) == math.isnan(option.sg) == bool(option.hindrance)
        assert not option.amount < 0


@given(volume, sg, st.floats(0.5, 1), sg)
def test_either_water_or_extract_helps(volume, sg, part, target):
    assume(blending.sg_at_volume(volume, sg, part * volume) < 1.15)
    _, extract, water, leave = kettle.options(volume, sg, part * volume, target, 4.0)
    assert bool(extract.hindrance) == (leave.sg > target)
    assert bool(water.hindrance) == (leave.sg < target)


@pytest.mark.parametrize("off", [0.0, 5e-7, -5e-7])
def test_on_target_there_is_nothing_to_do(off):
    """Half a thousandth of a point off, which nobody can read, is on it too."""
    target = float(blending.sg_at_volume(27.0, 1.045, 23.0)) + off
    boil, extract, water, leave = kettle.options(27.0, 1.045, 23.0, target, 4.0)
    assert [boil.amount, extract.amount, water.amount] == [0, 0, 0]
    assert boil.name == "boil shorter", "by 0 minutes"
    assert leave.amount == pytest.approx(60, abs=0.1)
    assert [option.sg for option in (boil, extract, water, leave)] == [target] * 4


def test_a_boil_cannot_be_shortened_below_nothing():
    boil, _, water, leave = kettle.options(20.0, 1.060, 23.0, 1.050, 4.0)
    assert boil.hindrance == (
        "target_sg 1.0500 is below the 1.0600 of the wort: boiling cannot lower a gravity"
    )
    assert (leave.amount, leave.sg, leave.volume) == pytest.approx((0, 1.060, 20), abs=1e-9)
    assert water.volume == pytest.approx(20 + water.amount, abs=0.01)


def test_water_does_not_boil_to_a_gravity():
    boil, extract, water, leave = kettle.options(25.0, 1.0, 23.0, 1.05, 4.0)
    assert "no extract" in boil.hindrance
    assert "water cannot raise a gravity" in water.hindrance
    assert extract.sg == 1.05
    assert (leave.amount, leave.sg) == pytest.approx((30, 1))


def test_marks_made_cold_read_short_in_a_hot_kettle():
    """Three times the linear expansion of stainless steel: 0.3 to 0.4 % from 80 °C to the boil."""
    hot = uncertainties.marked_volume(25.0, np.array([20.0, 80.0, 100.0]))
    assert hot / 25 - 1 == pytest.approx([0, 0.0029, 0.0038], abs=5e-5)
    assert uncertainties.marked_volume(25.0, 20.0, marked_at=100.0) < 25
    assert uncertainties.marked_volume(25.0, 100.0, expansion=70e-6) == pytest.approx(
        25.14, abs=1e-9
    )


@pytest.mark.parametrize("water", [0.5, 4.0, 8.0])
@pytest.mark.parametrize("u", [(0.0005, 0.01, 0.05), (0.001, 0.02, 0.1)])
def test_uncertainty_of_what_a_boil_ends_at(water, u):
    u_sg, u_volume, u_boil_off = u
    drawn = np.random.default_rng(9).normal(size=(3, 100_000))
    end = blending.after_water(
        27 * (1 + u_volume * drawn[0]),
        1.045 + u_sg * drawn[1],
        -water * (1 + u_boil_off * drawn[2]),
    )
    stated = uncertainties.boiled_uncertainty(27.0, 1.045, water, *u)
    assert stated == pytest.approx(np.std(end), rel=0.03)
