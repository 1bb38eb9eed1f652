"""Calibration: dated checks, what is in force, how each instrument moved.

A check is one line: a reading in water, and one or two in solutions of known gravity.  Its
readings, brought to 20 °C, and its references give an offset, and a slope where sugar solutions
reach far enough apart.  A solution of malt extract shows wort: it tells the offset through the wort
factor and with its doubt, and never a slope.
"""

from __future__ import annotations

from collections.abc import Callable

from xlfuncs.science import control, drift
from xlfuncs.science.calibration import LEAST_SPREAD, UNCHECKED_SLOPE_U
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import LARGEST_TRUE, ROOM, SG_PER_PLATO, SOLUTION_U
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Block,
    Chart,
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
    Trace,
    result,
    step,
    typed,
)
from xlfuncs.workbook.kit.formulas import (
    blank_or,
    cases,
    celsius,
    if_numbers,
    initial,
    is_date,
    number_or_text,
    number_told,
    place,
    word,
)
from xlfuncs.workbook.kit.told import Told, texts
from xlfuncs.workbook.sheets.setup import (
    hydrometric,
    instrument_number,
    of_instrument,
)

# The checks of all instruments are brought into one ascending order by a key: a million for each
# instrument number, plus the date, plus a hair for each line so that checks of one moment keep
# their order.  LOOKUP on the sorted keys finds, for any instrument and moment, the last check.
PER_INSTRUMENT = 1000000
_AFTER_ALL = 9e15

#: Moving ranges that control limits need.
_LEAST_RANGES = 2
#: Up to so many instruments their state stands above the checks, on the first screen.
_ABOVE = 8
_POINTS = (1, 2, 3)
_SOURCES = ("reading", "calibration", "wort factor", "temperature", "cloudiness")


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    state = (Section("State of the instruments"), _state(choices))
    checks: tuple[Block, ...] = (
        Section('="Dated checks: one line for each, newest last"&check_says'),
        _checks(choices),
        _sorted(choices),
    )
    first = state[0], state[1], *checks
    return Sheet(
        words.CALIBRATION,
        "Check each instrument in water, better also in a weighed solution; write the check down. "
        "It corrects every reading from its date on.",
        "On receipt, at least once a year, and after a knock. Distilled water first, for a "
        "thermometer melting ice; no bubble under the plate; wait for the temperature. Sugar "
        "solutions tell slope and offset, malt extract the offset only.",
        (
            *(first if choices.instruments <= _ABOVE else (*checks, *state)),
            Section("Offset over time", to=8, gap=3),  # lines typed there are noticed
            Section("What the ± is made of", column=10, beside=True, to=12),
            Section("Choose here", column=13, beside=True),
            _picture(),
            *_budget(),
            Steps({
                "state_as_of": 'IF(ISNUMBER(as_of)*(as_of_says=""),as_of,TODAY())',
                "check_texts": "SUM(all.check_any_text)",
                "chart_no": "IFERROR(IF(chart_instrument=\"\",1,"
                            "MATCH(TRIM(chart_instrument),all.inst_key,0)),1)",
                "check_says": 'IF(COUNTA(all.check_below)>0,". Lines below the frame are not read: '
                              'xlfuncs upgrade takes them in.","")',
            }),
        ),
        landscape=True,
        tall=True,
        frozen="check",
        frozen_columns=2,
        parts=(
            ReportPart(
                "instruments",
                {
                    "name": "state_name", "identity": "inst_identity", "kind": "inst_is",
                    "date": "state_date", "offset": "state_offset", "slope": "state_slope",
                    "expanded": "state_expanded", "days": "state_days", "due": "state_due",
                    "status": "state_status", "checks": "history_all", "drift": "state_drift",
                    "drift_expanded": "state_drift_expanded",
                    "verdict": "state_control", "interval": "state_interval",
                },
                keep=("name",),
                title="Instruments",
            ),
        ),
    )  # fmt: skip


def _checks(choices: words.Choices) -> Table:
    reading = Limits.between(-5, 250, "What the instrument showed, in its own scale")
    reference = Limits.between(-5, LARGEST_TRUE, "What it ought to show: °Brix, SG or °Plato; of a "
                                        "thermometer the true temperature")  # fmt: skip
    tolerance = of_instrument("check_no", "tolerance")
    limit = "check_limit*1.000000001"
    names = [f"check_shown_{i}" for i in _POINTS]
    known = ["check_known_2", "check_known_3"]
    told = Told("check", ("check_temperature", *names), first=0)
    true_values = ["check_known_is_2", "check_known_is_3"]
    missing = "+".join(
        f'({word(cell)}<>"")*NOT(ISNUMBER({true}))'
        for cell, true in zip(names[1:], true_values, strict=True)
    )
    return Table(
        "check",
        choices.checks,
        (
            typed("check_instrument", "Instrument", "blank: the first", 19.3,
                  limits=Limits.listed("inst_name", "One of the instruments on Setup")),
            typed("check_date", "Date", "time if known", 10.5, styles.DATE, Limits.date()),
            typed("check_temperature", "Sample", '="°"&unit_temperature&"; blank: 20 °C"', 9,
                  styles.TEMPERATURE, Limits.temperature(70, "Temperature of drop or jar")),
            typed(names[0], "In water", "it shows", 8, styles.READING, reading),
            typed(names[1], "In a solution", "it shows", 8, styles.READING, reading),
            typed(known[0], "Solution is", "true value", 8, styles.READING, reference),
            typed(names[2], "In another", "it shows", 9, styles.READING, reading),
            typed(known[1], "That one is", "true value", 8, styles.READING, reference),
            typed("check_known_in", "True values in", "blank: its scale", 8,
                  limits=Limits.among(*words.SCALES)),
            typed("check_made_of", "Solution made of", "blank: sugar", 11.5,
                  limits=Limits.among(words.SUGAR, words.MALT_EXTRACT)),
            typed("check_as", "As found, as left", "blank: as found", 11,
                  limits=Limits.among(words.AS_FOUND, words.AS_LEFT)),
            result("check_verdict", "Is it right?", "", 15.9, styles.GENERAL, cases(
                ("check_missing=1", '"a true value is missing or no number"'),
                ("NOT(ISNUMBER(check_offset))", '""'),
                (f"{is_date('check_date')}=0", '"date is missing"'),
                ("check_date>=INT(state_as_of)+1", '"dated ahead"'),
                otherwise="check_judged")),
            result("check_offset", "Correction", "shown less true", 9, styles.SG,
                   blank_or("fit_points", number_or_text("fit_points", "fit_offset"))),
            result("check_expanded", "± of it", "about 95 %", 7.5, styles.SG,
                   if_numbers(["fit_u"], "2*fit_u")),
            result("check_slope", "Slope", "shown per true", 7.5, styles.SG,
                   if_numbers(["fit_slope"], "fit_slope")),
            typed("check_who", "Who", "", 9.7),
            typed("check_note", "What was done", "", 11),
            step("check_line", "line", place("check", "check_date")),
            step("check_no", "instrument",
                 instrument_number("check_instrument", "check_filled=1")),
            step("check_filled", "1: typed",
                 '((check_date<>"")+(check_shown_1<>"")+(check_shown_2<>"")>0)*1'),
            step("check_is", "kind", of_instrument("check_no", "is")),
            step("check_in", "scale", of_instrument("check_no", "in")),
            step("check_auto", "compensates", of_instrument("check_no", "auto", "0")),
            step("check_ref_c", "°C", of_instrument("check_no", "ref_c")),
            step("check_water_c", "°C", of_instrument("check_no", "water_c")),
            step("check_expansion", "per °C", of_instrument("check_no", "expansion")),
            step("check_limit", "offset put up with", tolerance),
            step("check_u", "u of a reading", of_instrument("check_no", "u")),
            *told.steps(texts("check_known_text", tuple(known), 2)),
            step("check_c", "°C", celsius("check_temperature", f"{ROOM:g}",
                                          told.number("check_temperature"))),
            # 1,040 is a gravity, not a thousand.
            Group("check_known_told", tuple(step(f"check_known_told_{i}", "what it says", "")
                                            for i in _POINTS[1:]),
                  'IF(check_texts=0,"",GRAVITY_CONVERT(check_known_text,"Brix","Brix"))'),
            *(step(f"check_known_is_{i}", "reference as typed",
                   number_told(f"check_known_{i}", f"check_known_told_{i}"))
              for i in _POINTS[1:]),
            step("check_missing", "1: no true value", f"({missing}>0)*1"),
            step("check_broken", "1: an error typed",
                 "ISERROR(check_known_in&check_made_of&check_as)*1"),
            step("check_typed_in", "scale of references",
                 cases(*((f'{initial("check_known_in")}="{scale[0]}"', f'"{scale}"')
                         for scale in words.SCALES), otherwise="check_in")),
            step("check_not_sg", "Plato unless SG", 'IF(check_typed_in="SG","SG","Plato")'),
            step("check_malt", "1: malt extract",
                 f'({word("check_made_of")}="{words.MALT_EXTRACT}")'
                 f'*(check_is="{words.REFRACTOMETER}")'),
            *_brought(names, true_values),
            *_points(),
            *_fit(),
            step("check_judged", "with its ±", cases(
                        ("NOT(ISNUMBER(check_offset))", '""'),
                (f"ABS(check_offset)+check_expanded<={limit}", '"within"'),
                (f"ABS(check_offset)<={limit}", '"probably within"'),
                ("ABS(check_offset)-check_expanded<=check_limit", '"probably outside"'),
                otherwise='"outside"')),
            step("check_key", "order",
                 f'IF(ISNUMBER(check_offset)*{is_date("check_date")},check_no*{PER_INSTRUMENT}+check_date'
                 f'+0.001*({word("check_as")}="{words.AS_LEFT}")'
                 '+check_line/10000000,"")'),
        ),
        high=13,
        gap=0,
        guarded=True,
    )  # fmt: skip


def _three(key: str, hint: str, formula: Callable[[int], str] | None = None) -> tuple[Column, ...]:
    """Steps for the three points of a check."""
    return tuple(step(f"{key}_{i}", hint, formula(i) if formula else "") for i in _POINTS)


def _brought(shown: list[str], known: list[str]) -> tuple[Column | Group, ...]:
    """Readings and references of a line in the working scale: °Bx or SG at 20 °C."""
    prism = f'check_is="{words.REFRACTOMETER}"'
    floats = f"{hydrometric('check_is')}=1"
    thermometer = f'check_is="{words.THERMOMETER}"'

    def given(i: int) -> str:
        if i > 1:
            return cases((f"IFERROR(ABS({known[i - 2]})>{LARGEST_TRUE},FALSE)",
                          f'"! true value "&{known[i - 2]}&" is out of reach"'),
                         otherwise=known[i - 2])  # fmt: skip
        return cases(('check_shown_1=""', '""'),
                     (thermometer, 'IF(unit_temperature="F",32,0)'),  # melting ice
                     ('check_typed_in="SG"', "1"), otherwise="0")  # fmt: skip

    def converted(cell: str, scale: str, source: str, target: str, where: str) -> str:
        """Cells of one scale brought to another; those of other scales as they are."""
        those = f'IF({scale}="{source}",{cell},"")'
        return (
            f'IF({where},IF({scale}="{source}",GRAVITY_CONVERT({those},"{source}","{target}"),'
            f'{cell}),"")'
        )

    is_far = f"IFERROR(ABS(check_raw)>{LARGEST_TRUE},FALSE)"
    far = '"! reading "&check_raw&" is out of reach"'
    number = cases(('ISNUMBER(check_raw)+(check_raw="")>0', "check_raw"),
                   otherwise='"! reading "&check_raw&" is not a number"')  # fmt: skip
    return (
        Group("check_raw", _three("check_raw", "as shown",
                                  lambda i: number_told(shown[i - 1], f"check_told_{i}"))),
        Group("check_true", _three("check_true", "reference as typed", given)),
        Group("check_as_brix", _three("check_as_brix", "shown, °Bx"),
              converted("check_raw", "check_in", "SG", "Brix", prism)),
        Group("check_as_sg", _three("check_as_sg", "shown, SG"),
              converted("check_raw", "check_in", "Plato", "SG", floats)),
        Group("check_brix", _three("check_brix", "°Bx at 20 °C"),
              'REFRACTOMETER_BRIX(check_as_brix,IF(check_auto=1,"",check_c))'),
        Group("check_sg", _three("check_sg", "SG at 20 °C"),
              f"HYDROMETER_SG(check_as_sg,{unless_floating('check_is', 'check_c')},"
              f"{unless_floating('check_is', 'check_ref_c')},"
              f"{unless_floating('check_is', 'check_water_c')},check_expansion)"),
        Group("check_ref_brix", _three("check_ref_brix", "reference, °Bx"),
              converted("check_true", "check_typed_in", "SG", "Brix", prism)),
        Group("check_ref_sg", _three("check_ref_sg", "reference, SG"),
              converted("check_true", "check_not_sg", "Plato", "SG", floats)),
        Group("check_read", _three("check_read", "shown, working scale"),
              f"IF({prism},check_brix,IF({thermometer},{cases((is_far, far), otherwise=number)},"
              "check_sg))"),
        # Wort of malt extract shows its °Plato times the wort factor.
        Group("check_ref", _three("check_ref", "true, working scale"),
              f"IF({prism},IF(ISNUMBER(check_ref_brix)*(check_malt=1),"
              'IF(common_refused="",check_ref_brix*common_factor,common_refused),check_ref_brix),'
              f"IF({thermometer},check_true,check_ref_sg))"),
    )  # fmt: skip


def unless_floating(kind: str, celsius_: str) -> str:
    """A temperature, but 20 °C where there is no glass to correct for."""
    return f'IF({kind}="{words.FLOATING}",20,{celsius_})'


def _points() -> tuple[Column, ...]:
    """Which points of a line count, and their weights: how sure reading and reference are."""
    return (
        *_three("check_ok", "1: counts",
                lambda i: f"ISNUMBER(check_read_{i})*ISNUMBER(check_ref_{i})"),
        step("check_u_known", "u of a solution",
             f'IF((check_ok_2+check_ok_3=0)+(check_is="{words.THERMOMETER}")>0,0'
            f",{SOLUTION_U}*IF({hydrometric('check_is')}=1,"
             f"{SG_PER_PLATO:g},1))"),
        *_three("check_w", "weight",
                lambda i: f"IF(check_ok_{i}=1,1/(check_u^2+IF(check_malt=1,check_ref_{i}"
                          "*common_u_factor/common_factor,check_u_known)^2),0)"),
    )  # fmt: skip


def _fit() -> tuple[Column, ...]:
    """The line through up to three points, by sums, as CALIBRATION_FIT gives it.

    A call for each check would cost a spreadsheet far more than this: thousands are possible.  With
    malt extract there is no slope, and the offset is the mean weighted by how sure each point is.
    The doubt of the mean and that of the slope about it do not hang together: at a reading b it is
    the root of u² + (b − centre)² u_slope².
    """

    def summed(term: str) -> str:
        return "+".join(f"IF(check_ok_{i}=1,check_w_{i}*{term.format(i=i)},0)" for i in _POINTS)

    def told(formula: str) -> str:
        return f"IF(ISNUMBER(fit_points),{formula},fit_points)"

    refused = [(f'LEFT({cell}_{i},2)="! "', f"{cell}_{i}")
               for cell in ("check_read", "check_ref") for i in _POINTS]  # fmt: skip
    prism = f'check_is="{words.REFRACTOMETER}"'
    count = "check_ok_1+check_ok_2+check_ok_3"
    apart = "+".join(
        f"IF(check_ok_{i}*check_ok_{j}=1,ABS(check_ref_{i}-check_ref_{j})>={LEAST_SPREAD:g},0)"
        for i, j in ((1, 2), (1, 3), (2, 3))
    )
    return (
        step("fit_refused", "why not", cases(*refused)),
        step("fit_points", "points", cases(
            ("check_no=0", '""'), ("check_broken=1", '"! this line holds an error"'),
            ('fit_refused<>""', "fit_refused"), (f"{count}=0", '""'),
            otherwise=count)),
        step("fit_weight", "sum of weights", told("check_w_1+check_w_2+check_w_3")),
        step("fit_centre", "mean reference", told(f"({summed('check_ref_{i}')})/fit_weight")),
        step("fit_mean", "mean reading", told(f"({summed('check_read_{i}')})/fit_weight")),
        # 0 where the references lie too close together for a slope, or do not tell one.
        step("fit_reach", "1: tells a slope", told(f"({apart}>0)*(check_malt=0)*({prism})")),
        step("fit_wide", "spread of references", told(summed("(check_ref_{i}-fit_centre)^2"))),
        step("fit_slope", "shown per true", told(
            f"IF(fit_reach=1,({summed('(check_ref_{i}-fit_centre)*check_read_{i}')})/fit_wide,1)")),
        step("fit_offset", "shown less true at 0", told("fit_mean-fit_slope*fit_centre")),
        step("fit_u", "u at the mean reference", told("1/SQRT(fit_weight)")),
        step("fit_u_slope", "u of the slope", told(
            f'IF(fit_reach=1,1/SQRT(fit_wide),IF(check_is="{words.REFRACTOMETER}",'
            f"{UNCHECKED_SLOPE_U},0))")),
    )  # fmt: skip


#: The interval that follows from the one before: shorter, longer or the same (ILAC-G24, method 1).
_STAIRCASE = (
    f"MIN(MAX(above.order_interval*IF(ABS(order_offset)>order_limit*1.000000001,{drift.SHORTER},"
    f"IF(ABS(order_offset)<=order_limit*{drift.CALM_SHARE * (1 + 1e-9):.10f},{drift.LONGER},1)),"
    f"{drift.SHORTEST:g}),{drift.LONGEST:g})"
)


def _sorted(choices: words.Choices) -> Table:
    """The checks in the order of their keys, and what the picture shows of them."""
    chosen = "order_no=chart_no"

    def ordered(name: str, source: str, format: str = styles.GENERAL) -> Column:
        return step(name, "in order",
                    f"IF(order_at=0,0,LOOKUP(order_at,all.check_line,all.{source}))",
                    format=format)  # fmt: skip

    def running(name: str, same: str, otherwise: str) -> Column:
        return step(name, "from the line above",
                    f"IF(order_no=0,{otherwise},{same})", by_line=True)  # fmt: skip

    def so_far(name: str, term: str) -> Column:
        return running(name, f"IF(order_level=N(above.order_level),above.{name},0)+{term}", "0")

    def from_level(what: str) -> str:
        # The levels ascend, so the last line of each holds its sums.
        total = "LOOKUP(order_level+0.5,all.order_level,all.order_sum_{})"
        mean = f"{total.format(what)}/{total.format('weight')}"
        return f"IF(order_weight=0,0,order_{what}-{mean})"

    same = "order_no=N(above.order_no)"
    return Table(
        "order",
        choices.checks,
        (
            Column("order_place", "order_place", "place", 12, role=Role.STEP,
                   values=range(1, choices.checks + 1)),
            step("order_key", "key",
                 f"IFERROR(SMALL(all.check_key,order_place),{_AFTER_ALL:.0f})"),
            step("order_at", "line of the check",
                 "IFERROR(MATCH(order_key,all.check_key,0),0)"),
            ordered("order_date", "check_date", styles.DATE),
            ordered("order_offset", "fit_offset"),
            ordered("order_slope", "fit_slope"),
            ordered("order_centre", "fit_centre"),
            ordered("order_u", "fit_u"),
            ordered("order_u_slope", "fit_u_slope"),
            ordered("order_limit", "check_limit"),
            step("order_no", "instrument", f"IF(order_at=0,0,INT(order_key/{PER_INSTRUMENT}))"),
            step("order_left", "as left",
                 "IF(order_at=0,0,IF(LOWER(TRIM(LOOKUP(order_at,all.check_line,all.check_as)))"
                 f'="{words.AS_LEFT}",1,0))'),
            running("order_level", f"IF({same},above.order_level,order_no*10000)+order_left",
                    f"{_AFTER_ALL:.0f}"),
            running("order_interval", f"IF({same},IF((order_left=1)+(order_limit<=0)>0,"
                    f"above.order_interval,{_STAIRCASE}),INDEX(all.inst_every,order_no))", "0"),
            step("order_weight", "weight", "IF(order_u>0,1/order_u^2,0)"),
            so_far("order_sum_weight", "order_weight"),
            so_far("order_sum_date", "order_weight*order_date"),
            so_far("order_sum_offset", "order_weight*order_offset"),
            running("order_range", f'IF(({same})*(order_left=0),'
                    'ABS(order_offset-above.order_offset),"")', '""'),
            step("order_from_date", "days from the mean", from_level("date")),
            step("order_from_offset", "offset from the mean", from_level("offset")),
            step("order_spread", "of dates", "order_weight*order_from_date^2"),
            step("order_with", "offset with date",
                 "order_weight*order_from_date*order_from_offset"),
            step("order_x", "picture: date", f"IF({chosen},order_date,NA())", format=styles.DATE),
            step("order_y", "picture: offset", f"IF({chosen},order_offset,NA())"),
            step("order_up", "picture: ±", f"IF({chosen},order_offset+2*order_u,NA())"),
            step("order_down", "picture: ±", f"IF({chosen},order_offset-2*order_u,NA())"),
            step("order_high", "picture: put up with", f"IF({chosen},order_limit,NA())"),
            step("order_low", "picture: put up with", f"IF({chosen},-order_limit,NA())"),
            *(
                step(f"order_{which}", "picture: control limit",
                     f"IF(({chosen})*ISNUMBER(INDEX(all.history_{limit},chart_no)),"
                     f"INDEX(all.history_{limit},chart_no),NA())")
                for which, limit in (("upper", "high"), ("lower", "low"))
            ),
        ),
        beside=True,
    )  # fmt: skip


def _state(choices: words.Choices) -> Table:
    """How each instrument stands, and how it moved."""
    # Up to the end of that day: a check dated ahead is not in force yet.
    last = f"LOOKUP(inst_no*{PER_INSTRUMENT}+INT(state_as_of)+0.9999,all.order_key)"
    limits = f"history_ranges>={_LEAST_RANGES}"
    factor = control.E2

    def in_force(what: str) -> str:
        return (f"IF(INT(state_key/{PER_INSTRUMENT})=inst_no,"
                f'LOOKUP(state_key,all.order_key,all.order_{what}),"")')  # fmt: skip

    interval = (f'IF(({word("interval_by_history")}="{words.YES}")*(history_all>0),'
                "state_interval,inst_every)")  # fmt: skip
    return Table(
        "state",
        choices.instruments,
        high=13,
        gap=0,
        parts=(
            result("state_name", "Instrument", "of Setup", 19, styles.GENERAL, "inst_key"),
            result("state_date", "Last check", "", 11, styles.DATE, in_force("date")),
            result("state_offset", "Correction in use", "", 9, styles.SG, in_force("offset")),
            result("state_expanded", "± of it", "about 95 %", 8, styles.SG,
                   if_numbers(["state_u"], "2*state_u")),
            result("state_slope", "Slope in use", "", 9, styles.SG, in_force("slope")),
            result("state_days", "Days since", "that check", 9, styles.WHOLE,
                   if_numbers(["state_date"], "INT(state_as_of)-INT(state_date)")),
            result("state_drift", "Drift in 30 days", "adjustments left out", 9, styles.SG,
                   'IF(history_spread>0,30*history_with/history_spread,"")'),
            result("state_drift_expanded", "± of it", "about 95 %", 9, styles.SG,
                   'IF(history_spread>0,60/SQRT(history_spread),"")'),
            result("state_interval", "Check every", "days, by history", 10, styles.WHOLE, cases(
                # Without a check before that day there is none in its order either.
                ('inst_is=""', '""'), ('state_date=""', "inst_every"),
                otherwise="LOOKUP(state_key,all.order_key,all.order_interval)")),
            result("state_due", "Next check due", "", 9, styles.DATE,
                   if_numbers(["state_date"], f"INT(state_date)+ROUND({interval},0)")),
            result("state_control", "Found so far", "", 10, styles.GENERAL, cases(
                ('inst_is=""', '""'), (f"history_ranges<{_LEAST_RANGES}", '"few checks"'),
                ("history_outside=0", '"in control"'),
                otherwise='history_outside&" outside"')),
            result("state_status", "State", "judged with its ±", 12, styles.GENERAL, cases(
                ('inst_is=""', '""'), ('state_date=""', '"not checked"'),
                otherwise="CALIBRATION_STATUS(state_offset,inst_tolerance,state_days,"
                          f'IF(inst_is="","",{interval}),state_u)&""')),
            step("state_key", "last check", f"IFERROR({last},-1)"),
            step("state_u", "u of offset", in_force("u")),
            step("state_centre", "centre", in_force("centre")),
            step("state_u_slope", "u of slope", in_force("u_slope")),
            step("history_all", "checks", "COUNTIF(all.order_no,inst_no)", by_line=True),
            step("history_ranges", "moving ranges",
                 'COUNTIFS(all.order_no,inst_no,all.order_range,">=0")', by_line=True),
            step("history_range", "mean range", "IF(history_ranges=0,0,"
                 "SUMIF(all.order_no,inst_no,all.order_range)/history_ranges)", by_line=True),
            step("history_found", "as found", "COUNTIFS(all.order_no,inst_no,all.order_left,0)",
                 by_line=True),
            step("history_mean", "mean offset", "IF(history_found=0,0,SUMIFS(all.order_offset,"
                 "all.order_no,inst_no,all.order_left,0)/history_found)", by_line=True),
            step("history_far", "limits from the mean",
                 # And a hair: a criterion is a text, which keeps 15 digits of a number.
                 f"{factor:.4f}*history_range*1.000000001+0.000000001"),
            step("history_outside", "outside limits", "+".join(
                f'COUNTIFS(all.order_no,inst_no,all.order_offset,"{side}"&(history_mean{far}'
                "history_far))" for side, far in ((">", "+"), ("<", "-"))), by_line=True),
            step("history_low", "control limit",
                 f'IF({limits},history_mean-{factor:.4f}*history_range,"")'),
            step("history_high", "control limit",
                 f'IF({limits},history_mean+{factor:.4f}*history_range,"")'),
            step("history_spread", "spread of dates",
                 "SUMIF(all.order_no,inst_no,all.order_spread)", by_line=True),
            step("history_with", "offset with date",
                 "SUMIF(all.order_no,inst_no,all.order_with)", by_line=True),
        ),
    )  # fmt: skip


def _picture() -> Chart:
    return Chart(
        "scatter",
        "Correction found at each check, and its ±",
        "shown less true",
        (
            Trace("found", "order_y", "order_x", line=True),
            Trace("+ ±", "order_up", "order_x", marker="dash"),
            Trace("− ±", "order_down", "order_x", marker="dash"),
            Trace("put up with", "order_high", "order_x", limit=True),
            Trace("put up with, below", "order_low", "order_x", limit=True),
            Trace("control limit", "order_upper", "order_x", fine=True),
            Trace("control limit, below", "order_lower", "order_x", fine=True),
        ),
        (15.2, 5.2),
        12,
        gap=0,
        x_title="date of check",
        x_format=styles.DATE,
        y_format="0.00",
    )


def _budget() -> tuple[Block, ...]:
    """What each source adds to the ± of a gravity, largest first."""

    def of(what: str) -> str:
        return f"INDEX(all.inst_{what},chart_no)"

    def in_force(what: str, otherwise: str) -> str:
        return (f"IF(ISNUMBER(INDEX(all.state_{what},chart_no)),"
                f"INDEX(all.state_{what},chart_no),{otherwise})")  # fmt: skip

    prism = f'{of("is")}="{words.REFRACTOMETER}"'

    def moved(source: str) -> str:
        return f'(budget_source="{source}")'

    typed_ = Lines(
        (
            Line("chart_instrument", "Picture and ± of", "blank: the first",
                 limits=Limits.listed("inst_name", "An instrument of Setup")),
            Line("budget_reading", "± of a reading of", "of that one",
                 styles.READING, limits=Limits.between(-1, 45, "A reading of the instrument")),
            Line("budget_temperature", '="Sample, °"&unit_temperature', "blank: 20 °C",
                 styles.TEMPERATURE, limits=Limits.temperature(70, "Temperature of the sample")),
            Line("budget_u_cloud", "Cloudiness blurs by", "blank: 0",
                 styles.READING, limits=Limits.between(0, 5, "In the scale of the instrument")),
            Line("budget_answer", "± about 95 %", "SG",
                 formula='IF(budget_all="","",2*budget_all)', format=styles.SG),
            Line("interval_by_history", "Intervals by history", "yes: as found",
                 value=words.NO, limits=Limits.among(words.YES, words.NO)),
        ),
        label=2, cell=2, note=1, column=13, beside=True,
    )  # fmt: skip
    steps = Steps({
        "budget_shown": f'IF(budget_reading="","",IF({of("in")}="SG",IF({prism},'
                        'GRAVITY_CONVERT(budget_reading,"SG","Brix"),budget_reading),'
                        f'IF({prism},budget_reading,GRAVITY_CONVERT(budget_reading,"Plato","SG"))))',
        "budget_c": celsius("budget_temperature", f"{ROOM:g}"),
        "budget_offset": in_force("offset", "0"),
        "budget_slope": in_force("slope", "1"),
        "budget_u": in_force("u", of("tolerance")),
        "budget_centre": in_force("centre", "0"),
        "budget_u_slope": in_force("u_slope", f"IF({prism},{UNCHECKED_SLOPE_U},0)"),
        "budget_u_cal": "SQRT(N(budget_u)^2+((N(budget_shown)-budget_centre)*budget_u_slope)^2)",
        "budget_all": f'IF(COUNT(all.budget_effect)={len(_SOURCES)},'
                      'SQRT(SUMSQ(all.budget_effect)),"")',
    })  # fmt: skip
    table = Table(
        "budget",
        len(_SOURCES) + 1,
        (
            result("share_source", "Source", "largest first", 11.5, styles.GENERAL,
                   'IF((budget_all="")+(budget_rank>COUNT(all.budget_effect))>0,"",INDEX(all.budget_source,MATCH('
                   "share_u,all.budget_effect,0)))", by_line=True),
            result("share_u", "±, one u", "SG", 11, styles.FINE_SG,
                   'IF((budget_all="")+(budget_rank>COUNT(all.budget_effect))>0,"",LARGE(all.budget_effect,budget_rank))',
                   by_line=True),
            result("share_part", "Share", "of the square", 15.9, "0%",
                   if_numbers(["share_u"], "IF(budget_all=0,0,(share_u/budget_all)^2)"), bar=True),
            Column("budget_source", "budget_source", "moved", 12, role=Role.STEP,
                   values=("nothing", *_SOURCES)),
            step("budget_rank", "rank", place("budget", "budget_source")),
            step("budget_moved", "shown", number_or_text("budget_shown", "budget_shown"
                 f"+{moved('reading')}*N({of('u')})+{moved('calibration')}*budget_u_cal"
                 f"+{moved('cloudiness')}*N(budget_u_cloud)*{of('per')}")),
            step("budget_warm", "°C", f"budget_c+{moved('temperature')}*u_celsius"),
            step("budget_brix", "°Bx", f'IF({prism},REFRACTOMETER_BRIX(budget_moved,'
                 f'IF({of("auto")}=1,"",budget_warm),budget_offset,budget_slope),"")'),
            step("budget_sg", "SG", f"IF({prism},WORT_SG(budget_brix,wort_factor"
                 f"+{moved('wort factor')}*u_wort_factor),HYDROMETER_SG(IF(ISNUMBER(budget_moved),"
                 f"budget_moved-budget_offset,budget_moved),budget_warm,{of('ref_c')}))"),
            # A hair for each line, so that equal ones keep their order.
            step("budget_effect", "u of SG",
                 'IF(ISNUMBER(budget_sg)*(budget_source<>"nothing"),ABS(budget_sg-INDEX('
                 "all.budget_sg,1))+"
                 f"({len(_SOURCES) + 9}-{place('budget', 'budget_source')})/10^13,"
                 '"")'),
        ),
        high=13,
        column=10,
        beside=True,
    )  # fmt: skip
    return table, typed_, steps
