"""Paired readings: refractometer against hydrometer on the same beer, and what they teach."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.science.beer import ALCOHOL_FACTOR
from xlfuncs.science.beer_fit import OUTLIER
from xlfuncs.workbook import charts, correction, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Limits, Table

PAIRS = 40

#: With fewer pairs than this, what is believed beforehand still holds the factors.
FEW = 6
#: Lines in the picture that far from equality, SG: two divisions of a common hydrometer.
BAND = 0.002

_FIT = (
    "wort_factor",
    "alcohol_factor",
    "u_wort_factor",
    "u_alcohol_factor",
    "error",
    "error_of_1_04",
    "pairs",
)

_SENTENCE, _FAR = 5, 6  # rows
_FIT_TOP, _CHART_TOP, _TOP = 8, 12, 32
_RESULTS, _STEPS = 12, 23  # first columns
_LAST = "U"  # last printed column


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of pairs."""
    sheet = book.create_sheet(words.PAIRS)
    layout.title(
        sheet,
        "Pairs",
        "The same beer, free of gas, read on a refractometer and in a hydrometer jar: this teaches "
        "the correction your brewery's own factors. Choose beers of many strengths and stages. "
        "Fill a refractometer from a sample that has settled: haze blurs the line.",
        _LAST,
    )
    _fit(sheet)
    _trust(sheet)
    pairs = _inputs(sheet, choices)
    _results(sheet)
    _steps(sheet)
    layout.page(sheet, paper, f"A1:{_LAST}{pairs.last}", repeat=f"{_TOP}:{_TOP + 1}",
                landscape=True)  # fmt: skip
    sheet.freeze_panes = "A3"
    return pairs


def _fit(sheet: Worksheet) -> None:
    """The fitted factors and their errors, in one line."""

    def result(key: str, heading: str, hint: str, formula: str, number_format: str) -> Column:
        return Column(key, heading, hint, 11, number_format, formula, styles.RESULT)

    def fitted(what: str) -> str:
        return f'IF(ISNUMBER(fitted_pairs),fitted_{what},"")'

    sheet[f"A{_SENTENCE - 1}"] = "What the pairs teach"
    sheet[f"A{_SENTENCE - 1}"].style = styles.SECTION
    Table(
        sheet,
        "fit",
        _FIT_TOP,
        1,
        (
            # Alone of its line it shows why there is no fit.
            result("wort_factor", "Wort factor", "fitted", "fitted_wort_factor", "0.000"),
            result(
                "u_wort_factor", "Wort factor", "standard uncertainty", fitted("u_wort_factor"),
                "0.000",
            ),
            result(
                "alcohol_factor", "Alcohol factor", "fitted", fitted("alcohol_factor"), "0.000"
            ),
            result(
                "u_alcohol_factor", "Alcohol factor", "standard uncertainty",
                fitted("u_alcohol_factor"), "0.000",
            ),
            result(
                "error", "Error, fitted", "SG, each pair by the others", fitted("error"), styles.SG
            ),
            result(
                "default_error", "Error, default", "SG, Setup's factor",
                'IF(SUM(match_ok)=0,"",SQRT(SUMSQ(match_default_difference)/SUM(match_ok)))',
                styles.SG,
            ),
            result("pairs", "Pairs", "that count", 'IF(SUM(match_ok)=0,"",SUM(match_ok))', "0"),
            result(
                "outliers", "Far apart", f"over {OUTLIER:g} deviations",
                'IF(SUM(match_ok)=0,"",SUM(match_far))', "0",
            ),
        ),
        left=2,
    ).write()  # fmt: skip


def _trust(sheet: Worksheet) -> None:
    """What may be trusted, and which pairs lie too far apart, in plain sentences."""

    def rounded(error: str) -> str:
        return f'"±"&MAX(0.0001,ROUND({error},4))&" SG"'

    count = 'fit_pairs&IF(fit_pairs=1," pair"," pairs")'
    better = f"(fit_pairs>={FEW})*(fit_error<fit_default_error)"
    sentence = (
        'IF(fit_pairs="","No pairs yet: nothing tells how well the default factors suit your '
        'beer. Do not decide packaging on a refractometer.",'
        f'{count}&": "&IF(ISNUMBER(fit_error),'
        f'IF(fit_pairs<{FEW},"so few lean on the default factors. ","")&'
        f'"within "&{rounded("fit_error")}&" of the hydrometer two times in three by the fitted '
        f'factors, "&{rounded("fit_default_error")}&" by the default ones. "&'
        f'IF({better},"The fitted factors do better. ","Keep the default factors. "),'
        f'"no fit; the default factors keep within "&{rounded("fit_default_error")}&" of the '
        'hydrometer two times in three. ")&"Do not decide packaging on this alone.")'
    )
    far = (
        'IF(fit_pairs="","",IF(fit_outliers=0,"No pair lies more than '
        f'{OUTLIER:g} standard deviations apart.","More than {OUTLIER:g} standard deviations apart '
        f'(a slip? read again, or leave out): "&match_far_last&"."))'
    )
    for row, key, formula, style in (
        (_SENTENCE, "pairs_sentence", sentence, styles.CAUTION),
        (_FAR, "pairs_far", far, styles.TEXT),
    ):
        cell = sheet[f"B{row}"]
        cell.value, cell.style = "=" + formula, style
        layout.merge(sheet, f"B{row}:{_LAST}{row}")
        layout.name(sheet, key, f"B{row}")
        sheet.row_dimensions[row].height = 18


def _inputs(sheet: Worksheet, choices: words.Choices) -> Table:
    temperature = layout.temperatures(
        70,
        "Temperature of the drop or jar, in the unit chosen on Setup",
    )
    instrument = Limits.listed("inst_name", "One of the instruments on the Setup sheet")
    reading = Limits.between(
        -1, 45, "What the instrument shows: °Brix, SG, or °Plato on a hydrometer"
    )
    sheet[f"A{_TOP - 1}"], sheet[f"A{_TOP - 1}"].style = "Paired readings", styles.SECTION

    def entered(
        key: str, heading: str, hint: str, width: float, form: str, limits: Limits
    ) -> Column:
        return Column(key, heading, hint, width, form, limits=limits)

    def instrument_columns(kind: str, key: str, hint: str) -> tuple[Column, ...]:
        return (
            entered(kind, kind.capitalize(), "choose", 19, styles.PLAIN, instrument),
            entered(key, "Reading", hint, 9, styles.READING, reading),
            entered(
                f"{key}_temperature", "Sample temperature", '="°"&unit_temperature', 11,
                styles.TEMPERATURE, temperature,
            ),
        )  # fmt: skip

    pairs = Table(
        sheet,
        "pair",
        _TOP,
        PAIRS,
        (
            Column("no", "Line", width=5, format=styles.WHOLE, style=styles.LABEL),
            entered("date", "Date", "time if known", 11, styles.DATE, layout.dates()),
            Column("beer", "Beer", "name and stage", width=18),
            entered(
                "original", "Original gravity", "=unit_gravity", 10, choices.gravity_format,
                layout.gravities("Gravity of the unfermented wort, in the unit chosen on Setup"),
            ),
            *instrument_columns(words.REFRACTOMETER, "shown_brix", "as shown"),
            *instrument_columns(words.HYDROMETER, "shown_sg", "SG or °Plato"),
            entered("use", "Count it", "blank: yes", 8, styles.PLAIN,
                    Limits.among(words.YES, words.NO)),
        ),
    ).write()  # fmt: skip
    for number in range(PAIRS):
        sheet[f"{pairs.letters['no']}{pairs.first + number}"] = number + 1
    return pairs


def _results(sheet: Worksheet) -> None:
    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    def expanded(of: str, u: str) -> Column:
        formula = f'IF(ISNUMBER(pair_{of}),IF(ISNUMBER({u}),2*{u},""),"")'
        key = f"{of.removesuffix('_sg')}_expanded"
        return result(key, "± about 95 %", "SG", 8, styles.SG, formula)

    remarks = (
        ('(pair_shown_brix="")+(pair_shown_sg="")>0', '""'),
        (f'pair_use="{words.NO}"', '"left out"'),
        ('pair_original=""', '"original gravity is missing"'),
        (f'(prism_no>0)*(prism_kind<>"{words.REFRACTOMETER}")', '"not a refractometer"'),
        (
            f"(glass_no>0)*(1-{correction.is_hydrometer('glass_kind')})",
            '"not a hydrometer"',
        ),
        ("match_far=1", f'"more than {OUTLIER:g} deviations apart"'),
        ('match_prism_lacks<>""', '"drop: "&match_prism_lacks'),
        ('match_glass_lacks<>""', '"jar: "&match_glass_lacks'),
    )
    remark = '""'
    for condition, text in reversed(remarks):
        remark = f"IF({condition},{text},{remark})"
    Table(
        sheet,
        "pair",
        _TOP,
        PAIRS,
        (
            result("brix", "True °Brix", "refractometer", 10, styles.DEGREES, "prism_brix"),
            result("sg", "Hydrometer", "SG 20/20", 10, styles.SG, "glass_floated_sg"),
            expanded("sg", "glass_floated_u"),
            result(
                "default_sg", "Corrected, default", "SG 20/20", 10, styles.SG,
                "BEER_SG(match_original_sg,prism_brix,wort_factor)",
            ),
            expanded("default_sg", "match_default_u"),
            result(
                "fitted_sg", "Corrected, fitted", "SG 20/20", 10, styles.SG,
                'IF(ISNUMBER(fitted_pairs),match_best_sg,"")',
            ),
            expanded("fitted_sg", "match_best_u"),
            result(
                "difference", "Less hydrometer", "best known, SG", 11, "+0.0000;-0.0000;0.0000",
                "IF(ISNUMBER(pair_default_sg)*ISNUMBER(pair_sg),"
                'IF(ISNUMBER(match_best_sg),match_best_sg,pair_default_sg)-pair_sg,"")',
            ),
            expanded("difference", "match_difference_u"),
            result("remark", "Remark", "", 33, styles.PLAIN, remark),
        ),
        left=_RESULTS,
    ).write()  # fmt: skip


def _steps(sheet: Worksheet) -> None:
    """The way from readings to pairs and from pairs to the fit, right of the printed page."""
    prism = Table(
        sheet,
        "prism",
        _TOP,
        PAIRS,
        (
            *correction.in_force("prism", "pair_refractometer", "pair_date"),
            correction.celsius("pair_shown_brix_temperature"),
            *correction.refractometer("prism", "pair_shown_brix"),
        ),
        left=_STEPS,
    ).write()
    glass = Table(
        sheet,
        "glass",
        _TOP,
        PAIRS,
        (
            *correction.in_force("glass", "pair_hydrometer", "pair_date"),
            correction.celsius("pair_shown_sg_temperature"),
            *correction.hydrometer("glass", "pair_shown_sg"),
        ),
        left=prism.left + len(prism.columns),
    ).write()
    match = _match(sheet, glass.left + len(glass.columns))
    equal = _regression(sheet)
    _chart(sheet, match, equal)


def _match(sheet: Worksheet, left: int) -> Table:
    """Which pairs count, how far each is apart, and what the picture shows of it."""

    def plotted(what: str) -> str:
        return f"IF((match_ok=1)*ISNUMBER({what}),{what},NA())"

    def fit_or(what: str, otherwise: str) -> str:
        return f"IF(ISNUMBER(fitted_pairs),fitted_{what},{otherwise})"

    match = Table(
        sheet,
        "match",
        _TOP,
        PAIRS,
        (
            correction.original("pair_original"),
            step(
                "prism_lacks",
                "Refractometer",
                "lacks",
                correction.lacks(
                    "prism",
                    "pair_refractometer",
                    "pair_date",
                    "pair_shown_brix",
                    "pair_shown_brix_temperature",
                ),
            ),
            step(
                "glass_lacks",
                "Hydrometer",
                "lacks",
                correction.lacks(
                    "glass",
                    "pair_hydrometer",
                    "pair_date",
                    "pair_shown_sg",
                    "pair_shown_sg_temperature",
                ),
            ),
            step(
                "ok",
                "Counts",
                "1: yes",
                f'ISNUMBER(pair_default_sg)*ISNUMBER(pair_sg)*(pair_use<>"{words.NO}")',
            ),
            step("sg", "Hydrometer", "SG, counted", 'IF(match_ok=1,pair_sg,"")'),
            step(
                "default_difference",
                "Default less hydrometer",
                "SG, counted",
                'IF(match_ok=1,pair_default_sg-pair_sg,"")',
            ),
            step(
                "u_brix",
                "Refractometer",
                "u, °Bx",
                "IF(ISNUMBER(prism_u_calibration),"
                'SQRT(prism_u_reading^2+prism_u_calibration^2),"")',
            ),
            step("best_sg", "Corrected", "best known, SG", ""),
            step("less_sg", "Corrected", "one u less, SG", ""),
            step(
                "u",
                "Difference",
                "u of SG, readings alone",
                "IF(ISNUMBER(match_best_sg)*ISNUMBER(match_less_sg)*ISNUMBER(glass_floated_u),"
                'SQRT((match_best_sg-match_less_sg)^2+glass_floated_u^2),"")',
            ),
            step("default_u", "Corrected, default", "u of SG", ""),
            step("best_u", "Corrected, best known", "u of SG", ""),
            step(
                "difference_u",
                "Difference",
                "u of SG",
                "IF(ISNUMBER(match_best_u)*ISNUMBER(glass_floated_u),"
                'SQRT(match_best_u^2+glass_floated_u^2),"")',
            ),
            step(
                "far",
                "Far apart",
                "1: yes",
                "IF(match_ok=1,IF(ISNUMBER(match_u),"
                f"IF(ABS(pair_difference)>{OUTLIER:g}*match_u,1,0),0),0)",
            ),
            step("far_named", "Far apart", "", ""),
            step("chart_sg", "Chart", "hydrometer", plotted("pair_sg")),
            step("chart_default", "Chart", "default", plotted("pair_default_sg")),
            step("chart_fitted", "Chart", "fitted", plotted("pair_fitted_sg")),
            step(
                "chart_default_off",
                "Chart",
                "default less hydrometer",
                "match_chart_default-match_chart_sg",
            ),
            step(
                "chart_fitted_off",
                "Chart",
                "fitted less hydrometer",
                "match_chart_fitted-match_chart_sg",
            ),
        ),
        left=left,
    ).write()
    # One call for both: as read, and read one standard uncertainty less.
    match.block(
        ("best_sg", "less_sg"),
        "BEER_SG(match_original_sg,"
        "IF({1,0},prism_brix,IF(ISNUMBER(prism_brix),prism_brix-match_u_brix,prism_brix)),"
        f'{fit_or("wort_factor", "wort_factor")},"balance",'
        f"{fit_or('alcohol_factor', f'{ALCOHOL_FACTOR:g}')})",
    )
    # One call for both: with Setup's factor, and with the best known.
    match.block(
        ("default_u", "best_u"),
        "BEER_SG_UNCERTAINTY(match_original_sg,prism_brix,"
        f"IF({{1,0}},wort_factor,{fit_or('wort_factor', 'wort_factor')}),match_u_brix,"
        f"IF({{1,0}},u_wort_factor,{fit_or('u_wort_factor', 'u_wort_factor')}))",
    )
    # Each line takes over the names of the lines above it.
    named, far = match.letters["far_named"], match.letters["far"]
    for row in range(match.first, match.last + 1):
        above = f"{named}{row - 1}" if row > match.first else '""'
        sheet[f"{named}{row}"] = (
            f'={above}&IF({far}{row}=1,IF({above}="","",", ")&"line "&A{row}'
            f'&IF(C{row}="",""," ("&C{row}&")"),"")'
        )
    layout.name(sheet, "match_far_last", f"{named}{match.last}")
    return match


def _regression(sheet: Worksheet) -> Table:
    """The fit itself, and the lines of the picture (given back), beside the summary."""

    def counted(what: str) -> str:
        return f'IF(match_ok=1,{what},"")'

    fitted = Table(
        sheet,
        "fitted",
        _FIT_TOP,
        1,
        tuple(step(key, "Fit", key.replace("_", " "), "") for key in _FIT),
        left=_STEPS,
    ).write()
    fitted.block(
        _FIT,
        f"BEER_FIT({counted('match_original_sg')},{counted('prism_brix')},match_sg)",
    )

    def ends(shift: str) -> str:
        both = f"IF({{1;2}}=1,MIN(match_sg)-{BAND},MAX(match_sg)+{BAND})"
        return f"IF(SUM(match_ok)=0,NA(),{both}{shift})"

    return Table(
        sheet,
        "equal",
        _FIT_TOP,
        2,
        (
            step("x", "Chart", "hydrometer", ends("")),
            step("y", "Chart", "equal", ends("")),
            step("above", "Chart", "above", ends(f"+{BAND}")),
            step("below", "Chart", "below", ends(f"-{BAND}")),
            step("zero", "Chart", "no difference", ends("*0")),
            step("high", "Chart", "band", ends(f"*0+{BAND}")),
            step("low", "Chart", "band", ends(f"*0-{BAND}")),
        ),
        left=_STEPS + len(_FIT) + 1,
    ).write()


def _chart(sheet: Worksheet, match: Table, equal: Table) -> None:
    """Corrected refractometer against hydrometer, and less hydrometer, within the band."""
    ends, hydrometer = equal.cells("x"), match.cells("chart_sg")
    charts.scatter(
        sheet,
        f"A{_CHART_TOP}",
        "Corrected refractometer against hydrometer",
        "hydrometer, SG",
        "corrected refractometer, SG",
        (
            charts.Trace("equal", ends, equal.cells("y"), line=True, marker="none"),
            charts.Trace(f"{BAND} above", ends, equal.cells("above"), limit=True),
            charts.Trace(f"{BAND} below", ends, equal.cells("below"), limit=True),
            charts.Trace("default factors", hydrometer, match.cells("chart_default"), marker="x"),
            charts.Trace("fitted factors", hydrometer, match.cells("chart_fitted")),
        ),
        size=(19, 9.6),
        x_format="0.000",
        y_format="0.000",
    )
    charts.scatter(
        sheet,
        f"H{_CHART_TOP}",
        "What is left between them",
        "hydrometer, SG",
        "corrected less hydrometer, SG",
        (
            charts.Trace("equal", ends, equal.cells("zero"), line=True, marker="none"),
            charts.Trace(f"{BAND} above", ends, equal.cells("high"), limit=True),
            charts.Trace(f"{BAND} below", ends, equal.cells("low"), limit=True),
            charts.Trace(
                "default factors", hydrometer, match.cells("chart_default_off"), marker="x"
            ),
            charts.Trace("fitted factors", hydrometer, match.cells("chart_fitted_off")),
        ),
        size=(19, 9.6),
        x_format="0.000",
        y_format="0.0000",
    )
