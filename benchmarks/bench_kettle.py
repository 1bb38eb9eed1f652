"""Kettle arithmetic on a million rows, against one polynomial of numpy's on as many."""

from collections.abc import Iterator

import numpy as np
import scipy.optimize
from numpy.polynomial.polynomial import polyval

from benchmarks.measuring import Measure, seconds
from xlfuncs.functions import CATALOGUE
from xlfuncs.science import blending, kettle, runoff

SIZE = 1_000_000
BASELINE = "× polyval of degree 5 on 1e6"


def measures() -> Iterator[Measure]:
    random = np.random.default_rng(1)
    sg, lower = random.uniform(1.05, 1.09, SIZE), random.uniform(1.01, 1.05, SIZE)
    volume = random.uniform(10, 30, SIZE)
    pairs = np.stack([volume, volume[::-1]], axis=-1), np.stack([sg, lower], axis=-1)
    coefficients = np.arange(1.0, 7.0)
    dilution = CATALOGUE["DILUTION_WATER"].body
    cases = {
        "DILUTION_WATER, body": lambda: dilution(volume, sg, lower),
        "blending.blend, 1e6 parts": lambda: blending.blend(volume, sg),
        "blending.blend, 1e6 blends of two": lambda: blending.blend(*pairs),
        "blending.share": lambda: blending.share(sg, lower, 1.05),
        "blending.after_water": lambda: blending.after_water(volume, sg, -1.0),
        "blending.extract_to_add": lambda: blending.extract_to_add(volume, lower, sg, 0.95),
        "kettle.boil_minutes": lambda: kettle.boil_minutes(volume, lower, sg, 3.0),
        "kettle.mash_efficiency": lambda: kettle.mash_efficiency(volume, sg, 5.0),
    }
    baseline, *times = seconds(lambda: polyval(sg, coefficients), *cases.values(), runs=7)
    for name, taken in zip(cases, times, strict=True):
        yield Measure(name, taken / baseline, 30, BASELINE)

    volumes = np.linspace(2, 20, 10)
    plato = 18 * np.exp(-volumes / 15) + random.normal(0, 0.15, volumes.size)
    once, fit = seconds(
        lambda: scipy.optimize.curve_fit(
            lambda v, end, scale: 2.56 * np.exp((end - v) / scale), volumes, plato, (25.0, 15.0)
        ),
        lambda: runoff.fit(volumes, plato, 2.56),
    )
    # One fit with all readings but one for each of them, and the last.
    yield Measure("runoff.fit, ten readings", fit / once, 40, "× one curve_fit")
