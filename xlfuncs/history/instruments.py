"""How each instrument moved over the years, from its checks in all files."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from xlfuncs.audit.setup import Piece
from xlfuncs.history.batches import Measured
from xlfuncs.science import drift

#: Drift is said for so many days, as on Calibration.
DAYS = 30


@dataclass(frozen=True)
class Checked:
    """One check: its day, the offset found and its ±."""

    when: float
    offset: Measured
    as_left: bool


@dataclass(frozen=True)
class Moved:
    """One instrument: its checks in order, and what they say of its drift."""

    name: str
    identity: str
    kind: str
    unit: str
    joined_by: str  # what tells that lines of several files are one instrument
    files: list[str]
    tolerance: float
    checks: list[Checked]
    drift: Measured | None  # of the offset in 30 days, free of adjustments
    readings: int

    @property
    def outside(self) -> int:
        """How many checks found it outside its tolerance."""
        limit = self.tolerance * (1 + 1e-9)
        return sum(abs(one.offset.value) > limit for one in self.checks if not one.as_left)

    @property
    def adjusted(self) -> int:
        """How often it was adjusted."""
        return sum(one.as_left for one in self.checks)


def moved(piece: Piece) -> Moved:
    """What the checks of an instrument say, whatever files they stand in."""
    last = piece.lines[-1]
    checks = [
        Checked(one.when, Measured(one.offset, 2 * float(one.sure.level)), one.as_left)
        for one in piece.checks
    ]
    marks = [line.identity for line in piece.lines if line.identity]
    files = list(dict.fromkeys(line.cell.file for line in piece.lines))
    return Moved(
        last.name,
        marks[-1] if marks else "",
        last.kind,
        last.unit,
        "" if len(files) == 1 else "mark" if marks else "name",
        files,
        last.tolerance,
        checks,
        _drift(checks),
        len(piece.readings),
    )


def _drift(checks: list[Checked]) -> Measured | None:
    if not checks or any(not one.offset.expanded for one in checks):
        return None
    days, offsets, expanded, left = np.array(
        [(one.when, one.offset.value, one.offset.expanded, one.as_left) for one in checks]
    ).T
    per_day, u = drift.slope(days, offsets, expanded / 2, np.cumsum(left))
    return None if math.isnan(per_day) else Measured(DAYS * per_day, 2 * DAYS * u)


def known(found: Moved) -> str:
    """How an instrument is called in a table."""
    return f"{found.name} ({found.identity})" if found.identity else found.name
