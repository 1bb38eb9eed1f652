"""Calibration sheet: dated checks, what is in force, and how the offset moved."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import brewhouse, charts, layout, setup, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import (
    PER_INSTRUMENT,
    is_hydrometer,
    of_instrument,
    without_glass,
)
from xlfuncs.workbook.layout import Column, Limits, Table

CHECKS = 60
_FIT = ("offset", "slope", "u_offset", "u_slope", "residual", "points")

_AFTER_ALL = 9e15

_STEPS = 16  # first column of the steps, right of the printed page


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of checks."""
    sheet = book.create_sheet(words.CALIBRATION)
    layout.title(
        sheet,
        "Calibration",
        "Check every instrument against distilled water, better also against a sucrose solution "
        "you weighed: 10 g of sugar in 100 g of solution is 10 °Brix, SG 1.0400. No air bubble, "
        "plate closed, wait for the temperature. Tap, spring or filtered water is not distilled.",
        "M",
    )
    sheet.row_dimensions[2].height = 30
    sheet["A3"], sheet["A3"].style = "State of the instruments", styles.SECTION
    state = _state(sheet)
    top = state.last + 20
    sheet[f"A{top - 1}"], sheet[f"A{top - 1}"].style = "Dated checks", styles.SECTION
    checks = _checks(sheet, top)
    _steps(sheet, top)
    order = _sorted(sheet, top)
    _chart(sheet, order, f"A{state.last + 2}")
    layout.page(sheet, paper, f"A1:M{checks.last}", repeat=f"{top}:{top + 1}", landscape=True)
    sheet.freeze_panes = "A3"
    return checks


def _state(sheet: Worksheet) -> Table:
    """How each instrument stands on the date of the checks."""
    last = f"LOOKUP(inst_no*{PER_INSTRUMENT}+{PER_INSTRUMENT - 1},sorted_key)"

    def in_force(what: str) -> str:
        return f'IF(INT(state_key/{PER_INSTRUMENT})=inst_no,LOOKUP(state_key,sorted_key,{what}),"")'

    def result(key: str, heading: str, hint: str, formula: str, **more: object) -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.RESULT, **more)  # type: ignore[arg-type]

    state = Table(
        sheet,
        "state",
        4,
        setup.INSTRUMENTS,
        (
            result(
                "name", "Instrument", "from Setup", 'IF(inst_name="","",inst_name)', width=19
            ),
            result(
                "date",
                "Last check",
                "date",
                in_force("sorted_date"),
                width=12,
                format=styles.DATE,
            ),
            result(
                "offset", "Offset in force", "shown less true", in_force("sorted_offset"),
                format="0.0000",
            ),
            result(
                "slope", "Slope in force", "shown per true", in_force("sorted_slope"),
                format="0.0000",
            ),
            result(
                "u_offset", "Offset, uncertainty", "standard", in_force("sorted_u_offset"),
                format="0.0000",
            ),
            result(
                "days", "Days since check", "", width=10,
                formula='IF(ISNUMBER(state_date),INT(state_as_of)-INT(state_date),"")',
                format=styles.WHOLE,
            ),
            result(
                "due", "Next check due", "date", width=12, format=styles.DATE,
                formula="IF(ISNUMBER(state_date)*ISNUMBER(inst_interval),"
                'INT(state_date)+inst_interval,"")',
            ),
            result(
                "status", "State", "", width=18,
                formula='CALIBRATION_STATUS(state_offset,IF(inst_name="","",inst_tolerance),'
                'state_days,IF(inst_name="","",inst_interval))',
            ),
        ),
    ).write()  # fmt: skip
    key = Column("key", "Last key", "", formula=f"IFERROR({last},-1)", style=styles.STEP, width=14)
    Table(sheet, "state", 4, setup.INSTRUMENTS, (key,), left=_STEPS).write()
    for row, text in ((4, "State on"), (5, "Chart shows")):
        sheet[f"J{row}"], sheet[f"J{row}"].style = text, styles.LABEL
    sheet["K4"] = '=IF(COUNT(check_date)=0,"",IF(as_of="",TODAY(),as_of))'
    sheet["K4"].style, sheet["K4"].number_format = styles.RESULT, styles.DATE
    layout.name(sheet, "state_as_of", "K4")
    sheet["K5"].style = styles.INPUT
    sheet.merge_cells("K5:L5")
    layout.name(sheet, "chart_instrument", "K5")
    which = Limits.listed("inst_name", "An instrument from Setup; blank shows the first")
    which.add_to(sheet, "K5")
    return state


def _checks(sheet: Worksheet, top: int) -> Table:
    reading = Limits.between(-5, 45, "What the instrument showed, in its own scale")
    reference = Limits.between(
        -5, 45, "What it ought to show: °Brix for a refractometer, SG for a hydrometer"
    )
    return Table(
        sheet,
        "check",
        top,
        CHECKS,
        (
            Column(
                "instrument",
                "Instrument",
                "choose",
                width=19,
                limits=Limits.listed("inst_name", "One of the instruments on the Setup sheet"),
            ),
            Column(
                "date",
                "Date",
                "time if known",
                width=12,
                format=styles.DATE,
                limits=layout.dates(),
            ),
            Column(
                "temperature",
                "Sample temperature",
                "blank: 20 °C (68 °F)",
                width=12,
                format=styles.TEMPERATURE,
                limits=Limits.between(
                    'IF(unit_temperature="F",32,0)',
                    'IF(unit_temperature="F",158,70)',
                    "Temperature of the drop or jar, in the unit chosen on Setup",
                ),
            ),
            Column("reading_1", "Reading 1", "in water", 10, styles.READING, limits=reading),
            Column("reading_2", "Reading 2", "in a solution", 10, styles.READING, limits=reading),
            Column("reading_3", "Reading 3", "in a solution", 10, styles.READING, limits=reading),
            Column(
                "reference_1", "Reference 1", "blank: water", 12, styles.READING, limits=reference
            ),
            Column(
                "reference_2",
                "Reference 2",
                "of the solution",
                18,
                styles.READING,
                limits=reference,
            ),
            Column(
                "reference_3",
                "Reference 3",
                "of the solution",
                12,
                styles.READING,
                limits=reference,
            ),
            Column(
                "offset",
                "Offset",
                "shown less true",
                format="0.0000",
                style=styles.RESULT,
                formula="step_offset",
            ),
            Column(
                "slope",
                "Slope",
                "shown per true",
                format="0.0000",
                style=styles.RESULT,
                formula="step_slope",
            ),
            Column(
                "verdict",
                "As found",
                "within tolerance?",
                width=12,
                style=styles.RESULT,
                formula="IF(ISNUMBER(step_offset),IF(ABS(step_offset)<="
                + of_instrument("step_no", "tolerance")
                + '*1.000000001,"within","outside"),"")',
            ),
            Column("note", "Note", "who, what was done", width=24),
        ),
    ).write()


def _steps(sheet: Worksheet, top: int) -> None:
    """The way from readings to offset and slope."""
    blocks = {
        what: tuple(f"{what}_{i}" for i in (1, 2, 3))
        for what in ("as_sg", "refracted", "floated", "true", "known")
    }

    def step(key: str, heading: str, hint: str = "", formula: str = "") -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.STEP)

    def looked_up(what: str) -> str:
        return f'IF(step_no=0,"",{of_instrument("step_no", what)})'

    steps = Table(
        sheet,
        "step",
        top,
        CHECKS,
        (
            step(
                "no",
                "Instrument",
                "number",
                'IF(check_instrument="",0,IFERROR(MATCH(check_instrument,inst_name,0),0))',
            ),
            step("kind", "Kind", "", looked_up("kind")),
            step("scale", "Scale", "", looked_up("scale")),
            step("compensated", "Compensated", "", looked_up("compensated")),
            step("reference_c", "Reference", "°C", looked_up("reference_c")),
            step(
                "celsius",
                "Temperature",
                "°C",
                f'IF(step_no=0,"",IF(check_temperature="",20,{brewhouse.celsius("check_temperature")}))',
            ),
            *(step(key, "As SG") for key in blocks["as_sg"]),
            *(step(key, "True", "°Bx at 20 °C") for key in blocks["refracted"]),
            *(step(key, "True", "SG at 20 °C") for key in blocks["floated"]),
            *(step(key, "Shown", "at 20 °C") for key in blocks["true"]),
            *(step(key, "Reference") for key in blocks["known"]),
            *(step(key, key.replace("u_", "u of ").capitalize()) for key in _FIT),
            step(
                "key",
                "Key",
                "",
                f"IF(ISNUMBER(step_offset)*ISNUMBER(check_date),step_no*{PER_INSTRUMENT}"
                f'+check_date+(ROW(check_date)-{top})/10000,"")',
            ),
        ),
        left=_STEPS,
    ).write()
    rows = f"{steps.first}:$F${steps.last}"
    readings = f"$D${rows}"
    references = f"$H${steps.first}:$I${steps.last}"
    hydrometer = is_hydrometer("step_kind")
    scale = f'IF({hydrometer},step_scale,"")'
    steps.block(
        blocks["as_sg"],
        f'IF({scale}="Plato",GRAVITY_CONVERT(IF({scale}="Plato",{readings},""),"Plato","SG"),'
        f'IF({hydrometer},IF({readings}="","",{readings}),""))',
    )
    steps.block(
        blocks["refracted"],
        f'REFRACTOMETER_BRIX(IF(step_kind="refractometer",IF({readings}="","",{readings}),""),'
        f'IF(step_compensated="{words.YES}","",step_celsius))',
    )
    as_sg = f"{steps.letters['as_sg_1']}{steps.first}:{steps.letters['as_sg_3']}{steps.last}"
    steps.block(
        blocks["floated"],
        f"HYDROMETER_SG({as_sg},{without_glass('step_kind', 'step_celsius')},"
        f"{without_glass('step_kind', 'step_reference_c')})",
    )
    refracted = (
        f"{steps.letters['refracted_1']}{steps.first}:{steps.letters['refracted_3']}{steps.last}"
    )
    floated = f"{steps.letters['floated_1']}{steps.first}:{steps.letters['floated_3']}{steps.last}"
    steps.block(blocks["true"], f'IF(step_kind="refractometer",{refracted},{floated})')
    steps.block(
        blocks["known"][:1],
        f'IF(step_no=0,"",IF(check_reference_1="",IF({hydrometer},1,0),check_reference_1))',
    )
    steps.block(blocks["known"][1:], f'IF({references}="","",{references})')
    first, last = steps.letters["true_1"], steps.letters["true_3"]
    first_known, last_known = steps.letters["known_1"], steps.letters["known_3"]
    number = steps.letters["no"]
    steps.block_by_row(
        _FIT,
        f'IF({number}{{row}}=0,"",CALIBRATION_FIT({first}{{row}}:{last}{{row}},'
        f"{first_known}{{row}}:{last_known}{{row}},INDEX(inst_u_reading,{number}{{row}})))",
    )


def _sorted(sheet: Worksheet, top: int) -> Table:
    """The checks in the order of their keys, and what the chart shows of them."""
    rank = f"ROW(check_date)-{top + 1}"
    shown = f"INT(sorted_key/{PER_INSTRUMENT})=chart_no"

    def step(key: str, heading: str, formula: str, number_format: str = styles.PLAIN) -> Column:
        return Column(
            key, heading, "in order", 12, number_format, formula=formula, style=styles.STEP
        )

    def ordered(source: str) -> str:
        return f"IF(sorted_place=0,0,LOOKUP(sorted_place,sorted_row,{source}))"

    order = Table(
        sheet,
        "sorted",
        top,
        CHECKS,
        (
            step("row", "Row", rank),
            step("key", "Key", f"IFERROR(SMALL(step_key,{rank}),{_AFTER_ALL:.0f})"),
            step("place", "Place", "IFERROR(MATCH(sorted_key,step_key,0),0)"),
            step("date", "Date", ordered("check_date"), styles.DATE),
            step("offset", "Offset", ordered("step_offset")),
            step("slope", "Slope", ordered("step_slope")),
            step("u_offset", "u of offset", ordered("step_u_offset")),
            step("u_slope", "u of slope", ordered("step_u_slope")),
            step("chart_date", "Chart: date", f"IF({shown},sorted_date,NA())", styles.DATE),
            step("chart_offset", "Chart: offset", f"IF({shown},sorted_offset,NA())"),
            step(
                "chart_high",
                "Chart: tolerance",
                f"IF({shown},{of_instrument('chart_no', 'tolerance')},NA())",
            ),
            step("chart_low", "Chart: tolerance", "-sorted_chart_high"),
        ),
        left=_STEPS + 28,
    ).write()
    sheet["L4"] = '=IF(chart_instrument="",1,IFERROR(MATCH(chart_instrument,inst_name,0),1))'
    sheet["L4"].style = styles.STEP
    layout.name(sheet, "chart_no", "L4")
    return order


def _chart(sheet: Worksheet, order: Table, anchor: str) -> None:
    """Offset over time with the tolerance as dashed lines."""
    dates = order.cells("chart_date")
    charts.scatter(
        sheet,
        anchor,
        "Offset at each check",
        "date of check",
        "offset",
        (
            charts.Trace("offset found", dates, order.cells("chart_offset"), line=True),
            charts.Trace("tolerance, above", dates, order.cells("chart_high"), limit=True),
            charts.Trace("tolerance, below", dates, order.cells("chart_low"), limit=True),
        ),
        size=(27, 7.6),
        x_format=styles.DATE,
        y_format="0.00",
    )
