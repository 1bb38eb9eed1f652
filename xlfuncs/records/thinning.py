"""Many readings of one instrument brought down to the median of each hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

#: So much of a second is what reckoning with days leaves: a full hour begins its own hour.
_HAIR = 1e-4 / 24


@dataclass(frozen=True)
class Thinned:
    """One line for each hour: the place of its first reading, how many, and their medians."""

    first: Places
    count: Places
    moment: Floats
    medians: Mapping[str, Floats]


def hour_of(moments: Floats, hours: float = 1.0) -> Places:
    """The number of the hour, or stretch of so many hours, in which each moment (days) lies."""
    return np.floor((moments + _HAIR) * 24 / hours).astype(np.int64)


def thinned(series: Places, moments: Floats, values: Mapping[str, Floats], hours: float) -> Thinned:
    """The medians of each series (numbered from 0) in each stretch of hours, in order of time.

    - `series`: which series each reading belongs to, whole numbers from 0
    - `moments`: their times, days
    - `values`: what was read, NaN where nothing was; a stretch without a value gives NaN
    - `hours`: length of a stretch, h

    The median stands against single readings that are far off, as bubbles and yeast give them.
    """
    hour = hour_of(moments, hours)
    stretches = int(np.max(hour, initial=0)) + 1
    together = series * stretches + hour
    keys, first, group, count = np.unique(
        together, return_index=True, return_inverse=True, return_counts=True
    )
    medians = {key: _medians(group, column, keys.size) for key, column in values.items()}
    return Thinned(first, count, _medians(group, moments, keys.size), medians)


def _medians(group: Places, values: Floats, groups: int) -> Floats:
    """The median of each group, without NaN; NaN for a group that has nothing else."""
    there = ~np.isnan(values)
    group, values = group[there], values[there]
    order = np.lexsort((values, group))
    group, values = group[order], values[order]
    count = np.bincount(group, minlength=groups)
    start = np.concatenate(([0], np.cumsum(count)[:-1]))
    found = np.full(groups, np.nan)
    some = count > 0
    low, high = (start + (count - 1) // 2)[some], (start + count // 2)[some]
    found[some] = (values[low] + values[high]) / 2
    return found
