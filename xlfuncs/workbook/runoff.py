"""Runoff sheet: how the runoff washes out, when to stop, and what has been collected."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import brewhouse, charts, correction, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.brewhouse import in_units
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.panel import Panel

READINGS = 24
#: Above this pH of the cooled runoff, husk tannins dissolve (common practice).
HIGHEST_PH = 5.8

_TOP = 20
_STEPS = 12  # first column of the steps, right of the printed page


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of readings."""
    sheet = book.create_sheet(words.RUNOFF)
    layout.title(
        sheet,
        "Runoff",
        "Read the runoff itself, not the kettle, at any spacing and in any order; three volumes or "
        "more show how it falls. Let the drop cool on the plate. The runoff is 65 to 80 °C hot: "
        "take samples with a ladle.",
        "J",
    )
    sheet.row_dimensions[2].height = 36
    _entries(sheet, choices)
    _answers(sheet, choices)
    readings = _readings(sheet)
    steps = _steps(sheet)
    _fit(sheet)
    _chart(sheet, steps, choices, f"A{readings.last + 2}")
    panel.even(sheet, 4, _TOP - 2)
    layout.page(sheet, paper, f"A1:J{readings.last + 20}")
    sheet.page_setup.fitToHeight = 1
    return readings


def _entries(sheet: Worksheet, choices: words.Choices) -> None:
    lines = Panel(sheet, "A:B", "C:D", "E:J")
    lines.entry(4, "Batch", "run_batch", "name or number")
    lines.entry(
        5,
        "Date",
        "run_date",
        "finds the calibration in force",
        layout.dates(),
        number_format=styles.DATE,
    )
    lines.entry(
        6,
        "Refractometer",
        "run_instrument",
        "one of the refractometers on Setup",
        Limits.listed("inst_name", "One of the refractometers on the Setup sheet"),
    )
    lines.entry(
        7,
        "Limit of the runoff",
        "run_limit",
        "1.010 (2.6 °Plato) by common practice; in the unit of targets",
        Limits.between(
            'IF(unit_gravity="Plato",0.1,1.0001)',
            'IF(unit_gravity="Plato",20,1.083)',
            "Gravity of the runoff at which you stop: SG such as 1.010, or °Plato",
        ),
        2.6 if choices.gravity == "plato" else 1.010,
        choices.gravity_format,
    )


def _answers(sheet: Worksheet, choices: words.Choices) -> None:
    lines = Panel(sheet, "A:B", "C:D", "E:J")
    lines.answer(9, "Now", "run_state", "runfit_state")
    because = panel.span(sheet, "E:J", 9, "=runfit_reason", styles.CAUTION)
    sheet["C9"].style = because.style
    layout.name(sheet, "run_reason", because.coordinate)
    in_volume = '="at 20 °C, "&unit_volume'
    fine = choices.fine_gravity_format
    lines.answer(
        10,
        "Collected so far",
        "run_collected",
        in_units("runfit_collected", "unit_litres"),
        in_volume,
        "0.0",
    )
    lines.answer(
        11,
        "Gravity there",
        "run_gravity",
        "runfit_gravity",
        "=unit_gravity",
        fine,
    )
    lines.answer(
        12,
        "± about 95 %",
        "run_gravity_expanded",
        'IF(ISNUMBER(runfit_upper),runfit_upper-runfit_gravity,"")',
        "=unit_gravity",
        fine,
    )
    lines.answer(
        13,
        "Falls to the limit at",
        "run_end",
        in_units("INDEX(runfit_volume,1)", "unit_litres"),
        in_volume,
        "0.0",
    )
    lines.answer(
        14,
        "± about 95 %",
        "run_end_expanded",
        'IF(ISNUMBER(run_end),2*INDEX(runfit_u,1)/unit_litres,"")',
        "=unit_volume",
        "0.0",
    )
    lines.answer(
        15,
        "Extract collected",
        "run_extract",
        in_units("runfit_extract", "unit_kilograms"),
        '=unit_mass&"; what ran before the first reading counts as strong as that reading"',
        "0.00",
    )
    lines.answer(
        16,
        "Mash efficiency so far",
        "run_efficiency",
        "IF(ISNUMBER(runfit_extract)*ISNUMBER(grain_mass)*(grain_mass>0),"
        "100*runfit_extract/(grain_mass*unit_kilograms*extract_potential),"
        'IF(ISNUMBER(runfit_extract),"",runfit_extract))',
        "% of what the laboratory finds in the grain mass on Setup",
        "0.0",
    )
    lines.answer(
        17, "pH", "run_ph_warning",
        f'IF(COUNT(run_ph)=0,"",IF(MAX(run_ph)>{HIGHEST_PH},"above {HIGHEST_PH}","ok"))',
        f"cooled sample; above {HIGHEST_PH} husk tannins dissolve: stop, or acidify the sparge",
    )  # fmt: skip


def _readings(sheet: Worksheet) -> Table:
    """What is typed, and beside it what it means."""
    panel.span(sheet, "A:J", _TOP - 1, "Readings", styles.SECTION)
    warm = layout.temperatures(
        100,
        "A temperature in the unit chosen on Setup: 0 to 100 °C, or 32 to 212 °F",
    )
    remark = (
        'IF((run_volume="")*(run_reading="")*(run_ph=""),"",'
        'IF((run_volume<>"")*(run_reading=""),"reading is missing",'
        'IF((run_volume="")*(run_reading<>""),"volume is missing",'
        'IF((run_ph<>"")*NOT(ISNUMBER(run_ph)),"pH is not a number",'
        f'IF(ISNUMBER(run_ph)*(run_ph>{HIGHEST_PH}),"pH above {HIGHEST_PH}",'
        'IF((run_volume<>"")*(run_volume_temperature=""),"volume counts as at 20 °C",""))))))'
    )
    return Table(
        sheet,
        "run",
        _TOP,
        READINGS,
        (
            Column(
                "volume", "Collected", "=unit_volume", 11, styles.VOLUME,
                limits=Limits.between(0, 1000000, "Volume in the kettle at this reading"),
            ),
            Column(
                "volume_temperature", "Volume read at", '="°"&unit_temperature', 10,
                styles.TEMPERATURE, limits=warm,
            ),
            Column(
                "reading", "Reading", "°Bx as shown", 10, styles.READING,
                limits=Limits.between(-1, 40, "What the refractometer shows, °Brix"),
            ),
            Column(
                "temperature", "Sample temperature", '="°"&unit_temperature', 12,
                styles.TEMPERATURE, limits=warm,
            ),
            Column(
                "ph", "pH", "cooled; may stay blank", 10, styles.READING,
                limits=Limits.between(3, 10, "pH of the cooled sample"),
            ),
            Column(
                "volume_20", "Volume", '="at 20 °C, "&unit_volume', 12, "0.0",
                in_units("ro_volume", "unit_litres"), styles.RESULT,
            ),
            Column("plato", "Extract", "°Plato", 10, styles.DEGREES, "ro_plato", styles.RESULT),
            Column("sg", "Gravity", "SG 20/20", 10, styles.SG, "ro_refracted_sg", styles.RESULT),
            Column(
                "expanded", "± about 95 %", "SG", 9, styles.SG,
                'IF(ISNUMBER(ro_refracted_u),2*ro_refracted_u,"")', styles.RESULT,
            ),
            Column("remark", "Remark", "", 26, styles.PLAIN, remark, styles.RESULT),
        ),
    ).write()  # fmt: skip


def _steps(sheet: Worksheet) -> Table:
    """From readings to gravity, in order of volume, and the extract between two readings."""
    Table(
        sheet,
        "ro",
        4,
        1,
        correction.in_force("ro", "run_instrument", "run_date"),
        left=_STEPS,
    ).write()
    both = "ISNUMBER(ro_volume)*ISNUMBER(ro_refracted_sg)"
    rank = f"ROW(ro_key)-{_TOP + 1}"
    # Between two readings the extract falls exponentially: its mean is the logarithmic one.
    mean = (
        "IF(((ro_extract_before<=0)+(ro_extract_next<=0)"
        "+(ABS(ro_extract_before-ro_extract_next)<10^-9))>0,"
        "(ro_extract_before+ro_extract_next)/2,"
        "(ro_extract_before-ro_extract_next)/LN(ro_extract_before/ro_extract_next))"
    )

    def at(place: str, what: str) -> str:
        return f"IF({place}=0,0,LOOKUP({place},ro_row,{what}))"

    return Table(
        sheet,
        "ro",
        _TOP,
        READINGS,
        (
            step("litres", "Collected", "L", brewhouse.litres("run_volume")),
            step(
                "volume_c",
                "Volume",
                "°C",
                f'IF(run_volume_temperature="",20,{brewhouse.celsius("run_volume_temperature")})',
            ),
            step("volume", "Collected", "L at 20 °C", "VOLUME_AT(ro_litres,ro_volume_c)"),
            step("celsius", "Sample", "°C", brewhouse.celsius("run_temperature")),
            *correction.refractometer("ro", "run_reading"),
            *correction.wort("ro"),
            step("plato", "Extract", "°Plato", "IF(ISNUMBER(ro_brix),ro_brix/wort_factor,ro_brix)"),
            step(
                "extract",
                "Extract",
                "kg in a litre",
                f"IF({both},{brewhouse.density('ro_refracted_sg')}*ro_plato/100,0)",
            ),
            # A hair for each row keeps readings at one volume apart.
            step("key", "Key", "", f'IF({both},ro_volume+ROW(ro_volume)/10^9,"")'),
            step("row", "Row", "", f"ROW(ro_volume)-{_TOP + 1}"),
            step("next", "Place", "in order", f"IFERROR(MATCH(SMALL(ro_key,{rank}),ro_key,0),0)"),
            step(
                "before", "Place before", "in order",
                f"IFERROR(MATCH(SMALL(ro_key,{rank}-1),ro_key,0),0)",
            ),
            step("volume_next", "Collected", "in order", at("ro_next", "ro_volume")),
            step("volume_before", "Collected", "before", at("ro_before", "ro_volume")),
            step("extract_next", "Extract", "in order", at("ro_next", "ro_extract")),
            step("extract_before", "Extract", "before", at("ro_before", "ro_extract")),
            step("mean", "Extract", "mean, kg in a litre", mean),
            step(
                "part",
                "Extract",
                "kg since then",
                "IF(ro_next=0,0,IF(ro_before=0,ro_volume_next*ro_extract_next,"
                "(ro_volume_next-ro_volume_before)*ro_mean))",
            ),
            step("chart_volume", "Chart", "collected", _plotted("run_volume_20")),
            step(
                "chart_gravity",
                "Chart",
                "measured",
                _plotted('IF(unit_gravity="SG",ro_refracted_sg,ro_plato)'),
            ),
            step(
                "curve_x",
                "Curve",
                "L at 20 °C",
                "IF(ISNUMBER(runfit_scale),runfit_first+(runfit_last-runfit_first)"
                f'*(ro_row-1)/{READINGS - 1},"")',
            ),
            step(
                "curve",
                "Curve",
                "°Plato",
                "IF(ISNUMBER(ro_curve_x),INDEX(runfit_plato,1)*"
                'EXP((INDEX(runfit_volume,1)-ro_curve_x)/runfit_scale),"")',
            ),
            step(
                "fitted",
                "Curve",
                "on the scale",
                'IF(unit_gravity="SG",GRAVITY_CONVERT(ro_curve,"Plato","SG"),ro_curve)',
            ),
            step(
                "chart_x",
                "Chart",
                "of the curve",
                "IF(ISNUMBER(ro_curve_x),ro_curve_x/unit_litres,NA())",
            ),
            step("chart_fitted", "Chart", "fitted", _plotted("ro_fitted")),
            step("chart_limit", "Chart", "limit", "IF(ISNUMBER(ro_chart_x),run_limit,NA())"),
        ),
        left=_STEPS,
    ).write()  # fmt: skip


def _plotted(what: str) -> str:
    return f"IF(ISNUMBER({what}),{what},NA())"


def _fit(sheet: Worksheet) -> None:
    """The fit for the limit, and for half of it: the two give the scale of the curve."""
    left = _STEPS + 14
    limits = Table(
        sheet,
        "runfit",
        4,
        2,
        (
            step(
                "limit",
                "Limit",
                "and half",
                'IF(run_limit="","",IF(ISNUMBER(run_limit),run_limit-{0;0.5}'
                '*(run_limit-IF(unit_gravity="SG",1,0)),run_limit))',
            ),
            step("limit_sg", "Limit", "SG", brewhouse.as_sg("runfit_limit")),
            step(
                "plato",
                "Limit",
                "°Plato",
                'IF(unit_gravity="Plato",runfit_limit,'
                'GRAVITY_CONVERT(runfit_limit,unit_gravity,"Plato"))',
            ),
            step("volume", "Reached at", "L at 20 °C", ""),
            step("u", "u", "L", ""),
        ),
        left=left,
    ).write()
    limit = limits.letters["limit_sg"]
    limits.block_by_row(("volume", "u"), f"RUNOFF_VOLUME(ro_volume,ro_refracted_sg,{limit}{{row}})")
    left_over = "(INDEX(runfit_volume,1)-runfit_collected)"
    u = "INDEX(runfit_u,1)"
    target = f"INDEX(target_volume,{words.TARGET_STAGES.index('before boil') + 1})"
    full = (
        f"IF(ISNUMBER({target}),IF(run_collected>={target},"
        '" The kettle holds its target volume.",""),"")'
    )
    more = f'TEXT({left_over}/unit_litres,"0.0")&" "&unit_volume&" more."'
    cases = (
        # condition, state, reason
        ('run_instrument=""', "", 'IF(COUNT(run_reading)=0,"","choose the refractometer")'),
        (
            f'ro_kind<>"{words.REFRACTOMETER}"',
            "",
            '"the instrument chosen is not a refractometer on Setup"',
        ),
        ("NOT(ISNUMBER(runfit_collected))", "", '""'),
        ("NOT(ISNUMBER(INDEX(runfit_limit_sg,1)))", "", '"enter the limit of the runoff"'),
        (
            "runfit_sg<=INDEX(runfit_limit_sg,1)",
            "Stop now",
            '"the last reading is at the limit."',
        ),
        (
            "NOT(ISNUMBER(INDEX(runfit_volume,1)))",
            "Keep going",
            '"and read again: "&SUBSTITUTE(INDEX(runfit_volume,1),"! ","")',
        ),
        (f"{left_over}<=0", "Stop now", '"the fitted curve is at the limit."'),
        (
            f"{left_over}<=MAX(2*{u},0.1*INDEX(runfit_volume,1))",
            "Get ready",
            f'"about "&{more}',
        ),
        ("TRUE", "Keep going", f'"about "&{more}'),
    )
    state, reason = '""', '""'
    for condition, word, words_ in reversed(cases):
        state = f'IF({condition},"{word}",{state})'
        reason = f"IF({condition},{words_},{reason})"
    last = Table(
        sheet,
        "runfit",
        12,
        1,
        (
            step(
                "collected", "Collected", "L at 20 °C", 'IF(COUNT(ro_key)=0,"",MAX(ro_volume_next))'
            ),
            step("last_row", "Last", "row", "IF(COUNT(ro_key)=0,0,MATCH(MAX(ro_key),ro_key,0))"),
            step(
                "sg",
                "Last",
                "SG",
                'IF(runfit_last_row=0,"",INDEX(ro_refracted_sg,runfit_last_row))',
            ),
            step(
                "upper_sg",
                "and 2 u more",
                "SG",
                'IF(runfit_last_row=0,"",IF(ISNUMBER(INDEX(run_expanded,runfit_last_row)),'
                'runfit_sg+INDEX(run_expanded,runfit_last_row),""))',
            ),
            step("gravity", "Last", "on the scale", ""),
            step("upper", "and 2 u more", "on the scale", ""),
            step("extract", "Extract", "kg", 'IF(COUNT(ro_key)=0,"",SUM(ro_part))'),
            step(
                "scale",
                "Scale",
                "L",
                "IF(ISNUMBER(INDEX(runfit_volume,1))*ISNUMBER(INDEX(runfit_volume,2)),"
                "(INDEX(runfit_volume,2)-INDEX(runfit_volume,1))"
                '/LN(INDEX(runfit_plato,1)/INDEX(runfit_plato,2)),"")',
            ),
            step("first", "Curve", "from, L", 'IF(COUNT(ro_key)=0,"",MIN(ro_key))'),
            step(
                "last",
                "Curve",
                "to, L",
                'IF(ISNUMBER(runfit_scale),MAX(runfit_collected,INDEX(runfit_volume,1)*1.05),"")',
            ),
            step("state", "Now", "", state),
            step("reason", "Because", "", f'{reason}&IF(ISNUMBER(runfit_collected),{full},"")'),
        ),
        left=left,
    ).write()
    sgs = f"{last.letters['sg']}{last.first}:{last.letters['upper_sg']}{last.first}"
    last.block(("gravity", "upper"), brewhouse.on_scale(sgs))


def _chart(sheet: Worksheet, steps: Table, choices: words.Choices, anchor: str) -> None:
    charts.scatter(
        sheet,
        anchor,
        "Wash-out of the runoff",
        "collected, at 20 °C",
        f"gravity, {choices.gravity_scale}",
        (
            charts.Trace("measured", steps.cells("chart_volume"), steps.cells("chart_gravity")),
            charts.Trace(
                "fitted curve",
                steps.cells("chart_x"),
                steps.cells("chart_fitted"),
                line=True,
                marker="none",
            ),
            charts.Trace("limit", steps.cells("chart_x"), steps.cells("chart_limit"), limit=True),
        ),
        size=(23, 9.5),
        x_format="0",
        y_format="0.0" if choices.gravity == "plato" else "0.000",
        y_from=0 if choices.gravity == "plato" else 1,
    )
