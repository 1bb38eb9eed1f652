"""Lines of checks as the sheet has them: one for each check, with up to three points."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from xlfuncs.audit.typed import plain
from xlfuncs.records import tables
from xlfuncs.records.book import Book, Entered
from xlfuncs.workbook import words

#: What lines of one check share; a blank joins what is said.
_SAME = ("check_known_in", "check_made_of", "check_who", "check_temperature")
_PLACES = {"check_instrument": "instrument", "check_date": "date", "check_as": "as",
           "check_temperature": "temperature", "check_known_in": "reference_in",
           "check_made_of": "made_of", "check_who": "who", "check_note": "note"}  # fmt: skip
_SOLUTIONS = (("check_shown_2", "check_known_2"), ("check_shown_3", "check_known_3"))


def checks(
    rows: Iterable[tuple[int, Mapping[str, Any]]], book: Book
) -> tuple[list[tuple[tuple[int, ...], Entered]], dict[int, str]]:
    """Lines of Calibration with the numbers of the lines they come from; what is refused, and why.

    A point in water and up to two in solutions are one check where instrument, date, and found or
    left are the same and nothing else contradicts.  A further reading of the same is a check of its
    own.
    """
    made: list[tuple[list[int], Entered]] = []
    refused: dict[int, str] = {}
    for number, row in rows:
        entry = {target: row[name] for target, name in _PLACES.items()
                 if row.get(name) is not None}  # fmt: skip
        water = _in_water(row, book)
        if isinstance(water, str):
            refused[number] = water
            continue
        for numbers, other in reversed(made):
            if _joins(other, entry, row, water):
                numbers.append(number)
                break
        else:
            _add(entry, row, water)
            made.append(([number], entry))
    return [(tuple(numbers), entry) for numbers, entry in made], refused


def _in_water(row: Mapping[str, Any], book: Book) -> bool | str:
    """Whether a point was taken in water, or melting ice; why it cannot be told."""
    tool = book.tool(row.get("instrument") or "")
    reference = row.get("reference")
    if reference is None:
        if row.get("made_of"):
            return "the true value of the solution is missing"
        return True
    if tool is not None and not tool.scale:
        return bool(reference == (32.0 if book.units[tables.TEMPERATURE] == "F" else 0.0))
    scale = row.get("reference_in") or (tool.scale if tool else "")
    return bool(reference == (1.0 if scale == "SG" else 0.0))


def _joins(other: Entered, entry: Entered, row: Mapping[str, Any], water: bool) -> bool:
    """Put a point to a check if it belongs there and there is room."""
    for name in ("check_instrument", "check_date"):
        if plain(other.get(name)) != plain(entry.get(name)):
            return False
    if other.get("check_as", words.AS_FOUND) != entry.get("check_as", words.AS_FOUND):
        return False
    if any(other.get(name, value) != value for name, value in entry.items() if name in _SAME):
        return False
    if not _add(other, row, water):
        return False
    for name, value in entry.items():
        other.setdefault(name, value)
    if entry.get("check_note", other.get("check_note")) != other.get("check_note"):
        other["check_note"] = f"{other['check_note']}; {entry['check_note']}"
    return True


def _add(entry: Entered, row: Mapping[str, Any], water: bool) -> bool:
    """Put a point into the first place for it that is free; False if there is none."""
    if water:
        if "check_shown_1" in entry:
            return False
        entry["check_shown_1"] = row["reading"]
        return True
    for shown, known in _SOLUTIONS:
        if shown not in entry:
            entry[shown], entry[known] = row["reading"], row["reference"]
            return True
    return False
