"""A workbook's record as an audit sees it: instruments, checks in order, readings with gravity.

Gravities and verdicts are computed anew by the cell functions themselves, with the calibration in
force; the sheet's own steps are not used.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from xlfuncs.audit import checks, entries, gravities, setup
from xlfuncs.audit.checks import Refused
from xlfuncs.audit.entries import Cell, Entries, Line
from xlfuncs.audit.setup import Batch, Check, Instrument, Settings
from xlfuncs.audit.typed import given, moment, name, plain
from xlfuncs.cells.values import is_blank
from xlfuncs.files.problems import Source
from xlfuncs.science import budget
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
NUMBERS = (*defaults.NUMBERS, *(f"check_known_{i}" for i in (2, 3)), *defaults.PLANS)


class Alone(NamedTuple):
    """What the entries of its own file alone make of a reading."""

    sg: float | str | None
    verdict: str
    volume_verdict: str


@dataclass(slots=True, eq=False)
class Reading:
    """One line of the log, with the gravity and the verdicts that it gives today."""

    record: Record
    row: Line
    when: float | None
    batch: Batch | None
    brew: Brew | None
    stage: str
    instrument: Instrument | None
    shown: Any
    celsius: float | str | None
    check: Check | None
    start: Reading | None = None  # of its beer: what went into the fermenter
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
    alone: Alone | None = None  # where other files of the year change it

    @property
    def cell(self) -> Cell:
        """The cell that a finding points at."""
        return self.row["reading"]

    @property
    def fermented(self) -> bool:
        """Whether yeast has been at work on the sample."""
        return self.stage in (words.FERMENTING, words.PACKAGED)

    @property
    def through_beer(self) -> bool:
        """Whether it needs the correction for alcohol."""
        return bool(self.fermented and self.instrument and self.instrument.refracts)

    @property
    def order(self) -> tuple[float, int, int]:
        """Its place in time, as the sheet orders the log; without a date first."""
        return (self.when or 0.0, self.record.place, self.row.number)

    @property
    def by_its_file(self) -> Alone:
        """What the entries of its own file alone make of it."""
        return self.alone or Alone(self.sg, self.verdict, self.volume_verdict)


@dataclass(slots=True, eq=False)
class Brew:
    """One batch as it was brewed, whatever lines of Batches speak of it."""

    name: str
    lines: list[Batch]
    readings: list[Reading] = field(default_factory=list)

    def of_stage(self, *stages: str) -> list[Reading]:
        """Its readings at some stages that give a gravity, in the order of time."""
        some = [r for r in self.readings if r.stage in stages and isinstance(r.sg, float)]
        return sorted(some, key=lambda reading: reading.order)


@dataclass(slots=True, eq=False)
class Record:
    """All that was typed into one file, understood as far as it can be."""

    file: str
    brewery: str
    settings: Settings
    instruments: list[Instrument]
    batches: list[Batch]
    checks: list[Check]
    refused: Refused
    place: int = 0  # among the files of the year
    lost: Mapping[str, frozenset[int]] = field(default_factory=dict)  # lines by what is lost there
    readings: list[Reading] = field(default_factory=list)
    repeated: list[tuple[Cell, Cell]] = field(default_factory=list)  # here, and where it counts


def typed(source: Path | Source) -> Entries:
    """What was typed into a workbook; raises `WorkbookProblem` for one that cannot be read."""
    shown = [f"log_{key}" for key in SHOWN]
    needed = [column for column in TYPED if column not in setup.LATER]
    return entries.read(source, (*TYPED, *shown, *setup.OWN, *BELOW), needed)


def read(path: Path) -> Record:
    """The record of a workbook by itself; raises as `typed` does."""
    return understood(typed(path))


def understood(book: Entries, place: int = 0) -> Record:
    """The record that the entries of a workbook are, by themselves."""
    settings = setup.settings(book)
    tools = setup.instruments(book, settings)
    batches = list(setup.batches(book, settings))
    fitted, refused = checks.add(book, tools, settings)
    brewery = name(book.cell("brewery"))
    lost = {key: book.lost(f"log_{key}") for key in SHOWN}
    record = Record(book.file, brewery, settings, tools, batches, fitted, refused, place, lost)
    _add_log(record, book)
    for reading in record.readings:
        if reading.brew:
            reading.brew.readings.append(reading)
    gravities.compute([record])
    return record


def _add_log(record: Record, book: Entries) -> None:
    batches = {plain(batch.name): batch for batch in reversed(record.batches)}
    brews = {key: Brew(batch.name, [batch]) for key, batch in batches.items()}
    for row in book.rows("log", (*LOG, *SHOWN)):
        if is_blank(row.value("reading")) and is_blank(row.value("volume")):
            continue
        key = plain(row.value("batch"))
        batch = batches.get(key)
        stage = sys.intern(plain(row.value("stage")))
        when = moment(row.value("date"))
        fermented = stage in (words.FERMENTING, words.PACKAGED)
        if when is None and is_blank(row.value("date")) and batch and not fermented:
            when = batch.day
        shown = given(row.value("reading"))
        tool = None if is_blank(shown) else checks.named(record.instruments, row["instrument"])
        record.readings.append(
            Reading(
                record,
                row,
                when,
                batch,
                brews.get(key),
                stage,
                tool,
                shown,
                record.settings.celsius(row.value("temperature")),
                tool.piece.in_force(when) if tool and when is not None else None,
            )
        )
