"""What the cells of a column mean in the units, words and names of a workbook.

Each different cell is understood once, however many lines it stands on: a million readings have
some hundred different values.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import Any

from xlfuncs.audit.setup import Instrument
from xlfuncs.audit.typed import day
from xlfuncs.records import sensing, tables
from xlfuncs.records.book import House
from xlfuncs.records.headings import unit_of
from xlfuncs.records.reading import Cell
from xlfuncs.records.sensing import Dates, Rejected
from xlfuncs.records.tables import Column
from xlfuncs.science import gravity, units

#: A gravity may be written without its point: 1048 is 1.048.
THOUSANDTHS = (900.0, 1210.0)
#: Gravities below are SG, those above °Plato: nothing that is brewed reaches from one to the other.
_HIGHEST_SG = 1.21
_BLANKS = ("", "-", "–", "—", "n/a", "na", "nan", "none", "null")

#: What a cell means: a number, a text, None for nothing, or why it means nothing.
Meaning = float | str | None | Rejected


def understood(
    cells: Sequence[Hashable], meaning: Callable[[Any], Meaning]
) -> tuple[list[Any], dict[int, Rejected]]:
    """The meaning of each cell, None for those rejected; and these by place."""
    known = {cell: meaning(cell) for cell in dict.fromkeys(cells)}
    values = list(map(known.__getitem__, cells))
    if not any(isinstance(value, Rejected) for value in known.values()):
        return values, {}
    wrong = {place: value for place, value in enumerate(values) if isinstance(value, Rejected)}
    for place in wrong:
        values[place] = None
    return values, wrong


def is_blank(cell: Cell) -> bool:
    """Whether a cell holds nothing, or a sign for it."""
    return isinstance(cell, str) and cell.strip().casefold() in _BLANKS


class Meanings:
    """How the cells of a file are understood for a workbook."""

    def __init__(self, house: House, sign: str, dates: Dates, until: float, gravity: str) -> None:
        self.house, self.sign, self.dates, self.until = house, sign, dates, until
        self.gravity = gravity  # the scale of gravities that name none

    def text(self, cell: Cell) -> str | None:
        """A text, without what stands around it and is not seen."""
        if isinstance(cell, str):
            return cell.strip() or None
        if isinstance(cell, float):
            return f"{cell:.15g}"
        return cell.isoformat(" ") if hasattr(cell, "date") else cell.isoformat()

    def word(self, column: Column) -> Callable[[Cell], Meaning]:
        """One of the words that the workbook knows, by itself or by another word for it."""
        known = {tables.plain(other): word for word, others in column.words.items()
                 for other in (word, *others)}  # fmt: skip

        def meaning(cell: Cell) -> Meaning:
            said = self.text(cell)
            if said is None or is_blank(cell):
                return None
            return known.get(tables.plain(said)) or Rejected(
                f"{column.name} “{said}” is none of: {', '.join(column.words)}"
            )

        return meaning

    def batch(self, cell: Cell) -> Meaning:
        """A batch of the workbook, spelled as there."""
        said = self.text(cell)
        if said is None:
            return None
        return self.house.batches.get(" ".join(said.split()).casefold()) or Rejected(
            f"batch “{said}” is not on Batches: import its plan first (--table batches), or type "
            "it there"
        )

    def instrument(self, cell: Cell) -> Meaning:
        """An instrument of the workbook, spelled as there."""
        said = self.text(cell)
        if said is None:
            return None
        tool = self.house.tool(said)
        return tool.name if tool else Rejected(
            f"instrument “{said}” is not on Setup: import it first (--table instruments), or type "
            "it there"
        )  # fmt: skip

    def moment(self, cells: tuple[Cell, Cell]) -> Meaning:
        """The serial number of a date and a time of day, which does not lie ahead."""
        date, clock = cells
        if is_blank(date):
            return None if is_blank(clock) else Rejected(f"the time {clock} has no date")
        found = self.dates.serial(date)
        if not isinstance(found, Rejected) and not is_blank(clock):
            share = self.dates.clock(clock)
            found = Rejected(f"“{clock}” is no time") if share is None else int(found) + share
        if isinstance(found, float) and found >= self.until:
            return Rejected(f"the date {day(found)} lies ahead")
        return found

    def number(self, column: Column, unit: str) -> Callable[[Cell], Meaning]:
        """A number in the unit of the workbook, within what its sheet takes."""
        convert = self._conversion(column.kind)

        def meaning(cell: Cell) -> Meaning:
            if is_blank(cell):
                return None
            found = sensing.number(cell, self.sign)
            if found is None:
                return self._no_number(column.name, cell)
            value, behind = found
            told = unit_of(column.kind, behind) if behind else unit
            if behind and not told and not self._says_nothing(column, behind):
                return Rejected(f"{column.name} “{cell}”: “{behind}” is no unit of it")
            if behind == "%":
                value /= 100
            converted = convert(value, told)
            if isinstance(converted, Rejected):
                return converted
            return self._within(column, converted)

        return meaning

    def _no_number(self, name: str, cell: Cell) -> Rejected:
        if isinstance(cell, str) and sensing.number(cell, "," if self.sign == "." else "."):
            return Rejected(f"{name} “{cell}” is no number with {sensing.DECIMALS[self.sign]}")
        return Rejected(f"{name} “{cell}” is not a number")

    @staticmethod
    def _says_nothing(column: Column, behind: str) -> bool:
        """Whether what stands behind a number needs no conversion: minutes, days, a share."""
        if column.kind == tables.SHARE:
            return behind == "%"
        return column.kind == tables.NUMBER and behind.casefold().rstrip(".s") in (
            "min", "minute", "minuten", "d", "day", "tag", "tage", "ph",
        )  # fmt: skip

    def _conversion(self, kind: str) -> Callable[[float, str], float | Rejected]:
        own = self.house.units.get(kind, "")
        if kind == tables.GRAVITY:
            return lambda value, unit: _planned(value, unit or self.gravity, own)
        if kind in self.house.units:
            return lambda value, unit: _rounded(units.convert(value, unit or own, own))
        return lambda value, unit: value

    def _within(self, column: Column, value: float) -> float | Rejected:
        """A value that the sheet takes."""
        bounds = self.house.bounds(column.limits or column.target)
        if bounds and not bounds[0] <= value <= bounds[1]:
            return Rejected(
                f"{column.name} {value:.6g} is outside {bounds[0]:.6g} to {bounds[1]:.6g}, which "
                "its cell takes"
            )
        return value

    def shown(
        self, column: Column, unit: str, temperature_unit: str
    ) -> Callable[[str | None, Cell], Meaning]:
        """What an instrument of this name showed, in its own scale."""

        def meaning(name: str | None, cell: Cell) -> Meaning:
            tool = self.house.tool(name or "")
            if is_blank(cell):
                return None
            if tool is None:
                return Rejected("no instrument is on Setup yet: import the instruments first")
            found = sensing.number(cell, self.sign)
            if found is None:
                return self._no_number(column.name, cell)
            value, behind = found
            if not tool.scale:
                return self._degrees(value, behind or temperature_unit, column, cell)
            told = unit_of(tables.SCALE, behind) if behind else unit
            if behind and not told:
                return Rejected(f"{column.name} “{cell}”: “{behind}” is no scale")
            return self._on(tool, value, told, column)

        return meaning

    def _degrees(self, value: float, said: str, column: Column, cell: Cell) -> Meaning:
        """What a thermometer showed."""
        own = self.house.units[tables.TEMPERATURE]
        unit = unit_of(tables.TEMPERATURE, said) if said else own
        if not unit:
            return Rejected(f"{column.name} “{cell}”: “{said}” is no unit of temperature")
        return self._within(column, _rounded(units.convert(value, unit, own)))

    def _on(self, tool: Instrument, value: float, told: str, column: Column) -> Meaning:
        """A value on the scale of an instrument; what it did not show is not made up."""
        if tool.floats:
            told = "Plato" if told == "Brix" else told
            if told not in ("", tool.scale) and told != _looks_like(value):
                return Rejected(
                    f"{column.name} {value:g} is in {told} as the file says, but looks like "
                    f"{tool.scale}, which {tool.name} shows"
                )
            value = float(to_scale(value, told or tool.scale, tool.scale))
        elif told not in ("", tool.scale):
            return Rejected(
                f"{column.name} {value:g} is in {told}, but {tool.name} shows {tool.scale}: log "
                "what it showed, uncorrected"
            )
        elif tool.scale == "SG":
            value = to_scale(value, "SG", "SG")
        return self._within(column, value)


def _looks_like(value: float) -> str:
    """The scale on which a gravity of wort or beer is written so."""
    return "SG" if in_thousandths(value) or 0.9 <= value < _HIGHEST_SG else "Plato"


def _planned(value: float, told: str, own: str) -> float | Rejected:
    """A gravity of a plan on the scale of the workbook; one on another scale is not guessed at."""
    looks_sg = _looks_like(value) == "SG"
    if told == "SG" and not looks_sg:
        return Rejected(f"gravity {value:g} is no SG, as the others are")
    if told != "SG" and (in_thousandths(value) or (looks_sg and round(value, 2) != value)):
        return Rejected(f"gravity {value:g} looks like SG, but the others are in °Plato")
    return to_scale(value, told, own)


def in_thousandths(value: float) -> bool:
    """Whether it is an SG without its point."""
    return THOUSANDTHS[0] <= value <= THOUSANDTHS[1]


def to_scale(value: float, told: str, own: str) -> float:
    """A gravity on another scale; of SG the point may be missing."""
    if told == "SG" and in_thousandths(value):
        value = _rounded(value / 1000)
    return value if told == own else _rounded(gravity.convert(value, told, own))


def _rounded(value: Any) -> float:
    """Without the last bits, which only show that something was converted."""
    return float(f"{float(value):.12g}")


def scale_of(columns: Iterable[Sequence[Cell]], sign: str, own: str) -> str:
    """The scale that most gravities of a file are in; `own` where there are none."""
    counts = {"SG": 0, "Plato": 0}
    for cell in itertools.chain.from_iterable(columns):
        found = None if is_blank(cell) else sensing.number(cell, sign)
        if found:
            counts[_looks_like(found[0])] += 1
    return max(counts, key=lambda scale: counts[scale]) if any(counts.values()) else own
