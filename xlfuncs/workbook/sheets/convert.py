"""Convert: a few cells in, one answer out; and the rescue corner, for numbers that one is told."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import BRIX_PER_DEGREE, BY_KIND, SG_PER_DEGREE, SG_PER_PLATO
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Block,
    Column,
    Group,
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
    step,
)
from xlfuncs.workbook.kit.formulas import (
    cases,
    celsius,
    default,
    if_numbers,
    in_units,
    litres,
    plato_of_sg,
    sg_of,
    sg_of_plato,
    shown,
    shown_on_scale,
)
from xlfuncs.workbook.quantities import celsius as degrees
from xlfuncs.workbook.quantities import litres as amount
from xlfuncs.workbook.quantities import sg
from xlfuncs.workbook.sheets.blend import CARD
from xlfuncs.workbook.sheets.kettle import Case, density, options
from xlfuncs.workbook.sheets.setup import hydrometric, instrument_number

#: Scales of GRAVITY_CONVERT that are offered; it knows more spellings.
_SCALES = ("SG", "Plato", "Brix", "Points", "Density", "Extract", "Index", "Baume")
#: Scales in which somebody may tell a gravity: a raw reading, SG, °Plato.
BRIX_TOLD, SG_TOLD, PLATO_TOLD = "Brix", "SG", "Plato"
#: Doubt of a gravity that one is told, where nothing is known of the instrument, SG.
_TOLD_U = 0.001
_WORT = 1.05
#: Doubt of a refractometer that nobody checked: reading and tolerance of its kind, °Bx.
_ANY_U = round(math.hypot(*BY_KIND[words.REFRACTOMETER][:2]), 2)
_FIRST_U = "N(INDEX(all.inst_tolerance,1))"
#: Line of the strip's drops, and of the blend's dilutions, that is this sheet's.
_DROP, _THIN = 51, CARD + 1

_RESCUE = Case(
    "rescue", "rescue_leave", "rescue_same", "rescue_longer", "rescue_then",
    wanted="rescue_wanted", rate="rescue_rate", size="rescue_size",
)  # fmt: skip

EXAMPLE = {
    "convert_reading": 12.4, "convert_temperature": degrees(26),
    "scale_value": 12, "scale_from": "Plato", "scale_to": "SG",
    "hot_volume": amount(25), "hot_temperature": degrees(98),
    "thin_volume": amount(22), "thin_gravity": sg(1.056), "thin_wanted": sg(1.048),
    "two_volume_a": amount(12), "two_gravity_a": sg(1.062),
    "two_volume_b": amount(8), "two_gravity_b": sg(1.036),
    "abv_original": sg(1.048), "abv_final": sg(1.010),
    "lost_sg": sg(1.0105), "lost_brix": 6.3,
    "told_volume": amount(27), "told_temperature": degrees(72), "told_gravity": 11.2,
    "told_scale": BRIX_TOLD, "told_target": sg(1.050), "told_minutes": 60,
}  # fmt: skip


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.CONVERT,
        "One number in, one answer out: readings, scales, volumes, dilution, blends, alcohol; and "
        "the rescue corner.",
        "Nothing here goes into the log. Units are those of Setup; a blank temperature is 20 °C "
        "(68 °F).",
        (
            Section("A reading of wort to gravity", to=5),
            Section("A gravity on another scale", column=6, beside=True),
            _left(_reading(choices)),
            _right(_scales()),
            Section("A volume from hot to cold", to=5),
            Section("Water to dilute wort", column=6, beside=True),
            _left(_volume(choices)),
            _right(_thin(choices)),
            Section("Two worts put together", to=5),
            Section("Alcohol from two gravities", column=6, beside=True),
            _left(_two(choices)),
            _right(_alcohol(choices)),
            Section("Original gravity of a beer whose start was not measured"),
            _left(_lost(choices)),
            _right(_lost_answer(choices)),
            Section("Rescue corner: numbers that somebody tells you"),
            *_told(choices),
            Text("Boiling wort scalds. Extract and sugar make it foam over at once: heat off, add "
                 "slowly, stir.", styles.CAUTION, gap=0, lines=1.2),
            options(choices, _RESCUE, high=39),
            _warm(),
            _lost_table(),
            Table("two", 2, (
                Column("two_no", "two_no", "part", 12, role=Role.STEP, values=(1, 2)),
                step("two_litres", "volume", "IF(two_no=1,N(two_volume_a),N(two_volume_b))",
                     by_line=True),
                step("two_sg", "SG", "IF(two_no=1,two_sg_a,two_sg_b)", by_line=True),
            ), beside=True),
            Steps(_cells(choices)),
        ),
        widths=(19, 9, 9, 10, 9, 10, 9, 11, 37),
        parts=(
            ReportPart("convert", {
                "gravity": "convert_gravity", "expanded": "convert_expanded",
                "scale": "scale_answer", "volume": "hot_answer", "water": "thin_answer_shown",
                "blend": "two_answer", "abv": "abv_answer", "original": "lost_answer",
                "original_expanded": "lost_answer_expanded",
            }),
            ReportPart("rescue", {
                key: f"rescue_{key}" for key in ("option", "amount", "unit", "gravity", "expanded",
                                                 "volume", "volume_expanded", "words")
            }, keep=("option", "words")),
        ),
    )  # fmt: skip


def _left(lines: tuple[Line, ...]) -> Lines:
    return Lines(lines, label=1, cell=2, note=2, gap=0)


def _right(lines: tuple[Line, ...]) -> Lines:
    return Lines(lines, label=2, cell=1, note=1, column=6, beside=True)


def _gravity(name: str, label: str, choices: words.Choices, note: str = "=unit_gravity") -> Line:
    return Line(name, label, note, choices.gravity_format,
                limits=Limits.gravity("A gravity"))  # fmt: skip


def _amount(name: str, label: str, note: str = "=unit_volume") -> Line:
    return Line(name, label, note, styles.VOLUME,
                limits=Limits.amount("A volume in the unit chosen on Setup"))  # fmt: skip


def _degrees(name: str, label: str) -> Line:
    return Line(name, label, '="°"&unit_temperature', styles.TEMPERATURE,
                limits=Limits.temperature(100, "Temperature"))  # fmt: skip


def _reading(choices: words.Choices) -> tuple[Line, ...]:
    digits = choices.fine_gravity_digits
    return (
        Line("convert_instrument", "Instrument", "blank: the first",
             limits=Limits.listed("inst_name", "An instrument of Setup")),
        Line("convert_reading", "Reading", "as shown", styles.READING,
             limits=Limits.between(-1, 150, "What the instrument shows")),
        _degrees("convert_temperature", "Sample"),
        Line("convert_gravity", "Gravity", f'=IF(ISNUMBER(convert_expanded),"± "&'
             f'{shown("convert_expanded", digits)}&" "&unit_gravity,read_remark)',
             choices.fine_gravity_format, formula="read_gravity", big=True),
    )  # fmt: skip


def _scales() -> tuple[Line, ...]:
    scale = Limits.among(*_SCALES)
    return (
        Line("scale_value", "Number", "", styles.READING),
        Line("scale_from", "is", "SG, Plato, Brix, Points, Density (kg/m³), Extract (g/L) …",
             limits=scale),
        Line("scale_to", "shown as", "", limits=scale),
        Line("scale_answer", "Answer", '=scale_to&""', "0.0###", big=True,
             formula='IF((scale_value="")+(scale_from="")+(scale_to="")>0,"",'
                     "GRAVITY_CONVERT(scale_value,scale_from,scale_to))"),
    )  # fmt: skip


def _volume(choices: words.Choices) -> tuple[Line, ...]:
    return (
        _amount("hot_volume", "Volume"),
        _degrees("hot_temperature", "read at"),
        _gravity("hot_gravity", "Gravity", choices,
                 f'=unit_gravity&"; blank: as "&{shown(f"{_WORT}", 2)}'),
        Line("hot_answer", '="At "&unit_room', "=unit_volume", styles.TWO,
             formula=in_units("warm_20_1", "unit_litres"), big=True),
    )  # fmt: skip


def _thin(choices: words.Choices) -> tuple[Line, ...]:
    return (
        _amount("thin_volume", "Volume", '=unit_volume&" at "&unit_room'),
        _gravity("thin_gravity", "Gravity", choices),
        _gravity("thin_wanted", "Gravity wanted", choices),
        Line("thin_answer_shown", "Water to add", '=IF(ISNUMBER(thin_answer_shown),unit_volume,'
             'thin_remark)', styles.TWO, big=True,
             formula=f"IF(ISNUMBER({_thinned()}),{_thinned()}/unit_litres,\"\")"),
    )  # fmt: skip


def _thinned() -> str:
    return f"INDEX(all.thinned_water,{_THIN})"


def _two(choices: words.Choices) -> tuple[Line, ...]:
    return (
        _amount("two_volume_a", "Volume of A", '=unit_volume&" at "&unit_room'),
        _gravity("two_gravity_a", "Gravity of A", choices),
        _amount("two_volume_b", "Volume of B", '=unit_volume&" at "&unit_room'),
        _gravity("two_gravity_b", "Gravity of B", choices, '=unit_gravity&"; water 1.000 or 0"'),
        Line("two_answer", "Together", "=unit_gravity", choices.fine_gravity_format, big=True,
             formula=shown_on_scale("two_blend")),
    )  # fmt: skip


def _alcohol(choices: words.Choices) -> tuple[Line, ...]:
    return (
        _gravity("abv_original", "Original gravity", choices),
        _gravity("abv_final", "Gravity of the beer", choices,
                 '=unit_gravity&", by hydrometer or corrected for alcohol"'),
        Line("abv_answer", "Alcohol", "% vol; a label or tax needs the approved method",
             styles.ONE, formula='IF((abv_og="")+(abv_fg="")>0,"",BEER_ABV(abv_og,abv_fg))',
             big=True),
    )  # fmt: skip


def _lost(choices: words.Choices) -> tuple[Line, ...]:
    return (
        _gravity("lost_sg", "Gravity, by hydrometer", choices, '=unit_gravity&", degassed, 20 °C"'),
        Line("lost_expanded", "± of it", '="blank: "&lost_usual', choices.gravity_format,
             limits=Limits.between(0, 'IF(unit_gravity="Plato",5,0.02)', "About 95 %")),
    )  # fmt: skip


def _lost_answer(choices: words.Choices) -> tuple[Line, ...]:
    return (
        Line("lost_brix", "Refractometer", "true °Bx, first one of Setup", styles.READING,
             limits=Limits.between(-1, 45, "°Brix at 20 °C, less its correction")),
        Line("lost_answer", "Original gravity", '=IF(ISNUMBER(lost_answer_expanded),"± "&'
             f'{shown("lost_answer_expanded", choices.gravity_digits)}&" "&unit_gravity,'
             "unit_gravity)", choices.fine_gravity_format, formula="lost_scaled_1", big=True),
    )  # fmt: skip


def _lost_table() -> Table:
    """Original gravity from both instruments, and its u: of the hydrometer, and of the rest.

    Solved backwards: how the gravity of the beer moves with all else, over how it moves with the
    original (docs/science.md, “original”).
    """

    def pair(name: str, hint: str, values: tuple[str, str]) -> Group:
        return Group(name, tuple(step(f"{name}_{i}", hint, value)
                                 for i, value in enumerate(values, 1)))  # fmt: skip

    return Table(
        "lost",
        1,
        (
            step("lost_original", "original, SG", 'IF((lost_given="")+(lost_brix="")>0,"",'
                 "ORIGINAL_SG(lost_given,lost_brix,beer_wort_factor))"),
            pair("lost_og", "original, SG", ("lost_original", "lost_original")),
            pair("lost_u", "u of °Bx", ("lost_u_brix", "0")),
            pair("lost_u_factor", "u of the factor", ("beer_u_wort_factor", "0")),
            pair("lost_u_original", "u of the original", ("0", "0.01")),
            pair("lost_u_model", "u of the model", ("beer_u_model", "0")),
            Group("lost_u_beer", (step("lost_u_beer_1", "of all but the original", ""),
                                  step("lost_u_beer_2", "of the original, 0.01", "")),
                  'IF(ISNUMBER(lost_og),BEER_SG_UNCERTAINTY(lost_og,lost_brix,beer_wort_factor,'
                  'lost_u,lost_u_factor,lost_u_original,lost_u_model),"")'),
            step("lost_u_found", "u of the original", if_numbers(
                ["lost_u_beer_1", "lost_u_beer_2"],
                'IF(lost_u_beer_2>0,SQRT(lost_u_sg^2+lost_u_beer_1^2)*0.01/lost_u_beer_2,"")')),
            Group("lost_two", (step("lost_two_1", "SG", "lost_original"),
                               step("lost_two_2", "with its ±", if_numbers(
                                   ["lost_u_found"], "lost_original+2*lost_u_found")))),
            Group("lost_scaled", (step("lost_scaled_1", "as on Setup", ""),
                                  step("lost_scaled_2", "with its ±", "")),
                  shown_on_scale("lost_two")),
        ),
        beside=True,
    )  # fmt: skip


def _told(choices: words.Choices) -> Iterator[Block]:
    yield _left((
        _amount("told_volume", "Volume"),
        _degrees("told_temperature", "read at"),
        Line("told_gravity", "Gravity", "as told", styles.READING,
             limits=Limits.between(0, 45, "SG such as 1.048, or °Bx or °Plato such as 12")),
        Line("told_scale", "Its scale", "blank: by its size",
             limits=Limits.among(SG_TOLD, BRIX_TOLD, PLATO_TOLD)),
        Line("told_u", "How sure, ± (standard)", f'="SG; blank: "&{shown(f"{_TOLD_U}", 3)}',
             styles.SG, limits=Limits.between(0, 0.02, "In SG, from 0 to 0.02")),
    ))  # fmt: skip
    yield _right((
        _gravity("told_target", "Gravity wanted", choices),
        Line("told_minutes", "Boil still planned", "minutes; blank: none", styles.WHOLE,
             limits=Limits.between(0, 10000, "Minutes, from 0 on")),
        _amount("told_boil_off", "Boil-off in an hour", '=unit_volume&"; blank: as on Setup"'),
        _amount("told_kettle", "Kettle holds", '=unit_volume&"; blank: as on Setup"'),
        Line("told_remark", "Still lacks", "", formula="rescue_lack"),
    ))  # fmt: skip


def _warm() -> Table:
    """Two volumes at 20 °C by one call: hot to cold, and what somebody told."""
    return Table(
        "warm",
        1,
        (
            Group("warm_litres", (
                step("warm_litres_1", "hot, L", litres("hot_volume")),
                step("warm_litres_2", "told, L", litres("told_volume")))),
            Group("warm_celsius", (
                step("warm_celsius_1", "°C",
                     f'IF(hot_temperature="",20,{celsius("hot_temperature")})'),
                step("warm_celsius_2", "°C",
                     f'IF(told_temperature="",20,{celsius("told_temperature")})'))),
            Group("warm_sg", (
                step("warm_sg_1", "SG", f'IF(hot_sg="",{_WORT},hot_sg)'),
                step("warm_sg_2", "SG", 'IF(ISNUMBER(rescue_sg),rescue_sg,"")'))),
            Group("warm_20", (
                step("warm_20_1", "L at 20 °C", ""),
                step("warm_20_2", "L at 20 °C", "")),
                "VOLUME_AT(warm_litres,warm_celsius,20,warm_sg)"),
        ),
        beside=True,
    )  # fmt: skip


def _cells(choices: words.Choices) -> dict[str, str]:
    return {**_read(), **_simple(), **_lost_cells(choices), **_rescue()}


def _lost_cells(choices: words.Choices) -> dict[str, str]:
    per = f'IF(unit_gravity="SG",1,{SG_PER_PLATO:g})'
    prism = f'INDEX(all.inst_is,1)="{words.REFRACTOMETER}"'

    def first(what: str, otherwise: str) -> str:
        state = f"INDEX(all.state_{what},1)"
        return f"IF(ISNUMBER({state}),{state},{otherwise})"

    return {
        "lost_given": sg_of("lost_sg"),
        "lost_u_sg": if_numbers(["lost_expanded"], f"lost_expanded/2*{per}", f"{_TOLD_U}"),
        "lost_usual": shown(f"2*{_TOLD_U}/{per}", choices.gravity_digits),
        # Drop and calibration of the first instrument; of a hydrometer, as of any refractometer.
        "lost_u_brix": f"IF({prism},SQRT(N(INDEX(all.inst_u,1))^2+{first('u', _FIRST_U)}^2+"
                       f"(lost_brix*{first('u_slope', f'{UNCHECKED_SLOPE_U}')})^2+"
                       f"({BRIX_PER_DEGREE}*u_celsius)^2),{_ANY_U})",
        "lost_answer_expanded": if_numbers(["lost_scaled_1", "lost_scaled_2"],
                                           "lost_scaled_2-lost_scaled_1"),
    }  # fmt: skip


def _read() -> dict[str, str]:
    """A reading on any instrument, by the correction now used."""

    def of(what: str) -> str:
        return f"INDEX(all.inst_{what},read_no)"

    def in_force(what: str, otherwise: str) -> str:
        state = f"INDEX(all.state_{what},read_no)"
        return f"IF(read_no=0,{otherwise},IF(ISNUMBER({state}),{state},{otherwise}))"

    floating = f'{of("is")}="{words.FLOATING}"'

    def unless_floating(value: str) -> str:
        return f'IF(read_no=0,"",IF({floating},20,{value}))'

    per = f'IF(unit_gravity="SG",1,{SG_PER_PLATO:g})'
    return {
        "read_no": instrument_number("convert_instrument", 'convert_reading<>""'),
        "read_prism": f'IF(read_no=0,0,({of("is")}="{words.REFRACTOMETER}")*1)',
        "read_float": f"IF(read_no=0,0,({hydrometric(of('is'))}=1)*1)",
        "read_c": celsius("convert_temperature"),
        "read_drop_c": f'IF(read_no=0,"",IF({of("auto")}=1,"",read_c))',
        "read_as": f'IF(read_no=0,"",{of("in")})',
        "read_shown": "IF(ISNUMBER(convert_reading)*(read_prism=1),"
                      'IF(read_as="SG",read_plato,convert_reading),"")',
        "read_plato": if_numbers(["convert_reading"], plato_of_sg("convert_reading")),
        "read_offset": in_force("offset", "0"),
        "read_slope": in_force("slope", "1"),
        "read_centre": in_force("centre", "0"),
        "read_u": f'IF(read_no=0,0,{in_force("u", of("tolerance"))})',
        "read_u_slope": in_force("u_slope", f"{UNCHECKED_SLOPE_U}"),
        "read_u_drop": f"IF(read_prism=0,0,SQRT({of('u')}^2+IF({of('auto')}=1,{COMPENSATION_U},"
                       f"{BRIX_PER_DEGREE}*u_celsius)^2))",
        "read_sg": if_numbers(["convert_reading"], sg_of_plato("convert_reading")),
        "read_stem": "IF(ISNUMBER(convert_reading)*(read_float=1),"
                     'IF(read_as="Plato",read_sg,convert_reading)-read_offset,"")',
        "read_jar_c": unless_floating("read_c"),
        "read_ref_c": unless_floating(of("ref_c")),
        "read_water_c": unless_floating(of("water_c")),
        "read_expansion": f'IF(read_no=0,"",{of("expansion")})',
        "read_jar": 'IF(read_stem="","",HYDROMETER_SG(read_stem,IF(read_jar_c="",20,read_jar_c),'
                    "read_ref_c,read_water_c,read_expansion))",
        "read_u_jar": f"IF(read_float=0,\"\",SQRT({of('u')}^2+read_u^2+({SG_PER_DEGREE}*u_celsius)"
                      "^2))",
        "read_jar_shown": shown_on_scale("read_jar"),
        "read_gravity": "IF(read_prism=1,read_drop,IF(read_float=1,read_jar_shown,\"\"))",
        "read_drop": f"IF(ISNUMBER(INDEX(all.strip_true,{_DROP})),"
                     f"INDEX(all.strip_gravity_1,{_DROP}),INDEX(all.strip_true,{_DROP}))",
        "read_u_drop_shown": f"INDEX(all.strip_u,{_DROP})",
        "convert_expanded": "IF(ISNUMBER(read_gravity),IF(read_prism=1,2*read_u_drop_shown,"
                            f'2*read_u_jar/{per}),"")',
        "read_remark": cases(
            ('convert_reading=""', '""'),
            ("read_no=0", '"instrument is not on Setup"'),
            ("read_prism+read_float=0", '"it shows no gravity"'), otherwise="unit_gravity"),
    }  # fmt: skip


def _simple() -> dict[str, str]:
    return {
        "hot_sg": sg_of("hot_gravity"),
        "convert_dilute_litres": litres("thin_volume"),
        "convert_dilute_sg": sg_of("thin_gravity"),
        "convert_thin_sg": sg_of("thin_wanted"),
        "thin_remark": f'IF(LEFT({_thinned()},2)="! ",SUBSTITUTE(MID({_thinned()},3,90),'
                       '"target_sg","wanted"),unit_volume)',
        "two_sg_a": sg_of("two_gravity_a"),
        "two_sg_b": sg_of("two_gravity_b"),
        "two_blend": "IF(ISNUMBER(two_volume_a)*ISNUMBER(two_volume_b)*ISNUMBER(two_sg_a)*"
                     'ISNUMBER(two_sg_b),BLEND_SG(all.two_litres,all.two_sg),"")',
        "abv_og": sg_of("abv_original"),
        "abv_fg": sg_of("abv_final"),
    }  # fmt: skip


def _rescue() -> dict[str, str]:
    """What the options start from."""
    return {
        "rescue_scale": cases(
            ('TRIM(told_scale)<>""', "UPPER(LEFT(TRIM(told_scale),1))"),
            otherwise='IF(N(told_gravity)<1.3,"S","B")'),
        # A raw reading of a refractometer shows wort.
        "rescue_plato": if_numbers(
            ["told_gravity"], 'IF(rescue_scale="B",IF(factor_refused="",told_gravity/'
                              'wort_factor,factor_refused),told_gravity)'),
        "rescue_sg": 'IF(NOT(ISNUMBER(told_gravity)),"",IF(rescue_scale="S",told_gravity,'
                     "rescue_of_plato))",
        "rescue_of_plato": if_numbers(["rescue_plato"], sg_of_plato("rescue_plato")),
        "rescue_litres": "warm_20_2",
        "rescue_u": default("told_u", f"{_TOLD_U}"),
        "rescue_minutes": "N(told_minutes)",
        "rescue_rate": f'IF(told_boil_off="",boil_off_litres,{litres("told_boil_off")})',
        "rescue_size": f'IF(told_kettle="",kettle_litres,{litres("told_kettle")})',
        "rescue_wanted": sg_of("told_target"),
        # Steam takes its own volume of water with it, within 0.1 % of what is left.
        "rescue_end_litres": 'IF(ISNUMBER(rescue_litres)*ISNUMBER(rescue_rate),'
                             'rescue_litres-rescue_minutes/60*rescue_rate,"")',
        "rescue_percent": if_numbers(["rescue_sg"], plato_of_sg("rescue_sg")),
        "rescue_extract": if_numbers(
            ["rescue_litres", "rescue_percent"],
            f"rescue_litres*{density('rescue_sg')}*rescue_percent/100"),
        "rescue_leave": 'IF(rescue_minutes>0,"Boil "&INDEX(all.rescue_whole,4)&" min as planned",'
                        '"As it is")',
        "rescue_same": 'IF(rescue_minutes>0,"Boil as planned","No boil needed")',
        "rescue_longer": 'IF(rescue_minutes>0," min longer than planned"," min more")',
        "rescue_then": 'IF(rescue_minutes>0," after the boil","")',
        "rescue_lack": cases(
            ('(told_volume="")*(told_gravity="")', '""'),
            ('told_volume=""', '"volume"'), ('told_gravity=""', '"gravity"'),
            ('told_target=""', '"gravity wanted"'),
            ("NOT(ISNUMBER(rescue_rate))", '"boil-off"'), otherwise='"nothing"'),
    }  # fmt: skip
