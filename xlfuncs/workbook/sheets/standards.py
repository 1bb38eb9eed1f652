"""Standards: solutions of known gravity to weigh out, and the card for the bench."""

from __future__ import annotations

from collections.abc import Iterator

from xlfuncs.science.units import KILOGRAMS_PER_POUND, LITRES_PER_US_GALLON
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import SG_PER_PLATO
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Block,
    Limits,
    Line,
    Lines,
    ReportPart,
    Section,
    Sheet,
    Steps,
    Text,
)
from xlfuncs.workbook.kit.formulas import default, if_numbers, sg_of, shown

#: Grams in an ounce, litres in a quart: where masses are in pounds, a kitchen scale shows ounces.
_OUNCE, _QUART = 1000 * KILOGRAMS_PER_POUND / 16, LITRES_PER_US_GALLON / 4
#: What blanks stand for: gravity, mass and what the scale may be off (g, oz), water, share.
_SG, _PLATO, _GRAMS, _OUNCES, _U_GRAMS, _U_OUNCES = 1.040, 10, 100, 4, 0.1, 0.005
_WATER, _FRACTION = 1, 0.95
#: Longer texts take two lines of the page.
_LONG = 104

_HOW = (
    "Weigh sugar and water both: their volumes do not add up. Stir until nothing is left on the "
    "bottom, cover, let it come to room temperature. Use it within the day: it dries, and spoils.",
    "Plain white table sugar is sucrose of better than 99.9 %. Brown, raw or icing sugar is not.",
    "Set the zero with distilled water first. Rinse the prism with it, dry with a soft cloth.",
    "Enough drops to cover the prism; close the plate; no air bubble under it.",
    "Wait half a minute for drop and prism to come to one temperature; then read.",
    "Read against a natural or steady white light. Coloured or flickering light moves the line.",
    "Read three times with fresh drops. Write the middle one on Calibration, with the temperature.",
    "Rinse with distilled water at once: a dried film reads high next time.",
)
_WATERS = (
    "Distilled or deionised water (sold for irons, batteries, laboratories) is the zero: 0 °Brix, "
    "0 °Plato, SG 1.0000 at 20 °C (68 °F).",
    "Tap and spring water hold salts: some 0.02 to 0.1 °Brix. Water from a reverse-osmosis filter "
    "still holds a few per cent of them, more as the filter ages. Neither is distilled water.",
    "Boiled water is not distilled: its salts have become stronger.",
)


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.STANDARDS,
        "Solutions of known gravity to weigh out for a check, with the card for the bench.",
        "Choose a gravity and an amount; take the page to the scale. Sugar by mass is the primary "
        "standard; dry malt extract refracts as wort does, but is less sure.",
        (
            Text("=standard_says", styles.ANSWER, name="standard_answer", lines=1.2),
            Section("What you want"),
            Lines(_wanted(choices), label=2, cell=1, note=2, gap=0),
            Section("White sugar in distilled water, by mass"),
            Lines(_sugar(choices), label=2, cell=1, note=2, gap=0),
            Section("Dry malt extract in distilled water, by mass and volume"),
            Lines(_malt(choices), label=2, cell=1, note=2, gap=0),
            *_notes("Which water", _WATERS, "•"),
            *_notes("How to", _HOW, ""),
            Steps(_cells(choices), {
                ("malt_grams", "malt_u"):
                    "MALT_EXTRACT_STANDARD(standard_sg,standard_litres,standard_share)",
            }),
        ),
        widths=(4, 32, 13, 30, 30),
        parts=(
            ReportPart("standard", {
                "says": "standard_answer", "sugar": "standard_sucrose",
                "water": "standard_distilled", "brix": "standard_brix",
                "expanded": "standard_u_brix", "malt_extract": "standard_malt",
                "malt_expanded": "standard_u_malt",
            }),
        ),
    )  # fmt: skip


def _wanted(choices: words.Choices) -> tuple[Line, ...]:
    mass = '=standard_unit&"; blank: "&'
    return (
        Line("standard_gravity", "Gravity", f'=unit_gravity&"; blank: "&IF(unit_gravity="SG",'
             f'{shown(f"{_SG}", 3)},{_PLATO})', choices.gravity_format,
             limits=Limits.gravity("Gravity of the solution")),
        Line("standard_mass", "Finished solution", f'{mass}{shown("standard_usual", 1)}', "0.0#",
             limits=Limits.amount("Mass of the solution")),
        Line("standard_u_mass", "Your scale may be off, ±",
             f'{mass}{shown("standard_usual_u", 3)}&", half a step of its display at least"',
             "0.00#", limits=Limits.between(0, 100, "What the scale may be off")),
        Line("standard_water", "Water for malt extract",
             f'=IF(standard_us,"US qt","L")&" at "&unit_room&"; blank: {_WATER}"', "0.0##",
             limits=Limits.between(0.01, 1000, "Volume of the water")),
        Line("standard_fraction", "Extract in the dry malt extract",
             f"share by mass; blank: {100 * _FRACTION:g} %, the pack may say", "0.0%",
             limits=Limits.between(0.5, 1, "A share from 50 % to 100 %")),
    )  # fmt: skip


def _sugar(choices: words.Choices) -> tuple[Line, ...]:
    return (
        Line("standard_sucrose", "White sugar", "=standard_unit", "0.00#",
             formula="IF(ISNUMBER(sugar_grams),sugar_grams/standard_per,sugar_grams)"),
        Line("standard_distilled", "Distilled water", '=standard_unit&": by the scale, not by the '
             'jug"', "0.00#", formula='IF(ISNUMBER(sugar_grams),(standard_grams-sugar_grams)/'
                                      'standard_per,"")'),
        Line("standard_brix", "It is", "°Brix, and °Plato", styles.TWO,
             formula='IF(ISNUMBER(sugar_grams),100*sugar_grams/standard_grams,"")'),
        # Both masses are weighed, each with the scale's error (JCGM 100, equation 10).
        Line("standard_u_brix", "What the scale leaves open, ±", "°Brix, about 95 %, when both are "
             "weighed on your scale", "0.000", formula=if_numbers(
                 ["sugar_grams"], "200*standard_u*SQRT((standard_grams-sugar_grams)^2"
                                  "+sugar_grams^2)/standard_grams^2")),
    )  # fmt: skip


def _malt(choices: words.Choices) -> tuple[Line, ...]:
    per = f'IF(unit_gravity="SG",1,1/{SG_PER_PLATO:g})'
    return (
        Line("standard_malt", "Dry malt extract", '=standard_unit&" into that much water"', "0.0#",
             formula="IF(ISNUMBER(malt_grams),malt_grams/standard_per,malt_grams)"),
        Line("standard_u_malt", "What the pack leaves open, ±",
             '=unit_gravity&", about 95 %: packs differ in moisture. It sets no slope"',
             choices.fine_gravity_format,
             formula=f'IF(ISNUMBER(malt_u),2*malt_u*{per},"")'),
    )  # fmt: skip


def _cells(choices: words.Choices) -> dict[str, str]:
    return {
        "standard_us": '(unit_mass="lb")*1',
        "standard_unit": 'IF(standard_us,"oz","g")',
        "standard_per": f"IF(standard_us,{_OUNCE:.12g},1)",
        "standard_usual": f"IF(standard_us,{_OUNCES},{_GRAMS})",
        "standard_usual_u": f"IF(standard_us,{_U_OUNCES},{_U_GRAMS})",
        "standard_given": default("standard_gravity", f'IF(unit_gravity="SG",{_SG},{_PLATO})'),
        "standard_sg": sg_of("standard_given"),
        "standard_grams": f"{default('standard_mass', 'standard_usual')}*standard_per",
        "standard_u": f"{default('standard_u_mass', 'standard_usual_u')}*standard_per",
        "standard_litres": default("standard_water", f"{_WATER}")
                           + f"*IF(standard_us,{_QUART:.12g},1)",
        "standard_share": default("standard_fraction", f"{_FRACTION}"),
        "sugar_grams": "INDEX(SUCROSE_STANDARD(standard_sg,standard_grams),1,1)",
        "standard_says": "IF(ISNUMBER(sugar_grams),standard_weigh&standard_with&standard_is,"
                         "sugar_grams)",
        "standard_weigh": '"Weigh "&' + shown("N(standard_sucrose)", 2)
                          + '&" "&standard_unit&" of white sugar and "',
        "standard_with": shown("N(standard_distilled)", 2)
                         + '&" "&standard_unit&" of distilled water: "',
        "standard_is": f'unit_gravity&" "&{shown("standard_given", choices.gravity_digits)}&", "&'
                       f'{shown("N(standard_brix)", 2)}&" ± "&{shown("N(standard_u_brix)", 2)}&'
                       '" °Brix"',
    }  # fmt: skip


def _notes(heading: str, texts: tuple[str, ...], mark: str) -> Iterator[Block]:
    """Texts under a heading, each with a mark or its number."""
    yield Section(heading)
    for number, text in enumerate(texts, 1):
        yield Text(mark or f"{number}", styles.TEXT, to=1, gap=0)
        yield Text(
            text, styles.TEXT, column=2, beside=True, lines=1.2 if len(text) < _LONG else 2.1
        )
