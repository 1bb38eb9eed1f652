"""The wash-out of a lauter: extract of the runoff against the volume collected.

First wort comes as strong as it is; only when sparge water breaks through does the runoff begin to
fall.  So the curve starts behind the readings of that plateau.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from xlfuncs.science.arrays import Array
from xlfuncs.science.least_squares import settle
from xlfuncs.science.student import quantile

#: Fewest readings that leave a degree of freedom to judge the fit by.
LEAST_READINGS = 3

#: What all readings share, standard uncertainties: in SG, the level of a refractometer checked in
#: water to 0.05 °Bx; as a share of SG - 1, the wort factor (`wort.FACTOR_U` in 1.04) and a slope
#: that was not checked (0.01).
LEVEL_U, SHARE_U = 0.0002, 0.015

# A reading is taken for a slip when its residual is this improbable, over all readings together.
_IMPROBABLE = 0.01
# A plateau is believed when it is this improbable that readings of a plain curve look like one.
_PLATEAU_IMPROBABLE = 0.05
# Few readings may agree by luck; so, when a slip or a plateau is judged, their scatter is pooled
# with what a hand refractometer is known to have, 0.2 °Bx, counted as four degrees of freedom.
_INSTRUMENT, _INSTRUMENT_FREEDOM = 0.2, 4
# Scales of the wash-out that are tried, as how often the extract falls to 1/e between the first and
# the last reading.  What is slower does not fall; what is faster fell before the second reading.
_FALLS = np.geomspace(1e-3, 1e2, 160)
# One strong reading may be a slip; from two on they are a plateau.
_LEAST_PLATEAU = 2


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
    plateau: int = 0  # how many of the first readings are first wort, before the fall


def fit(
    volumes: Array, plato: Array, limit: float, u_level: float = 0.0, u_share: float = 0.0
) -> Runoff | None:
    """Exponential wash-out through readings of the runoff, in any order; None if it does not fall.

    Unweighted least squares on the extract (each reading is as sure as
    the other), with the volume sought as one of the two parameters, so that its uncertainty comes
    out of the fit.  Readings of first wort are left out: two or more at the start that lie level
    and below the curve through the rest, where that explains them better than one curve for all (5
    % level).  One reading that does not belong to the others is left out too: its studentised
    residual is beyond the 1 % level over all readings.

    The standard uncertainty follows from the scatter about the curve and the plateau; it is
    stretched by Student's t so that twice of it covers 95 % (JCGM 100:2008, G.3).  What all
    readings share no scatter shows: `u_level`, °P, moves each reading by as much, `u_share` by a
    share of it, and the volume by what the fit makes of that.  Infinite where only one reading lies
    behind a plateau: the fall has just begun.

    - `volumes`: collected at each reading, in any one unit
    - `plato`: the runoff then, °Plato
    - `limit`: at which the sparge stops, °Plato
    - `u_level`: what all readings are off by alike, standard uncertainty, °Plato
    - `u_share`: the same as a share of each reading

    >>> volumes = np.array([2.0, 8.0, 14.0, 20.0])
    >>> curve = fit(volumes, 18 * np.exp(-volumes / 15), 2.56)
    >>> round(float(curve.volume), 2), round(float(curve.scale), 2)
    (29.26, 15.0)
    """
    order = np.argsort(volumes, kind="stable")
    plateau = _plateau(volumes[order], plato[order], limit)
    level, falling = order[:plateau], order[plateau:]
    if falling.size == 1:
        return Runoff(float(volumes[falling[0]]), float("inf"), float("nan"), None, plateau)
    slip = _slip(volumes[falling], plato[falling], limit)
    kept = np.delete(falling, slip) if slip is not None else falling
    curve = _curve(volumes[kept], plato[kept], limit)
    if curve is None:
        return None
    squares, freedom = curve.squares, curve.freedom
    if plateau:
        squares, freedom = squares + _about_mean(plato[level]), freedom + plateau - 1
    by_scatter = np.sqrt(squares / freedom * curve.shape[0, 0]) * quantile(freedom, 0.975) / 2
    gain = (curve.shape @ curve.slopes(volumes[kept]).T)[0]
    by_level, by_share = u_level * gain.sum(), u_share * curve.scale
    return Runoff(
        curve.volume,
        float(np.sqrt(by_scatter**2 + by_level**2 + by_share**2)),
        curve.scale,
        None if slip is None else int(falling[slip]),
        plateau,
    )


@dataclass(frozen=True)
class _Curve:
    limit: float
    volume: float
    scale: float
    squares: float  # sum of the squared residuals
    freedom: int
    shape: Array  # inverse of JᵀJ

    @np.errstate(over="ignore")
    def at(self, volumes: Array) -> Array:
        return _wash_out(self.limit, self.volume, self.scale, volumes)[0]

    @np.errstate(over="ignore")
    def slopes(self, volumes: Array) -> Array:
        """Derivatives of the extract by the two parameters: the Jacobian."""
        return _wash_out(self.limit, self.volume, self.scale, volumes)[1]


def _wash_out(limit: float, volume: float, scale: float, volumes: Array) -> tuple[Array, Array]:
    """The extract at some volumes, and its derivatives by volume and scale."""
    extract = limit * np.exp((volume - volumes) / scale)
    slopes = np.empty((*np.shape(volumes), 2))
    slopes[..., 0] = by_volume = extract / scale
    slopes[..., 1] = by_volume * (volumes - volume) / scale
    return extract, slopes


def _line(volumes: Any, plato: Any, limit: Any) -> tuple[Any, Any] | None:
    """Volume and scale of a straight line through the logarithms; None if it does not fall.

    Weighted so that noise in °P counts equally.
    """
    weights = np.maximum(plato, 0.0) ** 2
    logs = np.log(np.maximum(plato, 1e-9))
    total = np.sum(weights)
    if total <= 0:
        return None
    centre = np.sum(weights * volumes) / total
    level = np.sum(weights * logs) / total
    fall = -np.sum(weights * (volumes - centre) * (logs - level))
    if fall <= 0:
        return None
    scale = np.sum(weights * (volumes - centre) ** 2) / fall
    return centre + (level - np.log(limit)) * scale, scale


def fit_all(
    volumes: Any, plato: Any, limit: Any, u_level: Any = 0.0, u_share: Any = 0.0, steps: int = 2
) -> Runoff | None:
    """`fit` through every reading, by sums alone: no first wort and no slip is looked for.

    The line through the logarithms, and from it so many steps of Gauss and Newton towards least
    squares in °P.  None if the extract does not fall.

    - `volumes`: of wort run off at each reading, in one unit, 1-D
    - `plato`: extract of each reading, °P
    - `limit`: extract at which the runoff ends, °P
    - `u_level`: standard uncertainty that all readings share, °P
    - `u_share`: standard uncertainty that all readings share, as a share of each, a ratio
    - `steps`: how many steps, a count

    >>> volumes = np.array([2.0, 8.0, 14.0, 20.0])
    >>> curve = fit_all(volumes, 18 * np.exp(-volumes / 15), 2.56)
    >>> round(float(curve.volume), 2), round(float(curve.scale), 2)
    (29.26, 15.0)
    """
    line = _line(volumes, plato, limit)
    if line is None:
        return None
    volume, scale = line
    for step in range(steps + 1):
        at = limit * np.exp((volume - volumes) / scale)
        by_volume = at / scale
        by_scale = by_volume * (volumes - volume) / scale
        misfit = at - plato
        a, b, c = (np.sum(one * other) for one, other in (
            (by_volume, by_volume), (by_volume, by_scale), (by_scale, by_scale)))  # fmt: skip
        determinant = a * c - b * b
        if step < steps:
            d, e = np.sum(by_volume * misfit), np.sum(by_scale * misfit)
            volume = volume - (c * d - b * e) / determinant
            scale = scale - (a * e - b * d) / determinant
    if scale <= 0:
        return None
    freedom = np.size(volumes) - 2
    shape = c / determinant
    by_scatter = np.sqrt(np.sum(misfit**2) / freedom * shape) * quantile(freedom, 0.975) / 2
    by_level = u_level * np.sum((c * by_volume - b * by_scale) / determinant)
    u = np.sqrt(by_scatter**2 + by_level**2 + (u_share * scale) ** 2)
    return Runoff(volume, u, scale, None)


def different(volumes: Array) -> int:
    """How many volumes there are.

    >>> different(np.array([2.0, 8.0, 8.0]))
    2
    """
    return int(np.unique(volumes).size)


def at_volume(volume: Any, volumes: Any, sgs: Any) -> Any:
    """Mean of what was read at one of the volumes.

    >>> float(at_volume(8.0, np.array([2.0, 8.0, 8.0]), np.array([1.07, 1.25, 1.75])))
    1.5
    """
    there = np.where(volumes == volume, 1.0, 0.0)
    return np.sum(there * sgs) / np.sum(there)


def _curve(volumes: Array, plato: Array, limit: float) -> _Curve | None:
    """Least squares through all the readings given; None if no curve that falls is the nearest.

    For a given scale the height is a matter of proportion, so the scales alone are searched, all
    of them: a second, worse place of rest, as a slip makes one, is not taken for the least.
    """
    if _line(volumes, plato, limit) is None:
        return None
    first, span = volumes.min(), np.ptp(volumes)
    shapes = np.exp(-_FALLS[:, np.newaxis] * (volumes - first) / span)
    heights = shapes @ plato / np.sum(shapes**2, axis=1)
    squares = np.sum((heights[:, np.newaxis] * shapes - plato) ** 2, axis=1)
    best = int(np.argmin(np.where(heights > 0, squares, np.inf)))
    height, scale = heights[best], span / _FALLS[best]
    if best in (0, _FALLS.size - 1) or not height > 0:
        return None

    def model(parameters: Array) -> tuple[Array, Array]:
        volume, scale = parameters.tolist()
        extract, slopes = _wash_out(limit, volume, scale, volumes)
        return extract - plato, slopes

    start = np.array([first + np.log(height / limit) * scale, scale])
    found = settle(model, start, np.abs(start) + scale)
    if not found[1] > 0:  # a curve that runs off without end does not settle
        return None
    misfit, jacobian = model(found)
    volume, scale = found.tolist()
    return _Curve(
        limit,
        volume,
        scale,
        squares=float(np.sum(misfit**2)),
        freedom=plato.size - 2,
        shape=np.asarray(np.linalg.pinv(jacobian.T @ jacobian)),
    )


def _about_mean(plato: Array) -> float:
    return float(np.sum((plato - plato.mean()) ** 2))


def _plateau(volumes: Array, plato: Array, limit: float) -> int:
    """How many of the first readings, in the order of volume, are first wort before the fall."""
    readings = plato.size
    freedom = readings - 3
    if freedom < 1:
        return 0
    plain = _squares(volumes, plato, limit)
    split: dict[int, float] = {}  # sum of squares by the number of readings of first wort
    for number in range(_LEAST_PLATEAU, readings):
        first, rest = plato[:number], slice(number, None)
        squares = _about_mean(first)
        if squares > (number - 1) * (2 * _INSTRUMENT) ** 2:
            break
        if number < readings - 1:
            curve = _curve(volumes[rest], plato[rest], limit)
            if curve is None or np.mean(curve.at(volumes[:number])) < first.mean():
                continue
            squares += curve.squares
        elif plato[-1] >= first.mean():
            continue
        split[number] = squares
    least = min(split.values(), default=plain)
    pooled = (least + _INSTRUMENT_FREEDOM * _INSTRUMENT**2) / (freedom + _INSTRUMENT_FREEDOM)
    decisive = quantile(freedom + _INSTRUMENT_FREEDOM, 1 - _PLATEAU_IMPROBABLE / 2) ** 2 * pooled
    if plain - least <= decisive:
        return 0
    # A reading that may as well be level still is: the curve through it would fall too slowly.
    plateau = max(number for number, squares in split.items() if squares - least <= decisive)
    # A single slip may explain the same readings better.
    slip = _slip(volumes, plato, limit)
    others = np.arange(readings) != slip
    if slip is not None and _squares(volumes[others], plato[others], limit) < least:
        return 0
    return plateau


def _squares(volumes: Array, plato: Array, limit: float) -> float:
    """Sum of squares about one curve for all, or about their mean if they do not fall."""
    curve = _curve(volumes, plato, limit)
    return _about_mean(plato) if curve is None else curve.squares


def _slip(volumes: Array, plato: Array, limit: float) -> int | None:
    """Position of the one reading that does not lie on the curve through the others.

    Each is left out in turn and held against the prediction of the rest; so a slip is seen at the
    ends too, where it would pull the curve to itself.
    """
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
        pooled = (curve.squares + _INSTRUMENT_FREEDOM * _INSTRUMENT**2) / freedom
        slope = np.nan_to_num(curve.slopes(volumes[left_out]))
        distance = plato[left_out] - curve.at(volumes[left_out])
        # A curve through the others that runs off to infinity says nothing: fmax drops its NaN.
        ratio = abs(distance) / np.sqrt(pooled * (1 + slope @ curve.shape @ slope))
        studentised[left_out] = np.fmax(ratio, 0.0)
    worst = int(np.argmax(studentised))
    improbable = quantile(freedom, 1 - _IMPROBABLE / 2 / readings)
    return worst if studentised[worst] > improbable else None
