"""No answer hangs on what the solvers are free to choose: where they start, and how near is enough.

`fuzz/mutants.py` does not change these numbers, because of what is held here.
"""

import numpy as np
import pytest

from xlfuncs.science import (
    arrays,
    beer,
    beer_fit,
    budget,
    fermentation,
    gravity,
    least_squares,
    runoff,
    sucrose,
    uncertainty,
    wort,
)

RANDOM = np.random.default_rng(5)
ORIGINAL, ATTENUATION = RANDOM.uniform(5, 25, 200), RANDOM.uniform(0, 85, 200)
DAYS = np.array([0.0, 1, 2, 3, 5, 7])
SGS = 1.011 + 0.24 / (5 + np.exp(1.2 * DAYS)) + np.array([0, 4, -3, 6, -5, 2]) * 1e-4
VOLUMES = np.array([2.0, 6, 10, 14, 18, 22])
RUNOFF = 18 * np.exp(-VOLUMES / 15) + np.array([1, -1, 2, 0, -2, 1]) / 20


def answers():
    """What every solver finds."""
    beers = beer.from_attenuation(ORIGINAL, ATTENUATION)
    shown = beers.brix(1.05, 0.95)
    halves = beer.bracketed(ORIGINAL, shown, np.full(200, 1.05), np.full(200, 0.95)).halves
    pairs = beer_fit.fit(ORIGINAL[:9], shown[:9] + 0.1 * np.cos(ORIGINAL[:9]), beers.sg[:9])
    course, curve = fermentation.forecast(DAYS, SGS), runoff.fit(VOLUMES, RUNOFF, 2.5)
    warm = np.linspace(5, 45, 41)
    densities = gravity.convert(np.linspace(-4, 44, 49), "Plato", "Density")
    return [
        beers.halves,
        halves,
        beer.from_brix(ORIGINAL, shown, 1.05, 0.95).halves,
        beer.from_sg(ORIGINAL, beers.sg).halves,
        beer.from_sg_and_brix(beers.sg, shown, 1.05, 0.95).halves,
        pairs.wort_factor,
        pairs.u_alcohol_factor,
        (course.final, course.u_final, course.day, course.u_day),
        (curve.volume, curve.uncertainty, curve.scale),
        sucrose.brix_at(12.0, warm),
        sucrose.plato_at(sucrose.density(12.0, warm), warm),
        gravity.convert(densities, "Density", "Plato"),
        budget.temperature_slope(12.0, warm),
        wort.sg_uncertainty(12.5, 1.04, 0.1, 0.012, 0.05),
    ]


SOUND = answers()


@pytest.mark.parametrize(("module", "name", "other"), [
    (arrays, "_NUDGE", 2e-3),
    (arrays, "_BLOCK", 50),
    (beer, "_NEAR_BRIX_PER_SPIRIT", 45.0),
    (beer, "_NEAR_PLATO_PER_SPIRIT", 43.0),
    (beer, "_CONVERGED", 2e-6),
    (beer, "_HALVINGS", 50),
    (budget, "_NUDGE", 0.02),
    (fermentation, "_NUDGE", 2e-5),
    (least_squares, "_NUDGE", 2e-4),
    (least_squares, "_SETTLED", 1e-8),
    (least_squares, "_NOT_MORE", 1.0),
    (least_squares, "_MOST_STEPS", 100),
    (least_squares, "_MOST_HALVINGS", 20),
    (uncertainty, "_NUDGE", 2e-3),
])  # fmt: skip
def test_no_answer_hangs_on(module, name, other, monkeypatch):
    monkeypatch.setattr(module, name, other)
    for found, sound in zip(answers(), SOUND, strict=True):
        assert np.asarray(found) == pytest.approx(np.asarray(sound), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("share", [0.9, 1.1])
@pytest.mark.parametrize("name", ["_near_spirit", "_near_by_brix", "_near_by_both"])
def test_a_beer_does_not_hang_on_where_it_is_sought_from(name, share, monkeypatch):
    near = getattr(beer, name)
    monkeypatch.setattr(beer, name, lambda *given: share * np.asarray(near(*given)))
    for found, sound in zip(answers(), SOUND, strict=True):
        assert np.asarray(found) == pytest.approx(np.asarray(sound), rel=1e-6, abs=1e-7)
