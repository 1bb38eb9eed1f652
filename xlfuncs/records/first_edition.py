"""The first edition: its cells under the names of today.

It knew one plan, typed on Setup, and asked for readings on four sheets.  Today a plan stands on the
line of its batch, and every reading is a line of the log.
"""

from __future__ import annotations

import bisect
import datetime
import functools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

from xlfuncs.cells.values import date_serial
from xlfuncs.files import problems
from xlfuncs.files.problems import Source
from xlfuncs.records.old import Entry, Old, Template, said
from xlfuncs.records.record import Line, Record
from xlfuncs.science import gravity, units
from xlfuncs.workbook import words

#: Sheets that are called otherwise today.
TITLES = {"Pairs": words.FACTORS}

#: Single cells that are typed, and what they are called today.
_CELLS = {
    "unit_volume": "set_volume", "unit_temperature": "set_temperature",
    "unit_gravity": "set_gravity", "unit_mass": "set_mass", "wort_factor": "set_wort_factor",
    "u_wort_factor": "set_u_wort_factor", "u_volume": "set_u_volume",
    "u_boil_off": "set_u_boil_off", "boil_minutes": "set_minutes",
    "extract_potential": "set_potential", "extract_fraction": "set_fraction",
    "target_batch": "chosen_batch",
} | {name: name for name in (
    "as_of", "kettle_size", "boil_off", "chart_instrument", "interval_by_history",
    "budget_reading", "budget_temperature", "budget_u_cloud", "card_instrument", "standard_u_mass",
    "standard_mass", "standard_water", "standard_fraction", "told_volume", "told_temperature",
    "told_gravity", "told_scale", "told_u", "told_target", "told_minutes", "told_boil_off",
    "told_kettle", "share_a", "share_a_expanded", "share_b", "share_b_expanded", "share_target",
    "share_total", "dilute_volume", "dilute_temperature", "dilute_gravity", "dilute_expanded",
    "dilute_first", "dilute_step",
)}  # fmt: skip
#: What a new workbook had typed already where a blank says the same today.
_PRESET = {"u_wort_factor": 0.01, "standard_sg": 1.04, "standard_mass": 100, "standard_water": 1,
           "standard_u_mass": 0.1, "standard_fraction": 0.95, "told_u": 0.001,
           "budget_u_temperature": 1, "run_limit": 1.01}  # fmt: skip
#: Columns that are typed, by table of today.
_COLUMNS = {
    "inst": {
        "inst_u_reading": "inst_fine", "inst_tolerance": "inst_tolerated",
        "inst_resolution": "inst_division",
    } | {name: name for name in (
        "inst_name", "inst_identity", "inst_kind", "inst_scale", "inst_compensated",
        "inst_reference", "inst_interval", "inst_low", "inst_high", "inst_compensates_from",
        "inst_compensates_to",
    )},
    "check": {
        "check_reading_1": "check_shown_1", "check_reading_2": "check_shown_2",
        "check_reading_3": "check_shown_3", "check_reference_2": "check_known_2",
        "check_reference_3": "check_known_3", "check_reference_scale": "check_known_in",
        "check_state": "check_as",
    } | {name: name for name in (
        "check_instrument", "check_date", "check_temperature", "check_who", "check_note",
    )},
    "part": {name: name for name in (
        "part_name", "part_kind", "part_volume", "part_temperature", "part_gravity",
        "part_expanded", "part_abv",
    )},
    "log": {name: name for name in (
        "log_date", "log_batch", "log_stage", "log_instrument", "log_reading", "log_temperature",
        "log_volume", "log_volume_temperature", "log_note",
    )},
}  # fmt: skip
#: Readings of other sheets that are lines of the log today.
_READINGS = {
    "ferment_date": "log_date", "ferment_batch": "log_batch", "ferment_instrument":
    "log_instrument", "ferment_reading": "log_reading", "ferment_temperature": "log_temperature",
    "run_volume": "log_volume", "run_volume_temperature": "log_volume_temperature",
    "run_reading": "log_reading", "run_temperature": "log_temperature", "run_ph": "log_ph",
}  # fmt: skip
#: Computed cells that mean the same today.
_SAME = ("log_sg", "log_u", "log_volume_20", "shown_batch")
_PAIRED = {
    "pair_refractometer": ("pair_shown_brix", "pair_shown_brix_temperature"),
    "pair_hydrometer": ("pair_shown_sg", "pair_shown_sg_temperature"),
}
_TARGETS = (words.FIRST_RUNNINGS, words.RUNOFF_END, words.BEFORE_BOIL, words.AFTER_BOIL,
            words.INTO_FERMENTER)  # fmt: skip
_SCALES_TOLD = {"°BX": "Brix", "°PLATO": "Plato"}
_WATER = {words.HYDROMETER: 1, words.FLOATING: 1}


@functools.cache
def template() -> Template:
    """The first edition's workbook as it was before anybody typed into it."""
    data = (resources.files("xlfuncs.records") / "first_edition.xlsx").read_bytes()
    return Template(problems.load(Source(Path("first_edition.xlsx"), data)))


def record(old: Old) -> Record:
    """The record of a workbook of the first edition."""
    return _Reading(old).record


@dataclass
class _Batch:
    """What becomes the line of a batch."""

    entries: dict[str, Entry]
    planned: bool = False  # the plan of Setup is its plan


class _Reading:
    """The reading of one workbook."""

    def __init__(self, old: Old) -> None:
        self.old = old
        names = {**_CELLS, **_READINGS, **{name: name for name in _SAME}}
        for columns in _COLUMNS.values():
            names |= columns
        self.record = Record(names=names, titles=TITLES, reordered="log")
        self.batches: dict[str, _Batch] = {}
        self._cells()
        for table in ("inst", "part"):
            self.record.tables[table] = [
                Line(self._renamed(line, _COLUMNS[table])) for line in old.lines([*_COLUMNS[table]])
            ]
        self._checks()
        self._past()
        self._log()
        self._plans()
        self.record.tables["batch"] = [Line(batch.entries) for batch in self.batches.values()]

    def _lose(self, entry: Entry | None, why: str) -> None:
        if entry is not None and not entry.blank:
            self.record.lost.append(entry.lost(why))

    def _renamed(self, line: Mapping[str, Entry], names: Mapping[str, str]) -> dict[str, Entry]:
        return {names[name]: entry for name, entry in line.items() if name in names}

    def _typed(self, name: str) -> Entry | None:
        """A single cell that somebody typed: blank, or as a new workbook had it, it is none."""
        entry = self.old.single(name)
        if entry is None or entry.blank:
            return None
        preset = _PRESET.get(name)
        return None if preset is not None and entry.value == preset else entry

    @property
    def _plato(self) -> bool:
        return _key(getattr(self.old.single("unit_gravity"), "value", "")).startswith(("p", "°p"))

    # --- single cells

    def _cells(self) -> None:
        for name, now in _CELLS.items():
            entry = self.old.single(name)
            if entry is not None:
                kept = self._typed(name)
                self.record.cells[now] = kept or replace(entry, value=None, formula="")
        if self.old.single("u_wort_factor") and not self._typed("u_wort_factor"):
            self.record.notes.append(
                "the wort factor counts as known within ±0.012 where the first edition's own 0.01 "
                "stood: the ± of drops are wider"
            )
        self._set("set_beer_source", "beer_correction", {"fitted": words.OWN, "default": "common"})
        self._set("card_show", "card_boxes", {"from the log": words.YES, "to write on": words.NO})
        told = self.record.cells.get("told_scale")
        if told and isinstance(told.value, str):
            scale = _SCALES_TOLD.get(told.value.strip().upper(), told.value)
            self.record.cells["told_scale"] = replace(told, value=scale)
        self._standards()
        self._lose(self._typed("budget_u_temperature"), "the ± of a temperature is set on Setup")
        chosen = self.old.single("ferment_chosen")
        if chosen and not chosen.blank:
            shown = self.record.cells.get("chosen_batch")
            if shown is None or shown.blank:
                self.record.cells["chosen_batch"] = chosen
            elif _key(shown.value) != _key(chosen.value):
                self._lose(chosen, f"all sheets show one batch now: {said(shown.value)}")

    def _set(self, now: str, name: str, meaning: Mapping[str, str]) -> None:
        entry = self.old.single(name)
        if entry is not None and not entry.blank:
            value = meaning.get(_key(entry.value), entry.value)
            self.record.cells[now] = replace(entry, value=value, formula="")

    def _standards(self) -> None:
        """Reference solutions: in the workbook's own units today."""
        wanted = self._typed("standard_sg")
        if wanted:
            value = wanted.value
            if self._plato and _number(value):
                value = round(float(gravity.convert(value, "SG", "Plato")), 2)
            self.record.cells["standard_gravity"] = replace(wanted, value=value, formula="")
        if _key(getattr(self.old.single("unit_mass"), "value", "")) != "lb":
            return
        for name, was, now in (("standard_mass", "g", "oz"), ("standard_u_mass", "g", "oz"),
                               ("standard_water", "L", "US qt")):  # fmt: skip
            entry = self._typed(name)
            if entry and _number(entry.value):
                value = round(float(units.convert(entry.value, was, now)), 4)
                self.record.cells[name] = replace(entry, value=value, formula="")

    # --- checks

    def _checks(self) -> None:
        """Checks; what stood as the reference of the first reading is that of a solution today."""
        kinds = {
            _key(line["inst_name"].value): _key(line["inst_kind"].value)
            for line in self.old.lines(["inst_name", "inst_kind"])
        }
        names = {**_COLUMNS["check"], "check_reference_1": "reference"}
        lines = []
        for old in self.old.lines([*names], below=True):
            line = self._renamed(old, names)
            reference = line.pop("reference")
            kind = kinds.get(_key(line["check_instrument"].value), "")
            if not reference.blank and not self._is_water(reference.value, kind, line):
                self._with_reference(line, reference)
            lines.append(Line(line))
        self.record.tables["check"] = lines

    def _is_water(self, value: Any, kind: str, line: Mapping[str, Entry]) -> bool:
        """Whether a reference is what the first column stands for today."""
        if kind == words.THERMOMETER:
            unit = getattr(self.old.single("unit_temperature"), "value", "")
            return bool(value == (32 if _key(unit) == "f" else 0))
        scale = _key(line["check_known_in"].value)
        return bool(value == (1 if scale == "sg" else 0 if scale else _WATER.get(kind, 0)))

    def _with_reference(self, line: dict[str, Entry], reference: Entry) -> None:
        for number in (2, 3):
            shown, known = f"check_shown_{number}", f"check_known_{number}"
            if line[shown].blank and line[known].blank:
                first = line["check_shown_1"]
                line[shown], line[known] = first, reference
                line["check_shown_1"] = replace(first, value=None, formula="")
                return
        self._lose(reference, "the first reading of a check is one in water now")

    # --- batches

    def _batch(self, name: Entry) -> _Batch:
        """The line of a batch, begun where it is new."""
        key = _key(name.value)
        if key not in self.batches:
            self.batches[key] = _Batch({"batch_name": replace(name, formula="")})
        return self.batches[key]

    def _past(self) -> None:
        """Past batches, with their grain."""
        for line in self.old.lines(["past_batch", "past_grain", "past_potential", "past_known"]):
            name = line["past_batch"]
            if name.blank:
                for entry in line.values():
                    self._lose(entry, "no batch is named beside it")
                continue
            batch = self._batch(name)
            batch.entries["batch_grain"] = line["past_grain"]
            batch.entries["batch_potential"] = line["past_potential"]
            known = line["past_known"]
            if not known.blank:
                text = f"mash efficiency {said(known.value)} %, as typed in the first edition"
                batch.entries["batch_note"] = replace(known, value=text, formula="")

    def _plans(self) -> None:
        """The plan of Setup, for each batch that was brewed by it; and its grain."""
        run = self.old.single("run_batch")
        chosen = self.old.single("target_batch")
        for batch in (run, chosen):
            if batch is not None and not batch.blank:
                self._batch(batch).planned = True
        plan = {name: entry for name, entry in self._plan().items() if not entry.blank}
        brewed = [line for line in self.batches.values() if line.planned]
        if plan and not brewed:
            brewed = [self._batch(Entry(words.SETUP, 0, 0, "plan of the first edition"))]
        for line in brewed:
            line.entries = {**plan, **line.entries}
        if len(brewed) > 1 and plan:
            names = ", ".join(said(line.entries["batch_name"].value) for line in brewed)
            self.record.notes.append(
                f"the plan and the grain of Setup stand on the line of each batch now: {names}; "
                "change those that had another recipe"
            )
        if run is not None and not run.blank:
            self._run(run)

    def _run(self, run: Entry) -> None:
        """Day and limit of the runoff belong to its batch."""
        entries = self._batch(run).entries
        day = self.old.single("run_date")
        if day is not None and not day.blank:
            entries["batch_date"] = day
        limit = self._typed("run_limit")
        if limit is None or (self._plato and limit.value == 2.6):
            return
        planned = entries.setdefault(f"batch_{words.key(words.RUNOFF_END)}_gravity", limit)
        if planned.value != limit.value:
            self._lose(limit, f"the plan stops the runoff at {said(planned.value)}")

    def _plan(self) -> dict[str, Entry]:
        grain = self.old.single("grain_mass")
        plan = {} if grain is None else {"batch_grain": grain}
        columns = ("target_gravity", "target_volume", "target_gravity_tolerance",
                   "target_volume_tolerance")  # fmt: skip
        lines = self.old.lines(columns)
        for stage, line in zip(_TARGETS, lines, strict=False):
            plan[f"batch_{words.key(stage)}_gravity"] = line["target_gravity"]
            plan[f"batch_{words.key(stage)}_volume"] = line["target_volume"]
        for column, now in (("target_gravity_tolerance", "batch_tolerance"),
                            ("target_volume_tolerance", "batch_tolerance_volume")):  # fmt: skip
            given = [line[column] for line in lines if not line[column].blank]
            if given:
                ((most, _),) = Counter(entry.value for entry in given).most_common(1)
                plan[now] = next(entry for entry in given if entry.value == most)
                for entry in given:
                    if entry.value != most:
                        why = f"a batch has one tolerance for all stages now: {said(most)}"
                        self._lose(entry, why)
        return plan

    # --- the log

    def _log(self) -> None:
        """All readings as lines of the log: its own in their order, the others by their moment."""
        lines = [
            Line(dict(line), (line["log_date"].sheet, line["log_date"].row))
            for line in self.old.lines([*_COLUMNS["log"]], below=True)
        ]
        while lines and lines[-1].blank:
            lines.pop()
        past = set(self.batches)
        for line in lines:
            self._of_log(line, past)
        for more in (self._runoff(), self._fermentation(), self._pairs()):
            lines = _merged(lines, more)
        self.record.tables["log"] = lines

    def _of_log(self, line: Line, past: Iterable[str]) -> None:
        name, stage = line.entries["log_batch"], _key(line.entries["log_stage"].value)
        if name.blank:
            return
        batch = self._batch(name)
        brewing = stage in words.STAGES and stage not in (words.FERMENTING, words.PACKAGED)
        batch.planned |= brewing and _key(name.value) not in past
        day = line.entries["log_date"]
        if brewing and "batch_date" not in batch.entries and not day.blank:
            batch.entries["batch_date"] = day

    def _runoff(self) -> Iterator[Line]:
        batch, day = self.old.single("run_batch"), self.old.single("run_date")
        instrument = self.old.single("run_instrument")
        columns = [name for name in _READINGS if name.startswith("run_")]
        for old in self.old.lines(columns):
            line = Line(self._renamed(old, _READINGS), _stood(old))
            if line.blank:
                continue
            common = {"log_batch": batch, "log_date": day, "log_instrument": instrument}
            line.entries |= {name: entry for name, entry in common.items() if entry is not None}
            line.entries["log_stage"] = _word(line, words.RUNOFF_STAGE)
            yield line

    def _fermentation(self) -> Iterator[Line]:
        columns = [name for name in _READINGS if name.startswith("ferment_")]
        for old in self.old.lines([*columns, "ferment_original"], below=True):
            original = old["ferment_original"]
            line = Line(self._renamed(old, _READINGS), _stood(old))
            if line.blank and original.blank:
                continue
            line.entries["log_stage"] = _word(line, words.FERMENTING)
            name = line.entries["log_batch"]
            if not name.blank:
                self._original(name, original)
            else:
                self._lose(original, "no batch is named beside it")
            yield line

    def _pairs(self) -> Iterator[Line]:
        """A pair is a drop and a jar of one moment."""
        more = ("pair_date", "pair_beer", "pair_original", "pair_use")
        columns = [*more, *_PAIRED, *(name for names in _PAIRED.values() for name in names)]
        for old in self.old.lines(columns, below=True):
            if all(entry.blank for entry in old.values()):
                continue
            if not old["pair_beer"].blank:
                self._original(old["pair_beer"], old["pair_original"])
            else:
                self._lose(old["pair_original"], "no beer is named beside it")
            left_out = _key(old["pair_use"].value) == words.NO
            for instrument, (shown, temperature) in _PAIRED.items():
                if old[shown].blank:
                    continue
                line = Line({
                    "log_date": old["pair_date"], "log_batch": old["pair_beer"],
                    "log_instrument": old[instrument], "log_reading": old[shown],
                    "log_temperature": old[temperature],
                }, _stood(old))  # fmt: skip
                line.entries["log_stage"] = _word(line, words.FERMENTING)
                if left_out:
                    line.entries["log_leave"] = replace(old["pair_use"], value=words.YES)
                yield line

    def _original(self, name: Entry, original: Entry) -> None:
        """An original gravity that was typed beside a reading belongs to the plan of its batch."""
        entries = self._batch(name).entries
        if original.blank:
            return
        planned = entries.setdefault(f"batch_{words.key(words.INTO_FERMENTER)}_gravity", original)
        if planned.value != original.value:
            why = f"the batch {said(name.value)} has one original gravity: {said(planned.value)}"
            self._lose(original, why)


# --- lines ------------------------------


def _merged(lines: list[Line], more: Iterable[Line]) -> list[Line]:
    """Lines put among those of the log, which stay in their order: each after what came before."""
    known = {_same(line) for line in lines}
    added = [line for line in more if _same(line) not in known]
    moments, latest = [], -math.inf
    for line in lines:
        latest = max(latest, _moment(line))
        moments.append(latest)
    slots: dict[int, list[Line]] = {}
    for line in sorted(added, key=_moment):
        moment = _moment(line)
        at = len(lines) if moment == -math.inf else bisect.bisect_right(moments, moment)
        slots.setdefault(at, []).append(line)
    merged: list[Line] = []
    for number in range(len(lines) + 1):
        merged += slots.get(number, [])
        merged += lines[number : number + 1]
    return merged


def _moment(line: Line) -> float:
    value: Any = line.entries["log_date"].value if "log_date" in line.entries else None
    if isinstance(value, datetime.date):
        return float(date_serial(value))
    return float(value) if _number(value) else -math.inf


def _same(line: Line) -> tuple[str, ...]:
    """What tells one reading from another: the same on two sheets is one reading."""
    keys = ("log_date", "log_batch", "log_stage", "log_instrument", "log_reading", "log_volume",
            "log_ph")  # fmt: skip
    held = [line.entries[key].value if key in line.entries else None for key in keys]
    return tuple(_key(value) for value in held) if held[4] is not None else (str(id(line)),)


def _stood(line: Mapping[str, Entry]) -> tuple[str, int]:
    first = next(iter(line.values()))
    return first.sheet, first.row


def _word(line: Line, word: str) -> Entry:
    """A word of ours as an entry of a line."""
    sheet, row = line.stood or ("", 0)
    return Entry(sheet, row, 0, word)


def _key(value: Any) -> str:
    """A name for comparing: blanks around it and case do not count, 12 and "12" are one."""
    if value is None:
        return ""
    return (f"{value:.15g}" if isinstance(value, float) else str(value)).strip().casefold()


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
