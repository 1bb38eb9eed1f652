"""What readings share: an instrument and its check, the wort factor, one wort read again."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from xlfuncs.audit.setup import Piece, Settings
from xlfuncs.audit.typed import is_number, understood
from xlfuncs.science import budget, repeats, sucrose
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, slopes, words

if TYPE_CHECKING:
    from xlfuncs.audit.record import Reading


def effects(reading: Reading, settings: Settings) -> budget.Effects | None:
    """How far each source moves a gravity, as the log reckons it; `own` of its reading alone."""
    tool, check = reading.instrument, reading.check
    if tool is None or not isinstance(reading.sg, float):
        return None
    sure = check.sure if check else Calibration(tool.tolerance)
    if tool.floats:
        return budget.Effects(tool.fine, sure.level)
    brix, original = reading.brix, reading.original and reading.original[0]
    if not isinstance(brix, float):
        return None
    if isinstance(original, float):
        known = {"b": brix, "x": original - 1, "p": float(sucrose.plato(original))}
        by = slopes.BEER_BY_BRIX(**known)
        factor = slopes.BEER_BY_FACTOR(**known) * settings.beer_u_wort_factor
    else:
        plato = brix / settings.wort_factor
        by = slopes.WORT_BY_PLATO(p=plato) / settings.wort_factor
        factor = -by * plato * settings.u_wort_factor
    tilt = by * (brix - sure.centre) * sure.slope
    return budget.Effects(by * tool.fine, by * sure.level, tilt, factor)


def share(reading: Reading) -> None:
    """Take out of a beer's u what its original gravity shares with it."""
    start, now, original = reading.start, reading.effects, reading.original and reading.original[0]
    then = start.effects if start else None
    if start is None or then is None or now is None or reading.u is None:
        return
    if not isinstance(original, float) or not isinstance(reading.brix, float):
        return
    shared: Any = 0.0
    if _piece(start) is _piece(reading) and start.check is reading.check:
        shared += then.level * now.level + then.tilt * now.tilt
    if not reading.record.settings.beer_apart:
        shared += then.factor * now.factor
    rise = slopes.BEER_BY_ORIGINAL(b=reading.brix, x=original - 1)
    reading.u = math.sqrt(abs(reading.u**2 + 2 * rise * shared))


def _piece(reading: Reading) -> Piece | None:
    return reading.instrument.piece if reading.instrument else None


def take_together(readings: Sequence[Reading]) -> None:
    """The mean of readings of one wort: one batch, stage and instrument within half an hour."""
    near: dict[tuple[Any, ...], list[Reading]] = {}
    for reading in readings:
        reading.mean, reading.u_mean, reading.mean_of, reading.far = None, None, 1, False
        if isinstance(reading.sg, float):
            reading.mean, reading.u_mean = reading.sg, reading.u
            volume = _moving(reading)
            if reading.brew and reading.instrument and reading.when is not None and volume != "":
                key = id(reading.brew), reading.stage, id(reading.instrument.piece), volume
                near.setdefault(key, []).append(reading)
    for some in near.values():
        if len(some) > 1:
            _take(sorted(some, key=lambda reading: reading.order))


def _moving(reading: Reading) -> Any:
    """What else readings of one wort have in common, as in the log; "" of one that stands alone.

    What moves needs a time, and one volume.
    """
    runs = reading.stage in (words.RUNOFF_STAGE, words.DURING_BOIL)
    if not runs and reading.stage != words.FERMENTING:
        return None
    volume = understood(reading.row.value("volume"))
    volume = float(volume) if is_number(volume) else None
    timed = reading.when is not None and reading.when != int(reading.when)
    return volume if timed and not (runs and volume is None) else ""


def _take(some: Sequence[Reading]) -> None:
    """Each with the mean of those within half an hour; `some` in the order of time."""
    moments = [reading.when or 0.0 for reading in some]
    windows: dict[tuple[int, int], tuple[list[Reading], np.ndarray]] = {}
    for reading, moment in zip(some, moments, strict=True):
        first = bisect.bisect_left(moments, moment - defaults.TOGETHER_DAYS)
        last = bisect.bisect_right(moments, moment + defaults.TOGETHER_DAYS)
        if last - first < 2 or reading.effects is None or reading.u is None:
            continue
        if (first, last) not in windows:
            group = sorted(some[first:last], key=lambda r: (r.record.place, r.row.number))
            windows[first, last] = group, np.array([r.sg for r in group], dtype=float)
        group, sgs = windows[first, last]
        own = abs(float(reading.effects.own))
        together = repeats.taken_together(sgs, own)
        reading.mean, reading.mean_of = together.mean, together.readings
        reading.u_mean = together.u(reading.u, own)
        reading.far = together.far is not None and group[together.far] is reading
