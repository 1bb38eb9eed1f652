"""Batch sheet: one page for the wall, with plan, boxes to write in, and °Bx turned into gravity.

Printed before the brew its boxes are empty; printed after it they can show what was read.
"""

from __future__ import annotations

from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import BRIX_PER_DEGREE
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Block,
    Column,
    Group,
    Limits,
    Line,
    Lines,
    ReportPart,
    Role,
    Section,
    Sheet,
    Steps,
    Table,
    Text,
    result,
    step,
)
from xlfuncs.workbook.kit.formulas import cases, dated, if_numbers, shown
from xlfuncs.workbook.sheets.batches import latest, of_shown

#: No type is smaller, in points: it is read from a step away.
LEAST = 10
#: A box is 25 mm wide and, in points, over 10 mm high; the strip shares the columns.
_WIDE, HIGH = 13.1, 29.1
_WIDTHS = (_WIDE, 12, 11.6, *(_WIDE,) * 5, 15.7, _WIDE)
_COLUMNS = len(_WIDTHS)
#: What the boxes are for.
BOXES = {
    "time": "Time", "reading": "Reading", "sample": "Sample", "measured": "Gravity",
    "measured_volume": "Volume", "verdict": "Against the plan", "note": "Note",
}  # fmt: skip
#: Empty lines for another reading.
_SPARE = 1
#: The strip: lines under each other, and °Bx from one value to the next.
_DEEP, EACH = 5, 0.5
_VALUES = _DEEP * _COLUMNS
#: Places of the strip at which its ± is said.
_SPREAD_AT = (10, 20, 30, 40, 50)


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.BATCH_SHEET,
        "One page for the wall: the plan of the batch, boxes to write in, and °Bx turned into "
        "gravity for your refractometer.",
        "Print it before the brew and write in the boxes. After it, “yes” fills them from the log. "
        "The batch is chosen on Batches.",
        (
            Text("=card_head", styles.ANSWER, name="card_heading", lines=1.1),
            *_head(),
            _boxes(choices),
            *_strip(choices),
            Text(words.BOIL_CAUTION, styles.CAUTION, gap=0, lines=1.1),
            Text(words.GLASS_CAUTION, styles.CAUTION, gap=0, lines=1.1),
            Steps(_cells(choices)),
        ),
        widths=_WIDTHS,
        least=LEAST,
        landscape=True,
        parts=(
            ReportPart("batch_sheet", {"says": "card_heading", "strip": "card_strip",
                                       "expanded": "card_spread"}),
        ),
    )  # fmt: skip


def _head() -> tuple[Block, ...]:
    return (
        Lines(
            (
                Line("card_grain", "Grain", formula="card_grain_says"),
                Line("card_boil", "Boil", formula="card_boil_says"),
            ),
            label=1, cell=4, note=0, gap=0,
        ),
        Lines(
            (
                Line("card_show", "Show what was read", "yes: from the log",
                     limits=Limits.among(words.YES, words.NO)),
                Line("card_instrument", "Strip for", "blank: the first refractometer",
                     limits=Limits.listed("inst_name", "A refractometer of Setup")),
            ),
            label=2, cell=1, note=2, column=6, beside=True,
        ),
    )  # fmt: skip


def _boxes(choices: words.Choices) -> Table:
    """What is planned, and boxes for what is read."""
    digits = choices.fine_gravity_digits

    def planned(name: str, heading: str, hint: str, formula: str) -> Column:
        return result(name, heading, hint, _WIDE, styles.GENERAL, formula, by_line=True, wrap=True)

    def box(name: str, hint: str, format: str, found: str) -> Column:
        shown_if = f'IF(card_filled*(card_at>0),{found},"")'
        return Column(f"card_{name}", BOXES[name], hint, _WIDE, format, shown_if, Role.BOX,
                      by_line=True)  # fmt: skip

    def logged(what: str) -> str:
        cell = f"INDEX(all.{what},card_at)"
        return f'IF({cell}="","",{cell})'

    both = 'IF(ISNUMBER({}),{}&IF(ISNUMBER({}),CHAR(10)&"± "&{},""),"")'
    verdicts = "INDEX(all.mean_verdict,card_at)", "INDEX(all.log_volume_verdict,card_at)"
    stages = [stage.capitalize() for stage in words.PLANNED] + [""] * _SPARE
    numbers = [words.stage(stage) for stage in words.PLANNED] + [0] * _SPARE
    return Table(
        "card",
        len(stages),
        (
            Column("card_stage", "Stage", "", _WIDE, role=Role.FIXED, values=stages, wrap=True),
            planned("card_gravity", "Gravity planned", "=unit_gravity",
                    both.format("card_wanted", shown("card_wanted", digits), "card_wanted",
                                shown("card_within", digits))),
            planned("card_volume", "Volume planned", '=unit_volume&" at "&unit_room',
                    f'IF(ISNUMBER(card_wanted_volume),{shown("card_wanted_volume", 1)},"")'),
            box("time", "hh:mm", "hh:mm",
                f"IF(N({logged('line_date')})>INT(N({logged('line_date')})),"
                f'{logged("line_date")},"")'),
            box("reading", "as shown", styles.READING, logged("log_reading")),
            box("sample", '="°"&unit_temperature', styles.TEMPERATURE,
                logged("log_temperature")),
            box("measured", '=unit_gravity&", ± 95 %"', styles.GENERAL,
                both.format("card_is", shown("card_is", digits), "card_is_expanded",
                            shown("card_is_expanded", digits))),
            box("measured_volume", '=unit_volume&" at "&unit_room', styles.ONE,
                logged("log_volume_20")),
            box("verdict", "gravity / volume", styles.GENERAL,
                f'{verdicts[0]}&IF({verdicts[1]}="","",CHAR(10)&{verdicts[1]})'),
            box("note", "", styles.GENERAL, 'IF(N(INDEX(all.mean_of,card_at))>1,'
                f'"mean of "&INDEX(all.mean_of,card_at)&"; ","")&{logged("log_note")}'),
            Column("card_stage_no", "card_stage_no", "stage", 12, role=Role.STEP, values=numbers),
            Column("card_plan_no", "card_plan_no", "of the plan", 12, role=Role.STEP,
                   values=[*range(1, len(words.PLANNED) + 1)] + [0] * _SPARE),
            step("card_at", "line of the log", "IF(card_stage_no*shown_no=0,0,"
                 f"IFERROR(1*{latest('shown_no', 'card_stage_no', 'at')},0))", by_line=True),
            step("card_is", "gravity", f'IF(card_at=0,"",{logged("mean_gravity")})', by_line=True),
            step("card_is_expanded", "±", f'IF(card_at=0,"",{logged("mean_expanded")})',
                 by_line=True),
            step("card_wanted", "planned", _plan("plan_gravity", len(words.PLANNED)),
                 by_line=True),
            step("card_wanted_volume", "planned", _plan("plan_volume", len(words.PLANNED) - 1),
                 by_line=True),
            step("card_within", "tolerance", 'IF(ISNUMBER(card_wanted),'
                 'INDEX(all.batch_within,shown_no),"")', by_line=True),
        ),
        high=HIGH,
    )  # fmt: skip


def _plan(what: str, last: int) -> str:
    return (f"IF((shown_no=0)+(card_plan_no=0)+(card_plan_no>{last})>0,\"\","
            f"INDEX(all.{what},shown_no,card_plan_no))")  # fmt: skip


def _strip(choices: words.Choices) -> tuple[Block, ...]:
    """What each °Bx of the chosen refractometer means, in columns of a few lines."""
    digits = choices.fine_gravity_digits
    values = [
        Text(f"=INDEX(all.strip_words,{column * _DEEP + line + 1})", styles.STRIP,
             column=column + 1, to=column + 1, beside=column > 0, gap=0, lines=1.1)
        for line in range(_DEEP)
        for column in range(_COLUMNS)
    ]  # fmt: skip
    return (
        Section("=card_strip_says", name="card_strip", gap=0),
        *values,
        Text("=card_spread_says", styles.TEXT, name="card_spread", gap=0, lines=1.1),
        _drops(digits),
    )  # fmt: skip


def _drops(digits: int) -> Table:
    """From drops of wort to gravities, those of the strip and that of Convert by one call each."""

    def own(strip: str, convert: str) -> str:
        return f"IF(strip_no>{_VALUES},{convert},{strip})"

    return Table(
        "strip",
        _VALUES + 1,
        (
            Column("strip_no", "strip_no", "line", 12, role=Role.STEP,
                   values=range(1, _VALUES + 2)),
            step("strip_raw", "shown, °Bx", own(f"{EACH}*strip_no", "read_shown")),
            step("strip_asked", "asked for", own('IF(card_prism=1,strip_raw,"")', "strip_raw")),
            step("strip_true", "true °Bx", "REFRACTOMETER_BRIX(strip_asked,"
                 f"{own(chr(34) * 2, 'read_drop_c')},{own('card_offset', 'read_offset')},"
                 f"{own('card_slope', 'read_slope')})"),
            step("strip_brix", "of wort", "IF(ISNUMBER(strip_true),"
                 + own('IF(strip_true<0,"",strip_true)', "strip_true") + ',"")'),
            step("strip_tilt", "from the centre", if_numbers(
                ["strip_brix"], own("(strip_brix-card_centre)*card_u_slope",
                                    "(strip_brix-read_centre)*read_u_slope"))),
            step("strip_u_brix", "u, °Bx", if_numbers(
                ["strip_tilt"], f"SQRT({own('card_u_drop', 'read_u_drop')}^2"
                                f"+{own('card_u', 'read_u')}^2+strip_tilt^2)")),
            # As it is, a tenth of u more of the drop, and of the wort factor, by one call.
            Group("strip_drop", (
                step("strip_drop_1", "°Bx", "strip_brix"),
                step("strip_drop_2", "°Bx",
                     'IF(ISNUMBER(strip_brix),strip_brix+strip_u_brix/10,"")'),
                step("strip_drop_3", "°Bx", "strip_brix"))),
            Group("strip_by", (
                step("strip_by_1", "factor", "wort_factor+0*strip_no"),
                step("strip_by_2", "factor", "wort_factor+0*strip_no"),
                step("strip_by_3", "factor", "wort_factor+u_wort_factor/10+0*strip_no"))),
            Group("strip_gravity", (
                step("strip_gravity_1", "as on Setup", ""),
                step("strip_gravity_2", "more of the drop", ""),
                step("strip_gravity_3", "more of the factor", "")),
                'IF(unit_gravity="SG",WORT_SG(strip_drop,strip_by),'
                'IF(ISNUMBER(strip_drop),IF(factor_refused="",strip_drop/strip_by,'
                "factor_refused),\"\"))"),
            step("strip_u", "u", if_numbers(
                ["strip_gravity_1", "strip_gravity_2", "strip_gravity_3"],
                "10*SQRT((strip_gravity_2-strip_gravity_1)^2"
                "+(strip_gravity_3-strip_gravity_1)^2)")),
            step("strip_words", "in words", f'{shown("N(strip_raw)", 1)}&" → "&'
                 f'IF(ISNUMBER(strip_gravity_1),{shown("N(strip_gravity_1)", digits)},'
                 '"____")', by_line=True),
        ),
        beside=True,
    )  # fmt: skip


def _cells(choices: words.Choices) -> dict[str, str]:
    digits = choices.fine_gravity_digits

    def of(what: str) -> str:
        return f"INDEX(all.inst_{what},card_no)"

    def in_force(what: str, otherwise: str) -> str:
        state = f"INDEX(all.state_{what},card_no)"
        return f"IF(card_no=0,{otherwise},IF(ISNUMBER({state}),{state},{otherwise}))"

    day = "N(INDEX(all.batch_day,shown_no))"
    amount = f'{shown("card_grain_mass", 1)}&" "&unit_mass'
    spread = '&", "&'.join(f"card_spread_{at}" for at in _SPREAD_AT)
    return {
        "card_filled": f'(LOWER(TRIM(card_show))="{words.YES}")*1',
        "card_head": 'IF(brewery="","",brewery&"  ·  ")&IF(shown_batch="","batch __________",'
                     "shown_batch)&card_day&\"   ·   brewer __________\"",
        "card_day": f'IF(shown_no=0,"",IF({day}=0,"  ·  date __________","  ·  "&{dated(day)}))',
        "card_grain_mass": of_shown("batch_mass"),
        "card_grain_says": f'IF(ISNUMBER(card_grain_mass),{amount},"______ "&unit_mass)',
        "card_minutes": "IF(shown_no=0,usual_minutes,INDEX(all.batch_boil,shown_no))",
        "card_boil_says": f'{shown("card_minutes", 0)}&" min"&card_off&card_size',
        "card_off": f'IF(ISNUMBER(boil_off_litres),", "&{shown("boil_off", 1)}&" "&unit_volume&'
                    '" boil off an hour","")',
        "card_size": f'IF(ISNUMBER(kettle_litres),", kettle holds "&{shown("kettle_size", 1)}&" "&'
                     'unit_volume,"")',
        "card_no": f'IF(TRIM(card_instrument)="",IFERROR(MATCH("{words.REFRACTOMETER}",'
                   "all.inst_is,0),0),IFERROR(MATCH(TRIM(card_instrument),all.inst_key,0),0))",
        "card_prism": f'IF(card_no=0,0,({of("is")}="{words.REFRACTOMETER}")*({of("in")}="Brix"))',
        "card_name": f'IF(card_no=0,"______",{of("key")})',
        "card_offset": in_force("offset", "0"),
        "card_slope": in_force("slope", "1"),
        "card_u": f'IF(card_no=0,0,{in_force("u", of("tolerance"))})',
        "card_centre": in_force("centre", "0"),
        "card_u_slope": in_force("u_slope", f"{UNCHECKED_SLOPE_U}"),
        "card_u_drop": f"IF(card_prism=0,0,SQRT({of('u')}^2+IF({of('auto')}=1,{COMPENSATION_U},"
                       f"{BRIX_PER_DEGREE}*u_celsius)^2))",
        "card_checked": "IF(card_no=0,0,N(INDEX(all.state_date,card_no)))",
        "card_check": f'IF(card_checked=0,"not checked","checked "&{dated("card_checked")})',
        "card_strip_says": cases(
            ("(card_no>0)*(card_prism=0)", 'card_name&": the strip needs a refractometer that '
                                           'shows °Bx"'),
            otherwise='"From °Bx on “"&card_name&"” to "&unit_gravity&" of unfermented wort, '
                      f'drop at "&unit_room&"; "&card_check&", wort factor "'
                      f'&{shown("wort_factor", 3)}'),
        **{
            f"card_spread_{at}": f'IF(ISNUMBER(INDEX(all.strip_u,{at})),'
                                 f'{shown(f"2*INDEX(all.strip_u,{at})", digits)},"______")'
                                 f'&" at {EACH * at:g} °Bx"'
            for at in _SPREAD_AT
        },
        "card_spread_says": f'"± about 95 %, "&unit_gravity&": "&{spread}',
    }  # fmt: skip
