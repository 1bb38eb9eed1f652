"""Targets: the shown batch against its plan, stage by stage; and what to expect of the next one.

What was measured at each planned stage is looked up here once; Kettle takes it from here.
"""

from __future__ import annotations

from collections.abc import Iterator

from xlfuncs.workbook import words
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Chart,
    Column,
    Group,
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
    litres,
    on_line,
    place,
    plotted,
    shown,
)
from xlfuncs.workbook.sheets.batches import latest, latest_volume, of_shown

#: So many past batches say what to expect of the next.
PAST = 12
#: Student's t for 95 % and 1, 2, … degrees of freedom (JCGM 100:2008, table G.2).
STUDENT = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20)
_BOIL = words.planned(words.BEFORE_BOIL)


def measured(stage: str, what: str) -> str:
    """A column of the targets at a planned stage."""
    return f"INDEX(all.target_{what},{words.planned(stage)})"


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.TARGETS,
        "The shown batch against its own plan, stage by stage; and what past batches let you "
        "expect of the next one.",
        "The latest reading of each stage, or the mean of those within half an hour. “Probably” "
        "means that the ± reaches over a limit; too "
        "close to call: measure again before you act. A miss is worth so many points of mash "
        "efficiency.",
        (
            Text("=targets_say&units_tail", styles.ANSWER, name="targets_answer", lines=1.1),
            _stages(choices),
            Section("Mash efficiency of past batches", to=5),
            Section("What to expect of the next batch", beside=True, column=7),
            _past(),
            Lines(_next(choices), column=7, beside=True, label=2, cell=2, note=4),
            Chart(
                "stages", "Gravity by stage, and its ±", choices.gravity_scale,
                (
                    Trace("measured", "target_chart", expanded="target_expanded"),
                    Trace("plan", "target_chart_plan", marker="dash"),
                    Trace("upper limit", "target_chart_high", limit=True),
                    Trace("lower limit", "target_chart_low", limit=True),
                ),
                (29, 6.2), 12, categories="target_stage", y_format=choices.gravity_format,
                y_from=0 if choices.gravity == "plato" else 1,
            ),
            _expected(),
            Steps(_steps(choices)),
        ),
        landscape=True,
        parts=(
            ReportPart(
                "targets",
                {
                    "stage": "target_stage", "wanted": "target_plan", "tolerance": "target_within",
                    "measured": "target_measured", "expanded": "target_expanded",
                    "mean_of": "target_of",
                    "off": "target_off", "gravity": "target_verdict",
                    "wanted_volume": "target_plan_volume", "measured_volume": "target_volume",
                    "expanded_volume": "target_volume_expanded",
                    "missed_volume": "target_volume_off", "volume": "target_volume_verdict",
                    "missed_extract": "target_missed", "missed_efficiency": "target_worth",
                },
                keep=("wanted", "measured", "measured_volume"),
                title="Targets",
            ),
            ReportPart("efficiency", {
                "next": "next_batch", "batches": "next_count", "efficiency": "next_efficiency",
                "spread": "next_spread", "gravity": "next_gravity",
                "gravity_expanded": "next_expanded",
            }, title="The next batch"),
            ReportPart("past", {"batch": "past_batch", "date": "past_date",
                                "efficiency": "past_efficiency"}, keep=("batch",)),
        ),
    )  # fmt: skip


def _stages(choices: words.Choices) -> Table:
    gravity, fine = choices.gravity_format, choices.fine_gravity_format
    signed = f"+{fine};-{fine};{fine}"
    return Table(
        "target",
        len(words.PLANNED),
        (
            Column("target_stage", "Stage", "", 16, role=Role.FIXED, values=words.PLANNED),
            result("target_plan", "Planned gravity", "=unit_gravity", 9, gravity,
                   'IF(shown_no=0,"",INDEX(all.plan_gravity,shown_no,target_no))', by_line=True),
            result("target_within", "On target within ±", "=unit_gravity", 11, gravity,
                   if_numbers(["target_plan"], of_shown("batch_within")), by_line=True),
            result("target_measured", "Measured", "=unit_gravity", 9, fine,
                   _of_line("mean_gravity")),
            result("target_expanded", "±", "about 95 %", 9, fine, _of_line("mean_expanded")),
            result("target_of", "Mean of", "readings", 8, styles.WHOLE,
                   'IF(target_several="","",IF(target_several>1,target_several,""))'),
            result("target_off", "Off by", "=unit_gravity", 9, signed,
                   if_numbers(["target_measured", "target_plan"], _off(
                       "target_measured-target_plan", choices.fine_gravity_digits))),
            result("target_verdict", "Gravity is", "against the plan", 17, styles.GENERAL,
                   _of_line("mean_verdict")),
            result("target_plan_volume", "Planned volume", '="20 °C, "&unit_volume', 9,
                   styles.VOLUME, _planned_volume(), by_line=True),
            result("target_volume", "Measured", '="20 °C, "&unit_volume', 9, styles.ONE,
                   _of_volume("log_volume_20")),
            result("target_volume_expanded", "±", "about 95 %", 9, styles.ONE,
                   if_numbers(["target_volume"], "2*u_volume*target_volume")),
            result("target_volume_off", "Off by", "=unit_volume", 8, styles.SIGNED_ONE,
                   if_numbers(["target_volume", "target_plan_volume"],
                              _off("target_volume-target_plan_volume", 1))),
            result("target_volume_verdict", "Volume is", "against the plan", 17, styles.GENERAL,
                   _of_volume("log_volume_verdict")),
            result("target_missed", "Extract off by", "=unit_mass", 9, styles.SIGNED_TWO,
                   if_numbers(["target_missed_kg"],
                              _off("target_missed_kg/unit_kilograms", 2))),
            result("target_worth", "Worth", "efficiency, %", 11, styles.SIGNED_ONE,
                   if_numbers(["target_missed_kg", "shown_grain_kg"],
                              _off("100*target_missed_kg/shown_grain_kg", 1))),
            *_looked_up(),
        ),
    )  # fmt: skip


def _off(difference: str, digits: int) -> str:
    """A difference, 0 where its shown digits are: a hair below 0 would stand there as -0.0."""
    return f"IF(ROUND({difference},{digits})=0,0,{difference})"


def _of_line(what: str) -> str:
    return on_line("target_line", "line_no", what)


def _of_volume(what: str) -> str:
    return on_line("target_volume_line", "line_no", what)


def _planned_volume() -> str:
    # The last planned stage, packaged, has a gravity only.
    return (
        f'IF((shown_no=0)+(target_no={len(words.PLANNED)})>0,"",'
        "INDEX(all.plan_volume,shown_no,target_no))"
    )


def _looked_up() -> Iterator[Column | Group]:
    """The log's line of each stage, and the extract that it and the plan hold."""
    stages = [words.stage(stage) for stage in words.PLANNED]
    yield step("target_no", "stage of the plan", place("target", "target_stage"))
    yield Column("target_stage_no", "target_stage_no", "stage", 12, role=Role.STEP, values=stages)
    yield step("target_at", "line of gravity", latest("shown_no", "target_stage_no", "at"))
    yield step("target_line", "the same, 0: none", 'IF(target_at="",0,target_at)')
    yield from latest_volume("target_volume_line", "shown_no", "target_stage_no", "of volume")
    yield step("target_u", "u, SG", _of_line("mean_u"))
    yield step("target_several", "readings of its mean", _of_line("mean_of"))
    yield Group("target_sg", (
        step("target_sg_1", "measured, SG", _of_line("mean_sg")),
        step("target_sg_2", "planned, SG",
             'IF(shown_no=0,"",INDEX(all.plan_sg,shown_no,target_no))', by_line=True)))  # fmt: skip
    yield Group("target_litres", (
        step("target_litres_1", "measured, L",
             in_litres("target_volume")),
        step("target_litres_2", "planned, L",
             litres("target_plan_volume", "planned volume"))))  # fmt: skip
    yield Group("target_extract", (step("target_extract_1", "measured, kg", ""),
                                   step("target_extract_2", "planned, kg", "")),
                "EXTRACT_MASS(target_litres,target_sg)")  # fmt: skip
    yield step("target_missed_kg", "off by, kg", if_numbers(
        ["target_extract_1", "target_extract_2"], "target_extract_1-target_extract_2"))  # fmt: skip
    yield step("target_judged", "stage, if judged",
               'IF((target_verdict&""="")*(target_volume_verdict&""=""),0,target_no)')  # fmt: skip
    yield step("target_chart", "picture", plotted("target_measured"))
    yield step("target_chart_plan", "picture", plotted("target_plan"))
    yield step("target_chart_high", "picture", _limit("+"))
    yield step("target_chart_low", "picture", _limit("-"))


def _limit(sign: str) -> str:
    return if_numbers(["target_plan", "target_within"], f"target_plan{sign}target_within", "NA()")


def _past() -> Table:
    """The latest batches with an efficiency, the last first."""

    def of(what: str) -> str:
        return f'IF(past_no=0,"",IF(INDEX(all.{what},past_no)="","",INDEX(all.{what},past_no)))'

    return Table(
        "past",
        PAST,
        (
            result("past_batch", "Batch", "the last first", 16, styles.GENERAL, of("batch_key"),
                   by_line=True),
            result("past_grain", "Grain", "=unit_mass", 9, styles.TWO, of("batch_mass"),
                   by_line=True),
            result("past_date", "Brew day", "", 11, styles.DATE, of("batch_day"), by_line=True),
            result("past_potential", "Extract", "share", 9, styles.PERCENT, of("batch_share"),
                   by_line=True),
            result("past_efficiency", "Efficiency", "%", 10, styles.ONE, of("batch_efficiency"),
                   by_line=True),
            Column("past_student", "past_student", "t, so many degrees of freedom", 12,
                   role=Role.STEP, values=STUDENT),
            step("past_rank", "place", place("past", "past_student")),
            step("past_no", "line of Batches",
                 "IFERROR(LARGE(all.batch_yield_no,past_rank),0)", by_line=True),
        ),
        high=13,
        gap=0,
    )  # fmt: skip


def _next(choices: words.Choices) -> tuple[Line, ...]:
    fine = choices.fine_gravity_format
    return (
        Line("next_batch", "The next batch", "=next_why",
             formula='IF(next_no=0,"",INDEX(all.batch_key,next_no))'),
        Line("next_count", "Past batches", f"with an efficiency, the last {PAST} at most",
             styles.WHOLE,
             formula='IF(COUNT(all.past_efficiency)=0,"",COUNT(all.past_efficiency))'),
        Line("next_efficiency", "Their mean efficiency", "%", styles.ONE,
             formula='IF(ISNUMBER(next_count),AVERAGE(all.past_efficiency),"")'),
        Line("next_spread", "The next one within ±",
             "%; about 95 % of batches like these fall within it", styles.ONE,
             formula='IF(N(next_count)<2,"",next_student*STDEV(all.past_efficiency)'
                     "*SQRT(1+1/next_count))"),
        Line("next_gravity", "Gravity before boil", '=unit_gravity&": expect this"', fine,
             formula="next_mean"),
        Line("next_expanded", "± about 95 %", "as far as its efficiency may differ", fine,
             formula=if_numbers(["next_upper", "next_mean"], "next_upper-next_mean")),
        Line("next_plan", "Its plan says", "=next_means", choices.gravity_format,
             formula=f'IF(next_no=0,"",INDEX(all.plan_gravity,next_no,{_BOIL}))'),
    )  # fmt: skip


def _expected() -> Table:
    """Extract in a litre of the next batch, g: at the mean efficiency, and at the end of its ±."""
    known = ["next_efficiency", "next_kilograms", "next_volume", "unit_litres"]
    return Table(
        "expected",
        1,
        (
            Group("next_grams", (
                step("next_grams_1", "at the mean", if_numbers(
                    known, 'IF(next_volume>0,10*next_efficiency*next_kilograms*next_share'
                           '/(next_volume*unit_litres),"")')),
                step("next_grams_2", "at the end of ±", if_numbers(
                    ["next_grams_1", "next_spread"],
                    "next_grams_1*(1+next_spread/next_efficiency)")),
            )),
            Group("next_scaled", (step("next_mean", "gravity", ""),
                                  step("next_upper", "gravity", "")),
                  'GRAVITY_CONVERT(next_grams,"Extract",unit_gravity)'),
        ),
        beside=True,
    )  # fmt: skip


def _steps(choices: words.Choices) -> dict[str, str]:
    digits = choices.gravity_digits

    def last(what: str) -> str:
        return f"INDEX(all.target_{what},targets_last)"

    def of_next(what: str) -> str:
        return f'IF(next_no=0,"",INDEX(all.{what},next_no))'

    return {
        "shown_share": of_shown("batch_share"),
        "shown_kilograms": of_shown("batch_kilograms"),
        "shown_grain_kg": 'IF(ISNUMBER(shown_kilograms)*ISNUMBER(shown_share),'
                          'IF(shown_kilograms*shown_share>0,shown_kilograms*shown_share,""),"")',
        "targets_last": "MAX(all.target_judged)",
        "targets_gravity": f'IF(targets_last=0,"",{last("verdict")}&"")',
        "targets_measured": f'IF(targets_last=0,0,N({last("measured")}))',
        "targets_expanded": f'IF(targets_last=0,0,N({last("expanded")}))',
        "targets_figure": f'IF(targets_gravity="","",": gravity "&targets_gravity&" ("&'
                          f'{shown("targets_measured", digits)}&" ± "&'
                          f'{shown("targets_expanded", digits)}&targets_of&")")',
        "targets_of": f'IF(targets_last=0,"",IF(N({last("of")})>1,", mean of "&{last("of")},""))',
        "targets_volume": f'IF(targets_last=0,"",IF({last("volume_verdict")}&""="","",'
                          f'IF(targets_gravity="",": ","; ")&"volume "&{last("volume_verdict")}))',
        "targets_say": cases(
            ("shown_no=0", '"Choose a batch on Batches, or log a reading."'),
            ("targets_last=0", '"Nothing of "&shown_batch&" to hold against its plan yet."'),
            otherwise=f'shown_batch&", "&{last("stage")}&targets_figure&targets_volume'),
        "shown_unread": 'IF(shown_no=0,0,ISNUMBER(INDEX(all.batch_waiting_no,shown_no))*1)',
        "next_no": "IF(shown_unread=1,shown_no,IF(COUNT(all.batch_waiting_no)=0,0,"
                   "MIN(all.batch_waiting_no)))",
        "next_why": cases(
            ("next_no=0", '"none without readings on Batches: write the next recipe there"'),
            ("shown_unread=1", '"the batch shown, not brewed yet"'),
            otherwise='"the first on Batches without readings"'),
        "next_student": "IF(N(next_count)<2,0,INDEX(all.past_student,next_count-1))",
        "next_kilograms": of_next("batch_kilograms"),
        "next_share": of_next("batch_share"),
        "next_volume": f'IF(next_no=0,"",INDEX(all.plan_volume,next_no,{_BOIL}))',
        "next_lacks": cases(
            ("next_no=0", '""'),
            ("NOT(ISNUMBER(next_count))", '"no past batch with an efficiency yet"'),
            ("NOT(ISNUMBER(next_gravity))", '"write its grain and its volume before boil"')),
        "next_against": if_numbers(["next_plan", "next_gravity", "next_expanded"],
                                   "IF(ABS(next_plan-next_gravity)<=next_expanded,"
                                   '"within what to expect",'
                                   '"beyond what your past batches let expect")'),
        "next_means": 'IF(next_lacks="",next_against,next_lacks)',
    }  # fmt: skip
