"""Does the ± on the sheets cover the truth in 95 of 100 cases?  Brew days drawn, sheets computed.

As tests/science/test_coverage.py, but through the formulas of the workbook: each batch is a brewery
of its own whose wort factor, scale, slope and compensation lie where the documentation says.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.workbook.conftest import day
from xlfuncs.functions.beer import BEER_ABV
from xlfuncs.science import beer, sucrose
from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.workbook import words
from xlfuncs.workbook.words import Choices

BREWERIES = 150
U_READING, U_CHECK, U_GLASS = 0.1, 0.06, 0.001


def honest(found, truth, expanded, low=0.93, high=0.98):
    found, truth, expanded = (np.asarray(one, dtype=float) for one in (found, truth, expanded))
    share = float(np.mean(np.abs(found - truth) <= expanded))
    # So few draws know a share near 95 % to some 1.8 %.
    spread = 2 * np.sqrt(0.95 * 0.05 / found.size)
    assert low - spread <= share <= high + spread, f"{100 * share:.1f} % covered"


@pytest.fixture(scope="module")
def drawn():
    """What breweries see, and the truth: wort three times, beer by drop and jar."""
    rng = np.random.default_rng(15)
    size = BREWERIES
    factor = rng.uniform(1.02, 1.06, size)
    slope, off = rng.normal(1, UNCHECKED_SLOPE_U, size), rng.normal(0, U_CHECK, size)
    left = rng.normal(0, COMPENSATION_U, size)
    scale = rng.normal(0, U_GLASS, size)
    plato, attenuation = rng.uniform(9, 17, size), rng.uniform(60, 78, size)
    made = [beer.from_attenuation(p, a) for p, a in zip(plato, attenuation, strict=True)]

    def drop(brix):
        return slope * (brix + left) + off + rng.normal(0, U_READING, size)

    # The balance is off by its own doubt, which the drop of the beer shows.
    wrong = rng.normal(0, beer.MODEL_U, size) / 0.006
    return {
        "wort": [drop(plato * factor) for _ in range(3)],
        "beer": drop(np.array([one.brix(f) for one, f in zip(made, factor, strict=True)]) + wrong),
        "jars": [sucrose.sg(plato) + scale + rng.normal(0, U_GLASS, size),
                 np.array([one.sg for one in made]) + scale + rng.normal(0, U_GLASS, size)],
        "sg": sucrose.sg(plato), "beer_sg": np.array([one.sg for one in made]),
        "abv": np.array([one.abv for one in made]),
    }  # fmt: skip


PRISM = {"name": "prism", "kind": "refractometer", "compensated": "yes", "fine": U_READING,
         "tolerated": U_CHECK}  # fmt: skip
JAR = {"name": "jar", "kind": "hydrometer", "scale": "SG", "reference": 20, "fine": U_GLASS,
       "tolerated": U_GLASS}  # fmt: skip


def logged(computed, make, lines):
    batches = [{"name": str(n), "date": day(2026, 3, 1)} for n in range(BREWERIES)]
    log = [{"batch": str(n), **row} for n in range(BREWERIES) for row in make(n)]
    choices = Choices(rows=BREWERIES * max(8, lines), checks=20)
    return computed(choices, {"set_u_temperature": 0}, inst=[PRISM, JAR], batch=batches, log=log)


def line(tool, value, hour, stage, date=1, minute=0):
    return {"date": day(2026, 3, date, hour, minute), "stage": stage, "instrument": tool["name"],
            "reading": float(value), "temperature": 20}  # fmt: skip


def test_log_and_repeated_readings(computed, drawn):
    book = logged(computed, lambda n: [
        line(PRISM, drawn["wort"][i][n], 10, words.INTO_FERMENTER, minute=5 * i) for i in range(3)
    ], 3)  # fmt: skip
    count = 3 * BREWERIES
    sg, expanded = book.column("log_sg")[:count], book.column("log_expanded")[:count]
    honest(sg, np.repeat(drawn["sg"], 3), expanded)
    u = 2 * np.array(book.column("mean_u")[2:count:3], dtype=float)
    honest(book.column("mean_sg")[2:count:3], drawn["sg"], u)
    assert np.mean(u) < 0.97 * np.mean(expanded)


def test_beer_by_the_refractometer_that_read_its_original(computed, drawn):
    book = logged(computed, lambda n: [
        line(PRISM, drawn["wort"][0][n], 10, words.INTO_FERMENTER),
        line(PRISM, drawn["beer"][n], 10, words.FERMENTING, 15),
    ], 2)  # fmt: skip
    count = 2 * BREWERIES
    honest(book.column("log_sg")[1:count:2], drawn["beer_sg"],
           book.column("log_expanded")[1:count:2])  # fmt: skip


def test_beer_and_what_it_shares_by_one_hydrometer(computed, drawn):
    """Alcohol as Fermentation reckons it: its ± from both gravities and their correlation."""
    book = logged(computed, lambda n: [
        line(JAR, drawn["jars"][0][n], 10, words.INTO_FERMENTER),
        line(JAR, drawn["jars"][1][n], 10, words.FERMENTING, 15),
    ], 2)  # fmt: skip
    count = 2 * BREWERIES
    sg, u = (np.array(book.column(name)[:count], dtype=float) for name in ("log_sg", "log_u"))
    honest(sg[1::2], drawn["beer_sg"], 2 * u[1::2])
    tie = np.array(book.column("line_tie")[1:count:2], dtype=float)
    assert tie == pytest.approx(np.full(BREWERIES, 0.5), abs=0.01)
    now = np.array(BEER_ABV(sg[::2], sg[1::2]))
    by_sg = np.array(BEER_ABV(sg[::2], sg[1::2] - u[1::2])) - now
    by_original = np.array(BEER_ABV(sg[::2] + u[::2], sg[1::2])) - now
    u_abv = np.sqrt(by_sg**2 + by_original**2 - 2 * tie * by_sg * by_original)
    honest(now, drawn["abv"], 2 * u_abv)
    # The one batch that Fermentation shows says the same.
    shown = book.column("ferment_abv_expanded")[0]
    assert shown == pytest.approx(2 * u_abv[-1], rel=1e-6)
