"""Water: density and refractive index.

There is one density of water in the project: the ITS-90 form on which the sucrose density of
SPS-4 is built.
"""

from __future__ import annotations

import numpy as np

from xlfuncs.science.arrays import Real, polynomial

_DENSITY_NUMERATOR = (
    999.83952,
    16.952577,
    -7.9905127e-3,
    -46.241757e-6,
    105.84601e-9,
    -281.03006e-12,
)
_DENSITY_DENOMINATOR = (1.0, 16.887236e-3)


def density(temperature: Real) -> Real:
    """Density of air-free water at atmospheric pressure, kg/m³, at 0 to 100 °C.

    Source: Kell (1975) restated on ITS-90, as in ICUMSA SPS-4 and Bubník, Kadlec, Urban and
    Bruhns, Sugar Technologists Manual (1995).

    >>> round(density(20.0), 3)
    998.203
    """
    return polynomial(_DENSITY_NUMERATOR, temperature) / polynomial(
        _DENSITY_DENOMINATOR, temperature
    )


# IAPWS R9-97, table 1, for the sodium D line.
_A = (
    0.244257733,
    9.74634476e-3,
    -3.73234996e-3,
    2.68678472e-4,
    1.58920570e-3,
    2.45934259e-3,
    0.900704920,
    -1.66626219e-2,
)
_ULTRAVIOLET, _INFRARED = 0.2292020, 5.432937
_WAVELENGTH = 0.5893 / 0.589  # sodium D line over the reference wavelength of the release
_AIR_INDEX = 1.000271  # of air at 20 °C; the sugar scale is relative to air


def specific_refraction(temperature: Real) -> Real:
    """Lorentz-Lorenz specific refraction of water at 589.3 nm, m³/kg, at 0 to 100 °C.

    (n² - 1)/(n² + 2)/density, with n relative to air.  Source: IAPWS R9-97 (1997), equation 1.

    >>> round(float(specific_refraction(20.0)) * 1000, 4)
    0.2061
    """
    return lorentz_lorenz(refractive_index(temperature)) / density(temperature)


def refractive_index(temperature: Real) -> Real:
    """Refractive index of water at 589.3 nm relative to air, at 0 to 100 °C.

    Source: IAPWS R9-97 (1997), equation 1 and table 1.

    >>> round(float(refractive_index(20.0)), 5)
    1.33299
    """
    kelvin = (temperature + 273.15) / 273.15
    reduced = density(temperature) / 1000
    square = _WAVELENGTH**2
    refraction = reduced * (
        _A[0]
        + _A[1] * reduced
        + _A[2] * kelvin
        + _A[3] * square * kelvin
        + _A[4] / square
        + _A[5] / (square - _ULTRAVIOLET**2)
        + _A[6] / (square - _INFRARED**2)
        + _A[7] * reduced**2
    )
    return np.sqrt((2 * refraction + 1) / (1 - refraction)) / _AIR_INDEX


def lorentz_lorenz(index: Real) -> Real:
    """Molar-refraction form (n² - 1)/(n² + 2) of a refractive index.

    >>> round(lorentz_lorenz(1.333), 4)
    0.2057
    """
    square = index * index
    return (square - 1) / (square + 2)


def from_lorentz_lorenz(refraction: Real) -> Real:
    """Refractive index from (n² - 1)/(n² + 2), the inverse of `lorentz_lorenz`.

    >>> round(from_lorentz_lorenz(lorentz_lorenz(1.333)), 9)
    1.333
    """
    return ((1 + 2 * refraction) / (1 - refraction)) ** 0.5
