"""The invented brewhouse's beers: paired readings of some months, and one fermentation.

Everything here is made up, to a wort factor near 1.03 with the scatter of real readings.  Values
are metric and are turned into the units of the workbook.
"""

from __future__ import annotations

import datetime

from xlfuncs.science import gravity, units
from xlfuncs.workbook import layout
from xlfuncs.workbook.example import BENCH, FLOATER, GLASS, OAT
from xlfuncs.workbook.layout import Table
from xlfuncs.workbook.vocabulary import Choices

_PAIRS = (
    # date, beer, original SG, bench refractometer, glass hydrometer, °C in the jar
    ((2025, 9, 20), "6 bitter, day 3", 1.042, 6.35, 1.016, 21),
    ((2025, 9, 27), "6 bitter", 1.042, 5.2, 1.009, 21),
    ((2025, 10, 11), "7 stout, day 3", 1.066, 11.2, 1.0325, 18),
    ((2025, 10, 18), "7 stout", 1.066, 9.0, 1.019, 19),
    ((2025, 11, 1), "8 wheat", 1.049, 5.9, 1.0095, 18),
    ((2025, 11, 15), "9 brown ale, day 4", 1.052, 7.7, 1.0175, 20),
    ((2025, 11, 22), "9 brown ale", 1.052, 6.75, 1.012, 21),
    ((2025, 12, 13), "10 strong pale, day 5", 1.074, 10.3, 1.021, 22),
    ((2025, 12, 20), "10 strong pale", 1.074, 9.2, 1.014, 22),
    ((2026, 1, 17), "11 table beer, day 4", 1.032, 4.15, 1.0075, 20),
    ((2026, 1, 31), "11 table beer", 1.032, 3.65, 1.0055, 17),
    ((2026, 3, 12), "12 oat pale, day 5", 1.0508, 6.95, 1.014, 19),
)

_FERMENTATION = (
    # moment, instrument, reading, sample °C
    ((2026, 3, 8, 18, 0), BENCH, 11.85, None),
    ((2026, 3, 9, 18, 0), BENCH, 10.35, None),
    ((2026, 3, 9, 18, 5), FLOATER, 1.0361, 19),
    ((2026, 3, 10, 18, 0), FLOATER, 1.0257, 20),
    ((2026, 3, 11, 18, 0), BENCH, 7.5, None),
    ((2026, 3, 12, 18, 0), BENCH, 6.95, None),
    ((2026, 3, 12, 18, 10), GLASS, 1.014, 19),
    ((2026, 3, 13, 18, 0), FLOATER, 1.0134, 20),
    ((2026, 3, 15, 9, 0), BENCH, 6.65, None),
    ((2026, 3, 15, 9, 10), GLASS, 1.012, 19),
    ((2026, 3, 17, 9, 0), BENCH, 6.7, None),
    ((2026, 3, 17, 9, 10), GLASS, 1.012, 19),
)


def fill(pairs: Table, fermentation: Table, choices: Choices) -> None:
    """Type the example into the input cells of a new workbook."""

    def degrees(celsius: float | None) -> float | None:
        if celsius is None:
            return None
        return round(float(units.convert(celsius, "C", choices.temperature_unit)), 1)

    def on_scale(sg: float) -> float:
        converted = float(gravity.convert(sg, "SG", choices.gravity_scale))
        return round(converted, choices.gravity_digits)

    for row, (date, beer, original, brix, sg, celsius) in enumerate(_PAIRS):
        pairs.fill(
            row,
            {
                "date": datetime.datetime(*date),
                "beer": beer,
                "original": on_scale(original),
                "refractometer": BENCH,
                "shown_brix": brix,
                "hydrometer": GLASS,
                "shown_sg": sg,
                "shown_sg_temperature": degrees(celsius),
            },
        )
    layout.put(fermentation.sheet, "ferment_chosen", OAT)
    for row, (moment, instrument, reading, sample) in enumerate(_FERMENTATION):
        fermentation.fill(
            row,
            {
                "date": datetime.datetime(*moment),
                "batch": OAT,
                "instrument": instrument,
                "reading": reading,
                "temperature": degrees(sample),
            },
        )
