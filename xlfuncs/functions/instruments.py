"""Refractometer and hydrometer: from what they show to the true gravity."""

from __future__ import annotations

import numpy as np

from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import cell_function
from xlfuncs.cells.quantities import (
    FACTOR,
    Brix,
    BrixReadings,
    CalibrationUncertainty,
    Expansion,
    FactorUncertainty,
    HydrometerReading,
    HydrometerTemperature,
    Offset,
    ReadingUncertainty,
    ReferenceTemperature,
    RefractometerReading,
    SampleTemperature,
    Slope,
    SpecificGravities,
    SpecificGravity,
    WaterTemperature,
    WortFactor,
)
from xlfuncs.cells.values import Refused
from xlfuncs.science import gravity, hydrometer, sucrose, wort
from xlfuncs.science.arrays import Real

CATEGORY = "Instruments"


def _on_scale(answer: Real, scale: str, hint: str) -> object:
    """The answer, or a refusal where good arguments together lead off the scale."""
    return _refuse_off_scale(answer, answer, scale, hint)


def _refuse_off_scale(result: Real, gravity_: Real, scale: str, hint: str) -> object:
    """The result, with a text for each gravity that is off its scale."""
    low, high = gravity.SCALES[scale].limits
    return boundary.refuse(
        result,
        (gravity_ < low) | (gravity_ > high),
        lambda value: f"{scale} {value:.4g} is off the scale, {low:.4g} to {high:.4g}: {hint}",
        gravity_,
    )


@cell_function(CATEGORY)
def REFRACTOMETER_BRIX(
    reading: RefractometerReading,
    temperature: SampleTemperature = 20,
    offset: Offset = 0,
    slope: Slope = 1,
) -> object:
    """True °Brix at 20 °C from a refractometer: calibration first, then temperature.

    Leave the temperature blank for an automatically compensated instrument at room temperature.

    Formula: Brix at which water and sucrose, mixed by Lorentz-Lorenz at the sample's temperature,
    refract as the 20 °C scale does at (reading - offset)/slope.

    Source: ICUMSA 1974 scale, ICUMSA SPS-4, IAPWS R9-97; within 0.03 °Bx of the 1936
    international temperature correction table.

    >>> round(REFRACTOMETER_BRIX(12.4, 26, 0.2), 2)
    12.65
    """
    shown = (reading - offset) / slope
    low, high = gravity.SCALES["Brix"].limits
    # The models of index and density end where the scale does: they are not asked beyond.
    true = sucrose.brix_at(np.clip(shown, low, high), temperature)
    true = np.where((shown < low) | (shown > high), shown, true)
    return _on_scale(true, "Brix", "check offset and slope")


@cell_function(CATEGORY)
def HYDROMETER_SG(
    reading: HydrometerReading,
    temperature: HydrometerTemperature,
    reference_temperature: ReferenceTemperature = 20,
    water_temperature: WaterTemperature = None,
    expansion: Expansion = hydrometer.GLASS_EXPANSION,
) -> object:
    """Specific gravity 20/20 from a hydrometer read at another temperature.

    Wort that is still hot should be cooled first: above 40 °C the correction is large, the glass
    may crack, and the answer hangs on the thermometer.  A scale marked 20/4 compares with water at
    4 °C: it shows 0.9982 in water at 20 °C, and water_temperature is 4.

    Formula: ρ_shown = ρ(extract, t)·(1 + expansion·(t - reference)), against the density of water
    at water_temperature, both less that of air; solved for the extract.

    Source: ISO 1768:1975 (glass), ICUMSA SPS-4 (liquid).

    >>> round(HYDROMETER_SG(1.0345, 60), 4), round(HYDROMETER_SG(1.0482, 20, 20, 4), 4)
    (1.05, 1.0501)
    """
    if water_temperature is not None:
        blank = np.isnan(water_temperature)
        water_temperature = np.where(blank, reference_temperature, water_temperature)
    sg = hydrometer.sg(reading, temperature, reference_temperature, water_temperature, expansion)
    return _on_scale(sg, "SG", "check reading and temperature")


@cell_function(CATEGORY)
def WORT_SG(brix: Brix, wort_factor: WortFactor = wort.WORT_FACTOR) -> object:
    """Specific gravity of unfermented wort from its true °Brix.

    Not for a sample that holds alcohol: it would read too high.

    Formula: SG of brix/wort_factor °Plato.

    Source: ICUMSA SPS-4; the wort factor by common practice (1.02 to 1.06).

    >>> round(WORT_SG(12.4), 4)
    1.0481
    """
    return _on_scale(wort.sg(brix, wort_factor), "SG", "check brix and wort_factor")


@cell_function(CATEGORY)
def WORT_BRIX(sg: SpecificGravity, wort_factor: WortFactor = wort.WORT_FACTOR) -> object:
    """True °Brix that a refractometer ought to show for wort of this specific gravity.

    Formula: wort_factor · °Plato of the specific gravity; the inverse of WORT_SG.

    Source: ICUMSA SPS-4; the wort factor by common practice (1.02 to 1.06).

    >>> round(WORT_BRIX(1.048), 2)
    12.38
    """
    return _on_scale(wort.brix(sg, wort_factor), "Brix", "check sg and wort_factor")


@cell_function(
    CATEGORY,
    columns=("wort factor", "standard uncertainty", "pairs", "residual standard deviation, SG"),
    whole=True,
)
def WORT_FACTOR_FIT(brix_readings: BrixReadings, hydrometer_sgs: SpecificGravities) -> object:
    """Your own wort factor, from refractometer and hydrometer on the same clear worts.

    Gives wort factor, standard uncertainty, number of pairs, residual standard deviation in SG
    (blank for a single pair).  Pairs with a blank are left out.  Only for wort without alcohol.

    Formula: weighted least squares of SG(brix/factor) against the hydrometer, with 0.1 °Bx and
    0.001 SG for the two readings; the uncertainty grows with the scatter where that is larger.

    Source: JCGM 100:2008, H.3.

    >>> [round(number, 3) for number in WORT_FACTOR_FIT([10.4, 15.6], [1.0400, 1.0611])[0][:2]]
    [1.041, 0.015]
    """
    fit = wort.fit_factor(brix_readings, hydrometer_sgs)
    if not FACTOR.low <= fit.factor <= FACTOR.high:
        raise Refused(
            f"no wort factor from {FACTOR.limits()} fits: is a sample water alone, or fermented?"
        )
    return (fit.factor, fit.uncertainty, fit.pairs, fit.residual)


@cell_function(CATEGORY)
def WORT_SG_UNCERTAINTY(
    brix: Brix,
    wort_factor: WortFactor = wort.WORT_FACTOR,
    u_reading: ReadingUncertainty = 0.1,
    u_factor: FactorUncertainty = wort.FACTOR_U,
    u_calibration: CalibrationUncertainty = 0.05,
) -> object:
    """Standard uncertainty of WORT_SG; twice as much covers about 95 %.

    Formula: square root of the summed squares of sensitivity times standard uncertainty of reading,
    calibration and wort factor.

    Source: JCGM 100:2008 (GUM), equation 10.

    >>> round(WORT_SG_UNCERTAINTY(12.4), 5)
    0.00073
    """
    u = wort.sg_uncertainty(brix, wort_factor, u_reading, u_factor, u_calibration)
    return _refuse_off_scale(u, wort.sg(brix, wort_factor), "SG", "check brix and wort_factor")
