"""The brewhouse on the Setup sheet: kettle, boil, grain; and what turns entries into L, kg, °C.

The conversions of all sheets hang on four factors that are computed once.
"""

from __future__ import annotations

from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.science import sucrose
from xlfuncs.workbook import layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Column, Limits, Table

#: First column of the factors, right of the printed page.
FACTORS = 14

#: Boiling wort takes so much more room than at 20 °C (ICUMSA SPS-4, wort of 12 °Plato).
HOT = round(float(sucrose.density(12, 20) / sucrose.density(12, 100)), 3)


def add(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """Add the section to Setup from this row on; gives its last row."""
    sheet[f"A{row}"], sheet[f"A{row}"].style = "Kettle, boil and grain", styles.SECTION
    amount = Limits.between(0, 1000000, "A number that is not negative, in the unit chosen here")
    lines = (
        (
            "Masses in",
            "unit_mass",
            choices.mass_unit,
            "kg or lb, for grain and extract",
            Limits.among(*words.MASS_UNITS),
            styles.PLAIN,
        ),
        (
            "Kettle holds",
            "kettle_size",
            None,
            "brim-full, in the unit of volumes; blank: not checked",
            amount,
            styles.VOLUME,
        ),
        (
            "Boil-off in an hour",
            "boil_off",
            None,
            "water at 20 °C (68 °F), in the unit of volumes",
            amount,
            styles.DEGREES,
        ),
        (
            "Boil-off, standard uncertainty",
            "u_boil_off",
            0.1,
            "as a share of the boil-off: 10 % unless you have measured it often",
            Limits.between(0, 1, "A share from 0 % to 100 %"),
            "0%",
        ),
        (
            "Boil, minutes",
            "boil_minutes",
            60,
            "planned",
            Limits.between(0, 10000, "Minutes, from 0 on"),
            styles.WHOLE,
        ),
        (
            "Grain mass",
            "grain_mass",
            None,
            "all of the grain bill, in the unit of masses",
            amount,
            styles.DEGREES,
        ),
        (
            "Extract potential of the grain",
            "extract_potential",
            0.8,
            "extract that the laboratory finds, as a share of the grain as it is; "
            "80 % for pale malt is common practice, the maltster's analysis is better",
            Limits.between(0.01, 1, "A share from 1 % to 100 %"),
            "0.0%",
        ),
        (
            "Extract in dry extract",
            "extract_fraction",
            0.95,
            "share by mass: 95 % for dry malt extract, 100 % for sugar",
            Limits.between(0.01, 1, "A share from 1 % to 100 %"),
            "0.0%",
        ),
    )
    for label, key, value, explanation, limits, number_format in lines:
        row += 1
        layout.entry(sheet, row, label, key, value, explanation, limits, number_format)
        layout.merge(sheet, f"D{row}:K{row}")
    _factors(sheet)
    return row


def _factors(sheet: Worksheet) -> None:
    def factor(key: str, heading: str, hint: str, formula: str) -> Column:
        return Column(key, heading, hint, 12, formula=formula, style=styles.STEP)

    Table(
        sheet,
        "unit",
        4,
        1,
        (
            factor("litres", "Litres", "in a unit of volume", 'UNIT_CONVERT(1,unit_volume,"L")'),
            factor("kilograms", "Kilograms", "in a unit of mass", 'UNIT_CONVERT(1,unit_mass,"kg")'),
        ),
        left=FACTORS,
    ).write()
    degrees = Column("degrees", "Degrees", "0 and 1 of the scale in °C", 12, style=styles.STEP)
    table = Table(sheet, "unit", 4, 2, (degrees,), left=FACTORS + 2).write()
    table.block(("degrees",), 'UNIT_CONVERT({0;1},unit_temperature,"C")')
    letter = table.letters["degrees"]
    layout.name(sheet, "celsius_0", f"{letter}{table.first}")
    layout.name(sheet, "celsius_1", f"{letter}{table.last}")


# --- formulas ------------------------------


def _converted(cells: str, what: str, factor: str, formula: str) -> str:
    """Formula over what was typed: blanks stay blank, and what is no number is named."""
    return (
        f'IF({cells}="","",IF(ISNUMBER({factor}),IF(ISNUMBER({cells}),{formula},'
        f'"! {what} "&{cells}&" is not a number"),{factor}))'
    )


def celsius(cells: str, what: str = "temperature") -> str:
    """Formula: temperatures that were typed, in °C."""
    return _converted(cells, what, "celsius_1", f"celsius_0+(celsius_1-celsius_0)*{cells}")


def litres(cells: str, what: str = "volume") -> str:
    """Formula: volumes that were typed, in litres."""
    return _converted(cells, what, "unit_litres", f"{cells}*unit_litres")


def kilograms(cells: str, what: str = "mass") -> str:
    """Formula: masses that were typed, in kilograms."""
    return _converted(cells, what, "unit_kilograms", f"{cells}*unit_kilograms")


def in_units(cells: str, unit: str) -> str:
    """Formula: a computed amount in the user's unit; what is no number stays as it is."""
    return f"IF(ISNUMBER({cells}),{cells}/{unit},{cells})"


def as_sg(cells: str) -> str:
    """Formula: gravities typed in the unit chosen on Setup, as SG."""
    given = f'IF({cells}="","",{cells})'
    return f'IF(unit_gravity="SG",{given},GRAVITY_CONVERT({given},unit_gravity,"SG"))'


def on_scale(cells: str) -> str:
    """Formula: SG in the unit of gravities chosen on Setup."""
    return f'IF(unit_gravity="SG",{cells},GRAVITY_CONVERT({cells},"SG",unit_gravity))'


def density(sg: str) -> str:
    """Formula: kilograms in a litre at 20 °C, from apparent SG."""
    span = sucrose.WATER_20 - sucrose.AIR_DENSITY
    return f"(({sucrose.AIR_DENSITY:.12g}+{span:.12g}*{sg})/1000)"


#: Kilograms in a litre of water at 20 °C.
WATER = f"{sucrose.WATER_20 / 1000:.12g}"
