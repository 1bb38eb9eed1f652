"""What a blank on Setup stands for, and the doubts that the sheets and the audit reckon with."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

from xlfuncs.science import budget, gravity, repeats, sucrose
from xlfuncs.workbook import words


class Instrument(NamedTuple):
    """An instrument of one kind, in the working scale: °Bx, SG or °C (common practice)."""

    fine: float  # how finely one can read it, standard uncertainty
    tolerance: float  # largest offset that is put up with
    interval: float  # days from check to check


BY_KIND = {
    words.REFRACTOMETER: Instrument(0.1, 0.2, 90),
    words.HYDROMETER: Instrument(0.001, 0.002, 365),
    words.FLOATING: Instrument(0.001, 0.003, 90),
    words.THERMOMETER: Instrument(0.5, 1.0, 365),
}


_BLANK = "taken as blank"
#: Of a number that is refused, and of a text, for which a blank counts.
_REFUSED = "nothing is reckoned with it"


@dataclass(frozen=True)
class Reach:
    """From where to where a typed number counts, in its own unit."""

    what: str
    low: float
    high: float
    instead: str = _BLANK  # what is done with what does not count
    other: Other | None = None  # limits in another unit that Setup offers
    date: bool = False

    def holds(self, value: float, *units: str) -> bool:
        """Whether it counts, where these units are chosen on Setup."""
        if self.other and self.other.unit in units:
            return self.other.low <= value <= self.other.high
        return self.low <= value <= self.high

    def refusal(self, value: str) -> str:
        """What is said of one that does not."""
        return f"{self.what} {value} {self.outside}"

    @property
    def limits(self) -> str:
        """Its limits in words, in every unit."""
        if self.date:
            return "from 2000 to 2099"
        if self.other:
            other = f"{plain_number(self.other.low)} to {plain_number(self.other.high)}"
            return f"from {self._ends} {self.other.own_shown} ({other} {self.other.shown})"
        return f"from {self._ends}"

    @property
    def _ends(self) -> str:
        return f"{plain_number(self.low)} to {plain_number(self.high)}"

    @property
    def outside(self) -> str:
        """Its limits, in the words of a refusal."""
        return f"is no {'date' if self.date else 'number'} {self.limits}"


class Other(NamedTuple):
    """Limits in another unit."""

    cell: str  # of Setup: the unit that is chosen
    switch: str  # of Setup: 1 where that is this unit, else 0
    unit: str
    own_shown: str
    shown: str
    low: float
    high: float


def plain_number(value: float) -> str:
    """A number without an exponent, as a formula and a person read it alike.

    >>> plain_number(1e-6), plain_number(45.0)
    ('0.000001', '45')
    """
    return f"{value:f}".rstrip("0").rstrip(".")


#: Dates that count, as serial numbers: 2000 to 2099.
FIRST_DATE, LAST_DATE = 36526, 73050

#: Amounts in the units of Setup: what no brewery reaches.
_MOST = 1e6


def _celsius(what: str, high: float, instead: str = _BLANK) -> Reach:
    other = Other("unit_temperature", "unit_f", "F", "°C", "°F", 32, high * 1.8 + 32)
    return Reach(what, 0, high, instead, other=other)


_FACTOR = Reach("wort factor", 0.9, 1.2, _REFUSED)
#: Doubts are such that weights and squares of them neither overflow nor vanish.
_FACTOR_U = Reach("how sure of the wort factor", 0, 0.2)
#: Every number that is typed on Setup.  What lies outside is named beside its cell and by the
#: audit; it counts as a blank, or refuses what is reckoned with it where a blank would mislead.
NUMBERS = {
    "as_of": Reach("date", FIRST_DATE, LAST_DATE, "taken as today", date=True),
    "kettle_size": Reach("volume of the kettle", 1e-6, _MOST),
    "boil_off": Reach("boil-off", 1e-6, _MOST),
    "set_u_boil_off": Reach("how sure of the boil-off", 0, 1),
    "set_minutes": Reach("minutes of the boil", 0, 10000),
    "set_u_volume": Reach("how sure of a volume", 0, 0.2),
    "set_potential": Reach("extract potential", 0.01, 1),
    "set_fraction": Reach("extract in dry extract", 0.01, 1),
    "set_wort_factor": _FACTOR,
    "set_u_wort_factor": _FACTOR_U,
    "set_beer_wort_factor": replace(_FACTOR, what="wort factor for beer"),
    "set_beer_u_wort_factor": replace(_FACTOR_U, what="how sure of the wort factor for beer"),
    "set_beer_alcohol_factor": Reach("alcohol factor for beer", 0.5, 1.5, _REFUSED),
    "set_beer_u_model": Reach("± of the alcohol correction", 0, 0.05),
    "set_tolerance": Reach("tolerance of gravities", 0, 0.05,
                           other=Other("unit_gravity", "unit_p", "Plato", "SG", "°Plato", 0, 12)),
    "set_tolerance_volume": Reach("tolerance of volumes", 0, _MOST),
    "set_u_temperature": Reach("how sure of temperatures", 0, 20),
    "inst_reference": _celsius("reads true at", 40, _REFUSED),
    "inst_water": _celsius("against water at", 40, _REFUSED),
    "inst_low": Reach("start of its range", -5, 150),
    "inst_high": Reach("end of its range", -5, 150),
    "inst_division": Reach("smallest division", 1e-6, 10),
    "inst_compensates_from": _celsius("compensates from", 50),
    "inst_compensates_to": _celsius("compensates to", 50),
    "inst_fine": Reach("how finely you can read it", 1e-6, 5),
    "inst_tolerated": Reach("offset put up with", 1e-6, 45),
    "inst_interval": Reach("days from check to check", 1, 3660),
}  # fmt: skip
#: The same of Batches: what lies outside counts as a blank, for which that of Setup counts.
PLANS = {
    "batch_grain": Reach("grain", 0, _MOST, _REFUSED),
    "batch_potential": replace(NUMBERS["set_potential"], what="extract of the grain"),
    "batch_minutes": NUMBERS["set_minutes"],
    "batch_tolerance": replace(NUMBERS["set_tolerance"], what="tolerance"),
    "batch_tolerance_volume": NUMBERS["set_tolerance_volume"],
}
#: All of them.
REACHES = NUMBERS | PLANS

#: Differences of a scale in the working one: °Bx for a refractometer, SG for a hydrometer.
BRIX_PER_SG = round(
    float(gravity.convert(1.05, "SG", "Brix") - gravity.convert(1.04, "SG", "Brix")) * 100, 0
)
SG_PER_PLATO = round(
    float(gravity.convert(12.5, "Plato", "SG") - gravity.convert(11.5, "Plato", "SG")), 4
)

BOIL_MINUTES, BOIL_OFF_U, VOLUME_U = 60.0, 0.1, 0.01
POTENTIAL, FRACTION = 0.8, 0.95
TOLERANCE_SG, TOLERANCE_PLATO = 0.002, 0.5
#: Share of a planned volume.
TOLERANCE_VOLUME = 0.04

#: No true value of a check lies above, whatever its scale, and no reading of a thermometer: there
#: it is one in °F.
LARGEST_TRUE = 250
#: Doubt of a solution that was weighed, °Bx (common practice: a scale to 0.1 g on 100 g).
SOLUTION_U = 0.05
#: What a degree of doubt in the sample's temperature does to a reading, °Bx and SG.
BRIX_PER_DEGREE = round(float(budget.temperature_slope(12.0, 20.0)), 3)
SG_PER_DEGREE = 0.0003
#: What a check without temperature counts as, °C; a scale of Setup without one reads true there.
ROOM = 20.0
#: A jar and a drop are a pair when they were read within so many days.
PAIR_DAYS = 0.25
#: Readings within so many days are of one wort; a hair more than the half hour.
TOGETHER_DAYS = round(repeats.TOGETHER_MINUTES / 1440 + 1e-6, 6)
#: Steel grows so much by volume per °C (three times the linear 16e-6 of stainless steel, common
#: practice), from where the marks of a kettle were made: cold, or at the boil.
STEEL_EXPANSION = 0.000048
MARKED_COLD, MARKED_HOT = 20.0, 100.0
#: Above this pH of the cooled runoff, husk tannins dissolve (common practice).
HIGHEST_PH = 5.8
#: Boiling wort takes so much more room than at 20 °C (ICUMSA SPS-4, wort of 12 °Plato).
HOT = round(float(sucrose.density(12, 20) / sucrose.density(12, 100)), 3)
