"""Worts and waters put together, thinned, boiled down, strengthened.

Mass and extract are conserved; volumes are not exactly.  Every volume is at 20 °C, in any one unit
unless a mass comes in or out: then litres and kilograms.  Water is pure and at 20 °C.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science import gravity, sucrose
from xlfuncs.science.arrays import Array, Real

#: Two gravities closer than this are the same: a thousandth of a point, which nobody can read.
SAME_SG = 1e-6
#: Where the density of sucrose solutions, and so every answer, ends: as SG and as g/L of extract.
HIGHEST_SG = 1.206
_MOST_PER_LITRE = gravity.SCALES["Extract"].high


def extract_per_litre(sg: Real) -> Real:
    """Grams of extract in a litre at 20 °C.

    >>> round(extract_per_litre(1.05), 1)
    129.8
    """
    return sucrose.from_apparent(sg) * sucrose.plato(sg) / 100


def extract_mass(volume: Real, sg: Real) -> Real:
    """Kilograms of extract in so many litres.

    >>> round(extract_mass(20.0, 1.05), 3)
    2.596
    """
    return volume * extract_per_litre(sg) / 1000


@dataclass(frozen=True)
class Blend:
    """Volume and specific gravity of what was put together."""

    volume: Real
    sg: Real


def blend(volumes: Array, sgs: Array, axis: int = -1) -> Blend:
    """What several worts make when put together; the parts lie along `axis`.

    The masses volume·density add up, and so does the extract in them; the density of the blend
    then gives its volume.  Gravities below 1 (dry beer) count as negative extract.

    >>> mixed = blend(np.array([10.0, 10.0]), np.array([1.040, 1.060]))
    >>> print(f"{mixed.volume:.4f} {mixed.sg:.5f}")
    19.9998 1.05001
    """
    masses = volumes * sucrose.from_apparent(sgs)
    mass = masses.sum(axis)
    sg = sucrose.sg((masses * sucrose.plato(sgs)).sum(axis) / mass)
    return Blend(mass / sucrose.from_apparent(sg), sg)


def sg_uncertainty(
    volumes: Array, sgs: Array, own: Array, common: Array, u_volume: Real, axis: int = -1
) -> Real:
    """Standard uncertainty of the SG of a blend, first order; the parts lie along `axis`.

    u² = Σ x²·(own² + ((SG - SG_blend)·u_volume)²) + (Σ x·common)²,
    x the shares of the volume.  Source: JCGM 100:2008, 5.1.2 and 5.2.2.

    - `volumes`: of the parts, in any one unit
    - `sgs`: of the parts, SG 20/20
    - `own`: standard uncertainty of each SG by itself, SG
    - `common`: what all share (calibration and wort factor of one refractometer), SG
    - `u_volume`: standard uncertainty of each volume, as a share of it
    - `axis`: along which the parts lie

    >>> volumes, sgs = np.array([10.0, 10.0]), np.array([1.040, 1.060])
    >>> u = sg_uncertainty(volumes, sgs, np.array([4e-4, 4e-4]), np.array([5e-4, 5e-4]), 0.01)
    >>> print(f"{u:.6f}")
    0.000579
    """
    shares = volumes / volumes.sum(axis, keepdims=True)
    mean = (shares * sgs).sum(axis, keepdims=True)
    alone = (shares**2 * (own**2 + ((sgs - mean) * u_volume) ** 2)).sum(axis)
    return np.asarray(np.sqrt(alone + (shares * common).sum(axis) ** 2))


def blend_abv(volumes: Array, abvs: Array, sgs: Array | None = None) -> float:
    """ABV of a blend of beers: their ethanol over the volume of the blend.

    Without gravities the volumes are simply added.  With them, the blend has the volume that its
    mass and gravity give, apparent extract being conserved; what ethanol itself adds to a volume
    on mixing (up to 0.1 % of it) is left out.

    >>> blend_abv(np.array([10.0, 30.0]), np.array([8.0, 4.0]))
    5.0
    """
    volume = volumes.sum() if sgs is None else blend(volumes, sgs).volume
    return float((volumes * abvs).sum() / volume)


def share(sg_a: Real, sg_b: Real, target_sg: Real) -> Real:
    """Volume share of A, before mixing with B, that gives the target.

    It lies outside 0 to 1 where the target is not between the two, and is NaN or infinite where
    they are equal.

    >>> print(f"{share(1.060, 1.0, 1.045):.4f}")
    0.7489
    """
    target = sucrose.plato(target_sg)
    lacking = sucrose.from_apparent(sg_b) * (target - sucrose.plato(sg_b))
    spare = sucrose.from_apparent(sg_a) * (sucrose.plato(sg_a) - target)
    return np.divide(lacking, lacking + spare)


def water_to_add(volume: Real, sg: Real, target_sg: Real) -> Real:
    """Volume of water that brings wort to the target: extract stays, mass changes.

    Negative where water has to go: what to boil away is `-water_to_add`.  The target is above 1.

    >>> round(water_to_add(20.0, 1.060, 1.050), 3), round(water_to_add(25.0, 1.045, 1.050), 3)
    (4.024, -2.511)
    """
    extract, target = sucrose.plato(sg), sucrose.plato(target_sg)
    return volume * sucrose.from_apparent(sg) / sucrose.WATER_20 * (extract - target) / target


def after_water(volume: Real, sg: Real, water: Real) -> Real:
    """Specific gravity after adding so much water (boiling away, where negative).

    NaN where more water goes than the wort holds, or leaves it beyond the model, 45 °Plato.

    >>> print(f"{after_water(20.0, 1.060, 4.024):.5f} {after_water(20.0, 1.050, -3.0):.5f}")
    1.05000 1.05877
    """
    mass = volume * sucrose.from_apparent(sg)
    extract = sucrose.plato(sg) * np.divide(mass, mass + water * sucrose.WATER_20)
    within = (extract >= gravity.LOWEST) & (extract <= gravity.HIGHEST)
    # Beyond its range the polynomial of density may come back to any gravity.
    return _where(within, sucrose.sg(extract))


def volume_at_sg(volume: Real, sg: Real, target_sg: Real) -> Real:
    """Volume in which the same extract has the target gravity, after adding or boiling off water.

    >>> round(volume_at_sg(20.0, 1.060, 1.050), 3)
    24.023
    """
    return volume * extract_per_litre(sg) / extract_per_litre(target_sg)


def sg_at_volume(volume: Real, sg: Real, target_volume: Real) -> Real:
    """Specific gravity of the same extract in another volume; the inverse of `volume_at_sg`.

    NaN where that is beyond the model, 45 °Plato.

    >>> print(f"{sg_at_volume(20.0, 1.060, 24.023):.5f}")
    1.05000
    """
    per_litre = volume * extract_per_litre(sg) / target_volume
    within = np.asarray(per_litre <= _MOST_PER_LITRE)
    per_litre = np.minimum(per_litre, _MOST_PER_LITRE)
    return _where(within, gravity.convert(per_litre, "Extract", "SG"))


def _where(within: NDArray[np.bool_], values: Real) -> Real:
    """The values, NaN where they are not within the model; a number for a number."""
    return np.where(within, values, np.nan)[()]


def strong_enough(target_sg: Real, extract_fraction: Real) -> NDArray[np.bool_] | np.bool_:
    """Whether an addition of this extract fraction can reach the target at all.

    >>> strong_enough(1.050, 0.95).item(), strong_enough(1.100, 0.2).item()
    (True, False)
    """
    return np.less(sucrose.plato(target_sg), 100 * extract_fraction)


def extract_to_add(volume: Real, sg: Real, target_sg: Real, extract_fraction: Real) -> Real:
    """Kilograms of dry extract (what is not extract in it is water) to reach the target.

    Negative or infinite where the addition is not as strong as the target.

    - `volume`: of the wort at 20 °C, L
    - `sg`: of the wort, SG 20/20
    - `target_sg`: wanted, SG 20/20
    - `extract_fraction`: kg of extract in a kg of the addition

    >>> print(f"{extract_to_add(20.0, 1.040, 1.050, 0.95):.3f}")
    0.601
    """
    mass = volume * sucrose.from_apparent(sg) / 1000
    target = sucrose.plato(target_sg)
    return np.divide(mass * (target - sucrose.plato(sg)), 100 * extract_fraction - target)


def after_extract(volume: Real, sg: Real, added: Real, extract_fraction: Real) -> Blend:
    """Volume and gravity after so many kilograms of dry extract have been dissolved.

    - `volume`: of the wort at 20 °C, L
    - `sg`: of the wort, SG 20/20
    - `added`: mass of the addition, kg
    - `extract_fraction`: kg of extract in a kg of the addition

    >>> done = after_extract(20.0, 1.040, 0.601, 0.95)
    >>> round(done.volume, 2), round(done.sg, 5)
    (20.38, 1.05)
    """
    mass = volume * sucrose.from_apparent(sg) / 1000
    extract = mass * sucrose.plato(sg) + added * extract_fraction * 100
    strengthened = sucrose.sg(extract / (mass + added))
    return Blend(1000 * (mass + added) / sucrose.from_apparent(strengthened), strengthened)
