"""A workbook's record as an audit sees it: instruments, checks in order, readings with gravity.

Gravities and verdicts are computed anew by the cell functions themselves, with the calibration in
force; the sheet's own steps are not used.
"""

from __future__ import annotations

import bisect
import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from xlfuncs.audit import entries
from xlfuncs.audit.entries import Cell, Entries
from xlfuncs.cells.values import is_blank, numbers_in
from xlfuncs.functions import CATALOGUE
from xlfuncs.science import budget, calibration, hydrometer, repeats, sucrose, units, wort
from xlfuncs.science.beer import ALCOHOL_FACTOR, MODEL_U
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import defaults, slopes, words

INSTRUMENT = ("name", "kind", "scale", "material", "compensated", "reference", "water", "low",
              "high", "division", "compensates_from", "compensates_to", "fine", "tolerated",
              "interval", "identity")  # fmt: skip
CHECK = ("instrument", "date", "temperature", "shown_1", "shown_2", "known_2", "shown_3", "known_3",
         "known_in", "made_of", "as", "who", "note")  # fmt: skip
LOG = ("date", "batch", "stage", "instrument", "reading", "temperature", "volume",
       "volume_temperature", "ph", "leave", "note")  # fmt: skip
PLAN = tuple(
    f"{words.key(stage)}_{what}"
    for stage in words.PLANNED
    for what in ("gravity", "volume")
    if (stage, what) != (words.PACKAGED, "volume")
)
BATCH = ("name", "date", "grain", "potential", "minutes", "tolerance", "tolerance_volume", *PLAN)
SETTINGS = ("set_volume", "set_temperature", "set_gravity", "set_mass", "set_wort_factor",
            "set_u_wort_factor", "set_u_temperature", "set_u_volume", "set_tolerance",
            "set_tolerance_volume", "set_potential", "set_marks", "brewery")  # fmt: skip
#: What the file itself has computed.
STORED = ("log_sg", "log_verdict", "log_volume_verdict", "own_wort_factor", "own_u_wort_factor",
          "own_beer_wort_factor", "own_beer_u_wort_factor", "own_alcohol_factor",
          "own_model_error")  # fmt: skip
SOURCES = ("set_source", "set_beer_source")
BELOW = ("check_below", "batch_below", "log_below")

TYPED = (
    *(f"inst_{key}" for key in INSTRUMENT),
    *(f"check_{key}" for key in CHECK),
    *(f"batch_{key}" for key in BATCH),
    *(f"log_{key}" for key in LOG),
    *SETTINGS,
    *SOURCES,
)

_FIRST_DATE, _LAST_DATE = 36526.0, 73050.0
_CALL = {name: function.callable() for name, function in CATALOGUE.items()}


@dataclass
class Check:
    """One dated check: the line that it gave, and the cell that a finding points at."""

    cell: Cell
    when: float
    as_left: bool
    offset: float
    slope: float
    sure: Calibration
    who: str = ""

    @property
    def order(self) -> float:
        """Its place in time, as the sheets order checks: as left comes after as found."""
        return self.when + 0.001 * self.as_left


@dataclass
class Instrument:
    """An instrument of the Setup sheet with its checks in the order of time.

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
    checks: list[Check] = field(default_factory=list)

    @property
    def refracts(self) -> bool:
        """Whether it is a refractometer."""
        return self.kind == words.REFRACTOMETER

    @property
    def floats(self) -> bool:
        """Whether it is a hydrometer, of glass, plastic or floating."""
        return self.kind in (words.HYDROMETER, words.FLOATING)

    @property
    def in_jar(self) -> bool:
        """Whether it is a hydrometer read at a temperature of its own."""
        return self.kind == words.HYDROMETER

    def tolerates(self, check: Check) -> bool:
        """Whether the offset is within what is put up with."""
        return abs(check.offset) <= self.tolerance * (1 + 1e-9)

    def in_force(self, when: float) -> Check | None:
        """The last check before a moment, as the sheets choose it."""
        # A check on a day without a time counts for all readings of that day.
        moment = when + (0.9 if when == int(when) else 0.01)
        place = bisect.bisect_right(self.checks, moment, key=lambda check: check.order)
        return self.checks[place - 1] if place else None


@dataclass(frozen=True)
class Batch:
    """A batch with its plan, in the units of the workbook."""

    cell: Cell
    name: str
    day: float | None
    extract: float  # kg that the grain holds, 0 where it is not known
    gravity: Mapping[str, float]
    volume: Mapping[str, float]
    tolerance: float
    tolerance_volume: float | None


@dataclass
class Reading:
    """One line of the log, with the gravity and the verdicts that it gives today."""

    cell: Cell
    row: Mapping[str, Cell]
    when: float | None
    batch: Batch | None
    stage: str
    instrument: Instrument | None
    shown: Any
    celsius: float | str | None
    check: Check | None
    original: Any = None
    sg: float | str | None = None
    u: float | None = None
    brix: float | None = None  # true, of a refractometer
    effects: budget.Effects | None = None  # of its u, what others share with its sign
    mean: float | None = None  # of the readings of this wort, a drop at a time
    u_mean: float | None = None
    mean_of: int = 1
    far: bool = False  # from the other readings of this wort
    volume: float | str | None = None  # at 20 °C, in the unit of the workbook
    verdict: str = ""
    volume_verdict: str = ""

    @property
    def fermented(self) -> bool:
        """Whether yeast has been at work on the sample."""
        return self.stage in (words.FERMENTING, words.PACKAGED)

    @property
    def through_beer(self) -> bool:
        """Whether it needs the correction for alcohol."""
        return bool(self.fermented and self.instrument and self.instrument.refracts)

    @property
    def order(self) -> tuple[float, int]:
        """Its place in time, as the sheet orders the log; without a date first."""
        return (self.when or 0.0, int(self.cell.address.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ") or 0))


@dataclass(frozen=True)
class Settings:
    """Setup as the sheets understand it, blanks included."""

    volume: str
    temperature: str
    gravity: str
    mass: str
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
    own_beer_factor: bool
    marked: float | None  # °C at which the marks of the kettle were made

    def celsius(self, value: Any) -> Any:
        """A typed temperature in °C; a text stays, so that its cell function names it."""
        if is_blank(value):
            return None
        degrees = number(value, math.nan)
        return value if math.isnan(degrees) else float(units.convert(degrees, self.temperature,
                                                                     "C"))  # fmt: skip


@dataclass
class Record:
    """All that was typed, understood as far as it can be."""

    entries: Entries
    settings: Settings
    instruments: list[Instrument]
    batches: list[Batch]
    unknown_checks: list[Cell] = field(default_factory=list)  #: of no instrument of Setup
    bad_checks: list[tuple[Cell, str]] = field(default_factory=list)  #: no calibration, and why
    readings: list[Reading] = field(default_factory=list)

    def of_stage(self, batch: Batch, *stages: str) -> list[Reading]:
        """Readings of a batch at some stages that give a gravity, in the order of time."""
        some = [r for r in self.readings if r.batch is batch and r.stage in stages
                and isinstance(r.sg, float)]  # fmt: skip
        return sorted(some, key=lambda reading: reading.order)


def read(path: Path) -> Record:
    """The record of a workbook; raises `WorkbookProblem` for one that cannot be read."""
    book = entries.read(path, (*TYPED, *STORED, *BELOW), TYPED)
    settings = _settings(book)
    record = Record(
        book,
        settings,
        [_instrument(row, settings) for row in _filled(book, "inst", INSTRUMENT, "name")],
        list(_batches(book, settings)),
    )
    _add_checks(record)
    _add_log(record)
    return record


# --- what was typed ------------------------------------------------------------------------------


def number(value: Any, otherwise: float) -> float:
    """A typed number; `otherwise` for a blank or what is no number."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    found = numbers_in(value) if isinstance(value, str) else []
    return found[0] if len(found) == 1 else otherwise


def moment(value: Any) -> float | None:
    """The serial number of a typed date; None for what is no date of this century."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value) if _FIRST_DATE <= value <= _LAST_DATE else None
    return None


def day(serial: float) -> str:
    """A serial number as ISO text, with the time if there is one."""
    found = datetime.datetime(1899, 12, 30) + datetime.timedelta(seconds=round(serial * 86400))
    if found.time() == datetime.time():
        return found.date().isoformat()
    return found.isoformat(" ", "minutes")


def plain(value: Any) -> str:
    """A typed name for comparing: blanks around it and case do not count; 12 and "12" are one."""
    if isinstance(value, float) and value == int(value):
        value = int(value)
    return "" if value is None else str(value).strip().casefold()


def _filled(book: Entries, prefix: str, keys: Iterable[str], key: str) -> Iterator[dict[str, Cell]]:
    return (row for row in book.rows(prefix, keys) if not is_blank(row[key].value))


def _numeric(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _typed(value: Any, otherwise: float) -> float:
    """A number in a cell of Setup or Batches: a text is no number there."""
    return float(value) if _numeric(value) else otherwise


def _settings(book: Entries) -> Settings:
    def scale(name: str) -> str:
        return str(book.cell(name) or "").replace("°", "").strip().upper()

    fahrenheit = "F" in scale("set_temperature")
    plato = scale("set_gravity").startswith("P")
    factor = _typed(book.cell("set_wort_factor"), wort.WORT_FACTOR)
    u_factor = _typed(book.cell("set_u_wort_factor"), wort.FACTOR_U)
    if plain(book.cell("set_source")) == words.OWN and _numeric(book.cell("own_wort_factor")):
        factor = _typed(book.cell("own_wort_factor"), factor)
        u_factor = _typed(book.cell("own_u_wort_factor"), u_factor)
    beer, u_beer, alcohol = factor, u_factor, float(ALCOHOL_FACTOR)
    own = plain(book.cell("set_beer_source")) == words.OWN
    own = own and _numeric(book.cell("own_beer_wort_factor"))
    if own:
        beer = _typed(book.cell("own_beer_wort_factor"), beer)
        u_beer = _typed(book.cell("own_beer_u_wort_factor"), u_beer)
        alcohol = _typed(book.cell("own_alcohol_factor"), alcohol)
    warm = _typed(book.cell("set_u_temperature"), math.nan)
    marks = plain(book.cell("set_marks"))
    wide = _typed(book.cell("set_tolerance_volume"), math.nan)
    return Settings(
        str(book.cell("set_volume") or "L"),
        "F" if fahrenheit else "C",
        "Plato" if plato else "SG",
        "lb" if scale("set_mass").startswith("L") else "kg",
        factor,
        u_factor,
        beer,
        u_beer,
        alcohol,
        max(MODEL_U, _typed(book.cell("own_model_error"), 0.0)),
        budget.THERMOMETER_U if math.isnan(warm) else warm / (1.8 if fahrenheit else 1),
        _typed(book.cell("set_u_volume"), defaults.VOLUME_U),
        _typed(
            book.cell("set_tolerance"),
            defaults.TOLERANCE_PLATO if plato else defaults.TOLERANCE_SG,
        ),
        None if math.isnan(wide) else wide,
        _typed(book.cell("set_potential"), defaults.POTENTIAL),
        own,
        None if not marks else defaults.MARKED_HOT if marks == words.HOT else defaults.MARKED_COLD,
    )


def _optional(value: Any) -> float | None:
    found = number(value, math.nan)
    return None if math.isnan(found) else found


def _instrument(row: dict[str, Cell], settings: Settings) -> Instrument:
    kind = plain(row["kind"].value) or words.REFRACTOMETER
    scale = str(row["scale"].value or "").replace("°", "").strip().upper()
    if kind == words.REFRACTOMETER:
        scale, per = ("SG", defaults.BRIX_PER_SG) if scale == "SG" else ("Brix", 1.0)
    else:
        scale, per = ("Plato", defaults.SG_PER_PLATO) if scale.startswith("P") else ("SG", 1.0)
        per = per if kind in (words.HYDROMETER, words.FLOATING) else 1.0
    usual = defaults.BY_KIND.get(kind, defaults.Instrument(math.nan, math.nan, math.inf))
    fine = _typed(row["fine"].value, 0.0) or _typed(row["division"].value, 0.0) / 2
    tolerated = _typed(row["tolerated"].value, 0.0)
    interval = _typed(row["interval"].value, 0.0)
    reference = settings.celsius(row["reference"].value)
    reference = defaults.ROOM if reference is None else reference
    water = settings.celsius(row["water"].value)
    warm = [settings.celsius(row[key].value) for key in ("compensates_from", "compensates_to")]
    plastic = plain(row["material"].value) == words.PLASTIC
    return Instrument(
        row["name"],
        str(row["name"].value).strip(),
        str(row["identity"].value or "").strip(),
        kind,
        scale,
        kind == words.REFRACTOMETER and plain(row["compensated"].value) == words.YES,
        reference,
        reference if water is None else water,
        hydrometer.PLASTIC_EXPANSION if plastic else hydrometer.GLASS_EXPANSION,
        fine * per if fine > 0 else usual.fine,
        tolerated * per if tolerated > 0 else usual.tolerance,
        interval if interval > 0 else usual.interval,
        _optional(row["low"].value),
        _optional(row["high"].value),
        _optional(warm[0]),
        _optional(warm[1]),
    )


def _batches(book: Entries, settings: Settings) -> Iterator[Batch]:
    for row in _filled(book, "batch", BATCH, "name"):

        def plan(what: str, row: dict[str, Cell] = row) -> dict[str, float]:
            cells = {stage: row.get(f"{words.key(stage)}_{what}") for stage in words.PLANNED}
            return {
                stage: float(cell.value)
                for stage, cell in cells.items()
                if cell is not None and _numeric(cell.value)
            }

        grain = _typed(row["grain"].value, 0.0)
        kilograms = float(units.convert(grain, settings.mass, "kg"))
        wide = _typed(row["tolerance_volume"].value, 0.0)
        yield Batch(
            row["name"],
            str(row["name"].value).strip(),
            moment(row["date"].value),
            kilograms * _typed(row["potential"].value, settings.potential),
            plan("gravity"),
            plan("volume"),
            _typed(row["tolerance"].value, settings.tolerance),
            wide if wide > 0 else settings.tolerance_volume,
        )


# --- checks --------------------------------------------------------------------------------------


def _named(record: Record, cell: Cell) -> Instrument | None:
    """The instrument that a line names; the first where it names none."""
    wanted = plain(cell.value)
    if not wanted:
        return record.instruments[0] if record.instruments else None
    return next((tool for tool in record.instruments if plain(tool.name) == wanted), None)


def _add_checks(record: Record) -> None:
    """Fit each check, as the Calibration sheet does, and hang it on its instrument."""
    for row in record.entries.rows("check", CHECK):
        shown = next((row[key] for key in ("shown_1", "shown_2", "shown_3")
                      if not is_blank(row[key].value)), None)  # fmt: skip
        if shown is None:
            continue
        tool, when = _named(record, row["instrument"]), moment(row["date"].value)
        if tool is None:
            record.unknown_checks.append(row["instrument"])
            continue
        if when is None:
            record.bad_checks.append((row["date"], "the check has no date: it corrects nothing"))
            continue
        line = _line(row, tool, record.settings)
        if isinstance(line, str):
            record.bad_checks.append((shown, line))
            continue
        left = plain(row["as"].value) == words.AS_LEFT
        check = Check(shown, when, left, *line, who=str(row["who"].value or ""))
        bisect.insort(tool.checks, check, key=lambda c: c.order)


def _line(
    row: dict[str, Cell], tool: Instrument, settings: Settings
) -> tuple[float, float, Calibration] | str:
    """Offset, slope and how sure they are, or why there are none."""
    shown = [row[f"shown_{i}"].value for i in (1, 2, 3)]
    scale = str(row["known_in"].value or "").replace("°", "").strip().upper()
    scale = {"P": "Plato", "B": "Brix", "S": "SG"}.get(scale[:1], tool.scale)
    water = None if is_blank(shown[0]) else 1.0 if scale == "SG" else 0.0
    known = [water, row["known_2"].value, row["known_3"].value]
    read, true = _working(row, tool, settings, shown), known
    malt = tool.refracts and plain(row["made_of"].value) == words.MALT_EXTRACT
    if tool.refracts and scale == "SG":
        true = _CALL["GRAVITY_CONVERT"](known, "SG", "Brix")
    elif tool.floats and scale != "SG":
        true = _CALL["GRAVITY_CONVERT"](known, "Plato", "SG")
    for value in (*read, *true):
        if isinstance(value, str) and value.startswith("! "):
            return value.removeprefix("! ")
    points = [(i, x, y) for i, (x, y) in enumerate(zip(true, read, strict=True))
              if _numeric(x) and _numeric(y)]  # fmt: skip
    if not points:
        return "a reading or its reference is missing or no number"
    x = np.array([float(x) for _, x, _ in points]) * (settings.wort_factor if malt else 1.0)
    y = np.array([float(y) for *_, y in points])
    weighed = any(i for i, *_ in points) and tool.kind != words.THERMOMETER
    solution = (defaults.SOLUTION_U if tool.refracts else
                defaults.SOLUTION_U * defaults.SG_PER_PLATO) * weighed  # fmt: skip
    doubt = x * settings.u_wort_factor / settings.wort_factor if malt else solution
    u = np.hypot(tool.fine, doubt) * np.ones_like(x)
    if malt or not tool.refracts or np.ptp(x) < calibration.LEAST_SPREAD:
        weights = 1 / u**2
        total = float(np.sum(weights))
        tilt = calibration.UNCHECKED_SLOPE_U if tool.refracts else 0.0
        centre = float(np.sum(weights * x)) / total
        return float(np.sum(weights * (y - x))) / total, 1.0, Calibration(total**-0.5, centre, tilt)
    line = calibration.weighted_line(x, y, u)
    return line.offset, line.slope, line.calibration


def _working(
    row: dict[str, Cell], tool: Instrument, settings: Settings, shown: list[Any]
) -> list[Any]:
    """What an instrument showed, at 20 °C in its working scale."""
    celsius = settings.celsius(row["temperature"].value)
    celsius = defaults.ROOM if celsius is None else celsius
    if tool.refracts:
        brix = _CALL["GRAVITY_CONVERT"](shown, "SG", "Brix") if tool.scale == "SG" else shown
        found = _CALL["REFRACTOMETER_BRIX"](brix, "" if tool.compensated else celsius)
    elif tool.floats:
        found = _CALL["HYDROMETER_SG"](
            _as_sg(shown, [tool.scale] * 3), *_at(tool, celsius), tool.expansion
        )
    else:
        found = [value if _numeric(value) or is_blank(value)
                 else f"! reading {value} is not a number" for value in shown]  # fmt: skip
    return list(found)


def _at(tool: Instrument, celsius: Any) -> tuple[Any, Any, Any]:
    """Temperature of the sample, of the scale and of its water; nothing to correct afloat."""
    if tool.in_jar:
        return celsius, tool.reference, tool.water
    return defaults.ROOM, defaults.ROOM, defaults.ROOM


def _as_sg(shown: Sequence[Any], scales: Sequence[str]) -> list[Any]:
    """What hydrometers show, as SG; what is no number stays as it is."""
    from_plato = _CALL["GRAVITY_CONVERT"](
        [value if scale == "Plato" else "" for value, scale in zip(shown, scales, strict=True)],
        "Plato",
        "SG",
    )
    return [
        converted if scale == "Plato" else value
        for value, converted, scale in zip(shown, from_plato, scales, strict=True)
    ]


# --- the log -------------------------------------------------------------------------------------


def _add_log(record: Record) -> None:
    batches = {plain(batch.name): batch for batch in reversed(record.batches)}
    for row in record.entries.rows("log", (*LOG, "sg", "verdict", "volume_verdict")):
        if is_blank(row["reading"].value) and is_blank(row["volume"].value):
            continue
        batch = batches.get(plain(row["batch"].value))
        stage = plain(row["stage"].value)
        when = moment(row["date"].value)
        fermented = stage in (words.FERMENTING, words.PACKAGED)
        if when is None and is_blank(row["date"].value) and batch and not fermented:
            when = batch.day
        tool = None if is_blank(row["reading"].value) else _named(record, row["instrument"])
        record.readings.append(
            Reading(
                row["reading"],
                row,
                when,
                batch,
                stage,
                tool,
                row["reading"].value,
                record.settings.celsius(row["temperature"].value),
                tool.in_force(when) if tool and when is not None else None,
            )
        )
    _compute(record, [r for r in record.readings if not r.through_beer])
    _take_together([r for r in record.readings if not r.fermented])
    beers = [r for r in record.readings if r.through_beer]
    for reading in beers:
        reading.original = _original(record, reading.batch)
    _compute(record, beers)
    for reading in beers:
        _share(record, reading)
    _take_together([r for r in record.readings if r.fermented])
    _judge(record)


def _original(record: Record, batch: Batch | None) -> tuple[Any, Any] | None:
    """Original SG of a batch and its uncertainty: the latest into the fermenter, or the plan."""
    if batch is None:
        return None
    measured = record.of_stage(batch, words.INTO_FERMENTER)
    if measured:
        return measured[-1].mean, measured[-1].u_mean
    planned = batch.gravity.get(words.INTO_FERMENTER)
    if planned is None:
        return None
    sg = _CALL["GRAVITY_CONVERT"](planned, record.settings.gravity, "SG")
    per = 1.0 if record.settings.gravity == "SG" else defaults.SG_PER_PLATO
    return sg, record.settings.tolerance * per / 2


def gravities(
    readings: Sequence[Reading], record: Record, checks: Sequence[Check | None]
) -> tuple[list[Any], list[Any], list[Any]]:
    """SG, its standard uncertainty and true °Brix of readings, each with the check beside it.

    A reading that gives none has the `! ` text of its cell, or None without a reading.
    """
    sg: list[Any] = [None] * len(readings)
    u: list[Any] = [None] * len(readings)
    brix: list[Any] = [None] * len(readings)
    tools = [reading.instrument for reading in readings]
    drops = [i for i, tool in enumerate(tools) if tool and tool.refracts]
    jars = [i for i, tool in enumerate(tools) if tool and tool.floats]
    for places, compute in ((drops, _refracted), (jars, _floated)):
        if not places:
            continue
        some, theirs = [readings[i] for i in places], [checks[i] for i in places]
        found = compute(some, theirs, record.settings)
        for i, one, its_u, shown in zip(places, *found, strict=True):
            sg[i], u[i], brix[i] = (None if one == "" else one), its_u, shown
    return sg, u, brix


def _refracted(
    readings: Sequence[Reading], checks: Sequence[Check | None], settings: Settings
) -> tuple[list[Any], list[Any], list[Any]]:
    tools = [r.instrument for r in readings if r.instrument]
    shown = [r.shown for r in readings]
    as_brix = _CALL["GRAVITY_CONVERT"](
        [one if tool.scale == "SG" else "" for one, tool in zip(shown, tools, strict=True)],
        "SG",
        "Brix",
    )
    shown = [b if t.scale == "SG" else s for b, t, s in zip(as_brix, tools, shown, strict=True)]
    brix = _CALL["REFRACTOMETER_BRIX"](
        shown,
        ["" if t.compensated else r.celsius for t, r in zip(tools, readings, strict=True)],
        [c.offset if c else 0.0 for c in checks],
        [c.slope if c else 1.0 for c in checks],
    )
    u_drop = [
        math.hypot(t.fine, budget.COMPENSATION_U if t.compensated else
                   defaults.BRIX_PER_DEGREE * settings.u_celsius)
        for t in tools
    ]  # fmt: skip
    u_cal = [
        float((c.sure if c else Calibration(t.tolerance)).at(b)) if isinstance(b, float) else ""
        for b, t, c in zip(brix, tools, checks, strict=True)
    ]
    originals = [r.original or (None, None) for r in readings]
    through = [r.through_beer for r in readings]
    wort_brix = ["" if beer else b for b, beer in zip(brix, through, strict=True)]
    beer_brix = [b if beer else "" for b, beer in zip(brix, through, strict=True)]
    both = [math.hypot(d, c) if isinstance(c, float) else "" for d, c in
            zip(u_drop, u_cal, strict=True)]  # fmt: skip
    found = _CALL["WORT_SG"](wort_brix, settings.wort_factor)
    spread = _CALL["WORT_SG_UNCERTAINTY"](
        wort_brix, settings.wort_factor, u_drop, settings.u_wort_factor, u_cal
    )
    beer = _CALL["BEER_SG"]([o for o, _ in originals], beer_brix, settings.beer_wort_factor,
                            "balance", settings.alcohol_factor)  # fmt: skip
    beer_u = _CALL["BEER_SG_UNCERTAINTY"](
        [o for o, _ in originals], beer_brix, settings.beer_wort_factor, both,
        settings.beer_u_wort_factor, [u for _, u in originals], settings.u_model,
    )  # fmt: skip
    return (
        [b if is_beer else w for w, b, is_beer in zip(found, beer, through, strict=True)],
        [b if is_beer else w for w, b, is_beer in zip(spread, beer_u, through, strict=True)],
        list(brix),
    )


def _floated(
    readings: Sequence[Reading], checks: Sequence[Check | None], settings: Settings
) -> tuple[list[Any], list[Any], list[Any]]:
    tools = [r.instrument for r in readings if r.instrument]
    shown = _as_sg([r.shown for r in readings], [tool.scale for tool in tools])
    warm = [_at(t, r.celsius) for t, r in zip(tools, readings, strict=True)]
    found = _CALL["HYDROMETER_SG"](
        [one - c.offset if c and _numeric(one) else one
         for one, c in zip(shown, checks, strict=True)],
        [one[0] for one in warm],
        [one[1] for one in warm],
        [one[2] for one in warm],
        [tool.expansion for tool in tools],
    )  # fmt: skip
    level = [c.sure.level if c else t.tolerance for t, c in zip(tools, checks, strict=True)]
    by_degree = defaults.SG_PER_DEGREE * settings.u_celsius
    u = [math.hypot(t.fine, one, by_degree) for t, one in zip(tools, level, strict=True)]
    return list(found), u, [None] * len(u)


def _compute(record: Record, readings: Sequence[Reading]) -> None:
    found = gravities(readings, record, [reading.check for reading in readings])
    for reading, sg, u, brix in zip(readings, *found, strict=True):
        reading.sg, reading.u = sg, u if isinstance(u, float) else None
        reading.brix = brix if isinstance(brix, float) else None
        reading.effects = _effects(reading, record.settings)


def _effects(reading: Reading, settings: Settings) -> budget.Effects | None:
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


def _share(record: Record, reading: Reading) -> None:
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


def _take_together(readings: Sequence[Reading]) -> None:
    """The mean of readings of one wort: one batch, stage and instrument within half an hour."""
    near: dict[tuple[int, str, int], list[Reading]] = {}
    for reading in readings:
        if isinstance(reading.sg, float):
            reading.mean, reading.u_mean = reading.sg, reading.u
            if reading.batch and reading.instrument and reading.when is not None:
                key = id(reading.batch), reading.stage, id(reading.instrument)
                near.setdefault(key, []).append(reading)
    for reading, others in ((one, some) for some in near.values() for one in some):
        group = [other for other in others if _of_one_wort(reading, other)]
        if len(group) < 2 or reading.effects is None or reading.u is None:
            continue
        some = np.array([other.sg for other in group], dtype=float)
        together = repeats.taken_together(some, abs(float(reading.effects.own)))
        reading.mean, reading.mean_of = together.mean, together.readings
        reading.u_mean = together.u(reading.u, abs(float(reading.effects.own)))
        reading.far = together.far is not None and group[together.far] is reading


def _of_one_wort(one: Reading, other: Reading) -> bool:
    """Whether two readings of one batch, stage and instrument are of one wort, as the log has it."""
    if one.when is None or other.when is None:
        return False
    if abs(one.when - other.when) > defaults.TOGETHER_DAYS:
        return False
    runs = one.stage in (words.RUNOFF_STAGE, words.DURING_BOIL)
    if not runs and one.stage != words.FERMENTING:
        return True
    # What moves needs a time, and one volume.
    volumes = [r.row["volume"].value for r in (one, other)]
    volumes = [value if _numeric(value) else None for value in volumes]
    timed = one.when != int(one.when) and other.when != int(other.when)
    return timed and volumes[0] == volumes[1] and not (runs and volumes[0] is None)


def _marked(volume: Any, celsius: Any, settings: Settings) -> Any:
    """A volume between the marks of a kettle that is wider than when they were made."""
    if settings.marked is None or not _numeric(volume) or not _numeric(celsius):
        return volume
    return volume * (1 + defaults.STEEL_EXPANSION * (celsius - settings.marked))


def _judge(record: Record) -> None:
    """Volumes at 20 °C, and each line against the plan of its own batch."""
    settings, lines = record.settings, record.readings
    if not lines:
        return
    warm = [settings.celsius(line.row["volume_temperature"].value) for line in lines]
    warm = [defaults.ROOM if one is None else one for one in warm]
    volumes = _CALL["VOLUME_AT"](
        [
            _marked(line.row["volume"].value, one, settings)
            for line, one in zip(lines, warm, strict=True)
        ],
        warm,
        20,
        [line.sg if isinstance(line.sg, float) else "" for line in lines],
    )
    sg: list[list[Any]] = [
        [line.sg, line.sg + 2 * (line.u or 0.0)] if isinstance(line.sg, float) else ["", ""]
        for line in lines
    ]
    scaled = sg if settings.gravity == "SG" else _CALL["GRAVITY_CONVERT"](sg, "SG", "Plato")
    wanted = [line.batch.gravity.get(line.stage, "") if line.batch else "" for line in lines]
    full = [line.batch.volume.get(line.stage, "") if line.batch else "" for line in lines]
    verdicts = _CALL["TARGET_CHECK"](
        [one[0] for one in scaled],
        wanted,
        [line.batch.tolerance if line.batch else "" for line in lines],
        [(one[1] - one[0]) / 2 if isinstance(one[0], float) else "" for one in scaled],
    )
    volume_verdicts = _CALL["TARGET_CHECK"](
        volumes,
        full,
        [(line.batch.tolerance_volume or defaults.TOLERANCE_VOLUME * target)
         if line.batch and isinstance(target, float) else ""
         for line, target in zip(lines, full, strict=True)],
        [settings.u_volume * one if isinstance(one, float) else "" for one in volumes],
    )  # fmt: skip
    for line, volume, verdict, of_volume in zip(
        lines, volumes, verdicts, volume_verdicts, strict=True
    ):
        line.volume = None if volume == "" else volume
        line.verdict, line.volume_verdict = str(verdict), str(of_volume)
