"""The mass balance of fermentation, with density and refraction of what it leaves."""

import numpy as np
import pytest

from tests.oracles import ethanol_density
from tests.published import Table
from xlfuncs.science import beer, ethanol, sucrose, wort
from xlfuncs.science.arrays import polynomial

RANDOM = np.random.default_rng(20)


def _beers(size, random=RANDOM):
    """Beers over the whole valid range."""
    made = beer.from_attenuation(random.uniform(0.05, 25, size), random.uniform(0, 100, size))
    valid = made.abv <= beer.MOST_ALCOHOL
    return beer.Beer(made.residue[valid], made.spirit[valid])


BEERS = _beers(20_000)


# --- identities of the model ------------------------------


def test_balling_balance():
    """Extract that fermented = 2.0665 g for each gram of ethanol, per 100 g of wort."""
    abw, real = BEERS.abw, BEERS.real_extract
    original = 100 * (2.0665 * abw + real) / (100 + 1.0665 * abw)
    assert np.max(np.abs(original - BEERS.original)) < 1e-11
    inverse = (original - real) / (2.0665 - 0.010665 * original)
    assert np.max(np.abs(inverse - abw)) < 1e-12


def test_tabarie_relation_on_equal_volumes():
    """SG of beer = SG of its residue + SG of its distillate - 1, each made up to the volume."""
    residue = sucrose.sg(BEERS.residue)
    distillate = sucrose.apparent(polynomial(ethanol.DENSITY_20, BEERS.spirit))
    assert np.max(np.abs(residue + distillate - 1 - BEERS.sg)) < 1e-12
    # Each half holds, in its own litre, what the beer holds in its litre.
    extract = BEERS.real_extract * BEERS.density / 100
    assert np.max(np.abs(polynomial(sucrose.EXTRACT_PER_LITRE, BEERS.residue) - extract)) < 1e-9
    spirit = 1000 * BEERS.spirit * polynomial(ethanol.DENSITY_20, BEERS.spirit) / 1000
    assert np.max(np.abs(BEERS.abw * BEERS.density / 100 - spirit)) < 1e-9


def test_refractions_add_by_mass():
    """Lorentz-Lorenz: water, extract and ethanol each bring their specific refraction."""
    index = BEERS.refractive_index(1.0)
    seen = (index**2 - 1) / (index**2 + 2) / BEERS.density
    residue_index = sucrose.refractive_index(BEERS.residue)
    residue_density = sucrose.density(BEERS.residue)
    residue = (residue_index**2 - 1) / (residue_index**2 + 2) / residue_density
    fraction = BEERS.residue / 100
    extract = (residue - (1 - fraction) * ethanol.WATER_REFRACTION) / fraction
    x, a = BEERS.real_extract / 100, BEERS.abw / 100
    mixed = (1 - x - a) * ethanol.WATER_REFRACTION + x * extract + a * ethanol.REFRACTION
    well = BEERS.residue > 0.01
    assert np.max(np.abs(seen - mixed)[well]) < 1e-13


def test_without_extract_it_is_the_distillate_of_the_handbook():
    table = Table("ethanol_crc")
    spirits = beer.Beer(0.0 * table["abw"], table["abw"] / 100)
    table.hold(spirits.refractive_index() - table["index"], "index_tolerance")
    table.hold(spirits.density / 1000 - table["density"], "density_tolerance")


def test_without_alcohol_it_is_wort():
    plato = np.linspace(0, 25, 251)
    worts = beer.Beer(plato, 0.0 * plato)
    assert np.max(np.abs(worts.sg - sucrose.sg(plato))) < 1e-14
    assert np.max(np.abs(worts.brix(1.04) - wort.brix(worts.sg, 1.04))) < 1e-11


# --- the solve ------------------------------


def test_what_was_brewed_is_found_again():
    attenuation, original = BEERS.real_attenuation, BEERS.original
    for found in (
        beer.from_attenuation(original, attenuation),
        beer.from_brix(original, BEERS.brix()),
        beer.from_sg(original, BEERS.sg),
        beer.from_sg_and_brix(BEERS.sg, BEERS.brix()),
    ):
        assert np.max(np.abs(found.residue - BEERS.residue)) < 1e-10
        assert np.max(np.abs(found.spirit - BEERS.spirit)) < 1e-12


@pytest.mark.parametrize("wort_factor", [0.9, 1.04, 1.2])
@pytest.mark.parametrize("alcohol_factor", [0.5, 1.0, 1.5])
def test_residual_in_index(wort_factor, alcohol_factor):
    index = BEERS.refractive_index(wort_factor, alcohol_factor)
    shown = sucrose.brix(index)
    found = beer.from_brix(BEERS.original, shown, wort_factor, alcohol_factor)
    assert np.max(np.abs(found.refractive_index(wort_factor, alcohol_factor) - index)) <= 1e-9
    assert np.max(np.abs(found.sg - BEERS.sg)) <= 1e-10


def _root(function, low, high):
    """Where each of many functions that change sign once within their brackets is 0."""
    falls = function(low) > 0
    for _ in range(55):
        middle = (low + high) / 2
        below = (function(middle) > 0) == falls
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (low + high) / 2


def _by_halving(original, brix, wort_factor=1.04):
    """The same physics written out plainly, solved by halving brackets within halved brackets."""
    x = original / 100
    index = sucrose.refractive_index(brix)
    seen = (index**2 - 1) / (index**2 + 2)

    def spirit_with(residue):
        extract = residue / 100 * sucrose.density(residue)
        added = sucrose.density(residue) - ethanol_density(0.0)

        def balance(spirit):
            alcohol = spirit * polynomial(ethanol.DENSITY_20, spirit)
            density = ethanol_density(spirit) + added
            return x * (density + 1.0665 * alcohol) - extract - 2.0665 * alcohol

        return _root(balance, np.full_like(residue, -0.01), np.full_like(residue, 0.2))

    def excess(residue):
        n = sucrose.refractive_index(wort_factor * residue)
        spirit = spirit_with(residue)
        density = polynomial(ethanol.DENSITY_20, spirit)
        water = (1 - spirit) * density - sucrose.density(0.0)
        added = water * ethanol.WATER_REFRACTION + spirit * density * ethanol.REFRACTION
        return (n**2 - 1) / (n**2 + 2) + added - seen

    residue = _root(excess, np.full_like(original, -1e-6), original + 1e-6)
    density = polynomial(ethanol.DENSITY_20, spirit_with(residue)) - sucrose.density(0.0)
    return sucrose.apparent(sucrose.density(residue) + density)


def test_never_far_from_halved_brackets_on_ten_thousand_points():
    made = _beers(11_500)
    original, brix = made.original[:10_000], made.brix()[:10_000]
    assert original.size == 10_000
    expected = _by_halving(original, brix)
    assert np.max(np.abs(beer.from_brix(original, brix).sg - expected)) <= 1e-7


def test_the_bracketed_way_finds_the_same():
    factors = np.full_like(BEERS.residue, 1.04), np.full_like(BEERS.residue, 1.0)
    found = beer.bracketed(BEERS.original, BEERS.brix(), *factors)
    inside = ~np.isnan(found.residue)
    # Only a beer on the very edge of the bracket may lie outside it by rounding.
    assert np.mean(inside) > 0.999
    assert np.max(np.abs(found.sg - BEERS.sg)[inside]) < 1e-12


def test_elements_that_miss_are_bracketed_and_the_others_kept(monkeypatch):
    """Where the Newton steps end is moved, as if they had gone astray: brackets put it right."""
    original, brix = np.array([12.0, 16.0, 12.0]), np.array([6.2, 8.0, 0.5])
    expected = beer.from_brix(original, brix).sg
    solve = beer._solve

    def astray(*equations_and_start):
        found, step = solve(*equations_and_start)
        return beer.Beer(found.residue + 1.0, found.spirit), step + np.array([0.0, 1.0, 1.0])

    with monkeypatch.context() as patched:
        patched.setattr(beer, "_solve", astray)
        found = beer.from_brix(original, brix).sg
    assert abs(found[0] - expected[0]) > 1e-3, "converged, as far as one can tell: left alone"
    assert abs(found[1] - expected[1]) < 1e-12
    assert np.isnan(found[2]), "no attenuation explains 0.5 °Bx"

    def far_astray(*equations_and_start):
        return solve(*equations_and_start)[0], 1.0

    monkeypatch.setattr(beer, "_solve", far_astray)
    single = beer.from_brix(12.0, 6.2).sg
    assert type(single) is float
    assert abs(single - expected[0]) < 1e-12


def test_long_arrays_blocks_and_scalars_agree():
    original = RANDOM.uniform(5, 20, (3, 7000))
    brix = 0.55 * original
    found = beer.from_brix(original, brix, 1.03).sg
    assert found.shape == (3, 7000)
    for row, column in ((0, 0), (1, 4000), (2, 6999)):
        single = beer.from_brix(float(original[row, column]), float(brix[row, column]), 1.03).sg
        assert type(single) is float
        assert abs(single - found[row, column]) < 1e-14


def test_nan_gives_nan():
    found = beer.from_brix(np.array([12.0, np.nan]), 6.2).sg
    assert np.isfinite(found[0])
    assert np.isnan(found[1])


# --- against what is known of beer ------------------------------


def test_an_unfermented_sample_has_the_original_gravity():
    original = np.linspace(0, 25, 101)
    for factor in (1.0, 1.04, 1.08):
        found = beer.from_brix(original, wort.brix(sucrose.sg(original), factor), factor)
        assert np.max(np.abs(found.sg - sucrose.sg(original))) <= 2e-5
        assert np.max(np.abs(found.abv)) < 1e-9


@pytest.mark.parametrize("original", [8.0, 10.0, 11.5])
def test_apparent_extract_is_linear_in_refraction(original):
    """Savel, Kvasný průmysl 17 (1971) 53: at original extract 11.5, to 0.1 % over 0 to 80 %."""
    beers = beer.from_attenuation(original, np.linspace(0, 80, 161))
    assert _off_line(beers.refractive_index(), sucrose.plato(beers.sg)) <= 0.1


@pytest.mark.parametrize("original", [8.0, 11.5, 14.0, 18.0])
def test_apparent_extract_is_linear_in_brix(original):
    beers = beer.from_attenuation(original, np.linspace(0, 80, 161))
    assert _off_line(beers.brix(), sucrose.plato(beers.sg)) <= 0.1


def _off_line(x, y):
    return np.max(np.abs(np.polynomial.Polynomial.fit(x, y, 1)(x) - y))


def test_against_the_common_rules():
    """Computed by rules that lie 0.07 to 0.24 °P below the balance: a cross-check, no more."""
    table = Table("fermentation_examples")
    beers = beer.from_sg(table["original"], table["sg"])
    low = beers.real_extract - table["real_extract"]
    assert np.all((low > 0.06) & (low < 0.25))
    rule = beer.real_extract_by_rule(table["original"], table["apparent"])
    assert np.max(np.abs(rule - table["real_extract"])) < 1e-4
    assert np.max(np.abs(beers.abw - table["abw"])) < 0.13
    assert np.max(np.abs(beers.abv - table["abv"])) < 0.17
    assert np.max(np.abs(beers.energy - table["kcal"])) < 0.1
    apparent = beer.apparent_attenuation(table["original"], table["sg"])
    assert np.max(np.abs(apparent - table["apparent_attenuation"])) < 0.07


def test_attenuation_and_energy_from_the_same_analysis():
    """With the table's own extract and alcohol, the exact forms agree with the usual ones."""
    table = Table("fermentation_examples")
    real = table["real_extract"]
    fermented = beer.EXTRACT_PER_ETHANOL * table["abw"]
    exact = 100 * fermented / (fermented + real)
    assert np.max(np.abs(exact - table["real_attenuation"])) < 0.01


def test_energy_of_extract_alone():
    assert abs(beer.from_sg(10.0, sucrose.sg(10.0)).energy - 4.0 * 9.9 * sucrose.sg(10.0)) < 1e-9
    assert beer.Beer(0.0, 0.0).energy == 0


def test_abv_of_distillates_is_that_of_r22():
    table = Table("ethanol_water_r22")
    spirits = beer.Beer(0.0 * table["abw"], table["abw"] / 100)
    assert np.max(np.abs(spirits.abv - table["abv"])) < 1e-4


def test_sg_rises_with_brix_and_falls_with_original():
    original, brix = np.meshgrid(np.linspace(6, 24, 30), np.linspace(0.35, 1.0, 40))
    sg = beer.from_brix(original, 1.04 * original * brix).sg
    assert np.all(np.diff(sg, axis=0) > 0)
    by_original, by_brix, by_factor = beer.sg_slopes(original, 1.04 * original * brix, 1.04)
    assert np.all(by_original < 0)
    assert np.all(by_brix > 0)
    assert np.all(by_factor < 0)


# --- uncertainty ------------------------------


def test_slopes_are_those_of_the_solution():
    original, brix, factor, step = BEERS.original, BEERS.brix(), 1.04, 1e-5
    slopes = beer.sg_slopes(original, brix, factor)

    def by(a, b, c):
        up = beer.from_brix(original + a * step, brix + b * step, factor + c * step)
        down = beer.from_brix(original - a * step, brix - b * step, factor - c * step)
        return (up.sg - down.sg) / (2 * step)

    wort_rise = (sucrose.sg(original + step) - sucrose.sg(original - step)) / (2 * step)
    for slope, expected in zip(
        slopes, (by(1, 0, 0) / wort_rise, by(0, 1, 0), by(0, 0, 1)), strict=True
    ):
        assert np.max(np.abs(slope - expected)) < 1e-7


def test_brix_slopes_are_those_of_the_reading():
    beers = _beers(1000)
    rise = [
        (beers.brix(1.04 + a, 1 + b) - beers.brix(1.04 - a, 1 - b)) / 2e-4
        for a, b in ((1e-4, 0), (0, 1e-4))
    ]
    np.testing.assert_allclose(beers.brix_slopes(1.04, 1), rise, atol=1e-7)


def test_uncertainty_against_monte_carlo():
    random = np.random.default_rng(3)
    draws = 200_000
    original_sg = sucrose.sg(13.0) + random.normal(0, 0.001, draws)
    sg = beer.from_brix(
        sucrose.plato(original_sg),
        7.0 + random.normal(0, 0.1, draws),
        1.04 + random.normal(0, 0.01, draws),
    ).sg + random.normal(0, 0.001, draws)
    stated = beer.sg_uncertainty(13.0, 7.0, 1.04, 0.1, 0.01, 0.001, 0.001)
    assert abs(stated / np.std(sg) - 1) < 0.01
