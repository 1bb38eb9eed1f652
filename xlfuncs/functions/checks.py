"""Brew day: is it on target?"""

from __future__ import annotations

from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import Measured, MeasuredUncertainty, Target, Tolerance
from xlfuncs.science import conformity

CATEGORY = "Brew day"


@cell_function(CATEGORY)
def TARGET_CHECK(
    measured: Measured, target: Target, tolerance: Tolerance, u: MeasuredUncertainty = 0
) -> object:
    """Whether a measured value meets its target: on target, low, high, or too close to call.

    `too close to call` says that the expanded uncertainty 2u reaches over a limit: measure again,
    or better, before you act on it.

    Formula: on target when measured ± 2u lies within target ± tolerance; low or high when it lies
    wholly outside.

    Source: JCGM 106:2012, 8.3 (guarded decision rule).

    >>> TARGET_CHECK(1.047, 1.050, 0.002, 0.001)
    'too close to call'
    """
    return conformity.verdict(measured, target, tolerance, u)
