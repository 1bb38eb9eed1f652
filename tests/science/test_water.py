"""Water, beside the tables of tests/accuracy.py."""

import iapws
import numpy as np
import pytest

from xlfuncs.science import water


@pytest.mark.parametrize("temperature", [0.5, 3.98, 12.5, 20.0, 25.0, 37.0, 40.0])
def test_density_against_the_iapws_package(temperature):
    density = iapws.IAPWS95(T=temperature + 273.15, P=0.101325).rho
    assert water.density(temperature) == pytest.approx(density, abs=0.01)


@pytest.mark.parametrize("temperature", [5.0, 20.0, 33.0, 45.0])
def test_index_against_the_iapws_package(temperature):
    """At the same density, so that the release's own digits are what is compared."""
    vacuum = iapws._iapws._Refractive(water.density(temperature), temperature + 273.15, 0.5893)
    assert water.refractive_index(temperature) == pytest.approx(vacuum / 1.000271, abs=1e-10)


def test_water_is_densest_near_four_degrees():
    temperatures = np.linspace(0, 10, 1001)
    assert temperatures[np.argmax(water.density(temperatures))] == pytest.approx(3.98, abs=0.02)


def test_specific_refraction_is_lorentz_lorenz_over_density():
    refraction = water.specific_refraction(25.0) * water.density(25.0)
    assert refraction == pytest.approx(water.lorentz_lorenz(water.refractive_index(25.0)))
