"""What a workbook knows that recipes are printed with: units, refractometers, checks, factors."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from xlfuncs.audit import checks, entries, setup
from xlfuncs.audit.entries import Cell, Entries, Line, Table
from xlfuncs.audit.gravities import gravities
from xlfuncs.audit.record import Reading, Record
from xlfuncs.audit.setup import CALL, Check, Instrument, Settings
from xlfuncs.audit.typed import day, name
from xlfuncs.cells.values import is_blank
from xlfuncs.records import tables
from xlfuncs.records.headings import unit_of
from xlfuncs.shop.recipes import Unusable
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.sheets.batch_sheet import EACH

#: The strip of a page: so many values, from one step of the Batch sheet to the next.
VALUES = 48
#: The refractometer of whoever has none in a workbook.
PLAIN = "a refractometer"

_BATCH = (*setup.BATCH, "note")
_NAMES = (
    *(f"inst_{key}" for key in setup.INSTRUMENT),
    *(f"check_{key}" for key in checks.CHECK),
    *(f"batch_{key}" for key in _BATCH),
    *setup.SETTINGS,
)


@dataclass(frozen=True)
class Strip:
    """What drops of wort on one refractometer mean: SG and its ± (2u), None where there is none."""

    tool: Instrument
    checked: float | None  # day of the check in force
    values: tuple[tuple[float, float | None, float | None], ...]

    def state(self, when: float) -> str:
        """How the check in force stands on a day, in words."""
        if self.checked is None:
            return "not checked"
        due = int(self.checked) + self.tool.interval
        late = f", and due again since {day(due)}" if int(when) > due else ""
        return f"checked {day(int(self.checked))}{late}"


class Brewhouse:
    """Units, refractometers and factors, from a workbook or as usual."""

    def __init__(self, book: Entries) -> None:
        self.settings: Settings = setup.settings(book)
        tools = setup.instruments(book, self.settings)
        found = checks.add(book, tools, self.settings)
        self.name = name(book.cell("brewery"))
        self._book = book
        self._record = Record(book.file, self.name, self.settings, tools, [], *found)
        self._strips: dict[tuple[int, int], Strip] = {}
        self._plain: dict[str, Instrument] = {}
        minutes = book.single("set_minutes")
        # A workbook's Batch sheet says the usual minutes; a list alone leaves them to a pen.
        self.minutes = (
            setup.counted("set_minutes", minutes.value, defaults.BOIL_MINUTES)
            if minutes.sheet
            else None
        )
        volume = unit_of(tables.VOLUME, name(book.cell("set_volume")))
        self.volume = volume or words.VOLUME_UNITS[0]
        self.units = {tables.VOLUME: self.volume, tables.TEMPERATURE: self.settings.temperature,
                      tables.MASS: self.settings.mass,
                      tables.GRAVITY: self.settings.gravity}  # fmt: skip

    @property
    def tools(self) -> list[Instrument]:
        """The instruments of Setup."""
        return self._record.instruments

    def recipes(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """The lines of Batches under the headings of a list, each with its row."""
        renamed = {"name": "batch", "minutes": "boil_minutes", "note": "customer",
                   "tolerance": "gravity_within"}  # fmt: skip
        for row in self._book.rows("batch", _BATCH):
            if not is_blank(row.value("name")):
                line = int("".join(filter(str.isdigit, row["name"].address)))
                yield line, {renamed.get(key, key): cell.value for key, cell in row.items()}

    def refractometer(self, wanted: str) -> Instrument:
        """The one that a recipe names, or the first, or the plain one where there is none.

        Raises `Unusable` for one that has no strip.
        """
        if not self.tools:
            return self._unchecked(wanted)
        drops = [tool for tool in self.tools if tool.refracts and tool.scale == "Brix"]
        if not wanted:
            return drops[0] if drops else self._unchecked()
        found = checks.named(self.tools, Cell("", "", "", wanted))
        if found is None:
            raise Unusable(f"refractometer: “{wanted}” is not on Setup of the workbook")
        if found not in drops:
            raise Unusable(f"refractometer: “{wanted}” shows no °Bx, so that it has no strip")
        return found

    def _unchecked(self, called: str = PLAIN) -> Instrument:
        """One that compensates for temperature and was not checked."""
        if called not in self._plain:
            typed = {"inst_name": called or PLAIN, "inst_compensated": words.YES}
            self._plain[called] = setup.instruments(Entries.of(typed), self.settings)[0]
        return self._plain[called]

    def strip(self, tool: Instrument, when: float) -> Strip:
        """The strip of a refractometer with the check that is in force at a time."""
        check = tool.piece.in_force(when)
        key = id(tool), id(check)
        if key not in self._strips:
            self._strips[key] = self._strip(tool, check)
        return self._strips[key]

    def _strip(self, tool: Instrument, check: Check | None) -> Strip:
        shown = [EACH * number for number in range(1, VALUES + 1)]
        drops = [self._drop(tool, value) for value in shown]
        sg, u, brix = gravities(drops, [check] * VALUES, self.settings)
        given = [isinstance(b, float) and b >= 0 for b in brix]
        return Strip(
            tool,
            check.when if check else None,
            tuple(
                (x, s, 2 * one) if ok and isinstance(s, float) and one is not None
                else (x, None, None)
                for x, s, one, ok in zip(shown, sg, u, given, strict=True)
            ),
        )  # fmt: skip

    def _drop(self, tool: Instrument, shown: float) -> Reading:
        """A drop of wort at room temperature, as a reading of the log."""
        row = Line(Table("", {}), 0, ())
        return Reading(self._record, row, None, None, None, words.BEFORE_BOIL, tool, shown,
                       defaults.ROOM, None)  # fmt: skip


def of_workbook(path: Path) -> Brewhouse:
    """What a workbook of ours knows; raises `WorkbookProblem` if it is none."""
    return Brewhouse(entries.read(path, _NAMES, ("inst_name", "check_instrument", "batch_name")))


def usual(units: str, gravity: str) -> Brewhouse:
    """Without a workbook: the units of a new one, and what its blanks stand for."""
    choices = words.Choices(units=units, gravity=gravity)
    return Brewhouse(Entries.of({
        "set_volume": choices.volume_unit, "set_temperature": choices.temperature_unit,
        "set_gravity": choices.gravity_scale, "set_mass": choices.mass_unit,
    }))  # fmt: skip


def on_scale(sg: float, settings: Settings) -> float:
    """SG in the scale of the brewhouse."""
    if settings.gravity == "SG":
        return sg
    return float(CALL["GRAVITY_CONVERT"](sg, "SG", "Plato"))
