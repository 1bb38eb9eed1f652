"""Start sheet: what to do, in order; whether the functions are loaded; cautions."""

from __future__ import annotations

from openpyxl.workbook import Workbook

from xlfuncs.workbook import layout, styles
from xlfuncs.workbook import vocabulary as words

_STEPS = (
    (words.SETUP, "Choose your units. Enter your instruments, the wort factor and the targets."),
    (
        words.CALIBRATION,
        "Check each instrument against distilled water or a solution of known gravity, and write "
        "the check down. From its date on it corrects the readings of that instrument.",
    ),
    (
        words.STANDARDS,
        "Weigh out a solution of known gravity to check against; print the card for the bench.",
    ),
    (
        words.LOG,
        "Write one line for each reading: mash, runoff, before and after the boil, into the "
        "fermenter. Gravity, uncertainty and volume at 20 °C appear beside it.",
    ),
    (
        words.RUNOFF,
        "Write down volume and reading while you sparge: it says when to stop, and what you have "
        "collected.",
    ),
    (
        words.KETTLE,
        "See what the boil will make of the wort and what can be done about it, before the boil "
        "and after. The rescue corner does the same for numbers that somebody tells you.",
    ),
    (
        words.TARGETS,
        "See what hit its target, what missed, and what is too close to call, what a miss was "
        "worth, and what mash efficiency to expect of the next recipe.",
    ),
    (
        words.CARD,
        "Print one page for the wall: targets, boxes to write in, °Brix turned into gravity.",
    ),
    (
        words.BLEND,
        "Put worts, waters and beers together, find the share of two for a target, print a "
        "dilution card.",
    ),
    (
        words.PAIRS,
        "Read some beers on refractometer and hydrometer both: it fits your own correction for "
        "alcohol and says how far to trust it. Setup chooses between it and the default.",
    ),
    (
        words.FERMENTATION,
        "Follow each batch in the fermenter: gravity corrected for alcohol, attenuation, alcohol "
        "by volume, and where it may end.",
    ),
)

_CAUTIONS = (
    "Boiling wort scalds. Take samples with a ladle, never over the rim, and let them cool.",
    "Hot wort cracks glass: cool a sample before it meets a hydrometer jar or a prism.",
    "Fermentation fills closed rooms with carbon dioxide: air them before you go in.",
    "Bottles burst when beer is not finished. A refractometer alone does not prove that "
    "fermentation has ended: package on hydrometer readings that stay the same over days.",
    "Alcohol for a label or for tax needs the method that your authority approves.",
    "These figures support your judgement; local rules and licensed practice come first.",
)


def add(book: Workbook, choices: words.Choices, paper: int) -> None:
    """Add the sheet."""
    sheet = book.create_sheet(words.START)
    layout.title(
        sheet,
        "Gravity log",
        "From a raw drop to a corrected gravity, its uncertainty, and a verdict."
        + (
            " THIS IS AN EXAMPLE: brewhouse, batches and readings are invented."
            if choices.example
            else ""
        ),
        "C",
    )
    sheet.column_dimensions["A"].width = 6
    sheet.column_dimensions["B"].width = 20
    sheet.column_dimensions["C"].width = 78
    sheet["B4"], sheet["B4"].style = "Functions", styles.LABEL
    sheet["C4"] = (
        '=IFERROR("loaded, version "&CELLS_VERSION(),'
        '"NOT LOADED: the figures shown are the stored ones and will not follow your entries; '
        'see the README, section Excel or Calc")'
    )
    sheet["C4"].style = styles.RESULT
    sheet["A6"], sheet["A6"].style = "In this order", styles.SECTION
    row = 7
    for number, (target, text) in enumerate(_STEPS, 1):
        sheet[f"A{row}"], sheet[f"A{row}"].style = number, styles.TEXT
        cell = sheet[f"B{row}"]
        cell.value = target
        cell.hyperlink = f"#'{target}'!A1"
        cell.style = styles.LINK
        sheet[f"C{row}"], sheet[f"C{row}"].style = text, styles.TEXT
        sheet.row_dimensions[row].height = 30
        row += 1
    row += 1
    sheet[f"A{row}"], sheet[f"A{row}"].style = "How to read the sheets", styles.SECTION
    for text in (
        "Cells in a dashed frame, under headings that are darker, are yours to fill in. The others "
        "are computed; leave them alone.",
        "A text that starts with “! ” names the cell's trouble: the thing, its value, the limit. "
        "Mend the first one and those behind it follow.",
        "± stands for about 95 %: two standard uncertainties.",
        "To the right of each printed page stand the steps of the calculation, for whoever wants "
        "to check them.",
    ):
        row += 1
        sheet[f"B{row}"], sheet[f"B{row}"].style = text, styles.TEXT
        layout.merge(sheet, f"B{row}:C{row}")
        sheet.row_dimensions[row].height = 28
    row += 2
    sheet[f"A{row}"], sheet[f"A{row}"].style = "Take care", styles.SECTION
    for text in _CAUTIONS:
        row += 1
        sheet[f"B{row}"], sheet[f"B{row}"].style = text, styles.CAUTION
        layout.merge(sheet, f"B{row}:C{row}")
        sheet.row_dimensions[row].height = 28
    layout.page(sheet, paper, f"A1:C{row}")
