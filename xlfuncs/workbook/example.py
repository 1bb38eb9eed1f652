"""An invented brewhouse: its instruments, checks, batches and a log of half a year.

Everything here is made up, to a wort factor near 1.03 with the scatter of real readings.  Values
are metric and are turned into the units of the workbook.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Any

from openpyxl.workbook import Workbook

from xlfuncs.workbook import words
from xlfuncs.workbook.kit.write import type_into
from xlfuncs.workbook.quantities import celsius, in_units_of, kilograms, litres, sg
from xlfuncs.workbook.sheets import SHEETS
from xlfuncs.workbook.words import Choices

FIELD, BENCH = "Field refractometer", "Bench refractometer"
GLASS, FLOATER = "Glass hydrometer", "Tank floater"
#: The day on which the example stands still.
AS_OF = datetime.datetime(2026, 3, 17)


CELLS: Mapping[str, Any] = {
    "brewery": "Lower Mill brewhouse (invented)",
    "as_of": AS_OF,
    "kettle_size": litres(36),
    "boil_off": litres(4),
    "set_minutes": 70,
    "budget_reading": 12.0,
    "budget_u_cloud": 0.05,
    "chart_instrument": FIELD,
}

_INSTRUMENTS = (
    # name, mark, kind, scale, compensated, reads true at, range, division, tolerated, check every
    (FIELD, "R-1, blue tape", "refractometer", None, "no", None, 0, 32, 0.2, 0.2, 30),
    (BENCH, "R-2, no. 40718", "refractometer", "Brix", "yes", None, 0, 32, 0.1, 0.2, 90),
    (GLASS, "H-1, no. 2214", "hydrometer", "SG", None, 20, 1.0, 1.1, 0.001, 0.001, 365),
    (FLOATER, "F-1", "floating hydrometer", "SG", None, None, 0.99, 1.17, 0.001, 0.002, 60),
)

_CHECKS = (
    # instrument, date, °C, in water, (shown, true) of solutions, made of, as, what was done
    (FIELD, (2025, 9, 6), 19, 0.1, ((10.1, 10.0),), None, None, "as received"),
    (BENCH, (2025, 9, 6), None, 0.0, ((10.0, 10.0), (20.1, 20.0)), None, None, "as received"),
    (GLASS, (2025, 9, 6), 20, 1.0005, ((1.0405, 1.04),), None, None, "as received"),
    (FIELD, (2025, 10, 11), 18, 0.0, ((10.0, 10.0),), None, None, None),
    (FIELD, (2025, 11, 22), 17, 0.0, ((9.9, 10.0),), None, None, None),
    (BENCH, (2025, 12, 6), None, 0.0, ((10.1, 10.0), (20.1, 20.0)), None, None, None),
    (FIELD, (2026, 1, 10), 18, 0.2, ((10.2, 10.0),), None, None, "it fell off the bench"),
    (FIELD, (2026, 2, 14), 19, 0.3, ((10.3, 10.0),), None, None, "zero screw turned"),
    (FIELD, (2026, 2, 14), 19, 0.0, ((10.0, 10.0),), None, words.AS_LEFT, None),
    (FIELD, (2026, 3, 7), 20, 0.1, (), None, None, "water only"),
    (BENCH, (2026, 3, 7), None, 0.1, ((10.1, 10.0),), None, None, None),
    (FLOATER, (2026, 3, 7), 20, 1.002, (), None, None, "in a jar of water"),
)

BITTER, STOUT, WHEAT, BROWN, STRONG, TABLE = (
    "6 bitter", "7 stout", "8 wheat", "9 brown ale", "10 strong pale", "11 table beer",
)  # fmt: skip
OAT, MILD, NEXT = "12 oat pale", "13 dark mild", "14 harvest ale"

_BATCHES = (
    # batch, brew day, grain kg, minutes, (gravity, litres) of the planned stages, final gravity
    (BITTER, (2025, 9, 17), 4.4, 60, {words.BEFORE_BOIL: (1.036, 28), words.INTO_FERMENTER: (1.042, 22)}, 1.010),
    (STOUT, (2025, 10, 8), 6.6, 70, {words.BEFORE_BOIL: (1.055, 28), words.INTO_FERMENTER: (1.066, 21)}, 1.018),
    (WHEAT, (2025, 10, 22), 5.0, 60, {words.BEFORE_BOIL: (1.042, 28), words.INTO_FERMENTER: (1.049, 22)}, 1.010),
    (BROWN, (2025, 11, 11), 5.2, 70, {words.BEFORE_BOIL: (1.044, 28), words.INTO_FERMENTER: (1.052, 22)}, 1.012),
    (STRONG, (2025, 12, 8), 7.4, 90, {words.BEFORE_BOIL: (1.060, 29), words.INTO_FERMENTER: (1.074, 21)}, 1.014),
    (TABLE, (2026, 1, 13), 3.2, 60, {words.BEFORE_BOIL: (1.027, 28), words.INTO_FERMENTER: (1.032, 22)}, 1.006),
    (OAT, (2026, 3, 7), 5.2, None, {words.FIRST_RUNNINGS: (1.072, None), words.RUNOFF_END: (1.010, None),
                                    words.BEFORE_BOIL: (1.044, 28), words.AFTER_BOIL: (1.0515, 23.5),
                                    words.INTO_FERMENTER: (1.0515, 22)}, 1.012),
    (MILD, (2026, 3, 14), 5.0, None, {words.RUNOFF_END: (1.010, None), words.BEFORE_BOIL: (1.042, 28),
                                      words.AFTER_BOIL: (1.049, 24)}, 1.014),
    (NEXT, None, 6.1, 75, {words.RUNOFF_END: (1.010, None), words.BEFORE_BOIL: (1.050, 28),
                           words.AFTER_BOIL: (1.059, 23.5), words.INTO_FERMENTER: (1.059, 22)}, 1.013),
)  # fmt: skip

# The earlier batches: what went into the kettle and the fermenter, and pairs of drop and jar.
_EARLIER = (
    # batch, kettle (drop °Bx, °C, litres, °C), fermenter (drop, jar, °C, litres), pairs of beer
    (BITTER, (9.4, 24, 28.3, 72), (11.0, 1.0422, 20, 22.2), (((2025, 9, 20), 6.35, 1.016, 21),
                                                             ((2025, 9, 27), 5.2, 1.009, 21))),
    (STOUT, (14.1, 25, 28.6, 74), (16.7, 1.0658, 19, 21.3), (((2025, 10, 11), 11.2, 1.0325, 18),
                                                             ((2025, 10, 18), 9.0, 1.019, 19))),
    (WHEAT, (10.8, 23, 28.0, 70), (12.6, 1.0489, 18, 21.9), (((2025, 11, 1), 5.9, 1.0095, 18),)),
    (BROWN, (11.3, 24, 28.4, 71), (13.4, 1.0521, 20, 22.0), (((2025, 11, 15), 7.7, 1.0175, 20),
                                                             ((2025, 11, 22), 6.75, 1.012, 21))),
    (STRONG, (15.3, 26, 29.5, 75), (18.6, 1.0742, 21, 20.8), (((2025, 12, 13), 10.3, 1.021, 22),
                                                              ((2025, 12, 20), 9.2, 1.014, 22))),
    (TABLE, (7.1, 22, 28.1, 70), (8.35, 1.0318, 18, 22.1), (((2026, 1, 17), 4.15, 1.0075, 20),
                                                           ((2026, 1, 31), 3.65, 1.0055, 17))),
)  # fmt: skip

_LOG = (
    # moment, batch, stage, instrument, reading, sample °C, litres, their °C, pH, note
    ((2026, 3, 7, 9, 50), OAT, words.MASH, None, 17.6, 27, None, None, None, "iodine clear"),
    ((2026, 3, 7, 10, 15), OAT, words.FIRST_RUNNINGS, None, 18.2, 26, 6.0, 68, None, None),
    ((2026, 3, 7, 10, 25), OAT, words.RUNOFF_STAGE, None, 17.7, 27, 6.0, 68, None, None),
    ((2026, 3, 7, 10, 35), OAT, words.RUNOFF_STAGE, None, 14.1, 27, 10.0, 69, None, None),
    ((2026, 3, 7, 10, 45), OAT, words.RUNOFF_STAGE, None, 10.5, 27, 14.0, 70, 5.5, None),
    ((2026, 3, 7, 10, 55), OAT, words.RUNOFF_STAGE, None, 7.8, 26, 17.5, 70, None, None),
    ((2026, 3, 7, 11, 5), OAT, words.RUNOFF_STAGE, None, 5.6, 26, 21.0, 70, 5.6, None),
    ((2026, 3, 7, 11, 15), OAT, words.RUNOFF_STAGE, None, 3.8, 26, 25.0, 70, 5.7, None),
    ((2026, 3, 7, 11, 20), OAT, words.RUNOFF_END, None, 2.6, 26, 28.9, 70, 5.8, "stopped here"),
    ((2026, 3, 7, 11, 40), OAT, words.BEFORE_BOIL, None, 11.0, 25, 28.8, 72, None, None),
    ((2026, 3, 7, 12, 20), OAT, words.DURING_BOIL, None, 12.1, 25, None, None, None, None),
    ((2026, 3, 7, 13, 0), OAT, words.AFTER_BOIL, None, 13.2, 24, 24.4, 98, None, None),
    ((2026, 3, 7, 13, 40), OAT, words.INTO_FERMENTER, BENCH, 13.3, None, 22.1, 19, None, None),
    ((2026, 3, 7, 13, 45), OAT, words.INTO_FERMENTER, GLASS, 1.0515, 19, 22.1, 19, None, "same wort"),
    ((2026, 3, 8, 18, 0), OAT, words.FERMENTING, BENCH, 11.85, None, None, None, None, None),
    ((2026, 3, 9, 18, 0), OAT, words.FERMENTING, BENCH, 10.35, None, None, None, None, None),
    ((2026, 3, 9, 18, 5), OAT, words.FERMENTING, FLOATER, 1.0361, 19, None, None, None, None),
    ((2026, 3, 10, 18, 0), OAT, words.FERMENTING, FLOATER, 1.0257, 20, None, None, None, None),
    ((2026, 3, 11, 18, 0), OAT, words.FERMENTING, BENCH, 7.5, None, None, None, None, None),
    ((2026, 3, 12, 18, 0), OAT, words.FERMENTING, BENCH, 6.95, None, None, None, None, None),
    ((2026, 3, 12, 18, 10), OAT, words.FERMENTING, GLASS, 1.014, 19, None, None, None, None),
    ((2026, 3, 13, 18, 0), OAT, words.FERMENTING, FLOATER, 1.0134, 20, None, None, None, None),
    ((2026, 3, 14, 9, 30), MILD, words.FIRST_RUNNINGS, None, 17.9, 24, None, None, None, None),
    ((2026, 3, 14, 10, 40), MILD, words.RUNOFF_END, None, 3.6, 24, 27.7, 68, None, None),
    ((2026, 3, 14, 11, 0), MILD, words.BEFORE_BOIL, None, 10.8, 24, 27.8, 70, None, None),
    ((2026, 3, 14, 12, 20), MILD, words.AFTER_BOIL, BENCH, 12.5, None, 24.6, 98, None, None),
    ((2026, 3, 15, 9, 0), OAT, words.FERMENTING, BENCH, 6.65, None, None, None, None, None),
    ((2026, 3, 15, 9, 10), OAT, words.FERMENTING, GLASS, 1.012, 19, None, None, None, None),
    ((2026, 3, 17, 9, 0), OAT, words.FERMENTING, BENCH, 6.7, None, None, None, None, None),
    ((2026, 3, 17, 9, 10), OAT, words.FERMENTING, GLASS, 1.012, 19, None, None, None, None),
)  # fmt: skip


def fill(book: Workbook, choices: Choices) -> None:
    """Type the example into the input cells of a new workbook."""
    typed = in_units_of(choices)
    cells = dict(CELLS)
    for module in SHEETS:
        cells |= getattr(module, "EXAMPLE", {})
    for name, value in cells.items():
        if isinstance(value, (list, tuple)):
            for line, one in enumerate(value):
                type_into(book, name, typed(one), line)
        else:
            type_into(book, name, typed(value))
    for lines in (instruments(), checks(), batches(), log()):
        for number, entries in enumerate(lines):
            for name, value in entries.items():
                type_into(book, name, typed(value), number)


def instruments() -> Iterable[dict[str, Any]]:
    """The lines of Setup's table."""
    for (
        name,
        mark,
        kind,
        scale,
        auto,
        true_at,
        low,
        high,
        division,
        tolerated,
        every,
    ) in _INSTRUMENTS:
        yield {
            "inst_name": name, "inst_identity": mark, "inst_kind": kind, "inst_scale": scale,
            "inst_compensated": auto, "inst_reference": celsius(true_at), "inst_low": low,
            "inst_high": high, "inst_division": division, "inst_tolerated": tolerated,
            "inst_interval": every,
        }  # fmt: skip


def checks() -> Iterable[dict[str, Any]]:
    """The lines of Calibration's table."""
    for name, day, warm, water, solutions, made_of, as_, note in _CHECKS:
        line: dict[str, Any] = {
            "check_instrument": name, "check_date": datetime.datetime(*day),
            "check_temperature": celsius(warm), "check_shown_1": water,
            "check_made_of": made_of, "check_as": as_, "check_who": "head brewer",
            "check_note": note,
        }  # fmt: skip
        for number, (shown, true) in enumerate(solutions, 2):
            line |= {f"check_shown_{number}": shown, f"check_known_{number}": true}
        yield line


def batches() -> Iterable[dict[str, Any]]:
    """The lines of Batches' table."""
    for name, day, grain, minutes, plan, final in _BATCHES:
        line = {
            "batch_name": name, "batch_date": datetime.datetime(*day) if day else None,
            "batch_grain": kilograms(grain), "batch_minutes": minutes,
            "batch_packaged_gravity": sg(final),
        }  # fmt: skip
        for stage, (wanted, volume) in plan.items():
            line[f"batch_{words.key(stage)}_gravity"] = sg(wanted)
            line[f"batch_{words.key(stage)}_volume"] = litres(volume)
        yield line


def log() -> Iterable[dict[str, Any]]:
    """The lines of the log, in the order of time."""
    lines: list[tuple[Any, ...]] = []
    days = {name: day for name, day, *_ in _BATCHES}
    for batch, (drop, warm, volume, hot), (brix, jar, cool, filled), pairs in _EARLIER:
        day = days[batch]
        assert day
        lines += [
            ((*day, 11, 30), batch, words.BEFORE_BOIL, None, drop, warm, volume, hot, None, None),
            ((*day, 14, 0), batch, words.INTO_FERMENTER, BENCH, brix, None, filled, cool, None, None),
            ((*day, 14, 5), batch, words.INTO_FERMENTER, GLASS, jar, cool, None, None, None, None),
        ]  # fmt: skip
        for when, shown, true, degrees in pairs:
            lines += [
                ((*when, 18, 0), batch, words.FERMENTING, BENCH, shown, None, None, None, None, None),
                ((*when, 18, 5), batch, words.FERMENTING, GLASS, true, degrees, None, None, None, None),
            ]  # fmt: skip
    told: list[tuple[Any, ...]] = [*sorted(lines, key=lambda line: line[0]), *_LOG]
    for moment, batch, stage, instrument, reading, warm, volume, hot, ph, note in told:
        yield {
            "log_date": datetime.datetime(*moment), "log_batch": batch, "log_stage": stage,
            "log_instrument": instrument, "log_reading": reading,
            "log_temperature": celsius(warm), "log_volume": litres(volume),
            "log_volume_temperature": celsius(hot), "log_ph": ph, "log_note": note,
        }  # fmt: skip
