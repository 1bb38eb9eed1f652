"""Recipe-target check: did the batch hit its targets, given how sure we are?"""

from __future__ import annotations

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import brewhouse, charts, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.panel import Panel

_TOP = 7
_STEPS = 16  # first column of the steps, right of the printed page
_HISTORY = 12  # batches

# Student's t for 95 % and 1, 2, ... degrees of freedom (JCGM 100:2008, table G.2).
_STUDENT = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20)


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of batches for the efficiency."""
    sheet = book.create_sheet(words.TARGETS)
    layout.title(
        sheet,
        "Recipe-target check",
        "The latest reading of each stage against the targets on Setup. “Too close to call” means "
        "that the uncertainty reaches over a limit: measure again, or better, before you act.",
        "N",
    )
    sheet["A4"], sheet["A4"].style = "Batch", styles.LABEL
    sheet["B4"].style = styles.INPUT
    sheet["C4"] = "choose a batch of the log; blank shows the last one"
    sheet["C4"].style = styles.LEAD
    layout.merge(sheet, "C4:H4")
    layout.name(sheet, "target_batch", "B4")
    sheet["A5"], sheet["A5"].style = "Shown", styles.LABEL
    sheet["B5"] = (
        '=IF(target_batch<>"",target_batch,IFERROR(LOOKUP(2,1/(log_batch<>""),log_batch),""))'
    )
    sheet["B5"].style = styles.RESULT
    layout.name(sheet, "shown_batch", "B5")
    verdicts = _verdicts(sheet, choices)
    steps = _steps(sheet)
    history = _history(sheet, choices, verdicts.last + 3)
    expectation = _expectation(sheet, choices, history.last + 2)
    _chart(sheet, verdicts, steps, choices, f"I{history.top}")
    layout.page(sheet, paper, f"A1:N{expectation}", landscape=True)
    sheet.page_setup.fitToHeight = 1
    sheet.freeze_panes = f"B{verdicts.first}"
    return history


def _verdicts(sheet: Worksheet, choices: words.Choices) -> Table:
    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    gravity = choices.gravity_format
    fine = choices.fine_gravity_format
    return Table(
        sheet,
        "verdict",
        _TOP,
        len(words.TARGET_STAGES),
        (
            result("stage", "Stage", "", 18, styles.PLAIN, "target_stage"),
            result(
                "wanted",
                "Target gravity",
                "=unit_gravity",
                16,
                gravity,
                'IF(target_gravity="","",target_gravity)',
            ),
            result(
                "tolerance",
                "Tolerance ±",
                "=unit_gravity",
                11,
                gravity,
                'IF(target_gravity_tolerance="","",target_gravity_tolerance)',
            ),
            result(
                "measured",
                "Measured",
                "=unit_gravity",
                11,
                fine,
                brewhouse.on_scale("seen_sg"),
            ),
            result(
                "expanded",
                "± about 95 %",
                "=unit_gravity",
                11,
                fine,
                'IF(ISNUMBER(seen_u_gravity),2*seen_u_gravity,"")',
            ),
            result(
                "gravity",
                "Gravity is",
                "verdict",
                17,
                styles.PLAIN,
                "TARGET_CHECK(verdict_measured,verdict_wanted,verdict_tolerance,seen_u_gravity)",
            ),
            result(
                "wanted_volume",
                "Target volume",
                '=unit_volume&" at 20 °C"',
                12,
                styles.VOLUME,
                'IF(target_volume="","",target_volume)',
            ),
            result(
                "volume_tolerance",
                "Tolerance ±",
                "=unit_volume",
                11,
                styles.VOLUME,
                'IF(target_volume_tolerance="","",target_volume_tolerance)',
            ),
            result(
                "measured_volume",
                "Measured",
                '=unit_volume&" at 20 °C"',
                12,
                styles.VOLUME,
                "seen_volume",
            ),
            result(
                "expanded_volume",
                "± about 95 %",
                "=unit_volume",
                11,
                styles.VOLUME,
                'IF(ISNUMBER(verdict_measured_volume),2*u_volume*verdict_measured_volume,"")',
            ),
            result(
                "volume",
                "Volume is",
                "verdict",
                17,
                styles.PLAIN,
                "TARGET_CHECK(verdict_measured_volume,verdict_wanted_volume,"
                "verdict_volume_tolerance,"
                'IF(ISNUMBER(verdict_measured_volume),u_volume*verdict_measured_volume,""))',
            ),
            result(
                "missed_volume",
                "Off by",
                "=unit_volume",
                9,
                "+0.00;-0.00;0.00",
                "IF(ISNUMBER(verdict_measured_volume)*ISNUMBER(verdict_wanted_volume),"
                'verdict_measured_volume-verdict_wanted_volume,"")',
            ),
            result(
                "missed_extract",
                "Extract off by",
                "=unit_mass",
                10,
                "+0.00;-0.00;0.00",
                brewhouse.in_units("seen_missed", "unit_kilograms"),
            ),
            result(
                "missed_efficiency",
                "Worth, efficiency",
                "points of %",
                11,
                "+0.0;-0.0;0.0",
                "IF(ISNUMBER(seen_missed)*ISNUMBER(grain_mass)*(grain_mass>0),"
                '100*seen_missed/(grain_mass*unit_kilograms*extract_potential),"")',
            ),
        ),
    ).write()


def _steps(sheet: Worksheet) -> Table:
    """The latest line of each stage, its gravity and extract, and the extract that was wanted."""

    def step(key: str, heading: str, hint: str, formula: str) -> Column:
        return Column(key, heading, hint, formula=formula, style=styles.STEP)

    def line(measured: str) -> str:
        wanted = "(log_stage=$A{row})*(log_batch=shown_batch)"
        latest = f"SUMPRODUCT(MAX({wanted}*ISNUMBER({measured})*way_order))"
        return f"IF({latest}=0,0,MATCH({latest},way_order,0))"

    def on_line(line_of: str, what: str) -> str:
        cell = letters[line_of] + "{row}"
        return f'IF({cell}=0,"",INDEX({what},{cell}))'

    def plotted(what: str) -> str:
        return f"IF(ISNUMBER({what}),{what},NA())"

    letters = {key: get_column_letter(_STEPS + i) for i, key in enumerate(("gravity", "volume"))}
    return Table(
        sheet,
        "seen",
        _TOP,
        len(words.TARGET_STAGES),
        (
            step("gravity_line", "Line", "of gravity", line("log_sg")),
            step("volume_line", "Line", "of volume", line("log_volume_20")),
            step("sg", "Measured", "SG", on_line("gravity", "log_sg")),
            step("u_sg", "u", "SG", on_line("gravity", "log_u")),
            step("volume", "Measured", "volume", on_line("volume", "log_volume_20")),
            step(
                "u_gravity",
                "u",
                "in the scale of targets",
                'IF(ISNUMBER(seen_sg),IF(unit_gravity="SG",seen_u_sg,GRAVITY_CONVERT('
                'IF(ISNUMBER(seen_sg),seen_sg+seen_u_sg,""),"SG",unit_gravity)-verdict_measured),"")',
            ),
            step("plato", "Measured", "°Plato", on_line("gravity", "log_plato")),
            step("target_sg", "Target", "SG", brewhouse.as_sg("target_gravity")),
            step(
                "target_extract",
                "Target",
                "kg of extract",
                f"EXTRACT_MASS({brewhouse.litres('target_volume')},seen_target_sg)",
            ),
            step(
                "missed",
                "Off by",
                "kg of extract",
                "IF(ISNUMBER(seen_target_extract)*ISNUMBER(seen_sg)*ISNUMBER(seen_volume),"
                f"seen_volume*unit_litres*{brewhouse.density('seen_sg')}*seen_plato/100"
                '-seen_target_extract,"")',
            ),
            step("chart", "Chart", "measured", plotted("verdict_measured")),
            step("chart_wanted", "Chart", "target", plotted("verdict_wanted")),
            step("chart_high", "Chart", "upper limit", plotted("verdict_wanted+verdict_tolerance")),
            step("chart_low", "Chart", "lower limit", plotted("verdict_wanted-verdict_tolerance")),
        ),
        left=_STEPS,
    ).write()


def _history(sheet: Worksheet, choices: words.Choices, top: int) -> Table:
    """Mash efficiency of past batches, from their lines before the boil or from elsewhere."""
    panel.span(sheet, "A:H", top - 1, "Efficiency of past batches", styles.SECTION)
    share = Limits.between(1, 120, "Percent of what the laboratory finds in the grain, 1 to 120")

    table = Table(
        sheet,
        "past",
        top,
        _HISTORY,
        (
            Column("batch", "Batch", "as in the log", 18),
            Column(
                "grain", "Grain mass", "=unit_mass", 16, styles.DEGREES,
                limits=Limits.between(0, 1000000, "Grain mass of that batch"),
            ),
            Column(
                "potential", "Extract potential", "blank: Setup", 11, "0.0%",
                limits=Limits.between(0.01, 1, "A share from 1 % to 100 %"),
            ),
            Column(
                "known", "Efficiency known", "%, from elsewhere", 11, "0.0", limits=share
            ),
            Column(
                "sg", "Before boil", "SG", 11, styles.SG, "pastline_sg", styles.RESULT,
            ),
            Column(
                "expanded", "± about 95 %", "SG", 17, styles.SG, "pastline_expanded", styles.RESULT,
            ),
            Column(
                "volume", "Before boil", '=unit_volume&" at 20 °C"', 12, styles.VOLUME,
                "pastline_volume", styles.RESULT,
            ),
            Column(
                "efficiency", "Mash efficiency", "%", 11, "0.0",
                'IF(past_batch="","",IF(ISNUMBER(past_known),past_known,pastline_efficiency))',
                styles.RESULT,
            ),
        ),
    ).write()  # fmt: skip
    found = '(log_batch=$A{row})*(log_stage="before boil")*ISNUMBER(log_sg)*ISNUMBER(log_volume_20)'
    lines = Table(
        sheet,
        "pastline",
        top,
        _HISTORY,
        (
            Column(
                "row",
                "Line",
                "of the log",
                formula=f'IF($A{{row}}="",0,IF(SUMPRODUCT({found})=0,0,'
                f"MATCH(SUMPRODUCT(MAX({found}*way_order)),way_order,0)))",
                style=styles.STEP,
            ),
            *(
                Column(
                    key,
                    heading,
                    hint,
                    formula=f'IF({letter}{{row}}=0,"",INDEX({what},{letter}{{row}}))',
                    style=styles.STEP,
                )
                for letter in (get_column_letter(_STEPS),)
                for key, heading, hint, what in (
                    ("sg", "Gravity", "SG", "log_sg"),
                    ("expanded", "Gravity", "± about 95 %", "log_expanded"),
                    ("volume", "Volume", "at 20 °C", "log_volume_20"),
                )
            ),
            Column(
                "efficiency",
                "Efficiency",
                "%",
                formula="MASH_EFFICIENCY("
                "IF(ISNUMBER(pastline_volume),pastline_volume*unit_litres,pastline_volume),"
                f"pastline_sg,{brewhouse.kilograms('past_grain')},"
                'IF(past_potential="",extract_potential,past_potential))',
                style=styles.STEP,
            ),
        ),
        left=_STEPS,
    )
    lines.write()
    return table


def _expectation(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """What the past says of the next batch; gives the last row."""
    panel.span(sheet, "A:H", row, "What to expect of the next recipe", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", "E:N")
    student = (
        f"LOOKUP(next_batches-1,{{{';'.join(map(str, range(1, len(_STUDENT) + 1)))}}},"
        f"{{{';'.join(map(str, _STUDENT))}}})"
    )
    spread = f"{student}*STDEV(past_efficiency)*SQRT(1+1/next_batches)"
    volume = f"INDEX(target_volume,{words.TARGET_STAGES.index('before boil') + 1})"
    extract = "next_efficiency/100*grain_mass*unit_kilograms*extract_potential"
    per_litre = (
        f"IF(ISNUMBER(next_efficiency)*ISNUMBER(grain_mass)*ISNUMBER({volume})*({volume}>0),"
        f'1000*{extract}/({volume}*unit_litres),"")'
    )
    lines.answer(
        row + 1,
        "Batches",
        "next_batches",
        'IF(COUNT(past_efficiency)=0,"",COUNT(past_efficiency))',
        "with a mash efficiency",
    )
    lines.answer(
        row + 2,
        "Mash efficiency, mean",
        "next_efficiency",
        'IF(ISNUMBER(next_batches),AVERAGE(past_efficiency),"")',
        "%",
        "0.0",
    )
    lines.answer(
        row + 3,
        "The next one ±",
        "next_spread",
        f'IF(ISNUMBER(next_batches),IF(next_batches>1,{spread},""),"")',
        "%; about 95 % of batches like these fall within it",
        "0.0",
    )
    fine = choices.fine_gravity_format
    lines.answer(
        row + 4,
        "Gravity to expect before boil",
        "next_gravity",
        "next_mean",
        "at the mean efficiency, with the grain and the target volume on Setup",
        fine,
    )
    lines.answer(
        row + 5,
        "± about 95 %",
        "next_gravity_expanded",
        'IF(ISNUMBER(next_upper),next_upper-next_mean,"")',
        '=unit_gravity&", as far as the efficiency of the next batch may differ"',
        fine,
    )
    extract, upper, mean = (get_column_letter(_STEPS + number) for number in range(3))
    panel.step(sheet, row + 4, "next_extract", per_litre, extract)
    panel.step(
        sheet,
        row + 4,
        "next_upper_extract",
        "IF(ISNUMBER(next_extract)*ISNUMBER(next_spread),"
        'next_extract*(1+next_spread/next_efficiency),"")',
        upper,
    )
    # One call for both: at the mean efficiency, and at the upper end of its ±.
    panel.two_steps(
        sheet,
        row + 4,
        ("next_mean", "next_upper"),
        f'GRAVITY_CONVERT({extract}{row + 4}:{upper}{row + 4},"Extract",unit_gravity)',
        mean,
    )
    return row + 5


def _chart(
    sheet: Worksheet, verdicts: Table, steps: Table, choices: words.Choices, anchor: str
) -> None:
    """Measured gravity of each stage between its limits."""
    charts.by_stage(
        sheet,
        anchor,
        "Gravity by stage",
        choices.gravity_scale,
        verdicts.cells("stage"),
        (
            charts.Trace("measured", "", steps.cells("chart")),
            charts.Trace("target", "", steps.cells("chart_wanted"), marker="dash"),
            charts.Trace("upper limit", "", steps.cells("chart_high"), limit=True),
            charts.Trace("lower limit", "", steps.cells("chart_low"), limit=True),
        ),
        size=(16.5, 9.5),
        y_format=choices.gravity_format,
        y_from=0 if choices.gravity == "plato" else 1,
    )
