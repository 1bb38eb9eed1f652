"""What a gravity is uncertain by, source by source, so that what readings share stays shared.

Two readings on one instrument are off by the same calibration, and two worts by the same wort
factor.  So a gravity carries `Effects`: how far each source moves it, with its sign, when that
source moves by one standard uncertainty.  For any result that is to first order Σ weight·gravity,
the parts of each reading alone add as squares, those that are common add with their signs before
they are squared:

    u² = Σ (weight·own)² + (Σ weight·level)² + (Σ weight·tilt)² + (Σ weight·factor)²

Source: JCGM 100:2008, 5.2.2 (correlated inputs) with F.1.2.3 (common sources made inputs of their
own).  docs/science.md has the same formulas in the plain operators of a sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from xlfuncs.science import beer, sucrose, wort
from xlfuncs.science.arrays import Real, derivative, polynomial
from xlfuncs.science.calibration import Calibration

#: What an automatic temperature compensation leaves, standard uncertainty in °Bx (common practice:
#: half of the 0.2 °Bx that such instruments are specified to).
COMPENSATION_U = 0.1

#: Standard uncertainty of a brewer's thermometer in a drop or a jar, °C (common practice).
THERMOMETER_U = 0.5

_NUDGE = 0.01  # °C and points, for slopes
_SG_SLOPES = derivative(sucrose.APPARENT_SG)


def temperature_slope(brix: Real, temperature: Real) -> Real:
    """°Brix by which the corrected reading rises for each °C more of sample temperature.

    >>> [round(temperature_slope(brix, 20.0), 3) for brix in (0.0, 12.0)]
    [0.063, 0.069]
    """
    warmer = sucrose.brix_at(brix, temperature + _NUDGE)
    return (warmer - sucrose.brix_at(brix, temperature - _NUDGE)) / (2 * _NUDGE)


class Effects(NamedTuple):
    """How far each source moves a gravity (SG) when it moves by one standard uncertainty."""

    own: Real  # reading, temperature, model: nothing that another reading shares
    level: Real = 0.0  # the calibration of the instrument where its references lie
    tilt: Real = 0.0  # the slope of that calibration
    factor: Real = 0.0  # the wort factor

    @property
    def u(self) -> Real:
        """Standard uncertainty of the gravity by itself."""
        return sum(effect**2 for effect in self) ** 0.5

    @property
    def common(self) -> Real:
        """The part of it that other readings on the instrument share."""
        return sum(effect**2 for effect in self[1:]) ** 0.5

    def on_another_instrument(self) -> Effects:
        """The same gravity beside readings that share its wort factor, but not its calibration."""
        own = sum(effect**2 for effect in self[:-1]) ** 0.5
        return Effects(own, factor=self.factor)


def together(weights: Sequence[Real], readings: Sequence[Effects]) -> Real:
    """Standard uncertainty of Σ weight·gravity of readings on one instrument.

    >>> one = Effects(own=0.0004, level=0.0002, factor=-0.0005)
    >>> difference, mean = together((1, -1), (one, one)), together((0.5, 0.5), (one, one))
    >>> print(f"{one.u:.5f} {difference:.5f} {mean:.5f}")
    0.00067 0.00057 0.00061
    """
    parts = list(zip(weights, readings, strict=True))
    variance: Real = 0.0
    for weight, reading in parts:
        variance = variance + (weight * reading.own) ** 2
    for source in range(1, len(Effects._fields)):
        variance = variance + sum(weight * reading[source] for weight, reading in parts) ** 2
    return variance**0.5


def hydrometer(u_reading: Real, u_calibration: Real) -> Effects:
    """Effects of a hydrometer's reading: its scale may be off by the same all along.

    >>> hydrometer(0.0005, 0.001)
    Effects(own=0.0005, level=0.001, tilt=0.0, factor=0.0)
    """
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

    >>> print(f"{wort_gravity(12.4, 0.1, Calibration(0.06)).u:.5f}")
    0.00090
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

    >>> calibration = Calibration(0.06)
    >>> start = wort_gravity(12.4, 0.1, calibration)
    >>> now, rise = beer_reading(12.4 / 1.04, 6.2, 0.1, calibration)
    >>> print(f"{rise:.3f} {together((rise, 1), (start, now)):.5f}")
    -0.551 0.00147
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

    >>> abv = lambda original, sg: beer.from_sg(original, sg).abv
    >>> [round(slope, 1) for slope in analysis_slopes(abv, 1.048, 1.010)]
    [132.8, -131.5]
    """
    step = _NUDGE / 1000
    original = [sucrose.plato(original_sg + change) for change in (-step, 0.0, step)]
    return (
        (analysis(original[2], sg) - analysis(original[0], sg)) / (2 * step),
        (analysis(original[1], sg + step) - analysis(original[1], sg - step)) / (2 * step),
    )
