"""The checks on Calibration: each gives its instrument a line, as the sheet fits it."""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from xlfuncs.audit.entries import Cell, Entries, Line
from xlfuncs.audit.setup import CALL, Check, Instrument, Settings
from xlfuncs.audit.typed import (
    initial,
    is_number,
    moment,
    name,
    plain,
    says,
    understood,
    understood_gravity,
)
from xlfuncs.cells.values import ERROR_TEXTS, is_blank, show
from xlfuncs.science import calibration
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, words

CHECK = ("instrument", "date", "temperature", "shown_1", "shown_2", "known_2", "shown_3", "known_3",
         "known_in", "made_of", "as", "who", "note")  # fmt: skip
_SHOWN = ("shown_1", "shown_2", "shown_3")


@dataclass
class Refused:
    """Checks that correct nothing."""

    unknown: list[tuple[Cell, Line]] = field(default_factory=list)  #: of no instrument of Setup
    useless: list[tuple[Cell, Line, str]] = field(default_factory=list)  #: and why they are


def named(instruments: Sequence[Instrument], cell: Cell) -> Instrument | None:
    """The instrument that a line names; the first where it names none."""
    wanted = plain(cell.value)
    if not wanted:
        return instruments[0] if instruments else None
    return next((tool for tool in instruments if plain(tool.name) == wanted), None)


def add(
    book: Entries, instruments: Sequence[Instrument], settings: Settings
) -> tuple[list[Check], Refused]:
    """Fit each check and hang it on its instrument; beside them what corrects nothing."""
    refused, checks = Refused(), []
    for row in book.rows("check", CHECK):
        shown = next((key for key in _SHOWN if not is_blank(row.value(key))), None)
        if shown is None and is_blank(row.value("date")):
            continue
        tool, when = named(instruments, row["instrument"]), moment(row.value("date"))
        if tool is None:
            refused.unknown.append((row["instrument"], row))
        elif shown is None:
            why = "the check has no reading: it corrects nothing"
            refused.useless.append((row["date"], row, why))
        elif when is None:
            what = "no date" if is_blank(row.value("date")) else "no date that can be read"
            refused.useless.append((row["date"], row, f"the check has {what}: it corrects nothing"))
        else:
            line = _line(row, tool, settings)
            if isinstance(line, str):
                refused.useless.append((row[shown], row, line))
                continue
            left = plain(row.value("as")) == words.AS_LEFT
            check = Check(row, shown, tool, when, left, *line, who=name(row.value("who")))
            bisect.insort(tool.piece.checks, check, key=lambda c: c.order)
            checks.append(check)
    return checks, refused


def _line(
    row: Mapping[str, Cell], tool: Instrument, settings: Settings
) -> tuple[float, float, Calibration] | str:
    """Offset, slope and how sure they are, or why there are none."""
    if any(row[key].value in ERROR_TEXTS for key in ("known_in", "made_of", "as")):
        return "its line holds an error"
    if tool.kind not in words.KINDS:
        return f"{show(tool.kind)} is no kind of instrument: the check corrects nothing"
    typed = {"P": "Plato", "B": "Brix", "S": "SG"}
    scale = typed.get(initial(row["known_in"].value), tool.scale)
    shown = [understood(row[key].value) for key in _SHOWN]
    melting = 32.0 if settings.temperature == "F" else 0.0
    water = melting if tool.kind == words.THERMOMETER else 1.0 if scale == "SG" else 0.0
    known = [
        None if is_blank(shown[0]) else water,
        understood_gravity(row["known_2"].value),
        understood_gravity(row["known_3"].value),
    ]
    for value in known:
        if is_number(value) and abs(value) > defaults.LARGEST_TRUE:
            return f"true value {says(value)} is out of reach"
    read, true = _brought(row, tool, settings, shown), known
    malt = tool.refracts and plain(row["made_of"].value) == words.MALT_EXTRACT
    if tool.refracts and scale == "SG":
        true = CALL["GRAVITY_CONVERT"](known, "SG", "Brix")
    elif tool.floats and scale != "SG":
        true = CALL["GRAVITY_CONVERT"](known, "Plato", "SG")
    factor = defaults.NUMBERS["set_wort_factor"]
    if malt and not factor.holds(settings.common_factor):
        return factor.refusal(says(settings.common_factor))
    for value in (*read, *true):
        if isinstance(value, str) and value.startswith("! "):
            return value.removeprefix("! ")
    points = [(i, x, y) for i, (x, y) in enumerate(zip(true, read, strict=True))
              if is_number(x) and is_number(y)]  # fmt: skip
    if not points:
        return "a reading or its reference is missing or no number"
    # Wort is brought to °Bx by the common factor: your own comes of readings that were checked.
    x = np.array([float(x) for _, x, _ in points]) * (settings.common_factor if malt else 1.0)
    y = np.array([float(y) for *_, y in points])
    weighed = any(i for i, *_ in points) and tool.kind != words.THERMOMETER
    solution = defaults.SOLUTION_U * (defaults.SG_PER_PLATO if tool.floats else 1.0) * weighed
    doubt = x * settings.common_u_factor / settings.common_factor if malt else solution
    u = np.hypot(tool.fine, doubt) * np.ones_like(x)
    if malt or not tool.refracts or np.ptp(x) < calibration.LEAST_SPREAD:
        weights = 1 / u**2
        total = float(np.sum(weights))
        tilt = calibration.UNCHECKED_SLOPE_U if tool.refracts else 0.0
        centre = float(np.sum(weights * x)) / total
        return float(np.sum(weights * (y - x))) / total, 1.0, Calibration(total**-0.5, centre, tilt)
    line = calibration.weighted_line(x, y, u)
    return line.offset, line.slope, line.calibration


def _brought(
    row: Mapping[str, Cell], tool: Instrument, settings: Settings, shown: list[Any]
) -> list[Any]:
    """What an instrument showed, at 20 °C in its working scale."""
    celsius = settings.celsius(row["temperature"].value)
    celsius = defaults.ROOM if celsius is None else celsius
    if tool.refracts:
        brix = CALL["GRAVITY_CONVERT"](shown, "SG", "Brix") if tool.scale == "SG" else shown
        found = CALL["REFRACTOMETER_BRIX"](brix, "" if tool.compensated else celsius)
    elif tool.floats:
        sg = CALL["GRAVITY_CONVERT"](shown, "Plato", "SG") if tool.scale == "Plato" else shown
        found = CALL["HYDROMETER_SG"](sg, *tool.at(celsius), tool.expansion)
    else:
        found = [_of_thermometer(value) for value in shown]
    return list(found)


def _of_thermometer(shown: Any) -> Any:
    if is_number(shown) and abs(shown) > defaults.LARGEST_TRUE:
        return f"! reading {says(shown)} is out of reach"
    if is_number(shown) or is_blank(shown):
        return shown
    return f"! reading {says(shown)} is not a number"
