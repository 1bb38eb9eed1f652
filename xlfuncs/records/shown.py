"""What an import would do, for a terminal."""

from __future__ import annotations

from typing import Any

from xlfuncs import terminal
from xlfuncs.audit.typed import day
from xlfuncs.records.importing import units_shown
from xlfuncs.records.plans import Options, Plan

#: Lines that are shown before they are written.
_FIRST = 3


def show(made: Plan, options: Options) -> None:
    """Print how the file is understood, what is rejected and why, and what would be written."""
    columns = [
        (f"“{one.heading}”", one.column.name if one.column else "–  nothing, not taken over",
         units_shown(made, one, options))
        for one in made.matched
        if one.heading
    ]  # fmt: skip
    terminal.table(made.data.name, ("heading", "is taken as", "unit"), columns)
    terminal.say("; ".join(f"{what}: {how}" for what, how in made.told))
    for notice in made.notices:
        terminal.say(notice)
    for numbers, reason in _together(made.rejected):
        terminal.complain(f"rejected: {numbers}: {reason}")
    if made.lines:
        _show_first(made)
    terminal.say(_counts(made))


def _together(rejected: list[tuple[int, str]]) -> list[tuple[str, str]]:
    """The rejected lines, neighbours with one reason as a stretch."""
    stretches: list[tuple[int, int, str]] = []
    for number, reason in rejected:
        if stretches and stretches[-1][1:] == (number - 1, reason):
            stretches[-1] = (stretches[-1][0], number, reason)
        else:
            stretches.append((number, number, reason))
    return [
        (f"line {first}" if first == last else f"lines {first} to {last}", reason)
        for first, last, reason in stretches
    ]


def _show_first(made: Plan) -> None:
    """The first lines as they would stand in the workbook: wrong decimals are seen there."""
    named = {column.target: column.name for column in made.table.columns if column.target}
    first = [line.values for line in made.lines[:_FIRST]]
    columns = [target for target in made.table.typed if any(target in line for line in first)]
    rows = [[_cell(target, line.get(target)) for target in columns] for line in first]
    headings = [named.get(target, target.removeprefix("check_")) for target in columns]
    terminal.table("The first lines, as they would be written", headings, rows)


def _cell(target: str, value: Any) -> str:
    if isinstance(value, float):
        return day(value) if target.endswith("_date") else f"{value:.7g}"
    return "" if value is None else " ".join(str(value).split())


def _counts(made: Plan) -> str:
    new, there, rejected = len(made.lines), len(made.there), len(made.rejected)
    sheet, book = made.table.sheet, made.book.source.name
    told = f"{new:,} to write on {sheet} of {book}"
    if new:
        first = made.book.free + 1
        told += f" (lines {first} to {first + new - 1} of the table)"
    told += f", {there:,} there already, {rejected:,} rejected"
    if made.grows_to:
        told += f"; the table grows from {made.book.length:,} to {made.grows_to:,} lines"
    return told
