"""The scales on which people state a gravity, each tied to °Plato."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real, polynomial

#: Where every scale ends, in °Plato: specific gravities of 0.98 and 1.206.
LOWEST, HIGHEST = (float(sucrose.plato(sg)) for sg in (0.98, 1.206))
# A value at the end of one scale is within another's in spite of rounding.
_HAIR = 1e-11


@dataclass(frozen=True)
class Scale:
    """One gravity scale: its name, other spellings, and the way to °Plato and back."""

    name: str
    meaning: str
    to_plato: Callable[[Real], Real]
    from_plato: Callable[[Real], Real]
    spellings: tuple[str, ...] = ()

    @functools.cached_property
    def limits(self) -> tuple[float, float]:
        """The ends of the scale: those of every other one, so that all it takes goes back."""
        low, high = float(self.from_plato(LOWEST)), float(self.from_plato(HIGHEST))
        hair = _HAIR * (high - low)
        return low - hair, high + hair

    @property
    def low(self) -> float:
        """Lowest value taken."""
        return self.limits[0]

    @property
    def high(self) -> float:
        """Highest value taken."""
        return self.limits[1]


def _same(value: Real) -> Real:
    return value * 1.0


def _by_sg(
    name: str,
    meaning: str,
    to_sg: Callable[[Real], Real],
    from_sg: Callable[[Real], Real],
    spellings: tuple[str, ...] = (),
) -> Scale:
    return Scale(
        name,
        meaning,
        lambda value: sucrose.plato(to_sg(value)),
        lambda plato: from_sg(sucrose.sg(plato)),
        spellings,
    )


def _degrees(name: str, meaning: str, per_sg: float, spellings: tuple[str, ...]) -> Scale:
    """A scale that counts `per_sg` degrees for each whole unit of SG above one."""
    return _by_sg(
        name,
        meaning,
        lambda value: 1 + value / per_sg,
        lambda sg: per_sg * (sg - 1),
        spellings,
    )


def _polynomial(
    name: str,
    meaning: str,
    coefficients: tuple[float, ...],
    spellings: tuple[str, ...],
    start: Callable[[Real], Real],
) -> Scale:
    return Scale(
        name,
        meaning,
        lambda value: sucrose.inverse(coefficients, value, start(value), steps=3),
        lambda plato: polynomial(coefficients, plato),
        spellings,
    )


_BAUME_MODULUS = 145.0  # United States heavy Baumé, NBS C440

SCALES = {
    scale.name: scale
    for scale in (
        _by_sg("SG", "apparent specific gravity 20/20", _same, _same, ("gravity",)),
        Scale("Plato", "g extract per 100 g", _same, _same, ("°P", "P", "GP", "degrees Plato")),
        Scale("Brix", "g sucrose per 100 g", _same, _same, ("°Bx", "Bx", "°Brix", "Balling")),
        _degrees("Points", "1000·(SG - 1)", 1000.0, ("gravity points", "GU")),
        _polynomial(
            "Density",
            "kg/m³ at 20 °C, in vacuo",
            sucrose.DENSITY_20,
            ("kg/m3", "kg/m³", "g/L density"),
            start=lambda value: (value - sucrose.WATER_20) / 4.4,
        ),
        Scale(
            "Index",
            "refractive index of sucrose solution, 20 °C, 589.3 nm",
            sucrose.brix,
            sucrose.refractive_index,
            ("nD", "n_D", "nD20", "refractive index", "RI"),
        ),
        _by_sg(
            "Baume",
            "145 - 145/SG",
            lambda value: _BAUME_MODULUS / (_BAUME_MODULUS - value),
            lambda sg: _BAUME_MODULUS - _BAUME_MODULUS / sg,
            ("°Bé", "°Be", "Bé", "Be", "Baumé"),
        ),
        _degrees("Oechsle", "1000·(SG - 1)", 1000.0, ("°Oe", "Oe", "Öchsle", "°Oechsle")),
        _degrees("Twaddell", "200·(SG - 1)", 200.0, ("°Tw", "Tw", "Twaddle")),
        _polynomial(
            "Extract",
            "g extract per litre at 20 °C",
            sucrose.EXTRACT_PER_LITRE,
            ("g/L", "g/l", "gpl"),
            start=lambda value: value / (10 + value / 240),
        ),
    )
}


def convert(value: Real, from_scale: str, to_scale: str) -> Real:
    """A gravity on another scale; scale names are the keys of `SCALES`.

    >>> round(convert(1.048, "SG", "Plato"), 2), round(convert(12.0, "Plato", "Extract"), 1)
    (11.91, 125.6)
    """
    if from_scale == to_scale:
        return _same(value)
    return SCALES[to_scale].from_plato(SCALES[from_scale].to_plato(value))
