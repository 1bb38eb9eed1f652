"""Fermentation: gravity, attenuation and alcohol while yeast is at work."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.science.beer import ORIGINAL_U
from xlfuncs.workbook import charts, correction, layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Table

_CAUTIONS = (
    "A corrected refractometer reading that stands still does not prove that fermentation has "
    "ended, and bottles can burst: package on hydrometer readings that stay the same over days. "
    "Alcohol for a label or for tax needs the approved method of the place."
)
#: Formula: whether a line is read on a refractometer.
_REFRACTOMETER = f'sample_kind="{words.REFRACTOMETER}"'
#: What is reckoned from original and present gravity: key, heading, function.
_RECKONED = (
    ("apparent", "Attenuation, apparent", "APPARENT_ATTENUATION"),
    ("real", "Attenuation, real", "REAL_ATTENUATION"),
    ("abv", "Alcohol", "BEER_ABV"),
)
_FORECAST = ("final", "u_final", "day", "u_day")

_CAUTION, _BATCH, _CHART_TOP, _TOP = 3, 4, 12, 31  # rows
_RESULTS, _STEPS = 7, 20  # first columns
_LAST = "R"  # last printed column


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of readings."""
    sheet = book.create_sheet(words.FERMENTATION)
    layout.title(
        sheet,
        "Fermentation",
        "One line for each reading of a fermenting or finished beer, on any instrument of Setup. A "
        "refractometer is corrected for alcohol with the factors that Setup has in use, and needs "
        "the original gravity. Shake the gas out of a sample before it meets a hydrometer.",
        _LAST,
    )
    sheet[f"A{_CAUTION}"], sheet[f"A{_CAUTION}"].style = _CAUTIONS, styles.CAUTION
    layout.merge(sheet, f"A{_CAUTION}:{_LAST}{_CAUTION}")
    sheet.row_dimensions[_CAUTION].height = 30
    readings = _inputs(sheet, choices)
    _results(sheet, choices)
    curve = _steps(sheet, choices)
    _batch(sheet)
    _chart(sheet, curve)
    layout.page(
        sheet, paper, f"A1:{_LAST}{readings.last}", repeat=f"{_TOP}:{_TOP + 1}", landscape=True
    )
    sheet.freeze_panes = "A4"
    return readings


def _batch(sheet: Worksheet) -> None:
    """The batch that the picture shows, how far it is, and where it may end."""
    sheet[f"A{_BATCH}"], sheet[f"A{_BATCH}"].style = "Batch", styles.LABEL
    sheet[f"B{_BATCH}"].style = styles.INPUT
    sheet[f"B{_BATCH}"].alignment = styles.WORDS
    sheet[f"C{_BATCH}"] = "choose a batch of this sheet; blank shows the last one"
    sheet[f"C{_BATCH}"].style = styles.LEAD
    sheet[f"C{_BATCH}"].alignment = styles.WORDS
    layout.name(sheet, "ferment_chosen", f"B{_BATCH}")
    whole = "ISNUMBER(forecast_final)"
    lines = (
        (
            "Shown", "ferment_shown",
            'IF(ferment_chosen<>"",ferment_chosen,'
            'IFERROR(LOOKUP(2,1/(ferment_batch<>""),ferment_batch),""))',
            '=IF(ferment_began="","","days are counted from "&IF(ferment_pitch_line=0,'
            '"the first reading","its line “into fermenter” in the log"))',
            styles.PLAIN,
        ),
        (
            "Day 0", "ferment_began",
            "IF(COUNT(sample_moment)=0,\"\",IF(ISNUMBER(ferment_pitched),"
            "MIN(ferment_pitched,MIN(sample_moment)),MIN(sample_moment)))",
            "", styles.DATE,
        ),
        (
            "State", "ferment_state",
            # Calc finds a word of ours equal to a word of a formula only once it is joined.
            'FERMENTATION_STATE(curve_day,curve_sg)&""',
            '=IF(ferment_state="steady","not a proof that it has ended","")', styles.PLAIN,
        ),
        (
            "Final gravity", "ferment_final", f'IF({whole},forecast_final,"")',
            f'=IF({whole},"± "&ROUND(ferment_final_expanded,4)&" SG, about 95 %: a forecast, not a '
            'measurement",forecast_final)',
            styles.SG,
        ),
        (
            "Near it on", "ferment_end", f'IF({whole},INT(ferment_began+forecast_day),"")',
            f'=IF({whole},"within 0.001 SG of it; ± "&ROUND(2*forecast_u_day,1)&" days","")',
            styles.DATE,
        ),
        ("Factors for beer", "ferment_factors", "beer_factors", "=beer_remark", styles.PLAIN),
    )  # fmt: skip
    for row, (label, key, formula, explanation, number_format) in enumerate(lines, _BATCH + 1):
        layout.answer(sheet, row, label, key, formula, explanation, number_format, left=1)
    for row in range(_BATCH, _BATCH + 1 + len(lines)):
        layout.merge(sheet, f"C{row}:{_LAST}{row}")


def _inputs(sheet: Worksheet, choices: words.Choices) -> Table:
    sheet[f"A{_TOP - 1}"], sheet[f"A{_TOP - 1}"].style = "Readings", styles.SECTION
    return Table(
        sheet,
        "ferment",
        _TOP,
        choices.rows,
        (
            Column("date", "Date", "time if known", 15, styles.MOMENT, limits=layout.dates()),
            Column("batch", "Batch", "as in the log", width=15),
            Column(
                "original",
                "Original gravity",
                '=unit_gravity&"; blank: from the log"',
                11,
                choices.gravity_format,
                limits=layout.gravities(
                    "Gravity before fermentation, in the unit chosen on Setup. Blank takes the "
                    "latest reading “into fermenter” of that batch from the log"
                ),
            ),
            layout.instrument(),
            layout.shown_reading(),
            Column(
                "temperature",
                "Sample temperature",
                '="°"&unit_temperature',
                11,
                styles.TEMPERATURE,
                limits=layout.temperatures(
                    70,
                    "Temperature of the drop or jar, in the unit chosen on Setup",
                ),
            ),
        ),
    ).write()


def _results(sheet: Worksheet, choices: words.Choices) -> None:
    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    def spread(of: str, unit: str, number_format: str) -> Column:
        """± of what is reckoned from both gravities."""
        part, both = f"sample_{of}", "ISNUMBER(sample_{0}_by_sg)*ISNUMBER(sample_{0}_by_original)"
        return result(
            f"{of}_expanded", "± about 95 %", unit, 8, number_format,
            f"IF(ISNUMBER({part})*{both.format(of)},"
            f'2*SQRT(({part}_by_sg-{part})^2+({part}_by_original-{part})^2),"")',
        )  # fmt: skip

    remark = correction.lacks(
        "sample",
        "ferment_instrument",
        "ferment_date",
        "ferment_reading",
        "ferment_temperature",
        (f'({_REFRACTOMETER})*(ferment_original_sg="")', '"original gravity is missing"'),
        otherwise=f'IF({_REFRACTOMETER},IF(beer_remark="","no proof that it has ended",'
        '"nothing fitted: default factors"),'
        'IF(ferment_original_sg="","original gravity is missing",""))',
    )
    Table(
        sheet,
        "ferment",
        _TOP,
        choices.rows,
        (
            result(
                "original_sg", "Original", "SG 20/20", 9, styles.SG,
                'IF(ferment_reading="","",IF(ferment_original<>"",sample_typed_sg,'
                'IF(sample_pitch=0,"",LOOKUP(sample_pitch,pitch_row,pitch_sg))))',
            ),
            result(
                "original_expanded", "± about 95 %", f"SG; typed: {2 * ORIGINAL_U:g}", 8, styles.SG,
                'IF(ISNUMBER(sample_u_original),2*sample_u_original,"")',
            ),
            result(
                "sg", "Gravity", "SG 20/20", 9, styles.SG,
                f"IF({_REFRACTOMETER},sample_corrected_sg,sample_floated_sg)",
            ),
            result(
                "expanded", "± about 95 %", "SG", 8, styles.SG,
                f"IF(ISNUMBER(ferment_sg),2*IF({_REFRACTOMETER},sample_corrected_u,"
                'sample_floated_u),"")',
            ),
            result("apparent", "Attenuation, apparent", "%", 11, "0.0", "sample_apparent"),
            spread("apparent", "%", "0.0"),
            result("real", "Attenuation, real", "%", 11, "0.0", "sample_real"),
            spread("real", "%", "0.0"),
            result("abv", "Alcohol", "% by volume", 9, "0.0", "sample_abv"),
            spread("abv", "% by volume", "0.0"),
            result(
                "method", "Method", "", 34, styles.PLAIN,
                'IF((ferment_reading="")+(sample_no=0)>0,"",IF('
                f'{_REFRACTOMETER},sample_kind&", balance, "&beer_factors&" factors",sample_kind))',
            ),
            result("remark", "Remark", "", 30, styles.PLAIN, remark),
        ),
        left=_RESULTS,
    ).write()  # fmt: skip


def _steps(sheet: Worksheet, choices: words.Choices) -> Table:
    """The way from reading to gravity, right of the printed page; gives what the picture shows."""
    sample = Table(
        sheet,
        "sample",
        _TOP,
        choices.rows,
        (
            *correction.in_force("sample", "ferment_instrument", "ferment_date"),
            correction.celsius("ferment_temperature"),
            *correction.refractometer("sample", "ferment_reading"),
            *correction.hydrometer("sample", "ferment_reading"),
            correction.original("ferment_original", "typed_sg"),
            step(
                "pitch",
                "Original",
                "place in order",
                'IF(ferment_batch="",0,IFERROR(MATCH(ferment_batch,pitch_batch,0),0))',
            ),
            step(
                "u_original",
                "Original",
                "u of SG",
                f'IF(ISNUMBER(ferment_original_sg),IF(ferment_original<>"",{ORIGINAL_U:g},'
                'LOOKUP(sample_pitch,pitch_row,pitch_u)),"")',
            ),
            step(
                "original_more",
                "Original",
                "one u more, SG",
                'IF(ISNUMBER(sample_u_original),ferment_original_sg+sample_u_original,"")',
            ),
            step("corrected_sg", "Refractometer", "SG", ""),
            step("corrected_more", "Refractometer", "SG, with that original", ""),
            step(
                "corrected_u",
                "Refractometer",
                "u of SG",
                "BEER_SG_UNCERTAINTY(ferment_original_sg,sample_brix,beer_wort_factor,"
                'IF(ISNUMBER(sample_u_calibration),SQRT(sample_u_reading^2+sample_u_calibration^2),""),'
                "beer_u_wort_factor,sample_u_original,beer_u_model)",
            ),
            *_moved(),
            *(
                step(f"{key}{by}", heading, hint, "")
                for key, heading, _ in _RECKONED
                for by, hint in (
                    ("", "%"),
                    ("_by_sg", "%, gravity one u less"),
                    ("_by_original", "%, original one u more"),
                )
            ),
            step(
                "moment",
                "Shown batch",
                "date",
                "IF((ferment_batch=ferment_shown)*ISNUMBER(ferment_date)*ISNUMBER(ferment_sg),"
                'ferment_date,"")',
            ),
        ),
        left=_STEPS,
    ).write()
    # One call of each for all: as it is, and with either gravity moved by its own u.
    sample.block(
        ("corrected_sg", "corrected_more"),
        "BEER_SG(IF({1,0},ferment_original_sg,sample_original_more),sample_brix,beer_wort_factor,"
        '"balance",beer_alcohol_factor)',
    )
    originals = "IF({1,1,0},ferment_original_sg,sample_original_more)"
    gravities = "IF({1,0,0},ferment_sg,IF({0,1,0},sample_sg_less,sample_sg_with_original))"
    for key, _, function in _RECKONED:
        sample.block(
            (key, f"{key}_by_sg", f"{key}_by_original"), f"{function}({originals},{gravities})"
        )
    pitch = _pitched(sheet, choices, sample.left + len(sample.columns) + 1)
    return _curve(sheet, choices, pitch.left + len(pitch.columns) + 1)


def _moved() -> tuple[Column, ...]:
    """The gravity one u of its own less, and with the original one u more.

    On a refractometer the correction for alcohol leans on the original gravity, and the u of the
    corrected gravity holds that part: it is taken out here, so as not to count twice.
    """
    by_original = "sample_corrected_more-sample_corrected_sg"
    return (
        step(
            "sg_less",
            "Gravity",
            "one u of its own less, SG",
            f"IF(ISNUMBER(ferment_expanded),IF({_REFRACTOMETER},"
            "IF(ISNUMBER(sample_corrected_more),ferment_sg-SQRT(ABS(sample_corrected_u^2"
            f'-({by_original})^2)),""),ferment_sg-sample_floated_u),"")',
        ),
        step(
            "sg_with_original",
            "Gravity",
            "with original one u more, SG",
            f"IF(ISNUMBER(ferment_sg)*ISNUMBER(sample_u_original),IF({_REFRACTOMETER},"
            'sample_corrected_more,ferment_sg),"")',
        ),
    )


def _pitched(sheet: Worksheet, choices: words.Choices, left: int) -> Table:
    """The log's readings “into fermenter”, latest first, so that a search finds the latest."""

    def on_line(what: str) -> str:
        return f'IF(pitch_line=0,"",LOOKUP(pitch_line,pitch_row,{what}))'

    return Table(
        sheet,
        "pitch",
        _TOP,
        choices.rows,
        (
            step("row", "Row", "of both tables", f"ROW(ferment_date)-{_TOP + 1}"),
            step(
                "order",
                "Into fermenter",
                "latest first",
                f'LARGE((log_stage="{words.INTO_FERMENTER}")*(log_batch<>"")*ISNUMBER(log_sg)'
                f"*way_order,ROW(ferment_date)-{_TOP + 1})",
            ),
            step(
                "line",
                "Into fermenter",
                "line of the log",
                "IF(pitch_order=0,0,MATCH(pitch_order,way_order,0))",
            ),
            step("batch", "Into fermenter", "batch", on_line("log_batch")),
            step("date", "Into fermenter", "date", on_line("log_date")),
            step("sg", "Into fermenter", "SG", on_line("log_sg")),
            step("u", "Into fermenter", "u of SG", on_line("log_u")),
        ),
        left=left,
    ).write()


def _curve(sheet: Worksheet, choices: words.Choices, left: int) -> Table:
    """The shown batch as days and gravities: first what went into the fermenter, then the lines."""
    beside = _BATCH + 1
    where = "IFERROR(MATCH(ferment_shown,pitch_batch,0),0)"
    for row, key, label, formula in (
        (0, "ferment_pitch_line", "Shown batch: place in order", f'IF(ferment_shown="",0,{where})'),
        (
            1,
            "ferment_pitched",
            "Shown batch: into fermenter",
            'IF(ferment_pitch_line=0,"",INDEX(pitch_date,ferment_pitch_line))',
        ),
        (
            2,
            "ferment_pitched_sg",
            "Shown batch: original SG",
            'IF(ferment_pitch_line=0,"",INDEX(pitch_sg,ferment_pitch_line))',
        ),
    ):
        layout.answer(sheet, beside + row, label, key, formula, left=_STEPS)
    forecast = Table(
        sheet,
        "forecast",
        _BATCH,
        1,
        tuple(step(key, "Forecast", key.replace("_", " "), "") for key in _FORECAST),
        left=_STEPS + 3,
    ).write()
    for row in (forecast.top, forecast.top + 1):  # they stand beside lines of common height
        sheet.row_dimensions[row].height = 15
    forecast.block(_FORECAST, "FERMENTATION_FORECAST(curve_day,curve_sg)")
    layout.answer(
        sheet,
        beside + 3,
        "Final gravity: ± about 95 %",
        "ferment_final_expanded",
        'IF(ISNUMBER(forecast_u_final),2*forecast_u_final,"")',
        left=_STEPS,
    )

    def of_line(first: str, line: str) -> str:
        return f"IF(curve_row=0,{first},LOOKUP(curve_row,pitch_row,{line}))"

    def plotted(what: str, condition: str = "1") -> str:
        return f"IF(ISNUMBER(curve_day)*ISNUMBER(curve_sg)*({condition}),{what},NA())"

    cells = f"A{_TOP + 2}:A{_TOP + 2 + choices.rows}"
    return Table(
        sheet,
        "curve",
        _TOP,
        choices.rows + 1,
        (
            step(
                "row",
                "Row",
                "0: from the log",
                f"ROW({cells})-{_TOP + 2}",
            ),
            step(
                "day",
                "Shown batch",
                "days",
                of_line(
                    "IF(ISNUMBER(ferment_began)*ISNUMBER(ferment_pitched_sg),"
                    'ROUND(ferment_pitched-ferment_began,6),"")',
                    'IF(ISNUMBER(sample_moment),ROUND(sample_moment-ferment_began,6),"")',
                ),
            ),
            step(
                "sg",
                "Shown batch",
                "SG",
                of_line("ferment_pitched_sg", 'IF(ISNUMBER(sample_moment),ferment_sg,"")'),
            ),
            step("kind", "Shown batch", "kind", of_line('"original"', "sample_kind")),
            step("chart_day", "Chart", "days", plotted("curve_day")),
            step("chart_original", "Chart", "original", plotted("curve_sg", "curve_row=0")),
            step(
                "chart_refractometer",
                "Chart",
                "refractometer",
                plotted("curve_sg", f'curve_kind="{words.REFRACTOMETER}"'),
            ),
            step(
                "chart_hydrometer",
                "Chart",
                "hydrometer",
                plotted("curve_sg", correction.is_hydrometer("curve_kind")),
            ),
        ),
        left=left,
    ).write()


def _chart(sheet: Worksheet, curve: Table) -> None:
    """Gravity over days, refractometer and hydrometers told apart."""
    days = curve.cells("chart_day")
    charts.scatter(
        sheet,
        f"A{_CHART_TOP}",
        "Gravity of the shown batch",
        "days",
        "SG",
        (
            charts.Trace("into fermenter", days, curve.cells("chart_original"), marker="diamond"),
            charts.Trace(
                "refractometer, corrected", days, curve.cells("chart_refractometer"), marker="x"
            ),
            charts.Trace("hydrometer", days, curve.cells("chart_hydrometer")),
        ),
        size=(27, 9),
        x_format="0",
        y_format="0.000",
    )
