"""Blend: parts put together, the share of two for a target, and a card for dilution.

To first order a blend's SG moves with a part's by the part's share of the volume, and with a part's
volume by the share times how far the part is from the blend (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import SG_PER_PLATO
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Column,
    Limits,
    Line,
    Lines,
    ReportPart,
    Role,
    Section,
    Sheet,
    Steps,
    Table,
    Text,
    result,
    step,
    typed,
)
from xlfuncs.workbook.kit.formulas import (
    cases,
    celsius,
    if_numbers,
    in_units,
    litres,
    sg_of,
    shown,
    shown_on_scale,
)
from xlfuncs.workbook.quantities import celsius as degrees
from xlfuncs.workbook.quantities import litres as amount
from xlfuncs.workbook.quantities import sg, spread
from xlfuncs.workbook.sheets.kettle import WATER, density

PARTS, CARD = 8, 12
WORT, BEER, PLAIN_WATER = "wort", "beer", "water"
#: From a line of the card to the next, when nothing is typed.
_STEP_SG, _STEP_PLATO = 0.002, 0.5

EXAMPLE = {
    "part_name": ["first wort", "second wort", "water"],
    "part_kind": [WORT, WORT, PLAIN_WATER],
    "part_volume": [amount(12), amount(9), amount(1.5)],
    "part_temperature": [degrees(20), degrees(68), None],
    "part_gravity": [sg(1.062), sg(1.036), None],
    "part_expanded": [spread(0.0016), spread(0.0016), None],
    "share_a": sg(1.062), "share_a_expanded": spread(0.0016),
    "share_b": sg(1.036), "share_b_expanded": spread(0.0016),
    "share_target": sg(1.048), "share_total": amount(20),
    "dilute_volume": amount(22), "dilute_gravity": sg(1.056),
    "dilute_expanded": spread(0.0016), "dilute_first": sg(1.054),
}  # fmt: skip


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.BLEND,
        "Put worts, waters and beers together, find the share of two for a target, print a card "
        "for dilution.",
        "Masses and extract add up; volumes, quite, do not. Of a beer type the true gravity: by "
        "hydrometer, or corrected for alcohol. A ± is about 95 %; blank: not known, and left out.",
        (
            Text("=blend_says", styles.ANSWER, name="blend_answer", lines=1.2),
            Text("=blend_left_out", styles.NOTE, name="blend_remark", gap=0),
            Lines((
                Line("blend_one", "All read on one instrument",
                     "yes: its calibration and the wort factor are off alike in all parts",
                     limits=Limits.among(words.YES, words.NO)),
            ), label=2, cell=1, note=7, gap=0),
            _parts(choices),
            _portions(),
            Section("Two parts for a target", to=4),
            Section("Dilution card: water to add", column=6, beside=True),
            Lines(_share(choices), label=2, cell=1, note=1, gap=0),
            Lines(_dilute(choices), label=2, cell=1, note=2, column=6, beside=True),
            _card(choices),
            _thinned(),
            Steps(_cells(choices)),
        ),
        widths=(13, 9, 9, 12, 10, 10, 9, 10, 10, 20),
        parts=(
            ReportPart("blend", {"says": "blend_answer", "remark": "blend_remark",
                                 "share": "share_percent", "share_expanded": "share_expanded"}),
            ReportPart("blend_parts", {
                "part": "part_name", "kind": "part_kind", "volume": "part_volume_20",
                "remark": "part_remark",
            }, keep=("part", "volume", "remark")),
            ReportPart("dilution", {
                "target": "card_target", "water": "card_water", "volume": "card_makes",
                "expanded": "card_expanded", "remark": "card_remark",
            }, keep=("water", "remark")),
        ),
    )  # fmt: skip


def _expanded() -> Limits:
    return Limits.between(
        0, 'IF(unit_gravity="Plato",5,0.02)',
        "About 95 %, on the scale of the gravity, as the log shows it. Blank: not known",
    )  # fmt: skip


def _warm() -> Limits:
    return Limits.temperature(100, "Temperature at which the volume was read")


def _parts(choices: words.Choices) -> Table:
    true = Limits.between(
        'IF(unit_gravity="Plato",-5,0.98)', 'IF(unit_gravity="Plato",45,1.206)',
        "True gravity in the unit chosen on Setup",
    )  # fmt: skip
    own = "SQRT(ABS(part_u^2-part_common^2))"
    return Table(
        "part",
        PARTS,
        (
            typed("part_name", "Part", "any name", 13),
            typed("part_kind", "It is", "choose", 9, limits=Limits.among(WORT, PLAIN_WATER, BEER)),
            typed("part_volume", "Volume", "=unit_volume", 9, styles.VOLUME,
                  Limits.amount("A volume in the unit chosen on Setup")),
            typed("part_temperature", "read at", '="°"&unit_temperature&"; blank: "&unit_room', 12,
                  styles.TEMPERATURE, _warm()),
            typed("part_gravity", "Gravity", '=unit_gravity&"; water: blank"', 10,
                  choices.gravity_format, true),
            typed("part_expanded", "± of it", "may be blank", 10, choices.gravity_format,
                  _expanded()),
            typed("part_abv", "Alcohol", "% vol, of beer", 9, styles.READING,
                  Limits.between(0, 20, "Alcohol by volume, 0 to 20 %")),
            result("part_volume_20", "Volume", '=unit_room&", "&unit_volume', 10, styles.TWO,
                   in_units("part_litres_20", "unit_litres")),
            result("part_share", "Share", "of the blend", 10, "0%",
                   "IF(ISNUMBER(part_litres_20)*(blend_sum>0),part_litres_20/blend_sum,\"\")"),
            result("part_remark", "Remark", "", 20, styles.GENERAL, cases(
                ("part_some=0", '""'),
                ('part_kind=""', '"choose what it is"'),
                ('part_volume=""', '"volume is missing"'),
                ('(part_is<>"water")*(part_gravity="")', '"gravity is missing"'),
                ('(part_is="beer")*(part_abv="")', '"alcohol is missing"'),
                ('(part_is<>"water")*(1-ISNUMBER(part_expanded))', '"± not given"'))),
            Column("part_no", "part_no", "line", 12, role=Role.STEP, values=range(1, PARTS + 1)),
            step("part_some", "1: filled in",
                 '(part_name&part_kind&part_volume&part_gravity&part_abv<>"")*1'),
            step("part_is", "kind", "LOWER(TRIM(part_kind))"),
            step("part_given", "as SG", sg_of("part_gravity")),
            step("part_sg", "SG", cases(
                ('part_volume=""', '""'),
                ('(part_is="water")*(part_gravity="")', "1"), otherwise="part_given")),
            step("part_litres", "L", litres("part_volume")),
            step("part_celsius", "°C", f'IF(part_temperature="",20,{celsius("part_temperature")})'),
            step("part_hot_sg", "SG, for its volume",
                 'IF(part_is="water",1,IF(ISNUMBER(part_sg),part_sg,""))'),
            step("part_litres_20", "L at 20 °C", "LOOKUP(part_no,all.portion_no,all.portion_20)"),
            step("part_alcohol", "% vol", 'IF(part_volume="","",IF(part_abv<>"",part_abv,'
                 'IF(part_is="beer","",0)))'),
            step("part_mass", "kg", "IF(ISNUMBER(part_litres_20)*ISNUMBER(part_sg),"
                 f"part_litres_20*{density('part_sg')},0)"),
            step("part_u", "u of gravity, SG", "IF(ISNUMBER(part_expanded)*ISNUMBER(part_sg),"
                 "part_expanded/2*blend_per,0)"),
            # What the parts have in common, as a refractometer has it: all but how finely it reads.
            step("part_common", "common, SG", "IF((blend_one_yes=1)*(part_u>blend_own),"
                 "SQRT(part_u^2-blend_own^2),0)"),
            step("part_shift", "times its share",
                 "IF(ISNUMBER(part_share),part_share*part_common,0)"),
            step("part_adds", "its part of u, squared", "IF(ISNUMBER(part_share)*ISNUMBER(part_sg)"
                 f"*ISNUMBER(blended_sg),{_adds('part_share', own, 'part_sg-blended_sg')},0)"),
            step("part_lacks_sg", "1: gravity lacks", '(part_volume<>"")*(part_sg="")'),
            step("part_lacks_abv", "1: alcohol lacks", '(part_volume<>"")*(part_alcohol="")'),
            step("part_lacks_u", "1: ± lacks", '(part_volume<>"")*(part_gravity<>"")'
                 '*(part_is<>"water")*(1-ISNUMBER(part_expanded))'),
        ),
    )  # fmt: skip


def _adds(share: str, u: str, difference: str) -> str:
    """Squared, what a part adds to the u of the blend."""
    return f"({share})^2*(({u})^2+(({difference})*u_volume)^2)"


def _portions() -> Table:
    """The volumes of this sheet at 20 °C by one call: the parts, and the wort to be diluted."""

    def own(part: str, dilute: str) -> str:
        return f"IF(portion_no>{PARTS},{dilute},INDEX(all.{part},MIN({PARTS},portion_no)))"

    return Table(
        "portion",
        PARTS + 1,
        (
            Column("portion_no", "portion_no", "line", 12, role=Role.STEP,
                   values=range(1, PARTS + 2)),
            step("portion_litres", "L", own("part_litres", "dilute_litres"), by_line=True),
            step("portion_celsius", "°C", own("part_celsius", "dilute_celsius"), by_line=True),
            step("portion_sg", "SG", own("part_hot_sg", "dilute_sg"), by_line=True),
            step("portion_20", "L at 20 °C",
                 "VOLUME_AT(portion_litres,portion_celsius,20,portion_sg)"),
        ),
        beside=True,
    )  # fmt: skip


def _share(choices: words.Choices) -> tuple[Line, ...]:
    form, gravity = choices.gravity_format, Limits.gravity("A gravity; water is 1.000, or 0 °Plato")
    without = ('IF((share_mixed_u="")+ISNUMBER(share_a_expanded)*ISNUMBER(share_b_expanded)>0,"",'
               '"; a ± is not given")')  # fmt: skip
    both = 'IF(ISNUMBER(share_fraction)*ISNUMBER(share_total),{}*share_total,"")'
    return (
        Line("share_a", "Gravity of A", "=unit_gravity", form, limits=gravity),
        Line("share_a_expanded", "± of it", "may be blank", form, limits=_expanded()),
        Line("share_b", "Gravity of B", "=unit_gravity", form, limits=gravity),
        Line("share_b_expanded", "± of it", "may be blank", form, limits=_expanded()),
        Line("share_target", "Gravity wanted", "=unit_gravity", form, limits=gravity),
        Line("share_total", "Volume wanted", "=unit_volume", styles.VOLUME,
             limits=Limits.amount("A volume in the unit chosen on Setup")),
        Line("share_percent", "Share of A", "% by volume", styles.ONE,
             formula="IF(ISNUMBER(share_fraction),100*share_fraction,share_fraction)"),
        Line("share_volume_a", "Volume of A", "=unit_volume", styles.TWO,
             formula=both.format("share_fraction")),
        Line("share_volume_b", "Volume of B", "=unit_volume", styles.TWO,
             formula=both.format("(1-share_fraction)")),
        Line("share_expanded", "± of the blend", f"=unit_gravity&{without}",
             choices.fine_gravity_format,
             formula='IF(ISNUMBER(share_mixed_u),2*share_mixed_u/blend_per,"")'),
    )  # fmt: skip


def _dilute(choices: words.Choices) -> tuple[Line, ...]:
    form, gravity = choices.gravity_format, Limits.gravity("A gravity")
    return (
        Line("dilute_volume", "Volume of the wort", "=unit_volume", styles.VOLUME,
             limits=Limits.amount("A volume in the unit chosen on Setup")),
        Line("dilute_temperature", "read at", '="°"&unit_temperature&"; or "&unit_room',
             styles.TEMPERATURE, limits=_warm()),
        Line("dilute_gravity", "Gravity of the wort", "=unit_gravity", form, limits=gravity),
        Line("dilute_expanded", "± of it", "may be blank", form, limits=_expanded()),
        Line("dilute_first", "First target", "=unit_gravity", form, limits=gravity),
        Line("dilute_step", "Step to the next", '="blank: "&dilute_usual', form,
             limits=Limits.between('IF(unit_gravity="Plato",0.01,0.0001)',
                                   'IF(unit_gravity="Plato",10,0.05)',
                                   "How much lower the next target is")),
    )  # fmt: skip


def _card(choices: words.Choices) -> Table:
    """Water to add for a row of targets."""
    fine = choices.fine_gravity_format
    lowest = 'IF(unit_gravity="SG",1,0)+10^-9'
    known = "ISNUMBER(thin_answer)"
    return Table(
        "card_line",
        CARD,
        (
            result("card_target", "Gravity wanted", "=unit_gravity", 10, choices.gravity_format,
                   f"IF(ISNUMBER(dilute_first),IF(dilute_first-card_down*dilute_by>{lowest},"
                   'ROUND(dilute_first-card_down*dilute_by,6),""),"")'),
            result("card_water", "Water to add", "=unit_volume", 9, styles.TWO,
                   f'IF({known},thin_answer/unit_litres,"")'),
            result("card_makes", "Makes", '=unit_room&", "&unit_volume', 10, styles.TWO,
                   f"IF({known},(dilute_20*{density('dilute_sg')}+thin_answer*{WATER})/"
                   f'{density("thin_sg")}/unit_litres,"")'),
            result("card_expanded", "±", '=unit_gravity&", 95 %"', 10, fine,
                   f'IF({known},2*thin_u/blend_per,"")'),
            result("card_remark", "Remark", "", 20, styles.GENERAL, cases(
                ('LEFT(thin_answer,2)="! "',
                 'SUBSTITUTE(MID(thin_answer,3,250),"target_sg","target")'),
                (f"{known}*(1-ISNUMBER(dilute_expanded))", '"± not given"'))),
            Column("card_down", "card_down", "steps", 12, role=Role.STEP, values=range(CARD)),
            step("thin_sg", "target, SG", sg_of("card_target")),
            step("thin_answer", "water, L", "LOOKUP(card_down+1,all.thinned_no,all.thinned_water)"),
            step("thin_share", "wort's share",
                 f'IF({known},dilute_20/(dilute_20+thin_answer),"")'),
            step("thin_u", "u, SG", f"IF({known},SQRT("
                 + _adds("thin_share", "dilute_u", "dilute_sg-thin_sg") + "+"
                 + _adds("1-thin_share", "0", "1-thin_sg") + '),"")'),
        ),
        column=6,
    )  # fmt: skip


def _thinned() -> Table:
    """Water for all dilutions by one call: the card, and that of Convert."""

    def own(card: str, convert: str) -> str:
        return f"IF(thinned_no>{CARD},{convert},{card})"

    return Table(
        "thinned",
        CARD + 1,
        (
            Column("thinned_no", "thinned_no", "line", 12, role=Role.STEP,
                   values=range(1, CARD + 2)),
            step("thinned_litres", "L", own("dilute_20", "convert_dilute_litres"), by_line=True),
            step("thinned_sg", "SG", own("dilute_sg", "convert_dilute_sg"), by_line=True),
            step("thinned_target", "SG", own(f"INDEX(all.thin_sg,MIN({CARD},thinned_no))",
                                             "convert_thin_sg"), by_line=True),
            step("thinned_water", "L of water",
                 "DILUTION_WATER(thinned_litres,thinned_sg,thinned_target)"),
        ),
        beside=True,
    )  # fmt: skip


def _cells(choices: words.Choices) -> dict[str, str]:
    digits = choices.fine_gravity_digits
    u_share = "+".join(
        _adds(share, f"share_{part}_u", f"share_{part}_sg-share_target_sg")
        for part, share in (("a", "share_fraction"), ("b", "1-share_fraction"))
    )

    def u_of(expanded: str) -> str:
        return f"IF(ISNUMBER({expanded}),{expanded}/2*blend_per,0)"

    return {
        "blend_per": f'IF(unit_gravity="SG",1,{SG_PER_PLATO:g})',
        "blend_sum": "SUM(all.part_litres_20)",
        "blend_lacks": "SUM(all.part_lacks_sg)",
        "blended_sg": cases(
            ("COUNTA(all.part_volume)=0", '""'),
            ("blend_lacks>0", '"! gravity is missing in "&blend_lacks&" of the parts"'),
            otherwise="BLEND_SG(all.part_litres_20,all.part_sg)"),
        "blend_litres": f"IF(ISNUMBER(blended_sg),SUM(all.part_mass)/{density('blended_sg')},\"\")",
        "blend_one_yes": f'(LOWER(TRIM(blend_one))="{words.YES}")*1',
        # A reading of the first instrument, as SG.
        "blend_own": "N(INDEX(all.inst_u,1))*IF(INDEX(all.inst_is,1)="
                     f'"{words.REFRACTOMETER}",{SG_PER_PLATO:g}/near_factor,1)',
        "blend_u": 'IF(ISNUMBER(blended_sg),SQRT(SUM(all.part_adds)+SUM(all.part_shift)^2),"")',
        "blended_abv": cases(
            (f'COUNTIF(all.part_is,"{BEER}")*ISNUMBER(blended_sg)=0', '""'),
            ("SUM(all.part_lacks_abv)>0", '"! alcohol is missing in "&SUM(all.part_lacks_abv)&'
                                          '" of the parts"'),
            otherwise="BLEND_ABV(all.part_litres_20,all.part_alcohol,all.part_sg)"),
        "blend_gravity": shown_on_scale("blended_sg"),
        "blended_volume": 'IF(ISNUMBER(blend_litres),blend_litres/unit_litres,"")',
        "blend_expanded": 'IF(ISNUMBER(blend_u),2*blend_u/blend_per,"")',
        "blend_abv_says": 'IF(ISNUMBER(blended_abv),", "&' + shown("blended_abv", 1)
                          + '&" % vol",IF(blended_abv="","","; "&MID(blended_abv,3,60)))',
        "blend_says": cases(
            ('blended_sg=""', '"Type the parts below: the blend appears here."'),
            ("NOT(ISNUMBER(blended_sg))", "blended_sg"),
            otherwise='"The blend: "&blend_gravity_says&blend_volume_says&blend_abv_says'),
        "blend_gravity_says": f'{shown("N(blend_gravity)", digits)}&" ± "&'
                              f'{shown("N(blend_expanded)", digits)}&" "&unit_gravity',
        "blend_volume_says": f'", "&{shown("N(blended_volume)", 2)}&" "&unit_volume&" at "'
                             "&unit_room",
        "blend_left_out": 'IF(SUM(all.part_lacks_u)=0,"","The ± of "&SUM(all.part_lacks_u)&'
                          '" of the parts is not given, and left out.")',
        "share_a_sg": sg_of("share_a"),
        "share_b_sg": sg_of("share_b"),
        "share_target_sg": sg_of("share_target"),
        "share_a_u": u_of("share_a_expanded"),
        "share_b_u": u_of("share_b_expanded"),
        "share_fraction": "BLEND_SHARE(share_a_sg,share_b_sg,share_target_sg)",
        "share_mixed_u": f'IF(ISNUMBER(share_fraction),SQRT({u_share}),"")',
        "dilute_litres": litres("dilute_volume"),
        "dilute_celsius": f'IF(dilute_temperature="",20,{celsius("dilute_temperature")})',
        "dilute_sg": sg_of("dilute_gravity"),
        "dilute_20": f"INDEX(all.portion_20,{PARTS + 1})",
        "dilute_u": u_of("dilute_expanded"),
        "dilute_usual": f'IF(unit_gravity="SG",{_STEP_SG},{_STEP_PLATO})',
        "dilute_by": if_numbers(["dilute_step"], "dilute_step", "dilute_usual"),
    }  # fmt: skip
