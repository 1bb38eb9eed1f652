"""Batch log: one line per reading; the calibration in force on its date corrects it."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import correction, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import typed
from xlfuncs.workbook.layout import Column, Limits, Table

_TOP = 4
_RESULTS, _STEPS = 10, 17  # first columns


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of readings."""
    sheet = book.create_sheet(words.LOG)
    layout.title(
        sheet,
        "Batch log",
        "One line for each reading. Let a hot drop cool on the plate before you read it, and close "
        "the lid: wort that dries reads high. Hot wort scalds and cracks glass.",
        "O",
    )
    log = _inputs(sheet, choices)
    _results(sheet, choices)
    _steps(sheet, choices)
    layout.page(sheet, paper, f"A1:O{log.last}", repeat="4:5", landscape=True)
    sheet.freeze_panes = f"D{log.first}"
    sheet.auto_filter.ref = f"A{_TOP + 1}:O{log.last}"
    return log


def _inputs(sheet: Worksheet, choices: words.Choices) -> Table:
    temperature = layout.temperatures(
        100,
        "A temperature in the unit chosen on Setup: 0 to 100 °C, or 32 to 212 °F",
    )
    return Table(
        sheet,
        "log",
        _TOP,
        choices.rows,
        (
            Column(
                "date",
                "Date",
                "time if known",
                width=15,
                format=styles.MOMENT,
                limits=layout.dates(),
            ),
            Column("batch", "Batch", "name or number", width=13),
            Column("stage", "Stage", "choose", width=14, limits=Limits.among(*words.STAGES)),
            layout.instrument(),
            layout.shown_reading(),
            Column(
                "temperature",
                "Sample temperature",
                '="°"&unit_temperature',
                format=styles.TEMPERATURE,
                limits=temperature,
            ),
            Column(
                "volume",
                "Volume",
                "=unit_volume",
                width=9,
                format=styles.VOLUME,
                limits=Limits.between(0, 1000000, "A volume in the unit chosen on Setup"),
            ),
            Column(
                "volume_temperature",
                "Volume read at",
                '="°"&unit_temperature',
                width=9,
                format=styles.TEMPERATURE,
                limits=temperature,
            ),
            Column("note", "Note", "", width=16),
        ),
    ).write()


def _results(sheet: Worksheet, choices: words.Choices) -> Table:
    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    fermented = "+".join(f'(log_stage="{stage}")' for stage in words.FERMENTED_STAGES)
    remark = correction.lacks(
        "way",
        "log_instrument",
        "log_date",
        "log_reading",
        "log_temperature",
        (
            f'(way_kind="{words.REFRACTOMETER}")*(({fermented})>0)',
            f'"alcohol in the sample: enter it on the sheet {words.FERMENTATION}"',
        ),
    )
    return Table(
        sheet,
        "log",
        _TOP,
        choices.rows,
        (
            result(
                "plato",
                "Extract",
                "°Plato",
                9,
                styles.DEGREES,
                'GRAVITY_CONVERT(log_sg,"SG","Plato")',
            ),
            result(
                "sg",
                "Gravity",
                "SG 20/20",
                9,
                styles.SG,
                f'IF(way_kind="{words.REFRACTOMETER}",IF(({fermented})>0,"",way_refracted_sg),'
                "way_floated_sg)",
            ),
            result(
                "u",
                "Standard uncertainty",
                "SG",
                11,
                styles.SG,
                f'IF(ISNUMBER(log_sg),IF(way_kind="{words.REFRACTOMETER}",way_refracted_u,'
                'way_floated_u),"")',
            ),
            result(
                "expanded",
                "± about 95 %",
                "SG",
                9,
                styles.SG,
                'IF(ISNUMBER(log_u),2*log_u,"")',
            ),
            result(
                "volume_20",
                "Volume",
                '="at 20 °C, "&unit_volume',
                9,
                styles.VOLUME,
                f'VOLUME_AT({typed("log_volume")},way_volume_c,20,IF(ISNUMBER(log_sg),log_sg,""))',
            ),
            result("remark", "Remark", "", 30, styles.PLAIN, remark),
        ),
        left=_RESULTS,
    ).write()


def _steps(sheet: Worksheet, choices: words.Choices) -> Table:
    """The way from reading to gravity, right of the printed page."""
    return Table(
        sheet,
        "way",
        _TOP,
        choices.rows,
        (
            *correction.in_force("way", "log_instrument", "log_date"),
            correction.celsius("log_temperature"),
            *correction.refractometer("way", "log_reading"),
            *correction.wort("way"),
            *correction.hydrometer("way", "log_reading"),
            correction.celsius("log_volume_temperature", "volume_c", "Volume"),
            # For the target check: in what order the lines were written.
            correction.step(
                "order",
                "Order",
                "of lines",
                'IFERROR(IF(log_stage="",0,IF(ISNUMBER(log_date),log_date,1)'
                "+ROW(log_date)/1000000),0)",
            ),
        ),
        left=_STEPS,
    ).write()
