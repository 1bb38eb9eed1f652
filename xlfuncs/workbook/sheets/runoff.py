"""Runoff: how the runoff washes out, when to stop, and what has been collected.

The readings of first runnings, runoff and its end of the shown batch, from the log.  The
exponential fall is fitted through runoff and end; the first runnings are the plateau before it.
"""

from __future__ import annotations

from collections.abc import Iterator

from xlfuncs.science import gravity
from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.workbook import slopes, words
from xlfuncs.workbook.defaults import HIGHEST_PH
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Chart,
    Column,
    Line,
    Lines,
    ReportPart,
    Role,
    Section,
    Sheet,
    Steps,
    Table,
    Text,
    Trace,
    result,
    step,
)
from xlfuncs.workbook.kit.formulas import (
    cases,
    if_numbers,
    in_litres,
    number_or_text,
    on_line,
    plotted,
    shown,
)
from xlfuncs.workbook.sheets.batches import of_shown, stage_key

#: Readings that the sheet has room for, and points of the curve.
READINGS, POINTS = 20, 24
#: Gravity of the runoff at which to stop where the plan has none (common practice).
LIMIT = 1.010
_LIMIT_PLATO = round(float(gravity.convert(LIMIT, "SG", "Plato")), 2)
#: Get ready from so near to the end on: this share of the volume, or the ± where that is more.
_NEAR = 0.1
_FIRST, _END = words.stage(words.FIRST_RUNNINGS), words.stage(words.RUNOFF_END)
_LIMIT = words.planned(words.RUNOFF_END)
#: Mean of two extracts between which it falls exponentially: the logarithmic one.
_LOGARITHMIC = "(run_dense-above.run_dense)/LN(run_dense/above.run_dense)"


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.RUNOFF,
        "When to stop the runoff, and what has been collected. Read the runoff itself, not the "
        "kettle.",
        "Log the runoff at any spacing, with the volume collected so far; three volumes or more "
        "show how it falls. Let the drop cool on the plate: the runoff is 65 to 80 °C (150 to "
        "175 °F) hot, take samples with a ladle.",
        (
            Text("=run_answers&units_tail", styles.ANSWER, name="run_answer", lines=1.1),
            Lines(_answers(choices), label=1, cell=1, note=2, gap=0),
            Chart(
                "scatter", "How the runoff washes out", "gravity",
                (
                    Trace("measured", "run_chart_y", "run_chart_x", expanded="run_expanded"),
                    Trace("fitted", "curve_y", "curve_x", line=True, marker="none"),
                    Trace("limit", "curve_limit", "curve_reach", limit=True),
                ),
                (13.8, 5.9), 11, x_title="collected, at 20 °C",
                x_format="0", y_format="0.0" if choices.gravity == "plato" else "0.000",
                y_from=0 if choices.gravity == "plato" else 1, column=5, beside=True,
            ),
            Section("Readings of the runoff, from the log"),
            _readings(choices),
            _curve(),
            Steps(_steps(choices), {
                ("wash_volume", "wash_u"):
                    "RUNOFF_VOLUME(all.run_fit_litres,all.run_fit_sg,run_limit_sg,run_u_level,"
                    "run_u_share)",
                ("half_volume", "half_u"):
                    "RUNOFF_VOLUME(all.run_fit_litres,all.run_fit_sg,run_half_sg,run_u_level,"
                    "run_u_share)",
            }, {"run_end_expanded": styles.ONE,
                "run_last_expanded": choices.fine_gravity_format}),
        ),
        landscape=True,
        parts=(
            ReportPart("runoff", {
                "says": "run_answer", "batch": "run_batch", "limit": "run_limit",
                "end": "run_end", "end_expanded": "run_end_expanded",
                "collected": "run_collected", "gravity": "run_last",
                "gravity_expanded": "run_last_expanded", "extract": "run_extract",
                "efficiency": "run_efficiency", "ph": "run_ph_says",
            }, title="Runoff"),
            ReportPart("runoff_readings", {
                "date": "run_date", "stage": "run_stage", "volume_20": "run_volume",
                "gravity": "run_gravity", "expanded": "run_expanded", "ph": "run_ph",
                "remark": "run_remark",
            }, keep=("gravity", "volume_20")),
        ),
    )  # fmt: skip


#: What the plain edition says where the functions leave out a reading that does not belong.
_EVERY = "; every reading counts, a slip too"


def _answers(choices: words.Choices) -> tuple[Line, ...]:
    fine = choices.fine_gravity_format

    def with_expanded(name: str, digits: int, more: str) -> str:
        return f'=IF(ISNUMBER({name}),"± "&{shown(name, digits)}&" {more}","")'

    return (
        Line("run_batch", "Batch", "chosen on Batches", formula="shown_batch"),
        Line("run_limit", "Limit of the runoff", "=run_limit_from", choices.gravity_format,
             formula="run_limit_shown"),
        Line("run_end", '="Stop the runoff at, "&unit_volume',
             with_expanded("run_end_expanded", 1, "at 20 °C" + choices.plain * _EVERY), styles.ONE,
             formula=number_or_text("wash_volume", "wash_volume/unit_litres")),
        Line("run_collected", '="Collected so far, "&unit_volume', "at 20 °C", styles.ONE,
             formula=if_numbers(["run_most"], "run_most/unit_litres")),
        Line("run_last", "Last runoff gravity",
             with_expanded("run_last_expanded", choices.gravity_digits, "about 95 %"), fine,
             formula='IF(run_last_no=0,"",INDEX(all.run_gravity,run_last_no))'),
        Line("run_extract", '="Extract collected, "&unit_mass', "", styles.TWO,
             formula=if_numbers(["run_kilograms"], "run_kilograms/unit_kilograms")),
        Line("run_efficiency", "Efficiency so far", "% of the grain's extract", styles.ONE,
             formula=if_numbers(["run_kilograms", "shown_grain_kg"],
                                "100*run_kilograms/shown_grain_kg")),
        Line("run_ph_says", "pH", f"cooled; above {HIGHEST_PH}: stop, or acidify",
             formula=f'IF(COUNT(all.run_ph)=0,"",IF(MAX(all.run_ph)>{HIGHEST_PH},'
                     f'"above "&{shown(str(HIGHEST_PH), 1)}&": tannins","ok"))'),
    )  # fmt: skip


def _readings(choices: words.Choices) -> Table:
    """The log's lines of the runoff, and the extract between two of them."""
    fine = choices.fine_gravity_format
    return Table(
        "run",
        READINGS,
        (
            result("run_date", "Date", "", 21, styles.MOMENT, _of("line_date")),
            result("run_stage", "Stage", "", 16, styles.GENERAL,
                   'IF(run_stage_no=0,"",LOOKUP(run_stage_no,all.stage_no,all.stage_name))'),
            result("run_instrument", "Instrument", "", 20, styles.GENERAL, _of("line_name")),
            result("run_volume", "Collected", '="20 °C, "&unit_volume', 11, styles.ONE,
                   _of("log_volume_20")),
            result("run_gravity", "Gravity", "=unit_gravity", 9, fine, _of("log_gravity")),
            result("run_expanded", "±", "about 95 %", 9, fine, _of("log_expanded")),
            result("run_ph", "pH", "cooled", 7, styles.ONE,
                   'IF(ISNUMBER(run_ph_typed),IF(run_ph_typed>0,run_ph_typed,""),"")'),
            result("run_remark", "Remark", "", 52, styles.GENERAL,
                   'run_lack&IF((run_lack<>"")*(run_said<>""),"; ","")&run_said'),
            Column("run_no", "run_no", "place", 12, role=Role.STEP,
                   values=range(1, READINGS + 1)),
            *_looked_up(),
        ),
        gap=0,
        high=13,
    )  # fmt: skip


def _of(what: str, otherwise: str = '""') -> str:
    return on_line("run_at", "line_no", what, otherwise)


def _looked_up() -> Iterator[Column]:
    yield step("run_at", "line of the log", "IF(run_no>run_to-run_from,0,"
               "LOOKUP(run_from+run_no,all.seen_no,all.seen_at))")  # fmt: skip
    yield step("run_stage_no", "stage", _of("line_stage", "0"))
    yield step("run_ph_typed", "as typed", _of("line_ph"))
    yield step("run_lack", "what it lacks here", cases(
        (f'(run_stage_no>{_FIRST})*(run_volume="")', '"volume is missing"')))  # fmt: skip
    yield step("run_said", "remark", _of("log_remark") + '&""')
    yield step("run_sg", "SG", _of("log_sg"))
    # What was collected when the first runnings came is not much: blank counts as the beginning.
    yield step("run_litres", "L at 20 °C", cases(
        (f'(run_stage_no={_FIRST})*(run_volume="")', "0"),
        otherwise=in_litres("run_volume")))  # fmt: skip
    yield step("run_fit_litres", "of the fall, L", f'IF(run_stage_no>{_FIRST},run_litres,"")')
    yield step("run_fit_sg", "of the fall, SG", f'IF(run_stage_no>{_FIRST},run_sg,"")')
    yield step("run_moment", "order in time", 'IF((run_at>0)*ISNUMBER(run_sg),'
               f'IF(run_stage_no>{_FIRST},run_no+100,run_no),0)')  # fmt: skip
    yield step("run_grams", "extract, kg in a litre", _of("line_dense"))
    # In order of volume; a hair for each line keeps readings at one volume apart.
    yield step("run_key", "order of volume",
               'IF(ISNUMBER(run_litres)*ISNUMBER(run_grams),'
               'run_litres+run_no/10^9,"")')  # fmt: skip
    yield step("run_next", "place in that order",
               "IFERROR(MATCH(SMALL(all.run_key,run_no),all.run_key,0),0)",
               by_line=True)  # fmt: skip
    yield step("run_sorted", "L, in order", on_line("run_next", "run_no", "run_litres", "0"))
    yield step("run_dense", "kg in a litre, in order",
               on_line("run_next", "run_no", "run_grams", "0"))  # fmt: skip
    yield step("run_mean", "mean since the one before", cases(
        ("(run_no=1)+(run_next=0)>0", "run_dense"),
        ("(run_dense<=0)+(N(above.run_dense)<=0)+(ABS(run_dense-N(above.run_dense))<10^-9)>0",
         "(run_dense+N(above.run_dense))/2"),
        otherwise=_LOGARITHMIC), by_line=True)  # fmt: skip
    yield step("run_part", "kg since the one before",
               "IF(run_next=0,0,(run_sorted-IF(run_no=1,0,N(above.run_sorted)))*run_mean)",
               by_line=True)  # fmt: skip
    yield step("run_chart_x", "picture", 'IF(ISNUMBER(run_litres)*ISNUMBER(run_gravity),'
               "run_litres/unit_litres,NA())")  # fmt: skip
    yield step("run_chart_y", "picture", plotted("run_gravity", "ISNUMBER(run_litres)"))


def _curve() -> Table:
    """The fitted curve: two points for its shape, then from the strongest runoff to past the limit.

    The fit says at which volume the runoff falls to the limit and at which to half of it; the two
    give the scale of the exponential.
    """
    low = "(1+0.8*(run_limit_sg-1))"
    return Table(
        "curve",
        POINTS,
        (
            Column("curve_no", "curve_no", "point", 12, role=Role.STEP,
                   values=range(1, POINTS + 1)),
            step("curve_sg", "SG", cases(
                ("NOT(ISNUMBER(wash_scale))", '""'),
                ("curve_no=1", "run_limit_sg"), ("curve_no=2", "run_half_sg"),
                otherwise=f"1+(run_highest-1)*(({low}-1)/(run_highest-1))"
                          f"^((curve_no-3)/{POINTS - 3})")),
            step("curve_plato", "°Plato", 'GRAVITY_CONVERT(curve_sg,"SG","Plato")'),
            step("curve_x", "picture", "IF(ISNUMBER(curve_plato)*(curve_no>2)*ISNUMBER(wash_rate),"
                 "(wash_volume+wash_rate*LN(curve_limit_plato/curve_plato))/unit_litres,NA())"),
            step("curve_y", "picture", 'IF(ISNUMBER(curve_x),IF(unit_gravity="SG",curve_sg,'
                 "curve_plato),NA())"),
            step("curve_reach", "picture",
                 f"IF(run_reach>0,run_reach*(curve_no-1)/{POINTS - 1},NA())"),
            step("curve_limit", "picture", "IF(ISNUMBER(curve_reach),run_limit,NA())"),
        ),
        beside=True,
    )  # fmt: skip


def _steps(choices: words.Choices) -> dict[str, str]:
    plan = of_shown(f"plan_sg_{_LIMIT}")
    left = f'{shown("run_left/unit_litres", 1)}&" "&unit_volume&" more"'
    digits = choices.gravity_digits
    against = cases(
        ("NOT(ISNUMBER(run_last))", '""'),
        ("run_last_sg<=N(run_limit_sg)", '"limit reached"'),
        ("run_last-run_limit<=N(run_last_expanded)", '"about the limit"'),
        otherwise='"above the limit: extract stays in the grain"',
    )
    ended = (
        f'"ended at "&{shown("N(run_last)", digits)}&" ± "&{shown("N(run_last_expanded)", digits)}'
        f'&" ("&run_against&")"'
    )

    def of_line(what: str) -> str:
        return f"IF(run_line=0,0,N(INDEX(all.line_{what},run_line)))"

    state = (
        ("run_last_no=0", '""'),
        (f"INDEX(all.run_stage_no,run_last_no)={_END}", '"ended"'),
        ("run_last_sg<=N(run_limit_sg)", '"stop now"'),
        ("NOT(ISNUMBER(wash_volume))", '"keep going"'),
        ("run_left<=0", '"stop now"'),
        (f"run_left<=MAX(2*wash_u,{_NEAR}*wash_volume)", '"get ready"'),
    )
    return {
        "run_all_from": f'COUNTIF(all.seen_key,"<"&{stage_key("shown_no", _FIRST)})',
        "run_to": f'COUNTIF(all.seen_key,"<"&{stage_key("shown_no", _END + 1)})',
        # Of more readings than the sheet has room for, the latest.
        "run_from": f"MAX(run_all_from,run_to-{READINGS})",
        # What all readings share: the calibration where the limit lies, slope and wort factor.
        "run_line": "IF(run_to>run_from,INDEX(all.seen_at,run_to),0)",
        "run_offset_u": f'SQRT(({of_line("u_check")})^2+({of_line("centre")}*'
                        f'{of_line("u_slope")})^2)',
        "run_u_level": f'IF(run_line=0,0,IF({of_line("prism")}=1,'
                       f'{slopes.WORT_BY_PLATO(p=_LIMIT_PLATO):.5f}'
                       "/near_factor*SQRT(run_offset_u^2+"
                       f"IF({of_line('auto')}=1,{COMPENSATION_U},0)^2),"
                       f'{of_line("u_check")}))',
        "run_u_share": f'IF(run_line=0,0,IF({of_line("prism")}=1,'
                       "SQRT((u_wort_factor/near_factor)^2+"
                       f'{of_line("u_slope")}^2),0))',
        "run_limit_sg": f"IF({plan}=\"\",{LIMIT},{plan})",
        "run_half_sg": number_or_text("run_limit_sg", "1+(run_limit_sg-1)/2"),
        "run_limit_plan": of_shown(f"plan_gravity_{_LIMIT}"),
        "run_limit_shown": f'IF(run_limit_plan="",IF(unit_gravity="SG",{LIMIT},{_LIMIT_PLATO}),'
                           "run_limit_plan)",
        "run_limit_from": 'IF(run_limit_plan="","common practice; the plan has none",'
                          '"runoff end of the plan")&", "&unit_gravity',
        "run_last_key": "MAX(all.run_moment)",
        "run_last_no": "IF(run_last_key=0,0,MATCH(run_last_key,all.run_moment,0))",
        "run_last_sg": 'IF(run_last_no=0,"",INDEX(all.run_sg,run_last_no))',
        "run_last_expanded": 'IF(run_last_no=0,"",INDEX(all.run_expanded,run_last_no))',
        "run_most": 'IF(COUNT(all.run_key)=0,"",MAX(all.run_sorted))',
        "run_kilograms": 'IF(COUNT(all.run_key)=0,"",SUM(all.run_part))',
        "run_highest": "MAX(all.run_fit_sg)",
        "run_end_expanded": if_numbers(["wash_volume", "wash_u"], "2*wash_u/unit_litres"),
        "run_left": if_numbers(["wash_volume", "run_most"], "wash_volume-run_most"),
        "wash_scale": if_numbers(["wash_volume", "half_volume"], "half_volume-wash_volume"),
        "curve_limit_plato": "INDEX(all.curve_plato,1)",
        "wash_rate": if_numbers(["wash_scale", "curve_limit_plato"],
                               "wash_scale/LN(curve_limit_plato/INDEX(all.curve_plato,2))"),
        "run_reach": 'IF(ISNUMBER(run_most),MAX(run_most,1.05*N(wash_volume))/unit_litres,0)',
        "run_state": cases(*state, otherwise='"keep going"'),
        "run_why_not": 'IF(ISNUMBER(wash_volume),"",SUBSTITUTE(SUBSTITUTE(wash_volume&"","! ",""),'
                       '"sgs","gravities"))',
        "run_against": against,
        "run_reason": cases(
            ("run_last_sg<=N(run_limit_sg)", '"the last reading is at the limit"'),
            ("NOT(ISNUMBER(run_most))", '"log the volume collected too"'),
            ('run_why_not<>""', '"read again: "&run_why_not'),
            ("run_left<=0", '"the fitted curve is at the limit"'),
            otherwise="run_about"),
        "run_about": f'IF(ISNUMBER(run_left),"about "&{left},"")',
        "run_plan_volume": of_shown(f"plan_volume_{words.planned(words.BEFORE_BOIL)}"),
        "run_full": "IF(ISNUMBER(run_plan_volume)*ISNUMBER(run_collected),IF(run_collected>="
                    'run_plan_volume,"; the kettle holds its planned volume",""),"")',
        "runoff_says": cases(
            ("run_last_no=0", '""'),
            ('run_state="ended"', ended),
            otherwise='run_state&", "&run_reason&run_full'),
        "run_lost": f"MAX(0,run_to-run_all_from-{READINGS})",
        "run_more": 'IF(run_lost=0,""," ("&run_lost&" earlier readings have no room here)")',
        "run_answers": cases(
            ("shown_no=0", '"Choose a batch on Batches, or log a reading of the runoff."'),
            ('runoff_says=""', '"Nothing of the runoff of "&shown_batch&" on the log yet."'),
            otherwise="UPPER(LEFT(runoff_says,1))&MID(runoff_says,2,250)&run_more"),
    }  # fmt: skip
