"""Beer: water, real extract and ethanol, tied to the wort that it came from.

A beer is described by its two halves, each made up to the beer's own volume with water at 20 °C:

- `residue`, the strength in °Plato of a wort that holds the real extract and no alcohol,
- `spirit`, the mass fraction of ethanol in a distillate that holds all the alcohol.

Tabarié's relation on equal volumes then says that the excesses over water add up: of density, and,
because Lorentz-Lorenz refractions add by mass, of refraction too.  Balling's mass balance ties both
to the original extract.  Any two of original extract, density, refraction and attenuation give the
beer: two equations for `residue` and `spirit`, solved by Newton steps on whole arrays.

Valid for original extract 0 to 25 °P, alcohol 0 to 15 % ABV and attenuation 0 to 100 %.  Slightly
outside (a reading a little above the wort's, `NOISE_BRIX`) the equations go on smoothly, with a
little less than no alcohol.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from xlfuncs.science import ethanol, sucrose, wort
from xlfuncs.science.arrays import Array, Real, derivative, in_blocks, polynomial
from xlfuncs.science.water import from_lorentz_lorenz, lorentz_lorenz

#: Balling: grams of extract that give 1 g of ethanol, 0.9565 g of CO2 and 0.11 g of yeast.
EXTRACT_PER_ETHANOL = 2.0665
_LOST_PER_ETHANOL = EXTRACT_PER_ETHANOL - 1

#: Factor on the refraction of ethanol; 1 is the CRC Handbook's.
ALCOHOL_FACTOR: float = 1

#: Standard uncertainty of an original SG that was only told, half a division of a hydrometer
#: marked in 0.002 SG (common practice).
ORIGINAL_U = 0.001

#: Standard uncertainty in SG of the balance itself, and of its factor for alcohol: how far the five
#: published regressions lie from it on average, root mean square, rounded up (worts of 8 to 20 °P
#: at 50 to 75 % real attenuation; a test reckons it).
MODEL_U = 0.0013

#: A reading up to this far, °Bx, above that of the unfermented wort is noise and goes on smoothly;
#: so does a gravity up to this far above the original, the most that such a reading makes of it.
NOISE_BRIX = 0.5
NOISE_SG = 0.004

#: Limits of the model: original extract in °Plato, alcohol in % by volume.
MOST_ORIGINAL = 25.0
MOST_ALCOHOL = 15.0


@dataclass(frozen=True)
class Beer:
    """One beer, or an array of them; see the module for `residue` and `spirit`."""

    residue: Real
    spirit: Real

    @property
    def halves(self) -> tuple[Real, Real]:
        """Residue and spirit."""
        return self.residue, self.spirit

    @property
    def density(self) -> Real:
        """Density at 20 °C, kg/m³ (Tabarié on equal volumes)."""
        return (
            polynomial(sucrose.DENSITY_20, self.residue)
            + polynomial(ethanol.DENSITY_20, self.spirit)
            - sucrose.WATER_20
        )

    @property
    def sg(self) -> Real:
        """Apparent specific gravity 20/20 in air: what a hydrometer shows."""
        return sucrose.apparent(self.density)

    @property
    def extract(self) -> Real:
        """Real extract, g/L."""
        return polynomial(sucrose.EXTRACT_PER_LITRE, self.residue)

    @property
    def alcohol(self) -> Real:
        """Ethanol, g/L."""
        return self.spirit * polynomial(ethanol.DENSITY_20, self.spirit)

    @property
    def real_extract(self) -> Real:
        """Real extract, g per 100 g (°Plato)."""
        return 100 * self.extract / self.density

    @property
    def abw(self) -> Real:
        """Alcohol, % by mass."""
        return 100 * self.alcohol / self.density

    @property
    def abv(self) -> Real:
        """Alcohol, % by volume at 20 °C (pure ethanol 789.24 kg/m³, OIML R 22)."""
        return 100 * self.alcohol / ethanol.DENSITY

    @property
    def original(self) -> Real:
        """Original extract, °Plato, by Balling's balance: the mass that CO2 and yeast took away."""
        return (
            100
            * (self.extract + EXTRACT_PER_ETHANOL * self.alcohol)
            / (self.density + _LOST_PER_ETHANOL * self.alcohol)
        )

    @property
    def real_attenuation(self) -> Real:
        """Share of the original extract that has fermented, %; undefined for water (0/0)."""
        fermented = EXTRACT_PER_ETHANOL * self.alcohol
        return 100 * np.divide(fermented, fermented + self.extract)

    @property
    def energy(self) -> Real:
        """Energy, kcal per 100 mL: (6.9·ABW + 4.0·(real extract - 0.1)) per 100 g, times SG.

        The 0.1 is ash; extract below that counts as none.  Source: ASBC Beer-33 (memory).
        """
        burnt = np.maximum(self.real_extract - 0.1, 0.0)
        return (6.9 * self.abw + 4.0 * burnt) * self.sg

    def refractive_index(
        self, wort_factor: Real = wort.WORT_FACTOR, alcohol_factor: Real = ALCOHOL_FACTOR
    ) -> Real:
        """Refractive index at 20 °C, 589.3 nm (Lorentz-Lorenz)."""
        residue = lorentz_lorenz(sucrose.refractive_index(wort_factor * self.residue))
        return from_lorentz_lorenz(residue + alcohol_factor * _spirit_refraction(self.spirit))

    def brix(
        self, wort_factor: Real = wort.WORT_FACTOR, alcohol_factor: Real = ALCOHOL_FACTOR
    ) -> Real:
        """True °Brix that a refractometer shows."""
        return sucrose.brix(self.refractive_index(wort_factor, alcohol_factor))

    def brix_slopes(
        self, wort_factor: Real = wort.WORT_FACTOR, alcohol_factor: Real = ALCOHOL_FACTOR
    ) -> tuple[Real, Real]:
        """How much that °Brix rises with the wort factor and with the alcohol factor: exact."""
        scale = _refraction_slope(self.brix(wort_factor, alcohol_factor))
        return (
            self.residue * _refraction_slope(wort_factor * self.residue) / scale,
            _spirit_refraction(self.spirit) / scale,
        )


def _spirit_refraction(spirit: Real) -> Real:
    """What ethanol adds to the refraction (n² - 1)/(n² + 2) of water in the same volume."""
    density = polynomial(ethanol.DENSITY_20, spirit)
    return (
        spirit * density * (ethanol.REFRACTION - ethanol.WATER_REFRACTION)
        + (density - sucrose.WATER_20) * ethanol.WATER_REFRACTION
    )


def _refraction_slope(brix: Real) -> Real:
    """Slope of the refraction (n² - 1)/(n² + 2) of a sucrose solution by its °Brix."""
    index = sucrose.refractive_index(brix)
    square = index * index + 2
    return 6 * index / (square * square) * polynomial(_INDEX_SLOPES, brix)


# --- the equations: value, slope by residue, slope by spirit ------------------------------


class _Litre(NamedTuple):
    """A litre of beer by its halves, and how each changes with its own unknown."""

    residue: Real
    extract: Real
    extract_slope: Real
    residue_density: Real
    residue_density_slope: Real
    alcohol: Real
    alcohol_slope: Real
    spirit_excess: Real  # of density over water
    spirit_excess_slope: Real


_Equation = Callable[[_Litre], tuple[Real, Real, Real]]

_RESIDUE_SLOPES = derivative(sucrose.DENSITY_20)
_SG_SLOPES = derivative(sucrose.APPARENT_SG)
_SPIRIT_SLOPES = derivative(ethanol.DENSITY_20)
_INDEX_SLOPES = derivative(sucrose.REFRACTIVE_INDEX)


def _litre(residue: Real, spirit: Real) -> _Litre:
    density = polynomial(sucrose.DENSITY_20, residue)
    density_slope = polynomial(_RESIDUE_SLOPES, residue)
    spirit_density = polynomial(ethanol.DENSITY_20, spirit)
    spirit_slope = polynomial(_SPIRIT_SLOPES, spirit)
    return _Litre(
        residue,
        residue * density / 100,
        (density + residue * density_slope) / 100,
        density,
        density_slope,
        spirit * spirit_density,
        spirit_density + spirit * spirit_slope,
        spirit_density - sucrose.WATER_20,
        spirit_slope,
    )


def _original_is(original: Real) -> _Equation:
    """Balling's balance between one litre of beer and the wort that it came from."""
    share = original / 100
    per_alcohol = EXTRACT_PER_ETHANOL - _LOST_PER_ETHANOL * share

    def equation(beer: _Litre) -> tuple[Real, Real, Real]:
        return (
            share * (beer.residue_density + beer.spirit_excess)
            - beer.extract
            - per_alcohol * beer.alcohol,
            share * beer.residue_density_slope - beer.extract_slope,
            share * beer.spirit_excess_slope - per_alcohol * beer.alcohol_slope,
        )

    return equation


def _attenuation_is(real_attenuation: Real) -> _Equation:
    fermented = real_attenuation / 100
    left = (1 - fermented) * EXTRACT_PER_ETHANOL

    def equation(beer: _Litre) -> tuple[Real, Real, Real]:
        return (
            left * beer.alcohol - fermented * beer.extract,
            -fermented * beer.extract_slope,
            left * beer.alcohol_slope,
        )

    return equation


def _sg_is(sg: Real) -> _Equation:
    density = sucrose.from_apparent(sg)

    def equation(beer: _Litre) -> tuple[Real, Real, Real]:
        return (
            beer.residue_density + beer.spirit_excess - density,
            beer.residue_density_slope,
            beer.spirit_excess_slope,
        )

    return equation


def _brix_is(brix: Real, wort_factor: Real, alcohol_factor: Real) -> _Equation:
    seen = lorentz_lorenz(sucrose.refractive_index(brix))
    per_alcohol = alcohol_factor * (ethanol.REFRACTION - ethanol.WATER_REFRACTION)
    per_excess = alcohol_factor * ethanol.WATER_REFRACTION

    def equation(beer: _Litre) -> tuple[Real, Real, Real]:
        shown = wort_factor * beer.residue
        return (
            lorentz_lorenz(sucrose.refractive_index(shown))
            - seen
            + per_alcohol * beer.alcohol
            + per_excess * beer.spirit_excess,
            wort_factor * _refraction_slope(shown),
            per_alcohol * beer.alcohol_slope + per_excess * beer.spirit_excess_slope,
        )

    return equation


# --- from any two of original extract, specific gravity, refraction, attenuation -------------

# °Brix, and °Plato less on a hydrometer, for a mass fraction of 1 of ethanol: only for starts.
_NEAR_BRIX_PER_SPIRIT = 43.0
_NEAR_PLATO_PER_SPIRIT = 45.0

# Newton steps: the worst start over the whole range is then solved to rounding, as a test holds.
_STEPS = 3
# °P.  The error after a Newton step is of the order of its square.
_CONVERGED = 1e-5
# Halvings of 25 °P down to 1e-13 °P.
_HALVINGS = 48


def from_brix(
    original: Real,
    brix: Real,
    wort_factor: Real = wort.WORT_FACTOR,
    alcohol_factor: Real = ALCOHOL_FACTOR,
) -> Beer:
    """Beer from the original extract and the reading of a refractometer.

    NaN where no attenuation from 0 to 100 % explains a reading and the Newton steps found nothing
    near by either.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `alcohol_factor`: of the ethanol alone, refraction over that of the CRC Handbook

    >>> round(from_brix(12.0, 6.2).sg, 4)
    1.0101
    """
    return Beer(*in_blocks(_halves_from_brix, original, brix, wort_factor, alcohol_factor))


def _halves_from_brix(
    original: Real, brix: Real, wort_factor: Real, alcohol_factor: Real
) -> tuple[Real, Real]:
    beer, step = by_newton(original, brix, wort_factor, alcohol_factor)
    missed = ~np.less(np.abs(step), _CONVERGED)
    if not missed.any():
        return beer.halves
    given = np.broadcast_arrays(missed, original, brix, wort_factor, alcohol_factor)[1:]
    found = bracketed(*(np.asarray(value, dtype=float)[missed] for value in given))
    halves = [np.array(np.broadcast_to(half, missed.shape)) for half in beer.halves]
    for half, new in zip(halves, found.halves, strict=True):
        half[missed] = new
    residue, spirit = (half if half.ndim else half.item() for half in halves)
    return residue, spirit


def by_newton(
    original: Real, brix: Real, wort_factor: Real, alcohol_factor: Real
) -> tuple[Beer, Real]:
    """As `from_brix`, by Newton steps alone, and the last step in residue (°P).

    Over the range of the model they seldom go astray; a last step above 1e-5 °P says that they did.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `alcohol_factor`: of the ethanol alone, refraction over that of the CRC Handbook

    >>> beer, step = by_newton(12.0, 6.2, 1.04, 1.0)
    >>> print(f"{beer.sg:.4f}", abs(step) < 1e-6)
    1.0101 True
    """
    return _solve(
        _original_is(original),
        _brix_is(brix, wort_factor, alcohol_factor),
        *_near_by_brix(original, brix, wort_factor, alcohol_factor),
    )


def bracketed(original: Array, brix: Array, wort_factor: Array, alcohol_factor: Array) -> Beer:
    """As `from_brix`, by halving between complete and no fermentation: slow, but cannot go astray.

    NaN where the reading lies outside that bracket.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `alcohol_factor`: of the ethanol alone, refraction over that of the CRC Handbook

    >>> beer = bracketed(*(np.array([value]) for value in (12.0, 6.2, 1.04, 1.0)))
    >>> np.round(beer.sg, 4).tolist()
    [1.0101]
    """
    balance = _original_is(original)
    refraction = _brix_is(brix, wort_factor, alcohol_factor)

    def spirit_with(residue: Array) -> Real:
        spirit = _near_spirit(original, residue)
        for _ in range(_STEPS):
            value, _, slope = balance(_litre(residue, spirit))
            spirit = spirit - value / slope
        return spirit

    def excess(residue: Array) -> Real:
        return refraction(_litre(residue, spirit_with(residue)))[0]

    low, high = np.zeros_like(original), original.copy()
    outside = ~((excess(low) <= 0) & (excess(high) >= 0))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = excess(middle) > 0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    residue = np.where(outside, np.nan, (low + high) / 2)
    return Beer(residue, spirit_with(residue))


def sg_slopes(
    original: Real, brix: Real, wort_factor: Real, alcohol_factor: Real = ALCOHOL_FACTOR
) -> tuple[Real, Real, Real]:
    """How much SG by `from_brix` rises with original SG, with °Brix and with the wort factor.

    Exact, by implicit differentiation of both equations at the solution.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `alcohol_factor`: of the ethanol alone, refraction over that of the CRC Handbook

    >>> [round(slope, 4) for slope in sg_slopes(12.0, 6.2, 1.04)]
    [-0.5514, 0.006, -0.0261]
    """
    beer = from_brix(original, brix, wort_factor, alcohol_factor)
    litre = _litre(*beer.halves)
    _, a_residue, a_spirit = _original_is(original)(litre)
    _, b_residue, b_spirit = _brix_is(brix, wort_factor, alcohol_factor)(litre)
    scale = (sucrose.WATER_20 - sucrose.AIR_DENSITY) * (a_residue * b_spirit - a_spirit * b_residue)
    by_residue, by_spirit = litre.residue_density_slope, litre.spirit_excess_slope
    by_balance = (by_spirit * b_residue - by_residue * b_spirit) / scale
    by_refraction = (by_residue * a_spirit - by_spirit * a_residue) / scale
    balance_slope = (beer.density + _LOST_PER_ETHANOL * litre.alcohol) / 100
    return (
        by_balance * balance_slope / polynomial(_SG_SLOPES, original),
        -by_refraction * _refraction_slope(brix),
        by_refraction * beer.residue * _refraction_slope(wort_factor * beer.residue),
    )


def sg_uncertainty(
    original: Real,
    brix: Real,
    wort_factor: Real,
    u_reading: Real,
    u_factor: Real,
    u_original: Real,
    u_model: Real,
) -> Real:
    """Standard uncertainty of SG by `from_brix`, first order.

    Source: JCGM 100:2008 (GUM), equation 10.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `u_reading`: standard uncertainty of `brix`, °Brix
    - `u_factor`: that of `wort_factor`
    - `u_original`: that of the original gravity, SG
    - `u_model`: that of the balance itself, SG

    >>> round(sg_uncertainty(12.0, 6.2, 1.04, 0.1, 0.01, 0.001, 0.001), 4)
    0.0013
    """
    by_original, by_brix, by_factor = sg_slopes(original, brix, wort_factor)
    return (
        (by_original * u_original) ** 2
        + (by_brix * u_reading) ** 2
        + (by_factor * u_factor) ** 2
        + u_model**2
    ) ** 0.5


def from_sg(original: Real, sg: Real) -> Beer:
    """Beer from the original extract (°Plato) and its own specific gravity.

    >>> beer = from_sg(12.0, 1.01)
    >>> round(beer.real_extract, 2), round(beer.abv, 2)
    (4.41, 5.0)
    """
    residue = real_extract_by_rule(original, sucrose.near_plato(sg))
    spirit = _near_spirit(original, residue)
    return _solve(_original_is(original), _sg_is(sg), residue, spirit)[0]


def from_sg_and_brix(
    sg: Real,
    brix: Real,
    wort_factor: Real = wort.WORT_FACTOR,
    alcohol_factor: Real = ALCOHOL_FACTOR,
) -> Beer:
    """Beer of unknown origin, from hydrometer and refractometer together.

    - `sg`: what a hydrometer shows, SG 20/20
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `alcohol_factor`: of the ethanol alone, refraction over that of the CRC Handbook

    >>> round(from_sg_and_brix(1.0101, 6.2).original, 1)
    12.0
    """
    return _solve(
        _sg_is(sg),
        _brix_is(brix, wort_factor, alcohol_factor),
        *_near_by_both(sg, brix, wort_factor, alcohol_factor),
    )[0]


def from_attenuation(original: Real, real_attenuation: Real) -> Beer:
    """Beer from the original extract (°Plato) and the share of it that has fermented, %.

    >>> round(from_attenuation(12.0, 66.0).sg, 4)
    1.0093
    """
    return _solve(
        _original_is(original),
        _attenuation_is(real_attenuation),
        *_near_by_attenuation(original, real_attenuation),
    )[0]


# --- starts: near enough for the steps --------------------------------------------------------


def _near_spirit(original: Real, residue: Real) -> Real:
    return (original - residue) / (100 * EXTRACT_PER_ETHANOL - _LOST_PER_ETHANOL * original)


def _near_by_brix(
    original: Real, brix: Real, wort_factor: Real, alcohol_factor: Real
) -> tuple[Real, Real]:
    per_spirit = 100 * EXTRACT_PER_ETHANOL - _LOST_PER_ETHANOL * original
    brix_per_extract = _NEAR_BRIX_PER_SPIRIT * alcohol_factor / per_spirit
    residue = (brix - brix_per_extract * original) / (wort_factor - brix_per_extract)
    return residue, (original - residue) / per_spirit


def _near_by_both(
    sg: Real, brix: Real, wort_factor: Real, alcohol_factor: Real
) -> tuple[Real, Real]:
    apparent_extract = sucrose.near_plato(sg)
    spirit = (brix - wort_factor * apparent_extract) / (
        wort_factor * _NEAR_PLATO_PER_SPIRIT + alcohol_factor * _NEAR_BRIX_PER_SPIRIT
    )
    return apparent_extract + _NEAR_PLATO_PER_SPIRIT * spirit, spirit


def _near_by_attenuation(original: Real, real_attenuation: Real) -> tuple[Real, Real]:
    fermented = original * real_attenuation / 100
    return original - fermented, fermented / (100 * EXTRACT_PER_ETHANOL)


# --- the steps -------------------------------------------------------------------------------


def _solve(first: _Equation, second: _Equation, residue: Real, spirit: Real) -> tuple[Beer, Real]:
    """The beer that fulfils both equations, and the last step taken in its residue (°P)."""
    for _ in range(_STEPS):
        litre = _litre(residue, spirit)
        a, a_residue, a_spirit = first(litre)
        b, b_residue, b_spirit = second(litre)
        determinant = a_residue * b_spirit - a_spirit * b_residue
        step = (a * b_spirit - b * a_spirit) / determinant
        residue = residue - step
        spirit = spirit - (b * a_residue - a * b_residue) / determinant
    return Beer(residue, spirit), step


def apparent_attenuation(original: Real, sg: Real) -> Real:
    """Apparent attenuation, %: from °Plato of wort and of beer on a hydrometer.

    >>> round(float(apparent_attenuation(12.0, 1.01)), 1)
    78.6
    """
    return 100 * np.divide(original - sucrose.plato(sg), original)


def real_extract_by_rule(original: Real, apparent_extract: Real) -> Real:
    """Real extract by the rule 0.1808·original + 0.8192·apparent: a cross-check only.

    It lies 0.07 to 0.24 °P below the exact balance.  Source: Balling's rule (memory).

    >>> round(real_extract_by_rule(12.0, 2.56), 2)
    4.27
    """
    return 0.1808 * original + 0.8192 * apparent_extract
