"""The scales on which people state a gravity, each tied to °Plato."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from xlfuncs.science import sucrose
from xlfuncs.science.arrays import Real, polynomial


@dataclass(frozen=True)
class Scale:
    """One gravity scale: its name, other spellings, limits, and the way to °Plato and back."""

    name: str
    meaning: str
    low: float
    high: float
    to_plato: Callable[[Real], Real]
    from_plato: Callable[[Real], Real]
    spellings: tuple[str, ...] = ()


def _same(value: Real) -> Real:
    return value * 1.0


def _by_sg(
    name: str,
    meaning: str,
    low: float,
    high: float,
    to_sg: Callable[[Real], Real],
    from_sg: Callable[[Real], Real],
    spellings: tuple[str, ...] = (),
) -> Scale:
    return Scale(
        name,
        meaning,
        low,
        high,
        lambda value: sucrose.plato(to_sg(value)),
        lambda plato: from_sg(sucrose.sg(plato)),
        spellings,
    )


def _degrees(name: str, meaning: str, per_sg: float, spellings: tuple[str, ...]) -> Scale:
    """A scale that counts `per_sg` degrees for each whole unit of SG above one."""
    return _by_sg(
        name,
        meaning,
        -0.02 * per_sg,
        0.206 * per_sg,
        lambda value: 1 + value / per_sg,
        lambda sg: per_sg * (sg - 1),
        spellings,
    )


def _polynomial(
    name: str,
    meaning: str,
    low: float,
    high: float,
    coefficients: tuple[float, ...],
    start: Callable[[Real], Real],
    spellings: tuple[str, ...],
) -> Scale:
    return Scale(
        name,
        meaning,
        low,
        high,
        lambda value: sucrose.inverse(coefficients, value, start(value), steps=5),
        lambda plato: polynomial(coefficients, plato),
        spellings,
    )


_BAUME_MODULUS = 145.0  # United States heavy Baumé, NBS C440

SCALES = {
    scale.name: scale
    for scale in (
        _by_sg("SG", "apparent specific gravity 20/20", 0.98, 1.206, _same, _same, ("gravity",)),
        Scale(
            "Plato", "g extract per 100 g", -5, 45, _same, _same, ("°P", "P", "GP", "degrees Plato")
        ),
        Scale(
            "Brix", "g sucrose per 100 g", -5, 45, _same, _same, ("°Bx", "Bx", "°Brix", "Balling")
        ),
        _degrees("Points", "1000·(SG - 1)", 1000.0, ("gravity points", "GU")),
        _polynomial(
            "Density",
            "kg/m³ at 20 °C, in vacuo",
            979,
            1203,
            sucrose.DENSITY_20,
            lambda value: (value - sucrose.WATER_20) / 4.4,
            ("kg/m3", "kg/m³", "g/L density"),
        ),
        Scale(
            "Index",
            "refractive index of sucrose solution, 20 °C, 589.3 nm",
            1.326,
            1.41,
            sucrose.brix,
            sucrose.refractive_index,
            ("nD", "n_D", "nD20", "refractive index", "RI"),
        ),
        _by_sg(
            "Baume",
            "145 - 145/SG",
            -2.95,
            24.7,
            lambda value: _BAUME_MODULUS / (_BAUME_MODULUS - value),
            lambda sg: _BAUME_MODULUS - _BAUME_MODULUS / sg,
            ("°Bé", "°Be", "Bé", "Be", "Baumé"),
        ),
        _degrees("Oechsle", "1000·(SG - 1)", 1000.0, ("°Oe", "Oe", "Öchsle", "°Oechsle")),
        _degrees("Twaddell", "200·(SG - 1)", 200.0, ("°Tw", "Tw", "Twaddle")),
        _polynomial(
            "Extract",
            "g extract per litre at 20 °C",
            -49,
            542,
            sucrose.EXTRACT_PER_LITRE,
            lambda value: value / (10 + value / 240),
            ("g/L", "g/l", "gpl"),
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
