"""Setup and Batches as the sheets understand them: settings, instruments, plans."""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from xlfuncs.audit.entries import Cell, Entries, Line
from xlfuncs.audit.typed import (
    given,
    initial,
    is_number,
    moment,
    name,
    number,
    plain,
    says,
    understood,
)
from xlfuncs.cells.values import ERROR_TEXTS, is_blank
from xlfuncs.functions import CATALOGUE
from xlfuncs.science import budget, hydrometer, units, wort
from xlfuncs.science.beer import ALCOHOL_FACTOR, MODEL_U
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, words

if TYPE_CHECKING:
    from xlfuncs.audit.record import Reading

INSTRUMENT = ("name", "kind", "scale", "material", "compensated", "reference", "water", "low",
              "high", "division", "compensates_from", "compensates_to", "fine", "tolerated",
              "interval", "identity")  # fmt: skip
PLAN = tuple(
    f"{words.key(stage)}_{what}"
    for stage in words.PLANNED
    for what in ("gravity", "volume")
    if (stage, what) != (words.PACKAGED, "volume")
)
BATCH = ("name", "date", "grain", "potential", "minutes", "tolerance", "tolerance_volume", *PLAN)
#: Cells of Setup that take words.
WORDS = ("set_volume", "set_temperature", "set_gravity", "set_mass", "set_source",
         "set_beer_source", "set_marks")  # fmt: skip
#: Cells that came late: workbooks of an earlier day lack them.
LATER = ("set_beer_wort_factor", "set_beer_u_wort_factor", "set_beer_alcohol_factor",
         "set_beer_u_model")  # fmt: skip
#: All that the audit reads on Setup but the instruments.
SETTINGS = (*WORDS, *(cell for cell in defaults.NUMBERS if not cell.startswith("inst_")), "brewery")
#: Factors that the file has fitted to its own pairs.
OWN = ("own_wort_factor", "own_u_wort_factor", "own_beer_wort_factor", "own_beer_u_wort_factor",
       "own_alcohol_factor", "own_model_error")  # fmt: skip

#: What people type for want of a mark.
_NO_MARK = frozenset(("no", "none", "n/a", "na", "nil", "unknown", "x"))

CALL = {name: function.callable() for name, function in CATALOGUE.items()}


@dataclass(frozen=True, slots=True)
class Settings:
    """Setup as the sheets understand it, blanks included."""

    temperature: str
    gravity: str
    mass: str
    litres: float | None  # that one unit of volume holds; None where it is no unit
    common_factor: float
    common_u_factor: float
    wort_factor: float
    u_wort_factor: float
    beer_wort_factor: float
    beer_u_wort_factor: float
    alcohol_factor: float
    u_model: float
    u_celsius: float
    u_volume: float
    tolerance: float
    tolerance_volume: float | None
    potential: float
    beer_apart: bool  # whether its factor shares nothing with that of the wort
    marks: float | None  # °C at which the marks of the kettle were made

    def marked(self, volume: Any, celsius: Any) -> Any:
        """A volume between the marks of a kettle that is wider than when they were made."""
        if self.marks is None or not is_number(volume) or not is_number(celsius):
            return volume
        return volume * (1 + defaults.STEEL_EXPANSION * (celsius - self.marks))

    def celsius(self, value: Any) -> Any:
        """A typed temperature in °C, None when blank; what is none is refused as on the sheets."""
        if is_blank(value):
            return None
        found = understood(value)
        if is_number(found):
            return float(units.convert(found, self.temperature, "C"))
        passed = given(value)
        return passed if passed is not value else f"! temperature {says(value)} is not a number"

    @property
    def tolerance_sg(self) -> float:
        """The tolerance of gravities in SG."""
        return self.tolerance * (1.0 if self.gravity == "SG" else defaults.SG_PER_PLATO)


def settings(book: Entries) -> Settings:
    """What Setup says."""

    def own(source: str, factor: str) -> bool:
        return plain(book.cell(source)) == words.OWN and is_number(book.cell(factor))

    def fitted(name: str, otherwise: float) -> float:
        return number(book.cell(name), otherwise)

    temperature = "F" if "f" in plain(book.cell("set_temperature")) else "C"
    scale = "Plato" if initial(book.cell("set_gravity")) == "P" else "SG"

    def given_as(name: str, otherwise: float) -> float:
        return counted(name, book.cell(name), otherwise, temperature, scale)

    # A factor that is none refuses what is reckoned with it.
    common = factor = fitted("set_wort_factor", wort.WORT_FACTOR)
    u_common = u_factor = given_as("set_u_wort_factor", wort.FACTOR_U)
    if own("set_source", "own_wort_factor"):
        factor, u_factor = fitted("own_wort_factor", factor), fitted("own_u_wort_factor", u_factor)
    beer, u_beer = (fitted("set_beer_wort_factor", factor),
                    given_as("set_beer_u_wort_factor", u_factor))  # fmt: skip
    alcohol = fitted("set_beer_alcohol_factor", float(ALCOHOL_FACTOR))
    apart = is_number(book.cell("set_beer_wort_factor"))
    if own("set_beer_source", "own_beer_wort_factor"):
        apart = True
        beer = fitted("own_beer_wort_factor", beer)
        u_beer = fitted("own_beer_u_wort_factor", u_beer)
        alcohol = fitted("own_alcohol_factor", alcohol)
    warm = given_as("set_u_temperature", math.nan)
    wide = given_as("set_tolerance_volume", math.nan)
    marks = plain(book.cell("set_marks"))
    volume = book.cell("set_volume")
    volume = words.VOLUME_UNITS[0] if is_blank(volume) else volume
    litres = CALL["UNIT_CONVERT"](1, volume, "L")
    plato = scale == "Plato"
    return Settings(
        temperature,
        scale,
        "lb" if initial(book.cell("set_mass")) == "L" else "kg",
        litres if isinstance(litres, float) else None,
        common,
        u_common,
        factor,
        u_factor,
        beer,
        u_beer,
        alcohol,
        max(MODEL_U, fitted("own_model_error", given_as("set_beer_u_model", 0.0))),
        budget.THERMOMETER_U if math.isnan(warm) else warm / (1.8 if temperature == "F" else 1),
        given_as("set_u_volume", defaults.VOLUME_U),
        given_as("set_tolerance", defaults.TOLERANCE_PLATO if plato else defaults.TOLERANCE_SG),
        None if math.isnan(wide) else wide,
        given_as("set_potential", defaults.POTENTIAL),
        apart,
        {"": None, words.HOT: defaults.MARKED_HOT}.get(marks, defaults.MARKED_COLD),
    )


def counted(name: str, value: Any, otherwise: float, *units: str) -> float:
    """A number typed on Setup or Batches, or what stands for one that does not count."""
    counts = is_number(value) and defaults.REACHES[name].holds(value, *units)
    return float(value) if counts else otherwise


@dataclass(slots=True)
class Check:
    """One dated check, and the line that it gave."""

    row: Line
    shown: str  # the key of its first reading
    tool: Instrument  # as the file of the check has it
    when: float
    as_left: bool
    offset: float
    slope: float
    sure: Calibration
    who: str = ""
    also: int = 0  # how many other files have it too

    @property
    def cell(self) -> Cell:
        """The cell that a finding points at."""
        return self.row[self.shown]

    @property
    def order(self) -> float:
        """Its place in time, as the sheets order checks: as left comes after as found."""
        return self.when + 0.001 * self.as_left

    @property
    def tolerated(self) -> bool:
        """Whether the offset is within what is put up with."""
        return abs(self.offset) <= self.tool.tolerance * (1 + 1e-9)

    def same(self, other: Check) -> bool:
        """Whether another file has it too: one moment, one instrument, one line."""
        return (
            self.row.table.file != other.row.table.file
            and self.order == other.order
            and math.isclose(self.offset, other.offset, abs_tol=1e-6)
            and math.isclose(self.slope, other.slope, abs_tol=1e-6)
        )


@dataclass(slots=True)
class Piece:
    """One instrument as it is in the hand, whatever lines of Setup speak of it."""

    lines: list[Instrument]
    checks: list[Check] = field(default_factory=list)  # in the order of time
    readings: list[Reading] = field(default_factory=list)  # dated ones, in the order of time

    @property
    def identity(self) -> str:
        """Its mark as the first line spells it that has one."""
        return next((line.identity for line in self.lines if line.identity), "")

    def in_force(self, when: float) -> Check | None:
        """The last check before a moment, as the sheets choose it."""
        # A check on a day without a time counts for all readings of that day.
        moment = when + (0.9 if when == int(when) else 0.01)
        place = bisect.bisect_right(self.checks, moment, key=lambda check: check.order)
        return self.checks[place - 1] if place else None


@dataclass(slots=True)
class Instrument:
    """An instrument of the Setup sheet.

    `fine` and `tolerance` are in the working scale: °Bx, SG or °C.
    """

    cell: Cell
    name: str
    identity: str
    kind: str
    scale: str
    compensated: bool
    reference: float | str
    water: float | str
    expansion: float
    fine: float
    tolerance: float
    interval: float
    low: float | None
    high: float | None
    compensates_from: float | None
    compensates_to: float | None
    piece: Piece = field(init=False)

    def __post_init__(self) -> None:
        self.piece = Piece([self])

    @property
    def mark(self) -> str:
        """Its mark for comparing; blank for one that only says that there is none."""
        found = plain(self.identity)
        return "" if found in _NO_MARK or not any(map(str.isalnum, found)) else found

    @property
    def refracts(self) -> bool:
        """Whether it is a refractometer."""
        return self.kind == words.REFRACTOMETER

    @property
    def floats(self) -> bool:
        """Whether it is a hydrometer, of glass, plastic or floating."""
        return self.kind in (words.HYDROMETER, words.FLOATING)

    @property
    def unit(self) -> str:
        """Of its working scale, in which offsets and tolerances are."""
        return {words.REFRACTOMETER: "°Bx", words.THERMOMETER: "°C"}.get(self.kind, "SG")

    @property
    def in_jar(self) -> bool:
        """Whether it is a hydrometer read at a temperature of its own."""
        return self.kind == words.HYDROMETER

    def at(self, celsius: Any) -> tuple[Any, Any, Any]:
        """Temperature of sample, scale and its water; afloat there is nothing to correct for."""
        if self.in_jar:
            return celsius, self.reference, self.water
        return defaults.ROOM, defaults.ROOM, defaults.ROOM


def instruments(book: Entries, settings: Settings) -> list[Instrument]:
    """The instruments of Setup."""
    rows = book.rows("inst", INSTRUMENT)
    return [_instrument(row, settings) for row in rows if not is_blank(row["name"].value)]


def _instrument(row: Mapping[str, Cell], settings: Settings) -> Instrument:
    kind = plain(row["kind"].value) or words.REFRACTOMETER
    if any(row[key].value in ERROR_TEXTS for key in ("kind", "scale", "material", "compensated")):
        kind = words.BROKEN
    per = 1.0
    if kind == words.REFRACTOMETER:
        scale = "SG" if plain(row["scale"].value) == "sg" else "Brix"
        per = defaults.BRIX_PER_SG if scale == "SG" else per
    elif kind in (words.HYDROMETER, words.FLOATING):
        scale = "Plato" if initial(row["scale"].value) == "P" else "SG"
        per = defaults.SG_PER_PLATO if scale == "Plato" else per
    else:
        scale = ""
    usual = defaults.BY_KIND.get(kind, defaults.Instrument(math.nan, math.nan, math.inf))
    division = counted("inst_division", row["division"].value, 0.0)
    fine = counted("inst_fine", row["fine"].value, division / 2)
    tolerated = counted("inst_tolerated", row["tolerated"].value, 0.0)
    units = settings.temperature, settings.gravity

    def temperature(key: str) -> Any:
        value, its = row[key].value, defaults.NUMBERS[f"inst_{key}"]
        counts = is_number(value) and its.holds(value, *units)
        if counts or is_blank(value) or value in ERROR_TEXTS:
            return settings.celsius(value)
        return f"! {its.refusal(says(value))}: {its.instead}"

    def limit(key: str) -> float | None:
        found = counted(f"inst_{key}", row[key].value, math.nan, *units)
        return None if math.isnan(found) else found

    celsius = {key: temperature(key) for key in ("reference", "water")}
    reference = defaults.ROOM if celsius["reference"] is None else celsius["reference"]
    plastic = plain(row["material"].value) == words.PLASTIC
    return Instrument(
        row["name"],
        name(row["name"].value),
        name(row["identity"].value),
        kind,
        scale,
        kind == words.REFRACTOMETER and plain(row["compensated"].value) == words.YES,
        reference,
        reference if celsius["water"] is None else celsius["water"],
        hydrometer.PLASTIC_EXPANSION if plastic else hydrometer.GLASS_EXPANSION,
        fine * per or usual.fine,
        tolerated * per or usual.tolerance,
        counted("inst_interval", row["interval"].value, usual.interval),
        limit("low"),
        limit("high"),
        settings.celsius(limit("compensates_from")),
        settings.celsius(limit("compensates_to")),
    )


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch with its plan, in the units of the workbook."""

    cell: Cell
    name: str
    day: float | None
    extract: float  # kg that the grain holds, 0 where it is not known
    gravity: Mapping[str, Any]  # as typed, by stage
    volume: Mapping[str, Any]
    tolerance: float
    tolerance_volume: float | None


def batches(book: Entries, settings: Settings) -> Iterator[Batch]:
    """The lines of Batches."""
    for row in book.rows("batch", BATCH):
        if is_blank(row["name"].value):
            continue
        # A gravity is read by the functions: what a text says there hangs on the scale.
        planned = {what: {stage: of(row[f"{words.key(stage)}_{what}"].value)
                          for stage in words.PLANNED if f"{words.key(stage)}_{what}" in row}
                   for what, of in (("gravity", given), ("volume", understood))}  # fmt: skip

        def given_as(key: str, otherwise: float, row: Line = row) -> float:
            value = understood(row[key].value)
            return counted(f"batch_{key}", value, otherwise, settings.gravity)

        wide = given_as("tolerance_volume", 0.0)
        kilograms = float(units.convert(given_as("grain", 0.0), settings.mass, "kg"))
        yield Batch(
            row["name"],
            name(row["name"].value),
            moment(row["date"].value),
            kilograms * given_as("potential", settings.potential),
            planned["gravity"],
            planned["volume"],
            given_as("tolerance", settings.tolerance),
            wide or settings.tolerance_volume,
        )
