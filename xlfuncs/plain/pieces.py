"""What stands in for what science/ reaches by steps, where a formula has to be short.

Inverses become polynomials fitted to the function itself, density of ethanol in water a shorter
polynomial of the same; the beer takes as few Newton steps as its bounds allow.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from xlfuncs.plain.fits import Fit, fit
from xlfuncs.plain.trace import replaced
from xlfuncs.science import beer, ethanol, gravity, runoff, sucrose, water, wort
from xlfuncs.science.arrays import derivative, newton, polynomial

#: °Plato, °C and mass fraction of ethanol over which the stand-ins hold: the limits of the scales
#: and a little more, so that what is refused lies within too.
_EXTRACT = (gravity.SCALES["Plato"].low - 1, gravity.SCALES["Plato"].high + 2)
_SPIRIT = (-0.012, 0.14)
_REFRACTOMETER_T, _HYDROMETER_T = (5.0, 45.0), (0.0, 70.0)

#: Largest errors of the stand-ins: °Plato and °Brix; share of a polynomial's value.
_SHARE = 5e-8
_BRIX = 3e-4
_PLATO = 1e-3

#: Newton steps of a fit by sums, from a start that is near.
_FIT_STEPS = 2
_DENSITY = 2e-4


@functools.cache
def _inverse(coefficients: tuple[float, ...]) -> Fit:
    """°Plato over the rise of a polynomial from its value in water, by that rise."""
    water_value = coefficients[0]
    rises = [float(polynomial(coefficients, end)) - water_value for end in _EXTRACT]

    def share(rise: Any) -> Any:
        start = rise / (rises[1] / _EXTRACT[1])
        slopes = derivative(coefficients)
        plato = newton(
            lambda x: polynomial(coefficients, x), lambda x: polynomial(slopes, x),
            rise + water_value, start, steps=8,
        )  # fmt: skip
        return plato / rise

    return fit(share, _SHARE * _EXTRACT[1] / rises[1], (rises[0], rises[1]))


def inverse(coefficients: tuple[float, ...], value: Any, start: Any, steps: int = 2) -> Any:
    """In place of `sucrose.inverse`."""
    rise = value - coefficients[0]
    return rise * _inverse(coefficients)(rise)


@functools.cache
def _spirit_polynomial(coefficients: tuple[float, ...], tolerance: float) -> Fit:
    return fit(lambda x: polynomial(coefficients, x), tolerance, _SPIRIT)


def short_polynomial(coefficients: tuple[float, ...], x: Any) -> Any:
    """In place of `arrays.polynomial`: the density of ethanol and its slope in fewer terms."""
    if coefficients == ethanol.DENSITY_20:
        return _spirit_polynomial(coefficients, _DENSITY)(x)
    if coefficients == derivative(ethanol.DENSITY_20):
        return _spirit_polynomial(coefficients, 100 * _DENSITY)(x)
    return polynomial(coefficients, x)


@functools.cache
def _plato_at() -> Fit:
    rises = [float(sucrose.density(end)) - sucrose.WATER_20 for end in _EXTRACT]
    return fit(
        lambda rise, t: sucrose.plato_at(water.density(t) + rise, t) / rise,
        _PLATO / rises[1],
        (rises[0], rises[1]),
        _HYDROMETER_T,
    )


def plato_at(density: Any, temperature: Any) -> Any:
    """In place of `sucrose.plato_at`."""
    rise = density - water.density(temperature)
    return rise * _plato_at()(rise, temperature)


@functools.cache
def _brix_at() -> Fit:
    most = max(abs(end - sucrose.REFERENCE_TEMPERATURE) for end in _REFRACTOMETER_T)

    def share(reading: Any, t: Any) -> Any:
        away = t - sucrose.REFERENCE_TEMPERATURE
        away = away + (abs(away) < 1e-6) * 1e-6
        return (sucrose.brix_at(reading, away + sucrose.REFERENCE_TEMPERATURE) - reading) / away

    return fit(share, _BRIX / most, _EXTRACT, _REFRACTOMETER_T)


def brix_at(reading: Any, temperature: Any) -> Any:
    """In place of `sucrose.brix_at`."""
    away = temperature - sucrose.REFERENCE_TEMPERATURE
    return reading + away * _brix_at()(reading, temperature)


def from_brix(
    original: Any, brix: Any, wort_factor: Any = 1.0, alcohol_factor: Any = beer.ALCOHOL_FACTOR
) -> beer.Beer:
    """In place of `beer.from_brix`."""
    return beer.by_newton(original, brix, wort_factor, alcohol_factor)[0]


#: With so many Newton steps a beer is what science/ makes of it, also far beyond its range.
EXACT_STEPS = beer._STEPS


@contextmanager
def standing_in(steps: int) -> Iterator[None]:
    """science/ with its stand-ins, and with so many Newton steps for a beer."""
    _plato_at(), _brix_at()  # fitted to science/ as it is, before anything stands in
    before, beer._STEPS = beer._STEPS, steps
    stand_ins = {
        sucrose.inverse: inverse,
        polynomial: short_polynomial,
        sucrose.plato_at: plato_at,
        sucrose.brix_at: brix_at,
        beer.from_brix: from_brix,
        runoff.fit: runoff.fit_all,
        runoff.different: np.size,
        wort.fit_factor: functools.partial(wort.fit_factor, steps=_FIT_STEPS),
    }
    if steps == EXACT_STEPS:
        del stand_ins[polynomial]
    try:
        with replaced(stand_ins):
            yield
    finally:
        beer._STEPS = before
