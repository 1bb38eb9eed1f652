"""Aqueous ethanol at 20 °C: density and refraction."""

from __future__ import annotations

import math

from xlfuncs.science import sucrose
from xlfuncs.science.water import lorentz_lorenz

#: Density of ethanol-water at 20 °C, kg/m³ in vacuo, over powers of the mass fraction 0 to 1:
#: OIML R 22 (1975), general formula, p. 12.
R22_AT_20 = (
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
#: Pure ethanol at 20 °C, kg/m³.
DENSITY = math.fsum(R22_AT_20)  # the same in every version of Python
#: Polynomial in the mass fraction: density at 20 °C with the water of the rest of the project,
#: which differs from that of R 22 by 0.002 kg/m³.
DENSITY_20 = (sucrose.WATER_20, *R22_AT_20[1:])

#: Specific refraction of water on the sugar scale, 20 °C, m³/kg.
WATER_REFRACTION = lorentz_lorenz(sucrose.REFRACTIVE_INDEX[0]) / sucrose.WATER_20
#: Specific refraction of dissolved ethanol, 20 °C and 589.3 nm, m³/kg: least squares on the index
#: of the 14 rows 0.5 to 13 % of the CRC Handbook, 102nd ed. (2021).  The rows scatter about it by
#: 3.0e-5 in index (at most 6.0e-5, or 0.04 °Bx), which is no more than the rounding of the table.
REFRACTION = 0.27762e-3
