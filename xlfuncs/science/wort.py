"""Unfermented wort: what its refraction says about its gravity.

Wort holds other sugars and more than sugars, so at equal gravity it refracts a little more than
sucrose.  The wort factor is true °Brix over °Plato, about 1.04 by common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Array, Real, derivative, polynomial
from xlfuncs.science.uncertainty import standard_uncertainty

#: Common practice; no source.
WORT_FACTOR = 1.04

#: Standard uncertainty of a wort factor that was not fitted: worts lie from 1.02 to 1.06 (common
#: practice), and a rectangle that wide has a standard deviation of 0.02/√3 = 0.0115 (JCGM 100:2008,
#: 4.3.7).
FACTOR_U = 0.012


def sg(brix: Real, wort_factor: Real = WORT_FACTOR) -> Real:
    """Specific gravity of wort from true °Brix: SG of brix/wort_factor °Plato.

    >>> round(sg(12.48), 5)
    1.04838
    """
    return sucrose.sg(brix / wort_factor)


def brix(sg_: Real, wort_factor: Real = WORT_FACTOR) -> Real:
    """True °Brix that wort of a specific gravity shows.

    >>> round(brix(1.048), 2)
    12.38
    """
    return sucrose.plato(sg_) * wort_factor


def sg_uncertainty(
    brix_: Real, wort_factor: Real, u_reading: Real, u_factor: Real, u_calibration: Real
) -> Real:
    """Standard uncertainty of `sg`: reading, calibration and wort factor, first order.

    - `brix_`: true °Brix
    - `wort_factor`: °Brix per °Plato
    - `u_reading`: standard uncertainty of the reading, °Brix
    - `u_factor`: that of the wort factor
    - `u_calibration`: that of the calibration, °Brix

    >>> round(sg_uncertainty(12.48, 1.04, 0.1, FACTOR_U, 0.05), 5)
    0.00074
    """
    return standard_uncertainty(
        lambda shown, calibration, factor: sg(shown - calibration, factor),
        (brix_, 0.0, wort_factor),
        (u_reading, u_calibration, u_factor),
    )


@dataclass(frozen=True)
class FactorFit:
    """A wort factor from paired readings."""

    factor: float
    uncertainty: float
    pairs: int
    residual: float


def fit_factor(
    brix_: Array, sg_: Array, u_brix: float = 0.1, u_sg: float = 0.001, steps: int = 10
) -> FactorFit:
    """Wort factor from refractometer and hydrometer on the same clear, unfermented worts.

    Least squares of sg(brix/factor) against the hydrometer.  The standard uncertainty follows from
    the reading uncertainties, or from the scatter where that is larger; the residual standard
    deviation has one degree of freedom fewer than pairs (NaN for one pair).

    - `brix_`: readings of the refractometer, true °Brix
    - `sg_`: of the hydrometer in the same worts, SG 20/20
    - `u_brix`: standard uncertainty of one `brix_`, °Brix
    - `u_sg`: that of one `sg_`, SG
    - `steps`: of Newton's method; three settle it within 1e-9

    >>> fit = fit_factor(np.array([10.4, 15.6]), np.array([1.0400, 1.0611]))
    >>> round(fit.factor, 2), fit.pairs
    (1.04, 2)
    """
    slopes = derivative(sucrose.APPARENT_SG)
    factor = float(np.sum(brix_) / np.sum(sucrose.plato(sg_)))
    for _ in range(steps):
        extract = brix_ / factor
        slope = polynomial(slopes, extract)
        jacobian = -slope * extract / factor
        weights = 1 / (u_sg**2 + (slope * u_brix / factor) ** 2)
        residuals = sg_ - sucrose.sg(extract)
        curvature = np.sum(weights * jacobian**2)
        step = float(np.sum(weights * jacobian * residuals) / curvature)
        factor += step
    pairs = np.size(brix_)
    freedom = pairs - 1
    residual = float(np.sqrt(np.sum(residuals**2) / freedom)) if freedom else float("nan")
    scatter = float(np.sum(weights * residuals**2)) / freedom if freedom else 1.0
    uncertainty = float(np.sqrt(max(scatter, 1.0) / curvature))
    return FactorFit(factor, uncertainty, pairs, residual)
