"""What one argument may be: quantity, unit, limits and explanation, each declared once.

A cell function's annotations name these; the check of each cell, the help in the spreadsheet, the
function reference and the tests of limits all come from here.
"""

from __future__ import annotations

import dataclasses
import datetime
import enum
import functools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

import numpy as np

from xlfuncs.cells.values import (
    BLANK,
    MARK,
    date_serial,
    is_blank,
    is_passed_on,
    numbers_in,
    show,
)
from xlfuncs.science import corrections, gravity, units
from xlfuncs.science.arrays import Array, Real


class Takes(enum.Enum):
    """How much of the sheet one argument takes."""

    CELLS = "a cell or a range"  # element by element
    CELL = "one cell"
    RANGE = "a range"  # answered as a whole


@dataclass(frozen=True)
class Number:
    """A number within limits (both included)."""

    help: str
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # the lower limit itself is not allowed
    dates: bool = False  # dates are taken too, as serial numbers
    blank_means: str = ""  # non-empty: the function answers for a blank, and how
    # Limits that depend on another argument: its name, and the quantity for each of its values.
    depends_on: str = ""
    given: Callable[[str], Number] | None = None
    # Examples of good values, for tests and for the worked example in the reference.
    typical: float = 1.0
    words: ClassVar[Mapping[str, Sequence[str]]] = {}

    def read(self, raw: Any, name: str) -> float | str:
        """The number in a cell, or the text that its answer shows instead.

        >>> BRIX.read("12,4", "brix"), BRIX.read(None, "brix"), BRIX.read(140, "brix")
        (12.4, '', '! brix 140 is outside -1 to 45')
        """
        if type(raw) is float:
            value = raw
        elif is_blank(raw):
            return BLANK
        elif is_passed_on(raw):
            return str(raw)
        elif isinstance(raw, str):
            candidates = numbers_in(raw)
            allowed = [number for number in candidates if self._allows(number)]
            if not candidates:
                return f"{MARK}{name} {show(raw)} is not a number"
            if len(candidates) > 1 and len(allowed) != 1:
                readings = " or ".join(show(number) for number in candidates)
                return f"{MARK}{name} {show(raw)} may be {readings}; type it as a number"
            value = (allowed or candidates)[0]
        elif isinstance(raw, (bool, np.bool_)):
            return f"{MARK}{name} {show(bool(raw))} is not a number"
        elif isinstance(raw, datetime.date):
            if not self.dates:
                return f"{MARK}{name} {show(raw)} is a date, not a number"
            value = date_serial(raw)
        elif isinstance(raw, (int, float, np.floating, np.integer)):
            try:
                value = float(raw)
            except (OverflowError, TypeError):  # beyond what a cell holds; a span of time
                return f"{MARK}{name} {show(raw)} is not a number"
        else:
            return f"{MARK}{name} {show(raw)} is not a number"
        if not math.isfinite(value):
            return f"{MARK}{name} {show(value)} is not a number"
        return value if self._allows(value) else self.refusal(value, name)

    def _allows(self, value: float) -> bool:
        return self.low <= value <= self.high and not (self.above and value == self.low)

    def refusal(self, value: float, name: str) -> str:
        """The text for a number outside the limits, with a guess at the slip where there is one."""
        if self.above and value <= self.low:
            return f"{MARK}{name} {show(value)} is not above {show(self.low)}"
        limits = _within(self.low, self.high)
        return f"{MARK}{name} {show(value)} is outside {limits}{self._guess(value)}"

    def _guess(self, value: float) -> str:
        if self.unit == "°C":
            celsius: Any = units.convert(value, "F", "C")
            if self._allows(celsius):
                return f" °C; if that is °F, it is {celsius:.1f} °C"
            return " °C"
        if self.unit == "SG" and self._allows(value / 1000):
            return f"; as specific gravity that is {value / 1000:.4g}"
        if self.unit == "SG" and 1.21 < value <= 45:
            return "; if that is °Plato or °Brix, convert it with GRAVITY_CONVERT"
        return ""

    def read_many(self, cells: Sequence[Any], name: str) -> tuple[Array, dict[int, str]]:
        """Numbers of a column of cells, and the texts of those that hold none, by position."""
        try:
            plain = {float, int}.issuperset(map(type, cells))
            numbers = np.array(cells if plain else [_plain(cell) for cell in cells], dtype=float)
        except OverflowError:  # a whole number beyond what a cell holds
            numbers = np.full(len(cells), math.nan)
        texts: dict[int, str] = {}
        within = (numbers >= self.low) & (numbers <= self.high)
        if self.above:
            within &= numbers != self.low
        if not within.all():
            for position in np.flatnonzero(~within).tolist():
                answer = self.read(cells[position], name)
                if isinstance(answer, str):
                    texts[position] = answer
                else:
                    numbers[position] = answer
        return numbers, texts

    def limits(self) -> str:
        """The limits as the reference prints them: `0 to 45`, `above 0 to 100`, or what decides."""
        if self.depends_on:
            return f"limits by {self.depends_on}"
        start = "above " if self.above else ""
        return start + _within(self.low, self.high)

    def within(self, low: float, high: float, **changes: Any) -> Number:
        """The same quantity between other limits."""
        return dataclasses.replace(self, low=low, high=high, **changes)


def _within(low: float, high: float) -> str:
    """Limits as messages print them: the ends of a scale, no round numbers, rounded inwards.

    >>> _within(-5.27311, 45.18282), _within(0.98 - 1e-12, 1.206)
    ('-5.2731 to 45.1828', '0.98 to 1.206')
    """
    steps = 1e4 if high < 1e5 else 1.0
    # What is left of a hair does not round a limit up to the next figure.
    hair = 1e-6
    low, high = math.ceil(low * steps - hair) / steps, math.floor(high * steps + hair) / steps
    return f"{show(low)} to {show(high)}"


def _plain(cell: Any) -> float:
    return cell if type(cell) in (float, int) else math.nan


@dataclass(frozen=True)
class Choice:
    """A word out of a list; case does not matter, and other spellings are taken."""

    help: str
    words: Mapping[str, Sequence[str]]  # name -> other spellings
    blank_means: ClassVar[str] = ""

    def read(self, raw: Any, name: str) -> str:
        """The word's name, or the text that the answer shows instead (`! `, error or blank)."""
        if is_blank(raw):
            return BLANK
        if is_passed_on(raw):
            return str(raw)
        found = self.spellings.get(str(raw).strip().casefold())
        if found is None:
            return f"{MARK}{name} {show(raw)} is not one of {', '.join(self.words)}"
        return found

    @functools.cached_property
    def spellings(self) -> dict[str, str]:
        """Every accepted spelling, case folded, to the name."""
        table = {}
        for word, others in self.words.items():
            for spelling in (word, *others):
                table[spelling.casefold()] = word
        return table

    def limits(self) -> str:
        """The names, as the reference prints them."""
        return ", ".join(self.words)


Quantity = Number | Choice


# --- the quantities, one explanation each ------------------------------

_SG = Number(
    "Apparent specific gravity in air, 20 °C/20 °C, such as 1.048", "SG", 0.98, 1.206, typical=1.048
)
BRIX = Number(
    "True °Brix at 20 °C: the refractometer's reading after calibration and temperature correction",
    "°Bx",
    -1,
    45,
    typical=12.4,
)
FACTOR = Number(
    "Wort factor: true °Brix over °Plato of your wort; 1.04 unless you have fitted your own, near "
    "1.025 with 40 % of corn",
    "",
    0.9,
    1.2,
    typical=1.04,
)
OFFSET = Number(
    "Calibration offset: what it shows in distilled water, °Brix", "°Bx", -5, 5, typical=0.2
)
SLOPE = Number("Calibration slope: °Brix shown per true °Brix", "", 0.5, 1.5, typical=1.01)
ALCOHOL_FACTOR = Number(
    "Factor on the refraction of the alcohol alone; 1 unless BEER_FIT gave you your own",
    "", 0.5, 1.5, typical=1.0,
)  # fmt: skip
_CELSIUS = Number("Temperature of the sample, °C", "°C", 5, 45, typical=20.0)
_VOLUME = Number("Volume", "any one unit", 0, 1e9, typical=20.0)
_LITRES = Number("Volume of the wort at 20 °C, litres", "L", 0, 1e9, above=True, typical=25.0)
_WORT_SG = _SG.within(1, 1.206, help="Specific gravity of the wort")
_TARGET_SG = _SG.within(1, 1.206, help="Specific gravity wanted", above=True, typical=1.05)
_BOIL_OFF = Number(
    "Boil-off in an hour, as volume of water at 20 °C",
    "unit of the volume", 0, 1e9, above=True, typical=3.0,
)  # fmt: skip
_EXTRACT_FRACTION = Number(
    "Share of extract in what is added, by mass: dry malt extract 0.94 to 0.98, sugar 1",
    "kg/kg", 0, 1, above=True, typical=0.95,
)  # fmt: skip
_UNCERTAINTY = "Standard uncertainty of "


def _gravity_on(scale: str) -> Number:
    entry = gravity.SCALES[scale]
    return Number(_GRAVITY.help, entry.meaning, entry.low, entry.high)


def _amount_in(unit: str) -> Number:
    entry = units.UNITS[unit]
    return Number(_AMOUNT.help, entry.name, entry.low, entry.high)


_GRAVITY = Number(
    "Gravity on the scale named next",
    depends_on="from_scale",
    given=_gravity_on,
    typical=1.048,
)
_AMOUNT = Number(
    "Amount in the unit named next", depends_on="from_unit", given=_amount_in, typical=5.0
)
_SCALE_WORDS = {name: scale.spellings for name, scale in gravity.SCALES.items()}
_UNIT_WORDS = {name: unit.spellings for name, unit in units.UNITS.items()}

SpecificGravity = Annotated[Real, _SG]
SpecificGravities = Annotated[Array, _SG, Takes.RANGE]
Brix = Annotated[Real, BRIX]
BrixReadings = Annotated[
    Array,
    dataclasses.replace(BRIX, help="True °Brix readings, one for each partner in the other range"),
    Takes.RANGE,
]
WortFactor = Annotated[Real, FACTOR]

GravityValue = Annotated[Real, _GRAVITY]
FromScale = Annotated[str, Choice("Scale of the value", _SCALE_WORDS), Takes.CELL]
ToScale = Annotated[str, Choice("Scale of the answer", _SCALE_WORDS), Takes.CELL]
Amount = Annotated[Real, _AMOUNT]
FromUnit = Annotated[str, Choice("Unit of the value", _UNIT_WORDS), Takes.CELL]
ToUnit = Annotated[str, Choice("Unit of the answer", _UNIT_WORDS), Takes.CELL]

RefractometerReading = Annotated[
    Real, Number("What the refractometer shows, °Brix", "°Bx", -1, 40, typical=12.6)
]
SampleTemperature = Annotated[
    Real,
    dataclasses.replace(
        _CELSIUS,
        help="Temperature of prism and sample, °C; leave blank for an automatically compensated "
        "instrument at room temperature",
    ),
]
Offset = Annotated[Real, OFFSET]
Slope = Annotated[Real, SLOPE]
HydrometerReading = Annotated[
    Real,
    dataclasses.replace(
        _SG.within(0.95, 1.206), help="What the hydrometer shows, as specific gravity"
    ),
]
HydrometerTemperature = Annotated[
    Real, _CELSIUS.within(0, 70, help="Temperature of the sample in the jar, °C")
]
ReferenceTemperature = Annotated[
    Real, _CELSIUS.within(0, 40, help="Temperature printed on the hydrometer, °C")
]
# None, or NaN in a range, stands for a water temperature that was left blank.
WaterTemperature = Annotated[
    Real | None,
    _CELSIUS.within(
        0,
        40,
        help="Temperature of the water that the scale compares with, °C: 4 for a scale marked 20/4 "
        "or 15/4; blank: the reference temperature",
        blank_means="as reference_temperature",
    ),
]
Expansion = Annotated[
    Real,
    Number(
        "Cubic expansion of the hydrometer per °C: glass 0.000025, plastic about 0.0002",
        "per °C", 0, 0.001, typical=0.000025,
    ),
]  # fmt: skip
ReadingUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "one reading, °Brix", "°Bx", 0, 5, typical=0.1)
]
FactorUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the wort factor", "", 0, 0.2, typical=0.012)
]
CalibrationUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the calibration, °Brix", "°Bx", 0, 5, typical=0.05)
]

_SCALE_READING = Number(
    "What the instrument showed, one for each reference", "scale of the instrument", -5, 45,
    typical=0.2,
)  # fmt: skip
CalibrationReadings = Annotated[Array, _SCALE_READING, Takes.RANGE]
CalibrationReferences = Annotated[
    Array,
    dataclasses.replace(
        _SCALE_READING, help="What it ought to have shown: 0 for distilled water", typical=0.0
    ),
    Takes.RANGE,
]
PointUncertainty = Annotated[
    float,
    Number(_UNCERTAINTY + "one reading", "scale of the instrument", 0, 5, above=True, typical=0.1),
    Takes.CELL,
]
# None stands for references that are sure, NaN for one among them.
ReferenceUncertainties = Annotated[
    Array | None,
    Number(
        _UNCERTAINTY + "each reference, by the scale that weighed it; blank, as for water: 0",
        "scale of the instrument", 0, 5, blank_means="sure", typical=0.05,
    ),
    Takes.RANGE,
]  # fmt: skip
CheckedOffset = Annotated[
    Real,
    Number(
        "Offset found at the last check", "scale of the instrument", -45, 45,
        blank_means="not checked", typical=0.1,
    ),
]  # fmt: skip
OffsetTolerance = Annotated[
    Real, Number("Largest offset that is tolerated", "scale of the instrument", 0, 45, typical=0.2)
]
DaysSinceCheck = Annotated[
    Real,
    Number("Days since the last check", "days", 0, 36525, blank_means="not checked", typical=12.0),
]
OffsetUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the offset", "scale of the instrument", 0, 45, typical=0.05)
]
IntervalDays = Annotated[
    Real, Number("Days from one check to the next", "days", 0, 36525, above=True, typical=30.0)
]

Volume = Annotated[Real, _VOLUME]
WortVolume = Annotated[
    Real, dataclasses.replace(_VOLUME, help="Volume of the wort at 20 °C", above=True)
]
WortLitres = Annotated[Real, _LITRES]
WortGravity = Annotated[Real, _WORT_SG]
TargetGravity = Annotated[Real, _TARGET_SG]
ThinnerGravity = Annotated[Real, dataclasses.replace(_TARGET_SG, typical=1.04)]
BlendVolumes = Annotated[
    Array, dataclasses.replace(_VOLUME, help="Volumes of the parts at 20 °C"), Takes.RANGE
]
BlendGravities = Annotated[
    Array,
    dataclasses.replace(_SG, help="Specific gravities of the parts, one for each volume"),
    Takes.RANGE,
]
# None, rather than a number, stands for gravities that were not given.
KnownBlendGravities = Annotated[
    Array | None,
    dataclasses.replace(
        _SG,
        help="Specific gravities of the beers, one for each volume; leave out if not known",
        blank_means="not known",
    ),
    Takes.RANGE,
]
BlendAbvs = Annotated[
    Array,
    Number("ABV of the parts, one for each volume", "% by volume", 0, 20, typical=5.2),
    Takes.RANGE,
]
FirstGravity = Annotated[Real, dataclasses.replace(_SG, help="Specific gravity of A")]
SecondGravity = Annotated[Real, dataclasses.replace(_SG, help="Specific gravity of B")]
BlendTarget = Annotated[
    Real, dataclasses.replace(_SG, help="Specific gravity wanted, between those of A and B")
]
ExtractFraction = Annotated[Real, _EXTRACT_FRACTION]
VolumeTemperature = Annotated[
    Real,
    _CELSIUS.within(
        0,
        100,
        help="Temperature of the wort when its volume was read, °C; marks made on a cold kettle "
        "read 0.3 to 0.4 % short when hot",
        typical=65.0,
    ),
]
ToTemperature = Annotated[
    Real, _CELSIUS.within(0, 100, help="Temperature at which the volume is wanted, °C")
]

Measured = Annotated[Real, Number("Measured value, any unit", "", -1e9, 1e9, typical=1.048)]
Target = Annotated[
    Real, Number("Target, in the unit of the measured value", "", 0, 1e9, above=True, typical=1.05)
]
Tolerance = Annotated[
    Real, Number("How far off the target is still on target", "", 0, 1e9, typical=0.002)
]
MeasuredUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the measured value", "", 0, 1e9, typical=0.0005)
]

# --- beer

_ORIGINAL = dataclasses.replace(
    _SG.within(1.0, 1.106), help="Specific gravity of the wort before fermentation, to 25 °Plato"
)
_BEER_SG = dataclasses.replace(
    _SG,
    help="Specific gravity of the beer by hydrometer, degassed (dissolved gas adds up to 0.001), "
    "or corrected by BEER_SG",
    typical=1.01,
)
_BEER_BRIX = dataclasses.replace(
    BRIX, help="True °Brix that the beer shows on the refractometer, near 20 °C", typical=6.2
)

OriginalGravity = Annotated[Real, _ORIGINAL]
OneOriginalGravity = Annotated[float, _ORIGINAL, Takes.CELL]
OriginalGravities = Annotated[Array, _ORIGINAL, Takes.RANGE]
BeerGravity = Annotated[Real, _BEER_SG]
BeerGravities = Annotated[
    Array,
    dataclasses.replace(_BEER_SG, help="Specific gravities of the same samples by hydrometer"),
    Takes.RANGE,
]
BeerBrix = Annotated[Real, _BEER_BRIX]
OneBeerBrix = Annotated[float, _BEER_BRIX, Takes.CELL]
BeerBrixReadings = Annotated[
    Array,
    dataclasses.replace(_BEER_BRIX, help="True °Brix of samples of beer, one for each original"),
    Takes.RANGE,
]
OneWortFactor = Annotated[float, FACTOR, Takes.CELL]
AlcoholFactor = Annotated[Real, ALCOHOL_FACTOR]
CorrectionMethod = Annotated[
    str,
    Choice("How alcohol is corrected for", dict.fromkeys(corrections.METHODS, ())),
    Takes.CELL,
]
OriginalUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the original gravity, SG", "", 0, 0.05, typical=0.001)
]
ModelUncertainty = Annotated[
    Real, Number(_UNCERTAINTY + "the model itself, SG", "", 0, 0.05, typical=0.0013)
]

# --- brew day ------------------------------

GrainMass = Annotated[Real, Number("Mass of the grain, kg", "kg", 0, 1e6, above=True, typical=5.0)]
ExtractPotential = Annotated[
    Real,
    Number(
        "Laboratory extract of the grain, fraction of its mass as it is: pale malt about 0.80",
        "kg/kg", 0, 1, above=True, typical=0.80,
    ),
]  # fmt: skip
RunoffVolumes = Annotated[
    Array,
    dataclasses.replace(_VOLUME, help="Volume collected when the runoff was measured"),
    Takes.RANGE,
]
RunoffGravities = Annotated[
    Array,
    dataclasses.replace(_SG, help="Specific gravity of the runoff then, not of the kettle"),
    Takes.RANGE,
]
LimitGravity = Annotated[
    float,
    dataclasses.replace(
        _TARGET_SG, help="Specific gravity of the runoff at which you stop", typical=1.01
    ),
    Takes.CELL,
]
LevelUncertainty = Annotated[
    float,
    Number(
        _UNCERTAINTY + "all readings together, SG: that of the calibration", "SG", 0, 0.05,
        typical=0.0002,
    ),
    Takes.CELL,
]  # fmt: skip
ShareUncertainty = Annotated[
    float,
    Number(
        _UNCERTAINTY + "all readings together, as a share of SG - 1: that of wort factor and slope",
        "", 0, 0.2, typical=0.015,
    ),
    Takes.CELL,
]  # fmt: skip
BoilMinutes = Annotated[Real, Number("Minutes of boiling", "min", 0, 10_000, typical=60.0)]
BoilOff = Annotated[Real, _BOIL_OFF]
KettleLitres = Annotated[
    float,
    dataclasses.replace(_LITRES, help="Volume in the kettle now, litres at 20 °C"),
    Takes.CELL,
]
KettleGravity = Annotated[
    float, dataclasses.replace(_WORT_SG, help="Specific gravity in the kettle now"), Takes.CELL
]
TargetLitres = Annotated[
    float,
    dataclasses.replace(
        _LITRES, help="Volume that the boil is to end at, litres at 20 °C", typical=22.0
    ),
    Takes.CELL,
]
KettleTarget = Annotated[float, _TARGET_SG, Takes.CELL]
KettleBoilOff = Annotated[
    float,
    dataclasses.replace(_BOIL_OFF, help="Boil-off in an hour, litres of water at 20 °C", unit="L"),
    Takes.CELL,
]
KettleExtract = Annotated[float, _EXTRACT_FRACTION, Takes.CELL]

# --- reference solutions ------------------------------

StandardGravity = Annotated[
    Real, dataclasses.replace(_WORT_SG, help="Specific gravity of the solution", typical=1.05)
]
SolutionMass = Annotated[
    float,
    Number("Mass of the whole solution, g", "g", 0, 1e9, above=True, typical=100.0),
    Takes.CELL,
]
WaterLitres = Annotated[
    float,
    Number("Volume of distilled water at 20 °C, litres", "L", 0, 1e6, above=True, typical=1.0),
    Takes.CELL,
]

# --- fermentation

FermentationDays = Annotated[
    Array,
    Number(
        "Days of the readings: counted from any start, or dates", "days", 0, 200_000,
        dates=True, typical=1.0,
    ),
    Takes.RANGE,
]  # fmt: skip
FermentationGravities = Annotated[
    Array,
    dataclasses.replace(_SG, help="Specific gravities, corrected for alcohol, one for each day"),
    Takes.RANGE,
]
GravityUncertainty = Annotated[
    float,
    Number(_UNCERTAINTY + "one gravity, SG", "", 0, 0.02, above=True, typical=0.001),
    Takes.CELL,
]
