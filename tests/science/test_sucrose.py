import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.published import Table
from xlfuncs.science import sucrose

EXTRACT = np.linspace(-5, 45, 5001)
POTABLE = np.linspace(0, 40, 401)


# --- against publications; the tables themselves stand in tests/accuracy.py ----------------


def test_the_published_inverse_polynomial_of_the_index_scale_is_biased():
    """Why `brix` inverts the index scale itself.

    A quintic Brix(n), often reprinted as a fit to the scale, has a constant -99127.4536 that lies
    low by 0.013 to 0.021 °Bx on every row; with two digits exchanged, -99127.4356, it would fit.
    """
    table = Table("sucrose_index")
    rows = table["brix"] <= 30
    index, brix = table["index"][rows], table["brix"][rows]
    quintic = np.polyval(
        [11758.74, -88885.21, 270177.93, -413145.80, 318417.95, -99127.4536], index
    )
    assert np.all(quintic - brix < -0.01)
    assert np.max(np.abs(quintic + 0.018 - brix)) < 0.006
    assert np.max(np.abs(sucrose.brix(index) - brix)) < 0.009


def test_gravity_against_the_asbc_cubic():
    cubic = np.polynomial.Polynomial(Table("plato_cubic")["coefficient"])
    gravity = np.linspace(1.0, 1.106, 2121)
    extract = cubic(gravity)
    assert extract[-1] > 25
    inside = extract <= 25
    worst = np.max(np.abs(sucrose.sg(extract[inside]) - gravity[inside]))
    assert worst <= 5e-5, f"worst residual {worst:.2g}"


# --- common practice ------------------------------


def test_distilled_water_reads_nothing():
    assert sucrose.sg(0.0) == 1.0
    assert sucrose.plato(1.0) == pytest.approx(0, abs=1e-10)
    assert sucrose.brix(1.33299) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("plato", [0.0, 12.0, 20.0, 30.0])
def test_boiling_wort_shrinks_about_four_percent(plato):
    shrinkage = 1 - sucrose.density(plato, 100.0) / sucrose.density(plato)
    assert shrinkage == pytest.approx(0.04, abs=0.001)


def test_weather_and_altitude_hardly_move_a_gravity():
    dense, thin = ((sucrose.density(23.8) - air) / (sucrose.WATER_20 - air) for air in (1.1, 1.2))
    assert sucrose.sg(23.8) == pytest.approx(1.1, abs=1e-3)
    assert dense == pytest.approx(thin, abs=1.1e-5)


# --- inverses and properties ------------------------------


def test_inverses_over_the_whole_range():
    assert np.max(np.abs(sucrose.plato(sucrose.sg(EXTRACT)) - EXTRACT)) < 1e-10
    assert np.max(np.abs(sucrose.brix(sucrose.refractive_index(EXTRACT)) - EXTRACT)) < 1e-10


@pytest.mark.parametrize("temperature", [0.0, 20.0, 65.0, 100.0])
def test_extract_is_found_from_a_density_at_any_temperature(temperature):
    density = sucrose.density(EXTRACT, temperature)
    assert np.max(np.abs(sucrose.plato_at(density, temperature) - EXTRACT)) < 1e-10


@pytest.mark.parametrize("temperature", [5.0, 12.0, 19.0, 20.0, 28.0, 45.0])
def test_temperature_correction_is_undone_by_the_model(temperature):
    readings = np.linspace(-1, 40, 401)
    true = sucrose.brix_at(readings, temperature)
    shown = sucrose.lorentz_lorenz(sucrose.refractive_index(readings))
    slope = np.gradient(shown, readings)
    assert np.max(np.abs(sucrose.refraction(true, temperature) - shown) / slope) < 1e-10


def test_no_correction_at_20_degrees():
    assert np.max(np.abs(sucrose.brix_at(POTABLE, 20.0) - POTABLE)) < 1e-10


def test_a_sample_warmer_than_20_degrees_reads_low():
    corrections = np.array([sucrose.brix_at(12.0, t) - 12.0 for t in range(5, 46)])
    assert np.all(np.diff(corrections) > 0)


@given(st.floats(-5, 44.9), st.floats(1e-3, 10))
def test_gravity_rises_with_extract(plato, more):
    assert sucrose.sg(plato + more) > sucrose.sg(plato)


def test_numbers_give_numbers_and_arrays_keep_their_shape():
    assert isinstance(sucrose.plato(1.048), float)
    assert isinstance(sucrose.brix_at(10.0, 25.0), float)
    block = np.full((2, 3), 1.048)
    for function in (sucrose.plato, lambda x: sucrose.brix_at(10 * x, 25.0)):
        answer = function(block)
        assert answer.shape == block.shape
        assert answer[1, 2] == pytest.approx(function(1.048), rel=1e-12)
    assert np.all(block == 1.048), "arguments are left as they were"
