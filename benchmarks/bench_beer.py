"""The correction for alcohol: on a million pairs, one by one, and fitted to a brewery's pairs."""

from collections.abc import Iterator

import numpy as np
from numpy.polynomial.polynomial import polyval
from scipy.optimize import brentq

from benchmarks.measuring import Measure, in_new_python, seconds
from xlfuncs.functions import CATALOGUE
from xlfuncs.science import beer, sucrose

SIZE = 1_000_000
FEW = 300
CALLS = 1_000

PAIRS = """
import numpy as np
from xlfuncs.functions import beer, instruments
random = np.random.default_rng(1)
original = random.uniform(1.035, 1.08, 200)
brix = random.uniform(0.5, 0.9, 200) * instruments.WORT_BRIX(original)
sg = np.array(beer.BEER_SG(original, brix)) + random.normal(0, 0.001, 200)
"""
FIT = "answer = beer.BEER_FIT(original, brix, sg)\n"


def measures() -> Iterator[Measure]:
    random = np.random.default_rng(1)
    original = random.uniform(6, 24, SIZE)
    brix = np.asarray(beer.from_attenuation(original, random.uniform(0, 70, SIZE)).brix())
    coefficients = np.arange(1.0, 7.0)
    baseline, balance = seconds(
        lambda: polyval(brix, coefficients), lambda: beer.from_brix(original, brix).sg, runs=7
    )
    yield Measure("beer.from_brix on 1e6", balance / baseline, 60, "× polyval of degree 5 on 1e6")

    def one_by_one() -> list[float]:
        return [
            brentq(
                lambda sg, x=x, shown=shown: beer.from_sg(x, sg).brix() - shown,
                0.97,
                sucrose.sg(x) + 1e-6,
                xtol=1e-10,
            )
            for x, shown in zip(original[:FEW].tolist(), brix[:FEW].tolist(), strict=True)
        ]

    loop, balance = seconds(one_by_one, lambda: beer.from_brix(original, brix).sg, runs=5)
    yield Measure(
        "the same per 1000 elements", (balance / SIZE * 1000) / (loop / FEW), 1000 / 300,
        "× one solved by brentq",
    )  # fmt: skip

    call = CATALOGUE["BEER_SG"].callable()
    single, empty = seconds(
        lambda: [call(1.048, 6.2) for _ in range(CALLS)], lambda: [None for _ in range(CALLS)]
    )
    yield Measure("BEER_SG, one cell", (single - empty) / CALLS * 1e6, 150, "µs per call")

    # Cold: a new interpreter, with all that it loads beyond numpy.
    numpy_alone, cold = seconds(in_new_python("import numpy"), in_new_python(PAIRS + FIT), runs=7)
    yield Measure(
        "BEER_FIT on 200 pairs, new interpreter", cold - numpy_alone, 0.3, "s more than numpy alone"
    )
    names: dict[str, object] = {}
    exec(PAIRS, names)
    [warm] = seconds(lambda: exec(FIT, names))
    yield Measure("BEER_FIT on 200 pairs, again", warm, 0.1, "s")
