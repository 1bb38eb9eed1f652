"""The course of a fermentation: where it is, and where it will end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xlfuncs.science.arrays import Array, first_true
from xlfuncs.science.least_squares import settle

#: A forecast says when the gravity will be this close to its end.
NEAR = 0.001
#: Readings over at least so many days have to agree before a fermentation counts as steady.
STEADY_DAYS = 3.0
#: A log that never fell is wort from this gravity on, and finished beer below it.
WORT_SG = 1.030
#: Slowing: the latest rate of fall is less than this share of the fastest so far.
SLOWING = 0.5
_RATE_DAYS = 1.0  # a rate is taken over at least so long, lest noise looks like one

# What is believed before the readings, by common practice: three quarters of the extract that the
# first reading shows will go, give or take an eighth; the tail falls by a factor e in about a day;
# some lag.
_SHARE, _SHARE_SPREAD = 0.75, 0.125
_LOG_RATE, _LOG_RATE_SPREAD = 0.0, 0.7
_LAG, _LAG_SPREAD = 2.0, 2.0
_NUDGE = 1e-5


@dataclass(frozen=True)
class Forecast:
    """Final gravity, and the day at which the fermentation is within 0.001 of it."""

    final: float
    u_final: float
    day: float
    u_day: float


def forecast(days: Array, sgs: Array, u_sg: float = 0.001) -> Forecast:
    """Where a fermentation will end, from three or more readings that have begun to fall.

    Fits SG(t) = final + fall·(1 + b)/(b + exp(rate·t)), t in days from the first reading: a plain
    exponential for b = 0, a lag before it otherwise.  Maximum a posteriori least squares: early on
    the answer leans on common practice (an apparent attenuation of 75 ± 12.5 %), later on the
    readings.  Uncertainties from the Jacobian, larger where the scatter is.  NaN where no curve
    settles.

    >>> days = np.array([0, 1, 2, 3, 4, 5, 7.0])
    >>> sgs = 1.011 + 0.040 * 6 / (5 + np.exp(1.2 * days))
    >>> round(forecast(days, sgs).final, 3), round(forecast(days, sgs).day, 1)
    (1.011, 4.5)
    """
    order = np.argsort(days, kind="stable")
    elapsed, sgs = days[order] - days[order[0]], sgs[order]
    extract = max(float(sgs[0]) - 1, 5 * NEAR)
    # Of the start nothing is believed: the first reading is counted with the others.
    prior = np.array([_SHARE * extract, _LOG_RATE, _LAG])
    spread = np.array([_SHARE_SPREAD * extract, _LOG_RATE_SPREAD, _LAG_SPREAD])

    def left(parameters: Array) -> tuple[Array, Array]:
        """Share of the fall that is still to come, and what the lag has of its denominator."""
        _, _, log_rate, lag = parameters
        b = np.exp(lag)
        with np.errstate(over="ignore"):
            below = b + np.exp(np.exp(log_rate) * elapsed)
        return (1 + b) / below, b / below

    def model(parameters: Array) -> tuple[Array, Array]:
        start, fall, log_rate, _ = parameters
        share, lagging = left(parameters)
        misfit = (start - fall * (1 - share) - sgs) / u_sg
        residuals = np.append(misfit, (parameters[1:] - prior) / spread)
        by_log_rate = -fall * share * (1 - lagging) * np.exp(log_rate) * elapsed
        by_lag = fall * lagging * (1 - share)
        by_parameter = (np.ones_like(elapsed), share - 1, by_log_rate, by_lag)
        by_belief = np.column_stack([np.zeros(3), np.diag(1 / spread)])
        return residuals, np.vstack([np.column_stack(by_parameter) / u_sg, by_belief])

    start = np.append(sgs[0], prior)
    scale = np.append(u_sg, spread)
    best = settle(model, start, scale)
    misfit, jacobian = model(best)
    scatter = max(1.0, float(misfit @ misfit) / sgs.size)
    covariance = np.linalg.inv(jacobian.T @ jacobian) * scatter

    def day(parameters: Array) -> float:
        _, fall, log_rate, lag = parameters
        b = np.exp(lag)
        return float(np.log(max(fall * (1 + b) / NEAR - b, 1.0)) / np.exp(log_rate))

    nudges = np.diag(_NUDGE * scale)
    by_parameter = np.array(
        [(day(best + nudge) - day(best - nudge)) / (2 * nudge.sum()) for nudge in nudges]
    )
    by_final = np.array([1.0, -1.0, 0.0, 0.0])
    return Forecast(
        final=float(best[0] - best[1]),
        u_final=float(np.sqrt(by_final @ covariance @ by_final)),
        day=float(days[order[0]]) + day(best),
        u_day=float(np.sqrt(by_parameter @ covariance @ by_parameter)),
    )


def state(days: Array, sgs: Array, u_sg: float = 0.001) -> str:
    """`not started`, `fermenting`, `slowing`, `steady` or `too few readings`.

    Steady: the latest readings, over at least three days, lie within 2u of each other.  Fermenting
    or slowing: the gravity has fallen by more than the uncertainty of a difference, 2·√2·u; slowing
    when the latest rate is less than half the fastest.  A log that never fell counts as not started
    from 1.030 on; below that it is beer, steady or read too few times.

    >>> days = np.array([0.0, 1.0, 3.0, 5.0, 8.0])
    >>> state(days, np.array([1.050, 1.046, 1.020, 1.011, 1.011]))
    'steady'
    >>> state(days[:3], np.array([1.050, 1.046, 1.020]))
    'fermenting'
    """
    if sgs.size < 2:
        return "too few readings"
    order = np.argsort(days, kind="stable")
    days, sgs = days[order], sgs[order]
    hair = 1e-9
    fallen = np.max(sgs) - sgs[-1] > 2 * np.sqrt(2) * u_sg + hair
    # From each reading on to the last, how far do they lie apart?
    backwards = sgs[::-1]
    apart = np.maximum.accumulate(backwards) - np.minimum.accumulate(backwards)
    agreeing = apart <= 2 * u_sg + hair
    steady = np.any(agreeing & (days[-1] - days[::-1] >= STEADY_DAYS - hair))
    rates = _rates(days, sgs)
    return str(
        first_true(
            [
                (~fallen & (sgs[-1] >= WORT_SG), "not started"),
                (steady, "steady"),
                (~fallen, "too few readings"),
                (np.any(rates[-1:] < SLOWING * np.max(rates, initial=0.0)), "slowing"),
            ],
            otherwise="fermenting",
        ).item()
    )


def _rates(days: Array, sgs: Array) -> Array:
    """Fall per day up to each reading, since the last one at least a day before it."""
    before = np.searchsorted(days, days - _RATE_DAYS, side="right") - 1
    known = before >= 0
    before = before[known]
    return np.asarray((sgs[before] - sgs[known]) / (days[known] - days[before]))
