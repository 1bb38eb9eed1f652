"""Batch log: one line per reading; the calibration in force on its date corrects it."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.calibration import PER_INSTRUMENT, of_instrument
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
    temperature = Limits.between(
        'IF(unit_temperature="F",32,0)',
        'IF(unit_temperature="F",212,100)',
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
            Column(
                "instrument",
                "Instrument",
                "choose",
                width=19,
                limits=Limits.listed("inst_name", "One of the instruments on the Setup sheet"),
            ),
            Column(
                "reading",
                "Reading",
                "as shown",
                width=9,
                format=styles.READING,
                limits=Limits.between(
                    -1, 45, "What the instrument shows: °Brix, SG, or °Plato on a hydrometer"
                ),
            ),
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
    remarks = (
        ('log_reading=""', '""'),
        ('log_instrument=""', '"choose an instrument"'),
        ("way_no=0", '"instrument is not on Setup"'),
        (
            f'(way_kind="{words.REFRACTOMETER}")*(({fermented})>0)',
            '"alcohol in the sample: not a gravity without a correction"',
        ),
        (
            f'(way_kind="{words.HYDROMETER}")*(log_temperature="")',
            '"sample temperature is missing"',
        ),
        ('log_date=""', '"no date: no calibration applied"'),
        ("way_check_date=0", '"no calibration check before this date"'),
        (
            f'(way_kind="{words.REFRACTOMETER}")*(way_compensated<>"{words.YES}")'
            '*(log_temperature="")',
            '"no temperature: 20 °C (68 °F) assumed"',
        ),
        (
            "log_date-way_check_date>" + of_instrument("way_no", "interval"),
            '"calibration check was overdue"',
        ),
    )
    remark = '""'
    for condition, text in reversed(remarks):
        remark = f"IF({condition},{text},{remark})"
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
                f'IF(way_kind="{words.HYDROMETER}",way_floated_sg,""))',
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
                'VOLUME_AT(IF(log_volume="","",log_volume),way_volume_c,20,'
                'IF(ISNUMBER(log_sg),log_sg,""))',
            ),
            result("remark", "Remark", "", 30, styles.PLAIN, remark),
        ),
        left=_RESULTS,
    ).write()


def _steps(sheet: Worksheet, choices: words.Choices) -> Table:
    """The way from reading to gravity, right of the printed page."""

    def step(key: str, heading: str, hint: str, formula: str) -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.STEP)

    def looked_up(what: str) -> str:
        return f'IF(way_no=0,"",{of_instrument("way_no", what)})'

    def in_force(what: str, otherwise: str) -> str:
        return (
            f'IF(way_no=0,"",IF(INT(way_check_key/{PER_INSTRUMENT})=way_no,'
            f"LOOKUP(way_check_key,sorted_key,sorted_{what}),{otherwise}))"
        )

    # A check on a day without a time counts for all readings of that day.
    moment = "log_date+IF(INT(log_date)=log_date,0.9,0.01)"
    plato = f'(way_kind="{words.HYDROMETER}")*(way_scale="Plato")'
    typed = 'IF(log_reading="","",log_reading)'
    return Table(
        sheet,
        "way",
        _TOP,
        choices.rows,
        (
            step(
                "no",
                "Instrument",
                "number",
                'IF(log_instrument="",0,IFERROR(MATCH(log_instrument,inst_name,0),0))',
            ),
            step("kind", "Kind", "", looked_up("kind")),
            step("scale", "Scale", "", looked_up("scale")),
            step("compensated", "Compensated", "", looked_up("compensated")),
            step(
                "check_key",
                "Check in force",
                "key",
                f'IFERROR(LOOKUP(IF((way_no=0)+(log_date=""),-2,way_no*{PER_INSTRUMENT}+{moment}),'
                "sorted_key),-1)",
            ),
            step("check_date", "Check in force", "date", in_force("date", "0")),
            step("offset", "Offset", "", in_force("offset", "0")),
            step("slope", "Slope", "", in_force("slope", "1")),
            step(
                "u_offset",
                "u of offset",
                "",
                in_force("u_offset", of_instrument("way_no", "tolerance")),
            ),
            step("u_slope", "u of slope", "", in_force("u_slope", "0")),
            step("u_reading", "u of reading", "", looked_up("u_reading")),
            step(
                "celsius",
                "Sample",
                "°C",
                'UNIT_CONVERT(IF(log_temperature="","",log_temperature),unit_temperature,"C")',
            ),
            step(
                "brix",
                "Refractometer",
                "true °Bx",
                f'REFRACTOMETER_BRIX(IF(way_kind="{words.REFRACTOMETER}",{typed},""),'
                f'IF(way_compensated="{words.YES}","",way_celsius),way_offset,way_slope)',
            ),
            step("refracted_sg", "Refractometer", "SG", "WORT_SG(way_brix,wort_factor)"),
            step(
                "u_calibration",
                "u of calibration",
                "°Bx",
                'IF(ISNUMBER(way_brix),SQRT(way_u_offset^2+(way_brix*way_u_slope)^2),"")',
            ),
            step(
                "refracted_u",
                "Refractometer",
                "u of SG",
                "WORT_SG_UNCERTAINTY(way_brix,wort_factor,way_u_reading,u_wort_factor,"
                "way_u_calibration)",
            ),
            step(
                "as_sg",
                "Hydrometer",
                "as SG",
                f'IF({plato},GRAVITY_CONVERT(IF({plato},{typed},""),"Plato","SG"),'
                f'IF(way_kind="{words.HYDROMETER}",{typed},""))',
            ),
            step(
                "floated_sg",
                "Hydrometer",
                "SG",
                "HYDROMETER_SG(IF(ISNUMBER(way_as_sg),way_as_sg-way_offset,way_as_sg),way_celsius,"
                + looked_up("reference_c")
                + ")",
            ),
            step(
                "floated_u",
                "Hydrometer",
                "u of SG",
                'IF(ISNUMBER(way_floated_sg),SQRT(way_u_reading^2+way_u_offset^2),"")',
            ),
            step(
                "volume_c",
                "Volume",
                "°C",
                'UNIT_CONVERT(IF(log_volume_temperature="","",log_volume_temperature),'
                'unit_temperature,"C")',
            ),
            # For the target check: which lines hold a gravity or a volume, and in what order.
            step(
                "order",
                "Order",
                "of lines",
                'IF(log_stage="",0,IF(ISNUMBER(log_date),log_date,1)+ROW(log_date)/1000000)',
            ),
        ),
        left=_STEPS,
    ).write()
