"""Kettle: what is in the kettle, what the boil makes of it, and what can be done about it.

What was measured before and after the boil comes from Targets, which looks it up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from xlfuncs.science import sucrose
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import HOT
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Column,
    Group,
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
)
from xlfuncs.workbook.kit.formulas import cases, if_numbers, shown, shown_on_scale
from xlfuncs.workbook.sheets.batches import of_shown
from xlfuncs.workbook.sheets.targets import measured

#: The rows of KETTLE_OPTIONS.
_BOIL, _EXTRACT, _WATER, _LEAVE = 1, 2, 3, 4
_OPTIONS = 4
#: Kilograms in a litre of water at 20 °C.
WATER = f"{sucrose.WATER_20 / 1000:.12g}"


def density(sg: str) -> str:
    """Kilograms in a litre at 20 °C, from apparent SG."""
    span = sucrose.WATER_20 - sucrose.AIR_DENSITY
    return f"(({sucrose.AIR_DENSITY:.12g}+{span:.12g}*{sg})/1000)"


@dataclass(frozen=True)
class Case:
    """What can be done at one point: prefix of its names, what it starts from, how it is said.

    The sheet that has the case gives `<prefix>_litres`, `_sg`, `_u`, `_extract`, `_minutes` and
    `_end_litres`; the other fields are formulas.
    """

    prefix: str
    leave: str
    same: str
    longer: str
    then: str
    stage: str = ""
    wanted: str = "kettle_wanted"
    rate: str = "boil_off_litres"
    size: str = "kettle_litres"


_BEFORE = Case(
    "before",
    '"Boil "&before_whole&" min as planned"',
    '"Boil as planned"',
    '" min longer than planned"',
    '" after the boil"',
    words.BEFORE_BOIL,
)
_AFTER = Case("after", '"As it is"', '"No boil needed"', '" min more"', '""', words.AFTER_BOIL)


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.KETTLE,
        "What is in the kettle, what the planned boil makes of it, and what can be done before and "
        "after.",
        "From the log's lines before boil and after boil. Boiling wort scalds, and hot wort cracks "
        "glass: let a sample cool before it meets a jar. Extract and sugar make boiling wort foam "
        "over at once: heat off, add slowly, stir.",
        (
            Text("=TRIM(kettle_says&MID(units_tail,2,300))", styles.ANSWER,
                 name="kettle_answer", lines=1.1),
            Lines(_in_kettle(choices), label=1, cell=2, note=2, gap=0),
            Lines(_forecast(choices), label=2, cell=1, note=1, column=6, beside=True),
            Section("Before the boil: what can be done"),
            options(choices, _BEFORE),
            Section("After the boil: what can still be done"),
            options(choices, _AFTER),
            Text("Bitterness is compared with leaving it, the hops being the same. The numbers "
                 "that somebody tells you go to the sheet Convert.", styles.NOTE, gap=0),
            Steps(_steps(choices), formats={
                "kettle_volume_expanded": styles.ONE,
                "kettle_expanded": choices.fine_gravity_format,
                "kettle_forecast_expanded": choices.fine_gravity_format,
            }),
        ),
        landscape=True,
        parts=(
            ReportPart("kettle", {
                "says": "kettle_answer", "batch": "kettle_batch", "volume": "kettle_volume",
                "volume_expanded": "kettle_volume_expanded", "gravity": "kettle_gravity",
                "gravity_expanded": "kettle_expanded", "extract": "kettle_extract",
                "efficiency": "kettle_efficiency", "forecast": "kettle_forecast",
                "forecast_expanded": "kettle_forecast_expanded",
                "forecast_volume": "kettle_forecast_volume", "lack": "kettle_lack",
            }, title="Kettle"),
            *(
                ReportPart(case.prefix, {
                    key: f"{case.prefix}_{key}"
                    for key in ("option", "amount", "unit", "gravity", "expanded", "volume",
                                "volume_expanded", "bitterness", "words")
                }, keep=("option", "words"))
                for case in (_BEFORE, _AFTER)
            ),
        ),
    )  # fmt: skip


def _in_kettle(choices: words.Choices) -> tuple[Line, ...]:
    digits = choices.gravity_digits
    return (
        Line("kettle_batch", "Batch", "chosen on Batches", formula="shown_batch"),
        Line("kettle_volume", "Volume before boil", '=IF(ISNUMBER(kettle_volume_expanded),"± "&'
             f'{shown("kettle_volume_expanded", 1)}&" "&unit_volume&" at 20 °C",'
             'unit_volume&" at 20 °C")', styles.ONE,
             formula=measured(words.BEFORE_BOIL, "volume")),
        Line("kettle_gravity", "Gravity before boil", '=IF(ISNUMBER(kettle_expanded),"± "&'
             f'{shown("kettle_expanded", digits)}&" "&unit_gravity&IF(N(kettle_of)>1,", mean of "&'
             'kettle_of,""),unit_gravity)',
             choices.fine_gravity_format, formula=measured(words.BEFORE_BOIL, "measured")),
        Line("kettle_extract", "Extract in the kettle", "=unit_mass", styles.TWO,
             formula=if_numbers(["before_extract"], "before_extract/unit_kilograms")),
        Line("kettle_efficiency", "Mash efficiency", "% of the grain's extract", styles.ONE,
             formula=of_shown("batch_efficiency")),
    )  # fmt: skip


def _forecast(choices: words.Choices) -> tuple[Line, ...]:
    fine = choices.fine_gravity_format
    return (
        Line("kettle_target", "Planned after boil", "=unit_gravity", choices.gravity_format,
             formula=measured(words.AFTER_BOIL, "plan")),
        Line("kettle_minutes", "Planned boil", "minutes", styles.WHOLE,
             formula='IF(shown_no=0,"",INDEX(all.batch_boil,shown_no))'),
        Line("kettle_forecast", "It ends at", '=IF(ISNUMBER(kettle_forecast_expanded),"± "&'
             f'{shown("kettle_forecast_expanded", choices.gravity_digits)}&" "&unit_gravity,'
             "unit_gravity)", fine, formula=f"INDEX(all.before_gravity,{_LEAVE})"),
        Line("kettle_forecast_volume", "and at a volume of", '=IF(ISNUMBER('
             'kettle_forecast_volume_expanded),"± "&'
             f'{shown("kettle_forecast_volume_expanded", 1)}&" "&unit_volume&" at 20 °C",'
             'unit_volume&" at 20 °C")', styles.ONE,
             formula=f"INDEX(all.before_volume,{_LEAVE})"),
        Line("kettle_off", "Boil-off in an hour", "=unit_volume", styles.ONE,
             formula=if_numbers(["boil_off_litres"], "boil_off_litres/unit_litres")),
    )  # fmt: skip


def options(choices: words.Choices, case: Case, high: float = 26) -> Table:
    """What can be done at a stage, what each ends at, and in words."""
    fine = choices.fine_gravity_format
    p = case.prefix
    can, raw = f"ISNUMBER({p}_raw_sg)", ("option", "amount", "unit", "sg", "volume")
    return Table(
        p,
        _OPTIONS,
        (
            result(f"{p}_option", "Option", "", 24, styles.GENERAL,
                   f'IF(LEFT({p}_name,2)="! ","",{p}_name)'),
            result(f"{p}_amount", "Amount", "", 9, "0.0#",
                   f'IF({can},{p}_raw_amount/{p}_factor,"")'),
            result(f"{p}_unit", "Unit", "", 9, styles.GENERAL, cases(
                (f'LEFT({p}_measure,2)="! "', '""'),
                (f'{p}_measure="kg"', "unit_mass"), (f'{p}_measure="L"', "unit_volume"),
                otherwise=f"{p}_measure")),
            result(f"{p}_gravity", "Ends at", "=unit_gravity", 11, fine, f"{p}_scaled_1"),
            result(f"{p}_expanded", "±", "about 95 %", 10, fine,
                   if_numbers([f"{p}_scaled_1", f"{p}_scaled_2"],
                              f"{p}_scaled_2-{p}_scaled_1")),
            result(f"{p}_volume", "Ends at", '=unit_volume&" at 20 °C"', 11, styles.ONE,
                   f'IF({can},{p}_raw_volume/unit_litres,"")'),
            result(f"{p}_volume_expanded", "±", "about 95 %", 10, styles.ONE,
                   f"IF({can},2*SQRT(({p}_litres*u_volume)^2+({p}_water*u_boil_off)^2)"
                   '/unit_litres,"")'),
            result(f"{p}_bitterness", "Bitterness", "% change", 11, styles.SIGNED_ONE,
                   f'IF({can},100*(INDEX(all.{p}_raw_volume,{_LEAVE})/{p}_raw_volume-1),"")'),
            result(f"{p}_words", "In words", "", 62, styles.GENERAL, cases(
                (f'LEFT({p}_name,2)="! "', f"{p}_name"),
                (can, f'{p}_deed&": it ends at "&{p}_ends&{p}_room'),
                otherwise=f"{p}_hindrance"), wrap=True),
            # What cannot be done comes as a text in place of the amount.
            Group(f"{p}_raw", tuple(step(f"{p}_raw_{key}", "as answered", "") for key in raw),
                  f"KETTLE_OPTIONS({p}_litres,{p}_sg,{p}_end_litres,{case.wanted},"
                  f"{case.rate},extract_fraction)"),
            Column(f"{p}_no", f"{p}_no", "line", 12, role=Role.STEP,
                   values=range(1, _OPTIONS + 1)),
            # Calc compares the words of our functions rightly only once they are put together anew.
            step(f"{p}_name", "option", f'{p}_raw_option&""'),
            step(f"{p}_measure", "unit", f'{p}_raw_unit&""'),
            step(f"{p}_factor", "unit in L or kg", f'IF({p}_measure="kg",unit_kilograms,'
                 f'IF({p}_measure="L",unit_litres,1))'),
            *_doubt(case),
            *_in_words(choices, case),
        ),
        high=high,
        gap=0,
    )  # fmt: skip


def _doubt(case: Case) -> tuple[Column | Group, ...]:
    """How sure the end of each option is.

    First order (JCGM 100:2008, 5.1.2), the extract in a litre going with SG - 1: of the gravity and
    the volume now, and of the water that boils away.
    """
    p = case.prefix
    can = f"ISNUMBER({p}_raw_sg)"
    return (
        step(f"{p}_change", "minutes beyond the plan",
             f'IF(ISNUMBER({p}_raw_amount),IF({p}_name="boil longer",{p}_raw_amount,'
             f'IF({p}_name="boil shorter",-{p}_raw_amount,0)),0)'),
        step(f"{p}_water", "boiled away, L",
             f'IF({can},{case.rate}/60*({p}_minutes+{p}_change),"")'),
        step(f"{p}_added", "extract added, kg",
             f'IF(ISNUMBER({p}_raw_amount)*({p}_measure="kg"),{p}_raw_amount*extract_fraction,0)'),
        step(f"{p}_share", "extract from the wort",
             f'IF({can},IF(ISNUMBER({p}_extract),{p}_extract/({p}_extract+{p}_added),1),"")'),
        step(f"{p}_by_gravity", "u, of its gravity", f"IF({can}*ISNUMBER({p}_u),"
             f'IF({p}_sg>1,{p}_share*{p}_u/({p}_sg-1),0),"")'),
        step(f"{p}_by_volume", "u, of its volume",
             f'IF({can},({p}_share-{p}_litres/{p}_raw_volume)*u_volume,"")'),
        step(f"{p}_by_boil", "u, of the boil-off",
             f'IF({can},{p}_water*u_boil_off/{p}_raw_volume,"")'),
        Group(f"{p}_pair", (
            step(f"{p}_pair_1", "ends at, SG", f'IF({can},{p}_raw_sg,"")'),
            step(f"{p}_pair_2", "with its ±", f"IF(ISNUMBER({p}_by_gravity),{p}_raw_sg+2*"
                 f"({p}_raw_sg-1)*SQRT({p}_by_gravity^2+{p}_by_volume^2+{p}_by_boil^2),\"\")"))),
        Group(f"{p}_scaled", (step(f"{p}_scaled_1", "ends at", ""),
                              step(f"{p}_scaled_2", "with its ±", "")),
              shown_on_scale(f"{p}_pair")),
    )  # fmt: skip


def _in_words(choices: words.Choices, case: Case) -> tuple[Column, ...]:
    """An option in words, ready to be read out; what cannot be done, and what does not fit.

    Line by line: Calc 7.4 puts texts of two arrays side by side on the wrong lines.
    """
    p, digits = case.prefix, choices.gravity_digits
    minutes = f"{p}_whole"
    amount = shown(f"{p}_amount", 2)
    # The function speaks in SG; on another scale its figures are left out.
    why = (
        f'IF(unit_gravity="SG",SUBSTITUTE(MID({p}_raw_amount,3,250),"target_sg","target"),'
        f'IFERROR(MID({p}_raw_amount,FIND(": ",{p}_raw_amount)+2,250),"out of reach"))'
    )
    sentences = (
        step(f"{p}_whole", "amount in words", f"IF(ISNUMBER({p}_raw_amount),"
             f'{shown(f"{p}_raw_amount", 0)},"")'),
        step(f"{p}_boil", "to do", f"IF(ISNUMBER({p}_raw_sg),IF({p}_no={_LEAVE},{case.leave},"
             f"IF(ROUND({p}_raw_amount,0)=0,{case.same},IF({p}_name=\"boil longer\","
             f'"Boil "&{minutes}&{case.longer},"Boil "&{minutes}&" min less than planned"))),"")'),
        step(f"{p}_extract_deed", "to do", f'IF(ISNUMBER({p}_amount),IF(ROUND({p}_amount,2)=0,'
             f'"No extract needed","Add "&{amount}&" "&unit_mass&" of dry extract"&{case.then}),'
             '"")'),
        step(f"{p}_water_deed", "to do", f'IF(ISNUMBER({p}_amount),IF(ROUND({p}_amount,2)=0,'
             f'"No water needed","Add "&{amount}&" "&unit_volume&" of water"&{case.then}),"")'),
        step(f"{p}_deed", "to do", cases((f"{p}_no={_EXTRACT}", f"{p}_extract_deed"),
                                         (f"{p}_no={_WATER}", f"{p}_water_deed"),
                                         otherwise=f"{p}_boil")),
        step(f"{p}_do", "to do, in a sentence", f'IF(ISNUMBER({p}_raw_sg),LOWER(LEFT({p}_deed,1))'
             f'&MID({p}_deed,2,200),"")'),
        step(f"{p}_ends", "ends at", f"IF(ISNUMBER({p}_gravity),{shown(f'{p}_gravity', digits)}"
             f'&" and "&{shown(f"{p}_volume", 1)}&" "&unit_volume,"")'),
        step(f"{p}_room", "kettle too small", f"IF(ISNUMBER({p}_raw_sg)*ISNUMBER({case.size}),"
             f'IF({p}_raw_volume*{HOT}>{case.size},". Not in this kettle: it would stand at "&'
             f'{shown(f"{p}_raw_volume*{HOT}/unit_litres", 1)}&" "&unit_volume&" while "'
             '&"hot",""),"")'),
        step(f"{p}_why", "why not", f'IF(ISTEXT({p}_raw_amount),{why},"")'),
        step(f"{p}_hindrance", "why not",
             f'IF(LEFT({p}_raw_amount,2)="! ","Not possible: "&{p}_why,"")'),
    )  # fmt: skip
    return tuple(replace(column, by_line=True) for column in sentences)


def _steps(choices: words.Choices) -> dict[str, str]:
    after = words.AFTER_BOIL

    def of(case: Case, what: str, option: int) -> str:
        return f"INDEX(all.{case.prefix}_{what},{option})"

    def number(cell: str) -> str:
        return f'IF({cell}="","",{cell})'

    def now(case: Case) -> dict[str, str]:
        p = case.prefix
        return {
            f"{p}_litres": number(measured(case.stage, "litres_1")),
            f"{p}_sg": number(measured(case.stage, "sg_1")),
            f"{p}_u": number(measured(case.stage, "u")),
            f"{p}_extract": number(measured(case.stage, "extract_1")),
            f"{p}_minutes": 'IF(ISNUMBER(kettle_minutes),kettle_minutes,"")'
                            if case is _BEFORE else "0",
            # As far off as the plan allows: leave it.
            f"{p}_off": if_numbers([of(case, "gravity", _LEAVE), "kettle_target"],
                                   f"{of(case, 'gravity', _LEAVE)}-kettle_target"),
            f"{p}_good": f"IF(ISNUMBER({p}_off),(ABS({p}_off)<=N(kettle_within)*1.000000001)*1,0)",
        }  # fmt: skip

    def told(case: Case, option: int) -> str:
        """What to do, as the middle of a sentence; empty when it cannot be done."""
        return of(case, "do", option)

    return {
        **now(_BEFORE),
        **now(_AFTER),
        "kettle_wanted": number(measured(after, "sg_2")),
        "kettle_within": of_shown("batch_within"),
        "kettle_volume_expanded": number(measured(words.BEFORE_BOIL, "volume_expanded")),
        "kettle_expanded": number(measured(words.BEFORE_BOIL, "expanded")),
        "kettle_of": number(measured(words.BEFORE_BOIL, "of")),
        "kettle_forecast_expanded": of(_BEFORE, "expanded", _LEAVE),
        "kettle_forecast_volume_expanded": of(_BEFORE, "volume_expanded", _LEAVE),
        "before_end_sg": "BOIL_SG(before_litres,before_sg,before_minutes,boil_off_litres)",
        "before_end_litres": "IF(ISNUMBER(before_end_sg),(before_litres*"
                             f"{density('before_sg')}-before_minutes/60*boil_off_litres*{WATER})/"
                             f"{density('before_end_sg')},before_end_sg)",
        "after_end_litres": "after_litres",
        "before_says": cases(
            (f'{told(_BEFORE, _LEAVE)}=""', '""'),
            ("before_good=1", '"boil as planned"'),
            (f'{told(_BEFORE, _BOIL)}<>""', told(_BEFORE, _BOIL)),
            otherwise=told(_BEFORE, _WATER)),
        "after_longer": f'IF(({told(_AFTER, _EXTRACT)}="")+({told(_AFTER, _BOIL)}="")>0,"",'
                        f'" or "&{told(_AFTER, _BOIL)})',
        "after_says": cases(
            (f'{told(_AFTER, _LEAVE)}=""', '""'),
            ("after_good=1", '"leave it as it is"'),
            (f'{told(_AFTER, _WATER)}<>""', told(_AFTER, _WATER)),
            otherwise=f"{told(_AFTER, _EXTRACT)}&after_longer"),
        "kettle_unread": cases(
            ("shown_no=0", '"choose a batch on Batches, or write the brew day in the log"'),
            ("NOT(ISNUMBER(unit_litres))", '"without a unit of volume nothing is reckoned here"'),
            ("NOT(ISNUMBER(before_sg)*ISNUMBER(before_litres))",
             '"the log lacks a line “before boil” with reading and volume"')),
        "kettle_lack": cases(
            ('kettle_unread<>""', "kettle_unread"),
            ('boil_off_litres=""', '"type the boil-off on Setup"'),
            ('kettle_wanted=""', '"type the gravity after boil on Batches"'),
            (f"ISNUMBER(kettle_litres)*(before_litres*{HOT}>N(kettle_litres))",
             '"the kettle on Setup is too small for that volume"')),
        "kettle_first": 'IF(kettle_lack="","",UPPER(LEFT(kettle_lack,1))&MID(kettle_lack,2,200))',
        "kettle_says": cases(
            ('after_says<>""', '"After the boil: "&after_says&"."'),
            ('before_says<>""', '"Before the boil: "&before_says&"."&IF(kettle_first="","",'
                                '" "&kettle_first&".")'),
            otherwise='kettle_first&IF(kettle_first="","",".")'),
    }  # fmt: skip
