"""Batch sheet: one printed page for the shop counter or the brewhouse wall.

Empty, it has boxes to write in by hand, and a strip that turns raw °Brix into gravity; after the
brew it is printed again with what was measured.
"""

from __future__ import annotations

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import correction, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.panel import Panel

#: What the page shows in its boxes.
EMPTY, FILLED = "to write on", "filled"

_TOP = 12
_NOTES = 3  # empty lines for other readings
_STEPS = 14  # first column of the steps, right of the printed page
_DEEP, _PAIRS = 10, 5  # rows and pairs of columns of the strip
_FIRST, _EACH = 0.5, 0.5  # °Brix


def add(book: Workbook, choices: words.Choices, paper: int) -> None:
    """Add the sheet."""
    sheet = book.create_sheet(words.CARD)
    layout.title(
        sheet,
        "Batch sheet",
        "Print it before the brew and write in the boxes; or print it filled after the brew.",
        "L",
    )
    _entries(sheet)
    boxes = _boxes(sheet, choices)
    strip = _strip(sheet, choices, boxes.last + _NOTES + 3)
    last = panel.cautions(
        sheet,
        "A:L",
        strip + 2,
        "Boiling wort scalds: stand clear when it comes to the boil, sample with a ladle.",
        "It boils over when extract, sugar or hops go in: heat off, add slowly, stir.",
        "Hot wort cracks glass: cool the sample before it meets a hydrometer jar or a prism.",
    )
    panel.even(sheet, 4, _TOP - 1)
    layout.page(sheet, paper, f"A1:L{last - 1}")
    sheet.page_setup.fitToHeight = 1


def _entries(sheet: Worksheet) -> None:
    lines = Panel(sheet, "A:B", "C:E", "F:L")
    lines.entry(
        4,
        "Boxes",
        "card_boxes",
        f"{EMPTY}: empty; {FILLED}: from the log",
        Limits.among(EMPTY, FILLED),
        EMPTY,
    )
    lines.entry(
        5,
        "Refractometer",
        "card_instrument",
        "whose strip is printed below",
        Limits.listed("inst_name", "One of the refractometers on the Setup sheet"),
    )
    lines.answer(
        6,
        "Batch",
        "card_batch",
        'IF(shown_batch="","",shown_batch)',
        "chosen on Targets; blank there: the last of the log",
    )
    lines.answer(
        7,
        "Grain",
        "card_grain",
        'IF(grain_mass="","",TEXT(grain_mass,"0.0#")&" "&unit_mass)',
        '="expected mash efficiency: "&IF(ISNUMBER(next_efficiency),'
        'TEXT(next_efficiency,"0")&" %","______")',
    )
    lines.answer(
        8, "Boil", "card_boil",
        'IF(boil_minutes="","",boil_minutes&" min")',
        '=IF(boil_off="","","boil-off "&boil_off&" "&unit_volume&" an hour")'
        '&IF(kettle_size="","","; kettle holds "&kettle_size&" "&unit_volume)',
    )  # fmt: skip

    panel.span(
        sheet, "A:L", 10, "Date ____________________     Brewer ____________________",
        styles.LABEL,
    )  # fmt: skip


def _boxes(sheet: Worksheet, choices: words.Choices) -> Table:
    """Targets, and boxes for what is read."""
    gravity = choices.gravity_format

    def box(
        key: str, heading: str, hint: str, width: float, number_format: str, found: str
    ) -> Column:
        return Column(
            key, heading, hint, width, number_format,
            f'IF(card_boxes="{FILLED}",{found},"")', styles.BOX,
        )  # fmt: skip

    def printed(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    def logged(what: str) -> str:
        line = f"INDEX(seen_gravity_line,{{row}}-{_TOP + 1})"
        found = f"INDEX({what},{line})"
        return f'IF({line}=0,"",IF({found}="","",{found}))'

    boxes = Table(
        sheet,
        "card",
        _TOP,
        len(words.TARGET_STAGES),
        (
            printed("stage", "Stage", "", 16, styles.PLAIN, "target_stage"),
            printed("gravity", "Target gravity", "=unit_gravity", 9, gravity,
                    "verdict_wanted"),
            printed("tolerance", "±", "=unit_gravity", 8, gravity, "verdict_tolerance"),
            printed("volume", "Target volume", '=unit_volume&" at 20 °C"', 9, styles.VOLUME,
                    "verdict_wanted_volume"),
            printed("volume_tolerance", "±", "=unit_volume", 7, styles.VOLUME,
                    "verdict_volume_tolerance"),
            box("time", "Time", "hh:mm", 8, "hh:mm",
                logged("log_date")),
            box("reading", "Reading", "as shown", 10, styles.READING,
                logged("log_reading")),
            box("temperature", "Sample", '="°"&unit_temperature', 9, styles.TEMPERATURE,
                logged("log_temperature")),
            box("measured", "Gravity", "=unit_gravity", 10, choices.fine_gravity_format,
                "verdict_measured"),
            box("expanded", "±", "about 95 %", 8, choices.fine_gravity_format, "verdict_expanded"),
            box("measured_volume", "Volume", '=unit_volume&" at 20 °C"', 10, styles.VOLUME,
                "verdict_measured_volume"),
            box("verdict", "Gravity / volume is", "", 22, styles.PLAIN,
                'verdict_gravity&IF(LEN(verdict_gravity)*LEN(verdict_volume)>0," / ","")'
                "&verdict_volume"),
        ),
    ).write()  # fmt: skip
    for row in range(boxes.first, boxes.last + _NOTES + 1):
        sheet.row_dimensions[row].height = 30
        for column in "ABCDEFGHIJKL" if row > boxes.last else "":
            sheet[f"{column}{row}"].style = styles.BOX
    return boxes


def _strip(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """What each raw °Brix of the chosen instrument means; gives the last row."""
    panel.span(
        sheet,
        "A:L",
        row,
        '="From °Bx as shown by "&IF(card_instrument="","______",card_instrument)&" to "'
        '&unit_gravity&" of wort, calibration of "&IF(ISNUMBER(strip_check_date)'
        '*(strip_check_date>0),TEXT(strip_check_date,"yyyy-mm-dd"),"______")'
        '&", wort factor "&TEXT(wort_factor,"0.000")',
        styles.SECTION,
    )
    panel.span(
        sheet,
        "A:L",
        row + 1,
        "Sample and prism at 20 °C (68 °F), or a refractometer that compensates. Unfermented wort "
        "only.",
        styles.LEAD,
    )
    Table(
        sheet,
        "strip",
        4,
        1,
        correction.in_force("strip", "card_instrument", "state_as_of"),
        left=_STEPS,
    ).write()
    size = _DEEP * _PAIRS
    steps = Table(
        sheet,
        "strip",
        8,
        size,
        (
            step("raw", "Shown", "°Bx", ""),
            step(
                "brix",
                "True",
                "°Bx",
                f'REFRACTOMETER_BRIX(IF(strip_kind="{words.REFRACTOMETER}",strip_raw,""),"",'
                "strip_offset,strip_slope)",
            ),
            step("sg", "Wort", "SG", "WORT_SG(IF(ISNUMBER(strip_brix),IF(strip_brix<0,\"\","
                 "strip_brix),strip_brix),wort_factor)"),
            step(
                "shown",
                "Wort",
                "in the unit of targets",
                'IF(unit_gravity="SG",strip_sg,IF(ISNUMBER(strip_brix),strip_brix/wort_factor,'
                "strip_brix))",
            ),
            correction.refractometer("strip", "strip_raw")[1],
            step(
                "u",
                "u",
                "in the unit of targets",
                'IF(unit_gravity="SG",'
                'WORT_SG_UNCERTAINTY(IF(ISNUMBER(strip_sg),strip_brix,""),wort_factor,'
                "strip_u_reading,u_wort_factor,strip_u_calibration),"
                "IF(ISNUMBER(strip_sg),SQRT(strip_u_reading^2+strip_u_calibration^2"
                '+(strip_shown*u_wort_factor)^2)/wort_factor,""))',
            ),
        ),
        left=_STEPS,
    ).write()  # fmt: skip
    for number in range(size):
        sheet[f"{steps.letters['raw']}{steps.first + number}"] = _FIRST + _EACH * number
    for pair in range(_PAIRS):
        left, right = get_column_letter(2 * pair + 1), get_column_letter(2 * pair + 2)
        for letter, text in ((left, "°Bx"), (right, "=unit_gravity")):
            sheet[f"{letter}{row + 2}"] = text
            sheet[f"{letter}{row + 2}"].style = styles.HINT
        for deep in range(_DEEP):
            source = steps.first + pair * _DEEP + deep
            for letter, key, form in (
                (left, "raw", "0.0"),
                (right, "shown", choices.fine_gravity_format),
            ):
                cell = sheet[f"{letter}{row + 3 + deep}"]
                cell.value = f"={steps.letters[key]}{source}"
                cell.style = styles.BOX if key == "raw" else styles.RESULT
                cell.number_format = form
    last = row + 3 + _DEEP
    line = panel.span(sheet, "A:L", last, _spread(choices), styles.LEAD)
    layout.name(sheet, "card_spread", line.coordinate)
    return last


def _spread(choices: words.Choices) -> str:
    """Formula: what the strip leaves open, at the foot of each of its columns."""
    fine = choices.fine_gravity_format
    known = 'IF(ISNUMBER({u}),TEXT(2*{u},"{fine}"),"______")'
    spreads = '&", "&'.join(
        known.format(u=f"INDEX(strip_u,{foot})", fine=fine)
        + f'&" at {_FIRST + _EACH * (foot - 1):g} °Bx"'
        for foot in range(_DEEP, _DEEP * _PAIRS + 1, _DEEP)
    )
    return f'="± about 95 %, "&unit_gravity&": "&{spreads}'
