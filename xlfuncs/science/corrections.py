"""Published regressions of the gravity of beer on refractometer readings.

Each gives specific gravity 20/20 from the initial and the current reading, both divided by the wort
factor.  They are kept to compare with `beer.from_brix`; docs/beer.md says who published them and
how far each lies from the mass balance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from xlfuncs.science.arrays import Real


@dataclass(frozen=True)
class Regression:
    """One published formula and where it may be used."""

    name: str
    sg: Callable[[Real, Real], Real]  # initial and current reading over the wort factor -> SG
    lowest_attenuation: float = 0.0  # real attenuation, %


#: Original extract, °Plato, over which the regressions are used.  None of them came with a range;
#: outside this one they part from the mass balance and from each other.
LOWEST_ORIGINAL, HIGHEST_ORIGINAL = 4.0, 22.0


def _cubic_2001(i: Real, f: Real) -> Real:
    return (
        1.001843
        - i * (0.002318474 + i * (0.000007775 + i * 0.000000034))
        + f * (0.00574 + f * (0.00003344 + f * 0.000000086))
    )


def _linear_2011(i: Real, f: Real) -> Real:
    return 1.0 - 0.00085683 * i + 0.0034941 * f


def _cubic_2011(i: Real, f: Real) -> Real:
    return (
        1.0
        - i * (0.0044993 - i * (0.00027581 - i * 0.0000072800))
        + f * (0.011774 - f * (0.0012717 - f * 0.000063293))
    )


def _linear_2017(i: Real, f: Real) -> Real:
    return 1 - 0.002349 * i + 0.006276 * f


def _quadratic_2017(i: Real, f: Real) -> Real:
    return (
        1.0
        + i * (1.335e-5 * i - 3.239e-5 * f - 2.421e-3)
        + f * (2.916e-5 * f + 6.219e-3)
    )  # fmt: skip


REGRESSIONS = {
    regression.name: regression
    for regression in (
        Regression("regression-2001", _cubic_2001),
        # Fitted to finished beers; those below 50 % real attenuation were left out.
        Regression("linear-2011", _linear_2011, lowest_attenuation=50.0),
        Regression("cubic-2011", _cubic_2011, lowest_attenuation=50.0),
        Regression("linear-2017", _linear_2017),
        Regression("quadratic-2017", _quadratic_2017),
    )
}

BALANCE = "balance"
METHODS = (BALANCE, *REGRESSIONS)
