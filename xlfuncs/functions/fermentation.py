"""Fermentation: where is it, and where will it end?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import FermentationDays, FermentationGravities, GravityUncertainty
from xlfuncs.cells.values import Refused
from xlfuncs.science import fermentation

CATEGORY = "Fermentation"

_LEAST_READINGS = 3
_LEAST_FALL = 0.003
_LEAST_DAYS = 1.0


@cell_function(
    CATEGORY,
    columns=(
        "final specific gravity",
        "its standard uncertainty",
        "day within 0.001 of it",
        "its standard uncertainty, days",
    ),
    whole=True,
)
def FERMENTATION_FORECAST(days: FermentationDays, sgs: FermentationGravities) -> Any:
    """Expected final gravity, and the day at which the beer is within 0.001 of it.

    Early on the answer leans on common practice (75 ± 12.5 % apparent attenuation), later on your
    readings, corrected for alcohol.  A forecast, not a measurement: bottles can burst; before you
    package, see that FERMENTATION_STATE says `steady`.

    Formula: SG = final + fall·(1 + b)/(b + exp(rate·days)) by maximum a posteriori least squares,
    0.001 SG for a reading; uncertainties from the Jacobian, larger where the scatter is.

    Source: logistic decline after a lag, common practice; JCGM 100:2008, 5.2 for the uncertainties.

    >>> days, sgs = [0, 1, 2, 3, 4, 6], [1.050, 1.046, 1.032, 1.019, 1.013, 1.011]
    >>> [round(cell, 3) for cell in FERMENTATION_FORECAST(days, sgs)[0][:2]]
    [1.011, 0.001]
    """
    if sgs.size < _LEAST_READINGS:
        raise Refused(f"a forecast needs {_LEAST_READINGS} readings, not {sgs.size}")
    if np.ptp(days) < _LEAST_DAYS:
        raise Refused(
            f"readings over {np.ptp(days):.2g} days are too few for a forecast: it needs "
            f"{_LEAST_DAYS:.0f} day or more"
        )
    if sgs[np.argmin(days)] - np.min(sgs) < _LEAST_FALL:
        raise Refused(f"sgs have not yet fallen by {_LEAST_FALL} from the first: no forecast")
    found = fermentation.forecast(days, sgs)
    if math.isnan(found.final):
        raise Refused("no curve of a fermentation goes through these sgs: no forecast")
    return (found.final, found.u_final, found.day, found.u_day)


@cell_function(CATEGORY, whole=True)
def FERMENTATION_STATE(
    days: FermentationDays, sgs: FermentationGravities, u: GravityUncertainty = 0.001
) -> str:
    """What the readings say: not started, fermenting, slowing, steady, or too few readings.

    `steady` does not prove that fermentation has ended: it may be stuck, and bottles can burst.  A
    corrected refractometer proves less than a hydrometer.

    Formula: steady when the latest readings, over at least 3 days, lie within 2u of each other;
    fermenting when the gravity has fallen by more than 2·√2·u; slowing when the latest rate is less
    than half the fastest.  A log that never fell has not started if it lies from 1.030 on.

    Source: common practice; 2u by JCGM 100:2008.

    >>> FERMENTATION_STATE([0, 2, 5, 7, 9], [1.050, 1.025, 1.012, 1.011, 1.011])
    'steady'
    """
    return fermentation.state(days, sgs, u)
