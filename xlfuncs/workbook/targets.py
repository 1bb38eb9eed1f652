"""Recipe-target check: did the batch hit its targets, given how sure we are?"""

from __future__ import annotations

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import charts, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Column, Table

_TOP = 7
_STEPS = 13


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of verdicts."""
    sheet = book.create_sheet(words.TARGETS)
    layout.title(
        sheet,
        "Recipe-target check",
        "The latest reading of each stage against the targets on Setup. “Too close to call” means "
        "that the uncertainty reaches over a limit: measure again, or better, before you act.",
        "K",
    )
    sheet["A4"], sheet["A4"].style = "Batch", styles.LABEL
    sheet["B4"].style = styles.INPUT
    sheet["C4"] = "choose a batch of the log; blank shows the last one"
    sheet["C4"].style = styles.LEAD
    sheet.merge_cells("C4:H4")
    layout.name(sheet, "target_batch", "B4")
    sheet["A5"], sheet["A5"].style = "Shown", styles.LABEL
    sheet["B5"] = (
        '=IF(target_batch<>"",target_batch,IFERROR(LOOKUP(2,1/(log_batch<>""),log_batch),""))'
    )
    sheet["B5"].style = styles.RESULT
    layout.name(sheet, "shown_batch", "B5")
    verdicts = _verdicts(sheet, choices)
    _steps(sheet)
    _chart(sheet, verdicts, choices)
    layout.page(sheet, paper, f"A1:K{verdicts.last + 22}", landscape=True)
    sheet.freeze_panes = f"B{verdicts.first}"
    return verdicts


def _verdicts(sheet: Worksheet, choices: words.Choices) -> Table:
    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    gravity = choices.gravity_format
    fine = gravity.replace("#", "0")
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
                'GRAVITY_CONVERT(seen_sg,"SG",unit_gravity)',
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
        ),
    ).write()


def _steps(sheet: Worksheet) -> None:
    """The latest line of each stage, and its gravity."""

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
    Table(
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
                'IF(ISNUMBER(seen_sg),GRAVITY_CONVERT(IF(ISNUMBER(seen_sg),seen_sg+seen_u_sg,""),'
                '"SG",unit_gravity)-verdict_measured,"")',
            ),
            step("chart", "Chart", "measured", plotted("verdict_measured")),
            step("chart_wanted", "Chart", "target", plotted("verdict_wanted")),
            step("chart_high", "Chart", "upper limit", plotted("verdict_wanted+verdict_tolerance")),
            step("chart_low", "Chart", "lower limit", plotted("verdict_wanted-verdict_tolerance")),
        ),
        left=_STEPS,
    ).write()


def _chart(sheet: Worksheet, verdicts: Table, choices: words.Choices) -> None:
    """Measured gravity of each stage between its limits."""
    rows = f"{verdicts.first}:{{}}{verdicts.last}"

    def cells(number: int) -> str:
        letter: str = get_column_letter(_STEPS + number)
        return letter + rows.format(letter)

    charts.by_stage(
        sheet,
        f"A{verdicts.last + 2}",
        "Gravity by stage",
        choices.gravity_scale,
        verdicts.cells("stage"),
        (
            charts.Trace("measured", "", cells(6)),
            charts.Trace("target", "", cells(7), marker="dash"),
            charts.Trace("upper limit", "", cells(8), limit=True),
            charts.Trace("lower limit", "", cells(9), limit=True),
        ),
        size=(25, 9),
        y_format=choices.gravity_format,
    )
