"""Own factors: drops and jars of one sample, found in the log, and the factors they teach.

Pairs of unfermented wort give the wort factor, fermented ones the correction for alcohol.  What all
pairs share, the calibration of their instruments, no number of pairs makes smaller: it is added to
the uncertainty of each factor.
"""

from __future__ import annotations

from xlfuncs.science.beer_fit import OUTLIER
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Chart,
    Column,
    Group,
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
from xlfuncs.workbook.kit.formulas import cases, if_numbers, on_line, on_scale, plotted, shown

#: Lines of the list; so many are kept for pairs of wort where beers would fill it.
PAIRS, WORTS = 40, 16
#: With fewer pairs than this, what is believed beforehand still holds the factors for beer.
FEW = 6
#: Lines in the pictures that far from equality: two divisions of a common hydrometer.
BAND_SG, BAND_PLATO = 0.002, 0.5
_KINDS = ("wort", "beer")


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.FACTORS,
        "Your own wort factor and your own correction for alcohol, from drops and jars of one "
        "sample that stand in the log.",
        "Read a drop and a jar of the same sample, settled and free of gas, within six hours, at "
        "one stage of one batch: that is a pair. “yes” under Leave out in the log takes a line "
        "out. Setup chooses the factors that are used.",
        (
            Text("=factors_answer", styles.ANSWER, name="factors_says", lines=1.2),
            Text("=factors_beer", styles.TEXT, name="factors_beer_says", gap=0, lines=1.8),
            Text("=factors_doubt", styles.CAUTION, name="factors_doubt_says", gap=0, lines=1.2),
            _summary(choices.fine_gravity_format),
            *_pictures(choices),
            Section("The pairs, latest first"),
            _pairs(choices),
            _band(),
            Steps(_cells(choices), {
                ("wort_fit_factor", "wort_fit_u", "wort_fit_pairs", "wort_fit_error"):
                    "WORT_FACTOR_FIT(all.match_wort_brix_1,all.match_fit_wort)",
                ("beer_fit_factor", "beer_fit_alcohol", "beer_fit_u", "beer_fit_u_alcohol",
                 "beer_fit_error", "beer_fit_error_common", "beer_fit_pairs"):
                    "BEER_FIT(all.match_fit_original,all.match_fit_brix,all.match_fit_jar)",
            }),
        ),
        widths=(7, 11, 14, 8, 9, 9, 9, 9, 9, 40),
        parts=(
            ReportPart("pairs", {"says": "factors_says", "beer": "factors_beer_says",
                                 "doubt": "factors_doubt_says"}, title="Own factors"),
            ReportPart("own_factors", {
                "kind": "fact_kind", "pairs": "fact_pairs", "factor": "fact_factor",
                "expanded": "fact_expanded", "alcohol_factor": "fact_alcohol",
                "alcohol_expanded": "fact_alcohol_expanded", "error": "fact_error",
                "common_error": "fact_common_error", "suspicious": "fact_suspicious",
            }, keep=("pairs",)),
            ReportPart("pair_list", {
                "kind": "match_kind", "date": "match_date", "batch": "match_batch",
                "brix": "match_brix", "hydrometer": "match_scaled_1",
                "common": "match_scaled_2", "own": "match_scaled_3",
                "difference": "match_difference", "expanded": "match_expanded",
                "remark": "match_remark",
            }, keep=("kind",)),
        ),
    )  # fmt: skip


def _summary(fine: str) -> Table:
    """What the pairs teach, a line for wort and one for beer."""

    def either(wort: str, beer: str) -> str:
        return f"IF(fact_no=1,{wort},{beer})"

    def known(cell: str) -> str:
        return f'IF(ISNUMBER({cell}),2*{cell},"")'

    def error(cell: str) -> str:
        return f'IF(ISNUMBER({cell}),{cell}*factor_per,"")'

    return Table(
        "fact",
        len(_KINDS),
        (
            Column("fact_kind", "Pairs of", "", 7, role=Role.FIXED, values=_KINDS),
            result("fact_pairs", "Pairs", "that count", 11, styles.WHOLE,
                   either("factor_worts_ok", "factor_beers_ok")),
            result("fact_factor", "Wort factor", "your own", 15, "0.000",
                   either("own_wort_factor", "own_beer_wort_factor")),
            result("fact_expanded", "±", "about 95 %", 9, "0.000",
                   either(known("own_u_wort_factor"), known("own_beer_u_wort_factor"))),
            result("fact_alcohol", "Alcohol factor", "your own", 10, "0.000",
                   either('""', "own_alcohol_factor")),
            result("fact_alcohol_expanded", "±", "about 95 %", 10, "0.000",
                   either('""', known("beer_fit_u_alcohol"))),
            result("fact_error", "Typical error", '="own, "&unit_gravity', 10, fine,
                   either(error("wort_fit_error"), error("beer_fit_error"))),
            result("fact_common_error", "Typical error", '="common, "&unit_gravity', 10, fine,
                   either(error("factor_wort_common"), error("factor_beer_common"))),
            result("fact_suspicious", "Sus-\npicious", "pairs", 9, styles.WHOLE,
                   "IF(fact_pairs=0,\"\","
                   + either("SUM(all.match_far)-SUM(all.match_far_beer)",
                            "SUM(all.match_far_beer)") + ")"),
            result("fact_used", "Setup uses", "", 31, styles.GENERAL, either(
                f'IF(wort_own,"your own factor","the common factor, "&'
                f'{shown("wort_factor", 3)})',
                'IF(beer_own,"your own factors",factors_given)')),
            Column("fact_no", "fact_no", "1: wort", 12, role=Role.STEP, values=(1, 2)),
        ),
    )  # fmt: skip


def _pairs(choices: words.Choices) -> Table:
    """The list: what was read, what both corrections make of it, and what is left between them."""
    fine = choices.fine_gravity_format
    signed = f"+{fine};-{fine};{fine}"
    digits = choices.fine_gravity_digits
    best = "IF(ISNUMBER(match_scaled_3),match_scaled_3,match_scaled_2)"
    return Table(
        "match",
        PAIRS,
        (
            result("match_kind", "Pair of", "", 7, styles.GENERAL, cases(
                ("match_at=0", '""'), ("match_beer=1", '"beer"'), otherwise='"wort"')),
            result("match_date", "Date", "", 11, styles.DATE, _of("line_date")),
            result("match_batch", "Batch", "", 15, styles.GENERAL, _of("log_batch")),
            result("match_brix", "Drop", "true °Bx", 9, styles.TWO, _of("line_brix")),
            # Gravities of jar and drop in the unit of Setup, by one call.
            Group("match_scaled", (
                Column("match_scaled_1", "Jar", "=unit_gravity", 10, fine, role=Role.RESULT),
                Column("match_scaled_2", "Drop, common", "=unit_gravity", 10, fine,
                       role=Role.RESULT),
                Column("match_scaled_3", "Drop, own", "=unit_gravity", 10, fine,
                       role=Role.RESULT)), on_scale("match_pair")),
            result("match_difference", "Drop less jar", "=unit_gravity", 10, signed,
                   if_numbers(["match_scaled_1", "match_scaled_2"],
                              f"ROUND({best}-match_scaled_1,{digits})")),
            result("match_expanded", "±", "of both readings", 9, fine,
                   if_numbers(["match_difference", "match_u"], "2*match_u*factor_per")),
            result("match_remark", "Remark", "", 31, styles.GENERAL, cases(
                ("match_at=0", '""'),
                ('match_lack<>""', '"does not count: "&match_lack'),
                ("match_far=1", '"suspicious: a slip? read again"')), by_line=True),
            *_steps(),
            *_plotted(),
        ),
        high=11.7,
        gap=0,
    )  # fmt: skip


def _of(what: str) -> str:
    """What the pair's line in the log holds."""
    return on_line("match_at", "line_no", what)


def _steps() -> tuple[Column | Group, ...]:
    """From the lines of the log to the pairs that count, and how far each is apart."""
    beer = "(match_beer=1)*(match_at>0)"
    best = (
        "IF(match_beer=1,IF(ISNUMBER(own_beer_wort_factor),own_beer_wort_factor,"
        "common_beer_factor),IF(ISNUMBER(own_wort_factor),own_wort_factor,common_factor))"
    )
    drop = 'IF(ISNUMBER(match_u_brix),match_brix-match_u_brix,"")'
    return (
        Column("match_no", "match_no", "line", 12, role=Role.STEP, values=range(1, PAIRS + 1)),
        step("match_beer", "1: beer", "(match_no>factor_worts)*1"),
        step("match_key", "moment", "IFERROR(IF(match_beer=1,LARGE(all.pair_beer_key,match_no"
             "-factor_worts),LARGE(all.pair_wort_key,match_no)),-1)", by_line=True),
        step("match_at", "line of the log", "IFERROR(IF(match_beer=1,MATCH(match_key,"
             "all.pair_beer_key,0),MATCH(match_key,all.pair_wort_key,0)),0)", by_line=True),
        step("match_jar", "jar, SG", _of("pair_sg")),
        step("match_u_jar", "its u", _of("pair_u")),
        step("match_u_check", "u of the jar's correction", _of("pair_u_check")),
        step("match_u_cal", "u of the drop's correction, °Bx", _of("line_u_cal")),
        step("match_u_drop", "u of the drop, °Bx", _of("line_u_drop")),
        step("match_u_brix", "u of the drop, all, °Bx", if_numbers(
            ["match_u_cal", "match_u_drop"], "SQRT(match_u_drop^2+match_u_cal^2)")),
        step("match_original", "original of beer, SG", f'IF({beer},{_of("line_original")},"")'),
        step("match_planned", "1: it is a plan", _of("line_planned")),
        step("match_beer_brix", "of beer, °Bx", f'IF({beer},match_brix,"")'),
        step("match_common_beer", "common factors, SG",
             'BEER_SG(match_original,match_beer_brix,common_beer_factor,"balance",'
             "common_alcohol_factor)"),
        step("match_lack", "why it does not count", f"IF({beer}," + cases(
            ("NOT(ISNUMBER(match_original))", '"original gravity is missing"'),
            ("match_planned=1", '"original gravity not measured"'),
            ("NOT(ISNUMBER(match_common_beer))", "MID(match_common_beer,3,80)"),
        ) + ',"")'),
        step("match_ok", "1: counts", '(match_at>0)*(match_lack="")'),
        step("match_fit_original", "counts, SG", f'IF({beer}*match_ok=1,match_original,"")'),
        step("match_fit_brix", "counts, °Bx", f'IF({beer}*match_ok=1,match_brix,"")'),
        step("match_fit_wort", "of wort, SG", 'IF(match_beer=0,match_jar,"")'),
        step("match_fit_jar", "counts, SG", f'IF({beer}*match_ok=1,match_jar,"")'),
        Group("match_two", (step("match_two_1", "°Bx", "match_brix"),
                            step("match_two_2", "one u less", drop))),
        step("match_best", "best known factor", best),
        Group("match_wort_brix", (
            step("match_wort_brix_1", "°Bx", 'IF(match_beer=0,match_brix,"")'),
            step("match_wort_brix_2", "°Bx", 'IF(match_beer=0,match_two_1,"")'),
            step("match_wort_brix_3", "°Bx", 'IF(match_beer=0,match_two_2,"")'))),
        Group("match_wort_by", (
            step("match_wort_by_1", "common", "common_factor+0*match_no"),
            step("match_wort_by_2", "best known", "match_best"),
            step("match_wort_by_3", "best known", "match_best"))),
        Group("match_wort", (
            step("match_wort_1", "common, SG", ""),
            step("match_wort_2", "best known, SG", ""),
            step("match_wort_3", "one u less, SG", "")),
            "WORT_SG(match_wort_brix,match_wort_by)"),
        Group("match_drink", (
            step("match_drink_1", "best known, SG", ""),
            step("match_drink_2", "one u less, SG", "")),
            'BEER_SG(match_fit_original,IF(match_fit_brix="","",match_two),match_best,"balance",'
            "IF(ISNUMBER(own_alcohol_factor),own_alcohol_factor,common_alcohol_factor))"),
        step("match_sg", "best known, SG", "IF(match_beer=1,match_drink_1,match_wort_2)"),
        step("match_less", "one u less, SG", "IF(match_beer=1,match_drink_2,match_wort_3)"),
        step("match_common", "common, SG", "IF(match_beer=1,match_common_beer,match_wort_1)"),
        Group("match_pair", (
            step("match_pair_1", "jar, SG", 'IF(ISNUMBER(match_jar),match_jar,"")'),
            step("match_pair_2", "common, SG", 'IF(ISNUMBER(match_common),match_common,"")'),
            step("match_pair_3", "own, SG", "IF(ISNUMBER(match_sg)*IF(match_beer=1,"
                 'ISNUMBER(own_beer_wort_factor),ISNUMBER(own_wort_factor)),match_sg,"")'))),
        step("match_u", "u of both readings, SG", if_numbers(
            ["match_sg", "match_less", "match_u_jar"],
            "SQRT((match_sg-match_less)^2+match_u_jar^2)")),
        step("match_far", f"1: over {OUTLIER:g} u apart", "IF((match_ok=1)*ISNUMBER(match_u),"
             f"(ABS(N(match_sg)-match_jar)>{OUTLIER:g}*match_u)*1,0)", by_line=True),
        step("match_far_beer", "of beer", "match_far*match_beer"),
        step("match_wort_off", "common less jar", "IF((match_ok=1)*(match_beer=0)"
             '*ISNUMBER(match_common),match_common-match_jar,"")'),
        step("match_wort_jar", "jar, counts",
             'IF((match_ok=1)*(match_beer=0),match_scaled_1,"")'),
        step("match_beer_jar", "jar, counts",
             'IF((match_ok=1)*(match_beer=1),match_scaled_1,"")'),
        step("match_beer_off", "common less jar", "IF((match_ok=1)*(match_beer=1)"
             '*ISNUMBER(match_common),match_common-match_jar,"")'),
        # What the pairs share, as a share of what was read.
        step("match_share_drop", "of the drop",
             "IF((match_ok=1)*ISNUMBER(match_u_cal)*(N(match_brix)>0),match_u_cal/match_brix,\"\")",
             by_line=True),
        step("match_share_jar", "of the jar", "IF((match_ok=1)*ISNUMBER(match_u_check)*"
             "(N(match_jar)>1),match_u_check/(match_jar-1),\"\")", by_line=True),
    )  # fmt: skip


def _plotted() -> tuple[Column, ...]:
    """What the pictures show, in the unit of Setup."""
    columns = []
    for kind, number in (("wort", 0), ("beer", 1)):
        here = f"(match_ok=1)*(match_beer={number})"
        columns.append(step(f"drawn_{kind}_x", "picture: jar", plotted("match_scaled_1", here)))
        for which, at in (("common", 2), ("own", 3)):
            both = f"{here}*ISNUMBER(match_scaled_{at})"
            columns.append(step(f"drawn_{kind}_{which}", "picture: less jar",
                                f"IF({both},match_scaled_{at}-match_scaled_1,NA())"))  # fmt: skip
    return tuple(columns)


def _band() -> Table:
    """The ends of the lines in both pictures."""

    def ends(kind: str) -> str:
        return (f"IF(COUNT(all.match_{kind}_jar)=0,NA(),IF(band_no=1,"
                f"MIN(all.match_{kind}_jar),MAX(all.match_{kind}_jar)))")  # fmt: skip

    wide = f'IF(unit_gravity="SG",{BAND_SG},{BAND_PLATO})'
    return Table(
        "band",
        2,
        (
            Column("band_no", "band_no", "end", 12, role=Role.STEP, values=(1, 2)),
            step("band_wort", "picture: jar", ends("wort"), by_line=True),
            step("band_beer", "picture: jar", ends("beer"), by_line=True),
            step("band_zero", "picture: equal", "0*band_no"),
            step("band_high", "picture: band", f"{wide}+0*band_no"),
            step("band_low", "picture: band", f"0*band_no-{wide}"),
        ),
        beside=True,
    )  # fmt: skip


def _pictures(choices: words.Choices) -> tuple[Chart, Chart]:
    wide = f"{BAND_PLATO} °P" if choices.gravity == "plato" else f"{BAND_SG}"

    def picture(kind: str, heading: str, column: int, beside: bool) -> Chart:
        return Chart(
            "scatter",
            heading,
            "drop less jar",
            (
                Trace("equal", "band_zero", f"band_{kind}", marker="none", line=True),
                Trace(f"+ {wide}", "band_high", f"band_{kind}", limit=True),
                Trace(f"− {wide}", "band_low", f"band_{kind}", limit=True),
                Trace("common", f"drawn_{kind}_common", f"drawn_{kind}_x", marker="x"),
                Trace("own", f"drawn_{kind}_own", f"drawn_{kind}_x"),
            ),
            (11.2, 5.1),
            10,
            x_title="jar",
            x_format="0" if choices.gravity == "plato" else "0.000",
            y_format="0.0" if choices.gravity == "plato" else "0.000",
            column=column,
            beside=beside,
        )  # fmt: skip

    return (
        picture("wort", "What is left: wort", 1, beside=False),
        picture("beer", "What is left: beer, corrected", 7, beside=True),
    )


def _cells(choices: words.Choices) -> dict[str, str]:
    """Counts, factors with what all pairs share, and what is said of them."""
    digits = choices.fine_gravity_digits
    worts, beers = "COUNT(all.pair_wort_key)", "COUNT(all.pair_beer_key)"

    def shared(fit: str, factor: str, of: str) -> str:
        return f'IF(ISNUMBER({fit}),SQRT({fit}^2+({factor}*{of})^2),"")'

    def mean(column: str, beer: int) -> str:
        return f"IFERROR(AVERAGEIF(all.match_beer,{beer},all.{column}),0)"

    def common(kind: str) -> str:
        return (f'IF(COUNT(all.match_{kind}_off)=0,"",'
                f"SQRT(SUMSQ(all.match_{kind}_off)/COUNT(all.match_{kind}_off)))")  # fmt: skip

    def count(cell: str) -> str:
        return f'{cell}&IF({cell}=1," pair"," pairs")'

    better = f"(factor_beers_ok>={FEW})*(N(beer_fit_error)<N(factor_beer_common))"
    return {
        "factor_per": f'IF(unit_gravity="SG",1,1/{defaults.SG_PER_PLATO:g})',
        "factor_worts": f"MIN({worts},MAX({WORTS},{PAIRS}-{beers}))",
        "factor_worts_ok": "SUM(all.match_ok)-factor_beers_ok",
        "factor_beers_ok": "COUNT(all.match_fit_brix)",
        "factor_more": f"MAX(0,{worts}+{beers}-{PAIRS})",
        "factor_wort_common": common("wort"),
        "factor_beer_common": common("beer"),
        # The correction of one instrument is common to all pairs read with it (JCGM 100, 5.2.2):
        # it is added in full, to first order as if all of it went into the factor.
        "factor_wort_drop": mean("match_share_drop", 0),
        "factor_wort_jar": mean("match_share_jar", 0),
        "factor_beer_drop": mean("match_share_drop", 1),
        "factor_beer_jar": mean("match_u_check", 1),
        "own_wort_factor": 'IF(ISNUMBER(wort_fit_pairs),wort_fit_factor,"")',
        "own_u_wort_factor": shared("wort_fit_u", "own_wort_factor",
                                    "SQRT(factor_wort_drop^2+factor_wort_jar^2)"),
        "own_beer_wort_factor": 'IF(ISNUMBER(beer_fit_pairs),beer_fit_factor,"")',
        "own_beer_u_wort_factor": shared("beer_fit_u", "own_beer_wort_factor",
                                         "factor_beer_drop"),
        "own_alcohol_factor": 'IF(ISNUMBER(beer_fit_pairs),beer_fit_alcohol,"")',
        # Against the hydrometer, by the factors in use; and what the hydrometer's own may be.
        "own_model_error": f'IF(factor_beers_ok<{FEW},"",SQRT(IF(beer_own,beer_fit_error,'
                           "factor_beer_common)^2+factor_beer_jar^2))",
        "factors_answer": cases(
            ("factor_worts_ok=0", '"No pairs of wort yet: the common wort factor is in use."'),
            ("NOT(ISNUMBER(own_wort_factor))", '"No wort factor: "&MID(wort_fit_factor,3,90)'),
            otherwise="factors_wort&factors_wort_choice"),
        "factors_wort": if_numbers(
            ["own_wort_factor"],
            f'"Your wort factor: "&{shown("own_wort_factor", 3)}&" ± "&'
            f'{shown("2*own_u_wort_factor", 3)}&", from "&{count("factor_worts_ok")}'),
        "factors_wort_choice": "IF(own_u_wort_factor<common_u_factor,IF(wort_own,\", in use\","
                               '", surer than the common one: choose it on Setup"),'
                               '", no surer yet than the common "&factors_common)',
        "factors_given": f'"the "&beer_given&" ones, "&{shown("common_beer_factor", 3)}&" and "&'
                         f'{shown("common_alcohol_factor", 2)}',
        "factors_common": f'{shown("common_factor", 3)}&" ± "&{shown("2*common_u_factor", 3)}',
        "factors_beer": cases(
            ("factor_beers_ok=0", '"No pairs of beer yet: nothing here tells how well the "&'
                                  'beer_given&" factors suit your beer."'),
            ("NOT(ISNUMBER(own_beer_wort_factor))",
             '"No fit for beer: "&MID(beer_fit_factor,3,90)'),
            otherwise='"Beer, "&factors_beer_of&factors_beer_errors&factors_beer_choice'),
        "factors_beer_of": f'{count("factor_beers_ok")}&": "&IF(factor_beers_ok<{FEW},'
                           '"so few lean on the common factors; ","")',
        "factors_beer_error": if_numbers(
            ["beer_fit_error"],
            f'"typical error ± "&{shown("beer_fit_error*factor_per", digits)}&" "&unit_gravity&'
            '" by your own factors, ± "'),
        "factors_beer_errors": 'IF(factors_beer_error="","",factors_beer_error&'
                               + shown("factor_beer_common*factor_per", digits)
                               + '&" by the "&beer_given&" ones. ")',
        "factors_beer_choice": f'IF({better},IF(beer_own,"Your own are in use.","Your own do '
                               'better: choose them on Setup."),IF(beer_own,"Your own are in use, '
                               'though they do no better yet.","Keep the "&beer_given&" ones."))',
        "factors_doubt": '"Do not decide packaging on a refractometer alone."&factors_far&'
                         'factors_rest',
        "factors_far": f'IF(SUM(all.match_far)=0,""," "&SUM(all.match_far)&" suspicious: over '
                       f'{OUTLIER:g} times what the readings allow; see the remarks.")',
        "factors_rest": f'IF(factor_more=0,""," The latest {PAIRS} count; "&factor_more&" older '
                        'do not.")',
    }  # fmt: skip
