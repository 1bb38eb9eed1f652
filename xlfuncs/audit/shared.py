"""What readings share: an instrument and its check, the wort factor, one wort read again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from xlfuncs.audit.setup import Settings
from xlfuncs.audit.typed import is_number
from xlfuncs.science import budget, repeats, sucrose
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, slopes, words

if TYPE_CHECKING:
    from xlfuncs.audit.record import Reading, Record


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


def share(record: Record, reading: Reading) -> None:
    """Take out of a beer's u what its original gravity shares with it."""
    first = record.of_stage(reading.batch, words.INTO_FERMENTER) if reading.batch else []
    now, original = reading.effects, reading.original and reading.original[0]
    if not first or now is None or reading.u is None or not isinstance(original, float):
        return
    start, then = first[-1], first[-1].effects
    if then is None or not isinstance(reading.brix, float):
        return
    shared: Any = 0.0
    if start.instrument is reading.instrument and start.check is reading.check:
        shared += then.level * now.level + then.tilt * now.tilt
    if not record.settings.own_beer_factor:
        shared += then.factor * now.factor
    rise = slopes.BEER_BY_ORIGINAL(b=reading.brix, x=original - 1)
    reading.u = math.sqrt(abs(reading.u**2 + 2 * rise * shared))


def take_together(readings: Sequence[Reading]) -> None:
    """The mean of readings of one wort: one batch, stage and instrument within half an hour."""
    near: dict[tuple[int, str, int], list[Reading]] = {}
    for reading in readings:
        if isinstance(reading.sg, float):
            reading.mean, reading.u_mean = reading.sg, reading.u
            if reading.batch and reading.instrument and reading.when is not None:
                key = id(reading.batch), reading.stage, id(reading.instrument)
                near.setdefault(key, []).append(reading)
    for reading, some_near in ((one, some) for some in near.values() for one in some):
        group = [other for other in some_near if _of_one_wort(reading, other)]
        if len(group) < 2 or reading.effects is None or reading.u is None:
            continue
        some = np.array([other.sg for other in group], dtype=float)
        together = repeats.taken_together(some, abs(float(reading.effects.own)))
        reading.mean, reading.mean_of = together.mean, together.readings
        reading.u_mean = together.u(reading.u, abs(float(reading.effects.own)))
        reading.far = together.far is not None and group[together.far] is reading


def _of_one_wort(one: Reading, other: Reading) -> bool:
    """Whether two readings of a batch, stage and instrument are of one wort, as in the log."""
    if one.when is None or other.when is None:
        return False
    if abs(one.when - other.when) > defaults.TOGETHER_DAYS:
        return False
    runs = one.stage in (words.RUNOFF_STAGE, words.DURING_BOIL)
    if not runs and one.stage != words.FERMENTING:
        return True
    # What moves needs a time, and one volume.
    volumes = [r.row["volume"].value for r in (one, other)]
    volumes = [value if is_number(value) else None for value in volumes]
    timed = one.when != int(one.when) and other.when != int(other.when)
    return timed and volumes[0] == volumes[1] and not (runs and volumes[0] is None)
