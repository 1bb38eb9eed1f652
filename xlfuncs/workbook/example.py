"""An invented brewhouse: its instruments, a few months of checks, and two brew days.

Everything here is made up.  Values are metric and are turned into the units of the workbook.
"""

from __future__ import annotations

import datetime

from xlfuncs.science import gravity, units
from xlfuncs.workbook import layout
from xlfuncs.workbook.layout import Table
from xlfuncs.workbook.vocabulary import (
    AS_FOUND,
    AS_LEFT,
    FLOATING,
    HYDROMETER,
    NO,
    REFRACTOMETER,
    TARGETS,
    YES,
    Choices,
)

AS_OF = datetime.datetime(2026, 3, 17)

FIELD, BENCH, GLASS = "Field refractometer", "Bench refractometer", "Glass hydrometer"
FLOATER = "Floating hydrometer"

_INSTRUMENTS = (
    # name, kind, scale, compensated, reference °C, u, tolerance, interval
    (FIELD, REFRACTOMETER, None, NO, None, 0.1, 0.2, 45),
    (BENCH, REFRACTOMETER, None, YES, None, 0.06, 0.15, 90),
    (GLASS, HYDROMETER, "SG", None, 20, 0.0005, 0.001, 365),
    (FLOATER, FLOATING, "SG", None, None, 0.001, 0.003, 90),
)

#: Identity, range, resolution, temperatures that it compensates.
_PAPERS: dict[str, tuple[str, float, float, float, float | None, float | None]] = {
    FIELD: ("R-1, blue tape", 0, 32, 0.2, None, None),
    BENCH: ("R-2, no. 40718", 0, 32, 0.1, 10, 30),
    GLASS: ("H-1, no. 2214", 1.0, 1.1, 0.001, None, None),
    FLOATER: ("F-1", 0.99, 1.17, 0.001, None, None),
}

_TARGETS = (
    # SG, tolerance, litres, tolerance
    (1.072, 0.003, None, None),
    (1.010, 0.003, None, None),
    (1.044, 0.002, 28.0, 1.0),
    (1.0515, 0.002, 23.5, 1.0),
    (1.0515, 0.0015, 22.0, 1.0),
)

_CHECKS = (
    # instrument, date, °C, readings, references beyond water, what was done
    (FIELD, (2025, 9, 6), 19, (0.1, 10.1), (10.0,), "as received"),
    (BENCH, (2025, 9, 6), None, (0.0, 10.0, 20.1), (10.0, 20.0), "as received"),
    (GLASS, (2025, 9, 6), 20, (1.0005, 1.0405), (1.0400,), "as received"),
    (FIELD, (2025, 10, 11), 18, (0.0, 10.0), (10.0,), ""),
    (FIELD, (2025, 11, 22), 17, (0.0, 9.9), (10.0,), ""),
    (BENCH, (2025, 12, 6), None, (0.0, 10.1, 20.1), (10.0, 20.0), ""),
    (FIELD, (2026, 1, 10), 18, (0.2, 10.2), (10.0,), "it fell off the bench"),
    (FIELD, (2026, 2, 14), 19, (0.3, 10.3), (10.0,), "zero screw turned"),
    (FIELD, (2026, 2, 14), 19, (0.0, 10.0), (10.0,), AS_LEFT),
    (FIELD, (2026, 3, 7), 20, (0.1,), (), "water only"),
    (BENCH, (2026, 3, 7), None, (0.1, 10.1), (10.0,), ""),
    (FLOATER, (2026, 3, 7), 20, (1.002,), (), "in a jar of water"),
)

OAT, _DARK = "12 oat pale", "13 dark mild"

_READINGS = (
    # moment, batch, stage, instrument, reading, sample °C, litres, volume °C, note
    ((2026, 3, 7, 9, 50), OAT, "mash", FIELD, 17.6, 27, None, None, "iodine clear"),
    ((2026, 3, 7, 10, 20), OAT, "first runnings", FIELD, 18.2, 26, None, None, ""),
    ((2026, 3, 7, 10, 45), OAT, "runoff", FIELD, 9.3, 27, 14.0, 70, ""),
    ((2026, 3, 7, 11, 5), OAT, "runoff", FIELD, 5.1, 26, 21.0, 70, ""),
    ((2026, 3, 7, 11, 20), OAT, "runoff end", FIELD, 2.6, 26, 28.9, 70, "stopped here"),
    ((2026, 3, 7, 11, 40), OAT, "before boil", FIELD, 11.0, 25, 28.8, 72, ""),
    ((2026, 3, 7, 12, 20), OAT, "during boil", FIELD, 12.1, 25, None, None, ""),
    ((2026, 3, 7, 13, 0), OAT, "after boil", FIELD, 13.2, 24, 24.4, 98, ""),
    ((2026, 3, 7, 13, 40), OAT, "into fermenter", BENCH, 13.3, None, 22.1, 19, ""),
    ((2026, 3, 7, 13, 45), OAT, "into fermenter", GLASS, 1.0515, 19, 22.1, 19, "same wort"),
    ((2026, 3, 12, 18, 0), OAT, "fermenting", GLASS, 1.014, 19, None, None, ""),
    ((2026, 3, 14, 9, 30), _DARK, "first runnings", FIELD, 17.9, 24, None, None, ""),
    ((2026, 3, 14, 10, 40), _DARK, "runoff end", FIELD, 3.6, 24, 27.7, 68, ""),
    ((2026, 3, 14, 11, 0), _DARK, "before boil", FIELD, 10.8, 24, 27.8, 70, ""),
    ((2026, 3, 14, 12, 20), _DARK, "after boil", BENCH, 12.5, None, 24.6, 98, ""),
)


def fill(
    instruments: Table,
    papers: Table,
    targets: Table,
    checks: Table,
    readings: Table,
    choices: Choices,
) -> None:
    """Type the example into the input cells of a new workbook."""

    def degrees(celsius: float | None) -> float | None:
        if celsius is None:
            return None
        return round(float(units.convert(celsius, "C", choices.temperature_unit)), 1)

    def volume(litres: float | None) -> float | None:
        if litres is None:
            return None
        return round(float(units.convert(litres, "L", choices.volume_unit)), 2)

    def on_scale(sg: float) -> float:
        return float(gravity.convert(sg, "SG", choices.gravity_scale))

    layout.put(instruments.sheet, "as_of", AS_OF)
    layout.put(checks.sheet, "budget_reading", 12.0)
    layout.put(checks.sheet, "budget_u_temperature", 1 if choices.temperature_unit == "C" else 2)
    layout.put(checks.sheet, "budget_u_cloud", 0.05)
    layout.put(readings.sheet.parent[TARGETS], "target_batch", OAT)
    for row, (name, kind, scale, compensated, reference, u, tolerance, interval) in enumerate(
        _INSTRUMENTS
    ):
        identity, low, high, resolution, low_celsius, high_celsius = _PAPERS[name]
        papers.fill(
            row,
            {
                "identity": identity,
                "low": low,
                "high": high,
                "resolution": resolution,
                "compensates_from": degrees(low_celsius),
                "compensates_to": degrees(high_celsius),
            },
        )
        instruments.fill(
            row,
            {
                "name": name,
                "kind": kind,
                "scale": scale,
                "compensated": compensated,
                "reference": degrees(reference),
                "u_reading": u,
                "tolerance": tolerance,
                "interval": interval,
            },
        )
    for row, (sg, spread, litres, litres_spread) in enumerate(_TARGETS):
        targets.fill(
            row,
            {
                "gravity": round(on_scale(sg), choices.gravity_digits),
                "gravity_tolerance": round(
                    on_scale(sg + spread) - on_scale(sg), choices.gravity_digits + 1
                ),
                "volume": volume(litres),
                "volume_tolerance": volume(litres_spread),
            },
        )
    for row, (name, day, celsius, shown, known, note) in enumerate(_CHECKS):
        checks.fill(
            row,
            {
                "instrument": name,
                "date": datetime.datetime(*day),
                "temperature": degrees(celsius),
                **{f"reading_{i}": value for i, value in enumerate(shown, 1)},
                **{f"reference_{i}": value for i, value in enumerate(known, 2)},
                "state": AS_LEFT if note == AS_LEFT else AS_FOUND,
                "who": "head brewer",
                "note": note if note != AS_LEFT else None,
            },
        )
    for row, (moment, batch, stage, name, shown_, celsius, litres, warm, note) in enumerate(
        _READINGS
    ):
        readings.fill(
            row,
            {
                "date": datetime.datetime(*moment),
                "batch": batch,
                "stage": stage,
                "instrument": name,
                "reading": shown_,
                "temperature": degrees(celsius),
                "volume": volume(litres),
                "volume_temperature": degrees(warm),
                "note": note or None,
            },
        )
