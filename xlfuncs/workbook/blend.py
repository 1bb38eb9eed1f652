"""Blend sheet: parts put together, the share of two for a target, and a card for dilution."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import brewhouse, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.brewhouse import WATER, as_sg, density, in_units, on_scale
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.panel import Panel

PARTS = 8
KINDS = ("wort", "water", "beer")
_CARD = 12  # rows of the dilution card
_TOP = 4
_STEPS = 11  # first column of the steps, right of the printed page


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of parts."""
    sheet = book.create_sheet(words.BLEND)
    layout.title(
        sheet,
        "Blend and dilute",
        "Masses and extract add up; volumes, quite, do not. For a beer type its true gravity: by "
        "hydrometer, or corrected for alcohol.",
        "H",
    )
    parts = _parts(sheet, choices)
    _portions(sheet)
    row = _blend(sheet, choices, parts.last + 2)
    row = _share(sheet, choices, row + 2)
    sheet.row_breaks.append(Break(row + 1))
    row = _dilution(sheet, choices, row + 3)
    layout.page(sheet, paper, f"A1:H{row}")
    return parts


def _warm(message: str) -> Limits:
    return layout.temperatures(100, message)


def _volumes() -> Limits:
    return Limits.between(0, 1000000, "A volume in the unit chosen on Setup")


def _parts(sheet: Worksheet, choices: words.Choices) -> Table:
    typed = '((part_volume<>"")+(part_gravity<>"")+(part_abv<>"")+(part_kind<>"")>0)'
    remark = (
        f'IF({typed},IF(part_kind="","choose what it is",IF(part_volume="","volume is missing",'
        'IF((part_kind<>"water")*(part_gravity=""),"gravity is missing",'
        'IF((part_kind="beer")*(part_abv=""),"ABV is missing","")))),"")'
    )
    return Table(
        sheet,
        "part",
        _TOP,
        PARTS,
        (
            Column("name", "Part", "any name", 20),
            Column("kind", "What it is", "choose", 11, limits=Limits.among(*KINDS)),
            Column("volume", "Volume", "=unit_volume", 12, styles.DEGREES, limits=_volumes()),
            Column(
                "temperature", "Volume read at", '="°"&unit_temperature&"; blank: 20 °C"', 12,
                styles.TEMPERATURE, limits=_warm("Temperature at which the volume was read"),
            ),
            Column(
                "gravity", "Gravity", '=unit_gravity&"; water: blank"', 12,
                choices.gravity_format,
                limits=Limits.between(
                    'IF(unit_gravity="Plato",-5,0.98)', 'IF(unit_gravity="Plato",45,1.206)',
                    "True gravity in the unit chosen on Setup: SG such as 1.048, or °Plato",
                ),
            ),
            Column(
                "abv", "ABV", "%; beer only", 9, "0.0#",
                limits=Limits.between(0, 20, "Alcohol by volume, 0 to 20 %"),
            ),
            Column(
                "volume_20", "Volume", '="at 20 °C, "&unit_volume', 12, styles.DEGREES,
                in_units("portion_volume", "unit_litres"), styles.RESULT,
            ),
            Column("remark", "Remark", "", 24, styles.PLAIN, remark, styles.RESULT),
        ),
    ).write()  # fmt: skip


def _portions(sheet: Worksheet) -> None:
    """The parts in litres at 20 °C and SG; wort and water hold no alcohol."""
    Table(
        sheet,
        "portion",
        _TOP,
        PARTS,
        (
            step("litres", "Volume", "L", brewhouse.litres("part_volume")),
            step(
                "celsius",
                "Volume",
                "°C",
                f'IF(part_temperature="",20,{brewhouse.celsius("part_temperature")})',
            ),
            step("given", "Gravity", "as typed", as_sg("part_gravity")),
            step(
                "sg",
                "Gravity",
                "SG",
                'IF(part_volume="","",IF((part_kind="water")*(part_gravity=""),1,portion_given))',
            ),
            step(
                "volume",
                "Volume",
                "L at 20 °C",
                'VOLUME_AT(portion_litres,portion_celsius,20,IF(part_kind="water",1,'
                'IF(ISNUMBER(portion_sg),portion_sg,"")))',
            ),
            step(
                "abv",
                "ABV",
                "%",
                'IF(part_volume="","",IF(part_abv<>"",part_abv,IF(part_kind="beer","",0)))',
            ),
            step(
                "mass",
                "Mass",
                "kg",
                "IF(ISNUMBER(portion_volume)*ISNUMBER(portion_sg),"
                f"portion_volume*{density('portion_sg')},0)",
            ),
        ),
        left=_STEPS,
    ).write()


def _blend(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    panel.span(sheet, "A:H", row, "The blend", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", "E:H")

    def lacking(what: str, answer: str) -> str:
        missing = f'SUMPRODUCT((part_volume<>"")*(LEN(portion_{what})=0))'
        text = {"sg": "gravity", "abv": "ABV"}[what]
        return (
            f'IF(COUNTA(part_volume)=0,"",IF({missing}>0,"! {text} is missing in "&{missing}'
            f'&" of the parts",{answer}))'
        )

    known = 'SUMPRODUCT((part_volume<>"")*(LEN(portion_sg)=0))=0'
    lines.answer(
        row + 1,
        "Gravity",
        "blend_gravity",
        on_scale("blend_sg"),
        "=unit_gravity",
        choices.gravity_format.replace("#", "0"),
    )
    lines.answer(
        row + 2,
        "Volume at 20 °C",
        "blend_volume",
        in_units("blend_litres", "unit_litres"),
        '=unit_volume&": masses add up, volumes do not quite"',
        styles.DEGREES,
    )
    lines.answer(
        row + 3, "ABV", "blend_abv",
        'IF(COUNTIF(part_kind,"beer")=0,"",'
        + lacking("abv", f"IF({known},BLEND_ABV(portion_volume,portion_abv,portion_sg),"
                         "BLEND_ABV(portion_volume,portion_abv))") + ")",
        "%", styles.DEGREES,
    )  # fmt: skip
    for key, place, formula in (
        ("blend_sg", row + 1, lacking("sg", "BLEND_SG(portion_volume,portion_sg)")),
        (
            "blend_litres",
            row + 2,
            "IF(ISNUMBER(blend_sg),SUM(portion_mass)/" + density("blend_sg") + ",blend_sg)",
        ),
    ):
        cell = panel.span(sheet, "K", place, "=" + formula, styles.STEP)
        layout.name(sheet, key, cell.coordinate)
    return row + 3


def _share(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """Share of two parts for a target."""
    panel.span(sheet, "A:H", row, "Two parts for a target", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", "E:H")
    gravity = Limits.between(
        'IF(unit_gravity="Plato",0,0.98)',
        'IF(unit_gravity="Plato",45,1.206)',
        "A gravity in the unit chosen on Setup; water is 1.000, or 0 °Plato",
    )
    for number, (label, key) in enumerate(
        (
            ("Gravity of A", "share_a"),
            ("Gravity of B", "share_b"),
            ("Gravity wanted", "share_target"),
        ),
        1,
    ):
        lines.entry(
            row + number, label, key, "=unit_gravity", gravity, None, choices.gravity_format
        )
    lines.entry(
        row + 4,
        "Volume wanted",
        "share_total",
        '=unit_volume&", may stay blank"',
        _volumes(),
        None,
        styles.DEGREES,
    )
    share = f"BLEND_SHARE({as_sg('share_a')},{as_sg('share_b')},{as_sg('share_target')})"
    lines.answer(
        row + 5,
        "Share of A",
        "share_percent",
        "IF(ISNUMBER(share_fraction),100*share_fraction,share_fraction)",
        "% by volume at 20 °C, before mixing; the rest is B",
        "0.0",
    )
    of_total = 'IF(ISNUMBER(share_fraction)*ISNUMBER(share_total),{}*share_total,"")'
    lines.answer(
        row + 6,
        "Volume of A",
        "share_volume_a",
        of_total.format("share_fraction"),
        "=unit_volume",
        styles.DEGREES,
    )
    lines.answer(
        row + 7, "Volume of B", "share_volume_b", of_total.format("(1-share_fraction)"),
        "=unit_volume", styles.DEGREES,
    )  # fmt: skip
    cell = panel.span(sheet, "K", row + 5, "=" + share, styles.STEP)
    layout.name(sheet, "share_fraction", cell.coordinate)
    return row + 7


def _dilution(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """A card: water to add for a row of targets."""
    panel.span(sheet, "A:H", row, "Dilution card", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", "E:H")
    plato = choices.gravity == "plato"
    gravity = layout.gravities("A gravity in the unit chosen on Setup")
    lines.entry(
        row + 1,
        "Volume of the wort",
        "dilute_volume",
        "=unit_volume",
        _volumes(),
        None,
        styles.DEGREES,
    )
    lines.entry(
        row + 2,
        "Volume read at",
        "dilute_temperature",
        '="°"&unit_temperature&"; blank: 20 °C (68 °F)"',
        _warm("Temperature at which the volume was read"),
        None,
        styles.TEMPERATURE,
    )
    lines.entry(
        row + 3,
        "Gravity of the wort",
        "dilute_gravity",
        "=unit_gravity",
        gravity,
        None,
        choices.gravity_format,
    )
    lines.entry(
        row + 4,
        "First target",
        "dilute_first",
        "=unit_gravity",
        gravity,
        None,
        choices.gravity_format,
    )
    lines.entry(
        row + 5, "Step to the next", "dilute_step", "=unit_gravity",
        Limits.between(
            'IF(unit_gravity="Plato",0.01,0.0001)', 'IF(unit_gravity="Plato",10,0.05)',
            "How much lower the next target is",
        ),
        0.5 if plato else 0.002, choices.gravity_format,
    )  # fmt: skip
    top = row + 7
    target = (
        "IF(ISNUMBER(dilute_first)*ISNUMBER(dilute_step),IF(dilute_first-dilution_no*dilute_step>"
        'IF(unit_gravity="SG",1,0)+10^-9,ROUND(dilute_first-dilution_no*dilute_step,6),""),"")'
    )

    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    card = Table(
        sheet,
        "dilution",
        top,
        _CARD,
        (
            result("target", "Gravity wanted", "=unit_gravity", 20, choices.gravity_format, target),
            result(
                "water", "Water to add", "=unit_volume", 11, styles.DEGREES,
                'IF(ISNUMBER(dilution_answer),dilution_answer/unit_litres,"")',
            ),
            result(
                "volume", "Makes", '=unit_volume&" at 20 °C"', 12, styles.DEGREES,
                f"IF(ISNUMBER(dilution_answer),(dilute_litres*{density('dilute_sg')}"
                f"+dilution_answer*{WATER})/{density('dilution_sg')}/unit_litres,\"\")",
            ),
            result(
                "remark", "Remark", "", 12, styles.PLAIN,
                'IF(LEFT(dilution_answer,2)="! ",SUBSTITUTE(MID(dilution_answer,3,250),'
                '"target_sg","target"),"")',
            ),
        ),
    ).write()  # fmt: skip
    steps = Table(
        sheet,
        "dilution",
        top,
        _CARD,
        (
            step("no", "Steps", "down", ""),
            step("sg", "Target", "SG", as_sg("dilution_target")),
            step(
                "answer",
                words.ANSWERED,
                "L of water",
                "DILUTION_WATER(dilute_litres,dilute_sg,dilution_sg)",
            ),
        ),
        left=_STEPS,
    ).write()
    for number in range(_CARD):
        sheet[f"{steps.letters['no']}{steps.first + number}"] = number
    for key, place, formula in (
        (
            "dilute_litres",
            row + 1,
            f'IF(dilute_temperature="",{brewhouse.litres("dilute_volume")},'
            f"VOLUME_AT({brewhouse.litres('dilute_volume')},"
            f"{brewhouse.celsius('dilute_temperature')},20,dilute_sg))",
        ),
        ("dilute_sg", row + 3, as_sg("dilute_gravity")),
    ):
        cell = panel.span(sheet, "K", place, "=" + formula, styles.STEP)
        layout.name(sheet, key, cell.coordinate)
    return card.last
