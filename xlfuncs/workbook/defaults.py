"""What a blank on Setup stands for, and the doubts that the sheets and the audit reckon with."""

from __future__ import annotations

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


class Reach(NamedTuple):
    """From where to where a number typed on Setup counts, in its own unit."""

    what: str
    low: float
    high: float

    def holds(self, value: float) -> bool:
        """Whether it counts."""
        return self.low <= value <= self.high

    def refusal(self, value: str) -> str:
        """What is said of one that does not."""
        return f"{self.what} {value} {self.outside}"

    @property
    def outside(self) -> str:
        """Its limits, in the words of a refusal."""
        return f"is no number from {plain_number(self.low)} to {plain_number(self.high)}"


def plain_number(value: float) -> str:
    """A number without an exponent, as a formula and a person read it alike.

    >>> plain_number(1e-6), plain_number(45.0)
    ('0.000001', '45')
    """
    return f"{value:f}".rstrip("0").rstrip(".")


#: Doubts that weights and squares are made of, so that none of them overflows or vanishes.  What
#: lies outside is named on Setup and by the audit, and counts as a blank.
DOUBTS = {
    "inst_division": Reach("smallest division", 1e-6, 10),
    "inst_fine": Reach("how finely you can read it", 1e-6, 5),
    "inst_tolerated": Reach("offset put up with", 1e-6, 45),
    "set_u_wort_factor": Reach("how sure of the wort factor", 0, 0.2),
    "set_u_temperature": Reach("how sure of temperatures", 0, 20),
}
#: One that lies outside refuses what is reckoned with it.
FACTOR = Reach("wort factor", 0.9, 1.2)

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
#: Dates that count, as serial numbers: 2000 to 2099.
FIRST_DATE, LAST_DATE = 36526, 73050
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
