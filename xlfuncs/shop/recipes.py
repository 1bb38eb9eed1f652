"""A recipe as a page needs it, and why a line of a list is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from xlfuncs.audit.setup import CALL, Settings
from xlfuncs.audit.typed import day, moment, name, positive, says
from xlfuncs.cells.values import is_blank, numbers_in, shortened
from xlfuncs.workbook import words

#: Stages at which a gravity of 1 °Plato is no slip.
_THIN = (words.RUNOFF_END, words.PACKAGED)


class Unusable(Exception):
    """A line that gives no page; the message says why."""


@dataclass(frozen=True)
class Recipe:
    """One recipe, in the units of its list."""

    line: int
    name: str
    customer: str = ""
    day: float | None = None  # serial number
    grain: float | None = None
    minutes: float | None = None
    gravity: Mapping[str, float] = field(default_factory=dict)  # by stage
    volume: Mapping[str, float] = field(default_factory=dict)
    refractometer: str = ""
    note: str = ""
    tolerance: float | None = None

    @property
    def key(self) -> tuple[str, str]:
        """What tells it from the others: one recipe may be for several customers."""
        return self.name.casefold(), self.customer.casefold()

    @property
    def title(self) -> str:
        """How a message names it."""
        whose = f" for {shortened(self.customer)}" if self.customer else ""
        return f"“{shortened(self.name)}”{whose}"

    @property
    def original(self) -> str:
        """The stage whose gravity is that before fermentation, empty where none is planned."""
        stages = (words.INTO_FERMENTER, words.AFTER_BOIL)
        return next((stage for stage in stages if stage in self.gravity), "")

    def lacks(self) -> list[str]:
        """What its page has lines for a pen instead of."""
        found = []
        if not self.gravity:
            found.append("no gravity is planned: lines to write on stand for them")
        if not self.volume:
            found.append("no volume is planned: lines to write on stand for them")
        if self.gravity and not (self.original and words.PACKAGED in self.gravity):
            what = "final gravity" if self.original else "gravity into the fermenter"
            found.append(f"no {what} is planned: the expected alcohol is left for a pen")
        return found


def of_line(line: int, row: Mapping[str, Any], settings: Settings) -> Recipe:
    """The recipe on a line; raises `Unusable` with the cell that is wrong."""
    batch = name(row.get("batch"))
    if not batch:
        raise Unusable("there is no name under “batch”")
    gravity, volume = {}, {}
    for stage in words.PLANNED:
        key = f"{words.key(stage)}_gravity"
        value = _number(row, key)
        if value is not None:
            gravity[stage] = _gravity(key, stage, value, settings)
        if (value := _number(row, f"{words.key(stage)}_volume", 0)) is not None:
            volume[stage] = value
    return Recipe(
        line,
        batch,
        name(row.get("customer")),
        _day(row.get("date")),
        _number(row, "grain", 0),
        _number(row, "boil_minutes", 0),
        gravity,
        volume,
        name(row.get("refractometer")),
        name(row.get("note")),
        positive(row.get("gravity_within"), 0.0) or None,
    )


def _gravity(key: str, stage: str, value: float, settings: Settings) -> float:
    scale = settings.gravity
    told = CALL["GRAVITY_CONVERT"](value, scale, "Plato" if scale == "SG" else "SG")
    if isinstance(told, str):
        raise Unusable(f"{key}: {told.removeprefix('! value ')}, in {scale}")
    if scale == "Plato" and stage not in _THIN and 0.98 <= value <= 1.206:
        raise Unusable(f"{key}: {says(value)} is a gravity in SG, and the list is in °Plato")
    return value


def _number(row: Mapping[str, Any], key: str, least: float = -math.inf) -> float | None:
    value = row.get(key)
    if is_blank(value):
        return None
    found = numbers_in(value) if isinstance(value, str) else [value]
    if len(found) == 2 and "gravity" in key:  # 1,050 is no thousand
        found = found[:1]
    if len(found) != 1 or isinstance(found[0], bool) or not isinstance(found[0], (int, float)):
        raise Unusable(f"{key}: “{says(value)}” is not {'one' if found else 'a'} number")
    if found[0] < least:
        raise Unusable(f"{key}: {says(found[0])} is below {least:g}")
    return float(found[0])


def _day(value: Any) -> float | None:
    if is_blank(value):
        return None
    found = moment(value)
    if found is None:
        raise Unusable(f"date: “{says(value)}” is no date from 2000 to 2099")
    return found


def date_text(recipe: Recipe) -> str:
    """The brew day as ISO text, empty where none is set."""
    return "" if recipe.day is None else day(recipe.day)
