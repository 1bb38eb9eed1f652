"""Standards sheet: reference solutions to weigh out, and the card to print for the bench."""

from __future__ import annotations

from openpyxl.styles import Alignment
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import layout, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Limits

_LAST = "F"
_HOW = (
    "Weigh sugar and water both: their volumes do not add up. Stir until nothing is left on the "
    "bottom, cover, let it come to room temperature. Use it within the day: it dries, and it "
    "spoils.",
    "Plain white table sugar is sucrose of better than 99.9 %. Brown, raw or icing sugar is not.",
    "Set the zero with distilled water first. Rinse the prism with distilled water, dry it with a "
    "soft cloth.",
    "Put on enough drops to cover the prism. Close the plate and see that no air bubble is under "
    "it.",
    "Wait half a minute for drop and prism to come to one temperature; then read.",
    "Read against a natural or steady white light. Coloured or flickering light moves the line.",
    "Read three times with fresh drops. Write the middle one on the Calibration sheet, with the "
    "temperature.",
    "Rinse with distilled water at once: a dried film reads high next time.",
)
_WATER = (
    "Distilled or deionised water (sold for irons, batteries, laboratories) is the zero: 0 °Brix, "
    "SG 1.0000 at 20 °C.",
    "Tap water and spring water hold salts: some 0.02 to 0.1 °Brix. Water from a reverse-osmosis "
    "filter still holds a few per cent of the salts, more as the filter ages. Neither is distilled "
    "water, however it tastes.",
    "Boiled water is not distilled: its salts have become stronger.",
)


def add(book: Workbook, choices: words.Choices, paper: int) -> None:
    """Add the sheet."""
    sheet = book.create_sheet(words.STANDARDS)
    layout.title(
        sheet,
        "Reference solutions",
        "Choose a gravity and an amount; print the card and take it to the scale. Sucrose by mass "
        "is the primary standard; dry malt extract refracts as wort does, but is less sure.",
        _LAST,
    )
    for column, width in zip("ABCDEF", (4, 36, 14, 14, 14, 26), strict=True):
        sheet.column_dimensions[column].width = width
    row = _wanted(sheet)
    row = _sucrose(sheet, row + 1)
    row = _malt(sheet, row + 1)
    row = _notes(sheet, row + 1, "Which water", _WATER, numbered=False)
    row = _notes(sheet, row + 1, "How to", _HOW, numbered=True)
    layout.page(sheet, paper, f"A1:{_LAST}{row}")


def _section(sheet: Worksheet, row: int, text: str) -> int:
    sheet[f"A{row}"], sheet[f"A{row}"].style = text, styles.SECTION
    return row + 1


def _wanted(sheet: Worksheet) -> int:
    row = _section(sheet, 4, "What you want")
    lines = (
        ("Specific gravity", "standard_sg", 1.040, "SG at 20 °C; 1.040 is about 10 °Brix",
         Limits.between(1, 1.15, "A specific gravity from 1.000 to 1.150"), "0.000#"),
        ("Solution", "standard_mass", 100, "g of finished solution",
         Limits.between(1, 100000, "Grams, 1 to 100000"), "0.0#"),
        ("Your scale", "standard_u_mass", 0.1,
         "g: what it may be off; half a step of its display at least",
         Limits.between(0, 100, "Grams, from 0"), "0.00#"),
        ("Water for malt extract", "standard_water", 1, "L at 20 °C",
         Limits.between(0.01, 1000, "Litres, from 0.01"), "0.0##"),
        ("Extract in the dry malt extract", "standard_fraction", 0.95,
         "share by mass; 0.95 is common, the pack may say",
         Limits.between(0.5, 1, "A share from 0.5 to 1"), "0.00#"),
    )  # fmt: skip
    for label, key, value, explanation, limits, number_format in lines:
        layout.entry(sheet, row, label, key, value, explanation, limits, number_format)
        layout.merge(sheet, f"D{row}:{_LAST}{row}")
        row += 1
    return row


def _answers(sheet: Worksheet, row: int, lines: tuple[tuple[str, str, str, str, str], ...]) -> int:
    for label, key, formula, explanation, number_format in lines:
        layout.answer(sheet, row, label, key, formula, explanation, number_format)
        layout.merge(sheet, f"D{row}:{_LAST}{row}")
        row += 1
    return row


def _sucrose(sheet: Worksheet, row: int) -> int:
    row = _section(sheet, row, "Sucrose in distilled water, by mass")
    pair = "SUCROSE_STANDARD(standard_sg,standard_mass)"
    number = "ISNUMBER(standard_sucrose)*ISNUMBER(standard_distilled)"
    brix = f'IF({number},100*standard_sucrose/standard_mass,"")'
    # Both masses are weighed, each with the scale's error (JCGM 100, equation 10).
    spread = (
        f"IF({number},100*N(standard_u_mass)*SQRT(N(standard_distilled)^2+N(standard_sucrose)^2)"
        '/standard_mass^2,"")'
    )
    return _answers(
        sheet,
        row,
        (
            ("White sugar", "standard_sucrose", f"INDEX({pair},1,1)", "g", "0.00"),
            (
                "Distilled water",
                "standard_distilled",
                "IF(ISNUMBER(standard_sucrose),standard_mass-standard_sucrose,standard_sucrose)",
                "g: by the scale, not by the jug",
                "0.00",
            ),
            ("It is", "standard_brix", brix, "°Brix (and °Plato)", "0.00"),
            (
                "What the scale leaves open, ±",
                "standard_u_brix",
                f'IF(ISNUMBER(standard_brix),2*{spread},"")',
                "°Brix, about 95 %, when both are weighed with your scale",
                "0.000",
            ),
        ),
    )


def _malt(sheet: Worksheet, row: int) -> int:
    row = _section(sheet, row, "Dry malt extract in distilled water, by mass and volume")
    for column, key, number_format in (("I", "grams", "0.0"), ("J", "u", "0.00000")):
        cell = sheet[f"{column}{row}"]
        cell.style, cell.number_format = styles.STEP, number_format
        layout.name(sheet, f"malt_{key}", f"{column}{row}")
    sheet[f"I{row}"] = ArrayFormula(
        f"I{row}:J{row}", "=MALT_EXTRACT_STANDARD(standard_sg,standard_water,standard_fraction)"
    )
    return _answers(
        sheet,
        row,
        (
            ("Dry malt extract", "standard_malt", "malt_grams", "g into that much water", "0.0"),
            (
                "What the pack leaves open, ±",
                "standard_u_malt",
                'IF(ISNUMBER(malt_u),2*malt_u,"")',
                "SG, about 95 %: packs differ in moisture. It shows wort, and sets no slope",
                "0.0000",
            ),
        ),
    )


def _notes(sheet: Worksheet, row: int, heading: str, texts: tuple[str, ...], numbered: bool) -> int:
    row = _section(sheet, row, heading)
    for number, text in enumerate(texts, 1):
        sheet[f"A{row}"] = number if numbered else "•"
        sheet[f"A{row}"].style = sheet[f"B{row}"].style = styles.TEXT
        sheet[f"A{row}"].alignment = Alignment(horizontal="center", vertical="top")
        sheet[f"B{row}"] = text
        layout.merge(sheet, f"B{row}:{_LAST}{row}")
        sheet.row_dimensions[row].height = 28 if len(text) > 115 else 15
        row += 1
    return row
