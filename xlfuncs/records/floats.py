"""Readings of floating hydrometers, which come by the thousand: one line of the log for an hour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from xlfuncs.audit.typed import plain
from xlfuncs.records.book import Book, Entered
from xlfuncs.records.plans import Line
from xlfuncs.records.thinning import Floats, Places, hour_of, thinned
from xlfuncs.workbook import words

#: What is read, and brought down to its median.
_READ = ("reading", "temperature", "volume", "volume_temperature", "ph")
_NAMES = ("batch", "stage", "instrument")
#: What a note keeps of those of many readings.
_NOTE_LENGTH = 200

Columns = Mapping[str, Sequence[Any]]
#: Batch, stage and floating hydrometer.
Series = tuple[str, str, str]


@dataclass(frozen=True)
class _Readings:
    """Readings that may be thinned: their places in the file, series, moments, stretches."""

    places: Places
    series: Places
    moments: Floats
    stretch: Places

    def where(self, chosen: npt.NDArray[np.bool_]) -> _Readings:
        """Some of them."""
        return _Readings(
            self.places[chosen], self.series[chosen], self.moments[chosen], self.stretch[chosen]
        )


def thin(
    book: Book, columns: Columns, numbers: Sequence[int], alive: Sequence[int], hours: float
) -> tuple[list[Line], list[int], list[str]]:
    """Lines of medians, the places of readings that are left as they are, and what to tell of it.

    A series is what one floating hydrometer read of one batch at one stage.  It is thinned if it
    has more than one reading in some stretch of `hours`.
    """
    nothing = [None] * len(numbers)
    columns = {**dict.fromkeys((*_NAMES, "reading", "date", "note"), nothing), **columns}
    names, codes = _series(book, columns)
    some = _dense(_readings(columns, codes, alive, hours))
    if not some.places.size:
        return [], list(alive), []
    read = {name: _floats(columns[name], some.places) for name in _READ if name in columns}
    found = thinned(some.series, some.moments, read, hours)
    notes = _notes(columns["note"], some)
    lines = []
    for row, first in enumerate(found.first.tolist()):
        one, stretch = int(some.series[first]), int(some.stretch[first])
        entry: Entered = dict(zip((f"log_{name}" for name in _NAMES), names[one], strict=True))
        entry["log_date"] = round(float(found.moment[row]) * 1440) / 1440
        for name, medians in found.medians.items():
            if not np.isnan(medians[row]):
                entry[f"log_{name}"] = _digits(float(medians[row]))
        count = int(found.count[row])
        told = [f"median of {count} readings"] if count > 1 else []
        if note := "; ".join([*told, *notes.get((one, stretch), [])])[:_NOTE_LENGTH]:
            entry["log_note"] = note
        key = (*map(plain, names[one]), stretch, hours)
        lines.append(Line((numbers[int(some.places[first])],), entry, key))
    gone = set(some.places.tolist())
    return lines, [place for place in alive if place not in gone], _told(names, some, hours)


def _series(book: Book, columns: Columns) -> tuple[list[Series], list[int]]:
    """The series, and the number of its series for each line; -1 for other instruments."""
    named = [columns[name] for name in _NAMES]
    alike = all(len(set(column)) == 1 for column in named)
    together = [tuple(column[0] for column in named)] if alike else list(zip(*named, strict=True))
    names: dict[Series, int] = {}
    codes = dict.fromkeys(together, -1)
    for batch, stage, instrument in codes:
        tool = book.tool(instrument or "")
        if tool is not None and tool.kind == words.FLOATING and batch and stage:
            series = names.setdefault((batch, stage, tool.name), len(names))
            codes[batch, stage, instrument] = series
    found = [codes[key] for key in together]
    return list(names), found * len(named[0]) if alike else found


def _readings(
    columns: Columns, codes: Sequence[int], alive: Sequence[int], hours: float
) -> _Readings:
    """The readings of series that have a date and a gravity."""
    series = np.array([codes[place] for place in alive], dtype=np.int64)
    places = np.array(alive, dtype=np.int64)[series >= 0]
    moments, gravities = _floats(columns["date"], places), _floats(columns["reading"], places)
    usable = ~(np.isnan(moments) | np.isnan(gravities))
    stretch = hour_of(np.where(usable, moments, 0.0), hours)
    return _Readings(places, series[series >= 0], moments, stretch).where(usable)


def _dense(some: _Readings) -> _Readings:
    """Those of series with several readings in some stretch."""
    _, first, count = np.unique(
        np.stack([some.series, some.stretch]), axis=1, return_index=True, return_counts=True
    )
    return some.where(np.isin(some.series, some.series[first[count > 1]]))


def _floats(column: Sequence[Any], places: Places) -> Floats:
    if places.size == len(column):
        return np.array(column, dtype=float)
    return np.array([column[place] for place in places.tolist()], dtype=float)


def _notes(column: Sequence[Any], some: _Readings) -> dict[tuple[int, int], list[str]]:
    """The different notes of each stretch of a series."""
    found: dict[tuple[int, int], list[str]] = {}
    for i, place in enumerate(some.places.tolist() if any(column) else ()):
        if column[place]:
            notes = found.setdefault((int(some.series[i]), int(some.stretch[i])), [])
            if column[place] not in notes:
                notes.append(column[place])
    return found


def _told(names: Sequence[Series], some: _Readings, hours: float) -> list[str]:
    length = "hour" if hours == 1 else f"{hours:g} hours"
    return [
        f"{names[one][2]}, batch {names[one][0]}: {size:,} readings are thinned to the median of "
        f"each {length}"
        for one, size in enumerate(np.bincount(some.series, minlength=len(names)).tolist())
        if size
    ]


def _digits(value: float) -> float:
    """Without what a mean of two leaves behind the digits."""
    return float(f"{value:.10g}")
