"""Reference solutions of known gravity, to be weighed out."""

from __future__ import annotations

import numpy as np

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real
from xlfuncs.science.uncertainty import standard_uncertainty

#: Standard uncertainty of the extract fraction of a dry malt extract: the spread between packs.
U_FRACTION = 0.01


def sucrose_standard(target_sg: Real, solution_mass: Real) -> tuple[Real, Real]:
    """Masses of sucrose and water, in the unit of `solution_mass`, for a solution of the target SG.

    >>> [round(mass, 2) for mass in sucrose_standard(1.050, 100.0)]
    [12.38, 87.62]
    """
    dissolved = solution_mass * sucrose.plato(target_sg) / 100
    return dissolved, solution_mass - dissolved


def malt_extract_standard(
    target_sg: Real, water_volume: Real, extract_fraction: Real = 0.95
) -> tuple[Real, Real]:
    """Grams of dry malt extract for so many litres of water, and the SG uncertainty that is left.

    The standard uncertainty of SG is what 0.01 in `extract_fraction` makes of it.  The mass is
    negative or infinite where the extract is not as strong as the target.

    >>> mass, u = malt_extract_standard(1.050, 1.0)
    >>> print(f"{mass:.1f} {u:.5f}")
    149.6 0.00055
    """
    target = sucrose.plato(target_sg)
    water = water_volume * sucrose.WATER_20
    mass = np.divide(water * target, 100 * extract_fraction - target)

    def gravity(fraction: Real) -> Real:
        return sucrose.sg(100 * fraction * mass / (mass + water))

    return mass, standard_uncertainty(gravity, (extract_fraction,), (U_FRACTION,))
