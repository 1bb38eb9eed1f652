"""From what an instrument shows to the true gravity, as columns of steps on any sheet.

Each function gives columns of a table with the prefix `steps`; `instrument`, `date`, `reading` and
`temperature` are the names of the cells that hold what was typed.
"""

from __future__ import annotations

from xlfuncs.workbook import styles
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.layout import Column

# The checks of all instruments are brought into one ascending order by a key: a million for each
# instrument number, plus the date, plus a hair for each row so that rows of one moment keep their
# order.  LOOKUP on the sorted keys finds, for any instrument and moment, the last check before it.
PER_INSTRUMENT = 1000000


def of_instrument(number: str, what: str) -> str:
    """Formula: a column of the Setup table for each instrument number in a column."""
    return f"LOOKUP({number},inst_no,inst_{what})"


def step(key: str, heading: str, hint: str, formula: str) -> Column:
    """A column of steps, shown small to the right of the printed page."""
    return Column(key, heading, hint, formula=formula, style=styles.STEP)


def typed(cells: str) -> str:
    """Formula: what was typed, with blanks as empty text (a blank cell would count as 0).

    An error becomes a text of our own: Calc calls no function on a range that holds an error, so
    one such cell would take the answers of all its neighbours.
    """
    return f'IF(ISERROR({cells}),"! this cell holds an error",IF({cells}="","",{cells}))'


def is_hydrometer(kind: str) -> str:
    """Formula: 1 where an instrument is a hydrometer, of glass or floating; else 0."""
    return f'((({kind}="{words.HYDROMETER}")+({kind}="{words.FLOATING}"))>0)'


def without_glass(kind: str, celsius: str) -> str:
    """Formula: a temperature, but that of the scale where there is no glass to correct for."""
    return f'IF({kind}="{words.FLOATING}",20,{celsius})'


def _looked_up(steps: str, what: str) -> str:
    return f'IF({steps}_no=0,"",{of_instrument(f"{steps}_no", what)})'


def named(steps: str, instrument: str) -> tuple[Column, ...]:
    """The instrument of each line, and what Setup says of it."""
    return (
        step(
            "no",
            "Instrument",
            "number",
            f'IFERROR(IF({instrument}="",0,MATCH({instrument},inst_name,0)),0)',
        ),
        step("kind", "Kind", "", _looked_up(steps, "kind")),
        step("scale", "Scale", "", _looked_up(steps, "scale")),
        step("compensated", "Compensated", "", _looked_up(steps, "compensated")),
        step("reference_c", "Reference", "°C", _looked_up(steps, "reference_c")),
    )


def in_force(steps: str, instrument: str, date: str) -> tuple[Column, ...]:
    """The instrument of each line, and the calibration in force at its date."""

    def at_date(what: str, otherwise: str) -> str:
        return (
            f'IF({steps}_no=0,"",IF(INT({steps}_check_key/{PER_INSTRUMENT})={steps}_no,'
            f"LOOKUP({steps}_check_key,sorted_key,sorted_{what}),{otherwise}))"
        )

    # A check on a day without a time counts for all readings of that day.
    moment = f"{date}+IF(INT({date})={date},0.9,0.01)"
    return (
        *named(steps, instrument),
        step("u_reading", "u of reading", "", _looked_up(steps, "u_reading")),
        step(
            "check_key",
            "Check in force",
            "key",
            f'IFERROR(LOOKUP(IF(({steps}_no=0)+({date}=""),-2,{steps}_no*{PER_INSTRUMENT}+{moment}),'
            "sorted_key),-1)",
        ),
        step("check_date", "Check in force", "date", at_date("date", "0")),
        step("offset", "Offset", "", at_date("offset", "0")),
        step("slope", "Slope", "", at_date("slope", "1")),
        # Unchecked, an instrument may be off by all that is tolerated.
        step(
            "u_offset",
            "u of offset",
            "",
            at_date("u_offset", of_instrument(f"{steps}_no", "tolerance")),
        ),
        step("u_slope", "u of slope", "", at_date("u_slope", "0")),
    )


def celsius(temperature: str, key: str = "celsius", heading: str = "Sample") -> Column:
    """A temperature in °C."""
    cells = typed(temperature)
    return step(
        key,
        heading,
        "°C",
        f'IF(unit_temperature="C",{cells},UNIT_CONVERT({cells},unit_temperature,"C"))',
    )


def original(gravity: str, key: str = "original_sg") -> Column:
    """An original gravity, typed in the unit of gravities, as SG."""
    cells = typed(gravity)
    return step(
        key,
        "Original, typed",
        "SG",
        f'IF(unit_gravity="SG",{cells},GRAVITY_CONVERT({cells},unit_gravity,"SG"))',
    )


def lacks(
    steps: str,
    instrument: str,
    date: str,
    reading: str,
    temperature: str,
    *own: tuple[str, str],
    otherwise: str = '""',
) -> str:
    """Formula: what the figure of each line lacks, in words; `own` are a sheet's conditions."""
    remarks = (
        (f'{reading}=""', '""'),
        (f'{instrument}=""', '"choose an instrument"'),
        (f"{steps}_no=0", '"instrument is not on Setup"'),
        *own,
        (
            f'({steps}_kind="{words.HYDROMETER}")*({temperature}="")',
            '"sample temperature is missing"',
        ),
        (f'{date}=""', '"no date: no calibration applied"'),
        (f"{steps}_check_date=0", '"no calibration check before this date"'),
        (
            f'({steps}_kind="{words.REFRACTOMETER}")*({steps}_compensated<>"{words.YES}")'
            f'*({temperature}="")',
            '"no temperature: 20 °C (68 °F) assumed"',
        ),
        (
            f"{date}-{steps}_check_date>" + of_instrument(f"{steps}_no", "interval"),
            '"calibration check was overdue"',
        ),
    )
    remark = otherwise
    for condition, text in reversed(remarks):
        remark = f"IF({condition},{text},{remark})"
    return remark


def refractometer(steps: str, reading: str) -> tuple[Column, ...]:
    """True °Brix of the lines read on a refractometer, and the uncertainty of calibration."""
    return (
        step(
            "brix",
            "Refractometer",
            "true °Bx",
            f'REFRACTOMETER_BRIX(IF({steps}_kind="{words.REFRACTOMETER}",{typed(reading)},""),'
            f'IF({steps}_compensated="{words.YES}","",{steps}_celsius),'
            f"{steps}_offset,{steps}_slope)",
        ),
        step(
            "u_calibration",
            "u of calibration",
            "°Bx",
            f"IF(ISNUMBER({steps}_brix),"
            f'SQRT({steps}_u_offset^2+({steps}_brix*{steps}_u_slope)^2),"")',
        ),
    )


def wort(steps: str) -> tuple[Column, ...]:
    """SG of unfermented wort from true °Brix, and its standard uncertainty."""
    return (
        step("refracted_sg", "Refractometer", "SG", f"WORT_SG({steps}_brix,wort_factor)"),
        step(
            "refracted_u",
            "Refractometer",
            "u of SG",
            f"WORT_SG_UNCERTAINTY({steps}_brix,wort_factor,{steps}_u_reading,u_wort_factor,"
            f"{steps}_u_calibration)",
        ),
    )


def hydrometer(steps: str, reading: str) -> tuple[Column, ...]:
    """SG of the lines read on a hydrometer, in SG or °Plato, and its standard uncertainty.

    A floating hydrometer has no glass to correct for: it counts as read at its own reference.
    """
    floats = is_hydrometer(f"{steps}_kind")
    plato = f'{floats}*({steps}_scale="Plato")'
    shown = f'IF({floats},{typed(reading)},"")'
    return (
        step(
            "as_sg",
            "Hydrometer",
            "as SG",
            f"IF(SUMPRODUCT({plato})=0,{shown},"
            f'IF({plato},GRAVITY_CONVERT(IF({plato},{typed(reading)},""),"Plato","SG"),{shown}))',
        ),
        step(
            "floated_sg",
            "Hydrometer",
            "SG",
            f"HYDROMETER_SG(IF(ISNUMBER({steps}_as_sg),{steps}_as_sg-{steps}_offset,"
            f"{steps}_as_sg),{without_glass(f'{steps}_kind', f'{steps}_celsius')},"
            f"{without_glass(f'{steps}_kind', f'{steps}_reference_c')})",
        ),
        step(
            "floated_u",
            "Hydrometer",
            "u of SG",
            f'IF(ISNUMBER({steps}_floated_sg),SQRT({steps}_u_reading^2+{steps}_u_offset^2),"")',
        ),
    )
