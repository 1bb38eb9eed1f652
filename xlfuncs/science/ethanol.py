"""Aqueous ethanol: density, refraction, and alcohol by volume."""

from __future__ import annotations

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real, polynomial
from xlfuncs.science.water import from_lorentz_lorenz, lorentz_lorenz

# OIML R 22 (1975), general formula, p. 12: density in kg/m³ is a sum over powers of the mass
# fraction p (first row, at 20 °C), powers of d = t - 20 °C (water), and products of both.
_AT_20 = (
    998.20123,
    -192.9769495,
    389.1238958,
    -1668.103923,
    13522.15441,
    -88292.78388,
    306287.4042,
    -613838.1234,
    747017.2998,
    -547846.1354,
    223446.0334,
    -39032.85426,
)
_WATER = (
    0.0,
    -0.20618513,
    -0.0052682542,
    3.6130013e-05,
    -3.8957702e-07,
    7.169354e-09,
    -9.9739231e-11,
)
# Row i multiplies d^(i + 1), entry k multiplies p^k.
_MIXED = (
    (
        0.0,
        0.1693443461530087,
        -10.46914743455169,
        71.96353469546523,
        -704.7478054272792,
        3924.090430035045,
        -12101.64659068747,
        22486.46550400788,
        -26055.62982188164,
        18523.73922069467,
        -7420.201433430137,
        1285.617841998974,
    ),
    (
        0.0,
        -0.0119301300505701,
        0.2517399633803461,
        -2.170575700536993,
        13.53034988843029,
        -50.29988758547014,
        109.635566657757,
        -142.2753946421155,
        108.043594285623,
        -44.14153236817392,
        7.442971530188783,
    ),
    (
        0.0,
        -0.0006802995733503803,
        0.01876837790289664,
        -0.2002561813734156,
        1.02299296671922,
        -2.895696483903638,
        4.810060584300675,
        -4.672147440794683,
        2.458043105903461,
        -0.5411227621436812,
    ),
    (
        0.0,
        4.075376675622027e-06,
        -8.76305857347111e-06,
        6.515031360099368e-06,
        -1.51578483698721e-06,
    ),
    (0.0, -2.788074354782409e-08, 1.345612883493354e-08),
)


def density(fraction: Real, temperature: Real = sucrose.REFERENCE_TEMPERATURE) -> Real:
    """Density of ethanol-water, kg/m³ in vacuo, from the mass fraction 0 to 1 at -20 to 40 °C.

    Source: OIML R 22 (1975), general formula.

    >>> round(density(0.05), 3), round(density(1.0), 3)
    (989.378, 789.239)
    """
    d = temperature - sucrose.REFERENCE_TEMPERATURE
    mixed = polynomial(_MIXED[-1], fraction)
    for row in _MIXED[-2::-1]:
        mixed = mixed * d + polynomial(row, fraction)
    return polynomial(_AT_20, fraction) + polynomial(_WATER, d) + mixed * d


#: Pure ethanol at 20 °C, kg/m³.
DENSITY = sum(_AT_20)
#: Polynomial in the mass fraction: density at 20 °C with the water of the rest of the project,
#: which differs from that of R 22 by 0.002 kg/m³.
DENSITY_20 = (sucrose.WATER_20, *_AT_20[1:])

#: Specific refraction of water on the sugar scale, 20 °C, m³/kg.
WATER_REFRACTION = lorentz_lorenz(sucrose.REFRACTIVE_INDEX[0]) / sucrose.WATER_20
#: Specific refraction of dissolved ethanol, 20 °C and 589.3 nm, m³/kg: least squares on the index
#: of the 14 rows 0.5 to 13 % of the CRC Handbook, 102nd ed. (2021).  The rows scatter about it by
#: 3.0e-5 in index (at most 6.0e-5, or 0.04 °Bx), which is no more than the rounding of the table.
REFRACTION = 0.27762e-3


def fraction(abv: Real, steps: int = 4) -> Real:
    """Mass fraction of ethanol from % by volume at 20 °C, 0 to 20 % ABV.

    Solves fraction·density(fraction) = abv/100·density of ethanol, by a fixed number of steps.
    Source: OIML R 22 (1975).

    >>> round(fraction(5.0), 6)
    0.039818
    """
    mass = abv / 100 * DENSITY
    found = mass / sucrose.WATER_20
    for _ in range(steps):
        # Density changes so little with strength that plain substitution gains a factor of 100.
        found = mass / polynomial(_AT_20, found)
    return found


def refractive_index(fraction: Real) -> Real:
    """Refractive index of ethanol-water at 20 °C, 589.3 nm, from the mass fraction 0 to 0.2.

    Lorentz-Lorenz: refractions of water and ethanol add by mass.  Source: density OIML R 22,
    refraction fitted to the CRC Handbook as said at `REFRACTION`; within 1e-4 of its rows.

    >>> round(refractive_index(0.05), 4)
    1.3361
    """
    mixed = polynomial(DENSITY_20, fraction) * (
        (1 - fraction) * WATER_REFRACTION + fraction * REFRACTION
    )
    return from_lorentz_lorenz(mixed)
