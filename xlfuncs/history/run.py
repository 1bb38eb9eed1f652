"""Batches, instruments and own factors out of many workbooks; what is broken is named."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from xlfuncs.audit import record, year
from xlfuncs.audit.entries import Entries
from xlfuncs.audit.record import Record
from xlfuncs.audit.typed import is_number
from xlfuncs.files import problems
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.history.batches import Brewed, Measured, brewed
from xlfuncs.history.instruments import Moved, moved
from xlfuncs.workbook import words


@dataclass(frozen=True)
class Factors:
    """The factors that a workbook has fitted to its own pairs."""

    file: str
    until: float | None  # the last reading in it
    wort: Measured | None
    beer: Measured | None
    alcohol: float | None
    used: float  # the wort factor in use


@dataclass(frozen=True)
class Tally:
    """How often a stage was on target, and how often missed."""

    stage: str
    on_target: int
    low: int
    high: int
    close: int  # too close to call
    miss: float | None  # mean of measured less planned, SG

    @property
    def judged(self) -> int:
        """How many batches had a plan and a reading."""
        return self.on_target + self.low + self.high + self.close


@dataclass
class History:
    """What some workbooks say together."""

    files: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)  # a sentence each
    batches: list[Brewed] = field(default_factory=list)  # in the order of their days
    instruments: list[Moved] = field(default_factory=list)
    factors: list[Factors] = field(default_factory=list)  # in the order of time
    repeated: int = 0  # readings that stand in an earlier file too, where they count

    @property
    def plato(self) -> bool:
        """Whether every workbook is in °Plato, so that gravities are shown in it."""
        return bool(self.batches) and all(one.plato for one in self.batches)

    @property
    def stages(self) -> list[Tally]:
        """Hits and misses of the stages that were judged."""
        found = [_tally(stage, self.batches) for stage in words.PLANNED]
        return [one for one in found if one.judged]


def read(paths: Iterable[Path]) -> History:
    """The history in some files; of each no more is kept than its record."""
    history, records = History(), list[Record]()
    for path in paths:
        try:
            book = record.typed(problems.read(path))
            found = record.understood(book)
            factors = _factors(book, found)
        except WorkbookProblem as problem:
            history.broken.append(f"{path}: {problem}")
            continue
        except Exception as error:  # a fault of ours in one file must not hide the others
            history.broken.append(
                f"{path}: reading it broke off ({type(error).__name__}: {error}): a fault of "
                "xlfuncs, not of yours; please report it"
            )
            continue
        records.append(found)
        history.files.append(str(path))
        history.factors += [factors] if factors else []
    whole = year.join(records)
    history.batches = sorted(map(brewed, whole.brews), key=lambda one: one.order)
    history.instruments = [moved(piece) for piece in whole.pieces]
    history.factors.sort(key=lambda one: one.until or 0.0)
    history.repeated = sum(len(one.repeated) for one in records)
    return history


def _factors(book: Entries, found: Record) -> Factors | None:
    """Own factors as the file has them computed and stored."""

    def cell(name: str) -> float | None:
        value = book.cell(name)
        return float(value) if is_number(value) else None

    def measured(name: str, u: str) -> Measured | None:
        value, its_u = cell(name), cell(u)
        return None if value is None else Measured(value, None if its_u is None else 2 * its_u)

    wort = measured("own_wort_factor", "own_u_wort_factor")
    beer = measured("own_beer_wort_factor", "own_beer_u_wort_factor")
    if wort is None and beer is None:
        return None
    days = [reading.when for reading in found.readings if reading.when is not None]
    return Factors(found.file, max(days, default=None), wort, beer, cell("own_alcohol_factor"),
                   found.settings.wort_factor)  # fmt: skip


def _tally(stage: str, batches: Iterable[Brewed]) -> Tally:
    some = [one.stages[stage] for one in batches]
    verdicts = [one.verdict.removeprefix("probably ") for one in some if one.verdict]
    misses = [
        one.gravity.value - one.planned for one in some if one.gravity and one.planned is not None
    ]
    return Tally(
        stage,
        verdicts.count("on target"),
        verdicts.count("low"),
        verdicts.count("high"),
        verdicts.count("too close to call"),
        sum(misses) / len(misses) if misses else None,
    )
