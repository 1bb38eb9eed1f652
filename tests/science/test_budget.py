"""What readings share stays shared: first order against draws through the project's own chain."""

import numpy as np
import pytest

from tests import uncertainties
from tests.published import Table
from xlfuncs.science import beer, budget, wort
from xlfuncs.science.budget import Effects
from xlfuncs.science.calibration import Calibration

CHECKED = Calibration(0.06, 0.0, 0.01)
TWO_POINTS = Calibration(0.07, 10.0, 0.007)
DRAWS = 100_000


def drawn(seed=5):
    """Standard normal draws: own, own, level, tilt, factor, model."""
    return np.random.default_rng(seed).normal(size=(6, DRAWS))


def errors(calibration, brix, level, tilt):
    return calibration.level * level + (brix - calibration.centre) * calibration.slope * tilt


@pytest.mark.parametrize("calibration", [CHECKED, TWO_POINTS])
@pytest.mark.parametrize(("first", "second"), [(12.4, 12.9), (12.4, 3.0), (20.0, 8.0)])
@pytest.mark.parametrize("weights", [(1, -1), (0.5, 0.5), (0.2, 0.8)])
def test_two_worts_on_one_instrument(calibration, first, second, weights):
    own, other, level, tilt, factor, _ = drawn()
    factors = 1.04 + 0.012 * factor
    gravities = [
        wort.sg(brix + 0.1 * noise + errors(calibration, brix, level, tilt), factors)
        for brix, noise in ((first, own), (second, other))
    ]
    combined = weights[0] * gravities[0] + weights[1] * gravities[1]
    readings = [uncertainties.wort_gravity(brix, 0.1, calibration) for brix in (first, second)]
    assert uncertainties.together(weights, readings) == pytest.approx(np.std(combined), rel=0.02)


def test_a_single_wort_is_what_the_cell_function_says():
    reading = uncertainties.wort_gravity(12.4, 0.1, CHECKED)
    stated = wort.sg_uncertainty(12.4, 1.04, 0.1, wort.FACTOR_U, CHECKED.at(12.4))
    assert reading.u == pytest.approx(stated, rel=1e-6)
    assert np.hypot(reading.own, reading.common) == pytest.approx(reading.u)


@pytest.mark.parametrize("same", [True, False])
@pytest.mark.parametrize("share", [0.5, 0.8])
def test_beer_whose_original_was_read_on_the_same_refractometer(same, share):
    first, second = 12.4, share * 12.4
    own, other, level, tilt, factor, model = drawn(6)
    apart = np.random.default_rng(7).normal(size=(2, DRAWS))
    factors = 1.04 + 0.012 * factor
    start_errors = errors(CHECKED, first, *((level, tilt) if same else apart))
    original = (first + 0.1 * own + start_errors) / factors
    gravity = beer.from_brix(
        original, second + 0.1 * other + errors(CHECKED, second, level, tilt), factors
    ).sg
    gravity = gravity + beer.MODEL_U * model
    alcohol = beer.from_sg(original, gravity).abv

    start = uncertainties.wort_gravity(first, 0.1, CHECKED)
    start = start if same else uncertainties.on_another_instrument(start)
    now, rise = uncertainties.beer_reading(first / 1.04, second, 0.1, CHECKED)
    assert uncertainties.together((rise, 1), (start, now)) == pytest.approx(
        np.std(gravity), rel=0.02
    )
    original_sg = wort.sg(first)
    by_original, by_sg = uncertainties.analysis_slopes(
        lambda extract, sg: beer.from_sg(extract, sg).abv,
        original_sg,
        beer.from_brix(first / 1.04, second).sg,
    )
    stated = uncertainties.together((by_original + by_sg * rise, by_sg), (start, now))
    assert stated == pytest.approx(np.std(alcohol), rel=0.02)


def test_alcohol_from_one_hydrometer():
    """0.001 for reading and for scale: ±0.38 % ABV, not ±0.53 as if the scale were two."""
    reading = uncertainties.hydrometer(0.001, 0.001)
    by_original, by_sg = uncertainties.analysis_slopes(
        lambda original, sg: beer.from_sg(original, sg).abv, 1.060, 1.012
    )
    shared = 2 * uncertainties.together((by_original, by_sg), (reading, reading))
    unshared = 2 * np.hypot(by_original * reading.u, by_sg * reading.u)
    assert (round(float(shared), 2), round(float(unshared), 2)) == (0.38, 0.53)


def test_the_wort_factor_hardly_touches_beer_read_on_the_same_refractometer():
    start = uncertainties.wort_gravity(12.4, 0.1, CHECKED)
    now, rise = uncertainties.beer_reading(12.4 / 1.04, 6.2, 0.1, CHECKED)
    assert abs(now.factor) > 3e-4
    assert abs(rise * start.factor + now.factor) < 0.05 * abs(now.factor)


def test_arrays_and_numbers_agree():
    brix = np.array([3.0, 12.4])
    many = uncertainties.wort_gravity(brix, 0.1, CHECKED)
    for i, each in enumerate(brix):
        one = uncertainties.wort_gravity(float(each), 0.1, CHECKED)
        assert [np.broadcast_to(part, (2,))[i] for part in many] == pytest.approx(list(one))
    assert uncertainties.together((1, -1), (many, many)).shape == (2,)
    assert isinstance(uncertainties.together((1, -1), (Effects(0.1), Effects(0.2))), float)


def test_the_slope_by_temperature_is_that_of_the_1936_table():
    """Its rows at 25 °C less those at 15 °C, over 10 °C; they are rounded to 0.01 °Bx."""
    table = Table("refractometer_temperature_1936")
    rows = {
        (row["temperature"], row["reading"]): float(row["correction"])
        for row in table.rows
        if row["temperature"] in ("15", "25")
    }
    readings = [reading for temperature, reading in rows if temperature == "15"]
    slopes = [(rows["25", reading] - rows["15", reading]) / 10 for reading in readings]
    found = budget.temperature_slope(np.array(readings, dtype=float), 20.0)
    assert len(slopes) == 7
    assert np.max(np.abs(found - slopes)) < 0.004
