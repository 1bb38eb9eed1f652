"""Fermentation: gravity, attenuation and alcohol while yeast is at work, and where it will end.

The readings of the shown batch from the fermenter on, from the log, in the order of time.  All that
the sheet has room for in `course` go into forecast and picture; the latest stand in the table.
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
from xlfuncs.workbook.kit.formulas import cases, if_numbers, on_line, plotted, shown, shown_on_scale
from xlfuncs.workbook.sheets.batches import latest, of_shown, stage_key

#: Lines of the table; readings of one batch that forecast and picture take.
READINGS, COURSE = 24, 120
_INTO = words.stage(words.INTO_FERMENTER)
_BEER = words.stage(words.FERMENTING)
_PACKAGED = words.stage(words.PACKAGED)
_CAUTION = (
    "A corrected refractometer reading that stands still does not prove that fermentation has "
    "ended, and bottles can burst: package on hydrometer readings that stay the same over days. "
    "Alcohol for a label or for tax needs the approved method of the place."
)


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.FERMENTATION,
        "How far the fermentation is, where it will end, and the alcohol so far, each with its ±.",
        "Every reading of the shown batch on any instrument. A refractometer is corrected for "
        "alcohol with the factors in use on Setup, from the original gravity. Shake out the gas: "
        "dissolved it adds 0.0004 to 0.0011 SG, with bubbles more. Read drops near 20 °C (68 °F): "
        "at 10 °C (50 °F) beer is up to 0.0005 SG off, and what yeast leaves refracts up to "
        "0.0005 SG more than wort.",
        (
            Text("=ferment_answers", styles.ANSWER, name="ferment_answer", lines=1.1),
            Text(_CAUTION, styles.CAUTION, lines=1.9, gap=0),
            Lines(_answers(choices), label=2, cell=1, note=4),
            Chart(
                "scatter", "Gravity of the batch, and its ±", "gravity",
                (
                    Trace("into fermenter", "course_original", "course_x", marker="diamond",
                          expanded="course_expanded"),
                    Trace("refractometer, corrected", "course_prism", "course_x", marker="x",
                          expanded="course_expanded"),
                    Trace("hydrometer", "course_float", "course_x", expanded="course_expanded"),
                    Trace("final, forecast", "course_final", "course_x", limit=True),
                ),
                (15, 5.6), 10, x_title="days", x_format="0",
                y_format="0.0" if choices.gravity == "plato" else "0.000", column=8, beside=True,
            ),
            Section("Readings of the beer, from the log"),
            _readings(choices),
            _course(choices),
            _scaled(),
            Steps(_steps(choices), {
                ("forecast_final", "forecast_u_final", "forecast_day", "forecast_u_day"):
                    "FERMENTATION_FORECAST(all.course_day,all.course_sg)",
            }),
        ),
        landscape=True,
        parts=(
            ReportPart("fermentation", {
                "says": "ferment_answer", "batch": "ferment_batch", "original": "ferment_from",
                "original_expanded": "ferment_from_expanded", "original_is": "ferment_from_where",
                "state": "ferment_state", "final": "ferment_final",
                "final_expanded": "ferment_final_expanded", "near_on": "ferment_near",
                "factors": "ferment_factors",
            }, title="Fermentation"),
            ReportPart("fermentation_readings", {
                "date": "ferment_date", "day": "ferment_day", "instrument": "ferment_instrument",
                "gravity": "ferment_gravity", "expanded": "ferment_expanded",
                "apparent": "ferment_apparent_now",
                "apparent_expanded": "ferment_apparent_expanded",
                "real": "ferment_real_now", "real_expanded": "ferment_real_expanded",
                "abv": "ferment_abv_now", "abv_expanded": "ferment_abv_expanded",
                "remark": "ferment_remark",
            }, keep=("date", "gravity")),
        ),
    )  # fmt: skip


def _answers(choices: words.Choices) -> tuple[Line, ...]:
    fine, digits = choices.fine_gravity_format, choices.gravity_digits

    def expanded(cell: str, more: str, digits: int = digits) -> str:
        return f'IF(ISNUMBER({cell}),"± "&{shown(cell, digits)}&"{more}","")'

    return (
        Line("ferment_batch", "Batch", "chosen on Batches", formula="shown_batch"),
        Line("ferment_from", "Original gravity",
             f'={expanded("ferment_from_expanded", "; ")}&ferment_from_where', fine,
             formula="ferment_scaled_1"),
        Line("ferment_began", "Day 0", "=ferment_began_is", styles.DATE, formula="course_start"),
        Line("ferment_state", "State",
             '=IF(ferment_state="steady","no proof that it has ended","")',
             # Calc finds a word of ours equal to a word of a formula only once it is joined.
             formula='IF(shown_no=0,"",FERMENTATION_STATE(all.course_day,all.course_sg)&"")'),
        Line("ferment_final", "Final gravity, forecast",
             f'={expanded("ferment_final_expanded", "; no measurement")}&forecast_why_not', fine,
             formula="ferment_scaled_3"),
        Line("ferment_near", "Near it on",
             "=IF(ISNUMBER(ferment_near),\"± \"&"
             f'{shown("2*forecast_u_day", 1)}&" days; within 0.001 SG","")', styles.DATE,
             formula=if_numbers(["forecast_day", "course_start"],
                                "INT(course_start+forecast_day)")),
        Line("ferment_plan", "Final gravity, plan", "=unit_gravity", choices.gravity_format,
             formula=of_shown(f"plan_gravity_{words.planned(words.PACKAGED)}")),
        Line("ferment_factors", "Factors for beer", "=factors_remark", formula="factors_in_use"),
    )  # fmt: skip


def _readings(choices: words.Choices) -> Table:
    fine = choices.fine_gravity_format

    return Table(
        "ferment",
        READINGS,
        (
            result("ferment_date", "Date", "", 17, styles.MOMENT, _of("line_date")),
            result("ferment_day", "Day", "from day 0", 8, styles.ONE, if_numbers(
                ["ferment_date", "course_start"], "ferment_date-course_start")),
            result("ferment_instrument", "Instrument", "", 18, styles.GENERAL, _of("line_name")),
            result("ferment_gravity", "Gravity", "=unit_gravity", 9, fine, _of("log_gravity")),
            result("ferment_expanded", "±", "about 95 %", 9, fine, _of("log_expanded")),
            result("ferment_apparent_now", "Attenuation, apparent", "%", 12, styles.ONE,
                   "ferment_apparent_1"),
            result("ferment_apparent_expanded", "±", "about 95 %", 8, styles.ONE,
                   _spread("apparent")),
            result("ferment_real_now", "Attenuation, real", "%", 12, styles.ONE,
                   "ferment_real_1"),
            result("ferment_real_expanded", "±", "about 95 %", 8, styles.ONE, _spread("real")),
            result("ferment_abv_now", "Alcohol", "% by volume", 9, styles.ONE,
                   "ferment_abv_1"),
            result("ferment_abv_expanded", "±", "about 95 %", 8, styles.ONE, _spread("abv")),
            result("ferment_remark", "Remark", "", 42, styles.GENERAL,
                   _of("log_remark") + '&""'),
            Column("ferment_no", "ferment_no", "place", 12, role=Role.STEP,
                   values=range(1, READINGS + 1)),
            *_looked_up(),
            *_reckoned(),
        ),
        gap=0,
        high=13,
    )  # fmt: skip


def _of(what: str, otherwise: str = '""') -> str:
    return on_line("ferment_at", "line_no", what, otherwise)


def _spread(of: str) -> str:
    """± of what is reckoned from both gravities, each moved by its u, and from what they share."""
    now, by_sg, by_original = (f"ferment_{of}_{i}" for i in (1, 2, 3))
    return if_numbers(
        [now, by_sg, by_original],
        f"2*SQRT(ABS(({by_sg}-{now})^2+({by_original}-{now})^2"
        f"-2*ferment_tie*({by_sg}-{now})*({by_original}-{now})))",
    )


def _looked_up() -> Iterator[Column]:
    yield step("ferment_at", "line of the log", "IF(ferment_no>ferment_listed,0,"
               "LOOKUP(ferment_to-ferment_listed+ferment_no,all.seen_no,all.seen_at))")  # fmt: skip
    yield step("ferment_u", "u, SG", _of("log_u"))
    yield step("ferment_tie", "correlation with the original", _of("line_tie", "0"))


def _reckoned() -> Iterator[Column | Group]:
    """Attenuation and alcohol: as they are, and with either gravity moved by its u.

    The two gravities hang together: by the calibration and the wort factor that they share, and,
    on a refractometer, because the correction for alcohol leans on the original.
    """
    yield Group("ferment_sg", (
        step("ferment_sg_1", "SG", _of("log_sg")),
        step("ferment_sg_2", "one u less", if_numbers(["ferment_sg_1", "ferment_u"],
                                                      "ferment_sg_1-ferment_u")),
        step("ferment_sg_3", "SG", "ferment_sg_1"),
    ))  # fmt: skip
    of_line = 'IF(ferment_at=0,"",{})'
    yield Group("ferment_originals", (
        step("ferment_originals_1", "original", of_line.format("ferment_original")),
        step("ferment_originals_2", "original", of_line.format("ferment_original")),
        step("ferment_originals_3", "one u more", of_line.format("ferment_original_more")),
    ))  # fmt: skip
    for key, function in (
        ("apparent", "APPARENT_ATTENUATION"), ("real", "REAL_ATTENUATION"), ("abv", "BEER_ABV"),
    ):  # fmt: skip
        yield Group(f"ferment_{key}", tuple(
            step(f"ferment_{key}_{i}", hint, "")
            for i, hint in enumerate(("%", "gravity one u less", "original one u more"), 1)),
            f"{function}(ferment_originals,ferment_sg)")  # fmt: skip


def _course(choices: words.Choices) -> Table:
    """The batch as days and gravities: first what went into the fermenter, then the readings."""

    def of(original: str, line: str) -> str:
        there = f"LOOKUP(course_at,all.line_no,all.{line})"
        return f'IF(course_at=0,"",IF(course_no=1,{original},{there}))'

    return Table(
        "course",
        COURSE + 1,
        (
            Column("course_no", "course_no", "place, 1: original", 12, role=Role.STEP,
                   values=range(1, COURSE + 2)),
            step("course_at", "line of the log", cases(
                ("course_no=1", "course_into"),
                ("course_no>course_count+1", "0"),
                otherwise="LOOKUP(ferment_to-course_count+course_no-1,all.seen_no,all.seen_at)")),
            step("course_date", "date", 'IF(course_at=0,"",LOOKUP(course_at,all.line_no,'
                 "all.line_date))"),
            step("course_day", "days", if_numbers(["course_date", "course_start"],
                                                  "ROUND(course_date-course_start,6)")),
            step("course_sg", "SG", if_numbers(["course_day"], of("ferment_original", "log_sg"))),
            step("course_is", "1: refractometer, 2: hydrometer",
                 'IF((course_at=0)+(course_no=1)>0,0,2-LOOKUP(course_at,all.line_no,'
                 "all.line_prism))"),
            step("course_gravity", "gravity", of("ferment_from", "log_gravity")),
            step("course_expanded", "±", of("ferment_from_expanded", "log_expanded")),
            step("course_x", "picture: days", plotted("course_day")),
            step("course_original", "picture", plotted("course_gravity", "course_no=1")),
            step("course_prism", "picture", plotted("course_gravity", "course_is=1")),
            step("course_float", "picture", plotted("course_gravity", "course_is=2")),
            step("course_final", "picture",
                 "IF(ISNUMBER(course_day)*ISNUMBER(ferment_final),ferment_final,NA())"),
        ),
        beside=True,
    )  # fmt: skip


def _scaled() -> Table:
    """Original and forecast gravity, and each with its ±, in the unit of Setup."""
    return Table(
        "ferment_one",
        1,
        (
            Group("ferment_four", (
                step("ferment_four_1", "original, SG", "ferment_original"),
                step("ferment_four_2", "with its ±", if_numbers(
                    ["ferment_original", "ferment_original_u"],
                    "ferment_original+2*ferment_original_u")),
                step("ferment_four_3", "final, SG", if_numbers(["forecast_final"],
                                                               "forecast_final")),
                step("ferment_four_4", "with its ±", if_numbers(
                    ["forecast_final", "forecast_u_final"],
                    "forecast_final+2*forecast_u_final")),
            )),
            Group("ferment_scaled", tuple(
                step(f"ferment_scaled_{i}", "in the unit of Setup", "") for i in range(1, 5)),
                shown_on_scale("ferment_four")),
        ),
        beside=True,
    )  # fmt: skip


def _steps(choices: words.Choices) -> dict[str, str]:
    days = shown("ferment_last_day", 0)
    return {
        "ferment_first": f'COUNTIF(all.seen_key,"<"&{stage_key("shown_no", _BEER)})',
        "ferment_to": f'COUNTIF(all.seen_key,"<"&{stage_key("shown_no", _PACKAGED + 1)})',
        "ferment_count": "ferment_to-ferment_first",
        "ferment_listed": f"MIN(ferment_count,{READINGS})",
        "course_count": f"MIN(ferment_count,{COURSE})",
        "ferment_unread": f"COUNTIFS(all.line_batch,shown_no,all.line_stage,\">={_BEER}\","
                          'all.line_filled,">0")-ferment_count',
        # What went into the fermenter: its latest reading, without one the plan.
        "ferment_original": of_shown("batch_original"),
        "ferment_original_u": of_shown("batch_original_u"),
        "ferment_original_of": f'IF(N({of_shown("batch_into_of")})>1,", mean of "'
                               f'&{of_shown("batch_into_of")},"")',
        "ferment_original_more": if_numbers(["ferment_original", "ferment_original_u"],
                                            "ferment_original+ferment_original_u"),
        "ferment_original_is_measured": f'IF(ISNUMBER({of_shown("batch_measured")}),1,0)',
        "ferment_from_where": cases(
            ('ferment_original=""', '"missing: log a reading into fermenter, or plan it"'),
            ("ferment_original_is_measured=1", '"measured, into fermenter"&ferment_original_of'),
            otherwise='"from the plan, not measured"'),
        "ferment_from_expanded": if_numbers(["ferment_scaled_1", "ferment_scaled_2"],
                                            "ferment_scaled_2-ferment_scaled_1"),
        "ferment_final_expanded": if_numbers(["ferment_scaled_3", "ferment_scaled_4"],
                                             "ferment_scaled_4-ferment_scaled_3"),
        "course_latest": latest("shown_no", str(_INTO), "at"),
        "course_into": 'IF(course_latest="",0,course_latest)',
        "course_pitched": 'IF(course_into=0,"",INDEX(all.line_date,course_into))',
        "course_begin": 'IF(COUNT(all.course_date)=0,"",MIN(all.course_date))',
        "course_start": 'IF(ISNUMBER(course_begin),course_begin,"")',
        "ferment_began_is": cases(
            ("NOT(ISNUMBER(course_start))", '""'),
            ("course_start=N(course_pitched)", '"the reading into fermenter"'),
            otherwise='"the first reading of the beer"'),
        "forecast_why_not": 'IF((shown_no=0)+ISNUMBER(forecast_final)>0,"",SUBSTITUTE(SUBSTITUTE('
                            'forecast_final&"","! ",""),"sgs","gravities"))',
        "ferment_last_day": 'IF(COUNT(all.ferment_day)=0,"",MAX(all.ferment_day))',
        "ferment_last": 'IF(ferment_listed=0,"",INDEX(all.ferment_apparent_1,ferment_listed))',
        "ferment_last_spread":
            'IF(ferment_listed=0,"",INDEX(all.ferment_apparent_expanded,ferment_listed))',
        "ferment_last_abv": 'IF(ferment_listed=0,"",INDEX(all.ferment_abv_1,ferment_listed))',
        "ferment_last_abv_spread":
            'IF(ferment_listed=0,"",INDEX(all.ferment_abv_expanded,ferment_listed))',
        "ferment_says": cases(
            ("ferment_listed=0", '""'),
            ("NOT(ISNUMBER(ferment_last))", '""'),
            otherwise=f'IF(ISNUMBER(ferment_last_day),{days}&" days, ","")&'
                      f'{shown("ferment_last", 0)}&IF(ISNUMBER(ferment_last_spread)," ± "&'
                      f'{shown("ferment_last_spread", 0)},"")&" % attenuated"'),
        "ferment_alcohol": "IF(ISNUMBER(ferment_last_abv)*ISNUMBER(ferment_last_abv_spread),"
                           f'", "&{shown("ferment_last_abv", 1)}&" ± "&'
                           f'{shown("ferment_last_abv_spread", 1)}&" % alcohol","")',
        "ferment_all": cases(
            ('(LEFT(ferment_state,2)="! ")+(ferment_state="")+(ferment_state="too few readings")>0',
             '""'),
            ('ferment_state="steady"', '"; steady, no proof that it has ended"'),
            otherwise='"; "&ferment_state'),
        "ferment_lost": 'IF(ferment_unread>0," ("&ferment_unread&" more on the log cannot be '
                        'read)",'
                        'IF(ferment_count>ferment_listed," ("&(ferment_count-ferment_listed)&'
                        '" earlier ones are on the log)",""))',
        "ferment_answers": cases(
            ("shown_no=0", '"Choose a batch on Batches, or log a reading."'),
            ("ferment_count=0", '"No reading of fermenting "&shown_batch&" on the log yet."'),
            ('ferment_says=""', 'shown_batch&": "&ferment_from_where&ferment_lost'),
            otherwise='shown_batch&": "&ferment_says&ferment_alcohol&ferment_all&ferment_lost'),
    }  # fmt: skip
