"""A brewery's own alcohol correction, from paired readings of refractometer and hydrometer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xlfuncs.science import beer, wort
from xlfuncs.science.arrays import Array
from xlfuncs.science.least_squares import settle

#: What is believed before the first pair: wort factor and alcohol factor, mean and standard
#: deviation.
PRIOR = np.array([wort.WORT_FACTOR, beer.ALCOHOL_FACTOR])
PRIOR_SPREAD = np.array([wort.FACTOR_U, 0.05])

#: A pair further than this many standard deviations from what the others say is an outlier.  It
#: still counts in the fit: whether a reading is a slip is for the brewer to say.
OUTLIER = 4.0


@dataclass(frozen=True)
class BeerFit:
    """Wort factor and alcohol factor of a brewery, and how well they do."""

    wort_factor: float
    alcohol_factor: float
    u_wort_factor: float
    u_alcohol_factor: float
    correlation: float
    sg_errors: Array  # hydrometer less refractometer, each corrected by what the others say
    default_sg_errors: Array  # the same with the default factors
    deviations: Array  # of each pair from what the others say, in standard deviations

    @property
    def error(self) -> float:
        """Root mean square of the left-one-out errors, SG."""
        return _root_mean_square(self.sg_errors)

    @property
    def default_error(self) -> float:
        """The same with the default factors."""
        return _root_mean_square(self.default_sg_errors)

    @property
    def pairs(self) -> int:
        """Number of pairs."""
        return self.deviations.size


def fit(
    original: Array, brix: Array, sg: Array, u_brix: float = 0.1, u_sg: float = 0.001
) -> BeerFit:
    """Most probable wort and alcohol factor, given the pairs and what is believed beforehand.

    Maximum a posteriori least squares of the reading that each beer (by original and hydrometer)
    ought to show, weighted by both instruments' uncertainties, with the prior 1.04 ± 0.012 and
    1.00 ± 0.05.  The covariance is that of the Jacobian at the solution.  A pair is left out by one
    Gauss-Newton step from the full fit, which agrees with a new fit to 1e-5 SG: the model is almost
    linear in both factors.  NaN where `settle` finds no factors: pairs too far apart.

    - `original`: extract of each wort, °Plato
    - `brix`: what each beer shows, true °Brix
    - `sg`: what a hydrometer shows in it, SG 20/20
    - `u_brix`: standard uncertainty of one `brix`, °Brix
    - `u_sg`: that of one `sg`, SG

    >>> original, true = np.array([12.0, 16.0]), np.array([1.010, 1.014])
    >>> shown = beer.from_sg(original, true).brix(1.04, 1.0)
    >>> found = fit(original, shown, true)
    >>> round(found.wort_factor, 4), round(found.alcohol_factor, 4), found.pairs
    (1.04, 1.0, 2)
    """
    # All at once, since a few numbers take as long as one: as read, and either side of it.
    beers = beer.from_sg(np.tile(original, 3), np.concatenate([sg, sg - u_sg, sg + u_sg]))

    def compared(factors: Array) -> tuple[Array, Array, Array]:
        """Of each pair the misfit in °Bx, what the hydrometer's doubt is in °Bx, and both's."""
        shown, below, above = np.reshape(beers.brix(*factors), (3, -1))
        misfit = shown - brix
        # The hydrometer's share of the spread hangs on the factors: with a fixed spread its noise
        # would draw the factors down.
        share = (above - below) / 2
        return misfit, share, np.hypot(u_brix, share)

    def model(factors: Array) -> tuple[Array, Array]:
        misfit, share, spread = compared(factors)
        residuals = np.append(misfit / spread, (factors - PRIOR) / PRIOR_SPREAD)
        of_all = np.stack(beers.brix_slopes(*factors)).reshape(2, 3, -1)
        of_beers, of_below, of_above = of_all[:, 0], of_all[:, 1], of_all[:, 2]
        of_share = (of_above - of_below) / 2
        of_pairs = of_beers / spread - misfit * share / spread**3 * of_share
        return residuals, np.vstack([of_pairs.T, np.diag(1 / PRIOR_SPREAD)])

    factors = settle(model, PRIOR, PRIOR_SPREAD)
    residuals, jacobian = model(factors)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    u = np.sqrt(np.diag(covariance))

    misfit, jacobian = residuals[:-2], jacobian[:-2]
    moves = jacobian @ covariance
    leverage = np.sum(moves * jacobian, axis=1)
    others = factors + moves * (misfit / (1 - leverage))[:, np.newaxis]
    return BeerFit(
        wort_factor=float(factors[0]),
        alcohol_factor=float(factors[1]),
        u_wort_factor=float(u[0]),
        u_alcohol_factor=float(u[1]),
        correlation=float(covariance[0, 1] / (u[0] * u[1])),
        sg_errors=sg - np.asarray(beer.from_brix(original, brix, *others.T).sg),
        default_sg_errors=sg - np.asarray(beer.from_brix(original, brix).sg),
        deviations=misfit / np.sqrt(1 - leverage),
    )


def _root_mean_square(errors: Array) -> float:
    return float(np.sqrt(np.mean(errors**2)))
