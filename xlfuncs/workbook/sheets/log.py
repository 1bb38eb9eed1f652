"""Log: every reading of every stage, on any instrument; gravity, ± and verdict beside it.

From what an instrument shows to the true gravity: the calibration in force at its moment, the
temperature, then wort or, at stages with yeast, the correction for alcohol.
"""

from __future__ import annotations

import re

from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.science.repeats import FAR
from xlfuncs.workbook import slopes, words
from xlfuncs.workbook.defaults import (
    BRIX_PER_DEGREE,
    HIGHEST_PH,
    PAIR_DAYS,
    ROOM,
    SG_PER_DEGREE,
    TOGETHER_DAYS,
    TOLERANCE_VOLUME,
)
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Column,
    Group,
    Limits,
    ReportPart,
    Role,
    Sheet,
    Steps,
    Table,
    Text,
    result,
    step,
    typed,
)
from xlfuncs.workbook.kit.formulas import (
    blank_or,
    cases,
    celsius,
    if_numbers,
    is_date,
    matched,
    number_or_text,
    number_told,
    on_line,
    on_scale,
    or_blank,
    place,
    plato_of_sg,
    positive,
    shown,
    word,
)
from xlfuncs.workbook.kit.formulas import typed as as_typed
from xlfuncs.workbook.kit.told import Told
from xlfuncs.workbook.sheets.batches import DAY_ZERO, PER_BATCH, stage_key
from xlfuncs.workbook.sheets.calibration import PER_INSTRUMENT, unless_floating
from xlfuncs.workbook.sheets.setup import hydrometric, instrument_number, of_instrument

_AFTER_ALL = 9e15
_BEER = words.stage(words.FERMENTING)
_RUNOFF, _BOILING = words.stage(words.RUNOFF_STAGE), words.stage(words.DURING_BOIL)
_PRISM = "line_prism=1"
_FERMENTED_DROP = "(line_beer=1)*(line_prism=1)"
#: Columns whose numbers may be typed as texts; a reading is read by the functions themselves.
_TEXTS = Told("log", ("log_temperature", "log_volume", "log_volume_temperature", "log_ph"))


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.LOG,
        "One line for each reading, at any stage, on any instrument. Gravity, ± and verdict stand "
        "beside it.",
        "Batch, stage, reading, sample temperature: the rest may stay blank. A blank instrument is "
        "the first of Setup, a blank date the brew day of the batch. Let a hot drop cool on the "
        "closed plate; hot wort scalds and cracks glass.",
        (
            Text("=log_says", styles.ANSWER, name="log_answer", lines=1.1),
            Text("=log_warning", styles.NOTE, name="log_notice", gap=0),
            _table(choices),
            _sorted(choices),
            Table("stage", len(words.STAGES), (
                Column("stage_no", "stage_no", "line", 12, role=Role.STEP,
                       values=range(1, len(words.STAGES) + 1)),
                Column("stage_name", "stage_name", "", 12, role=Role.STEP, values=words.STAGES),
                Column("stage_plan", "stage_plan", "in a plan", 12, role=Role.STEP, values=[
                    words.planned(stage) if stage in words.PLANNED else 0
                    for stage in words.STAGES]),
            ), beside=True),
            Steps(_head(choices)),
        ),
        landscape=True,
        frozen="log",
        frozen_columns=3,
        tall=True,
        parts=(
            ReportPart("last", {"says": "log_answer", "notice": "log_notice"}),
            ReportPart(
                "readings",
                {
                    "date": "line_date", "batch": "log_batch", "stage": "log_stage",
                    "instrument": "line_name", "reading": "log_reading",
                    "gravity": "log_gravity", "expanded": "log_expanded", "sg": "log_sg",
                    "verdict": "log_verdict", "volume_20": "log_volume_20",
                    "volume_verdict": "log_volume_verdict", "remark": "log_remark",
                },
                keep=("reading", "volume_20", "remark"),
                title="Log",
            ),
        ),
    )  # fmt: skip


def _table(choices: words.Choices) -> Table:
    warm = Limits.temperature(100, "Temperature of the wort when its volume was read")
    fine = choices.fine_gravity_format
    return Table(
        "log",
        choices.rows,
        (
            typed("log_date", "Date", "time if known", 15, styles.MOMENT, Limits.date()),
            typed("log_batch", "Batch", "of Batches", 13.5,
                  limits=Limits.listed("batch_name", "One of the batches on Batches")),
            typed("log_stage", "Stage", "choose", 13.5, limits=Limits.among(*words.STAGES)),
            typed("log_instrument", "Instrument", "blank: the first", 19.3,
                  limits=Limits.listed("inst_name", "One of the instruments on Setup")),
            typed("log_reading", "Reading", "as shown", 7.3, styles.READING,
                  Limits.between(-1, 150, "What the instrument shows")),
            typed("log_temperature", "Sample", '="°"&unit_temperature', 7, styles.TEMPERATURE,
                  Limits.temperature(100, "Temperature of drop or jar")),
            result("log_gravity", "Gravity", "=unit_gravity", 7, fine, "log_scaled_1"),
            result("log_expanded", "±", "about 95 %", 6.7, fine,
                   if_numbers(["log_scaled_1", "log_scaled_2"], "log_scaled_2-log_scaled_1")),
            result("log_tells", "Against its plan, and remarks", "", 45.1, styles.GENERAL,
                   'log_verdict&IF(log_volume_verdict="","",IF(log_verdict="","","; ")&"volume "'
                   '&log_volume_verdict)&IF((log_remark="")+(log_verdict&log_volume_verdict="")>0,'
                   '"","; ")&log_remark', by_line=True),
            typed("log_volume", "Volume", "=unit_volume", 7, styles.VOLUME,
                  Limits.amount("A volume in the unit chosen on Setup")),
            typed("log_volume_temperature", "read at", '="°"&unit_temperature', 6,
                  styles.TEMPERATURE, warm),
            typed("log_ph", "pH", "cooled", 4.7, styles.READING,
                  Limits.between(2, 12, "pH of the cooled sample")),
            typed("log_leave", "Leave out", "of pairs", 5.8,
                  limits=Limits.among(words.YES, words.NO)),
            typed("log_note", "Note", "", 6),
            result("log_volume_20", "Volume", '="20 °C, "&unit_volume', 7, styles.ONE,
                   'VOLUME_AT(line_marked,line_volume_c,20,IF(ISNUMBER(log_sg),log_sg,""))'),
            *_named(),
            *_check_in_force(),
            *_drop(),
            *_jar(),
            *_wort(),
            *_together("wort", "line_beer=0", "line_wort_sg", "line_wort_u", "line_by_wort"),
            *_shared(),
            *_beer(),
            *_together("beer", "line_beer=1", "log_sg", "log_u", "line_by"),
            *_means(),
            *_scaled(),
            *_planned(),
            *_pairs(),
            *_lacks(),
            step("log_remark", "remarks", f'IFERROR({_joined()},"an error was typed")',
                 by_line=True),
            *_for_views(),
        ),
        high=13,
        filtered=True,
        guarded=True,
    )  # fmt: skip


def _named() -> tuple[Column | Group, ...]:
    """What a line names: batch, stage, instrument, moment."""
    return (
        step("line_no", "line", place("log", "log_date")),
        step("line_filled", "line, if read", 'IFERROR(IF(log_reading="",0,line_no),line_no)'),
        step("line_batch", "batch", matched("log_batch", "batch_key")),
        step("line_stage", "stage", matched("log_stage", "stage_name")),
        step("line_plan", "stage of the plan", on_line("line_stage", "stage_no", "stage_plan",
                                                       "0")),
        step("line_beer", "1: with yeast", f"(line_stage>={_BEER})*1"),
        step("line_inst", "instrument", instrument_number("log_instrument", "line_filled>0")),
        step("line_name", "instrument", of_instrument("line_inst", "key")),
        step("line_is", "kind", of_instrument("line_inst", "is")),
        step("line_in", "scale", of_instrument("line_inst", "in")),
        step("line_auto", "compensates", of_instrument("line_inst", "auto", "0")),
        step("line_ref_c", "°C", of_instrument("line_inst", "ref_c")),
        step("line_water_c", "°C", of_instrument("line_inst", "water_c")),
        step("line_expansion", "per °C", of_instrument("line_inst", "expansion")),
        step("line_every", "days between checks", of_instrument("line_inst", "every", "99999")),
        step("line_u_read", "u of a reading", of_instrument("line_inst", "u")),
        step("line_prism", "1: refractometer", f'(line_is="{words.REFRACTOMETER}")*1'),
        step("line_float", "1: hydrometer", f"({hydrometric('line_is')}=1)*1"),
        step("line_date", "moment", or_blank(cases(
            (is_date("log_date"), "log_date"),
            ('(TRIM(log_date)="")*(line_beer=0)*(line_batch>0)',
             on_line("line_batch", "batch_no", "batch_day")))),
             format=styles.MOMENT),
        step("line_reading", "as shown", as_typed("log_reading")),
        *_TEXTS.steps(),
        step("line_warm", "sample, °C",
             celsius("log_temperature", told=_TEXTS.number("log_temperature"))),
        step("line_c", "where it counts", 'IF(line_prism+line_float=0,"",line_warm)'),
        # An error in one cell must not reach a function on a whole column.
        step("line_volume", "volume as typed",
             number_told("log_volume", _TEXTS.number("log_volume"))),
        step("line_hot", "volume, °C", celsius("log_volume_temperature", f"{ROOM:g}",
                                               _TEXTS.number("log_volume_temperature"))),
        step("line_volume_c", "where it counts", blank_or("line_volume", "line_hot")),
        step("line_ph", "pH", number_told("log_ph", _TEXTS.number("log_ph"))),
        # A kettle is wider when it is hot than when its marks were made, and holds more.
        step("line_marked", "volume between the marks", "IF(ISNUMBER(line_volume)*"
             "ISNUMBER(line_volume_c),line_volume*(1+marks_growth*(line_volume_c-marks_c)),"
             "line_volume)"),
    )  # fmt: skip


def _check_in_force() -> tuple[Column, ...]:
    """The last check before the reading; unchecked, it may be off by all that is put up with."""

    def at_date(what: str, otherwise: str) -> str:
        return (f"IF(line_checked=1,LOOKUP(line_key,all.order_key,all.order_{what}),"
                f"{otherwise})")  # fmt: skip

    # A check on a day without a time counts for all readings of that day.
    moment = "line_date+IF(INT(line_date)=line_date,0.9,0.01)"
    return (
        step("line_key", "check in force", f'IF((line_inst=0)+(line_date="")>0,-1,IFERROR(LOOKUP('
             f"line_inst*{PER_INSTRUMENT}+{moment},all.order_key),-1))"),
        step("line_checked", "1: checked",
             f"(line_inst>0)*(INT(line_key/{PER_INSTRUMENT})=line_inst)"),
        step("line_check_date", "of check", at_date("date", "0"), format=styles.DATE),
        step("line_offset", "correction", at_date("offset", "0")),
        step("line_slope", "slope", at_date("slope", "1")),
        step("line_centre", "centre", at_date("centre", "0")),
        step("line_u_check", "u of correction",
             at_date("u", of_instrument("line_inst", "tolerance"))),
        step("line_u_slope", "u of slope", at_date("u_slope", f"{UNCHECKED_SLOPE_U}")),
    )  # fmt: skip


def _drop() -> tuple[Column, ...]:
    """A drop on a refractometer: true °Brix and what makes it doubtful."""
    told = f'(line_in="SG")*(({_PRISM})+(line_float=1)*ISTEXT(line_reading))'
    return (
        # Of a hydrometer too, if a text such as 1,050 stands there: then it is a number.
        step("line_told", "SG, °Bx",
             f'IF({told},GRAVITY_CONVERT(IF({told},line_reading,""),"SG","Brix"),"")'),
        step("line_shown", "refractometer, °Bx",
             f'IF({_PRISM},IF(line_in="SG",line_told,line_reading),"")'),
        step("line_brix", "true °Bx", 'REFRACTOMETER_BRIX(line_shown,IF(line_auto=1,"",line_c),'
             "line_offset,line_slope)"),
        step("line_u_drop", "u of the drop, °Bx", if_numbers(
            ["line_brix"],
            f"SQRT(line_u_read^2+IF(line_auto=1,{COMPENSATION_U},{BRIX_PER_DEGREE}*u_celsius)^2)")),
        step("line_u_cal", "u of calibration, °Bx", if_numbers(
            ["line_brix"], "SQRT(line_u_check^2+((line_brix-line_centre)*line_u_slope)^2)")),
    )  # fmt: skip


def _jar() -> tuple[Column, ...]:
    """A jar with a hydrometer: SG and what makes it doubtful."""
    return (
        # So that the correction reaches a text too; one that is no gravity is refused as it stands.
        step("line_sinks", "°P, or of a text", 'IF(line_float=1,IF(line_in="Plato",line_reading,'
             'IF(ISNUMBER(line_told),line_told,"")),"")'),
        step("line_from_plato", "that in SG",
             'IF(line_sinks="","",GRAVITY_CONVERT(line_sinks,"Plato","SG"))'),
        step("line_as_sg", "hydrometer, SG", 'IF(line_float=1,IF((line_in="Plato")'
             '+ISNUMBER(line_from_plato),line_from_plato,line_reading),"")'),
        step("line_jar", "at 20 °C, SG", "HYDROMETER_SG("
             + number_or_text("line_as_sg", "line_as_sg-line_offset")
             + f",{unless_floating('line_is', 'line_c')},{unless_floating('line_is', 'line_ref_c')}"
             + f",{unless_floating('line_is', 'line_water_c')},line_expansion)"),
        step("line_u_jar", "u, SG", if_numbers(
            ["line_jar"],
            f"SQRT(line_u_read^2+line_u_check^2+({SG_PER_DEGREE}*u_celsius)^2)")),
    )  # fmt: skip


def _wort() -> tuple[Column, ...]:
    """Gravity as of wort; and the key that brings the log into the order of batch, stage, time."""
    return (
        step("line_drop_sg", "refractometer, SG of wort", "WORT_SG(line_brix,wort_factor)"),
        step("line_drop_u", "u, SG",
             "WORT_SG_UNCERTAINTY(line_brix,wort_factor,line_u_drop,u_wort_factor,line_u_cal)"),
        step("line_wort_sg", "SG as of wort", f"IF({_PRISM},line_drop_sg,line_jar)"),
        step("line_wort_u", "u, SG", f"IF({_PRISM},line_drop_u,line_u_jar)"),
        step("line_by_wort", "SG for 1 more as shown", f"IF({_PRISM},IF(ISNUMBER(line_brix),"
             + slopes.WORT_BY_PLATO.formula(p="line_brix/near_factor") + '/near_factor,""),1)'),
        *_repeated(),
        step("line_order", "order", "IF((line_batch>0)*(line_stage>0)*ISNUMBER(line_wort_sg),"
             f"{stage_key('line_batch', 'line_stage')}+MAX(0,N(line_day))+line_no*5/10^7,\"\")",
             by_line=True),
        step("line_day", "days", f'IF(ISNUMBER(line_date),line_date-{DAY_ZERO},0)'),
    )  # fmt: skip


#: Criteria: within half an hour, and at one volume where that counts.
_TOGETHER = (
    f'all.line_day,">="&(line_day-{TOGETHER_DAYS}),all.line_day,"<="&(line_day+{TOGETHER_DAYS}),'
    "all.same_volume,same_volume"
)


def _repeated() -> tuple[Column, ...]:
    """Whether a line may be one of several readings of one wort.

    What runs off or boils changes: only readings at one volume are of one wort, and only a time
    tells readings of a moving wort apart.
    """
    runs = f"((line_stage={_RUNOFF})+(line_stage={_BOILING}))"
    moves = f"({runs}+(line_stage={_BEER})>0)"
    return (
        step("same_volume", "volume, where it counts",
             f"IF({moves}*ISNUMBER(line_volume),line_volume,-1)"),
        step("same_may", "1: may be", "IF((line_batch>0)*(line_stage>0)*(line_inst>0)*"
             f"ISNUMBER(line_date),({moves}*(line_day=INT(line_day))+({runs}>0)*"
             "(same_volume<0)=0)*1,0)"),
    )  # fmt: skip


def _together(kind: str, which: str, sg: str, u: str, by: str) -> tuple[Column, ...]:
    """Readings of one wort or beer, a drop at a time: their mean, and its u.

    Same batch, stage and instrument, within half an hour; as `repeats.taken_together`, in SG.
    """
    p = f"same_{kind}"
    near = f"all.{p}_code,{p}_code,{_TOGETHER}"
    several = f"{p}_count>1"
    own = f"{p}_own"
    return (
        step(f"{p}_code", "batch, stage, instrument", f"IF(({which})*(same_may=1)*ISNUMBER({sg}),"
             f"(line_batch*{PER_BATCH}+line_stage)*1000+line_inst,0)"),
        step(f"{p}_count", "readings", f"IF({p}_code=0,ISNUMBER({sg})*1,COUNTIFS({near}))",
             by_line=True),
        step(f"{p}_square", "(SG - 1)²", if_numbers([sg], f"({sg}-1)^2")),
        step(own, "u of a reading, SG",
             if_numbers([by, "line_u_read"], f"ABS({by})*line_u_read", "0")),
        step(f"{p}_sg", "mean, SG", f"IF({several},SUMIFS(all.{sg},{near})/{p}_count,{sg})",
             by_line=True),
        step(f"{p}_scatter", "its scatter", f"IF({several},SQRT(ABS(SUMIFS(all.{p}_square,{near})"
             f"-{p}_count*({p}_sg-1)^2)/({p}_count-1)),0)", by_line=True),
        # The larger of what one is uncertain by and how they scatter; what is common stays.
        step(f"{p}_u", "u of the mean", f"IF(({several})*ISNUMBER({u}),SQRT(ABS({u}^2-{own}^2)"
             f"+IF({own}>{p}_scatter,{own},{p}_scatter)^2/{p}_count),{u})"),
    )  # fmt: skip


def _shared() -> tuple[Column, ...]:
    """What a line shares with other readings on its instrument, each source with its sign."""
    drop, wort = _FERMENTED_DROP, slopes.WORT_BY_PLATO.formula(p="line_brix/near_factor")
    known = {"b": "line_brix", "x": "(line_original-1)", "p": "line_plato"}
    both = ["line_original", "line_brix"]

    def of_wort(what: str) -> str:
        return f"LOOKUP(line_batch,all.batch_no,all.batch_into_{what})"

    return (
        step("line_plato", "original, °Plato", 'IF(ISNUMBER(line_original),'
             f'{plato_of_sg("line_original")},"")'),
        step("line_by", "SG for 1 more as shown", if_numbers(
            both, slopes.BEER_BY_BRIX.formula(**known), "line_by_wort")),
        step("line_by_factor", "SG for a wort factor 1 more", cases(
            ("ISNUMBER(line_plato)*ISNUMBER(line_brix)", slopes.BEER_BY_FACTOR.formula(**known)),
            (f"({_PRISM})*ISNUMBER(line_brix)*(line_beer=0)",
             f"-{wort}*line_brix/near_factor/near_factor"), otherwise="0")),
        step("line_level", "by its calibration, SG", if_numbers(
            ["line_by", "line_u_check"], "line_by*line_u_check", "0")),
        step("line_tilt", "by its slope, SG", f"IF(({_PRISM})*ISNUMBER(line_by)*"
             "ISNUMBER(line_brix),line_by*(line_brix-line_centre)*line_u_slope,0)"),
        step("line_factor", "by the wort factor, SG",
             f"line_by_factor*IF({drop},beer_u_wort_factor,u_wort_factor)"),
        step("line_lean", "SG for an original 1 more", if_numbers(
            both, slopes.BEER_BY_ORIGINAL.formula(**known), "0")),
        # Original and reading on one instrument, under one check.
        step("line_twin", "1: as the original", "IF(line_beer*line_batch=0,0,("
             f"{of_wort('inst')}=line_inst)*({of_wort('key')}=line_key))"),
        step("line_shared", "in common with it, SG²", "IF(line_beer*line_batch=0,0,line_twin*("
             f"{of_wort('level')}*line_level+{of_wort('tilt')}*line_tilt)"
             f"+IF(beer_apart,0,{of_wort('factor')}*line_factor))"),
    )  # fmt: skip


def _beer() -> tuple[Column, ...]:
    """Gravity where there is alcohol in the drop."""
    both = 'IF(ISNUMBER(line_u_cal),SQRT(line_u_drop^2+line_u_cal^2),"")'

    def of_original(what: str) -> str:
        return on_line("line_batch", "batch_no", f"batch_original{what}")

    return (
        step("line_original", "original, SG",
             f'IF({_FERMENTED_DROP}*(line_batch>0),{of_original("")},"")'),
        step("line_original_u", "its u", f'IF(line_beer*line_batch>0,{of_original("_u")},"")'),
        step("line_beer_sg", "refractometer, SG of beer",
             'BEER_SG(line_original,line_brix,beer_wort_factor,"balance",beer_alcohol_factor)'),
        # As if it shared nothing with the original; then with what it shares.
        step("line_beer_u", "u, SG", f"BEER_SG_UNCERTAINTY(line_original,line_brix,"
             f"beer_wort_factor,{both},beer_u_wort_factor,line_original_u,beer_u_model)"),
        step("log_sg", "gravity, SG", f"IF({_FERMENTED_DROP},line_beer_sg,line_wort_sg)",
             format=styles.SG),
        step("log_u", "u, SG", if_numbers(
            ["log_sg"], f"IF({_FERMENTED_DROP},IF(ISNUMBER(line_beer_u),SQRT(ABS(line_beer_u^2+2*"
            "line_lean*line_shared)),line_beer_u),line_wort_u)")),
        step("line_tie", "correlation with the original", "IF(ISNUMBER(log_u)*"
             "ISNUMBER(line_original_u),IF(log_u*line_original_u>0,(line_lean*line_original_u^2"
             "+line_shared)/(log_u*line_original_u),0),0)"),
    )  # fmt: skip


def _means() -> tuple[Column, ...]:
    """The mean that stands for a line in the views, and which reading lies far from the others."""

    def either(what: str) -> str:
        return f"IF(line_beer=1,same_beer_{what},same_wort_{what})"

    return (
        step("mean_of", "readings", either("count")),
        step("mean_sg", "mean, SG", either("sg")),
        step("mean_u", "u, SG", either("u")),
        step("same_code", "batch, stage, instrument", either("code")),
        step("same_own", "u of a reading, SG", either("own")),
        # From the mean of the others; of two equally far the later line, by a hair.
        step("same_apart", "so far apart, SG", "IF(mean_of>1,ROUND(ROUND(ABS(log_sg-mean_sg)*"
             "SQRT(mean_of/(mean_of-1)),9)+line_no/10^13,13),0)", by_line=True),
        step("line_far", "1: far from the others", f"IF(same_apart<={FAR:g}*same_own,0,("
             f'COUNTIFS(all.same_code,same_code,{_TOGETHER},all.same_apart,">"&same_apart)=0)*1)',
             by_line=True),
    )  # fmt: skip


def _scaled() -> tuple[Column | Group, ...]:
    """Gravity, mean, and each with its ± in the unit of Setup, by one call."""
    return (
        Group("log_pair", (
            step("log_pair_1", "SG", "log_sg"),
            step("log_pair_2", "SG with its ±", if_numbers(["log_u"], "log_sg+2*log_u")),
            step("log_pair_3", "mean, SG", "mean_sg"),
            step("log_pair_4", "mean with its ±",
                 if_numbers(["mean_sg", "mean_u"], "mean_sg+2*mean_u")))),
        Group("log_scaled", (step("log_scaled_1", "gravity", ""),
                             step("log_scaled_2", "with its ±", ""),
                             step("mean_gravity", "mean", ""),
                             step("log_scaled_4", "with its ±", "")), on_scale("log_pair")),
        step("mean_expanded", "± of the mean", if_numbers(["mean_gravity", "log_scaled_4"],
                                                          "log_scaled_4-mean_gravity")),
        Group("log_judge", (step("log_judge_1", "gravity", "log_scaled_1"),
                            step("log_judge_2", "mean", "mean_gravity"))),
        Group("log_judge_u", (
            step("log_judge_u_1", "u", if_numbers(["log_expanded"], "log_expanded/2")),
            step("log_judge_u_2", "u", if_numbers(["mean_expanded"], "mean_expanded/2")))),
    )  # fmt: skip


def _planned() -> tuple[Column | Group, ...]:
    """What the plan of the line's batch wants at its stage."""
    some = "line_batch*line_plan=0"
    last = len(words.PLANNED)
    return (
        step("line_wanted", "planned gravity",
             f'IF({some},"",INDEX(all.plan_gravity,line_batch,line_plan))', by_line=True),
        step("line_within", "tolerance", on_line("line_batch", "batch_no", "batch_within")),
        step("line_wanted_volume", "planned volume",
             f'IF(({some})+(line_plan={last})>0,"",INDEX(all.plan_volume,line_batch,line_plan))',
             by_line=True),
        step("line_typed_within", "tolerance of volume",
             on_line("line_batch", "batch_no", "batch_volume_within", "0")),
        step("line_within_volume", "tolerance of volume", if_numbers(
            ["line_wanted_volume"], f"IF({positive('line_typed_within')},line_typed_within,"
            "IF(ISNUMBER(volume_within),volume_within,"
            f"{TOLERANCE_VOLUME}*line_wanted_volume))"),
             by_line=True),
        # Calc finds a word of ours equal to a typed word only once it is put together anew.
        Group("log_judged", (step("log_verdict", "gravity is", ""),
                             step("mean_verdict", "mean is", "")),
              'TARGET_CHECK(log_judge,line_wanted,line_within,log_judge_u)&""'),
        step("log_volume_verdict", "volume is",
             "TARGET_CHECK(log_volume_20,line_wanted_volume,line_within_volume,"
             'IF(ISNUMBER(log_volume_20),u_volume*log_volume_20,""))&""'),
        step("line_litres", "volume, L", cases(
            ("NOT(ISNUMBER(unit_litres))", '""'),
            ("ISNUMBER(log_volume_20)", "log_volume_20*unit_litres"),
            ("ISNUMBER(line_wanted_volume)", "line_wanted_volume*unit_litres"))),
        step("line_dense", "extract in a litre, kg",
             'EXTRACT_MASS(IF(ISNUMBER(log_sg),1,""),log_sg)'),
        step("line_extract", "extract, kg",
             if_numbers(["line_litres", "line_dense"], "line_litres*line_dense")),
        step("line_grain", "its grain's extract, kg", "IF(line_batch=0,0,N(LOOKUP(line_batch,"
             "all.batch_no,all.batch_kilograms))*LOOKUP(line_batch,all.batch_no,all.batch_share))",
             by_line=True),
    )  # fmt: skip


def _pairs() -> tuple[Column, ...]:
    """A drop and a jar of one batch and stage within a few hours: they teach the own factors."""
    usable = (
        f'({word("log_leave")}<>"{words.YES}")*(line_batch>0)*(line_stage>0)*ISNUMBER(line_date)'
    )
    moment = "line_day+line_no*5/10^7"
    near = (
        f'all.line_jar_key,">="&(line_pair_key-{PAIR_DAYS}),'
        f'all.line_jar_key,"<="&(line_pair_key+{PAIR_DAYS})'
    )
    return (
        step("line_pair_key", "batch, stage, day",
             f"IF({usable},{stage_key('line_batch', 'line_stage')}+line_day,0)"),
        step("line_jar_key", "of a jar",
             'IF((line_pair_key>0)*(line_float=1)*ISNUMBER(line_jar),line_pair_key,"")'),
        step("pair_jars", "jars near the drop", "IF((line_pair_key>0)*ISNUMBER(line_brix),"
             f"COUNTIFS({near}),0)", by_line=True),
        step("pair_sg", "their mean, SG",
             f'IF(pair_jars>0,SUMIFS(all.line_jar,{near})/pair_jars,"")', by_line=True),
        step("pair_u", "u of a jar, SG",
             f'IF(pair_jars>0,SUMIFS(all.line_u_jar,{near})/pair_jars,"")', by_line=True),
        step("pair_u_check", "u of its correction, SG",
             f'IF(pair_jars>0,SUMIFS(all.line_u_check,{near})/pair_jars,"")', by_line=True),
        # In the order of time, lines of one moment in the order of the log.
        step("pair_wort_key", "of wort", f"IF((pair_jars>0)*(line_beer=0),{moment},\"\")"),
        step("pair_beer_key", "of beer", f"IF((pair_jars>0)*(line_beer=1),{moment},\"\")"),
    )  # fmt: skip


def _lacks() -> tuple[Column, ...]:
    """What a line lacks, or what is odd about it, in words; each a step of its own."""
    stage, beer = "line_stage", _FERMENTED_DROP
    early = (f"({stage}={words.stage(words.MASH)})+({stage}={words.stage(words.FIRST_RUNNINGS)})"
             f"+({stage}>={words.stage(words.BEFORE_BOIL)})>0")  # fmt: skip
    kettle = (f"({stage}>={words.stage(words.BEFORE_BOIL)})"
              f"*({stage}<={words.stage(words.INTO_FERMENTER)})")  # fmt: skip
    over = f"{kettle}*ISNUMBER(line_extract)*(line_grain>0)*(line_extract>line_grain)"
    return (
        _remark("line", cases(
            ('(log_reading="")*(line_volume="")*(log_batch&log_stage<>"")', '"reading is missing"'),
            ('log_reading&line_volume=""', '""'),
            ('TRIM(log_batch)=""', '"batch is missing"'),
            ("line_batch=0", '"batch is not on Batches"'),
            ('TRIM(log_stage)=""', '"stage is missing"'),
            ("line_stage=0", '"unknown stage"'))),
        _remark("instrument", cases(
            ('log_reading=""', '""'),
            ("line_inst=0", '"instrument is not on Setup"'),
            (f'line_is="{words.THERMOMETER}"', '"a thermometer shows no gravity"'),
            ("line_prism+line_float=0", '"its kind on Setup is none, or an error stands there"'),
            (f'(line_is="{words.HYDROMETER}")*(log_temperature="")',
             '"sample temperature is missing"'))),
        _remark("scale", cases(
            ("NOT(ISNUMBER(log_reading))", '""'),
            (f'({_PRISM})*(line_in="Brix")*(log_reading>0.98)*(log_reading<1.2)*({early})',
             '"reads like SG, but its scale is °Brix"'),
            ('(line_in="SG")*(log_reading>1.3)', '"reads like °Brix, but its scale is SG"'))),
        _remark("sense", cases(
            (over, '"more extract than the grain holds"'),
            ("line_rise=1", '"gravity rises during fermentation"'))),
        _remark("far", cases(("line_far=1", '"far from the other readings"'))),
        _remark("ph", cases(
            ('log_ph=""', '""'),
            ("NOT(ISNUMBER(line_ph))", '"pH is not a number"'),
            (f"(line_ph>{HIGHEST_PH})*({stage}<={words.stage(words.RUNOFF_END)})",
             f'"pH above {HIGHEST_PH}: husk tannins dissolve"'))),
        _remark("date", cases(
            ('(log_reading="")+(line_inst=0)>0', '""'),
            ('(TRIM(log_date)<>"")*NOT(ISNUMBER(log_date))', '"the date is a text"'),
            ('line_date=""', '"no date: no calibration applied"'),
            ("line_checked=0", '"not checked before this date"'),
            ("line_date-line_check_date>line_every", '"check overdue"'))),
        _remark("temperature", cases(
            (f'({_PRISM})*(line_auto=0)*(log_temperature="")*(log_reading<>"")',
             '"no temperature: 20 °C (68 °F) assumed"'))),
        _remark("volume", cases(
            ('(line_volume<>"")*(log_volume_temperature="")', '"volume as at 20 °C (68 °F)"'))),
        _remark("beer", cases(
            (f"{beer}=0", '""'),
            ('line_original=""', '"original gravity is missing"'),
            ("line_planned=1", '"original from the plan"'),
            otherwise='"no proof that it has ended"')),
        step("line_planned", "1: original from the plan", "IF(line_batch=0,0,"
             "ISTEXT(LOOKUP(line_batch,all.batch_no,all.batch_measured))*1)"),
        # The reading of beer before this one, of the same batch: rising beyond both ± is odd.
        step("line_before", "beer before, place", "IF((line_beer=1)*ISNUMBER(line_order),"
             "IFERROR(MATCH(line_order,all.seen_key,0)-1,0),0)", by_line=True),
        step("line_rise", "1: rises", "IF(line_before<1,0,IF((INDEX(all.seen_stage,line_before)="
             "line_stage)*(INDEX(all.seen_batch,line_before)=line_batch)*ISNUMBER(log_sg),"
             "(log_sg-N(INDEX(all.log_sg,INDEX(all.seen_at,line_before)))>2*N(log_u)+0.001)*1,0))",
             by_line=True),
    )  # fmt: skip


def _for_views() -> tuple[Column, ...]:
    """What the views look up besides: volumes in the order of batch, stage and time."""
    return (
        step("line_volume_order", "order of volumes",
             "IF((line_batch>0)*(line_stage>0)*ISNUMBER(log_volume_20),"
             f"{stage_key('line_batch', 'line_stage')}+MAX(0,line_day)+line_no*5/10^7,\"\")",
             by_line=True),
    )  # fmt: skip


#: Remarks of a line, the gravest first.
_REMARKS = (
    "line",
    "instrument",
    "scale",
    "sense",
    "far",
    "ph",
    "date",
    "temperature",
    "volume",
    "beer",
)


def _remark(part: str, formula: str) -> Column:
    """A remark, with what parts it from the one before."""
    return step(
        f"lack_{part}",
        "remark",
        by_line=part == "sense",
        formula=re.sub(r',"(?=[^"])', ',"; ', formula),
    )


def _joined() -> str:
    """All remarks of a line."""
    return f"MID({'&'.join(f'lack_{part}' for part in _REMARKS)},3,200)"


def _sorted(choices: words.Choices) -> Table:
    """The valid lines in the order of batch, stage and time, on the lines of the log."""

    def ordered(name: str, source: str) -> Column:
        return step(name, "in order",
                    f'IF(seen_at=0,"",LOOKUP(seen_at,all.line_no,all.{source}))')  # fmt: skip

    return Table(
        "seen",
        choices.rows,
        (
            Column("seen_no", "seen_no", "place", 12, role=Role.STEP,
                   values=range(1, choices.rows + 1)),
            step("seen_key", "key", f"IFERROR(SMALL(all.line_order,seen_no),{_AFTER_ALL:.0f})"),
            step("seen_at", "line of the log", "IFERROR(MATCH(seen_key,all.line_order,0),0)"),
            ordered("seen_batch", "line_batch"),
            ordered("seen_stage", "line_stage"),
            ordered("seen_wort_sg", "same_wort_sg"),
            ordered("seen_wort_u", "same_wort_u"),
            ordered("seen_sg", "mean_sg"),
            ordered("seen_volume", "log_volume_20"),
            ordered("seen_date", "line_date"),
        ),
        beside=True,
    )  # fmt: skip


def _head(choices: words.Choices) -> dict[str, str]:
    """What the last line means, in words."""

    def last(what: str) -> str:
        return f"INDEX(all.{what},last_line)"

    digits = choices.gravity_digits
    plan = f"last_gravity-{last('line_wanted')}"
    off = (f'IF(ROUND(last_miss,{digits})=0,"at its target",{shown("ABS(last_miss)", digits)}'
           '&IF(last_miss<0," low"," high"))')  # fmt: skip
    boil = (f'{last("line_stage")}={words.stage(words.BEFORE_BOIL)}',
            f'{last("line_stage")}={words.stage(words.AFTER_BOIL)}')  # fmt: skip
    run = (f'({last("line_stage")}={words.stage(words.RUNOFF_STAGE)})+'
           f'({last("line_stage")}={words.stage(words.RUNOFF_END)})>0')  # fmt: skip
    return {
        "log_texts": "SUM(all.log_any_text)",
        "last_line": "MAX(all.line_filled)",
        "last_gravity": f'IF(last_line=0,"",{last("mean_gravity")})',
        "last_of": f'IF(IF(last_line=0,0,N({last("mean_of")}))>1,'
                   f'" (mean of "&{last("mean_of")}&")","")',
        "last_gives": f'IF(ISNUMBER(last_gravity),{shown("last_gravity", digits)}&" ± "'
                      f'&{shown(last("mean_expanded"), digits)}&" "&unit_gravity&last_of,'
                      'last_gravity)',
        "last_miss": f'IF(ISNUMBER(last_gravity)*ISNUMBER({last("line_wanted")}),{plan},"")',
        "last_off": f'IF(ISNUMBER(last_miss),{off}&" ("&{last("mean_verdict")}&")","")',
        "last_shown": "IF(last_line=0,0,(last_batch=shown_no)*(shown_no>0))",
        "last_advice": cases(
            ("last_shown=0", '""'), (run, "runoff_says"),
            (boil[0], "before_says"), (boil[1], "after_says"),
            (f'{last("line_stage")}>={_BEER}', "ferment_says")),
        "last_means": 'last_off&IF((last_off="")+(last_advice="")>0,"","; ")&last_advice',
        "log_says": cases(
            ("last_line=0", '"Type the first reading below: the answer appears here."'),
            ('last_gravity=""', f'"Line "&last_line&": "&{last("log_remark")}'),
            otherwise=f'last_gives&IF({last("log_stage")}="",""," · "&{last("log_stage")})'
                      '&IF(last_means="","",": "&last_means)'),
        "log_warning": cases(
            ("COUNTA(all.log_below)>0", '"Lines below the frame are not read: '
                                        'xlfuncs upgrade takes them in."'),
            ("(last_line>0)*(last_shown=0)", '"The other sheets show another batch: see Batches."'),
            ('units_say<>""', '"On Setup: "&units_say'),
            otherwise="last_told"),
        "last_told": f'IF(last_line=0,"",{last("log_batch")}&IF({last("log_tells")}="","",": ")'
                     f'&{last("log_tells")})',
    }  # fmt: skip
