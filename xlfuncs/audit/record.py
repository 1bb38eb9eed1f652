"""A workbook's record as an audit sees it: instruments, checks in order, readings with gravity.

Gravities and verdicts are computed anew by the cell functions themselves, with the calibration in
force; the sheet's own steps are not used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from xlfuncs.audit import checks, entries, setup, shared
from xlfuncs.audit.entries import Cell, Entries
from xlfuncs.audit.setup import CALL, Batch, Check, Instrument, Settings
from xlfuncs.audit.typed import given, is_number, moment, plain
from xlfuncs.cells.values import is_blank
from xlfuncs.science import budget
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, words

LOG = ("date", "batch", "stage", "instrument", "reading", "temperature", "volume",
       "volume_temperature", "ph", "leave", "note")  # fmt: skip
#: What the log shows as computed.
SHOWN = ("sg", "verdict", "volume_verdict")
BELOW = ("check_below", "batch_below", "log_below")
#: What a person types.
TYPED = (
    *(f"inst_{key}" for key in setup.INSTRUMENT),
    *(f"check_{key}" for key in checks.CHECK),
    *(f"batch_{key}" for key in setup.BATCH),
    *(f"log_{key}" for key in LOG),
    *setup.SETTINGS,
)
#: Where a text counts as blank, as on the sheets.
NUMBERS = (
    *(f"inst_{key}" for key in ("division", "fine", "tolerated", "interval")),
    *(f"check_known_{i}" for i in (2, 3)),
    *(f"batch_{key}" for key in ("grain", "potential", "minutes", "tolerance", "tolerance_volume")),
    *(name for name in setup.SETTINGS if name.startswith("set_") and name not in setup.WORDS),
)


@dataclass
class Reading:
    """One line of the log, with the gravity and the verdicts that it gives today."""

    cell: Cell
    row: Mapping[str, Cell]
    when: float | None
    batch: Batch | None
    stage: str
    instrument: Instrument | None
    shown: Any
    celsius: float | str | None
    check: Check | None
    original: tuple[Any, Any] | None = None  # of its beer: SG and its standard uncertainty
    sg: float | str | None = None
    u: float | None = None
    brix: float | None = None  # true, of a refractometer
    effects: budget.Effects | None = None  # of its u, what others share with its sign
    mean: float | None = None  # of the readings of this wort, a drop at a time
    u_mean: float | None = None
    mean_of: int = 1
    far: bool = False  # from the other readings of this wort
    volume: float | str | None = None  # at 20 °C, in the unit of the workbook
    verdict: str = ""
    volume_verdict: str = ""

    @property
    def fermented(self) -> bool:
        """Whether yeast has been at work on the sample."""
        return self.stage in (words.FERMENTING, words.PACKAGED)

    @property
    def through_beer(self) -> bool:
        """Whether it needs the correction for alcohol."""
        return bool(self.fermented and self.instrument and self.instrument.refracts)

    @property
    def order(self) -> tuple[float, int]:
        """Its place in time, as the sheet orders the log; without a date first."""
        return (self.when or 0.0, int("".join(filter(str.isdigit, self.cell.address)) or 0))


@dataclass
class Record:
    """All that was typed, understood as far as it can be."""

    entries: Entries
    settings: Settings
    instruments: list[Instrument]
    batches: list[Batch]
    refused: checks.Refused
    readings: list[Reading] = field(default_factory=list)

    def of_stage(self, batch: Batch, *stages: str) -> list[Reading]:
        """Readings of a batch at some stages that give a gravity, in the order of time."""
        some = [r for r in self.readings if r.batch is batch and r.stage in stages
                and isinstance(r.sg, float)]  # fmt: skip
        return sorted(some, key=lambda reading: reading.order)


def read(path: Path) -> Record:
    """The record of a workbook; raises `WorkbookProblem` for one that cannot be read."""
    shown = [f"log_{key}" for key in SHOWN]
    book = entries.read(path, (*TYPED, *shown, *setup.OWN, *BELOW), TYPED)
    settings = setup.settings(book)
    tools = setup.instruments(book, settings)
    record = Record(
        book,
        settings,
        tools,
        list(setup.batches(book, settings)),
        checks.add(book, tools, settings),
    )
    _add_log(record)
    return record


def _add_log(record: Record) -> None:
    batches = {plain(batch.name): batch for batch in reversed(record.batches)}
    for row in record.entries.rows("log", (*LOG, *SHOWN)):
        if is_blank(row["reading"].value) and is_blank(row["volume"].value):
            continue
        batch = batches.get(plain(row["batch"].value))
        stage = plain(row["stage"].value)
        when = moment(row["date"].value)
        fermented = stage in (words.FERMENTING, words.PACKAGED)
        if when is None and is_blank(row["date"].value) and batch and not fermented:
            when = batch.day
        shown = given(row["reading"].value)
        tool = None if is_blank(shown) else checks.named(record.instruments, row["instrument"])
        record.readings.append(
            Reading(
                row["reading"],
                row,
                when,
                batch,
                stage,
                tool,
                shown,
                record.settings.celsius(row["temperature"].value),
                tool.in_force(when) if tool and when is not None else None,
            )
        )
    _compute(record, [r for r in record.readings if not r.through_beer])
    shared.take_together([r for r in record.readings if not r.fermented])
    beers = [r for r in record.readings if r.through_beer]
    for reading in beers:
        reading.original = _original(record, reading.batch)
    _compute(record, beers)
    for reading in beers:
        shared.share(record, reading)
    shared.take_together([r for r in record.readings if r.fermented])
    _judge(record)


def _original(record: Record, batch: Batch | None) -> tuple[Any, Any] | None:
    """Original SG of a batch and its uncertainty: the latest into the fermenter, or the plan."""
    if batch is None:
        return None
    measured = record.of_stage(batch, words.INTO_FERMENTER)
    if measured:
        return measured[-1].mean, measured[-1].u_mean
    planned = batch.gravity.get(words.INTO_FERMENTER)
    if is_blank(planned):
        return None
    settings = record.settings
    sg = planned if settings.gravity == "SG" else CALL["GRAVITY_CONVERT"](planned, "Plato", "SG")
    return sg, settings.tolerance_sg / 2


def gravities(
    readings: Sequence[Reading], record: Record, checks: Sequence[Check | None]
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
        found = compute(some, theirs, record.settings)
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


def _compute(record: Record, readings: Sequence[Reading]) -> None:
    found = gravities(readings, record, [reading.check for reading in readings])
    for reading, sg, u, brix in zip(readings, *found, strict=True):
        reading.sg, reading.u, reading.brix = sg, u, brix
        reading.effects = shared.effects(reading, record.settings)


def _judge(record: Record) -> None:
    """Volumes at 20 °C, and each line against the plan of its own batch."""
    settings, lines = record.settings, record.readings
    if not lines:
        return
    typed = [given(line.row["volume"].value) for line in lines]
    warm = [None if is_blank(volume) else settings.celsius(line.row["volume_temperature"].value)
            for volume, line in zip(typed, lines, strict=True)]  # fmt: skip
    warm = [defaults.ROOM if one is None else one for one in warm]
    volumes = CALL["VOLUME_AT"](
        [settings.marked(volume, one) for volume, one in zip(typed, warm, strict=True)],
        warm,
        20,
        [line.sg if isinstance(line.sg, float) else "" for line in lines],
    )
    # A gravity and the same with its ± in the unit of Setup: their difference is its ± there.
    pairs: list[list[Any]] = [[line.sg, "" if line.u is None or not isinstance(line.sg, float)
                               else line.sg + 2 * line.u] for line in lines]  # fmt: skip
    scaled = pairs if settings.gravity == "SG" else CALL["GRAVITY_CONVERT"](pairs, "SG", "Plato")
    wanted = [line.batch.gravity.get(line.stage) if line.batch else "" for line in lines]
    full = [line.batch.volume.get(line.stage) if line.batch else "" for line in lines]
    verdicts = CALL["TARGET_CHECK"](
        [one for one, _ in scaled],
        wanted,
        [line.batch.tolerance if line.batch else "" for line in lines],
        [(more - one) / 2 if is_number(one) and is_number(more) else "" for one, more in scaled],
    )
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
        line.verdict, line.volume_verdict = str(verdict), str(of_volume)


def _volume_tolerance(batch: Batch | None, target: Any, settings: Settings) -> Any:
    if batch is None or not is_number(target):
        return ""
    if batch.tolerance_volume is None:
        return defaults.TOLERANCE_VOLUME * target
    return batch.tolerance_volume
