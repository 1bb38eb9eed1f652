"""A batch in figures: original and last gravity, attenuation, alcohol, efficiency, its targets.

The same readings are taken as on the sheets: of each stage the latest, or the mean of those of one
wort; without a reading into the fermenter the plan stands for it.  All in SG, litres and percent,
whatever the units of the workbook.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from xlfuncs.audit.gravities import against_plan
from xlfuncs.audit.record import Brew, Reading
from xlfuncs.audit.setup import CALL, Batch, Settings
from xlfuncs.audit.typed import is_number
from xlfuncs.workbook import words


@dataclass(frozen=True)
class Measured:
    """A figure and its ± (about 95 %), None where none is known."""

    value: float
    expanded: float | None = None


@dataclass(frozen=True)
class Stage:
    """A stage of a batch against its plan: gravities in SG, volumes in litres at 20 °C."""

    planned: float | None
    gravity: Measured | None
    verdict: str
    planned_volume: float | None
    volume: float | None
    volume_verdict: str


@dataclass(frozen=True)
class Brewed:
    """One batch that was brewed."""

    files: list[str]
    brewery: str
    name: str
    day: float | None
    original: Measured | None
    original_planned: bool  # none was measured: it is that of the plan
    last: Measured | None
    packaged: bool  # the last gravity is that of the packaged beer
    attenuation: float | None  # apparent, %
    alcohol: float | None  # % vol
    efficiency: Measured | None  # of the mash, %
    stages: Mapping[str, Stage]
    readings: int
    wort_factor: float
    plato: bool  # its workbook is in °Plato

    @property
    def order(self) -> tuple[float, str]:
        """Its place among the others."""
        return self.day or 0.0, self.name

    @property
    def verdicts(self) -> dict[str, str]:
        """What is said of each stage that was planned and measured."""
        return {stage: one.verdict for stage, one in self.stages.items() if one.verdict}


def brewed(brew: Brew) -> Brewed:
    """The figures of a batch, whatever files speak of it."""
    batch, house = brew.lines[0], _settings(brew)
    wort = _latest(brew, words.INTO_FERMENTER)
    planned = _sg(batch.gravity.get(words.INTO_FERMENTER), house)
    original = _measured(wort) or (None if planned is None else Measured(planned))
    packaged = _latest(brew, words.PACKAGED)
    last = _measured(packaged or _latest(brew, words.FERMENTING))
    both = (original.value, last.value) if original and last else None
    return Brewed(
        list(dict.fromkeys(reading.record.file for reading in brew.readings)),
        brew.readings[0].record.brewery,
        brew.name,
        _day(brew),
        original,
        wort is None and planned is not None,
        last,
        packaged is not None,
        _answer("APPARENT_ATTENUATION", *both) if both else None,
        _answer("BEER_ABV", *both) if both else None,
        _efficiency(brew, house),
        {stage: _stage(stage, brew, house) for stage in words.PLANNED},
        sum(isinstance(reading.sg, float) for reading in brew.readings),
        house.wort_factor,
        house.gravity == "Plato",
    )


def _settings(brew: Brew) -> Settings:
    """Those of the file whose plan counts."""
    of = (r.record for r in brew.readings if r.batch is brew.lines[0])
    return next(of, brew.readings[0].record).settings


def _day(brew: Brew) -> float | None:
    """The brew day, or the first of what was read."""
    days = [line.day for line in brew.lines if line.day is not None]
    read = [reading.when for reading in brew.readings if reading.when is not None]
    return min(days or read, default=None)


def _latest(brew: Brew, stage: str) -> Reading | None:
    """The latest reading of a stage that gives a gravity."""
    return max(brew.of_stage(stage), key=lambda one: one.order, default=None)


def _volume(brew: Brew, stage: str) -> tuple[Reading, float] | None:
    """The latest line of a stage with a volume, and its litres at 20 °C.

    It may be another than that of the gravity.
    """
    some = [one for one in brew.readings if one.stage == stage and isinstance(one.volume, float)]
    found = max(some, key=lambda one: one.order, default=None)
    litres = found.record.settings.litres if found else None
    if found is None or litres is None or not isinstance(found.volume, float):
        return None
    return found, found.volume * litres


def _measured(reading: Reading | None) -> Measured | None:
    if reading is None or reading.mean is None:
        return None
    return Measured(reading.mean, None if reading.u_mean is None else 2 * reading.u_mean)


def _answer(function: str, *arguments: Any) -> float | None:
    found = CALL[function](*arguments)
    return found if isinstance(found, float) else None


def _sg(value: Any, settings: Settings) -> float | None:
    """A planned gravity in SG, None where there is none that can be."""
    if not is_number(value):
        return None
    return _answer("GRAVITY_CONVERT", value, settings.gravity, "SG")


def _efficiency(brew: Brew, settings: Settings) -> Measured | None:
    """Percent of the grain's extract that was in the kettle, as Batches has it.

    Its ± is that of volume and gravity; the grain and its extract are taken as they are said.
    """
    kettle, full = _latest(brew, words.BEFORE_BOIL), _volume(brew, words.BEFORE_BOIL)
    extract = brew.lines[0].extract
    if kettle is None or kettle.mean is None or full is None or not extract:
        return None

    _, litres = full
    value = _answer("MASH_EFFICIENCY", litres, kettle.mean, extract, 1.0)
    if value is None or kettle.u_mean is None:
        return None if value is None else Measured(value)
    more = _answer("MASH_EFFICIENCY", litres, kettle.mean + kettle.u_mean, extract, 1.0)
    if more is None:
        return Measured(value)
    return Measured(value, 2 * math.hypot(more - value, value * settings.u_volume))


def _stage(stage: str, brew: Brew, settings: Settings) -> Stage:
    batch, reading, full = brew.lines[0], _latest(brew, stage), _volume(brew, stage)
    wanted, volume = batch.gravity.get(stage), batch.volume.get(stage)
    litres = settings.litres
    return Stage(
        _sg(wanted, settings),
        _measured(reading),
        _verdict(reading, batch, wanted, settings) if reading else "",
        volume * litres if litres and volume and is_number(volume) else None,
        full[1] if full else None,
        full[0].volume_verdict if full else "",
    )


def _verdict(reading: Reading, batch: Batch, wanted: Any, settings: Settings) -> str:
    """The mean of a stage against the plan, as on Targets."""
    if not is_number(wanted) or reading.mean is None:
        return ""
    mean = reading.mean, reading.u_mean or 0.0
    return against_plan([mean], [wanted], [batch.tolerance], settings)[0]
