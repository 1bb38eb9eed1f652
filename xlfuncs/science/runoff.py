"""The wash-out of a lauter: extract of the runoff against the volume collected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from xlfuncs.science.arrays import Array
from xlfuncs.science.least_squares import settle

#: Fewest readings that leave a degree of freedom to judge the fit by.
LEAST_READINGS = 3

# A reading is taken for a slip when its residual is this improbable, over all readings together.
_IMPROBABLE = 0.01
# Few readings may agree by luck; so, when a slip is judged, their scatter is pooled with what a
# hand refractometer is known to have, 0.2 °Bx, counted as four degrees of freedom.
_INSTRUMENT, _INSTRUMENT_FREEDOM = 0.2, 4


@dataclass(frozen=True)
class Runoff:
    """Volume at which the runoff falls to the limit, and the curve that says so.

    extract(v) = limit·exp((volume - v)/scale).  Twice `uncertainty` covers 95 %, however few the
    readings are.
    """

    volume: float
    uncertainty: float
    scale: float
    rejected: int | None  # position of the reading that was left out as a slip


def fit(volumes: Array, plato: Array, limit: float) -> Runoff | None:
    """Exponential wash-out through readings of the runoff, in any order; None if it does not fall.

    `plato` are readings of the runoff after so much has been collected, `limit` the extract, °P,
    at which the sparge stops.  Unweighted least squares on the extract (each reading is as sure as
    the other), with the volume sought as one of the two parameters, so that its uncertainty comes
    out of the fit.  One reading that does not belong to the others is left out: its studentised
    residual is beyond the 1 % level over all readings.

    The standard uncertainty follows from the scatter about the curve; it is stretched by Student's
    t so that twice of it covers 95 % (JCGM 100:2008, G.3).

    >>> volumes = np.array([2.0, 8.0, 14.0, 20.0])
    >>> curve = fit(volumes, 18 * np.exp(-volumes / 15), 2.56)
    >>> round(curve.volume, 2), round(curve.scale, 2)
    (29.26, 15.0)
    """
    from scipy.special import stdtrit

    slip = _slip(volumes, plato, limit)
    kept = np.arange(volumes.size) != slip
    curve = _curve(volumes[kept], plato[kept], limit)
    if curve is None:
        return None
    uncertainty = np.sqrt(curve.covariance[0, 0]) * stdtrit(curve.freedom, 0.975) / 2
    return Runoff(curve.volume, float(uncertainty), curve.scale, slip)


@dataclass(frozen=True)
class _Curve:
    limit: float
    volume: float
    scale: float
    variance: float  # of one reading, from the scatter
    freedom: int
    shape: Array  # inverse of JᵀJ

    @property
    def covariance(self) -> Array:
        return self.variance * self.shape

    def at(self, volumes: Array) -> Array:
        with np.errstate(over="ignore"):
            return np.asarray(self.limit * np.exp((self.volume - volumes) / self.scale))

    def slopes(self, volumes: Array) -> Array:
        """Derivatives of the extract by the two parameters: the Jacobian."""
        by_volume = self.at(volumes) / self.scale
        return np.stack([by_volume, by_volume * (volumes - self.volume) / self.scale], axis=-1)


def _curve(volumes: Array, plato: Array, limit: float) -> _Curve | None:
    """Least squares through all the readings given."""
    from scipy.optimize import least_squares

    # Start: straight line through the logarithms, weighted so that noise in °P counts equally.
    weights = np.maximum(plato, 0.0) ** 2
    logs = np.log(np.maximum(plato, 1e-9))
    total = weights.sum()
    if not total:
        return None
    centre = np.sum(weights * volumes) / total
    level = np.sum(weights * logs) / total
    fall = -np.sum(weights * (volumes - centre) * (logs - level))
    if fall <= 0:
        return None
    scale = np.sum(weights * (volumes - centre) ** 2) / fall
    start = np.array([centre + (level - np.log(limit)) * scale, scale])

    def curve(parameters: Array) -> _Curve:
        volume, scale = parameters.tolist()
        return _Curve(limit, volume, scale, np.nan, plato.size - 2, np.empty((0, 0)))

    def residuals(parameters: Array) -> Array:
        return curve(parameters).at(volumes) - plato

    def slopes(parameters: Array) -> Array:
        return curve(parameters).slopes(volumes)

    size = np.abs(start) + scale
    near = least_squares(residuals, start, slopes, method="lm", x_scale=size)
    if not (near.success and near.x[1] > 0 and np.isfinite(near.jac).all()):
        return None
    best = settle(residuals, slopes, near.x, size)
    if not best[1] > 0:  # a curve that runs off without end does not settle
        return None
    misfit, jacobian = residuals(best), slopes(best)
    return replace(
        curve(best),
        variance=float(np.sum(misfit**2)) / (plato.size - 2),
        shape=np.asarray(np.linalg.pinv(jacobian.T @ jacobian)),
    )


def _slip(volumes: Array, plato: Array, limit: float) -> int | None:
    """Position of the one reading that does not lie on the curve through the others.

    Each is left out in turn and held against the prediction of the rest; so a slip is seen at the
    ends too, where it would pull the curve to itself.
    """
    from scipy.special import stdtrit

    readings = plato.size
    if readings <= LEAST_READINGS:
        return None
    studentised = np.zeros(readings)
    freedom = readings - 3 + _INSTRUMENT_FREEDOM
    for left_out in range(readings):
        others = np.arange(readings) != left_out
        curve = _curve(volumes[others], plato[others], limit)
        if curve is None:
            continue
        pooled = (curve.freedom * curve.variance + _INSTRUMENT_FREEDOM * _INSTRUMENT**2) / freedom
        slope = np.nan_to_num(curve.slopes(volumes[left_out]))
        distance = plato[left_out] - curve.at(volumes[left_out])
        # A curve through the others that runs off to infinity says nothing: fmax drops its NaN.
        ratio = abs(distance) / np.sqrt(pooled * (1 + slope @ curve.shape @ slope))
        studentised[left_out] = np.fmax(ratio, 0.0)
    worst = int(np.argmax(studentised))
    return worst if studentised[worst] > stdtrit(freedom, 1 - _IMPROBABLE / 2 / readings) else None
