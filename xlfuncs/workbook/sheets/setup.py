"""Setup: what is rarely changed, and what every blank on it stands for."""

from __future__ import annotations

from xlfuncs.science import budget, hydrometer, units
from xlfuncs.science.beer import ALCOHOL_FACTOR, MODEL_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.science.wort import FACTOR_U, WORT_FACTOR
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.defaults import NUMBERS
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
    NONE,
    cases,
    celsius,
    if_numbers,
    initial,
    not_counted,
    or_blank,
    remarks_joined,
    within,
    word,
)

#: Numbers of Setup that stand alone, not in the line of an instrument.
_SINGLE = tuple(cell for cell in NUMBERS if not cell.startswith("inst_"))
#: So many of them in the first of two formulas.
_HALF = len(_SINGLE) // 2


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.SETUP,
        "Choose your units, name your instruments and your kettle. Once, and when one changes.",
        "Fill in what you know; every blank has a sensible value, which is shown. Cells with a "
        "tint and a hairline are yours, everything else is computed.",
        (
            Section("Brewery, units", to=8),
            Section("Kettle and grain", column=10, beside=True),
            Lines(_units(choices), label=2, cell=2, note=4, gap=0),
            Lines(_kettle(), label=4, cell=2, note=5, column=10, beside=True),
            Section('="Instruments: "&IF(inst_notice="","the first is meant where a line of "&'
                    '"the log names none",inst_notice)'),
            _instruments(choices),
            Section("Factors, tolerances"),
            Lines(_factors(choices), label=2, cell=2, note=4, gap=0),
            Lines(_in_use(), label=4, cell=2, note=5, column=10, beside=True),
            Text(
                "Why the ± is wider than in the first edition: wort factors lie from 1.02 to 1.06, "
                "an unchecked slope is known to 1 %, temperature and compensation leave some "
                "0.1 °Bx. Six pairs on Own factors and a check in sugar solution narrow it; more "
                "readings alone do not.",
                styles.LEAD,
                to=16,
                lines=1.7,
            ),
            Steps(_effective()),
        ),
        landscape=True,
        parts=(
            ReportPart("brewery", {"name": "brewery"}),
            ReportPart("units", {what: f"unit_{what}" for what in
                                 ("volume", "temperature", "gravity", "mass")}),
            ReportPart("not_counted", {"units": "units_say", "numbers": "setup_says",
                                       "instruments": "inst_notice"}, title="Setup"),
            ReportPart("factors", {
                "wort_factor": "wort_factor", "u_wort_factor": "u_wort_factor",
                "beer_wort_factor": "beer_wort_factor",
                "beer_alcohol_factor": "beer_alcohol_factor", "in_use": "factors_in_use",
                "remark": "factors_remark",
            }, title="Factors in use"),
        ),
    )  # fmt: skip


def _units(choices: words.Choices) -> tuple[Line, ...]:
    return (
        Line("brewery", "Brewery or shop", "printed on every batch sheet"),
        Line("set_volume", "Volumes in", _told("volume_says", "of every volume you type",
                                                 'no unit: nothing in litres"'),
             value=choices.volume_unit, limits=Limits.among(*words.VOLUME_UNITS)),
        Line("set_temperature", "Temperatures in",
             _told("temperature_says", "C or F", 'no unit: °"&unit_temperature&" counts"'),
             value=choices.temperature_unit, limits=Limits.among(*words.TEMPERATURE_UNITS)),
        Line("set_gravity", "Gravities in", _told("gravity_says", "SG or Plato, on every sheet",
                                                   'no unit: "&unit_gravity&" counts"'),
             value=choices.gravity_scale, limits=Limits.among(*words.GRAVITY_SCALES)),
        Line("set_mass", "Masses in", _told("mass_says", "kg or lb, of grain and extract",
                                              'no unit: "&unit_mass&" counts"'),
             value=choices.mass_unit, limits=Limits.among(*words.MASS_UNITS)),
        Line("as_of", "Show the state on", _told(says("as_of"), "blank: today", _only("as_of")),
             styles.DATE,
             limits=Limits.date()),
    )  # fmt: skip


def says(cell: str) -> str:
    """Name of the step that says why what was typed into a cell of Setup does not count."""
    return f"{cell.removeprefix('set_')}_says"


def _number_line(
    cell: str, label: str, note: str, format: str = styles.PERCENT, message: str = ""
) -> Line:
    """A number, or why the one that stands there does not count."""
    limits = Limits.within(NUMBERS[cell], message)
    return Line(cell, label, _told(says(cell), note, _only(cell)), format, limits=limits)


def _only(cell: str) -> str:
    return f'only {NUMBERS[cell].limits}"'


def _kettle() -> tuple[Line, ...]:
    return (
        _number_line("kettle_size", "Kettle holds", "brim-full; blank: not looked at",
                     styles.VOLUME, "Volume of the kettle, in your unit"),
        _number_line("boil_off", "Boil-off in an hour", "water at 20 °C (68 °F)", styles.VOLUME,
                     "Volume that boils away in an hour, in your unit"),
        _number_line("set_u_boil_off", "How sure of the boil-off, ±", "share; blank: 10 %", "0%",
                     "A share from 0 % to 100 %"),
        _number_line("set_minutes", "Boil, minutes", f"blank: {defaults.BOIL_MINUTES:g}",
                     styles.WHOLE, "Minutes, from 0 on"),
        _number_line("set_u_volume", "How sure of a volume, ±", "share; blank: 1 %",
                     message="A share from 0 % to 20 %"),
        Line("set_marks", "Marks of the kettle were made",
             _told("marks_says", "cold or hot; blank: as read", 'only cold or hot"'),
             limits=Limits.among(words.COLD, words.HOT)),
        _number_line("set_potential", "Extract potential of grain",
                     "share of its mass; blank: 80 %, pale malt",
                     message="A share from 1 % to 100 %"),
        _number_line("set_fraction", "Extract in dry extract", "share; blank: 95 %; sugar: 100 %",
                     message="A share from 1 % to 100 %"),
    )  # fmt: skip


def _factors(choices: words.Choices) -> tuple[Line, ...]:
    sources = Limits.among(words.COMMON, words.OWN)
    factor = "0.000"
    return (
        Line("set_source", "Wort factor from", "own: of the sheet Own factors",
             value=words.COMMON, limits=sources),
        _number_line("set_wort_factor", "Wort factor", f"blank: {WORT_FACTOR}; 40 % corn: 1.025",
                     factor),
        _number_line("set_u_wort_factor", "How sure of it, ±",
                     f"standard uncertainty; blank: {FACTOR_U}", factor),
        Line("set_beer_source", "Factors for beer from", "own: from your fermented pairs",
             value=words.COMMON, limits=sources),
        _number_line("set_beer_wort_factor", "Wort factor for beer", "blank: as for wort", factor),
        _number_line("set_beer_u_wort_factor", "How sure of it, ±",
                     "standard; blank: as for wort", factor),
        _number_line("set_beer_alcohol_factor", "Alcohol factor for beer",
                     f"blank: {ALCOHOL_FACTOR:g}", factor),
        _number_line("set_beer_u_model", "Alcohol correction, ±",
                     f"SG, standard; never below {MODEL_U:g}", styles.SG,
                     "SG, a number from 0 to 0.05"),
        _number_line("set_tolerance", "Gravity on target within ±",
                     '="blank: "&tolerance_gravity&" "&unit_gravity', choices.gravity_format,
                     "How far off is still on target"),
        _number_line("set_tolerance_volume", "Volume on target within ±",
                     "in your unit; blank: 4 % of the plan", styles.VOLUME,
                     "How far off is still on target"),
        _number_line("set_u_temperature", "Temperature known to ±", "blank: 0.5 °C (1 °F)",
                     styles.ONE, "In your unit"),
    )  # fmt: skip


def _in_use() -> tuple[Line, ...]:
    return (
        Line("factors_in_use", "Factors in use for beer", "=factors_remark",
             formula=f'IF(beer_own,"{words.OWN}",beer_given)'),
        Line("shown_wort_factor", "Wort factor", formula="wort_factor", format="0.000"),
        Line("shown_u_wort_factor", "Its ± (standard)", formula="u_wort_factor", format="0.000"),
        Line("shown_beer_factor", "Wort factor for beer", formula="beer_wort_factor",
             format="0.000"),
        Line("shown_alcohol_factor", "Alcohol factor for beer",
             "its refraction over that of pure ethanol",
             formula="beer_alcohol_factor", format="0.000"),
        Line("shown_u_model", "Alcohol correction, ± (standard)", "SG", formula="beer_u_model",
             format=styles.SG),
        Line("decides", "First instrument decides ±",
             '=unit_gravity&" or more; most figures twice that"',
             formula="decided", format="0.000"),
    )  # fmt: skip


def _effective() -> dict[str, str]:
    """What the other sheets use: each entry, or what its blank stands for."""
    plato, factor = f'{initial("set_gravity")}="P"', NUMBERS["set_wort_factor"]
    # Own factors are asked for only where they are chosen: they hang on the log, and the log on the
    # factor in use, which LibreOffice 7.4 may take for a circle when it computes all anew.
    own_wort = f'IF(source="{words.OWN}",ISNUMBER(own_wort_factor),FALSE)'
    own_beer = f'IF(beer_source="{words.OWN}",ISNUMBER(own_beer_wort_factor),FALSE)'
    return {
        "unit_volume": 'IFERROR(IF(TRIM(set_volume)="","L",TRIM(set_volume)),"an error")',
        "unit_temperature": 'IF(ISNUMBER(SEARCH("F",set_temperature)),"F","C")',
        "unit_room": 'IF(unit_temperature="F","68 °F","20 °C")',
        "unit_gravity": f'IF({plato},"Plato","SG")',
        "unit_mass": f'IF({initial("set_mass")}="L","lb","kg")',
        "unit_f": '(unit_temperature="F")*1',
        "unit_p": '(unit_gravity="Plato")*1',
        "unit_found": 'UNIT_CONVERT(1,unit_volume,"L")',
        # Where it is no unit, all that needs it says so.
        "unit_litres": if_numbers(["unit_found"], "unit_found",
                                  '"! "&unit_volume&" on Setup is no unit of volume"'),
        **_unknown_units(),
        "unit_kilograms": f'IF(unit_mass="lb",{units.convert(1.0, "lb", "kg")},1)',
        "celsius_0": 'IF(unit_temperature="F",-160/9,0)',
        "celsius_step": 'IF(unit_temperature="F",5/9,1)',
        "usual_minutes": _counted("set_minutes", defaults.BOIL_MINUTES),
        "u_boil_off": _counted("set_u_boil_off", defaults.BOIL_OFF_U),
        "u_volume": _counted("set_u_volume", defaults.VOLUME_U),
        "marks_c": f'IF({word("set_marks")}="{words.HOT}",{defaults.MARKED_HOT:g},'
                   f"{defaults.MARKED_COLD:g})",
        "marks_growth": f'IF({word("set_marks")}="",0,{defaults.STEEL_EXPANSION:f})',
        "extract_potential": _counted("set_potential", defaults.POTENTIAL),
        "extract_fraction": _counted("set_fraction", defaults.FRACTION),
        "u_celsius": f"IF({_counts('set_u_temperature')},set_u_temperature*celsius_step,"
                     f"{budget.THERMOMETER_U})",
        "tolerance_gravity": _counted(
            "set_tolerance",
            f'IF(unit_gravity="SG",{defaults.TOLERANCE_SG},{defaults.TOLERANCE_PLATO})'),
        "tolerance_sg": f'tolerance_gravity*IF(unit_gravity="SG",1,{defaults.SG_PER_PLATO:g})',
        # Your own factor comes from readings that were corrected by checks: what the checks need of
        # malt extract cannot be your own.
        "common_factor": _number("set_wort_factor", WORT_FACTOR),
        "common_refused": f'IF({within("common_factor", factor)}=1,"","! {factor.what} "&'
                          f'common_factor&" {factor.outside}")',
        "common_u_factor": _counted("set_u_wort_factor", FACTOR_U),
        "wort_own": own_wort,
        "wort_factor": "IF(wort_own,own_wort_factor,common_factor)",
        "u_wort_factor": "IF(wort_own,own_u_wort_factor,common_u_factor)",
        "factor_refused": 'IF(wort_own,"",common_refused)',
        # For what only stands beside an answer: nothing is divided by a factor that is none.
        "near_factor": f'IF(factor_refused="",wort_factor,{WORT_FACTOR})',
        "common_beer_factor": _number("set_beer_wort_factor", "wort_factor"),
        "common_beer_u_factor": _counted("set_beer_u_wort_factor", "u_wort_factor"),
        "common_alcohol_factor": _number("set_beer_alcohol_factor", f"{ALCOHOL_FACTOR:g}"),
        "beer_given": "IF(ISNUMBER(set_beer_wort_factor)+ISNUMBER(set_beer_alcohol_factor)>0,"
                      f'"{words.TYPED}","{words.COMMON}")',
        "beer_instead": '"the "&beer_given&" factors are in use"',
        "beer_own": own_beer,
        # A factor of its own shares nothing with that of the wort.
        "beer_apart": "beer_own+ISNUMBER(set_beer_wort_factor)>0",
        "beer_wort_factor": "IF(beer_own,own_beer_wort_factor,common_beer_factor)",
        "beer_u_wort_factor": "IF(beer_own,own_beer_u_wort_factor,common_beer_u_factor)",
        "beer_alcohol_factor": "IF(beer_own,own_alcohol_factor,common_alcohol_factor)",
        "beer_u_model": f"MAX({MODEL_U:g},IF(ISNUMBER(own_model_error),own_model_error,"
                        f'{_counted("set_beer_u_model", 0)}))',
        "volume_within": _counted("set_tolerance_volume", '""'),
        **{says(cell): not_counted(cell, NUMBERS[cell]) for cell in _SINGLE},
        "setup_wrong": "&".join([*map(says, _SINGLE[:_HALF]), "setup_also"]),
        "setup_also": "&".join([*map(says, _SINGLE[_HALF:]), "marks_says"]),
        "setup_says": remarks_joined("setup_wrong"),
        "setup_first": cases(('units_say<>""', "units_say"), ('setup_says<>""', "setup_says"),
                             otherwise="inst_notice"),
        "inst_first": "MIN(all.inst_wrong)",
        "inst_notice": f'IF(inst_first={NONE},"",INDEX(all.inst_told,inst_first))',
        "source": word("set_source"),
        "beer_source": word("set_beer_source"),
        "factors_remark": cases(
            ("ISERROR(set_source&set_beer_source)",
             '"an error stands above: "&beer_instead'),
            (f'(beer_source="{words.OWN}")*NOT(beer_own)',
             '"no fermented pairs fit yet: "&beer_instead'),
            (f'(source="{words.OWN}")*NOT(ISNUMBER(own_wort_factor))',
             '"no wort pairs fit yet: the common factor is in use"'),
        ),
        "kettle_litres": _litres("kettle_size"),
        "boil_off_litres": _litres("boil_off"),
        # 12 °Bx on the first instrument: the narrowest half-width that 2u keeps inside.
        "decided_prism": f'INDEX(all.inst_is,1)="{words.REFRACTOMETER}"',
        "decided_check": if_numbers(["INDEX(all.state_u,1)"], "INDEX(all.state_u,1)",
                                    "N(INDEX(all.inst_tolerance,1))"),
        "decided_slope": if_numbers(
            ["INDEX(all.state_u_slope,1)"],
            "(12-INDEX(all.state_centre,1))*INDEX(all.state_u_slope,1)",
            f"12*{UNCHECKED_SLOPE_U}"),
        "decided_warm": f"IF(INDEX(all.inst_auto,1)=1,{budget.COMPENSATION_U},"
                        f"{defaults.BRIX_PER_DEGREE}*u_celsius)",
        "decided_u": "IF(decided_prism,SQRT(N(INDEX(all.inst_u,1))^2+decided_check^2+"
                     "decided_slope^2+decided_warm^2+(12*u_wort_factor/near_factor)^2)/near_factor*"
                     f"{defaults.SG_PER_PLATO},SQRT(N(INDEX(all.inst_u,1))^2+decided_check^2+"
                     f"({defaults.SG_PER_DEGREE}*u_celsius)^2))",
        "decided": f'IF(INDEX(all.inst_key,1)="","",2*decided_u/IF(unit_gravity="SG",1,'
                   f"{defaults.SG_PER_PLATO}))",
    }  # fmt: skip


def _unknown_units() -> dict[str, str]:
    """Why a unit is none; what counts then where there are but two."""

    def two(cell: str, letters: str, what: str, unit: str) -> str:
        # A blank, of which the first letter is an empty text, is found too.
        return cases(
            (f"ISERROR({cell})", f'"! an error is no unit of {what}: "&{unit}&" counts"'),
            (f'ISNUMBER(FIND({initial(cell)},"{letters}"))', '""'),
            otherwise=f'"! "&{cell}&" is no unit of {what}: "&{unit}&" counts"')  # fmt: skip

    return {
        "volume_says": if_numbers(["unit_found"], '""', '"! "&unit_volume&" is no unit of volume: '
                                                        'nothing is reckoned in litres"'),
        "temperature_says": two("set_temperature", "CF", "temperature",
                                '"°"&unit_temperature'),
        "gravity_says": two("set_gravity", "SP", "gravity", "unit_gravity"),
        "mass_says": two("set_mass", "KL", "mass", "unit_mass"),
        "marks_says": f'IFERROR(IF((TRIM(set_marks)="")+({word("set_marks")}="{words.COLD}")+'
                      f'({word("set_marks")}="{words.HOT}")>0,"","! marks "&set_marks&" are '
                      f'neither {words.COLD} nor {words.HOT}: taken as {words.COLD}"),'
                      '"! marks: this cell holds an error")',
        "units_wrong": "volume_says&temperature_says&gravity_says&mass_says",
        "units_say": remarks_joined("units_wrong"),
        # Behind the answer of each sheet that somebody looks at first.
        "units_tail": 'IF(units_say="","",". On Setup: "&units_say)',
    }  # fmt: skip


def _number(cell: str, otherwise: object) -> str:
    return if_numbers([cell], cell, str(otherwise))


def _counts(cell: str) -> str:
    return f'ISNUMBER({cell})*({says(cell)}="")'


def _counted(cell: str, otherwise: object) -> str:
    """What was typed, or what a blank stands for."""
    return f"IF({_counts(cell)},{cell},{otherwise})"


def _litres(cell: str) -> str:
    return f'IF({_counts(cell)}*ISNUMBER(unit_litres),{cell}*unit_litres,"")'


def _told(why: str, note: str, instead: str) -> str:
    """The note beside a cell, or in as few words as have room there why that does not count."""
    told = note.removeprefix("=") if note.startswith("=") else f'"{note}"'
    return f'=IF({why}="",{told},"! {instead})'


def _or_says(shown: str, *cells: str) -> str:
    """What counts, or why what was typed does not."""
    return cases(('inst_is=""', '""'), *((f'{cell}_says<>""', f"{cell}_says") for cell in cells),
                 otherwise=shown)  # fmt: skip


def _by_kind(which: int) -> str:
    """What a blank stands for, in the working scale of its kind."""
    return cases(
        *((f'inst_is="{kind}"', f"{values[which]:g}") for kind, values in defaults.BY_KIND.items())
    )


def _instruments(choices: words.Choices) -> Table:
    prism = f'inst_is="{words.REFRACTOMETER}"'
    plato = f'{initial("inst_scale")}="P"'
    numbers = [cell for cell in NUMBERS if cell.startswith("inst_")]

    def limits(cell: str, message: str) -> Limits:
        return Limits.within(NUMBERS[cell], message)

    def in_celsius(cell: str, blank: str = '""') -> str:
        return f'IF({says(cell)}="",{celsius(cell, blank)},{says(cell)})'

    in_scale = "In the scale of the instrument"
    in_unit = ", in the unit chosen on Setup"
    compensates = f"As printed; blank: 10 to 30 °C (50 to 86 °F){in_unit}"
    return Table(
        "inst",
        choices.instruments,
        heading=39,
        parts=(
            Column("inst_no", "No.", "", 3.8, styles.WHOLE, role=Role.FIXED,
                   values=range(1, choices.instruments + 1)),
            typed("inst_name", "Name", "as the log calls it", 19.3),
            typed("inst_identity", "Mark", "serial number", 14.5),
            typed("inst_kind", "Kind", "blank: refractometer", 18,
                  limits=Limits.among(*words.KINDS)),
            typed("inst_scale", "Scale", "blank: °Brix, SG", 6.6,
                  limits=Limits.among(*words.SCALES)),
            typed("inst_material", "Made of", "blank: glass", 7.2,
                  limits=Limits.among(words.GLASS, words.PLASTIC)),
            typed("inst_compensated", "Compen-\nsated", "yes or no", 7.7,
                  limits=Limits.among(words.YES, words.NO)),
            typed("inst_reference", "Reads true at", '="°"&unit_temperature&"; blank: 20 °C"', 7,
                  styles.TEMPERATURE,
                  limits("inst_reference", f"The temperature printed on the hydrometer{in_unit}")),
            typed("inst_water", "Against water at", '="°"&unit_temperature&"; 4 for 20/4"', 7.5,
                  styles.TEMPERATURE,
                  limits("inst_water", "Second number of a scale such as 20/4; blank: the same"
                                       + in_unit)),
            typed("inst_low", "Range from", "as printed", 5.5, styles.READING,
                  limits("inst_low", in_scale)),
            typed("inst_high", "Range to", "as printed", 5.5, styles.READING,
                  limits("inst_high", in_scale)),
            typed("inst_division", "Smallest division", "", 7.5, styles.READING,
                  limits("inst_division", in_scale)),
            typed("inst_compensates_from", "Compen-\nsates from", '="°"&unit_temperature', 7.8,
                  styles.TEMPERATURE, limits("inst_compensates_from", compensates)),
            typed("inst_compensates_to", "Compen-\nsates to", '="°"&unit_temperature', 7.8,
                  styles.TEMPERATURE, limits("inst_compensates_to", compensates)),
            typed("inst_fine", "How finely you can read it", "± blank: by kind", 9.5,
                  styles.READING, limits("inst_fine", "About half a division; never 0")),
            typed("inst_tolerated", "Offset put up with", "blank: by kind", 7.5,
                  styles.READING, limits("inst_tolerated", "The largest offset that you accept")),
            typed("inst_interval", "Check every", "days; blank: by kind", 8.6, styles.WHOLE,
                  limits("inst_interval", "Days from one check to the next")),
            result("inst_used_fine", "Read within", "±, used", 6.8, styles.READING,
                   _or_says(_own("inst_u"), "inst_fine", "inst_division")),
            result("inst_used_tolerance", "Offset", "put up with", 6.8, styles.READING,
                   _or_says(_own("inst_tolerance"), "inst_tolerated")),
            result("inst_every", "Check every", "days, used", 6, styles.WHOLE,
                   cases(('inst_is=""', '""'), (_counts("inst_interval"), "inst_interval"),
                         otherwise=_by_kind(2))),
            step("inst_key", "name", or_blank("TRIM(inst_name)")),
            step("inst_is", "kind", cases(
                ('inst_key=""', '""'),
                ("ISERROR(inst_kind&inst_scale&inst_material&inst_compensated)",
                 f'"{words.BROKEN}"'),
                ('TRIM(inst_kind)=""', f'"{words.REFRACTOMETER}"'),
                otherwise="LOWER(TRIM(inst_kind))")),
            step("inst_in", "scale", cases(
                (prism, 'IF(UPPER(TRIM(inst_scale))="SG","SG","Brix")'),
                (f"{hydrometric('inst_is')}=1", f'IF({plato},"Plato","SG")'))),
            step("inst_per", "working scale in its own", cases(
                (f'({prism})*(inst_in="SG")', f"{defaults.BRIX_PER_SG:g}"),
                (f'({hydrometric("inst_is")})*(inst_in="Plato")', f"{defaults.SG_PER_PLATO:g}"),
                otherwise="1")),
            step("inst_usual_u", "u of its kind", _by_kind(0)),
            step("inst_u", "u of a reading, working scale", cases(
                ('inst_is=""', '""'),
                (_counts("inst_fine"), "inst_fine*inst_per"),
                (_counts("inst_division"), "inst_division/2*inst_per"),
                otherwise="inst_usual_u")),
            step("inst_tolerance", "offset, working scale", cases(
                ('inst_is=""', '""'),
                (_counts("inst_tolerated"), "inst_tolerated*inst_per"),
                otherwise=_by_kind(1))),
            *(step(says(cell), "why it does not count", not_counted(cell, NUMBERS[cell]))
              for cell in numbers),
            step("inst_all_wrong", "what does not count", "&".join(map(says, numbers)),
                 by_line=True),
            step("inst_says", "in a sentence", remarks_joined("inst_all_wrong"), by_line=True),
            step("inst_wrong", "line, if anything",
                 f'IF((inst_key="")+(inst_says="")>0,{NONE},inst_no)'),
            step("inst_told", "by its name", 'inst_key&": "&inst_says', by_line=True),
            step("inst_auto", "compensates: 1",
                 f'({prism})*({word("inst_compensated")}="{words.YES}")'),
            step("inst_ref_c", "°C", in_celsius("inst_reference", f"{defaults.ROOM:g}")),
            step("inst_water_c", "°C", in_celsius("inst_water")),
            step("inst_expansion", "per °C",
                 f'IF({word("inst_material")}="{words.PLASTIC}",'
                 f"{hydrometer.PLASTIC_EXPANSION:g},{hydrometer.GLASS_EXPANSION:g})"),
        ),
    )  # fmt: skip


def _own(cell: str) -> str:
    """A difference of the working scale in the instrument's own."""
    return if_numbers([cell], f"{cell}/inst_per")


def hydrometric(kind: str) -> str:
    """1 where an instrument is a hydrometer, of glass, plastic or floating; else 0."""
    return f'(({kind}="{words.HYDROMETER}")+({kind}="{words.FLOATING}"))'


def of_instrument(number: str, what: str, otherwise: str = '""') -> str:
    """A column of the instruments for each instrument number; 0 is none."""
    return f"IF({number}=0,{otherwise},LOOKUP({number},all.inst_no,all.inst_{what}))"


def instrument_number(cell: str, used: str) -> str:
    """Number of the instrument that a line names; the first where it names none."""
    return (
        f'IFERROR(IF({used},IF(TRIM({cell})="",IF(INDEX(all.inst_key,1)="",0,1),'
        f"MATCH(TRIM({cell}),all.inst_key,0)),0),0)"
    )
