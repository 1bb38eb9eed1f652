"""Setup sheet: units, wort, instruments, recipe targets."""

from __future__ import annotations

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.science.beer import ALCOHOL_FACTOR, MODEL_U
from xlfuncs.science.wort import FACTOR_U, WORT_FACTOR
from xlfuncs.workbook import brewhouse, correction, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.pairs import FEW

_FIRST_ENTRY = 5


def add(book: Workbook, choices: words.Choices, paper: int) -> tuple[Table, Table, Table]:
    """Add the sheet; gives its tables of instruments, of their papers, and of targets."""
    sheet = book.create_sheet(words.SETUP)
    layout.title(
        sheet,
        "Setup",
        "Fill this in once, and again when an instrument or the recipe changes. Cells in a dashed "
        "frame are yours; everything else is computed.",
        "K",
    )
    after_entries = _entries(sheet, choices)
    after_factors = _beer_factors(sheet, after_entries)
    instruments = _instruments(sheet, choices, after_factors + 2)
    papers = _papers(sheet, choices, instruments.last + 3)
    targets = _targets(sheet, choices, papers.last + 3)
    sheet.column_dimensions["A"].width = 5
    last = brewhouse.add(sheet, choices, targets.last + 2)
    layout.page(sheet, paper, f"A1:K{last}", landscape=True)
    return instruments, papers, targets


def _entries(sheet: Worksheet, choices: words.Choices) -> int:
    sheet["A4"], sheet["A4"].style = "Units, wort, date", styles.SECTION
    lines = (
        (
            "Volumes in",
            "unit_volume",
            choices.volume_unit,
            "unit of every volume you type",
            Limits.among(*words.VOLUME_UNITS),
            styles.PLAIN,
        ),
        (
            "Temperatures in",
            "unit_temperature",
            choices.temperature_unit,
            "C or F, for every temperature you type",
            Limits.among(*words.TEMPERATURE_UNITS),
            styles.PLAIN,
        ),
        (
            "Targets in",
            "unit_gravity",
            choices.gravity_scale,
            "SG or Plato, for targets and verdicts",
            Limits.among(*words.GRAVITY_SCALES),
            styles.PLAIN,
        ),
        (
            "Wort factor",
            "wort_factor",
            WORT_FACTOR,
            "true °Brix over °Plato of your wort; fit your own with WORT_FACTOR_FIT",
            Limits.between(0.9, 1.2, "A number from 0.9 to 1.2; 1.04 is common practice"),
            "0.000",
        ),
        (
            "Wort factor, standard uncertainty",
            "u_wort_factor",
            FACTOR_U,
            f"{FACTOR_U:g} unless you have fitted your own",
            Limits.between(0, 0.2, "A number from 0 to 0.2"),
            "0.000",
        ),
        (
            "Beer correction",
            "beer_correction",
            words.DEFAULT,
            f'=IF(beer_remark="","{words.FITTED} takes the factors from the sheet {words.PAIRS}; '
            'see below",beer_remark)',
            Limits.among(words.DEFAULT, words.FITTED),
            styles.PLAIN,
        ),
        (
            "Volume, standard uncertainty",
            "u_volume",
            0.01,
            "as a share of the volume: 1 % for marks on a kettle",
            Limits.between(0, 0.2, "A share from 0 % to 20 %"),
            "0.0%",
        ),
        (
            "Date of the checks",
            "as_of",
            None,
            "leave blank for today; a date here shows how things stood on that day",
            layout.dates(),
            styles.DATE,
        ),
    )
    for number, (label, key, value, explanation, limits, number_format) in enumerate(lines):
        row = _FIRST_ENTRY + number
        layout.entry(sheet, row, label, key, value, explanation, limits, number_format)
        layout.merge(sheet, f"D{row}:K{row}")
    return row + 1


def _beer_factors(sheet: Worksheet, row: int) -> int:
    """The factors with which beer is corrected, as chosen: default, or fitted if there is a fit."""
    fitted = f'(beer_factors="{words.FITTED}")'
    layout.answer(
        sheet,
        row,
        "Factors in use for beer",
        "beer_factors",
        f'IF((beer_correction="{words.FITTED}")*ISNUMBER(fit_wort_factor),"{words.FITTED}",'
        f'"{words.DEFAULT}")',
        f'=IF({fitted},"from "&fit_pairs&" pairs",IF((beer_remark<>"")'
        '*(LEFT(fit_wort_factor,2)="! "),"no fit: "&MID(fit_wort_factor,3,250),beer_remark))',
    )
    # Said wherever the choice matters: here, beside the factors, on Fermentation, in the report.
    panel.step(
        sheet,
        row,
        "beer_remark",
        f'IF((beer_correction="{words.FITTED}")*NOT(ISNUMBER(fit_wort_factor)),'
        f'"nothing is fitted on the sheet {words.PAIRS}: the default factors are in use","")',
        get_column_letter(brewhouse.FACTORS),
    )
    lines = (
        ("Wort factor for beer", "beer_wort_factor", "fit_wort_factor", "wort_factor", ""),
        (
            "Its standard uncertainty",
            "beer_u_wort_factor",
            "fit_u_wort_factor",
            "u_wort_factor",
            "",
        ),
        (
            "Alcohol factor for beer",
            "beer_alcohol_factor",
            "fit_alcohol_factor",
            f"{ALCOHOL_FACTOR:g}",
            "refraction of the alcohol, over that of pure ethanol",
        ),
    )
    layout.merge(sheet, f"D{row}:K{row}")
    for label, key, fit, default, explanation in lines:
        row += 1
        layout.answer(sheet, row, label, key, f"IF({fitted},{fit},{default})", explanation, "0.000")
        layout.merge(sheet, f"D{row}:K{row}")
    row += 1
    shown = f"MAX({MODEL_U:g},IF({fitted},fit_error,fit_default_error))"
    layout.answer(
        sheet,
        row,
        "Correction, standard uncertainty",
        "beer_u_model",
        f"IF(N(fit_pairs)>={FEW},{shown},{MODEL_U:g})",
        f"SG: {MODEL_U:g}, or more if {FEW} pairs of your own lie further apart by these factors",
        "0.0000",
    )
    layout.merge(sheet, f"D{row}:K{row}")
    return row + 1


def _instruments(sheet: Worksheet, choices: words.Choices, row: int) -> Table:
    sheet[f"A{row - 1}"], sheet[f"A{row - 1}"].style = "Instruments", styles.SECTION
    table = Table(
        sheet,
        "inst",
        row,
        choices.instruments,
        (
            Column("no", "No.", width=5, format=styles.WHOLE, style=styles.LABEL),
            Column("name", "Name", "as the log calls it", width=30),
            Column("kind", "Kind", "choose", width=21, limits=Limits.among(*words.KINDS)),
            Column(
                "scale",
                "Scale",
                "hydrometer: SG or Plato",
                width=12,
                limits=Limits.among(*words.HYDROMETER_SCALES),
            ),
            Column(
                "compensated",
                "Temperature compensated",
                "refractometer: yes or no",
                width=14,
                limits=Limits.among(words.YES, words.NO),
            ),
            Column(
                "reference",
                "Reference temperature",
                "hydrometer: printed on it",
                width=13,
                format=styles.TEMPERATURE,
                limits=layout.temperatures(
                    40,
                    "The temperature printed on the hydrometer, 0 to 40 °C (32 to 104 °F)",
                ),
            ),
            Column(
                "u_reading",
                "One reading, standard uncertainty",
                "°Bx, or SG",
                width=15,
                format=styles.READING,
                limits=Limits.between(0, 5, "About half a scale division: 0.1 °Bx, 0.001 SG"),
            ),
            Column(
                "tolerance",
                "Tolerated offset",
                "°Bx, or SG",
                width=11,
                format=styles.READING,
                limits=Limits.between(0, 45, "The largest offset that you accept"),
            ),
            Column(
                "interval",
                "Check every",
                "days",
                width=9,
                format=styles.WHOLE,
                limits=Limits.between(1, 3660, "Days from one check to the next"),
            ),
            Column(
                "reference_c",
                "Reference",
                "°C",
                width=10,
                format=styles.TEMPERATURE,
                style=styles.STEP,
                formula=correction.celsius("inst_reference").formula,
            ),
        ),
    ).write()
    for number in range(choices.instruments):
        sheet[f"{table.letters['no']}{table.first + number}"] = number + 1
    return table


def _papers(sheet: Worksheet, choices: words.Choices, row: int) -> Table:
    """What the audit wants to know of each instrument: identity, range, resolution."""
    sheet[f"A{row - 1}"], sheet[f"A{row - 1}"].style = "Instruments, on paper", styles.SECTION
    reading = Limits.between(-5, 150, "In the scale of the instrument; blank: not audited")
    degrees = layout.temperatures(
        50,
        "In the unit chosen above; blank: 10 to 30 °C (50 to 86 °F), as is common",
    )
    Table(
        sheet,
        "paper",
        row,
        choices.instruments,
        (
            Column("no", "No.", "", 5, styles.WHOLE, "inst_no", styles.LABEL),
            Column(
                "name", "Name", "from above", 30, style=styles.RESULT,
                formula='IF(inst_name="","",inst_name)',
            ),
        ),
    ).write()  # fmt: skip
    return Table(
        sheet,
        "inst",
        row,
        choices.instruments,
        (
            Column("identity", "Identity", "serial number, mark", width=21),
            Column("low", "Range from", "as printed", 12, styles.READING, limits=reading),
            Column("high", "Range to", "as printed", 14, styles.READING, limits=reading),
            Column("resolution", "Resolution", "smallest step", 13, styles.READING,
                   limits=reading),
            Column("compensates_from", "Compensates from", '="°"&unit_temperature', 15,
                   styles.TEMPERATURE, limits=degrees),
            Column("compensates_to", "Compensates to", '="°"&unit_temperature', 11,
                   styles.TEMPERATURE, limits=degrees),
        ),
        left=3,
    ).write()  # fmt: skip


def _targets(sheet: Worksheet, choices: words.Choices, row: int) -> Table:
    sheet[f"A{row - 1}"], sheet[f"A{row - 1}"].style = "Recipe targets", styles.SECTION
    gravity = layout.gravities("A gravity in the unit chosen above: SG such as 1.048, or °Plato")
    volume = Limits.between(0, 1000000, "A volume at 20 °C (68 °F), in the unit chosen above")
    table = Table(
        sheet,
        "target",
        row,
        len(words.TARGET_STAGES),
        (
            Column("no", "No.", width=5, format=styles.WHOLE, style=styles.LABEL),
            Column("stage", "Stage", "fixed", width=30, style=styles.LABEL),
            Column(
                "gravity",
                "Target gravity",
                "blank: not checked",
                width=14,
                format=choices.gravity_format,
                limits=gravity,
            ),
            Column(
                "gravity_tolerance",
                "Tolerance ±",
                "same scale",
                width=9,
                format=choices.gravity_format,
                limits=Limits.between(0, 20, "How far off the target is still on target"),
            ),
            Column(
                "volume",
                "Target volume",
                "at 20 °C (68 °F)",
                width=14,
                format=styles.VOLUME,
                limits=volume,
            ),
            Column(
                "volume_tolerance",
                "Tolerance ±",
                "same unit",
                width=13,
                format=styles.VOLUME,
                limits=volume,
            ),
        ),
    ).write()
    for number, stage in enumerate(words.TARGET_STAGES):
        sheet[f"{table.letters['no']}{table.first + number}"] = number + 1
        sheet[f"{table.letters['stage']}{table.first + number}"] = stage
    return table
