"""A workbook's record as an audit sees it: instruments, checks in order, readings with gravity.

Gravities are computed anew by the cell functions themselves, with the calibration in force.
"""

from __future__ import annotations

import bisect
import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from xlfuncs.audit import entries
from xlfuncs.audit.entries import Cell, Entries
from xlfuncs.cells.values import is_blank, numbers_in
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.functions import CATALOGUE
from xlfuncs.science import corrections, gravity, units
from xlfuncs.science.beer import ALCOHOL_FACTOR
from xlfuncs.workbook import vocabulary as words

INSTRUMENT = ("name", "kind", "scale", "compensated", "reference", "u_reading", "tolerance",
              "interval")  # fmt: skip
#: Columns that later workbooks have.
INSTRUMENT_MORE = ("low", "high", "compensates_from", "compensates_to")
CHECK = ("instrument", "date", "temperature", "reading_1", "reading_2", "reading_3",
         "reference_1", "reference_2", "reference_3", "note")  # fmt: skip
CHECK_MORE = ("reference_scale", "state", "who")
LOG = ("date", "batch", "stage", "instrument", "reading", "temperature", "note")
LOG_MORE = ("volume", "volume_temperature")
FERMENT = ("date", "batch", "original", "instrument", "reading", "temperature")
PAIR = ("date", "beer", "original", "refractometer", "shown_brix", "shown_brix_temperature",
        "hydrometer", "shown_sg", "shown_sg_temperature", "use")  # fmt: skip
#: Single cells of the runoff, which all its readings share, and its columns.
RUN_SHARED = ("batch", "date", "instrument", "limit")
RUN = ("volume", "volume_temperature", "reading", "temperature", "ph")
TARGET = ("stage", "gravity", "gravity_tolerance")
TARGET_MORE = ("volume", "volume_tolerance")
CELLS = ("unit_temperature", "unit_gravity", "wort_factor", "u_wort_factor")
CELLS_MORE = ("target_batch", "u_volume")
STORED = ("log_sg", "verdict_gravity", "shown_batch")
STORED_MORE = ("verdict_volume", "ferment_sg", "pair_default_sg", "pair_sg", "run_sg",
               "beer_factors", "beer_wort_factor", "beer_alcohol_factor")  # fmt: skip

NEEDED = (
    *(f"inst_{key}" for key in INSTRUMENT),
    *(f"check_{key}" for key in CHECK),
    *(f"log_{key}" for key in LOG),
    *(f"target_{key}" for key in TARGET),
    *CELLS,
    *STORED,
)
TYPED = (
    *(name for name in NEEDED if name not in STORED),
    *(f"inst_{key}" for key in INSTRUMENT_MORE),
    *(f"check_{key}" for key in CHECK_MORE),
    *(f"log_{key}" for key in LOG_MORE),
    *(f"ferment_{key}" for key in FERMENT),
    *(f"pair_{key}" for key in PAIR),
    *(f"run_{key}" for key in (*RUN_SHARED, *RUN)),
    *(f"target_{key}" for key in TARGET_MORE),
    *CELLS_MORE,
)

WATER_ALONE = 20.0  # °C of a check whose temperature is blank
_FIRST_DATE, _LAST_DATE = 36526.0, 73050.0
_CALL = {
    name: CATALOGUE[name].callable()
    for name in (
        "BEER_SG",
        "CALIBRATION_FIT",
        "GRAVITY_CONVERT",
        "HYDROMETER_SG",
        "REFRACTOMETER_BRIX",
        "VOLUME_AT",
        "WORT_SG",
        "WORT_SG_UNCERTAINTY",
    )
}


def _spellings(known: Mapping[str, gravity.Scale | units.Unit]) -> dict[str, str]:
    """Every accepted spelling, case folded, to the name; the first name is the default."""
    return {
        spelling.casefold(): name
        for name, one in known.items()
        for spelling in (name, *one.spellings)
    }


_SCALES = _spellings(gravity.SCALES)
_DEGREES = _spellings({name: units.UNITS[name] for name in words.TEMPERATURE_UNITS})


@dataclass
class Check:
    """One dated check: the line that it gave, and the cell that a finding points at."""

    cell: Cell
    when: float
    as_left: bool
    offset: float
    slope: float
    u_offset: float
    u_slope: float

    @property
    def order(self) -> float:
        """Its place in time, as the sheets order checks: as left comes after as found."""
        return self.when + 0.001 * self.as_left


@dataclass
class Instrument:
    """An instrument of the Setup sheet with its checks in the order of time."""

    cell: Cell
    name: str
    kind: str
    scale: str
    compensated: bool
    reference: float | str
    u_reading: float
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
        """Whether it is a hydrometer, of glass or floating."""
        return "hydrometer" in self.kind

    @property
    def of_glass(self) -> bool:
        """Whether it is a hydrometer of glass, read at a temperature of its own."""
        return self.kind == words.HYDROMETER

    def tolerates(self, check: Check) -> bool:
        """Whether the offset is within tolerance; without a tolerance nothing says it is not."""
        return self.tolerance <= 0 or abs(check.offset) <= self.tolerance * (1 + 1e-9)

    def in_force(self, when: float) -> Check | None:
        """The last check before a moment, as the sheets choose it."""
        # A check on a day without a time counts for all readings of that day.
        moment = when + (0.9 if when == int(when) else 0.01)
        place = bisect.bisect_right(self.checks, moment, key=lambda check: check.order)
        return self.checks[place - 1] if place else None


@dataclass(frozen=True)
class Beer:
    """What corrects a refractometer for alcohol: the original SG, and the factors in use."""

    original: Any
    wort_factor: float
    alcohol_factor: float


@dataclass
class Reading:
    """One reading of one instrument, with the gravity that it gives today.

    `table` is the prefix of the names of its columns.  `beer` is there on the sheets that correct
    for alcohol, and None on the others.  `takes` is the one kind of instrument that is read there,
    if it is one alone.
    """

    table: str
    cell: Cell
    date: Cell
    when: float | None
    batch: str
    stage: str
    instrument: Instrument | None
    instrument_cell: Cell
    shown: Any
    celsius: float | str | None
    check: Check | None
    stored_sg: Any
    beer: Beer | None = None
    takes: str = ""
    sg: float | str | None = None
    u: float | None = None

    @property
    def fermented(self) -> bool:
        """Whether yeast has been at work on the sample."""
        return self.stage in words.FERMENTED_STAGES

    @property
    def misplaced(self) -> bool:
        """Whether it was taken with an instrument of another kind than the sheet takes here."""
        tool = self.instrument
        if tool is None or not self.takes:
            return False
        return not (tool.refracts if self.takes == words.REFRACTOMETER else tool.floats)


@dataclass
class Record:
    """All that was typed, understood as far as it can be."""

    entries: Entries
    instruments: list[Instrument]
    unknown_checks: list[Cell]  #: checks of an instrument that Setup does not name
    bad_checks: list[tuple[Cell, str]]  #: checks that give no calibration, and why
    readings: list[Reading]
    wort_factor: float
    u_wort_factor: float
    to_celsius: str
    scale: str  #: of the gravities that are typed as such
    #: Latest volume of each batch and stage, at 20 °C.
    volumes: dict[tuple[str, str], float] = field(default_factory=dict)


def read(path: Path) -> Record:
    """The record of a workbook; raises `WorkbookProblem` for one that cannot be read."""
    book = entries.read(path, (*TYPED, *STORED, *STORED_MORE), NEEDED)
    unit = _unit(book.single("unit_temperature"), _DEGREES)
    instruments = [
        _instrument(row, unit)
        for row in book.rows("inst", (*INSTRUMENT, *INSTRUMENT_MORE))
        if not is_blank(row["name"].value)
    ]
    record = Record(
        book,
        instruments,
        [],
        [],
        [],
        number(book.cell("wort_factor"), 1.04),
        number(book.cell("u_wort_factor"), 0.01),
        unit,
        _unit(book.single("unit_gravity"), _SCALES),
    )
    by_name = {instrument.name.casefold(): instrument for instrument in reversed(instruments)}
    _add_checks(record, by_name)
    _add_log(record, by_name)
    _add_runoff(record, by_name)
    _add_fermentation(record, by_name)
    _add_pairs(record, by_name)
    return record


def _unit(cell: Cell, spellings: Mapping[str, str]) -> str:
    """The unit that a cell of Setup names; blank is the first."""
    names = list(dict.fromkeys(spellings.values()))
    if is_blank(cell.value):
        return names[0]
    found = spellings.get(str(cell.value).strip().casefold())
    if found is None:
        raise WorkbookProblem(
            f"nothing could be audited: {cell.sheet}!{cell.address} says “{cell.value}”, which is "
            f"not one of {', '.join(names)}"
        )
    return found


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


def gravities(
    readings: Sequence[Reading], record: Record, checks: Sequence[Check | None]
) -> tuple[list[Any], list[Any]]:
    """SG and its standard uncertainty of readings, each with the check given beside it.

    A reading that gives none has the `! ` text of its cell, or None without a reading.
    """
    sg: list[Any] = [None] * len(readings)
    u: list[Any] = [None] * len(readings)
    pairs = list(zip(range(len(readings)), readings, checks, strict=True))
    refracted = [(i, r, r.instrument, c) for i, r, c in pairs if r.instrument and
                 r.instrument.refracts]  # fmt: skip
    if refracted:
        brix = _CALL["REFRACTOMETER_BRIX"](
            [r.shown for _, r, _, _ in refracted],
            ["" if tool.compensated else r.celsius for _, r, tool, _ in refracted],
            [c.offset if c else 0.0 for *_, c in refracted],
            [c.slope if c else 1.0 for *_, c in refracted],
        )
        u_calibration = [
            math.hypot(c.u_offset, x * c.u_slope) if c else tool.tolerance
            for x, (_, _, tool, c) in zip(map(_real, brix), refracted, strict=True)
        ]
        beers = [(place, r.beer) for place, (_, r, _, _) in enumerate(refracted) if r.beer]
        factor, u_factor = record.wort_factor, record.u_wort_factor
        found = _CALL["WORT_SG"](brix, factor)
        spread = _CALL["WORT_SG_UNCERTAINTY"](
            brix, factor, [tool.u_reading for _, _, tool, _ in refracted], u_factor, u_calibration
        )
        for (i, *_), one, its_u in zip(refracted, found, spread, strict=True):
            sg[i], u[i] = one, its_u
        if beers:
            corrected = _CALL["BEER_SG"](
                [beer.original for _, beer in beers],
                [brix[place] for place, _ in beers],
                [beer.wort_factor for _, beer in beers],
                corrections.BALANCE,
                [beer.alcohol_factor for _, beer in beers],
            )
            for (place, _), one in zip(beers, corrected, strict=True):
                i = refracted[place][0]
                sg[i], u[i] = one, None
    floated = [(i, r, r.instrument, c) for i, r, c in pairs if r.instrument and
               r.instrument.floats]  # fmt: skip
    if floated:
        shown = as_sg([r.shown for _, r, _, _ in floated], [t.scale for _, _, t, _ in floated])
        found = _CALL["HYDROMETER_SG"](
            [
                one - c.offset if c and isinstance(one, float) else one
                for one, (*_, c) in zip(shown, floated, strict=True)
            ],
            [r.celsius if tool.of_glass else 20 for _, r, tool, _ in floated],
            [tool.reference if tool.of_glass else 20 for _, _, tool, _ in floated],
        )
        for (i, _, tool, c), one in zip(floated, found, strict=True):
            sg[i] = one
            u[i] = math.hypot(tool.u_reading, c.u_offset if c else tool.tolerance)
    return [None if one == "" else one for one in sg], u


def as_sg(shown: Sequence[Any], scales: Sequence[str]) -> list[Any]:
    """What hydrometers show, as SG; what is no number stays as it is."""
    from_plato = _CALL["GRAVITY_CONVERT"](
        [value if scale == "Plato" else "" for value, scale in zip(shown, scales, strict=True)],
        "Plato",
        "SG",
    )
    return [
        converted if scale == "Plato" else (number(value, math.nan) if _numeric(value) else value)
        for value, converted, scale in zip(shown, from_plato, scales, strict=True)
    ]


def _numeric(value: Any) -> bool:
    return not math.isnan(number(value, math.nan))


def _real(value: Any) -> float:
    return float(value) if isinstance(value, (int, float)) else 0.0


def _celsius(value: Any, unit: str) -> Any:
    """A typed temperature in °C; a text stays, so that its cell function names it."""
    if is_blank(value):
        return None
    degrees = number(value, math.nan)
    return value if math.isnan(degrees) else float(units.convert(degrees, unit, "C"))


def _optional(value: Any) -> float | None:
    found = number(value, math.nan)
    return None if math.isnan(found) else found


def _instrument(row: dict[str, Cell], unit: str) -> Instrument:
    reference = _celsius(row["reference"].value, unit)
    warm = [_celsius(row[key].value, unit) for key in ("compensates_from", "compensates_to")]
    return Instrument(
        row["name"],
        str(row["name"].value).strip(),
        str(row["kind"].value or "").strip().casefold(),
        _SCALES.get(str(row["scale"].value).strip().casefold(), ""),
        str(row["compensated"].value or "").strip().casefold() == words.YES,
        20.0 if reference is None else reference,
        number(row["u_reading"].value, 0.0),
        number(row["tolerance"].value, 0.0),
        number(row["interval"].value, math.inf),
        _optional(row["low"].value),
        _optional(row["high"].value),
        _optional(warm[0]),
        _optional(warm[1]),
    )


def _add_checks(record: Record, by_name: dict[str, Instrument]) -> None:
    """Fit each check, as the Calibration sheet does, and hang it on its instrument."""
    rows = [
        row
        for row in record.entries.rows("check", (*CHECK, *CHECK_MORE))
        if not is_blank(row["instrument"].value)
    ]
    for row in rows:
        instrument = by_name.get(str(row["instrument"].value).strip().casefold())
        when = moment(row["date"].value)
        if instrument is None:
            record.unknown_checks.append(row["instrument"])
            continue
        if when is None:
            record.bad_checks.append((row["date"], "the check has no date: it corrects nothing"))
            continue
        line = _line(row, instrument, record.to_celsius)
        if isinstance(line, str):
            record.bad_checks.append((row["reading_1"], line))
            continue
        left = str(row["state"].value or "").strip().casefold() == words.AS_LEFT
        check = Check(row["reading_1"], when, left, *line)
        bisect.insort(instrument.checks, check, key=lambda c: c.order)


def _line(
    row: dict[str, Cell], instrument: Instrument, unit: str
) -> tuple[float, float, float, float] | str:
    """Offset, slope and their uncertainties, or why there are none."""
    shown = [row[f"reading_{i}"].value for i in (1, 2, 3)]
    known = [row[f"reference_{i}"].value for i in (1, 2, 3)]
    celsius = _celsius(row["temperature"].value, unit)
    celsius = WATER_ALONE if celsius is None else celsius
    if instrument.kind == words.THERMOMETER:
        errors = [
            number(one, math.nan) - number(other, math.nan)
            for one, other in zip(shown, known, strict=True)
            if not is_blank(one)
        ]
        if not errors or any(map(math.isnan, errors)):
            return "a reading or its reference is missing or no number"
        return sum(errors) / len(errors), 1.0, instrument.u_reading / len(errors) ** 0.5, 0.0
    if instrument.refracts:
        true = _CALL["REFRACTOMETER_BRIX"](shown, "" if instrument.compensated else celsius)
        wanted, water = "Brix", 0.0
    elif instrument.floats:
        true = _CALL["HYDROMETER_SG"](
            as_sg(shown, [instrument.scale] * 3),
            celsius if instrument.of_glass else 20,
            instrument.reference if instrument.of_glass else 20,
        )
        wanted, water = "SG", 1.0
    else:
        return f"{instrument.name} has no kind on Setup"
    scale = str(row["reference_scale"].value or "").strip() or wanted
    if scale != wanted:
        known = _CALL["GRAVITY_CONVERT"](known, scale, wanted)
    known = [water if is_blank(known[0]) else known[0], *known[1:]]
    fit = _CALL["CALIBRATION_FIT"](true, known, instrument.u_reading)
    # A text takes the place of the whole answer.
    line = fit[0] if isinstance(fit, list) else [fit]
    if isinstance(line[0], str):
        return line[0].removeprefix("! ") or "the check holds no reading"
    return line[0], line[1], line[2], line[3]


def _reading(
    record: Record,
    by_name: dict[str, Instrument],
    table: str,
    row: dict[str, Cell],
    keys: tuple[str, str, str, str] = ("batch", "instrument", "reading", "temperature"),
    stored: str = "sg",
    beer: Beer | None = None,
    takes: str = "",
) -> Reading:
    """The reading of a line; `keys` are its columns batch, instrument, reading, temperature."""
    batch, instrument_cell, shown, temperature = (row[key] for key in keys)
    instrument = by_name.get(str(instrument_cell.value or "").strip().casefold())
    when = moment(row["date"].value)
    return Reading(
        table,
        shown,
        row["date"],
        when,
        str(batch.value or "").strip(),
        str(row["stage"].value or "").strip() if "stage" in row else "",
        instrument,
        instrument_cell,
        shown.value,
        _celsius(temperature.value, record.to_celsius),
        instrument.in_force(when) if instrument and when is not None else None,
        row[stored].value,
        beer,
        takes,
    )


def _compute(record: Record, readings: Sequence[Reading]) -> None:
    readings = [reading for reading in readings if not reading.misplaced]
    found = gravities(readings, record, [reading.check for reading in readings])
    for reading, sg, u in zip(readings, *found, strict=True):
        reading.sg, reading.u = sg, u


def latest(readings: Sequence[Reading]) -> Reading:
    """The latest of readings, as the sheets choose it: without a date first, then by line."""
    return max(reversed(readings), key=lambda r: 1.0 if r.when is None else r.when)


def _add_log(record: Record, by_name: dict[str, Instrument]) -> None:
    rows = record.entries.rows("log", (*LOG, *LOG_MORE, "sg"))
    lines = [_reading(record, by_name, "log", row) for row in rows]
    record.readings += [line for line in lines if not is_blank(line.shown)]
    # A refractometer gives no gravity of a sample with alcohol.
    _compute(record, [r for r in record.readings
                      if not (r.fermented and r.instrument and r.instrument.refracts)])  # fmt: skip
    volumes = _CALL["VOLUME_AT"](
        [row["volume"].value for row in rows],
        [_celsius(row["volume_temperature"].value, record.to_celsius) for row in rows],
        20,
        [line.sg if isinstance(line.sg, float) else "" for line in lines],
    )
    measured: dict[tuple[str, str], list[tuple[float, int]]] = {}
    for place, (line, volume) in enumerate(zip(lines, volumes, strict=True)):
        if isinstance(volume, float):
            order = (1.0 if line.when is None else line.when, place)
            measured.setdefault((line.batch, line.stage), []).append(order)
    record.volumes = {key: volumes[max(orders)[1]] for key, orders in measured.items()}


def _add_runoff(record: Record, by_name: dict[str, Instrument]) -> None:
    """Readings of the runoff, which share batch, date and refractometer."""
    shared = {key: record.entries.single(f"run_{key}") for key in RUN_SHARED}
    readings = []
    for row in record.entries.rows("run", (*RUN, "sg")):
        if is_blank(row["reading"].value):
            continue
        reading = _reading(record, by_name, "run", row | shared, takes=words.REFRACTOMETER)
        warm = row["temperature"].value
        if isinstance(warm, str) and not is_blank(warm):
            # This sheet refuses even a number that was typed as text.
            reading.celsius = f"! temperature {warm} is not a number"
        readings.append(reading)
    _compute(record, readings)
    record.readings += readings


def _originals(record: Record, rows: Sequence[dict[str, Cell]]) -> list[Any]:
    """The typed original gravities as SG; None where there is none."""
    typed = [row["original"].value for row in rows]
    found = typed
    if typed and record.scale != "SG":
        found = _CALL["GRAVITY_CONVERT"](typed, record.scale, "SG")
    return [None if is_blank(one) else one for one in found]


def _add_fermentation(record: Record, by_name: dict[str, Instrument]) -> None:
    """Readings of beer; a blank original is what the log says went into the fermenter."""
    rows = [
        row
        for row in record.entries.rows("ferment", (*FERMENT, "sg"))
        if not is_blank(row["reading"].value)
    ]
    factors = (record.wort_factor, ALCOHOL_FACTOR)
    if record.entries.cell("beer_factors") == words.FITTED:
        factors = (
            number(record.entries.cell("beer_wort_factor"), factors[0]),
            number(record.entries.cell("beer_alcohol_factor"), factors[1]),
        )
    pitched: dict[str, list[Reading]] = {}
    for reading in record.readings:
        if reading.stage == words.INTO_FERMENTER and isinstance(reading.sg, float):
            pitched.setdefault(reading.batch.casefold(), []).append(reading)
    readings = []
    for row, original in zip(rows, _originals(record, rows), strict=True):
        batch = str(row["batch"].value or "").strip().casefold()
        if original is None and batch and batch in pitched:
            original = latest(pitched[batch]).sg
        readings.append(_reading(record, by_name, "ferment", row, beer=Beer(original, *factors)))
    _compute(record, readings)
    record.readings += readings


def _add_pairs(record: Record, by_name: dict[str, Instrument]) -> None:
    """Both readings of each pair, counted in the fit or not: the sheet corrects them all."""
    rows = record.entries.rows("pair", (*PAIR, "default_sg", "sg"))
    readings = []
    for row, original in zip(rows, _originals(record, rows), strict=True):
        beer = Beer(original, record.wort_factor, ALCOHOL_FACTOR)
        for kind, shown, stored in (
            (words.REFRACTOMETER, "shown_brix", "default_sg"),
            (words.HYDROMETER, "shown_sg", "sg"),
        ):
            if is_blank(row[shown].value):
                continue
            keys = ("beer", kind, shown, f"{shown}_temperature")
            readings.append(_reading(record, by_name, "pair", row, keys, stored, beer, kind))
    _compute(record, readings)
    record.readings += readings
