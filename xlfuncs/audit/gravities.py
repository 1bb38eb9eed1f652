"""What readings give: gravities with their ±, volumes at 20 °C, verdicts on the plans.

Each reading with the settings of its own file.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from xlfuncs.audit import shared
from xlfuncs.audit.setup import CALL, Batch, Check, Settings
from xlfuncs.audit.typed import is_number, understood
from xlfuncs.cells.values import is_blank
from xlfuncs.science import budget
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, words

if TYPE_CHECKING:
    from xlfuncs.audit.record import Brew, Reading, Record


def compute(records: Sequence[Record]) -> None:
    """Compute all readings of some files; those of a brew stand all in them."""
    readings = [reading for record in records for reading in record.readings]
    for record in records:
        _compute([r for r in record.readings if not r.through_beer], record.settings)
    shared.take_together([r for r in readings if not r.fermented])
    _start(readings)
    for record in records:
        beers = [r for r in record.readings if r.through_beer]
        _compute(beers, record.settings)
        for reading in beers:
            shared.share(reading)
    shared.take_together([r for r in readings if r.fermented])
    for record in records:
        _judge(record)
    for reading in readings:
        reading.effects = None  # a year has a hundred thousand of them


def _start(readings: Sequence[Reading]) -> None:
    """Give each beer its original SG with its uncertainty: measured, the latest, or planned."""
    first: dict[Brew, Reading | None] = {}
    for reading in readings:
        if not reading.through_beer:
            continue
        if reading.brew and reading.brew not in first:
            measured = reading.brew.of_stage(words.INTO_FERMENTER)
            first[reading.brew] = measured[-1] if measured else None
        reading.start = first[reading.brew] if reading.brew else None
        reading.original = (
            (reading.start.mean, reading.start.u_mean)
            if reading.start
            else _planned(reading.batch, reading.record.settings)
        )


def _planned(batch: Batch | None, settings: Settings) -> tuple[Any, Any] | None:
    planned = batch.gravity.get(words.INTO_FERMENTER) if batch else None
    if is_blank(planned):
        return None
    sg = planned if settings.gravity == "SG" else CALL["GRAVITY_CONVERT"](planned, "Plato", "SG")
    return sg, settings.tolerance_sg / 2


def gravities(
    readings: Sequence[Reading], checks: Sequence[Check | None], settings: Settings
) -> tuple[list[Any], list[Any], list[Any]]:
    """SG, its standard uncertainty and true °Brix of readings, each with the check beside it.

    A reading that gives none has the `! ` text of its cell, or None without a reading.
    """
    sg: list[Any] = [None] * len(readings)
    u: list[Any] = [None] * len(readings)
    brix: list[Any] = [None] * len(readings)
    tools = [reading.instrument for reading in readings]
    drops = [i for i, tool in enumerate(tools) if tool and tool.refracts]
    jars = [i for i, tool in enumerate(tools) if tool and tool.floats]
    for places, compute in ((drops, _refracted), (jars, _floated)):
        if not places:
            continue
        some, theirs = [readings[i] for i in places], [checks[i] for i in places]
        found = compute(some, theirs, settings)
        for i, one, its_u, shown in zip(places, *found, strict=True):
            sg[i] = None if one == "" else one
            u[i] = its_u if isinstance(one, float) and isinstance(its_u, float) else None
            brix[i] = shown if isinstance(shown, float) else None
    return sg, u, brix


def _refracted(
    readings: Sequence[Reading], checks: Sequence[Check | None], settings: Settings
) -> tuple[list[Any], list[Any], list[Any]]:
    tools = [r.instrument for r in readings if r.instrument]
    shown = [r.shown for r in readings]
    as_brix = CALL["GRAVITY_CONVERT"](
        [one if tool.scale == "SG" else "" for one, tool in zip(shown, tools, strict=True)],
        "SG",
        "Brix",
    )
    shown = [b if t.scale == "SG" else s for b, t, s in zip(as_brix, tools, shown, strict=True)]
    brix = CALL["REFRACTOMETER_BRIX"](
        shown,
        ["" if t.compensated else r.celsius for t, r in zip(tools, readings, strict=True)],
        [c.offset if c else 0.0 for c in checks],
        [c.slope if c else 1.0 for c in checks],
    )
    u_drop = [
        math.hypot(t.fine, budget.COMPENSATION_U if t.compensated else
                   defaults.BRIX_PER_DEGREE * settings.u_celsius)
        for t in tools
    ]  # fmt: skip
    u_cal = [
        float((c.sure if c else Calibration(t.tolerance)).at(b)) if isinstance(b, float) else ""
        for b, t, c in zip(brix, tools, checks, strict=True)
    ]
    originals = [r.original or (None, None) for r in readings]
    through = [r.through_beer for r in readings]
    wort_brix = ["" if beer else b for b, beer in zip(brix, through, strict=True)]
    beer_brix = [b if beer else "" for b, beer in zip(brix, through, strict=True)]
    both = [math.hypot(d, c) if isinstance(c, float) else "" for d, c in
            zip(u_drop, u_cal, strict=True)]  # fmt: skip
    found = CALL["WORT_SG"](wort_brix, settings.wort_factor)
    spread = CALL["WORT_SG_UNCERTAINTY"](
        wort_brix, settings.wort_factor, u_drop, settings.u_wort_factor, u_cal
    )
    beer = CALL["BEER_SG"]([o for o, _ in originals], beer_brix, settings.beer_wort_factor,
                            "balance", settings.alcohol_factor)  # fmt: skip
    beer_u = CALL["BEER_SG_UNCERTAINTY"](
        [o for o, _ in originals], beer_brix, settings.beer_wort_factor, both,
        settings.beer_u_wort_factor, [u for _, u in originals], settings.u_model,
    )  # fmt: skip
    return (
        [b if is_beer else w for w, b, is_beer in zip(found, beer, through, strict=True)],
        [b if is_beer else w for w, b, is_beer in zip(spread, beer_u, through, strict=True)],
        list(brix),
    )


def _floated(
    readings: Sequence[Reading], checks: Sequence[Check | None], settings: Settings
) -> tuple[list[Any], list[Any], list[Any]]:
    tools = [r.instrument for r in readings if r.instrument]
    shown = [r.shown for r in readings]
    told = CALL["GRAVITY_CONVERT"](
        ["" if tool.scale == "Plato" or is_number(one) else one
         for one, tool in zip(shown, tools, strict=True)],
        "SG",
        "SG",
    )  # fmt: skip
    from_plato = CALL["GRAVITY_CONVERT"](
        [one if tool.scale == "Plato" else "" for one, tool in zip(shown, tools, strict=True)],
        "Plato",
        "SG",
    )
    # A text such as 1,050 is the number that it says, and the correction counts for it too.
    as_sg = [p if tool.scale == "Plato" else said if is_number(said) else raw
             for p, said, tool, raw
             in zip(from_plato, told, tools, shown, strict=True)]  # fmt: skip
    warm = [t.at(r.celsius) for t, r in zip(tools, readings, strict=True)]
    found = CALL["HYDROMETER_SG"](
        [one - c.offset if c and is_number(one) else one
         for one, c in zip(as_sg, checks, strict=True)],
        [one[0] for one in warm],
        [one[1] for one in warm],
        [one[2] for one in warm],
        [tool.expansion for tool in tools],
    )  # fmt: skip
    level = [c.sure.level if c else t.tolerance for t, c in zip(tools, checks, strict=True)]
    by_degree = defaults.SG_PER_DEGREE * settings.u_celsius
    u = [math.hypot(t.fine, one, by_degree) for t, one in zip(tools, level, strict=True)]
    return list(found), u, [None] * len(u)


def _compute(readings: Sequence[Reading], settings: Settings) -> None:
    found = gravities(readings, [reading.check for reading in readings], settings)
    for reading, sg, u, brix in zip(readings, *found, strict=True):
        reading.sg, reading.u, reading.brix = sg, u, brix
        reading.effects = shared.effects(reading, settings)


def _judge(record: Record) -> None:
    """Volumes at 20 °C, and each line against the plan of its own batch."""
    settings, lines = record.settings, record.readings
    if not lines:
        return
    typed = [understood(line.row.value("volume")) for line in lines]
    warm = [None if is_blank(volume) else settings.celsius(line.row.value("volume_temperature"))
            for volume, line in zip(typed, lines, strict=True)]  # fmt: skip
    warm = [defaults.ROOM if one is None else one for one in warm]
    volumes = CALL["VOLUME_AT"](
        [settings.marked(volume, one) for volume, one in zip(typed, warm, strict=True)],
        warm,
        20,
        [line.sg if isinstance(line.sg, float) else "" for line in lines],
    )
    verdicts = against_plan(
        [(line.sg, line.u) for line in lines],
        [line.batch.gravity.get(line.stage) if line.batch else "" for line in lines],
        [line.batch.tolerance if line.batch else "" for line in lines],
        settings,
    )
    full = [line.batch.volume.get(line.stage) if line.batch else "" for line in lines]
    volume_verdicts = CALL["TARGET_CHECK"](
        volumes,
        full,
        [_volume_tolerance(line.batch, target, settings)
         for line, target in zip(lines, full, strict=True)],
        [settings.u_volume * one if isinstance(one, float) else "" for one in volumes],
    )  # fmt: skip
    for line, volume, verdict, of_volume in zip(
        lines, volumes, verdicts, volume_verdicts, strict=True
    ):
        line.volume = None if volume == "" else volume
        line.verdict = verdict
        line.volume_verdict = sys.intern(str(of_volume))


def against_plan(
    measured: Sequence[tuple[Any, Any]],
    wanted: Sequence[Any],
    tolerances: Sequence[Any],
    settings: Settings,
) -> list[str]:
    """What is said of gravities in SG with their uncertainty, judged in the unit of Setup.

    Blank where nothing was measured or planned; a refusal passes on.
    """
    # A gravity and the same with its ± there: their difference is its ± in that unit.
    pairs: Any = [
        [sg, "" if u is None or not isinstance(sg, float) else sg + 2 * u] for sg, u in measured
    ]
    if settings.gravity != "SG":
        pairs = CALL["GRAVITY_CONVERT"](pairs, "SG", "Plato")
    verdicts = CALL["TARGET_CHECK"](
        [one for one, _ in pairs],
        list(wanted),
        list(tolerances),
        [(more - one) / 2 if is_number(one) and is_number(more) else "" for one, more in pairs],
    )
    return [sys.intern(str(verdict)) for verdict in verdicts]


def _volume_tolerance(batch: Batch | None, target: Any, settings: Settings) -> Any:
    if batch is None or not is_number(target):
        return ""
    if batch.tolerance_volume is None:
        return defaults.TOLERANCE_VOLUME * target
    return batch.tolerance_volume
