"""Aqueous sucrose: the reference solution of every gravity scale.

Extract is counted as sucrose, in grams per 100 g of solution (°Plato, true °Brix), over -5 to
46: small negative values stand for liquids lighter than water, such as well attenuated beer on a
hydrometer.
"""

from __future__ import annotations

from xlfuncs.science import water
from xlfuncs.science.arrays import Real, derivative, newton, polynomial, secant
from xlfuncs.science.water import lorentz_lorenz

REFERENCE_TEMPERATURE = 20.0

# Density excess over water, kg/m³: row j multiplies ((t - 20)/100)^j, entry i multiplies w^i
# (w mass fraction).  ICUMSA SPS-4; Bubník et al., Sugar Technologists Manual (1995), p. 164.
_DENSITY = (
    (0.0, 385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (0.0, -46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (0.0, 59.7712, 7.2491, 12.3630, -35.4791),
    (0.0, -47.2207, -21.6977, 27.6301),
    (0.0, 18.3184, 12.3081),
)

#: Air at 20 °C, 1 bar and 50 % relative humidity, kg/m³ (CIPM-2007).  Weather and altitude of a
#: brewery, 1.1 to 1.2 kg/m³, change an apparent specific gravity of 1.100 by less than 1e-5.
AIR_DENSITY = 1.183

# Refractive index at 20 °C, 589.3 nm, relative to air, as a polynomial in mass %: least squares on
# the 46 whole-percent rows 0 to 45 of the ICUMSA scale (1974); largest residual 5.5e-6, which is
# the rounding of the table.
_INDEX = (1.3329856643980438, 1.4284886325103897e-3, 5.346278320993392e-06, 1.8443646436688834e-08)

#: Specific refraction of sucrose, m³/kg, from the ICUMSA index and SPS-4 density at 10 %.
_SUCROSE_REFRACTION = 0.20654e-3
#: Relative rise of that refraction per °C, fitted once to the rows 10 to 21 °C of the 1936
#: international temperature correction table (largest residual 0.013 °Bx).
_REFRACTION_RISE = 6e-5

WATER_20 = float(water.density(REFERENCE_TEMPERATURE))
_WATER_REFRACTION_20 = float(water.specific_refraction(REFERENCE_TEMPERATURE))


def _in_percent(coefficients: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(value / 100**power for power, value in enumerate(coefficients))


#: Polynomials in mass % at 20 °C: density (kg/m³), apparent SG 20/20, extract (g/L), index.
DENSITY_20 = (WATER_20, *_in_percent(_DENSITY[0])[1:])
APPARENT_SG = (
    1.0,
    *(value / (WATER_20 - AIR_DENSITY) for value in DENSITY_20[1:]),
)
EXTRACT_PER_LITRE = (0.0, *(value / 100 for value in DENSITY_20))
REFRACTIVE_INDEX = _INDEX


def density(plato: Real, temperature: Real = REFERENCE_TEMPERATURE) -> Real:
    """Density of a sucrose solution, kg/m³ in vacuo, at 0 to 45 % and 0 to 100 °C.

    Source: ICUMSA SPS-4; Bubník et al., Sugar Technologists Manual (1995), p. 164.

    >>> round(density(10.0, 20.0), 2)
    1038.12
    """
    fraction = plato / 100
    warmth = (temperature - REFERENCE_TEMPERATURE) / 100
    excess = polynomial(_DENSITY[-1], fraction)
    for row in _DENSITY[-2::-1]:
        excess = excess * warmth + polynomial(row, fraction)
    return water.density(temperature) + excess


def apparent(density_: Real, water_density: Real = WATER_20) -> Real:
    """Specific gravity in air of a liquid against water, from the two densities in kg/m³.

    >>> round(apparent(1038.12), 5)
    1.04004
    """
    return (density_ - AIR_DENSITY) / (water_density - AIR_DENSITY)


def from_apparent(sg_: Real, water_density: Real = WATER_20) -> Real:
    """Density, kg/m³ in vacuo, of a liquid of this specific gravity in air: back from `apparent`.

    >>> round(from_apparent(1.05), 2), from_apparent(1.0) == WATER_20
    (1048.05, True)
    """
    return AIR_DENSITY + sg_ * (water_density - AIR_DENSITY)


def sg(plato: Real) -> Real:
    """Apparent specific gravity 20/20 in air from °Plato.

    Source: ICUMSA SPS-4 density at 20 °C; within 5e-5 of the ASBC table over 0 to 25 °P.

    >>> round(sg(12.0), 5)
    1.04838
    """
    return polynomial(APPARENT_SG, plato)


def plato(sg_: Real) -> Real:
    """°Plato from apparent specific gravity 20/20: the exact inverse of `sg`.

    >>> round(plato(1.048), 2)
    11.91
    """
    return inverse(APPARENT_SG, sg_, near_plato(sg_))


def near_plato(sg_: Real) -> Real:
    """°Plato to 0.1 over the whole range, for a start: S = 1 + P/(258.6 - 0.8796 P) inverted.

    >>> round(near_plato(1.048), 2)
    11.91
    """
    excess = sg_ - 1
    return 258.6 * excess / (1 + 0.8796 * excess)


def plato_at(density_: Real, temperature: Real) -> Real:
    """°Plato of a solution that has this density, kg/m³, at 0 to 100 °C: the inverse of `density`.

    >>> round(plato_at(density(12.0, 60.0), 60.0), 9)
    12.0
    """
    start = plato(apparent(density_))
    return secant(lambda x: density(x, temperature), density_, start, steps=5)


def inverse(coefficients: tuple[float, ...], value: Real, start: Real, steps: int = 2) -> Real:
    """°Plato at which a polynomial in °Plato takes the value, by Newton steps from the start.

    - `coefficients`: of 1, P, P², … with P in °Plato
    - `value`: in the unit of the polynomial
    - `start`: first guess, °Plato
    - `steps`: how many are taken

    >>> round(inverse(DENSITY_20, 1038.12, 9.0, 3), 2)
    10.0
    """
    slopes = derivative(coefficients)
    return newton(
        lambda x: polynomial(coefficients, x), lambda x: polynomial(slopes, x), value, start, steps
    )


def refractive_index(brix: Real) -> Real:
    """Refractive index at 20 °C, 589.3 nm, relative to air, from mass % sucrose.

    Source: ICUMSA (1974) scale, as in OIV-MA-AS2-02 table II; within 6e-6 at 0 to 45 %.

    >>> round(refractive_index(10.0), 5)
    1.34782
    """
    return polynomial(_INDEX, brix)


def brix(index: Real) -> Real:
    """Mass % sucrose from the refractive index at 20 °C: the exact inverse of `refractive_index`.

    >>> round(brix(1.34782), 2)
    10.0
    """
    return inverse(_INDEX, index, start=610 * (index - _INDEX[0]), steps=3)


def refraction(brix_: Real, temperature: Real) -> Real:
    """(n² - 1)/(n² + 2) of a sucrose solution at a temperature, 5 to 45 °C.

    Lorentz-Lorenz mixing: the refractions of water and of sucrose add by mass.  At 20 °C it is the
    ICUMSA scale exactly; away from it the water changes as IAPWS R9-97 says, the sucrose by
    6e-5 per °C, and the density as SPS-4 says.

    >>> bool(abs(refraction(10.0, 20.0) - lorentz_lorenz(refractive_index(10.0))) < 1e-15)
    True
    """
    fraction = brix_ / 100
    at_20 = lorentz_lorenz(refractive_index(brix_)) / density(brix_)
    change = (1 - fraction) * (water.specific_refraction(temperature) - _WATER_REFRACTION_20) + (
        fraction * _SUCROSE_REFRACTION * _REFRACTION_RISE * (temperature - REFERENCE_TEMPERATURE)
    )
    return density(brix_, temperature) * (at_20 + change)


def brix_at(reading: Real, temperature: Real) -> Real:
    """True °Brix of a sample that shows `reading` on the 20 °C scale at another temperature.

    Source: as `refraction`; within 0.03 °Bx of the 1936 international correction table.

    >>> round(brix_at(10.0, 15.0), 2), round(brix_at(10.0, 20.0), 2)
    (9.69, 10.0)
    """
    seen = lorentz_lorenz(refractive_index(reading))
    return secant(lambda x: refraction(x, temperature), seen, reading, steps=4)
