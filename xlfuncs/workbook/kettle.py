"""Kettle sheet: what is in the kettle, what the boil makes of it, and what can be done about it."""

from __future__ import annotations

from dataclasses import dataclass

from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook import brewhouse, layout, panel, styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.brewhouse import HOT, WATER, density, in_units, on_scale
from xlfuncs.workbook.correction import step
from xlfuncs.workbook.layout import Column, Limits, Table
from xlfuncs.workbook.panel import Panel

_STEPS = 12  # first column of the steps, right of the printed page
_RAW = ("raw_option", "raw_amount", "raw_unit", "raw_sg", "raw_volume")
#: Scales in which somebody may tell a gravity.
SCALES = ("SG", "°Bx", "°Plato")


@dataclass(frozen=True)
class _Case:
    """One table of options; `number` is its row in the steps."""

    prefix: str
    number: int
    heading: str


_BEFORE = _Case("before", 1, "Before the boil: what can be done")
_AFTER = _Case("after", 2, "After the boil: what can still be done")
_RESCUE = _Case("rescue", 3, "To read out")


def add(book: Workbook, choices: words.Choices, paper: int) -> None:
    """Add the sheet."""
    sheet = book.create_sheet(words.KETTLE)
    layout.title(
        sheet,
        "Kettle",
        "From the lines “before boil” and “after boil” of the log: what is in the kettle, what the "
        "planned boil makes of it, and what can be done. Bitterness is compared with leaving it, "
        "the hops being the same.",
        "I",
    )
    sheet.row_dimensions[2].height = 36
    row = panel.cautions(
        sheet,
        "A:I",
        4,
        "Boiling wort scalds, and hot wort cracks glass: let a sample cool before it meets a jar.",
        "Extract and sugar make boiling wort foam over at once: heat off, add slowly, stir.",
    )
    row = _measured(sheet, choices, row + 1)
    row = _options(sheet, choices, _BEFORE, row + 1)
    row = _options(sheet, choices, _AFTER, row + 1)
    second = row
    row = _told(sheet, choices, row + 2)
    row = _options(sheet, choices, _RESCUE, row + 1)
    _pots(sheet)
    panel.even(sheet, 4, 8)
    layout.page(sheet, paper, f"A1:I{row - 1}")
    sheet.row_breaks.append(Break(second))


def _measured(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """What was measured before the boil, and what it forecasts."""
    lines = Panel(sheet, "A:B", "C:D", "E:I")
    fine = choices.fine_gravity_format
    at_20 = '="at 20 °C, "&unit_volume'

    def of(what: str, number: int = 1) -> str:
        return f"INDEX(pot_{what},{number})"

    lack = (
        'IF(shown_batch="","write the brew day in the log",'
        f"IF(ISNUMBER({of('sg')})*ISNUMBER({of('volume')}),"
        f'IF(boil_off="","enter the boil-off on Setup",'
        f'IF({of("target")}="","enter the target gravity after the boil on Setup",'
        f"IF(ISNUMBER({of('size')})*({of('volume')}*{HOT}>{of('size')}),"
        '"the kettle on Setup is too small for that volume",""))),'
        '"the log lacks a line “before boil” with reading, volume and the temperature of both"))'
    )
    expanded = f"INDEX(verdict_expanded,{words.TARGET_STAGES.index('before boil') + 1})"
    table: tuple[tuple[str, str, str, str, str], ...] = (
        ("Batch", "kettle_batch", 'IF(shown_batch="","",shown_batch)',
         "chosen on Targets; blank there: the last of the log", styles.PLAIN),
        ("Volume in the kettle", "kettle_volume", in_units(of("volume"), "unit_litres"),
         at_20, styles.VOLUME),
        ("± about 95 %", "kettle_volume_expanded",
         'IF(ISNUMBER(kettle_volume),2*u_volume*kettle_volume,"")', "=unit_volume",
         styles.DEGREES),
        ("Gravity", "kettle_gravity", on_scale(of("sg")), "=unit_gravity", fine),
        ("± about 95 %", "kettle_gravity_expanded",
         f'IF(ISNUMBER(kettle_gravity),{expanded},"")', "=unit_gravity", fine),
        ("Extract in the kettle", "kettle_extract", in_units(of("extract"), "unit_kilograms"),
         "=unit_mass", styles.DEGREES),
        ("Mash efficiency", "kettle_efficiency",
         f'IF(ISNUMBER({of("extract")})*ISNUMBER(grain_mass)*(grain_mass>0),'
         f'100*{of("extract")}/(grain_mass*unit_kilograms*extract_potential),"")',
         "% of what the laboratory finds in the grain mass on Setup", "0.0"),
        ("Forecast: gravity after the boil", "kettle_forecast", on_scale(of("end_sg")),
         '=IF(ISNUMBER(before_expanded_leave),"± "&TEXT(before_expanded_leave,'
         f'"{fine}")&"; "&boil_minutes&" minutes at "&boil_off&" "&unit_volume&" an hour","")',
         fine),
        ("Forecast: volume after the boil", "kettle_forecast_volume",
         in_units(of("end_volume"), "unit_litres"),
         '=IF(ISNUMBER(before_volume_expanded_leave),"± "&TEXT(before_volume_expanded_leave,"0.0")'
         '&"; at 20 °C, "&unit_volume,"")', styles.VOLUME),
    )  # fmt: skip
    for label, key, formula, remark, number_format in table:
        lines.answer(row, label, key, formula, remark, number_format)
        row += 1
    panel.span(sheet, "A:B", row, "To do first", styles.LABEL)
    panel.span(sheet, "C:I", row, "=" + lack, styles.RESULT)
    layout.name(sheet, "kettle_lack", f"C{row}")
    return row + 1


def _told(sheet: Worksheet, choices: words.Choices, row: int) -> int:
    """The rescue corner's entries."""
    panel.span(
        sheet, "A:I", row - 1, "Rescue corner: the numbers that somebody tells you", styles.SECTION
    )
    lines = Panel(sheet, "A:B", "C:D", "E:I")
    volume = Limits.between(0, 1000000, "A volume in the unit chosen on Setup")
    table = (
        ("Volume", "told_volume", "=unit_volume", volume, None, styles.VOLUME),
        (
            "Volume read at",
            "told_temperature",
            '="°"&unit_temperature&"; blank: 20 °C (68 °F)"',
            layout.temperatures(
                100,
                "Temperature of the wort when its volume was read",
            ),
            None,
            styles.TEMPERATURE,
        ),
        (
            "Gravity",
            "told_gravity",
            "as told, on the scale named next",
            Limits.between(0, 45, "SG such as 1.048, or °Bx or °Plato such as 12"),
            None,
            styles.READING,
        ),
        (
            "Its scale",
            "told_scale",
            "°Bx: raw reading of a refractometer that shows 0 in water",
            Limits.among(*SCALES),
            "SG",
            styles.PLAIN,
        ),
        (
            "Its standard uncertainty",
            "told_u",
            "in SG; 0.001 if you do not know the instrument",
            Limits.between(0, 0.02, "In SG, from 0 to 0.02"),
            0.001,
            styles.SG,
        ),
        (
            "Gravity wanted",
            "told_target",
            "=unit_gravity",
            layout.gravities("The gravity wanted, in the unit chosen on Setup"),
            None,
            choices.gravity_format,
        ),
        (
            "Boil still planned, minutes",
            "told_minutes",
            "blank: none",
            Limits.between(0, 10000, "Minutes, from 0 on"),
            None,
            styles.WHOLE,
        ),
        (
            "Boil-off in an hour",
            "told_boil_off",
            '=unit_volume&"; blank: as on Setup"',
            volume,
            None,
            styles.DEGREES,
        ),
        (
            "Kettle holds",
            "told_kettle",
            '=unit_volume&"; blank: as on Setup"',
            volume,
            None,
            styles.VOLUME,
        ),
    )
    for label, key, remark, limits, value, number_format in table:
        lines.entry(row, label, key, remark, limits, value, number_format)
        row += 1
    return row


def _pots(sheet: Worksheet) -> None:
    """What the three tables start from, in litres and SG, and where the planned boil ends."""
    wanted = words.TARGET_STAGES.index("after boil") + 1
    seen = [words.TARGET_STAGES.index(stage) + 1 for stage in ("before boil", "after boil")]

    told = 'IF(ISNUMBER(told_gravity),told_gravity/IF(told_scale="°Bx",wort_factor,1),told_gravity)'
    told = f'IF(told_gravity="","",{told})'
    own = {
        "volume": (
            *(in_litres(f"INDEX(seen_volume,{number})") for number in seen),
            f"VOLUME_AT({brewhouse.litres('told_volume')},IF(told_temperature=\"\",20,"
            f"{brewhouse.celsius('told_temperature')}),20,"
            "IF(ISNUMBER(INDEX(pot_sg,3)),INDEX(pot_sg,3),\"\"))",
        ),
        "sg": (
            *(f"INDEX(seen_sg,{number})" for number in seen),
            f'IF(told_scale="SG",{told},GRAVITY_CONVERT({told},"Plato","SG"))',
        ),
        "plato": (
            *(f"INDEX(seen_plato,{number})" for number in seen),
            f'IF(told_scale="SG",GRAVITY_CONVERT({told},"SG","Plato"),{told})',
        ),
        "u": (*(f"INDEX(seen_u_sg,{number})" for number in seen), 'IF(told_u="",0,told_u)'),
        "minutes": ('IF(boil_minutes="","",boil_minutes)', "0",
                    'IF(told_minutes="",0,told_minutes)'),
        "rate": (
            brewhouse.litres("boil_off", "boil-off"),
            brewhouse.litres("boil_off", "boil-off"),
            f'IF(told_boil_off="",{brewhouse.litres("boil_off", "boil-off")},'
            f'{brewhouse.litres("told_boil_off", "boil-off")})',
        ),
        "target": (
            f"INDEX(seen_target_sg,{wanted})",
            f"INDEX(seen_target_sg,{wanted})",
            brewhouse.as_sg("told_target"),
        ),
        "size": (
            brewhouse.litres("kettle_size", "kettle"),
            brewhouse.litres("kettle_size", "kettle"),
            f'IF(told_kettle="",{brewhouse.litres("kettle_size", "kettle")},'
            f'{brewhouse.litres("told_kettle", "kettle")})',
        ),
    }  # fmt: skip
    hints = {
        "volume": "L at 20 °C", "sg": "SG", "plato": "°Plato", "u": "u of SG",
        "minutes": "planned boil", "rate": "L an hour", "target": "SG wanted", "size": "kettle, L",
    }  # fmt: skip
    pots = Table(
        sheet,
        "pot",
        4,
        3,
        (
            *(step(key, key.capitalize(), hint, "") for key, hint in hints.items()),
            step(
                "leave",
                "Leave it",
                "in words",
                'IF(pot_minutes="","",IF(pot_minutes>0,"Boil "&'
                'TEXT(pot_minutes,"0")&" min as planned","As it is"))',
            ),
            step(
                "same",
                "No change",
                "in words",
                'IF(pot_minutes="","",IF(pot_minutes>0,"Boil as planned","No boil needed"))',
            ),
            step(
                "longer",
                "Longer",
                "in words",
                'IF(pot_minutes="","",IF(pot_minutes>0," min longer than planned"," min more"))',
            ),
            step(
                "form",
                "Gravity",
                "format",
                'IF(unit_gravity="SG",{"0.0000";"0.0000";"0.0000"},{"0.0";"0.0";"0.0"})',
            ),
            step(
                "then",
                "Then",
                "in words",
                'IF(pot_minutes="","",IF(pot_minutes>0," after the boil",""))',
            ),
            step("end_sg", "Boiled", "SG", "BOIL_SG(pot_volume,pot_sg,pot_minutes,pot_rate)"),
            step(
                "end_volume",
                "Boiled",
                "L at 20 °C",
                f"IF(ISNUMBER(pot_end_sg),(pot_volume*{density('pot_sg')}"
                f"-pot_minutes/60*pot_rate*{WATER})/{density('pot_end_sg')},pot_end_sg)",
            ),
            step(
                "extract",
                "Extract",
                "kg",
                "IF(ISNUMBER(pot_volume)*ISNUMBER(pot_sg)*ISNUMBER(pot_plato),"
                f'pot_volume*{density("pot_sg")}*pot_plato/100,"")',
            ),
        ),
        left=_STEPS,
    ).write()
    for key, formulas in own.items():
        for number, formula in enumerate(formulas):
            sheet[f"{pots.letters[key]}{pots.first + number}"] = "=" + formula


def in_litres(cells: str) -> str:
    """Formula: a computed volume in litres; what is no number stays as it is."""
    return f"IF(ISNUMBER({cells}),{cells}*unit_litres,{cells})"


def _options(sheet: Worksheet, choices: words.Choices, case: _Case, row: int) -> int:
    """A table of options; gives the row after it."""
    panel.span(sheet, "A:I", row, case.heading, styles.SECTION)
    fine = choices.fine_gravity_format
    p = case.prefix

    def of(what: str) -> str:
        return f"INDEX(pot_{what},{case.number})"

    def result(
        key: str, heading: str, hint: str, width: float, number_format: str, formula: str
    ) -> Column:
        return Column(key, heading, hint, width, number_format, formula, styles.RESULT)

    can = f"ISNUMBER({p}_raw_sg)"
    kind = f"LEFT({p}_raw_unit,2)"
    table = Table(
        sheet,
        p,
        row + 1,
        4,
        (
            result("option", "Option", "", 17, styles.PLAIN,
                   f'IF(LEFT({p}_raw_option,2)="! ","",{p}_raw_option)'),
            result("amount", "Amount", "", 9, "0.0#",
                   f'IF({can},{p}_raw_amount/{p}_factor,"")'),
            result("unit", "Unit", "", 8, styles.PLAIN,
                   f'IF({kind}="! ","",IF({kind}="kg",unit_mass,'
                   f'IF({kind}="L",unit_volume,{p}_raw_unit)))'),
            result("gravity", "Ends at", "=unit_gravity", 10, fine, f"{p}_at"),
            result("expanded", "± about 95 %", "=unit_gravity", 9, fine,
                   f'IF({can},{p}_upper-{p}_at,"")'),
            result("volume", "Ends at", '=unit_volume&" at 20 °C"', 10, styles.VOLUME,
                   f'IF({can},{p}_raw_volume/unit_litres,"")'),
            result("volume_expanded", "± about 95 %", "=unit_volume", 9, styles.VOLUME,
                   f'IF({can},2*SQRT(({of("volume")}*u_volume)^2+({p}_water*u_boil_off)^2)'
                   '/unit_litres,"")'),
            result("bitterness", "Bitterness", "% change", 10, "+0.0;-0.0;0.0",
                   f'IF({can},100*(INDEX({p}_raw_volume,4)/{p}_raw_volume-1),"")'),
            result("words", "In words", "", 42, styles.PLAIN,
                   f'IF(LEFT({p}_raw_option,2)="! ",{p}_raw_option,IF({can},{p}_deed'
                   f'&": it ends at "&TEXT({p}_at,{of("form")})&" and "&TEXT({p}_volume,"0.0")'
                   f'&" "&unit_volume&{p}_room,{p}_hindrance))'),
        ),
    ).write()  # fmt: skip
    panel.wrapped(sheet, table.cells("words"), 30)
    for key in ("expanded", "volume_expanded"):
        layout.name(sheet, f"{p}_{key}_leave", f"{table.letters[key]}{table.last}")
    steps = Table(
        sheet,
        p,
        row + 1,
        4,
        (
            # What cannot be done comes as a text in place of the amount.
            *(step(key, words.ANSWERED, key[4:], "") for key in _RAW),
            # Calc compares the words of an add-in rightly only once they are put together anew.
            step("name", "Option", "", f'{p}_raw_option&""'),
            step("measure", "Unit", "", f'{p}_raw_unit&""'),
            step(
                "factor",
                "Unit",
                "in L or kg",
                f'IF({p}_measure="kg",unit_kilograms,IF({p}_measure="L",unit_litres,1))',
            ),
            step(
                "change",
                "Boil",
                "minutes beyond the plan",
                f'IF(ISNUMBER({p}_raw_amount),IF({p}_name="boil longer",{p}_raw_amount,'
                f'IF({p}_name="boil shorter",-{p}_raw_amount,0)),0)',
            ),
            step(
                "water",
                "Boiled away",
                "L",
                f'IF({can},{of("rate")}/60*({of("minutes")}+{p}_change),"")',
            ),
            step(
                "added",
                "Extract added",
                "kg",
                f'IF(ISNUMBER({p}_raw_amount)*({p}_measure="kg"),'
                f"{p}_raw_amount*extract_fraction,0)",
            ),
            step(
                "share",
                "Extract",
                "share from the wort",
                f'IF({can},{of("extract")}/({of("extract")}+{p}_added),"")',
            ),
            # First order (JCGM 100:2008, 5.1.2), the extract in a litre going with SG - 1.
            step(
                "u",
                "u at the end",
                "SG",
                f"IF({can},({p}_raw_sg-1)*SQRT(({p}_share*{of('u')}/({of('sg')}-1))^2"
                f"+(({p}_share-{of('volume')}/{p}_raw_volume)*u_volume)^2"
                f'+({p}_water*u_boil_off/{p}_raw_volume)^2),"")',
            ),
            step("at_sg", "Ends at", "SG", f'IF({can},{p}_raw_sg,"")'),
            step("upper_sg", "and 2 u more", "SG", f'IF({can},{p}_raw_sg+2*{p}_u,"")'),
            step("at", "Ends at", "on the scale", ""),
            step("upper", "and 2 u more", "on the scale", ""),
            *_words(case),
        ),
        left=_STEPS,
    ).write()
    steps.block(
        _RAW,
        f"KETTLE_OPTIONS({of('volume')},{of('sg')},{of('end_volume')},{of('target')},"
        f"{of('rate')},extract_fraction)",
    )
    first, last = steps.letters["at_sg"], steps.letters["upper_sg"]
    steps.block(("at", "upper"), on_scale(f"{first}{steps.first}:{last}{steps.last}"))
    return table.last + 1


def _words(case: _Case) -> tuple[Column, ...]:
    """An option in words, ready to be read out; what cannot be done, and what does not fit."""
    p = case.prefix

    def of(what: str) -> str:
        return f"INDEX(pot_{what},{case.number})"

    boil = (
        f'IF({p}_name="leave it",{of("leave")},IF(ROUND({p}_raw_amount,0)=0,{of("same")},'
        f'IF({p}_name="boil longer","Boil "&TEXT({p}_raw_amount,"0")&{of("longer")},'
        f'"Boil "&TEXT({p}_raw_amount,"0")&" min less than planned")))'
    )
    extract = (
        f'IF(ROUND({p}_amount,2)=0,"No extract needed","Add "&TEXT({p}_amount,"0.00")&" "'
        f'&unit_mass&" of dry extract"&{of("then")})'
    )
    water = (
        f'IF(ROUND({p}_amount,2)=0,"No water needed","Add "&TEXT({p}_amount,"0.00")&" "'
        f'&unit_volume&" of water"&{of("then")})'
    )
    # The function speaks in SG; on another scale its figures are left out.
    why = (
        f'IF(unit_gravity="SG",SUBSTITUTE(MID({p}_raw_amount,3,250),"target_sg","target"),'
        f'IFERROR(MID({p}_raw_amount,FIND(": ",{p}_raw_amount)+2,250),"out of reach"))'
    )
    return (
        step(
            "deed",
            "To do",
            "in words",
            f'IF(ISNUMBER({p}_raw_sg),IF({p}_measure="kg",{extract},'
            f'IF({p}_measure="L",{water},{boil})),"")',
        ),
        step(
            "room",
            "Kettle",
            "too small",
            f"IF(ISNUMBER({p}_raw_sg)*ISNUMBER({of('size')}),IF({p}_raw_volume*{HOT}>{of('size')},"
            f'". Not in this kettle: it would stand at "&TEXT({p}_raw_volume*{HOT}/unit_litres,'
            '"0.0")&" "&unit_volume&" while hot",""),"")',
        ),
        step("why", "Why not", "in words", f'IF(ISTEXT({p}_raw_amount),{why},"")'),
        step(
            "hindrance",
            "Why not",
            "in words",
            f'IF(LEFT({p}_raw_amount,2)="! ","Not possible: "&{p}_why,"")',
        ),
    )
