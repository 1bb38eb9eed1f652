import numpy as np

from tests.oracles import ethanol_density, ethanol_fraction
from tests.published import Table
from xlfuncs.science import ethanol, sucrose
from xlfuncs.science.arrays import polynomial


def test_density_against_r22_rows():
    table = Table("ethanol_water_r22")
    table.hold(ethanol_density(table["abw"] / 100) - table["density"])


def test_mass_fraction_from_abv_against_r22_rows():
    table = Table("ethanol_water_r22")
    assert np.max(np.abs(100 * ethanol_fraction(table["abv"]) - table["abw"])) <= 0.6e-4


def test_apparent_gravity_against_r22_rows():
    table = Table("ethanol_water_r22")
    density = polynomial(ethanol.DENSITY_20, table["abw"] / 100)
    assert np.max(np.abs(sucrose.apparent(density) - table["sg"])) <= 0.6e-5


def test_density_at_60_fahrenheit():
    table = Table("ethanol_density_60f")
    table.hold(ethanol_density(table["abw"] / 100, (60 - 32) / 1.8) - table["density"])


def test_density_against_the_crc_handbook():
    table = Table("ethanol_crc")
    density = ethanol_density(table["abw"] / 100)
    table.hold(density / 1000 - table["density"], "density_tolerance")


def test_pure_liquids():
    """R 22 states 998.20 and 789.24 kg/m³ at 20 °C."""
    assert round(float(ethanol_density(0.0)), 2) == 998.20
    assert round(float(ethanol_density(1.0)), 2) == round(ethanol.DENSITY, 2) == 789.24


def test_the_refraction_is_the_best_fit_to_the_rows_it_names():
    """Least squares on the index, rows 0.5 to 13 %, with the scatter that is stated."""
    table = Table("ethanol_crc")
    rows = table["abw"] <= 13
    assert rows.sum() == 14
    fraction, index = table["abw"][rows] / 100, table["index"][rows]

    def residuals(refraction):
        density = polynomial(ethanol.DENSITY_20, fraction)
        mixed = density * ((1 - fraction) * ethanol.WATER_REFRACTION + fraction * refraction)
        return np.sqrt((1 + 2 * mixed) / (1 - mixed)) - index

    best = np.sum(residuals(ethanol.REFRACTION) ** 2)
    for other in (ethanol.REFRACTION - 2e-8, ethanol.REFRACTION + 2e-8):
        assert np.sum(residuals(other) ** 2) > best
    spread = residuals(ethanol.REFRACTION)
    assert np.sqrt(np.mean(spread**2)) < 3.1e-5
    assert np.max(np.abs(spread)) < 6.05e-5
