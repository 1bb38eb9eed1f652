"""How far each figure lies from what is published: one list, held by a test and printed for people.

`python -m tests.accuracy` writes docs/accuracy.md; `test_accuracy.py` compares.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from tests.published import Table
from xlfuncs.science import (
    beer,
    blending,
    ethanol,
    hydrometer,
    standards,
    sucrose,
    units,
    water,
)
from xlfuncs.science.arrays import polynomial
from xlfuncs.science.corrections import REGRESSIONS

_SIXTY_FAHRENHEIT = 140 / 9
_MOST_SOURCES = 3


@dataclass(frozen=True)
class Check:
    """Residuals of the project against the rows of one table."""

    figure: str
    functions: str  # cell functions that rest on it, by name, apart by blanks
    table: str
    unit: str
    residuals: Callable[[Table], np.ndarray]
    rows: Callable[[Table], np.ndarray] = lambda table: np.ones(len(table.rows), dtype=bool)
    tolerance: str = "tolerance"
    fitted: bool = False  # a number of the model was fitted to these very rows

    def measure(self) -> tuple[Table, np.ndarray, np.ndarray]:
        """The table, absolute residuals and tolerances of the rows that count."""
        table = Table(self.table)
        counted = self.rows(table)
        residuals = np.abs(np.broadcast_to(self.residuals(table), counted.shape))
        return table, residuals[counted], table[self.tolerance][counted]

    def sources(self) -> tuple[str, str]:
        """Who published the rows, and how they are known."""
        table = Table(self.table)
        kept = [row for row, counts in zip(table.rows, self.rows(table), strict=True) if counts]
        names, how = ({row[key] for row in kept} for key in ("source", "how"))
        shown = sorted(names) if len(names) <= _MOST_SOURCES else [f"{len(names)} sources"]
        return "; ".join(shown), ", ".join(sorted(how))


def _half_percent(table: Table) -> np.ndarray:
    return table["brix"] % 1 != 0


def _temperature(table: Table) -> np.ndarray:
    corrected = sucrose.brix_at(table["reading"], table["temperature"])
    return corrected - table["reading"] - table["correction"]


def _from_60_fahrenheit(sg: np.ndarray) -> np.ndarray:
    return hydrometer.sg(sg, _SIXTY_FAHRENHEIT, _SIXTY_FAHRENHEIT)


def beers_of_1917(table: Table) -> beer.Beer:
    """Those beers by the exact balance."""
    original = sucrose.plato(_from_60_fahrenheit(table["wort_sg"]))
    return beer.from_sg(original, _from_60_fahrenheit(table["beer_sg"]))


def _spirit_density(table: Table) -> np.ndarray:
    return polynomial(ethanol.DENSITY_20, table["abw"] / 100)


def _spirit_index(table: Table) -> np.ndarray:
    """Of a distillate: a beer without extract."""
    return beer.Beer(0.0 * table["abw"], table["abw"] / 100).refractive_index()


def _alcohol_of_1917(table: Table) -> np.ndarray:
    return beers_of_1917(table).abv - 1000 * table["alcohol"] / ethanol.DENSITY


def _alcohol_by_barth(table: Table) -> np.ndarray:
    """Mean over worts and attenuations, for each wort factor."""
    beers = beer.from_attenuation(*np.meshgrid(np.linspace(9, 18, 10), np.linspace(50, 75, 11)))
    means = []
    for row in table.rows:
        index = beers.refractive_index(float(row["wort_factor"]))
        alcohol = float(row["by_index"]) * (index - sucrose.refractive_index(0.0))
        alcohol = alcohol - float(row["by_gravity"]) * (beers.sg - 1)
        means.append(np.mean(alcohol - beers.abw))
    return np.array(means)


def _savel(table: Table) -> np.ndarray:
    found = beer.from_brix(table["original"], table["brix"]).sg
    return found - sucrose.sg(table["apparent_extract"])


def _regressions(table: Table) -> np.ndarray:
    return np.array(
        [
            REGRESSIONS[row["method"]].sg(float(row["initial"]), float(row["current"]))
            - float(row["sg"])
            for row in table.rows
        ]
    )


def _syrup(table: Table) -> np.ndarray:
    seen = sucrose.brix(table["index"])
    return sucrose.brix_at(seen, table["temperature"]) - sucrose.brix(table["index_20"])


def _factors(table: Table) -> np.ndarray:
    answers = [units.convert(1.0, row["from"], row["to"]) for row in table.rows]
    return np.array(answers) / table["factor"] - 1


def _points(table: Table) -> np.ndarray:
    answers = [units.convert(float(row["value"]), row["from"], row["to"]) for row in table.rows]
    return (np.array(answers) - table["expected"]) / np.maximum(1, np.abs(table["expected"]))


def _barrel(table: Table) -> np.ndarray:
    litres = units.convert(1.0, "US bbl", "L")
    kilograms = blending.extract_mass(litres, sucrose.sg(table["plato"]))
    return units.convert(kilograms, "kg", "lb") - table["pounds"]


def _shrinkage(table: Table) -> np.ndarray:
    hot = sucrose.density(table["plato"], table["temperature"])
    return sucrose.density(table["plato"]) / hot - table["ratio"]


def _hydrometer_c440(table: Table) -> np.ndarray:
    corrected = hydrometer.sg(sucrose.sg(table["reading"]), table["temperature"])
    return sucrose.plato(corrected) - table["reading"] - table["correction"]


def _hydrometer_60f(table: Table) -> np.ndarray:
    celsius = units.convert(table["fahrenheit"], "F", "C")
    return 1000 * (hydrometer.sg(1.05, celsius, _SIXTY_FAHRENHEIT) - 1.05) - table["points"]


def _to_21(table: Table) -> np.ndarray:
    return table["temperature"] <= 21


_BY_INDEX = "GRAVITY_CONVERT REFRACTOMETER_BRIX WORT_SG WORT_BRIX BEER_SG ORIGINAL_SG"
_BY_DENSITY = (
    "GRAVITY_CONVERT WORT_SG HYDROMETER_SG BLEND_SG EXTRACT_MASS SUCROSE_STANDARD BEER_SG BEER_ABV"
)

CHECKS = (
    Check("Refractive index of sugar solutions, whole per cents 0 to 45", _BY_INDEX,
          "sucrose_index", "", lambda t: sucrose.refractive_index(t["brix"]) - t["index"],
          lambda t: ~_half_percent(t), fitted=True),
    Check("The same, the half per cents 10.5 to 29.5", _BY_INDEX,
          "sucrose_index", "", lambda t: sucrose.refractive_index(t["brix"]) - t["index"],
          _half_percent),
    Check("Density of sugar solutions, 20 °C", _BY_DENSITY,
          "sucrose_density_crc", "g/cm³",
          lambda t: sucrose.density(t["plato"]) / 1000 - t["density"]),
    Check("The same, 0 to 100 °C", "VOLUME_AT HYDROMETER_SG REFRACTOMETER_BRIX",
          "sucrose_density_sps4", "kg/m³",
          lambda t: sucrose.density(t["plato"], t["temperature"]) - t["density"]),
    Check("°Plato of a specific gravity", _BY_DENSITY,
          "plato_rows", "°P", lambda t: sucrose.plato(t["sg"]) - t["plato"]),
    Check("Grams in a weighed solution", "SUCROSE_STANDARD",
          "plato_rows", "g in 100 g",
          lambda t: standards.sucrose_standard(t["sg"], 100.0)[0] - t["plato"]),
    Check("Extract in a litre, as sucrose", "EXTRACT_MASS MASH_EFFICIENCY",
          "sucrose_molarity_crc", "mol/L",
          lambda t: blending.extract_per_litre(sucrose.sg(t["plato"])) / 342.297 - t["molarity"]),
    Check("Extract in a US barrel", "EXTRACT_MASS MASH_EFFICIENCY",
          "extract_in_barrel", "lb", _barrel),
    Check("Hot wort's volume", "VOLUME_AT", "wort_expansion", "of the volume", _shrinkage),
    Check("Density of water", "HYDROMETER_SG REFRACTOMETER_BRIX",
          "water_density", "kg/m³", lambda t: water.density(t["temperature"]) - t["density"]),
    Check("Refractive index of water", "REFRACTOMETER_BRIX",
          "water_index", "", lambda t: water.refractive_index(t["temperature"]) - t["index"]),
    Check("Refractometer at 10 to 21 °C", "REFRACTOMETER_BRIX",
          "refractometer_temperature_1936", "°Bx", _temperature, _to_21, fitted=True),
    Check("Refractometer at 22 to 30 °C", "REFRACTOMETER_BRIX",
          "refractometer_temperature_1936", "°Bx", _temperature, lambda t: ~_to_21(t)),
    Check("Refractometer at 30 and 45 °C, sugars of starch", "REFRACTOMETER_BRIX",
          "syrup_index", "°Bx", _syrup),
    Check("Hydrometer at 10 to 40 °C", "HYDROMETER_SG",
          "hydrometer_temperature_c440", "°Bx", _hydrometer_c440),
    Check("Hydrometer made for 60 °F", "HYDROMETER_SG",
          "hydrometer_temperature_60f", "points", _hydrometer_60f),
    Check("Specific gravity of alcohol and water", "BEER_SG BEER_ABV BEER_ABW",
          "ethanol_water_r22", "SG",
          lambda t: sucrose.apparent(_spirit_density(t)) - t["sg"], tolerance="sg_tolerance"),
    Check("Their density by another handbook", "BEER_SG BEER_ABV BEER_ABW",
          "ethanol_crc", "g/cm³",
          lambda t: _spirit_density(t) / 1000 - t["density"],
          tolerance="density_tolerance"),
    Check("Refractive index of alcohol and water, 0.5 to 13 %", "BEER_SG ORIGINAL_SG",
          "ethanol_crc", "", lambda t: _spirit_index(t) - t["index"],
          lambda t: t["abw"] <= 13, "index_tolerance", fitted=True),
    Check("The same, above 13 %", "BEER_SG ORIGINAL_SG",
          "ethanol_crc", "", lambda t: _spirit_index(t) - t["index"],
          lambda t: t["abw"] > 13, "index_tolerance"),
    Check("Alcohol of 20 beers from wort and beer by hydrometer", "BEER_ABV BEER_ABW REAL_EXTRACT",
          "beers_1917", "% ABV", _alcohol_of_1917),
    Check("Alcohol of beers from refraction and density, on average", "BEER_SG ORIGINAL_SG",
          "barth_1905", "% by mass", _alcohol_by_barth),
    Check("Beers of 11.5 °P by refraction", "BEER_SG", "savel_1971", "SG", _savel),
    Check("Published regressions, digit for digit", "BEER_SG BEER_SG_SPREAD",
          "refractometer_regressions", "SG", _regressions),
    Check("Energy, by the common rules", "BEER_ENERGY", "fermentation_examples", "kcal/100 mL",
          lambda t: beer.from_sg(t["original"], t["sg"]).energy - t["kcal"],
          tolerance="energy_tolerance"),
    Check("Real attenuation, by the common rules", "REAL_ATTENUATION APPARENT_ATTENUATION",
          "fermentation_examples", "%",
          lambda t: 100 * beer.EXTRACT_PER_ETHANOL * t["abw"]
          / (beer.EXTRACT_PER_ETHANOL * t["abw"] + t["real_extract"]) - t["real_attenuation"],
          tolerance="attenuation_tolerance"),
    Check("Unit factors", "UNIT_CONVERT", "unit_factors", "of the value", _factors),
    Check("Units that are no plain factor", "UNIT_CONVERT", "unit_points", "of the value",
          _points),
)  # fmt: skip

#: Functions whose arithmetic no table can show: what holds them instead, and where.
OTHERWISE: Mapping[str, tuple[str, str]] = {
    "BLEND_SG": ("mass and extract before and after", "tests/science/test_blending.py"),
    "BLEND_VOLUME": ("mass and extract before and after", "tests/science/test_blending.py"),
    "BLEND_ABV": ("ethanol before and after", "tests/science/test_blending.py"),
    "BLEND_SHARE": ("the blend carried out", "tests/science/test_blending.py"),
    "DILUTION_WATER": ("mass and extract before and after", "tests/science/test_blending.py"),
    "BOIL_OFF_VOLUME": ("the dilution undone", "tests/science/test_blending.py"),
    "EXTRACT_TO_ADD": ("mass and extract before and after", "tests/science/test_blending.py"),
    "BOIL_SG": ("worked by hand in docs/kettle.md", "tests/functions/test_kettle_document.py"),
    "BOIL_MINUTES": ("water boiled away, counted", "tests/science/test_kettle.py"),
    "KETTLE_OPTIONS": ("each option carried out", "tests/science/test_kettle.py"),
    "RUNOFF_VOLUME": (
        "scipy's curve_fit; coverage by simulation", "tests/science/test_runoff.py"),
    "MALT_EXTRACT_STANDARD": ("the solution made", "tests/science/test_standards.py"),
    "CALIBRATION_FIT": (
        "JCGM 100 H.3; scipy's linregress", "tests/science/test_monte_carlo.py"),
    "CALIBRATION_STATUS": (
        "risk of each wording by simulation", "tests/science/test_calibration.py"),
    "TARGET_CHECK": ("risk of each wording by simulation", "tests/science/test_conformity.py"),
    "WORT_FACTOR_FIT": ("scipy's least squares", "tests/science/test_wort.py"),
    "WORT_SG_UNCERTAINTY": ("coverage by simulation", "tests/science/test_coverage.py"),
    "BEER_SG_UNCERTAINTY": ("coverage by simulation", "tests/science/test_coverage.py"),
    "BEER_FIT": ("scipy's least squares on the same posterior", "tests/science/test_beer_fit.py"),
    "FERMENTATION_FORECAST": ("drawn fermentations", "tests/science/test_fermentation.py"),
    "FERMENTATION_STATE": ("drawn fermentations", "tests/science/test_fermentation.py"),
    "CELLS_VERSION": ("a text", "tests/functions/test_catalogue.py"),
}  # fmt: skip

_HEAD = """# How accurate each function is

Written by `python -m tests.accuracy` from the tables in `tests/tables/`; a test compares this page
with what the program gives, and every difference with what is allowed for it: the rounding of the
source, or what that claims. Each row of a table names its source.

How known: `found` read in a copy of the document, `library` from a general scientific library,
`memory` recalled and cross-checked, `computed` a cross-check only. *Fitted* means that a number of
the model was adjusted to these very rows, so that they show how well it follows them and no more;
the row below each is one that it was not fitted to.

| figure | functions that rest on it | against | table | how known | rows | largest | allowed |
|---|---|---|---|---|---|---|---|
"""

_OTHERWISE_HEAD = """
## Functions that no table can show

Conservation, fits and verdicts are held by identities, by other software, by hand or by drawing.

| function | held by | where |
|---|---|---|
"""

_FOOT = """
## What nothing checks

- A refractometer at 5 to 9 °C: there the model alone speaks. The OIV's rows at 5 to 8 °C lie up to
  0.07 °Bx lower than it does. From 31 °C on there are two rows, of syrup at 45 °C.
- A hydrometer below 10 °C and above 40 °C: ISO 1768 for the glass and SPS-4 for the liquid, no row.
- Plastic hydrometers: the expansion of the material is known from memory, no instrument was read.
- Refraction of real beers, pair by pair: Barth's relation holds them on average, Savel's at one
  strength. That is why the model's own uncertainty is 0.0013 SG.

Whether ±2u covers 95 % is drawn in `tests/science/test_coverage.py`: log, repeated readings,
difference of two, beer, alcohol, blend, kettle and runoff lie between 93 and 98 % each.
"""


def _number(value: float) -> str:
    """Two figures, as people write them."""
    return f"{value:.2g}".replace("e-0", "e-")


def document() -> str:
    """docs/accuracy.md."""
    lines = []
    for check in CHECKS:
        _, residuals, tolerances = check.measure()
        source, how = check.sources()
        unit = f" {check.unit}" if check.unit else ""
        functions = ", ".join(f"`{name}`" for name in check.functions.split())
        fitted = " *(fitted)*" if check.fitted else ""
        largest, allowed = _number(residuals.max()), _number(tolerances.max())
        if residuals.max() < 1e-9:
            largest = "below 1e-9"
        cells = (
            check.figure + fitted, functions, source, f"`{check.table}`", how, residuals.size,
            largest + unit, allowed + unit,
        )  # fmt: skip
        lines.append(f"| {' | '.join(map(str, cells))} |\n")
    others = [f"| `{name}` | {held} | `{where}` |\n" for name, (held, where) in OTHERWISE.items()]
    return _HEAD + "".join(lines) + _OTHERWISE_HEAD + "".join(others) + _FOOT


if __name__ == "__main__":
    print(document(), end="")
