"""The files of a year as one record: one instrument, one batch, one reading, wherever they stand.

An instrument is known by its mark, one without a mark by its name; a batch by its name and its brew
day.  Nothing is joined across files that name different breweries.  Each line keeps the settings of
its own file: units, wort factor, tolerances.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from xlfuncs.audit import gravities
from xlfuncs.audit.record import Brew, Reading, Record
from xlfuncs.audit.setup import Batch, Check, Instrument, Piece
from xlfuncs.audit.typed import is_number, plain

#: Brew days this near are of one brew: a brew may pass midnight, or reach the fermenter next day.
SAME_BREW_DAYS = 2
#: Beer without a brew day of its own is of the last batch of its name within a year.
LONGEST_DAYS = 366


@dataclass
class Year:
    """All that was typed into some files, joined."""

    records: list[Record]
    houses: list[str] = field(default_factory=list)  # the brewery of each, by plain name
    breweries: dict[str, str] = field(default_factory=dict)  # as first spelt, by plain name
    pieces: list[Piece] = field(default_factory=list)
    brews: list[Brew] = field(default_factory=list)


def join(records: Sequence[Record]) -> Year:
    """Join the records of files, in their order, and compute anew what that changes."""
    year = Year(list(records))
    for place, record in enumerate(records):
        record.place = place
        if record.brewery:
            year.breweries.setdefault(plain(record.brewery), record.brewery)
    houses = year.houses = [_house(year, record) for record in records]
    year.pieces = _pieces(records, houses)
    for record in records:
        for reading in record.readings:
            if reading.brew:
                reading.brew.readings = []  # which would keep those that are set apart
    _set_apart_repeated(records)
    year.brews, spread = _brews(records, houses)
    changed = [r for r in records if _in_force(r) or r.repeated or r in spread]
    for record in changed:
        for reading in record.readings:
            reading.alone = reading.by_its_file
    gravities.compute(changed)
    for record in records:
        for reading in record.readings:
            if reading.instrument and reading.when is not None:
                reading.instrument.piece.readings.append(reading)
    for piece in year.pieces:
        piece.readings.sort(key=lambda reading: reading.order)
    return year


def _house(year: Year, record: Record) -> str:
    """The brewery of a file; where only one is named, that of a file which names none too."""
    if record.brewery or len(year.breweries) != 1:
        return plain(record.brewery)
    return next(iter(year.breweries))


# --- instruments ------------------------------


def _pieces(records: Sequence[Record], houses: Sequence[str]) -> list[Piece]:
    """The instruments with the checks of all files."""
    marks: dict[tuple[str, str, str], dict[str, None]] = {}
    lines = [(house, line) for record, house in zip(records, houses, strict=True)
             for line in record.instruments]  # fmt: skip
    for house, line in lines:
        if line.mark:
            marks.setdefault((house, line.kind, plain(line.name)), {})[line.mark] = None
    pieces: dict[tuple[str, ...], Piece] = {}
    for house, line in lines:
        known = list(marks.get((house, line.kind, plain(line.name)), ()))
        mark = line.mark or (known[0] if len(known) == 1 else "")
        known_by = ("mark", mark) if mark else ("name", plain(line.name))
        piece = pieces.setdefault((house, line.kind, *known_by), Piece([]))
        piece.lines.append(line)
        line.piece = piece
    typed = [check for record in records for check in record.checks]
    for check in sorted(typed, key=lambda check: check.order):
        kept = check.tool.piece.checks
        same = next((one for one in _of_that_moment(kept, check.order) if one.same(check)), None)
        if same:
            same.also += 1
        else:
            kept.append(check)
    return list(pieces.values())


def _of_that_moment(checks: Sequence[Check], order: float) -> Iterator[Check]:
    for check in reversed(checks):
        if check.order != order:
            return
        yield check


class Joined(NamedTuple):
    """A line of Setup that is, or is not, one instrument with a line of an earlier file."""

    line: Instrument
    other: Instrument


def renamed(piece: Piece) -> Iterator[Joined]:
    """Lines of an instrument under another name than its first one."""
    first = piece.lines[0]
    for line in piece.lines[1:]:
        if plain(line.name) != plain(first.name):
            yield Joined(line, first)


def apart(year: Year) -> Iterator[Joined]:
    """Lines with the name or the mark of an instrument that they are not."""
    first: dict[tuple[str, ...], Instrument] = {}
    for record, house in zip(year.records, year.houses, strict=True):
        for line in record.instruments:
            keys = [(house, "name", plain(line.name))]
            keys += [(house, "mark", line.mark)] if line.mark else []
            others = [first.setdefault(key, line) for key in keys]
            other = next((one for one in others if one.piece is not line.piece), None)
            if other:
                yield Joined(line, other)


def _in_force(record: Record) -> bool:
    """Give each reading the check that is in force in the year; whether any is another one."""
    moved = False
    for reading in record.readings:
        tool, when = reading.instrument, reading.when
        check = tool.piece.in_force(when) if tool and when is not None else None
        moved = moved or check is not reading.check
        reading.check = check
    return moved


# --- readings that stand in two files ------------------------------


def _set_apart_repeated(records: Sequence[Record]) -> None:
    """Readings that stand in an earlier file too count there.

    One that stands twice in one file is a second drop: it is repeated when the other file has both.
    """
    first: dict[int, tuple[Reading, ...]] = {}  # by their hash, which takes little memory
    for record in records:
        here: Counter[int] = Counter()
        kept = []
        for reading in record.readings:
            what = _what(reading)
            key = hash(what)
            same = [one for one in first.get(key, ()) if what and _what(one) == what]
            earlier = [one for one in same if one.record is not record]
            if here[key] < len(earlier):
                record.repeated.append((reading.cell, earlier[here[key]].cell))
            else:
                kept.append(reading)
                if what:
                    first[key] = (*first.get(key, ()), reading)
            here[key] += 1
        record.readings = kept


def _what(reading: Reading) -> tuple[object, ...] | None:
    """What makes two lines one reading; None of a line without a date."""
    if reading.when is None:
        return None
    shown, row = reading.shown, reading.row
    warm = reading.celsius
    return (
        id(reading.instrument.piece) if reading.instrument else None,
        plain(row.value("batch")),
        reading.stage,
        round(reading.when * 1440),
        shown if is_number(shown) else plain(shown),
        round(warm, 3) if isinstance(warm, float) else warm,
        row.value("volume"),
    )


# --- batches ------------------------------


class _Part(NamedTuple):
    """What one file has of a batch."""

    day: float  # NaN where neither a brew day nor wort says it
    read: float  # when, in the middle of its readings, which one mistyped date does not move
    record: Record
    batch: Batch | None
    readings: list[Reading]


def _brews(records: Sequence[Record], houses: Sequence[str]) -> tuple[list[Brew], set[Record]]:
    """The batches of all files, and the files that have one in common with another."""
    named: dict[tuple[str, str], list[_Part]] = {}
    for record, house in zip(records, houses, strict=True):
        for key, part in _parts(record):
            named.setdefault((house, key), []).append(part)
    brews, spread = [], set()
    for parts in named.values():
        for group in _of_one_day(parts):
            if all(part.batch is None for part in group):
                continue
            lines = [part.batch for part in group if part.batch]
            brew = Brew(lines[0].name, lines)
            for part in group:
                brew.readings += part.readings
                for reading in part.readings:
                    reading.brew = brew
            brews.append(brew)
            if len(group) > 1:
                spread |= {part.record for part in group}
    return brews, spread


def _parts(record: Record) -> Iterator[tuple[str, _Part]]:
    """The batches that a file has readings of; their names may stand on another file's sheet."""
    of: dict[str, list[Reading]] = {}
    for reading in record.readings:
        of.setdefault(plain(reading.row.value("batch")), []).append(reading)
    for key, readings in of.items():
        if not key:
            continue
        batch = readings[0].batch
        dated = [(r.when, r.fermented) for r in readings if r.when is not None]
        wort = [when for when, fermented in dated if not fermented]
        day = batch.day if batch and batch.day is not None else _middle(wort)
        read = _middle([when for when, _ in dated])
        yield key, _Part(math.floor(day) if day == day else day, read, record, batch, readings)


def _middle(moments: Sequence[float]) -> float:
    return statistics.median_low(moments) if moments else math.nan


def _of_one_day(parts: Sequence[_Part]) -> list[list[_Part]]:
    """Parts of one name, brew by brew."""
    groups: list[list[_Part]] = []
    for part in sorted((p for p in parts if not math.isnan(p.day)), key=lambda p: p.day):
        if groups and part.day - groups[-1][0].day <= SAME_BREW_DAYS:
            groups[-1].append(part)
        else:
            groups.append([part])
    days = [group[0].day for group in groups]
    without: list[_Part] = []
    for part in parts:
        if math.isnan(part.day):
            near = [group for group, day in zip(groups, days, strict=True)
                    if -1 <= part.read - day <= LONGEST_DAYS]  # fmt: skip
            (near[-1] if near else without).append(part)
    return groups + ([without] if without else [])
