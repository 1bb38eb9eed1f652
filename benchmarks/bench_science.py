"""The bare science on a million elements, against one polynomial of numpy's on as many."""

from collections.abc import Iterator

import numpy as np
from numpy.polynomial.polynomial import polyval

from benchmarks.measuring import Measure, peak_bytes, seconds
from xlfuncs.science import gravity, wort

SIZE = 1_000_000
BASELINE = "× polyval of degree 5 on 1e6"


def measures() -> Iterator[Measure]:
    brix = np.linspace(0, 30, SIZE)
    sgs = np.asarray(wort.sg(brix))
    coefficients = np.arange(1.0, 7.0)

    def convert() -> object:
        return gravity.convert(sgs, "SG", "Plato")

    baseline, wort_sg, conversion = seconds(
        lambda: polyval(brix, coefficients), lambda: wort.sg(brix), convert
    )
    yield Measure("wort.sg on 1e6", wort_sg / baseline, 4, BASELINE)
    yield Measure("gravity.convert, SG to Plato, on 1e6", conversion / baseline, 10, BASELINE)
    yield Measure(
        "its peak of memory", peak_bytes(convert) / sgs.nbytes, 10, "× the array that goes in"
    )
