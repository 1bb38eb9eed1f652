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

from typing import NamedTuple

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real

#: What an automatic temperature compensation leaves, standard uncertainty in °Bx (common practice:
#: half of the 0.2 °Bx that such instruments are specified to).
COMPENSATION_U = 0.1

#: Standard uncertainty of a brewer's thermometer in a drop or a jar, °C (common practice).
THERMOMETER_U = 0.5

_NUDGE = 0.01  # °C, for slopes


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
