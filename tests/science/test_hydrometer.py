import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science import hydrometer, sucrose, units, water, wort


def test_against_the_c440_table():
    table = Table("hydrometer_temperature_c440")
    corrected = sucrose.plato(hydrometer.sg(sucrose.sg(table["reading"]), table["temperature"]))
    residuals = corrected - table["reading"] - table["correction"]
    table.hold(residuals)
    rms = float(np.sqrt(np.mean(residuals**2)))
    assert rms <= 0.02, f"rms {rms:.4f} °Bx"


@pytest.mark.parametrize("reading", [1.0, 1.05])
def test_against_the_trade_table_for_60_fahrenheit(reading):
    table = Table("hydrometer_temperature_60f")
    temperature = units.convert(table["fahrenheit"], "F", "C")
    points = 1000 * (hydrometer.sg(reading, temperature, 140 / 9) - reading)
    table.hold(points - table["points"])


@pytest.mark.parametrize("reference", [15.0, 140 / 9, 17.5, 20.0])
def test_at_its_own_temperature_a_hydrometer_shows_density_over_density_of_water(reference):
    extract = np.array([0.0, 5.0, 12.0, 25.0])
    air = sucrose.AIR_DENSITY
    ratio = (sucrose.density(extract, reference) - air) / (water.density(reference) - air)
    assert hydrometer.reading(extract, reference, reference) == pytest.approx(ratio, abs=1e-12)
    assert hydrometer.reading(0.0, reference, reference) == 1.0
    assert hydrometer.sg(1.0, reference, reference) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("reference", [15.0, 140 / 9, 17.5, 20.0])
@pytest.mark.parametrize("temperature", [0.0, 15.0, 20.0, 40.0, 70.0])
def test_reading_and_gravity_are_inverse_over_the_whole_range(temperature, reference):
    extract = np.linspace(-4, 44, 481)
    reading = hydrometer.reading(extract, temperature, reference)
    sg = hydrometer.sg(reading, temperature, reference)
    assert np.max(np.abs(sg - sucrose.sg(extract))) < 1e-10


@pytest.mark.parametrize(
    ("reference", "water_temperature", "shown"),
    # Density of water in air over that of the water compared with (CIPM-2001), at the reference.
    [(20, 4, 0.99823), (15, 4, 0.99913), (15, 15, 1.0), (140 / 9, 140 / 9, 1.0), (20, 20, 1.0)],
)
def test_what_each_scale_shows_in_water(reference, water_temperature, shown):
    reading = hydrometer.reading(0.0, reference, reference, water_temperature)
    assert reading == pytest.approx(shown, abs=1e-5)
    back = hydrometer.sg(reading, reference, reference, water_temperature)
    assert back == pytest.approx(1.0, abs=1e-12)


def test_a_scale_20_4_reads_less_by_0_0018():
    """-0.0018 in water, a little more in wort, for both gravities are ratios."""
    sgs = np.array([1.0, 1.05, 1.1])
    shown = hydrometer.reading(sucrose.plato(sgs), 20.0, 20.0, 4.0)
    assert shown - sgs == pytest.approx([-0.00177, -0.00186, -0.00195], abs=1e-5)
    assert hydrometer.sg(shown, 20.0, 20.0, 4.0) == pytest.approx(sgs, abs=1e-12)


@pytest.mark.parametrize("temperature", [5.0, 30.0, 50.0])
def test_a_plastic_body_grows_eight_times_as_much(temperature):
    """By the difference of expansions alone: ΔSG = SG·(2e-4 - 25e-6)·(t - 20)."""
    plato = sucrose.plato(1.05)
    glass, plastic = (
        hydrometer.reading(plato, temperature, expansion=each)
        for each in (hydrometer.GLASS_EXPANSION, hydrometer.PLASTIC_EXPANSION)
    )
    assert plastic - glass == pytest.approx(1.05 * 175e-6 * (temperature - 20), rel=0.02)
    back = hydrometer.sg(plastic, temperature, expansion=hydrometer.PLASTIC_EXPANSION)
    assert back == pytest.approx(1.05, abs=1e-10)


def test_no_correction_at_the_reference():
    readings = np.linspace(0.99, 1.2, 211)
    assert np.max(np.abs(hydrometer.sg(readings, 20.0) - readings)) < 1e-12


def test_a_hot_sample_reads_low_and_a_cold_one_high():
    assert hydrometer.sg(1.040, 60.0) > 1.050
    assert hydrometer.sg(1.040, 10.0) < 1.040


def test_refractometer_and_hydrometer_agree_on_clear_wort():
    """Common practice: within a point or two, for wort factors of 1.02 to 1.06."""
    for gravity in (1.030, 1.048, 1.065):
        brix = wort.brix(gravity)
        shown = hydrometer.reading(sucrose.plato(gravity), 24.0)
        by_hydrometer = hydrometer.sg(shown, 24.0)
        for factor in (1.02, 1.04, 1.06):
            assert wort.sg(brix, factor) == pytest.approx(by_hydrometer, abs=0.002)
