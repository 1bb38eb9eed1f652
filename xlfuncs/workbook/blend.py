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
#: Remark beside a ± that need not be known.
_MAY_BE_BLANK = '=unit_gravity&"; blank: not known, and left out below"'
_CARD = 12  # rows of the dilution card
_TOP = 4
_LAST = "I"  # last printed column
_STEPS = 11  # first column of the steps, right of the printed page


def add(book: Workbook, choices: words.Choices, paper: int) -> Table:
    """Add the sheet; gives its table of parts."""
    sheet = book.create_sheet(words.BLEND)
    layout.title(
        sheet,
        "Blend and dilute",
        "Masses and extract add up; volumes, quite, do not. For a beer type its true gravity: by "
        "hydrometer, or corrected for alcohol.",
        _LAST,
    )
    parts = _parts(sheet, choices)
    _portions(sheet)
    row = _blend(sheet, choices, parts.last + 2)
    row = _share(sheet, choices, row + 2)
    sheet.row_breaks.append(Break(row + 1))
    row = _dilution(sheet, choices, row + 3)
    layout.page(sheet, paper, f"A1:{_LAST}{row}")
    return parts


def _warm(message: str) -> Limits:
    return layout.temperatures(100, message)


def _volumes() -> Limits:
    return Limits.between(0, 1000000, "A volume in the unit chosen on Setup")


def _spread() -> Limits:
    return Limits.between(
        0,
        'IF(unit_gravity="Plato",5,0.02)',
        "About 95 % (two standard uncertainties), on the scale of the gravity: as the log or the "
        "sheet Fermentation shows it. Blank: not known, and left out",
    )


def _parts(sheet: Worksheet, choices: words.Choices) -> Table:
    entries = ("volume", "gravity", "expanded", "abv", "kind")
    typed = "(" + "+".join(f'(part_{key}<>"")' for key in entries) + ">0)"
    remark = (
        f'IF({typed},IF(part_kind="","choose what it is",IF(part_volume="","volume is missing",'
        'IF((part_kind<>"water")*(part_gravity=""),"gravity is missing",'
        'IF((part_kind="beer")*(part_abv=""),"ABV is missing",'
        'IF((part_kind<>"water")*(1-ISNUMBER(part_expanded)),"± not given",""))))),"")'
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
                "expanded", "± of it", "about 95 %; or blank", 9, choices.gravity_format,
                limits=_spread(),
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
    portions = Table(
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
            step("given", "Gravity", "as typed, SG", ""),
            step("upper", "and its ± more", "SG", ""),
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
            step(
                "u",
                "u of gravity",
                "SG; not given: 0",
                "IF(ISNUMBER(portion_upper)*ISNUMBER(portion_given),"
                "(portion_upper-portion_given)/2,0)",
            ),
            step(
                "part",
                "Part of the u",
                "SG times L, squared",
                "IF(ISNUMBER(portion_volume)*ISNUMBER(portion_sg)*ISNUMBER(blend_sg),"
                f"{_part_of_u('portion_volume', 'portion_u', 'portion_sg-blend_sg')},0)",
            ),
        ),
        left=_STEPS,
    ).write()
    portions.block(("given", "upper"), _with_upper("part_gravity", "part_expanded"))


def _with_upper(gravity: str, expanded: str) -> str:
    """Formula: gravities as typed, and their ± more, side by side as SG."""
    upper = f'IF(ISNUMBER({gravity})*ISNUMBER({expanded}),{gravity}+{expanded},"")'
    both = f'IF({{1,0}},IF({gravity}="","",{gravity}),{upper})'
    return f'IF(unit_gravity="SG",{both},GRAVITY_CONVERT({both},unit_gravity,"SG"))'


def _part_of_u(share: str, u: str, difference: str) -> str:
    """Formula: squared, what a part adds to the u of the blend (JCGM 100:2008, 5.1.2).

    To first order a blend's SG moves with a part's by the part's share of the volume, and with a
    part's volume by the share times how far the part is from the blend.
    """
    return f"({share})^2*(({u})^2+(({difference})*u_volume)^2)"


def _blend(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    panel.span(sheet, f"A:{_LAST}", row, "The blend", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", f"E:{_LAST}")

    def lacking(what: str, answer: str) -> str:
        missing = f'SUMPRODUCT((part_volume<>"")*(LEN(portion_{what})=0))'
        text = {"sg": "gravity", "abv": "ABV"}[what]
        return (
            f'IF(COUNTA(part_volume)=0,"",IF({missing}>0,"! {text} is missing in "&{missing}'
            f'&" of the parts",{answer}))'
        )

    fine = choices.fine_gravity_format
    known = 'SUMPRODUCT((part_volume<>"")*(LEN(portion_sg)=0))=0'
    lines.answer(
        row + 1,
        "Gravity",
        "blend_gravity",
        "blend_at",
        "=unit_gravity",
        fine,
    )
    not_given = (
        'SUMPRODUCT((part_volume<>"")*(part_gravity<>"")*(part_kind<>"water")'
        "*(1-ISNUMBER(part_expanded)))"
    )
    lines.answer(
        row + 2,
        "± about 95 %",
        "blend_expanded",
        'IF(ISNUMBER(blend_upper),blend_upper-blend_at,"")',
        f'=unit_gravity&IF(ISNUMBER(blend_upper)*({not_given}>0),"; ± is not given in "&{not_given}'
        '&" of the parts, and left out here","; gravities and volumes of the parts")',
        fine,
    )
    lines.answer(
        row + 3,
        "Volume at 20 °C",
        "blend_volume",
        in_units("blend_litres", "unit_litres"),
        '=unit_volume&": masses add up, volumes do not quite"',
        styles.DEGREES,
    )
    lines.answer(
        row + 4, "ABV", "blend_abv",
        'IF(COUNTIF(part_kind,"beer")=0,"",'
        + lacking("abv", f"IF({known},BLEND_ABV(portion_volume,portion_abv,portion_sg),"
                         "BLEND_ABV(portion_volume,portion_abv))") + ")",
        "%", styles.DEGREES,
    )  # fmt: skip
    panel.step(sheet, row + 1, "blend_sg", lacking("sg", "BLEND_SG(portion_volume,portion_sg)"))
    panel.step(
        sheet,
        row + 1,
        "blend_upper_sg",
        'IF(ISNUMBER(blend_sg),blend_sg+2*SQRT(SUM(portion_part))/SUM(portion_volume),"")',
        "L",
    )
    panel.two_steps(
        sheet, row + 1, ("blend_at", "blend_upper"), on_scale(f"K{row + 1}:L{row + 1}"), "M"
    )
    panel.step(
        sheet,
        row + 3,
        "blend_litres",
        "IF(ISNUMBER(blend_sg),SUM(portion_mass)/" + density("blend_sg") + ",blend_sg)",
    )
    return row + 4


def _share(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """Share of two parts for a target."""
    panel.span(sheet, f"A:{_LAST}", row, "Two parts for a target", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", f"E:{_LAST}")
    gravity = Limits.between(
        'IF(unit_gravity="Plato",0,0.98)',
        'IF(unit_gravity="Plato",45,1.206)',
        "A gravity in the unit chosen on Setup; water is 1.000, or 0 °Plato",
    )
    form = choices.gravity_format
    entries = (
        ("Gravity of A", "share_a", "=unit_gravity", gravity, form),
        ("± of it, about 95 %", "share_a_expanded", _MAY_BE_BLANK, _spread(), form),
        ("Gravity of B", "share_b", "=unit_gravity", gravity, form),
        ("± of it, about 95 %", "share_b_expanded", _MAY_BE_BLANK, _spread(), form),
        ("Gravity wanted", "share_target", "=unit_gravity", gravity, form),
        (
            "Volume wanted",
            "share_total",
            '=unit_volume&", may stay blank"',
            _volumes(),
            styles.DEGREES,
        ),
    )
    for number, (label, key, remark, limits, number_format) in enumerate(entries, 1):
        lines.entry(row + number, label, key, remark, limits, None, number_format)
    lines.answer(
        row + 7,
        "Share of A",
        "share_percent",
        "IF(ISNUMBER(share_fraction),100*share_fraction,share_fraction)",
        "% by volume at 20 °C, before mixing; the rest is B",
        "0.0",
    )
    without = (
        'IF(ISNUMBER(share_a_expanded)*ISNUMBER(share_b_expanded),"",'
        '"; without the ± of "&IF(ISNUMBER(share_a_expanded),"B",'
        'IF(ISNUMBER(share_b_expanded),"A","A and B"))&", which is not given")'
    )
    lines.answer(
        row + 8,
        "± about 95 %",
        "share_expanded",
        'IF(ISNUMBER(share_upper),share_upper-share_target,"")',
        f'=unit_gravity&", of the gravity wanted when mixed so"&{without}',
        choices.fine_gravity_format,
    )
    of_total = 'IF(ISNUMBER(share_fraction)*ISNUMBER(share_total),{}*share_total,"")'
    for number, (label, share) in enumerate(
        (("a", "share_fraction"), ("b", "(1-share_fraction)")), 9
    ):
        lines.answer(
            row + number,
            f"Volume of {label.upper()}",
            f"share_volume_{label}",
            of_total.format(share),
            "=unit_volume",
            styles.DEGREES,
        )
    for number, label in ((1, "a"), (3, "b")):
        typed = f"share_{label}"
        keys = (f"{typed}_sg", f"{typed}_upper_sg")
        panel.two_steps(sheet, row + number, keys, _with_upper(typed, f"{typed}_expanded"))
        panel.step(
            sheet, row + number, f"{typed}_u",
            f"IF(ISNUMBER({typed}_upper_sg),({typed}_upper_sg-{typed}_sg)/2,0)", "M",
        )  # fmt: skip
    panel.step(sheet, row + 5, "share_target_sg", as_sg("share_target"))
    panel.step(
        sheet, row + 7, "share_fraction", "BLEND_SHARE(share_a_sg,share_b_sg,share_target_sg)"
    )
    u_squared = "+".join(
        _part_of_u(share, f"share_{part}_u", f"share_{part}_sg-share_target_sg")
        for part, share in (("a", "share_fraction"), ("b", "1-share_fraction"))
    )
    panel.step(
        sheet, row + 8, "share_upper_sg",
        f'IF(ISNUMBER(share_fraction),share_target_sg+2*SQRT({u_squared}),"")',
    )  # fmt: skip
    panel.step(sheet, row + 8, "share_upper", on_scale("share_upper_sg"), "L")
    return row + 10


def _dilution(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """A card: water to add for a row of targets."""
    panel.span(sheet, f"A:{_LAST}", row, "Dilution card", styles.SECTION)
    lines = Panel(sheet, "A:B", "C:D", f"E:{_LAST}")
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
        "± of it, about 95 %",
        "dilute_expanded",
        _MAY_BE_BLANK,
        _spread(),
        None,
        choices.gravity_format,
    )
    lines.entry(
        row + 5,
        "First target",
        "dilute_first",
        "=unit_gravity",
        gravity,
        None,
        choices.gravity_format,
    )
    lines.entry(
        row + 6, "Step to the next", "dilute_step", "=unit_gravity",
        Limits.between(
            'IF(unit_gravity="Plato",0.01,0.0001)', 'IF(unit_gravity="Plato",10,0.05)',
            "How much lower the next target is",
        ),
        0.5 if plato else 0.002, choices.gravity_format,
    )  # fmt: skip
    top = row + 8
    target = (
        "IF(ISNUMBER(dilute_first)*ISNUMBER(dilute_step),IF(dilute_first-dilution_no*dilute_step>"
        'IF(unit_gravity="SG",1,0)+10^-9,ROUND(dilute_first-dilution_no*dilute_step,6),""),"")'
    )

    u_squared = "+".join(
        (
            _part_of_u("dilution_share", "dilute_u", "dilute_sg-dilution_sg"),
            _part_of_u("1-dilution_share", "0", "1-dilution_sg"),
        )
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
                "expanded", "± about 95 %", "=unit_gravity", 12,
                choices.fine_gravity_format,
                'IF(ISNUMBER(dilution_upper),dilution_upper-dilution_target,"")',
            ),
            result(
                "remark", "Remark", "", 12, styles.PLAIN,
                'IF(LEFT(dilution_answer,2)="! ",SUBSTITUTE(MID(dilution_answer,3,250),'
                '"target_sg","target"),IF(ISNUMBER(dilution_answer)*(1-ISNUMBER(dilute_expanded)),'
                '"± not given",""))',
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
            step(
                "share",
                "Wort",
                "share of the volume",
                'IF(ISNUMBER(dilution_answer),dilute_litres/(dilute_litres+dilution_answer),"")',
            ),
            step(
                "upper_sg",
                "Target",
                "and 2 u more, SG",
                f'IF(ISNUMBER(dilution_share),dilution_sg+2*SQRT({u_squared}),"")',
            ),
            step("upper", "Target", "and 2 u more, on the scale", on_scale("dilution_upper_sg")),
        ),
        left=_STEPS,
    ).write()
    for number in range(_CARD):
        sheet[f"{steps.letters['no']}{steps.first + number}"] = number
    panel.step(
        sheet,
        row + 1,
        "dilute_litres",
        f'IF(dilute_temperature="",{brewhouse.litres("dilute_volume")},'
        f"VOLUME_AT({brewhouse.litres('dilute_volume')},"
        f"{brewhouse.celsius('dilute_temperature')},20,dilute_sg))",
    )
    panel.two_steps(
        sheet,
        row + 3,
        ("dilute_sg", "dilute_upper_sg"),
        _with_upper("dilute_gravity", "dilute_expanded"),
    )
    panel.step(
        sheet, row + 3, "dilute_u",
        "IF(ISNUMBER(dilute_upper_sg),(dilute_upper_sg-dilute_sg)/2,0)", "M",
    )  # fmt: skip
    return card.last
