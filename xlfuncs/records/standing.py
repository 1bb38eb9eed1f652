"""What stands in the workbook already: such lines are skipped, and what contradicts is refused."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from xlfuncs.audit.typed import day, plain
from xlfuncs.records import tables
from xlfuncs.records.book import Book, Entered
from xlfuncs.records.plans import Line, Plan
from xlfuncs.records.thinning import hour_of


def sort_out(made: Plan) -> None:
    """Leave in the plan the lines that are new."""
    if made.table.named:
        _by_name(made)
    elif made.table.name == "checks":
        _checks(made)
    else:
        _readings(made)
    made.there.sort()
    made.rejected.sort()


# --- batches and instruments ------------------------------


def _by_name(made: Plan) -> None:
    """One line for each name: what says otherwise than the workbook, or itself, is refused."""
    first = made.table.columns[0].target
    known: dict[str, tuple[str, Entered]] = {}
    for entry in made.book.lines:
        if entry[first] is not None:
            known.setdefault(plain(entry[first]), ("in the workbook", entry))
    marks = {plain(entry["inst_identity"]): plain(entry["inst_name"]) for entry in made.book.lines
             if entry.get("inst_identity") is not None}  # fmt: skip
    new: list[Line] = []
    for line in made.lines:
        name, number = line.values[first], line.numbers[0]
        where, old = known.get(plain(name), ("", {}))
        mark = line.values.get("inst_identity")
        owner = marks.get(plain(mark)) if mark else None
        if where:
            other = _otherwise(made, old, line.values)
            if other:
                made.rejected.append(
                    (number, f"{made.table.line} “{name}” is {where} already, with {other}")
                )
            else:
                made.there.append(number)
        elif owner is not None and owner != plain(name):
            made.rejected.append(
                (number, f"the mark {mark} is that of “{owner}”: was the instrument renamed?")
            )
        else:
            new.append(line)
            known[plain(name)] = (f"on line {number}", line.values)
            if mark:
                marks[plain(mark)] = plain(name)
    made.lines = new


def _otherwise(made: Plan, old: Entered, new: Entered) -> str:
    """What a line says otherwise than the one that is there, with both values."""
    told = []
    for column in made.table.columns:
        said = new.get(column.target)
        there = old.get(column.target)
        if said is not None and not _alike(there, said):
            unit = made.book.units.get(column.kind, "")
            told.append(f"{column.name} {_shown(there, column.kind, unit)} there and "
                        f"{_shown(said, column.kind, unit)} here")  # fmt: skip
    return ", ".join(told)


def _alike(one: Any, other: Any) -> bool:
    """Whether two entries say the same."""
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 1e-6 * max(1.0, abs(one))
    return plain(one) == plain(other)


def _shown(value: Any, kind: str, unit: str) -> str:
    if value is None:
        return "blank"
    if isinstance(value, float):
        return day(value) if kind == tables.DATE else f"{value:.6g} {unit}".rstrip()
    return f"“{value}”"


# --- checks ------------------------------


def _checks(made: Plan) -> None:
    """A check is there if one of its instrument and day says all that it says."""
    new = []
    for line in made.lines:
        if any(_says(made.book, old, line.values) for old in made.book.lines):
            made.there += line.numbers
        else:
            new.append(line)
    made.lines = new


def _says(book: Book, old: Entered, new: Entered) -> bool:
    """Whether the line that is there says all that the new one says, notes aside."""
    tool = (_tool(book, line, "check_instrument") for line in (old, new))
    if len(set(tool)) > 1 or old["check_date"] is None:
        return False
    if not _same_moment(old["check_date"], new["check_date"]):
        return False
    told = new.keys() - {"check_instrument", "check_date", "check_note", "check_who"}
    return all(_alike(old[name], new[name]) for name in told)


def _same_moment(one: Any, other: float) -> bool:
    return isinstance(one, float) and abs(one - other) < 1 / 86400


def _tool(book: Book, line: Entered, name: str) -> str:
    """The instrument that a line names, or the first where it names none."""
    tool = book.tool(str(line.get(name) or ""))
    return plain(tool.name) if tool else plain(line.get(name))


# --- readings ------------------------------

_EXACT = ("log_reading", "log_temperature", "log_volume", "log_volume_temperature", "log_ph")


def _readings(made: Plan) -> None:
    """A reading is there as often as the workbook has it: several drops may read the same.

    Of thinned readings an hour is there if the workbook has any line of it.
    """
    there = Counter(_key(made.book, line) for line in made.book.lines)
    hours: dict[float, set[Any]] = {}
    new = []
    for line in made.lines:
        if line.hours:
            length = line.hours[-1]
            if length not in hours:
                hours[length] = _hours(made.book, length)
            if line.hours[:-1] in hours[length]:
                made.there.append(line.numbers[0])
                continue
        else:
            key = _key(made.book, line.values)
            if there[key]:
                there[key] -= 1
                made.there.append(line.numbers[0])
                continue
        new.append(line)
    made.lines = new


def _key(book: Book, line: Entered) -> tuple[Any, ...]:
    """What makes a reading this one; its note does not."""
    date = line.get("log_date")
    return (
        round(date * 86400) if isinstance(date, float) else plain(date),
        plain(line.get("log_batch")),
        plain(line.get("log_stage")),
        _tool(book, line, "log_instrument"),
        *(round(value, 6) if isinstance(value := line.get(name), float) else plain(value)
          for name in _EXACT),
    )  # fmt: skip


def _hours(book: Book, length: float) -> set[tuple[Any, ...]]:
    """The stretches of hours of which the workbook has readings."""
    return {
        (plain(line["log_batch"]), plain(line["log_stage"]), _tool(book, line, "log_instrument"),
         int(hour_of(np.array([line["log_date"]]), length)[0]))
        for line in book.lines
        if isinstance(line["log_date"], float)
    }  # fmt: skip
