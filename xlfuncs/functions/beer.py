"""Beer: when alcohol is in the sample."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from xlfuncs.cells import quantities
from xlfuncs.cells.boundary import refuse
from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    AlcoholFactor,
    BeerBrix,
    BeerBrixReadings,
    BeerGravities,
    BeerGravity,
    CorrectionMethod,
    FactorUncertainty,
    ModelUncertainty,
    OneBeerBrix,
    OneOriginalGravity,
    OneWortFactor,
    OriginalGravities,
    OriginalGravity,
    OriginalUncertainty,
    ReadingUncertainty,
    WortFactor,
)
from xlfuncs.cells.values import MARK, Refused, show
from xlfuncs.science import beer, beer_fit, corrections, sucrose, wort
from xlfuncs.science.arrays import Real
from xlfuncs.science.beer import ALCOHOL_FACTOR, MODEL_U, ORIGINAL_U, Beer

CATEGORY = "Beer"

# Readings that equal a limit but for binary rounding: °Brix, °Plato, % and SG alike.
_HAIR = 1e-9
# In a fit a hydrometer may stray this far beyond what the original gravity allows.
_STRAY = 0.005


@cell_function(CATEGORY)
def BEER_SG(
    original_sg: OriginalGravity,
    brix: BeerBrix,
    wort_factor: WortFactor = wort.WORT_FACTOR,
    method: CorrectionMethod = corrections.BALANCE,
    alcohol_factor: AlcoholFactor = ALCOHOL_FACTOR,
) -> Any:
    """True specific gravity of fermenting or finished beer from its refractometer °Brix.

    A corrected reading that stands still does not prove that fermentation has ended, and bottles
    can burst: check with a hydrometer before you package.  A reading up to 0.5 °Bx above that of
    the unfermented wort is noise and goes on smoothly.  Alcohol for label or tax needs the
    approved method of the place.  `balance` is the default; the published regressions are there to
    compare with, for worts of 4 to 22 °Plato, the two of 2011 from 50 % real attenuation on.

    Formula: extract and ethanol that fulfil Balling's balance (2.0665 g extract for 1 g ethanol)
    and, by Lorentz-Lorenz, the reading; then Tabarié's relation on equal volumes.  The wort factor
    multiplies the refraction of the extract, the alcohol factor that of the ethanol.

    Source: OIML R 22 (1975), ICUMSA SPS-4 and 1974 scale, CRC Handbook (ethanol index); for the
    regressions see docs/beer.md.

    >>> round(BEER_SG(1.048, 6.2), 4)
    1.0103
    """
    original = sucrose.plato(original_sg)
    found = beer.from_brix(original, brix, wort_factor, alcohol_factor)
    if method == corrections.BALANCE:
        result: Any = found.sg
    else:
        result = _by_regression(method, original, brix / wort_factor, found)
    return _refuse_readings(result, found, original, brix, wort_factor, alcohol_factor)


@cell_function(CATEGORY, columns=("method", "specific gravity"), whole=True)
def BEER_SG_SPREAD(
    original_sg: OneOriginalGravity,
    brix: OneBeerBrix,
    wort_factor: OneWortFactor = wort.WORT_FACTOR,
) -> Any:
    """What every method makes of the same reading: names and gravities, then lowest and highest.

    A wide spread asks for a hydrometer; a narrow one is no proof.

    Formula: BEER_SG by each method.

    Source: as BEER_SG: OIML R 22 (1975), ICUMSA SPS-4; for the regressions see docs/beer.md.

    >>> [name for name, sg in BEER_SG_SPREAD(1.048, 6.2)][-2:]
    ['lowest', 'highest']
    """
    original = sucrose.plato(original_sg)
    found = beer.from_brix(original, brix, wort_factor)
    balance = _refuse_readings(found.sg, found, original, brix, wort_factor, ALCOHOL_FACTOR)
    cells = [np.asarray(balance).item()]
    for method in corrections.REGRESSIONS:
        result = _by_regression(method, original, brix / wort_factor, found)
        cells.append(cells[0] if isinstance(cells[0], str) else np.asarray(result).item())
    numbers = [cell for cell in cells if not isinstance(cell, str)]
    ends = [min(numbers), max(numbers)] if numbers else [cells[0]] * 2
    names = [*corrections.METHODS, "lowest", "highest"]
    return list(zip(names, [*cells, *ends], strict=True))


@cell_function(CATEGORY)
def BEER_SG_UNCERTAINTY(
    original_sg: OriginalGravity,
    brix: BeerBrix,
    wort_factor: WortFactor = wort.WORT_FACTOR,
    u_reading: ReadingUncertainty = 0.1,
    u_factor: FactorUncertainty = wort.FACTOR_U,
    u_original: OriginalUncertainty = ORIGINAL_U,
    u_model: ModelUncertainty = MODEL_U,
) -> Any:
    """Standard uncertainty of BEER_SG by `balance`; twice as much covers about 95 %.

    The model's own part stands for what the balance leaves out: yeasts that make more or less
    alcohol, hop and protein in the refraction, haze.

    Formula: square root of the summed squares of sensitivity times standard uncertainty of reading,
    wort factor and original gravity, and of the model's own.

    Source: JCGM 100:2008 (GUM), equation 10.

    >>> round(BEER_SG_UNCERTAINTY(1.048, 6.2), 4)
    0.0016
    """
    original = sucrose.plato(original_sg)
    result = beer.sg_uncertainty(
        original, brix, wort_factor, u_reading, u_factor, u_original, u_model
    )
    found = beer.from_brix(original, brix, wort_factor)
    return _refuse_readings(result, found, original, brix, wort_factor, ALCOHOL_FACTOR)


@cell_function(
    CATEGORY,
    columns=(
        "wort factor",
        "alcohol factor",
        "standard uncertainty of wort factor",
        "standard uncertainty of alcohol factor",
        "left-one-out error, SG",
        "error of the defaults, SG",
        "pairs",
    ),
    whole=True,
)
def BEER_FIT(
    original_sgs: OriginalGravities,
    brix_readings: BeerBrixReadings,
    hydrometer_sgs: BeerGravities,
) -> Any:
    """This brewery's own correction, from refractometer and hydrometer on the same beers.

    Gives wort factor, alcohol factor, their standard uncertainties, the root mean square error in
    SG when each pair is corrected by what the others say, the same for the default factors, and the
    number of pairs.  With few pairs it leans on the defaults; use it once its error is the smaller.

    Formula: least squares of the reading that each beer ought to show, weighted by 0.1 °Bx and
    0.001 SG, with the prior 1.04 ± 0.012 and 1.00 ± 0.05; uncertainties from the Jacobian.

    Source: JCGM 100:2008, H.3; the model of BEER_SG.

    >>> answer = BEER_FIT([1.048, 1.060], [6.4, 8.1], [1.0105, 1.0130])[0]
    >>> [round(cell, 3) for cell in answer[:4]]
    [1.047, 1.039, 0.011, 0.043]
    """
    original = np.asarray(sucrose.plato(original_sgs))
    _refuse_all(
        _refuse_gravities(
            hydrometer_sgs,
            beer.from_sg(original, hydrometer_sgs),
            original_sgs,
            hydrometer_sgs,
            ("original_sgs", "hydrometer_sgs"),
            _STRAY,
        )
    )
    # Above this no wort factor that is taken makes a reading of it.
    _refuse_all(
        refuse(
            hydrometer_sgs,
            brix_readings > quantities.FACTOR.high * original + beer.NOISE_BRIX,
            lambda shown, before: (
                f"brix_readings {show(shown)} is above all that unfermented wort of original_sgs "
                f"{show(before)} can show"
            ),
            brix_readings,
            original_sgs,
        )
    )
    fit = beer_fit.fit(original, brix_readings, hydrometer_sgs)
    if math.isnan(fit.wort_factor):
        raise Refused("the two instruments lie too far apart for any factors: look for a slip")
    _refuse_all(
        refuse(
            hydrometer_sgs,
            ~np.isfinite(fit.sg_errors + fit.default_sg_errors),
            lambda shown, before: (
                f"brix_readings {show(shown)} cannot be a beer of original_sgs {show(before)}"
            ),
            brix_readings,
            original_sgs,
        )
    )
    for name, factor, limits in (
        ("wort factor", fit.wort_factor, quantities.FACTOR),
        ("alcohol factor", fit.alcohol_factor, quantities.ALCOHOL_FACTOR),
    ):
        if not limits.low <= factor <= limits.high:
            raise Refused(
                f"no {name} from {limits.limits()} fits, but {factor:.3g}: check the readings of "
                f"the {fit.pairs} pairs"
            )
    return (
        fit.wort_factor,
        fit.alcohol_factor,
        fit.u_wort_factor,
        fit.u_alcohol_factor,
        fit.error,
        fit.default_error,
        fit.pairs,
    )


@cell_function(CATEGORY)
def ORIGINAL_SG(
    beer_sg: BeerGravity, brix: BeerBrix, wort_factor: WortFactor = wort.WORT_FACTOR
) -> Any:
    """Original gravity of a beer whose start was not measured, by hydrometer and refractometer.

    Both readings must be good: 0.001 SG or 0.15 °Bx moves the answer by about 0.002.  A brix up to
    0.5 below that of wort of beer_sg is noise and goes on smoothly.

    Formula: extract and ethanol that give both the density and the refraction, then Balling's
    balance backwards.

    Source: as BEER_SG: OIML R 22 (1975), ICUMSA SPS-4 and 1974 scale, CRC Handbook.

    >>> round(ORIGINAL_SG(1.0103, 6.2), 3)
    1.048
    """
    found = beer.from_sg_and_brix(beer_sg, brix, wort_factor)
    result: Any = sucrose.sg(found.original)
    result = _refuse_alcohol(result, found)
    result = refuse(
        result,
        found.original > beer.MOST_ORIGINAL + _HAIR,
        "original {:.1f} °Plato is above the {:.0f} of the model".format,
        found.original,
        beer.MOST_ORIGINAL,
    )
    result = refuse(
        result,
        found.residue < -_HAIR,
        lambda sg, shown: (
            f"brix {show(shown)} is too much for beer_sg {show(sg)}: that leaves no extract"
        ),
        beer_sg,
        brix,
    )
    without_alcohol = wort_factor * sucrose.plato(beer_sg)
    return refuse(
        result,
        np.less(brix, np.asarray(without_alcohol) - beer.NOISE_BRIX - _HAIR),
        lambda shown, least: (
            f"brix {show(shown)} is below the {_apart(least, shown)} of wort of that beer_sg"
        ),
        brix,
        without_alcohol,
    )


@cell_function(CATEGORY)
def BEER_ABV(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Alcohol by volume at 20 °C, %, from the gravities before and after fermentation.

    Alcohol for label or tax needs the approved method of the place.  A beer_sg up to 0.004 above
    original_sg is noise and goes on smoothly, a little below 0.

    Formula: Balling's balance and Tabarié's relation solved together; ethanol at 789.24 kg/m³.

    Source: OIML R 22 (1975), ICUMSA SPS-4.

    >>> round(BEER_ABV(1.048, 1.010), 2)
    4.95
    """
    found = _by_hydrometer(original_sg, beer_sg)
    return _refuse_gravities(found.abv, found, original_sg, beer_sg)


@cell_function(CATEGORY)
def BEER_ABW(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Alcohol by mass, g per 100 g, from the gravities before and after fermentation.

    Formula: Balling's balance and Tabarié's relation solved together.

    Source: OIML R 22 (1975), ICUMSA SPS-4.

    >>> round(BEER_ABW(1.048, 1.010), 2)
    3.88
    """
    found = _by_hydrometer(original_sg, beer_sg)
    return _refuse_gravities(found.abw, found, original_sg, beer_sg)


@cell_function(CATEGORY)
def REAL_EXTRACT(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Real extract, g per 100 g (°Plato): what would be left if the alcohol were driven off.

    Formula: Balling's balance and Tabarié's relation solved together; the rule
    0.1808·original + 0.8192·apparent lies 0.07 to 0.24 °P lower.

    Source: OIML R 22 (1975), ICUMSA SPS-4.

    >>> round(REAL_EXTRACT(1.048, 1.010), 2)
    4.39
    """
    found = _by_hydrometer(original_sg, beer_sg)
    return _refuse_gravities(found.real_extract, found, original_sg, beer_sg)


@cell_function(CATEGORY)
def APPARENT_ATTENUATION(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Apparent attenuation, %: the fall of the hydrometer, alcohol and all; may exceed 100.

    Formula: 100·(original - apparent)/original, in °Plato.

    Source: common practice; ICUMSA SPS-4 for °Plato.

    >>> round(APPARENT_ATTENUATION(1.048, 1.010), 1)
    78.5
    """
    original = sucrose.plato(original_sg)
    result = _refuse_water(beer.apparent_attenuation(original, beer_sg), original_sg)
    return _refuse_gravities(result, beer.from_sg(original, beer_sg), original_sg, beer_sg)


@cell_function(CATEGORY)
def REAL_ATTENUATION(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Real attenuation, %: the share of the extract that has fermented.

    Formula: 100·2.0665·ethanol/(2.0665·ethanol + real extract), by mass.

    Agrees with 100·(original - real)/original/(1 - 0.005161·real).

    Source: Balling's balance on OIML R 22 (1975), ICUMSA SPS-4.

    >>> round(REAL_ATTENUATION(1.048, 1.010), 1)
    64.6
    """
    found = _by_hydrometer(original_sg, beer_sg)
    result = _refuse_water(found.real_attenuation, original_sg)
    return _refuse_gravities(result, found, original_sg, beer_sg)


@cell_function(CATEGORY)
def BEER_ENERGY(original_sg: OriginalGravity, beer_sg: BeerGravity) -> Any:
    """Energy of the beer, kcal per 100 mL.

    Formula: (6.9·alcohol by mass + 4.0·(real extract - 0.1)) per 100 g, times specific gravity.

    Source: ASBC Beer-33 (recalled, not read); the balance on OIML R 22 (1975), ICUMSA SPS-4.

    >>> round(BEER_ENERGY(1.048, 1.010), 1)
    44.3
    """
    found = _by_hydrometer(original_sg, beer_sg)
    return _refuse_gravities(found.energy, found, original_sg, beer_sg)


# --- what cannot be, and how it is said ------------------------------


def _refuse_all(cells: Any) -> None:
    """Refuse the whole call for the first element that holds a text."""
    for cell in cells.tolist():
        if isinstance(cell, str):
            raise Refused(cell.removeprefix(MARK))


def _by_hydrometer(original_sg: Real, beer_sg: Real) -> Beer:
    return beer.from_sg(sucrose.plato(original_sg), beer_sg)


def _by_regression(method: str, original: Real, current: Real, found: Beer) -> Any:
    """SG by a published regression, refused where that does not hold."""
    regression = corrections.REGRESSIONS[method]
    result: Any = regression.sg(original, current)
    low, high = corrections.LOWEST_ORIGINAL, corrections.HIGHEST_ORIGINAL
    result = refuse(
        result,
        found.real_attenuation < regression.lowest_attenuation - _HAIR,
        lambda attenuation: (
            f"{method} holds from {regression.lowest_attenuation:.0f} % real attenuation, "
            f"not at {_apart(attenuation, regression.lowest_attenuation)} %"
        ),
        found.real_attenuation,
    )
    return refuse(
        result,
        (original < low - _HAIR) | (original > high + _HAIR),
        lambda value: f"{method} holds for worts of {low:.0f} to {high:.0f} °P, not {value:.1f} °P",
        original,
    )


def _refuse_readings(
    result: Any,
    found: Beer,
    original: Real,
    brix: Real,
    wort_factor: Real,
    alcohol_factor: Real,
) -> Any:
    """The result, but for readings that no fermentation of this wort explains."""
    unfermented = wort_factor * original
    result = _refuse_alcohol(result, found)
    result = refuse(
        result,
        # NaN, where the model found nothing, is below as well unless it is above.
        ~np.greater_equal(found.residue, -_HAIR),
        lambda shown, plato, factor: (
            f"brix {show(shown)} is below the {_apart(_least_brix(plato, factor), shown)} "
            "of complete fermentation"
        ),
        brix,
        original,
        alcohol_factor,
    )
    return refuse(
        result,
        np.greater(brix, unfermented + beer.NOISE_BRIX + _HAIR),
        lambda shown, most: (
            f"brix {show(shown)} is above the {_apart(most, shown)} of the unfermented wort"
        ),
        brix,
        unfermented,
    )


def _least_brix(original: Real, alcohol_factor: Real) -> Real:
    """What a wort shows when all of its extract has fermented."""
    return beer.from_attenuation(original, 100.0).brix(alcohol_factor=alcohol_factor)


def _refuse_gravities(
    result: Any,
    found: Beer,
    original_sg: Real,
    beer_sg: Real,
    names: tuple[str, str] = ("original_sg", "beer_sg"),
    stray: float = _HAIR,
) -> Any:
    """The result, but for gravities that no fermentation of this wort explains."""
    original_name, beer_name = names
    result = _refuse_alcohol(result, found)
    result = refuse(
        result,
        found.residue < -stray * 1000 / 4,  # °P; a degree is some 0.004 SG
        lambda after, before: (
            f"{beer_name} {show(after)} is below what complete fermentation "
            f"of {original_name} {show(before)} leaves"
        ),
        beer_sg,
        original_sg,
    )
    return refuse(
        result,
        beer_sg > original_sg + max(stray, beer.NOISE_SG) + _HAIR,
        lambda after, before: f"{beer_name} {show(after)} is above {original_name} {show(before)}",
        beer_sg,
        original_sg,
    )


def _refuse_alcohol(result: Any, found: Beer) -> Any:
    return refuse(
        result,
        found.abv > beer.MOST_ALCOHOL + _HAIR,
        "alcohol {:.1f} % is above the {:.0f} % of the model".format,
        found.abv,
        beer.MOST_ALCOHOL,
    )


def _refuse_water(result: Any, original_sg: Real) -> Any:
    return refuse(
        result,
        np.less_equal(original_sg, 1.0),
        lambda sg: f"original_sg {show(sg)} holds no extract to attenuate",
        original_sg,
    )


def _apart(limit: Any, value: Any) -> str:
    """A limit with as few decimals as show on which side of it the value lies.

    >>> _apart(12.58, 13.1), _apart(12.58, 12.6)
    ('12.6', '12.58')
    """
    for decimals in range(1, 9):
        rounded = round(limit, decimals)
        if ((rounded < value) == (limit < value)) & (rounded != round(value, decimals)):
            break
    return f"{limit:.{decimals}f}"
