"""Batches: one line for a batch or recipe, with its own plan; and which batch the views show."""

from __future__ import annotations

from collections.abc import Iterator

from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import PLANS
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Column,
    Group,
    Limits,
    Line,
    Lines,
    ReportPart,
    Section,
    Sheet,
    Steps,
    Table,
    result,
    step,
    typed,
)
from xlfuncs.workbook.kit.formulas import (
    NONE,
    as_sg,
    cases,
    in_litres,
    is_date,
    kilograms,
    not_counted,
    number_told,
    on_line,
    on_scale,
    or_blank,
    place,
    remarks_joined,
)
from xlfuncs.workbook.kit.formulas import typed as as_typed
from xlfuncs.workbook.kit.told import Told

#: Sorting key of the log: so many stages for a batch, so many days for a stage.
PER_BATCH, PER_STAGE, DAY_ZERO = 20, 60000, 40000


def column(stage: str, what: str) -> str:
    """Name of the plan's column for a stage."""
    return f"batch_{words.key(stage)}_{what}"


#: Columns whose numbers may be typed as texts; a gravity is read by the functions themselves.
_TEXTS = Told("batch", (
    *PLANS,
    *(column(stage, "volume") for stage in words.PLANNED[:-1]),
))  # fmt: skip


def _number(cell: str) -> str:
    """The step with the number that was typed, as a text too; others stay as they are."""
    return f"batch_number_{[*PLANS].index(cell)}"


def _says(cell: str) -> str:
    """The step that says why what was typed does not count."""
    return f"{cell}_says"


def _or(cell: str, otherwise: str) -> str:
    """The number that was typed, or what stands for one that does not count."""
    return f'IF(ISNUMBER({_number(cell)})*({_says(cell)}=""),{_number(cell)},{otherwise})'


def stage_key(batch: str, stage: str | int) -> str:
    """Where the readings of a stage of a batch begin in the sorted log."""
    return f"(({batch})*{PER_BATCH}+{stage})*{PER_STAGE}"


def latest(batch: str, stage: str | int, what: str) -> str:
    """What the latest valid reading of a stage of a batch gives, from the sorted log."""
    end = f"{stage_key(batch, stage)}+{PER_STAGE - 1}"
    return (
        f"IF(IFERROR(LOOKUP({end},all.seen_key),0)<{stage_key(batch, stage)},\"\","
        f"LOOKUP({end},all.seen_key,all.seen_{what}))"
    )  # fmt: skip


def sheet(choices: words.Choices) -> Sheet:
    """The sheet as data."""
    return Sheet(
        words.BATCHES,
        "One line for each batch or recipe, with its own plan. A verdict is always against the "
        "plan "
        "of its own batch.",
        "The next recipe is the next line. What you leave blank is not looked at; tolerances left "
        "blank are those of Setup. Gravities and volumes at 20 °C (68 °F).",
        (
            Lines(
                (
                    Line("chosen_batch", "The other sheets show batch",
                         "choose one; blank: the batch of the log's last line",
                         limits=Limits.listed("batch_name", "One of the batches below")),
                    Line("shown_batch", "Shown now", "=batch_warning",
                         formula='IF(shown_no=0,"",INDEX(all.batch_name,shown_no))', big=True),
                ),
                label=3, cell=3, note=12, gap=0,
            ),
            Section("Plans"),
            _table(choices),
            Steps({
                "batch_texts": "SUM(all.batch_any_text)",
                "shown_no": 'IFERROR(IF(TRIM(chosen_batch)="",last_batch,'
                            "MATCH(TRIM(chosen_batch),all.batch_key,0)),0)",
                "last_batch": "IF(last_line=0,0,INDEX(all.line_batch,last_line))",
                "batch_warning": cases(
                    ("COUNTA(all.batch_below)>0", '"lines below the frame are not read: '
                                              'xlfuncs upgrade takes them in"'),
                    ('IFERROR(TRIM(chosen_batch)<>"",TRUE)*(shown_no=0)',
                     '"the batch chosen is not below"'),
                    ("SUM(all.batch_twice)>0", '"a batch stands twice: the first line counts"'),
                    otherwise="batch_notice",
                ),
                "batch_first": "MIN(all.batch_wrong)",
                "batch_notice": f'IF(batch_first={NONE},"",INDEX(all.batch_remark,batch_first))',
            }),
        ),
        landscape=True,
        frozen="batch",
        frozen_columns=1,
        tall=True,
        parts=(
            ReportPart("batch", {"name": "shown_batch", "remark": "batch_warning"}),
            ReportPart(
                "batches",
                {
                    "batch": "batch_name", "date": "batch_date", "grain": "batch_grain",
                    "original": "batch_original_shown", "final": "batch_last_shown",
                    "attenuation": "batch_attenuation", "abv": "batch_abv",
                    "efficiency": "batch_efficiency",
                },
                keep=("batch",),
                title="Batches",
            ),
        ),
    )  # fmt: skip


def _table(choices: words.Choices) -> Table:
    gravity, fine = choices.gravity_format, choices.fine_gravity_format
    return Table(
        "batch",
        choices.batches,
        (
            typed("batch_name", "Batch", "name or number", 13.8),
            typed("batch_date", "Brew day", "", 10.2, styles.DATE, Limits.date()),
            typed("batch_grain", "Grain", "=unit_mass", 6, styles.VOLUME,
                  Limits.within(PLANS["batch_grain"], "Mass of all the grain")),
            typed("batch_potential", "Its extract", "blank: Setup", 6.8, styles.PERCENT,
                  Limits.within(PLANS["batch_potential"], "A share from 1 % to 100 %")),
            typed("batch_minutes", "Boil", "min", 5, styles.WHOLE,
                  Limits.within(PLANS["batch_minutes"], "Minutes, from 0 on")),
            *_plan(gravity),
            typed("batch_tolerance", "Gravity ±", "=unit_gravity", 6.9, gravity,
                  Limits.within(PLANS["batch_tolerance"], "How far off is still on target")),
            typed("batch_tolerance_volume", "Volume ±", "=unit_volume", 6.9, styles.VOLUME,
                  Limits.within(PLANS["batch_tolerance_volume"],
                                "How far off is still on target")),
            result("batch_original_shown", "Original gravity", "measured", 7.2, fine,
                   "batch_scaled_1"),
            result("batch_last_shown", "Last gravity", "measured", 7.2, fine, "batch_scaled_2"),
            result("batch_attenuation", "Atten-\nuation", "%", 6, styles.ONE,
                   "APPARENT_ATTENUATION(batch_original,batch_last)"),
            result("batch_abv", "Alcohol", "% vol", 6.8, styles.ONE,
                   "BEER_ABV(batch_original,batch_last)"),
            result("batch_efficiency", "Effi-\nciency", "% mash", 6, styles.ONE,
                   "MASH_EFFICIENCY(batch_kettle_litres,batch_kettle_sg,batch_kilograms,"
                   "batch_share)"),
            typed("batch_note", "Note", "customer", 7.3),
            *_steps(),
        ),
        filtered=True,
        guarded=True,
    )  # fmt: skip


def _plan(gravity: str) -> Iterator[Column]:
    for stage in words.PLANNED:
        final = stage == words.PACKAGED
        yield typed(
            column(stage, "gravity"),
            "Final gravity" if final else stage.capitalize(),
            "=unit_gravity",
            {words.INTO_FERMENTER: 8.2, words.FIRST_RUNNINGS: 7.9}.get(stage, 7.2),
            gravity,
            Limits.gravity("A gravity of the plan"),
        )
        if not final:
            yield typed(column(stage, "volume"), "vol.", "=unit_volume", 6, styles.VOLUME,
                        Limits.amount("A volume at 20 °C of the plan"))  # fmt: skip


def _steps() -> tuple[Column | Group, ...]:
    """What the other sheets look up: the plan in SG, and what the log says of each batch."""
    kettle, fermenter = words.stage(words.BEFORE_BOIL), words.stage(words.INTO_FERMENTER)
    fermenting, packaged = words.stage(words.FERMENTING), words.stage(words.PACKAGED)
    plan = words.planned(words.INTO_FERMENTER)
    return (
        step("batch_no", "line", place("batch", "batch_name")),
        step("batch_key", "name", or_blank("TRIM(batch_name)")),
        step("batch_twice", "1: stands above already",
             '(batch_key<>"")*(IFERROR(MATCH(batch_key,all.batch_key,0),batch_no)<batch_no)'),
        step("batch_day", "brew day", f'IF({is_date("batch_date")},batch_date,"")'),
        *_TEXTS.steps(),
        *(step(_number(cell), "as a number", number_told(cell, _TEXTS.number(cell)))
          for cell in PLANS),
        *(step(_says(cell), "why it does not count", not_counted(_number(cell), reach))
          for cell, reach in PLANS.items()),
        step("batch_all_wrong", "what does not count", "&".join(map(_says, PLANS)), by_line=True),
        step("batch_wrong", "line, if anything",
             f'IF((batch_key="")+(batch_all_wrong="")>0,{NONE},batch_no)'),
        step("batch_remark", "by its name",
             f'batch_key&": "&{remarks_joined("batch_all_wrong")}', by_line=True),
        step("batch_mass", "grain",
             f'IF({_says("batch_grain")}="",{_number("batch_grain")},{_says("batch_grain")})'),
        step("batch_kilograms", "grain, kg",
             f'IF({_says("batch_grain")}="",{kilograms("batch_mass", "grain")},batch_mass)'),
        step("batch_share", "extract of grain", _or("batch_potential", "extract_potential")),
        step("batch_boil", "minutes", _or("batch_minutes", "usual_minutes")),
        step("batch_within", "tolerance, gravity", _or("batch_tolerance", "tolerance_gravity")),
        step("batch_volume_within", "tolerance, volume", _or("batch_tolerance_volume", "0")),
        Group("plan_gravity", tuple(
            step(f"plan_gravity_{number}", stage, as_typed(column(stage, "gravity")))
            for number, stage in enumerate(words.PLANNED, 1))),
        Group("plan_volume", tuple(
            step(f"plan_volume_{number}", stage,
                 number_told(column(stage, "volume"),
                             _TEXTS.number(column(stage, "volume"))))
            for number, stage in enumerate(words.PLANNED[:-1], 1))),
        Group("plan_sg", tuple(step(f"plan_sg_{number}", f"{stage}, SG", "")
                               for number, stage in enumerate(words.PLANNED, 1)),
              as_sg("plan_gravity")),
        # The latest reading into the fermenter; without one, the plan.
        step("batch_measured", "original, SG", latest("batch_no", fermenter, "wort_sg")),
        step("batch_measured_u", "its u", latest("batch_no", fermenter, "wort_u")),
        # Its line, and what its gravity shares with later readings on the instrument.
        step("batch_into", "line of it", latest("batch_no", fermenter, "at")),
        step("batch_into_no", "the same, 0: none", 'IF(batch_into="",0,batch_into)'),
        *(
            step(f"batch_into_{what}", hint,
                 on_line("batch_into_no", "line_no", f"line_{what}", "0"))
            for what, hint in (("inst", "instrument"), ("key", "its check"), ("level", "common"),
                               ("tilt", "common"), ("factor", "common"))
        ),
        step("batch_into_of", "readings", on_line("batch_into_no", "line_no", "mean_of", "0")),
        step("batch_original", "original used, SG",
             f"IF(ISNUMBER(batch_measured),batch_measured,plan_sg_{plan})"),
        step("batch_original_u", "its u", "IF(ISNUMBER(batch_measured_u),batch_measured_u,"
                                          f'IF(ISNUMBER(plan_sg_{plan}),batch_u_plan,""))'),
        step("batch_u_plan", "u of a plan, SG", "tolerance_sg/2"),
        step("batch_last", "last of beer, SG",
             f"IF(ISNUMBER(batch_packaged),batch_packaged,"
             f"{latest('batch_no', fermenting, 'sg')})"),
        step("batch_packaged", "packaged, SG", latest("batch_no", packaged, "sg")),
        step("batch_kettle_sg", "before boil, SG", latest("batch_no", kettle, "sg")),
        *latest_volume("batch_kettle_line", "batch_no", str(kettle), "line of its volume"),
        step("batch_kettle_volume", "before boil",
             on_line("batch_kettle_line", "line_no", "log_volume_20")),
        step("batch_kettle_litres", "before boil, L",
             in_litres("batch_kettle_volume")),
        Group("batch_pair", (step("batch_pair_1", "original", "batch_measured"),
                             step("batch_pair_2", "last", "batch_last"))),
        Group("batch_scaled", (step("batch_scaled_1", "original", ""),
                               step("batch_scaled_2", "last", "")), on_scale("batch_pair")),
        *_for_views(),
    )  # fmt: skip


def latest_volume(name: str, batch: str, stage: str, hint: str) -> tuple[Column, ...]:
    """Steps that find the log's latest line with a volume of a stage: `name`, 0 for none.

    It may be another line than that of the latest gravity: a volume may stand on a line of its own.
    """
    rank, key = f"{name}_rank", f"{name}_key"
    end = f'"<"&{stage_key(batch, f"({stage}+1)")}'
    return (
        step(rank, f"{hint}, so many before", f"COUNTIF(all.line_volume_order,{end})",
             by_line=True),
        step(key, f"{hint}, key", f"IF({rank}=0,0,SMALL(all.line_volume_order,{rank}))",
             by_line=True),
        step(name, hint, f"IF({key}<{stage_key(batch, stage)},0,"
             f"MATCH({key},all.line_volume_order,0))", by_line=True),
    )  # fmt: skip


def _for_views() -> tuple[Column, ...]:
    """What Targets asks of the batches: which have an efficiency, and which wait to be brewed."""
    return (
        step("batch_yield_no", "line, if it has an efficiency",
             'IF(ISNUMBER(batch_efficiency),batch_no,"")'),
        step("batch_waiting_no", "line, if nothing was read",
             'IF((batch_key<>"")*(COUNTIF(all.line_batch,batch_no)=0),batch_no,"")', by_line=True),
    )  # fmt: skip


def of_shown(what: str, otherwise: str = '""') -> str:
    """A column of the batches for the batch that is shown, blanks as empty text."""
    cell = f"INDEX(all.{what},shown_no)"
    return f'IF(shown_no=0,{otherwise},IF({cell}="",{otherwise},{cell}))'
