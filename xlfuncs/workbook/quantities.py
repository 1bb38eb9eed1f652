"""Metric values that are typed in the workbook's own units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from xlfuncs.science import gravity, units
from xlfuncs.workbook.words import Choices


@dataclass(frozen=True)
class Quantity:
    """A metric value that is typed in the workbook's own unit."""

    value: float
    kind: str
    at: float = 0  # of a difference in gravity: the gravity about which it is taken


def litres(value: float | None) -> Quantity | None:
    """A volume."""
    return None if value is None else Quantity(value, "volume")


def celsius(value: float | None) -> Quantity | None:
    """A temperature."""
    return None if value is None else Quantity(value, "temperature")


def kilograms(value: float | None) -> Quantity | None:
    """A mass."""
    return None if value is None else Quantity(value, "mass")


def sg(value: float | None) -> Quantity | None:
    """A gravity."""
    return None if value is None else Quantity(value, "gravity")


def spread(value: float | None, at: float = 1.05) -> Quantity | None:
    """A difference of gravities about one of them."""
    return None if value is None else Quantity(value, "spread", at)


def in_units_of(choices: Choices) -> Callable[[Any], Any]:
    """What turns the values of the example into those that are typed."""
    own = {
        "volume": ("L", choices.volume_unit, 2),
        "temperature": ("C", choices.temperature_unit, 1),
        "mass": ("kg", choices.mass_unit, 2),
    }

    def on_scale(value: float) -> float:
        return float(gravity.convert(value, "SG", choices.gravity_scale))

    def typed(value: Any) -> Any:
        if not isinstance(value, Quantity):
            return value
        if value.kind == "spread":
            wide = on_scale(value.at + value.value) - on_scale(value.at)
            return round(wide, choices.gravity_digits + 1)
        if value.kind == "gravity":
            return round(on_scale(value.value), choices.gravity_digits)
        metric, unit, digits = own[value.kind]
        return round(float(units.convert(value.value, metric, unit)), digits)

    return typed
