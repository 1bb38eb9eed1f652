"""Calibration sheet: dated checks, what is in force, how the offset moved, what ± is made of."""

from __future__ import annotations

from collections.abc import Callable

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.science import control, drift
from xlfuncs.science.calibration import LEAST_SPREAD
from xlfuncs.workbook import brewhouse, charts, correction, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import (
    PER_INSTRUMENT,
    is_hydrometer,
    of_instrument,
    without_glass,
)
from xlfuncs.workbook.layout import Column, Limits, Table

_AFTER_ALL = 9e15

_STEPS = 19  # first column of the steps, right of the printed page
_SORTED = 34  # first column of the sorted checks, counted from the steps
_LAST = "P"  # last printed column

#: Moving ranges that control limits need.
_LEAST_RANGES = 2


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of checks."""
    sheet = book.create_sheet(words.CALIBRATION)
    layout.title(
        sheet,
        "Calibration",
        "Check each instrument on receipt, at least once a year, and more often with much use: "
        "against distilled water, better also against a solution that you weighed (sheet "
        f"{words.STANDARDS}). No air bubble, plate closed, wait for the temperature.",
        _LAST,
    )
    sheet.row_dimensions[2].height = 30
    sheet["A3"], sheet["A3"].style = "State of the instruments", styles.SECTION
    state = _state(sheet, choices)
    row = state.last + 2
    sheet[f"A{row}"], sheet[f"A{row}"].style = "History of the instruments", styles.SECTION
    history = _history(sheet, choices, row + 1)
    row = history.last + 18
    sheet[f"A{row}"], sheet[f"A{row}"].style = "What the ± of a gravity is made of", styles.SECTION
    after_budget = _budget(sheet, row + 1)
    top = after_budget + 3
    sheet[f"A{top - 1}"], sheet[f"A{top - 1}"].style = "Dated checks", styles.SECTION
    checks = _checks(sheet, choices, top)
    _steps(sheet, choices, top)
    order = _sorted(sheet, choices, top)
    _chart(sheet, order, f"A{history.last + 2}")
    layout.page(sheet, paper, f"A1:{_LAST}{checks.last}", repeat=f"{top}:{top + 1}", landscape=True)
    # The headings that repeat must not fall into the middle of a page.
    sheet.row_breaks.append(Break(id=top - 2))
    sheet.freeze_panes = "A3"
    return checks


def _state(sheet: Worksheet, choices: words.Choices) -> Table:
    """How each instrument stands on the date of the checks."""
    # Up to the end of that day: a check dated ahead is not in force yet.
    last = f"LOOKUP(inst_no*{PER_INSTRUMENT}+INT(state_as_of)+0.9999,sorted_key)"

    def in_force(what: str) -> str:
        return f'IF(INT(state_key/{PER_INSTRUMENT})=inst_no,LOOKUP(state_key,sorted_key,{what}),"")'

    def result(key: str, heading: str, hint: str, formula: str, **more: object) -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.RESULT, **more)  # type: ignore[arg-type]

    interval = f'IF(interval_by_history="{words.YES}",history_interval,inst_interval)'
    state = Table(
        sheet,
        "state",
        4,
        choices.instruments,
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
                f'INT(state_date)+ROUND({interval},0),"")',
            ),
            result(
                "status", "State", "", width=18,
                formula='IF((inst_name<>"")*(inst_tolerance=""),"no tolerance",'
                'CALIBRATION_STATUS(state_offset,IF(inst_name="","",inst_tolerance),'
                f'state_days,IF(inst_name="","",{interval})))',
            ),
        ),
    ).write()  # fmt: skip
    key = Column("key", "Last key", "", formula=f"IFERROR({last},-1)", style=styles.STEP, width=14)
    u_slope = Column(
        "u_slope", "Slope, uncertainty", "", formula=in_force("sorted_u_slope"), style=styles.STEP
    )
    Table(sheet, "state", 4, choices.instruments, (key, u_slope), left=_STEPS).write()
    for row, text in ((4, "State on"), (5, "Chart shows"), (6, "Intervals by history")):
        sheet[f"J{row}"], sheet[f"J{row}"].style = text, styles.LABEL
        layout.merge(sheet, f"J{row}:K{row}")
    sheet["L4"] = '=IF(COUNT(check_date)=0,"",IF(as_of="",TODAY(),as_of))'
    sheet["L4"].style, sheet["L4"].number_format = styles.RESULT, styles.DATE
    layout.name(sheet, "state_as_of", "L4")
    sheet["L5"].style = sheet["L6"].style = styles.INPUT
    layout.merge(sheet, "L5:N5")
    layout.name(sheet, "chart_instrument", "L5")
    which = Limits.listed("inst_name", "An instrument from Setup; blank shows the first")
    which.add_to(sheet, "L5")
    sheet["L6"] = words.NO
    sheet["L5"].alignment = sheet["L6"].alignment = styles.WORDS
    layout.name(sheet, "interval_by_history", "L6")
    Limits.among(words.YES, words.NO).add_to(sheet, "L6")
    sheet["J7"], sheet["J7"].style = (
        "yes: the next date follows from how the instrument was found (history below)",
        styles.LEAD,
    )
    layout.merge(sheet, "J7:P7")
    return state


def _history(sheet: Worksheet, choices: words.Choices, top: int) -> Table:
    """How each instrument moved: drift, control limits, and the interval that follows."""

    def result(key: str, heading: str, hint: str, formula: str, **more: object) -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.RESULT, **more)  # type: ignore[arg-type]

    def known(condition: str, formula: str) -> str:
        return f'IF({condition},{formula},"")'

    factor = control.E2
    limits = f"history_ranges>={_LEAST_RANGES}"
    history = Table(
        sheet,
        "history",
        top,
        choices.instruments,
        (
            result("name", "Instrument", "from Setup", 'IF(inst_name="","",inst_name)', width=19),
            result(
                "checks", "Checks", "all dates", known('inst_name<>""', "history_all"), width=12,
                format=styles.WHOLE,
            ),
            result(
                "drift", "Drift in 30 days", "across adjustments",
                known("history_spread>0", "30*history_with/history_spread"),
                format="+0.0000;-0.0000",
            ),
            result(
                "expanded", "Drift, ± about 95 %", "", known("history_spread>0",
                "60/SQRT(history_spread)"), format="0.0000",
            ),
            result(
                "centre", "Mean offset", "as found", known(limits, "history_mean"),
                format="0.0000",
            ),
            result(
                "low", "Control limit, lower", "individuals",
                known(limits, f"history_mean-{factor:.4f}*history_range"), format="0.0000",
            ),
            result(
                "high", "Control limit, upper", "individuals",
                known(limits, f"history_mean+{factor:.4f}*history_range"), format="0.0000",
            ),
            result(
                "verdict", "Control chart", "", width=17,
                formula='IF(inst_name="","",IF(history_ranges<'
                f'{_LEAST_RANGES},"too few checks",IF(history_outside=0,"in control",'
                'history_outside&" outside limits")))',
            ),
            result(
                "interval", "Interval by history", "days", width=12, format="0",
                formula='IF(inst_name="","",IF(history_all=0,IF(inst_interval="","",inst_interval),'
                "LOOKUP(state_key,sorted_key,sorted_interval)))",
            ),
        ),
    ).write()  # fmt: skip

    def step(key: str, heading: str, formula: str) -> Column:
        return Column(key, heading, "", 12, "General", formula, styles.STEP)

    own = f"(sorted_no=INDEX(inst_no,ROW($R{{row}})-{history.first - 1}))"
    mine = f"INDEX(inst_no,ROW($R{{row}})-{history.first - 1})"
    places = {key: f"{get_column_letter(_STEPS + i)}{{row}}" for i, key in enumerate(
        ("all", "ranges", "range", "found", "mean"))}  # fmt: skip
    beyond = f"{factor:.4f}*{places['range']}*1.000000001"
    Table(
        sheet,
        "history",
        top,
        choices.instruments,
        (
            step("all", "Checks", f"COUNTIF(sorted_no,{mine})"),
            step("ranges", "Moving ranges", f'COUNTIFS(sorted_no,{mine},sorted_range,">=0")'),
            step(
                "range", "Mean range",
                f"IF({places['ranges']}=0,0,SUMIF(sorted_no,{mine},sorted_range)/{places['ranges']})",
            ),
            step("found", "As found", f"COUNTIFS(sorted_no,{mine},sorted_left,0)"),
            step(
                "mean", "Mean offset",
                f"IF({places['found']}=0,0,SUMIFS(sorted_offset,sorted_no,{mine},sorted_left,0)"
                f"/{places['found']})",
            ),
            step(
                "outside", "Outside limits",
                f"SUMPRODUCT({own}*(ABS(sorted_offset-{places['mean']})>{beyond}))",
            ),
            step(
                "spread", "Spread of dates",
                f"SUMPRODUCT({own}*sorted_weight*sorted_from_date^2)",
            ),
            step(
                "with", "Offset with date",
                f"SUMPRODUCT({own}*sorted_weight*sorted_from_date*sorted_from_offset)",
            ),
        ),
        left=_STEPS,
    ).write()  # fmt: skip
    return history


#: Where the uncertainty of a gravity comes from.
_SOURCES = ("reading", "calibration", "wort factor", "temperature", "cloudiness, colour")


def _budget(sheet: Worksheet, row: int) -> int:
    """What each source adds to the uncertainty of a gravity, largest first; gives the last row."""
    degrees = Limits.between(0, 20, "Standard uncertainty of the temperature, in your unit")
    lines = (
        ("Reading", "budget_reading", None, styles.READING,
         "of the instrument that the chart shows; blank: nothing is worked out",
         Limits.between(-1, 45, "A reading in the scale of the instrument")),
        ("Sample temperature", "budget_temperature", None, styles.TEMPERATURE,
         "blank: 20 °C (68 °F)", Limits.between(0, 212, "In the unit chosen on Setup")),
        ("u of temperature", "budget_u_temperature", None, styles.TEMPERATURE,
         "standard uncertainty; blank: 0", degrees),
        ("u of cloudiness", "budget_u_cloud", None, styles.READING,
         "°Bx or SG by which a cloudy or dark sample blurs the line; blank: 0",
         Limits.between(0, 5, "In the scale of the instrument")),
    )  # fmt: skip
    for label, key, value, number_format, explanation, limits in lines:
        sheet[f"A{row}"], sheet[f"A{row}"].style = label, styles.LABEL
        cell = sheet[f"B{row}"]
        cell.value, cell.style, cell.number_format = value, styles.INPUT, number_format
        layout.name(sheet, key, f"B{row}")
        limits.add_to(sheet, f"B{row}")
        sheet[f"C{row}"], sheet[f"C{row}"].style = explanation, styles.LEAD
        sheet[f"C{row}"].alignment = styles.WORDS
        layout.merge(sheet, f"C{row}:F{row}")
        row += 1
    _budget_steps(sheet, row)
    rank = f"ROW($R{{row}})-{row + 1}"
    value = f"LARGE(budget_effect,{rank})"
    shares = Table(
        sheet,
        "share",
        row,
        len(_SOURCES),
        (
            Column("source", "Source", "largest first", 19, style=styles.RESULT,
                   formula=f'IF(budget_all="","",INDEX(budget_source,MATCH({value},'
                           "budget_effect,0)))"),
            Column("u", "Standard uncertainty", "SG", 12, "0.00000", style=styles.RESULT,
                   formula=f'IF(budget_all="","",{value})'),
            Column("part", "Share", "of the square", 12, "0%", style=styles.RESULT,
                   formula=f'IF(budget_all="","",IF(budget_all=0,0,({value}/budget_all)^2))'),
        ),
    ).write()  # fmt: skip
    sheet[f"A{shares.last + 1}"] = "± about 95 %"
    total = sheet[f"B{shares.last + 1}"]
    sheet[f"A{shares.last + 1}"].style = total.style = styles.RESULT
    total.value, total.number_format = '=IF(budget_all="","",2*budget_all)', "0.0000"
    layout.name(sheet, "budget_expanded", f"B{shares.last + 1}")
    charts.bars(
        sheet,
        f"G{row - len(lines)}",
        "Standard uncertainty by source",
        "SG",
        shares.cells("source"),
        charts.Trace("standard uncertainty", "", shares.cells("u")),
        size=(19, 6.4),
        y_format="0.0000",
    )
    return shares.last + 1


def _budget_steps(sheet: Worksheet, top: int) -> None:
    """The gravity as it is, and with each source moved by its standard uncertainty."""

    def step(key: str, heading: str, formula: str) -> Column:
        return Column(key, heading, "", 12, "General", formula, styles.STEP)

    def of(what: str) -> str:
        return f"INDEX(inst_{what},chart_no)"

    def in_force(what: str, otherwise: str) -> str:
        return (
            f"IF(ISNUMBER(INDEX(state_{what},chart_no)),INDEX(state_{what},chart_no),{otherwise})"
        )

    kind, celsius = of("kind"), "budget_celsius"
    refracts, floats = f'({kind}="{words.REFRACTOMETER}")', is_hydrometer(kind)
    start = (
        f'IF({floats}*({of("scale")}="Plato"),GRAVITY_CONVERT(budget_reading,"Plato","SG"),'
        "budget_reading)"
    )
    given = 'IF(budget_temperature="",IF(unit_temperature="F",68,20),budget_temperature)'
    fixed = (
        ("start", f'IF(budget_reading="","",{start})'),
        ("celsius", f'IF(unit_temperature="F",({given}-32)/1.8,{given})'),
        ("u_celsius", 'budget_u_temperature/IF(unit_temperature="F",1.8,1)'),
        ("offset", in_force("offset", "0")),
        ("slope", in_force("slope", "1")),
        ("u_calibration", f"SQRT({in_force('u_offset', of('tolerance'))}^2"
                          f"+({in_force('u_slope', '0')}*N(budget_start))^2)"),
    )  # fmt: skip
    for number, (key, formula) in enumerate(fixed):
        letter = get_column_letter(_STEPS + number)
        sheet[f"{letter}{top - 2}"] = key.replace("_", " ")
        sheet[f"{letter}{top - 1}"] = "=" + formula
        sheet[f"{letter}{top - 2}"].style = sheet[f"{letter}{top - 1}"].style = styles.STEP
        layout.name(sheet, f"budget_{key}", f"{letter}{top - 1}")
    moved = {
        "reading": f"N({of('u_reading')})",
        "calibration": "budget_u_calibration",
        "cloudiness, colour": "N(budget_u_cloud)",
    }

    def by_source(cases: dict[str, str], otherwise: str) -> str:
        formula = otherwise
        for source, value in cases.items():
            formula = f'IF(budget_source="{source}",{value},{formula})'
        return formula

    shift = by_source(moved, "0")
    warm = f'{celsius}+IF(budget_source="temperature",budget_u_celsius,0)'
    factor = 'wort_factor+IF(budget_source="wort factor",u_wort_factor,0)'
    none = '(budget_start="")'
    table = Table(
        sheet,
        "budget",
        top,
        len(_SOURCES) + 1,
        (
            step("source", "Moved", ""),
            step("shown", "Shown", f'IF(ISNUMBER(budget_start),budget_start+{shift},budget_start)'),
            step(
                "brix", "True °Bx",
                f'IF({none},"",IF({refracts},REFRACTOMETER_BRIX(budget_shown,'
                f'IF({of("compensated")}="{words.YES}","",{warm}),budget_offset,budget_slope),""))',
            ),
            step(
                "sg", "SG",
                f'IF({none},"",IF({refracts},WORT_SG(budget_brix,{factor}),IF({floats},'
                "HYDROMETER_SG(IF(ISNUMBER(budget_shown),budget_shown-budget_offset,budget_shown),"
                f'{without_glass(kind, warm)},{without_glass(kind, of("reference_c"))}),"")))',
            ),
            # A hair for each row, so that equal ones keep their order.
            step(
                "effect", "u of SG",
                f'IF(ISNUMBER(budget_sg)*(budget_source<>"nothing"),'
                "ABS(budget_sg-INDEX(budget_sg,1))"
                f'+({top + 20}-ROW(budget_sg))*0.0000000000001,"")',
            ),
        ),
        left=_STEPS,
    ).write()  # fmt: skip
    letter = table.letters["source"]
    for number, source in enumerate(("nothing", *_SOURCES)):
        sheet[f"{letter}{table.first + number}"] = source
    last = get_column_letter(_STEPS + len(fixed))
    sheet[f"{last}{top - 2}"], sheet[f"{last}{top - 2}"].style = "together", styles.STEP
    sheet[f"{last}{top - 1}"] = (
        f'=IF(COUNT(budget_effect)={len(_SOURCES)},SQRT(SUMSQ(budget_effect)),"")'
    )
    sheet[f"{last}{top - 1}"].style = styles.STEP
    layout.name(sheet, "budget_all", f"{last}{top - 1}")


def _checks(sheet: Worksheet, choices: words.Choices, top: int) -> Table:
    reading = Limits.between(-5, 250, "What the instrument showed, in its own scale")
    reference = Limits.between(
        -5, 250, "What it ought to show: °Brix for a refractometer, SG for a hydrometer, the true "
        "temperature for a thermometer; or in the scale chosen beside it"
    )  # fmt: skip
    tolerance = of_instrument("step_no", "tolerance")
    return Table(
        sheet,
        "check",
        top,
        choices.checks,
        (
            layout.instrument(),
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
                limits=layout.temperatures(
                    70,
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
                17,
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
                "reference_scale",
                "References in",
                "blank: its own scale",
                width=11,
                limits=Limits.among(*words.REFERENCE_SCALES),
            ),
            Column(
                "state",
                "As found or as left",
                "blank: as found",
                width=11,
                limits=Limits.among(words.AS_FOUND, words.AS_LEFT),
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
                "Tolerance",
                "within or outside",
                width=11,
                style=styles.RESULT,
                formula='IF(ISNUMBER(step_offset),IF(check_date>=TODAY()+1,"dated ahead",'
                f'IF({tolerance}>0,IF(ABS(step_offset)<={tolerance}*1.000000001,"within",'
                '"outside"),"no tolerance")),"")',
            ),
            Column("who", "Who", "", width=10),
            Column("note", "What was done", "", width=22),
        ),
    ).write()


def _steps(sheet: Worksheet, choices: words.Choices, top: int) -> None:
    """The way from readings to offset and slope."""
    blocks = {
        what: tuple(f"{what}_{i}" for i in (1, 2, 3))
        for what in ("as_sg", "refracted", "floated", "true", "given", "known")
    }

    def step(key: str, heading: str, hint: str = "", formula: str = "") -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.STEP)

    steps = Table(
        sheet,
        "step",
        top,
        choices.checks,
        (
            *correction.named("step", "check_instrument"),
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
            *(step(key, "Reference", "in the scale") for key in blocks["given"]),
            *(step(key, "Reference") for key in blocks["known"]),
            *_line(step),
            step(
                "key",
                "Key",
                "",
                f"IF(ISNUMBER(step_offset)*ISNUMBER(check_date),step_no*{PER_INSTRUMENT}"
                f'+check_date+0.001*(check_state="{words.AS_LEFT}")'
                f'+(ROW(check_date)-{top})/10000000,"")',
            ),
        ),
        left=_STEPS,
    ).write()
    rows = f"{steps.first}:$F${steps.last}"
    readings = f"$D${rows}"
    references = f"$H${steps.first}:$I${steps.last}"
    hydrometer = is_hydrometer("step_kind")
    scale = f'IF({hydrometer},step_scale,"")'
    shown = f'IF({hydrometer},IF({readings}="","",{readings}),"")'
    steps.block(
        blocks["as_sg"],
        f'IF(SUMPRODUCT(({scale}="Plato")*1)=0,{shown},IF({scale}="Plato",'
        f'GRAVITY_CONVERT(IF({scale}="Plato",{readings},""),"Plato","SG"),{shown}))',
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
    all_known = f"$G${steps.first}:{references.split(':')[1]}"
    thermometer = f'(step_kind="{words.THERMOMETER}")'
    # A thermometer is checked in the unit of temperatures, and for its offset alone.
    error = (
        f'IF(({readings}="")+({all_known}="")>0,"",IF(ISNUMBER({readings})*ISNUMBER({all_known}),'
        f'{readings}-{all_known},"! reading or reference is not a number"))'
    )
    steps.block(
        blocks["true"],
        f'IF(step_kind="refractometer",{refracted},IF({thermometer},{error},{floated}))',
    )
    given = f'IF({all_known}="","",{all_known})'
    from_sg = f'(step_kind="{words.REFRACTOMETER}")*(check_reference_scale="SG")'
    to_sg = f'{hydrometer}*((check_reference_scale="Brix")+(check_reference_scale="Plato"))'
    steps.block(
        blocks["given"],
        f"IF(SUMPRODUCT({from_sg}+{to_sg})=0,{given},"
        f'IF({from_sg}>0,GRAVITY_CONVERT(IF({from_sg}>0,{given},""),"SG","Brix"),'
        f'IF({to_sg}>0,GRAVITY_CONVERT(IF({to_sg}>0,{given},""),"Plato","SG"),{given})))',
    )
    steps.block(
        blocks["known"][:1],
        f'IF(step_no=0,"",IF({thermometer},0,'
        f'IF(check_reference_1="",IF({hydrometer},1,0),step_given_1)))',
    )
    later = f"{steps.letters['given_2']}{steps.first}:{steps.letters['given_3']}{steps.last}"
    steps.block(blocks["known"][1:], f'IF({thermometer},IF({later}="","",0),{later})')


def _line(step: Callable[..., Column]) -> tuple[Column, ...]:
    """The line through up to three points, as CALIBRATION_FIT gives it, in worksheet functions.

    A call for each check would cost a spreadsheet far more than this: thousands are possible.
    """
    numbers = (1, 2, 3)
    used = {i: f"ISNUMBER(step_true_{i})*ISNUMBER(step_known_{i})" for i in numbers}

    def summed(term: str) -> str:
        """Σ of a term over the points that are there; {k} and {r}: reference and reading."""
        return "+".join(
            f"IF({used[i]},{term.format(k=f'step_known_{i}', r=f'step_true_{i}')},0)"
            for i in numbers
        )

    def told(formula: str) -> str:
        return f"IF(ISNUMBER(step_points),{formula},step_points)"

    points = f'IF({summed("1")}=0,"",{summed("1")})'
    for i in numbers:
        points = f'IF(LEFT(step_true_{i},2)="! ",step_true_{i},{points})'
    apart = "+".join(
        f"IF({used[i]}*{used[j]},(ABS(step_known_{i}-step_known_{j})>={LEAST_SPREAD:g})*1,0)"
        for i, j in ((1, 2), (1, 3), (2, 3))
    )
    u_reading = of_instrument("step_no", "u_reading")
    squares = summed("({r}-step_offset-step_slope*{k})^2")
    return (
        step("points", "Points", "", f'IF(step_no=0,"",{points})'),
        step("u_reading", "u of reading", "", told(f"IF({u_reading}>0,{u_reading},0.1)")),
        step("centre", "Mean reference", "", told(f"({summed('{k}')})/step_points")),
        # 0 where the references lie too close together for a slope.
        step("spread", "Spread", "",
             told(f"IF({apart}>0,{summed('({k}-step_centre)^2')},0)")),
        step("slope", "Slope", "",
             told(f"IF(step_spread>0,({summed('({k}-step_centre)*{r}')})/step_spread,1)")),
        step("offset", "Offset", "",
             told(f"({summed('{r}')})/step_points-step_slope*step_centre")),
        step("u_slope", "u of slope", "",
             told("IF(step_spread>0,step_u_reading/SQRT(step_spread),0)")),
        step("u_offset", "u of offset", "",
             told("step_u_reading*SQRT(1/step_points"
                  "+IF(step_spread>0,step_centre^2/step_spread,0))")),
        step("residual", "Residual", "",
             told("IF(step_points-IF(step_spread>0,2,1)>0,"
                  f'SQRT(({squares})/(step_points-IF(step_spread>0,2,1))),"")')),
    )  # fmt: skip


#: The first columns of the sorted checks; formulas of the row below look at some of them.
_IN_ORDER = ("row", "key", "place", "date", "offset", "slope", "u_offset", "u_slope", "no", "left",
             "level", "interval", "weight", "sum_weight", "sum_date", "sum_offset")  # fmt: skip

#: The interval that follows from the one before: shorter, longer or the same (ILAC-G24, method 1).
_STAIRCASE = (
    "IF({no}={no_before},IF(({left}=1)+({tolerance}<=0)>0,{interval_before},"
    f"MIN(MAX({{interval_before}}*IF(ABS({{offset}})>{{tolerance}}*1.000000001,{drift.SHORTER},"
    f"IF(ABS({{offset}})<={{tolerance}}*{drift.CALM_SHARE * (1 + 1e-9):.10f},{drift.LONGER},1)),"
    f"{drift.SHORTEST:g}),{drift.LONGEST:g})),{{first}})"
)


def _sorted(sheet: Worksheet, choices: words.Choices, top: int) -> Table:
    """The checks in the order of their keys, and what the chart shows of them."""
    rank = f"ROW(check_date)-{top + 1}"
    shown = f"INT(sorted_key/{PER_INSTRUMENT})=chart_no"

    def step(key: str, heading: str, formula: str, number_format: str = styles.PLAIN) -> Column:
        return Column(
            key, heading, "in order", 12, number_format, formula=formula, style=styles.STEP
        )

    def ordered(source: str) -> str:
        return f"IF(sorted_place=0,0,LOOKUP(sorted_place,sorted_row,{source}))"

    letters = {
        key: get_column_letter(_STEPS + _SORTED + place) for place, key in enumerate(_IN_ORDER)
    }

    def running(formula: str, otherwise: str = "0") -> str:
        """A formula of each row that looks at the row above it: the check before."""
        told = formula.format(
            **{key: f"{letter}{{row}}" for key, letter in letters.items()},
            **{f"{key}_before": f"{letter}{{above}}" for key, letter in letters.items()},
            first=f"INDEX(inst_interval,{letters['no']}{{row}})",
            tolerance=f"INDEX(inst_tolerance,{letters['no']}{{row}})",
        )
        return f"IF({letters['no']}{{row}}=0,{otherwise},{told})"

    def so_far(what: str) -> str:
        """Sum over the checks of one level, up to each row."""
        return running(f"IF({{level}}={{level_before}},{{sum_{what}_before}},0)+{{weight}}" + (
            "" if what == "weight" else f"*{{{what}}}"))  # fmt: skip

    def before(key: str) -> str:
        """A column, each row's check before: from the heading on, one row up."""
        return f"{letters[key]}{top + 1}:{letters[key]}{top + choices.checks}"

    def from_level(what: str) -> str:
        """How far a value lies from the weighted mean of its level."""
        # A sum over all checks for each check would take the square of their number; the levels
        # ascend, so the last row of each holds its sums.
        total = "LOOKUP(sorted_level+0.5,sorted_level,sorted_sum_{})"
        mean = f"{total.format(what)}/{total.format('weight')}"
        return f"IF(sorted_weight=0,0,sorted_{what}-{mean})"

    order = Table(
        sheet,
        "sorted",
        top,
        choices.checks,
        (
            step("row", "Row", rank),
            step("key", "Key", f"IFERROR(SMALL(step_key,{rank}),{_AFTER_ALL:.0f})"),
            step("place", "Place", "IFERROR(MATCH(sorted_key,step_key,0),0)"),
            step("date", "Date", ordered("check_date"), styles.DATE),
            step("offset", "Offset", ordered("step_offset")),
            step("slope", "Slope", ordered("step_slope")),
            step("u_offset", "u of offset", ordered("step_u_offset")),
            step("u_slope", "u of slope", ordered("step_u_slope")),
            step("no", "Instrument", f"IF(sorted_place=0,0,INT(sorted_key/{PER_INSTRUMENT}))"),
            step("left", "As left", f'IF({ordered("check_state")}="{words.AS_LEFT}",1,0)'),
            step(
                "level",
                "Level",
                running(
                    "IF({no}={no_before},{level_before},{no}*10000)+{left}", f"{_AFTER_ALL:.0f}"
                ),
            ),
            step("interval", "Interval", running(_STAIRCASE)),
            step("weight", "Weight", "IF(sorted_u_offset>0,1/sorted_u_offset^2,0)"),
            step("sum_weight", "Σ weight", so_far("weight")),
            step("sum_date", "Σ weight·date", so_far("date")),
            step("sum_offset", "Σ weight·offset", so_far("offset")),
            step(
                "range",
                "Moving range",
                f"IF((sorted_no>0)*(sorted_no={before('no')})*(sorted_left=0),"
                f'ABS(sorted_offset-{before("offset")}),"")',
            ),
            step("from_date", "Date", from_level("date")),
            step("from_offset", "Offset", from_level("offset")),
            step("chart_date", "Chart: date", f"IF({shown},sorted_date,NA())", styles.DATE),
            step("chart_offset", "Chart: offset", f"IF({shown},sorted_offset,NA())"),
            step(
                "chart_high",
                "Chart: tolerance",
                f"IF({shown},{of_instrument('chart_no', 'tolerance')},NA())",
            ),
            step("chart_low", "Chart: tolerance", "-sorted_chart_high"),
            *(
                step(
                    f"chart_{which}",
                    "Chart: control limit",
                    f"IF({shown}*ISNUMBER(INDEX(history_{limit},chart_no)),"
                    f"INDEX(history_{limit},chart_no),NA())",
                )
                for which, limit in (("upper", "high"), ("lower", "low"))
            ),
        ),
        left=_STEPS + _SORTED,
    ).write()
    cell = f"{get_column_letter(_STEPS)}3"
    sheet[cell] = '=IF(chart_instrument="",1,IFERROR(MATCH(chart_instrument,inst_name,0),1))'
    sheet[cell].style = styles.STEP
    layout.name(sheet, "chart_no", cell)
    return order


def _chart(sheet: Worksheet, order: Table, anchor: str) -> None:
    """Offset over time, with tolerance and control limits as two kinds of broken lines."""
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
            charts.Trace("control limit, above", dates, order.cells("chart_upper"), fine=True),
            charts.Trace("control limit, below", dates, order.cells("chart_lower"), fine=True),
        ),
        size=(27, 7.6),
        x_format=styles.DATE,
        y_format="0.00",
    )
