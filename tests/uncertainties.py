"""Uncertainties by the science, for tests alone: what sheets and the audit reckon by formulas.

docs/science.md has the same formulas in the plain operators of a sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from xlfuncs.science import beer, blending, kettle, sucrose, wort
from xlfuncs.science.arrays import Real, derivative, polynomial
from xlfuncs.science.budget import Effects
from xlfuncs.science.calibration import Calibration

_STEP = 1e-5  # in SG, for slopes
_SG_SLOPES = derivative(sucrose.APPARENT_SG)


def calibration_uncertainty(brix: Real, u_offset: Real, u_slope: Real, covariance: Real) -> Real:
    """Standard uncertainty at a true °Brix, from offset and slope and their covariance.

    √(u_offset² + (brix·u_slope)² + 2·brix·covariance): the same as `Calibration.at`.

    - `brix`: true °Brix
    - `u_offset`: standard uncertainty of the offset, °Brix
    - `u_slope`: that of the slope
    - `covariance`: of the two, °Brix
    """
    variance = u_offset**2 + (brix * u_slope) ** 2 + 2 * brix * covariance
    return np.maximum(variance, 0.0) ** 0.5


def malt_offset(
    reading: Real,
    solution_sg: Real,
    u_reading: Real,
    u_solution: Real,
    wort_factor: Real = wort.WORT_FACTOR,
    u_factor: Real = wort.FACTOR_U,
) -> tuple[Real, Real]:
    """Offset of a refractometer that was read in a solution of malt extract, and its uncertainty.

    Malt extract refracts as wort does, so the solution ought to show `wort.brix` of its SG; the
    doubt of the wort factor and that of the solution (`standards.malt_extract_standard`) enter.
    Such a solution tells the offset alone, never a slope: what looks like one is the wort factor.

    - `reading`: what it shows in the solution, °Brix at 20 °C
    - `solution_sg`: of the solution, SG 20/20
    - `u_reading`: standard uncertainty of `reading`, °Brix
    - `u_solution`: that of `solution_sg`, SG
    - `wort_factor`: °Brix per °Plato
    - `u_factor`: standard uncertainty of `wort_factor`
    """
    expected = wort.brix(solution_sg, wort_factor)
    by_solution = wort.brix(solution_sg + u_solution, wort_factor) - expected
    by_factor = u_factor * wort.brix(solution_sg, 1.0)
    return reading - expected, (u_reading**2 + by_solution**2 + by_factor**2) ** 0.5


def on_another_instrument(gravity: Effects) -> Effects:
    """The same gravity beside readings that share its wort factor, but not its calibration."""
    own = sum(effect**2 for effect in gravity[:-1]) ** 0.5
    return Effects(own, factor=gravity.factor)


def together(weights: Sequence[Real], readings: Sequence[Effects]) -> Real:
    """Standard uncertainty of Σ weight·gravity of readings on one instrument."""
    parts = list(zip(weights, readings, strict=True))
    variance: Real = 0.0
    for weight, reading in parts:
        variance = variance + (weight * reading.own) ** 2
    for source in range(1, len(Effects._fields)):
        variance = variance + sum(weight * reading[source] for weight, reading in parts) ** 2
    return variance**0.5


def hydrometer(u_reading: Real, u_calibration: Real) -> Effects:
    """Effects of a hydrometer's reading: its scale may be off by the same all along."""
    return Effects(u_reading, u_calibration)


def wort_gravity(
    brix: Real,
    u_own: Real,
    calibration: Calibration,
    wort_factor: Real = wort.WORT_FACTOR,
    u_factor: Real = wort.FACTOR_U,
) -> Effects:
    """Effects on the SG of unfermented wort.

    Reading and temperature are its own, and so is what a compensation leaves.

    - `brix`: true °Brix
    - `u_own`: standard uncertainty of this reading alone, °Brix
    - `calibration`: the check in force
    - `wort_factor`: °Brix per °Plato
    - `u_factor`: standard uncertainty of `wort_factor`
    """
    plato = brix / wort_factor
    by_brix = polynomial(_SG_SLOPES, plato) / wort_factor
    return Effects(
        by_brix * u_own,
        by_brix * calibration.level,
        by_brix * (brix - calibration.centre) * calibration.slope,
        -by_brix * plato * u_factor,
    )


def beer_reading(
    original: Real,
    brix: Real,
    u_own: Real,
    calibration: Calibration,
    wort_factor: Real = wort.WORT_FACTOR,
    u_factor: Real = wort.FACTOR_U,
    u_model: Real = beer.MODEL_U,
) -> tuple[Effects, Real]:
    """Effects on the SG of beer by `beer.from_brix`, and how it rises with its original SG.

    The original gravity's own effects are not in it: the SG of the beer is
    Σ weight·gravity of both, with the weights (rise, 1).  So what an original read on the same
    refractometer shares with the beer's reading cancels as far as it does.

    - `original`: extract of the wort, °Plato
    - `brix`: what the sample shows, true °Brix
    - `u_own`: standard uncertainty of this reading alone, °Brix
    - `calibration`: the check in force
    - `wort_factor`: °Brix per °Plato
    - `u_factor`: standard uncertainty of `wort_factor`
    - `u_model`: that of the balance itself, SG
    """
    rise, by_brix, by_factor = beer.sg_slopes(original, brix, wort_factor)
    effects = Effects(
        ((by_brix * u_own) ** 2 + u_model**2) ** 0.5,
        by_brix * calibration.level,
        by_brix * (brix - calibration.centre) * calibration.slope,
        by_factor * u_factor,
    )
    return effects, rise


def analysis_slopes(
    analysis: Callable[[Real, Real], Real], original_sg: Real, sg: Real
) -> tuple[Real, Real]:
    """How much a figure of the analysis rises with original and with present SG.

    `analysis` takes original °Plato and SG, as `beer.from_sg` does.  With a refractometer the
    present SG rises with the original too, so the weight of the original is then the first slope
    plus the second times `rise` of `beer_reading`.
    """
    original = [sucrose.plato(original_sg + change) for change in (-_STEP, 0.0, _STEP)]
    return (
        (analysis(original[2], sg) - analysis(original[0], sg)) / (2 * _STEP),
        (analysis(original[1], sg + _STEP) - analysis(original[1], sg - _STEP)) / (2 * _STEP),
    )


def original_uncertainty(
    original: Real,
    brix: Real,
    wort_factor: Real,
    u_sg: Real,
    u_reading: Real,
    u_factor: Real,
    u_model: Real = beer.MODEL_U,
) -> Real:
    """Standard uncertainty of the original SG by `from_sg_and_brix`, first order.

    SG follows from original and °Brix; turned round, each source moves the original by what it
    moves the SG, over how the SG falls with the original (0.55): u = √(u_sg² + u_beer²)/|∂SG/∂OG|,
    u_beer being `sg_uncertainty` with a sure original.

    - `original`: extract of the wort that was found, °Plato
    - `brix`: what the sample shows, true °Brix
    - `wort_factor`: of the extract alone, °Brix per °Plato
    - `u_sg`: standard uncertainty of the beer's gravity, SG
    - `u_reading`: that of `brix`, calibration included, °Brix
    - `u_factor`: that of `wort_factor`
    - `u_model`: that of the balance itself, SG
    """
    u_beer = beer.sg_uncertainty(original, brix, wort_factor, u_reading, u_factor, 0.0, u_model)
    by_original = beer.sg_slopes(original, brix, wort_factor)[0]
    return -((u_sg**2 + u_beer**2) ** 0.5) / by_original


def marked_volume(
    shown: Real, temperature: Real, marked_at: Real = 20.0, expansion: Real = kettle.STEEL_EXPANSION
) -> Real:
    """Volume that a kettle holds up to a mark, hot, when the mark was made cold.

    The kettle has grown with the wort, so its cold marks read 0.3 to 0.4 % short in hot wort.

    - `shown`: at the mark, in any one unit of volume
    - `temperature`: of wort and kettle, °C
    - `marked_at`: temperature at which the mark was made, °C
    - `expansion`: cubic, of the kettle, per °C
    """
    return shown * (1 + expansion * (temperature - marked_at))


def boiled_uncertainty(
    volume: Real, sg: Real, water: Real, u_sg: Real, u_volume: Real, u_boil_off: Real
) -> Real:
    """Standard uncertainty of the SG that a boil ends at, first order.

    The extract in a litre goes with SG - 1:
    u = (SG_end - 1)·√((u_sg/(SG - 1))² + ((1 - V/V_end)·u_volume)² + (water/V_end·u_boil_off)²).
    Source: JCGM 100:2008, 5.1.2.

    - `volume`: before the boil, at 20 °C, L
    - `sg`: before the boil, SG 20/20
    - `water`: boiled away, at 20 °C, L
    - `u_sg`: standard uncertainty of `sg`, SG
    - `u_volume`: that of `volume`, as a share of it
    - `u_boil_off`: that of `water`, as a share of it
    """
    end = blending.after_water(volume, sg, -water)
    left = blending.volume_at_sg(volume, sg, end)
    return (end - 1) * (
        (u_sg / (sg - 1)) ** 2
        + ((1 - volume / left) * u_volume) ** 2
        + (water / left * u_boil_off) ** 2
    ) ** 0.5
