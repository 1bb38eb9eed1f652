"""The invented brew day on the sheets of runoff, kettle, targets, blend and batch.

Everything here is made up.  Values are metric and are turned into the units of the workbook.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from openpyxl.workbook import Workbook

from xlfuncs.science import gravity, units
from xlfuncs.workbook import layout
from xlfuncs.workbook.layout import Table
from xlfuncs.workbook.vocabulary import Choices


@dataclass(frozen=True)
class Quantity:
    """A metric value that is typed in the workbook's own unit."""

    value: float
    kind: str


def litres(value: float) -> Quantity:
    """A volume."""
    return Quantity(value, "volume")


def celsius(value: float) -> Quantity:
    """A temperature."""
    return Quantity(value, "temperature")


def kilograms(value: float) -> Quantity:
    """A mass."""
    return Quantity(value, "mass")


def sg(value: float) -> Quantity:
    """A gravity."""
    return Quantity(value, "gravity")


@dataclass(frozen=True)
class Spread:
    """± of a gravity, SG."""

    value: float
    at: float


_BATCH, _INSTRUMENT = "12 oat pale", "Field refractometer"

_RUNOFF = (
    # litres, °C, °Bx, sample °C, pH
    (6.0, 68, 17.3, 27, None),
    (10.0, 69, 12.8, 27, None),
    (14.0, 70, 9.3, 27, 5.5),
    (17.5, 70, 6.9, 26, None),
    (21.0, 70, 5.1, 26, 5.6),
    (25.0, 70, 3.6, 26, 5.7),
    (28.9, 70, 2.6, 26, 5.8),
)

_PAST = (
    # batch, grain kg, efficiency known from elsewhere
    ("8 oat pale", 5.2, 73.5),
    ("9 dark mild", 4.4, 76.0),
    ("10 harvest ale", 6.1, 71.0),
    ("11 oat pale", 5.2, 74.5),
    (_BATCH, 5.2, None),
    ("13 dark mild", 5.0, None),
)

_PARTS = (
    # name, kind, litres, °C, SG, ± of it, ABV
    ("12 oat pale", "beer", 18.0, 12, 1.0125, 0.0012, 5.1),
    ("13 dark mild", "beer", 6.0, 12, 1.0145, 0.0026, 4.2),
    ("boiled water", "water", 1.5, 60, None, None, None),
)

_CELLS: Mapping[str, Any] = {
    "kettle_size": litres(36),
    "boil_off": litres(4),
    "boil_minutes": 70,
    "grain_mass": kilograms(5.2),
    "told_volume": litres(24),
    "told_temperature": celsius(80),
    "told_gravity": 11.0,
    "told_scale": "°Bx",
    "told_u": 0.001,
    "told_target": sg(1.052),
    "told_minutes": 60,
    "told_boil_off": litres(3),
    "told_kettle": litres(30),
    "share_a": sg(1.062),
    "share_a_expanded": Spread(0.0018, 1.062),
    "share_b": sg(1.040),
    "share_b_expanded": Spread(0.0014, 1.040),
    "share_target": sg(1.048),
    "share_total": litres(20),
    "dilute_volume": litres(20),
    "dilute_gravity": sg(1.070),
    "dilute_expanded": Spread(0.0019, 1.070),
    "dilute_first": sg(1.068),
    "card_instrument": _INSTRUMENT,
    "run_batch": _BATCH,
    "run_date": datetime.datetime(2026, 3, 7),
    "run_instrument": _INSTRUMENT,
}


def fill(collected: Table, past: Table, parts: Table, choices: Choices) -> None:
    """Type the brew day into the input cells of a new workbook."""
    typed = _in_units_of(choices)
    book: Workbook = collected.sheet.parent
    for name, value in _CELLS.items():
        sheet, _ = next(iter(book.defined_names[name].destinations))
        layout.put(book[sheet], name, typed(value))
    for row, (volume, warm, reading, sample, ph) in enumerate(_RUNOFF):
        collected.fill(
            row,
            {
                "volume": typed(litres(volume)),
                "volume_temperature": typed(celsius(warm)),
                "reading": reading,
                "temperature": typed(celsius(sample)),
                "ph": ph,
            },
        )
    for row, (batch, grain, efficiency) in enumerate(_PAST):
        past.fill(row, {"batch": batch, "grain": typed(kilograms(grain)), "known": efficiency})
    for row, (name, kind, volume, warm, gravity_, spread, abv) in enumerate(_PARTS):
        parts.fill(
            row,
            {
                "name": name,
                "kind": kind,
                "volume": typed(litres(volume)),
                "temperature": typed(celsius(warm)),
                "gravity": typed(sg(gravity_)) if gravity_ else None,
                "expanded": typed(Spread(spread, gravity_)) if gravity_ and spread else None,
                "abv": abv,
            },
        )


def _in_units_of(choices: Choices) -> Callable[[Any], Any]:
    own = {
        "volume": ("L", choices.volume_unit, 2),
        "temperature": ("C", choices.temperature_unit, 1),
        "mass": ("kg", choices.mass_unit, 2),
    }

    def on_scale(sg: float) -> float:
        return float(gravity.convert(sg, "SG", choices.gravity_scale))

    def typed(value: Any) -> Any:
        if isinstance(value, Spread):
            wide = on_scale(value.at + value.value) - on_scale(value.at)
            return round(wide, choices.gravity_digits + 1)
        if not isinstance(value, Quantity):
            return value
        if value.kind == "gravity":
            return round(on_scale(value.value), choices.gravity_digits)
        metric, unit, digits = own[value.kind]
        return round(float(units.convert(value.value, metric, unit)), digits)

    return typed
