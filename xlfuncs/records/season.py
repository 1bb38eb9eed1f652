"""A new season: a brewery as the last one left it, without batches or readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter

from xlfuncs.records.record import typed
from xlfuncs.workbook import build, words
from xlfuncs.workbook.reader import Reader
from xlfuncs.workbook.words import Choices

#: What stays of the entries that are no table; of those on Setup all but the day shown.
_KEPT = ("chart_instrument", "interval_by_history", "card_show", "card_instrument")
_LEFT = ("as_of",)


@dataclass
class Started:
    """The new workbook, and what to know of it."""

    data: bytes
    notes: list[str] = field(default_factory=list)


def started(filled: Reader, was: Choices, rows: int, checks: int, plain: bool) -> Started:
    """A workbook for the season after one of today's layout, which was made with choices `was`.

    Setup, instruments, the check in force of each instrument, and the own factors with their ±
    come along.  Its formulas are not yet computed.
    """
    choices = replace(
        was, rows=rows, checks=max(checks, was.checks), plain=plain or was.plain, example=False
    )
    placed = build.layout(choices)
    names = placed.names
    setup = [name for name in typed().cells if names[name].sheet == words.SETUP]
    entries = {
        name: filled.cell(name)
        for name in (*setup, *_KEPT)
        if name not in _LEFT and name in filled.book.names
    }
    notes: list[str] = []
    told = _factors(filled, entries, notes)
    book = build.build(choices, placed=placed)
    for name, said in told.items():
        area = names[name]
        book[area.sheet][area.cells].comment = Comment(said, "xlfuncs")
    cells = {(names[name].sheet, names[name].cells): value for name, value in entries.items()}
    for table, lines in (("inst", _instruments(filled)), ("check", _in_force(filled))):
        for number, line in enumerate(lines):
            for name in typed().tables[table]:
                area = names[name]
                cell = f"{get_column_letter(area.left)}{area.top + number}"
                cells[area.sheet, cell] = line[name]
    return Started(build.to_bytes(book, entries=cells), notes)


def _factors(filled: Reader, entries: dict[str, Any], notes: list[str]) -> dict[str, str]:
    """Type the factors that the last season's pairs gave; what their cells are to say."""
    told = _of_wort(filled, entries, notes) | _of_beer(filled, entries, notes)
    for source in ("set_source", "set_beer_source"):
        if source in entries:
            entries[source] = words.COMMON
    return told


def _of_wort(filled: Reader, entries: dict[str, Any], notes: list[str]) -> dict[str, str]:
    factor, u = filled.cell("own_wort_factor"), filled.cell("own_u_wort_factor")
    if not (isinstance(factor, float) and isinstance(u, float)):
        return {}
    if filled.cell("set_source") != words.OWN:
        notes.append(
            f"{filled.path.name} fits a wort factor of {factor:.3f} ± {2 * u:.3f} (about 95 %), "
            "which it did not use: Setup keeps the one that was typed"
        )
        return {}
    entries |= {"set_wort_factor": round(factor, 4), "set_u_wort_factor": round(u, 4)}
    pairs = f"{filled.cell('factor_worts_ok'):g} pairs"
    notes.append(
        f"the wort factor {factor:.3f} ± {2 * u:.3f} (about 95 %) comes from {pairs} "
        f"of {filled.path.name}; it counts until this season's own pairs are chosen"
    )
    said = (
        f"Your own factor: from {pairs} of wort in {filled.path.name}; "
        f"its ± is a standard uncertainty of {u:.4f}."
    )
    return {"set_wort_factor": said}


def _of_beer(filled: Reader, entries: dict[str, Any], notes: list[str]) -> dict[str, str]:
    pairs = f"{filled.cell('factor_beers_ok') or 0:g} pairs"
    told = {}
    error = filled.cell("own_model_error")
    if isinstance(error, float):
        # Whichever factors the season used, its pairs tell how far those were off.
        entries["set_beer_u_model"] = round(error, 5)
        told["set_beer_u_model"] = (
            f"From {pairs} of beer in {filled.path.name}: how far the factors that it used were "
            "off, and what the hydrometer itself may be."
        )
    own = ("own_beer_wort_factor", "own_beer_u_wort_factor", "own_alcohol_factor")
    factor, u, alcohol = map(filled.cell, own)
    if not (isinstance(factor, float) and isinstance(u, float) and isinstance(alcohol, float)):
        return told
    fitted = f"{factor:.3f} ± {2 * u:.3f} (about 95 %) and {alcohol:.3f}"
    if filled.cell("set_beer_source") != words.OWN:
        notes.append(
            f"{filled.path.name} fits factors for beer of {fitted}, which it did not use: Setup "
            "keeps what was typed"
        )
        return told
    entries |= {
        "set_beer_wort_factor": round(factor, 4),
        "set_beer_u_wort_factor": round(u, 4),
        "set_beer_alcohol_factor": round(alcohol, 4),
    }
    notes.append(
        f"the factors for beer, {fitted}, come from {pairs} of {filled.path.name}; they count "
        "until this season's own pairs are chosen"
    )
    said = f"Your own factor for beer: from {pairs} of beer in {filled.path.name}"
    return told | {
        "set_beer_wort_factor": f"{said}; its ± is a standard uncertainty of {u:.4f}.",
        "set_beer_alcohol_factor": f"{said}.",
    }


def _instruments(filled: Reader) -> list[dict[str, Any]]:
    names = typed().tables["inst"]
    return filled.lines({name: name for name in names})


def _in_force(filled: Reader) -> Iterator[Mapping[str, Any]]:
    """The check in force of each instrument; with one as left, that as found of the same day."""
    names = (*typed().tables["check"], "check_no", "check_offset", "check_key")
    lines = filled.lines({name: name for name in names})
    good = [line for line in lines if isinstance(line["check_key"], float)]
    latest: dict[float, Mapping[str, Any]] = {}
    for line in sorted(good, key=lambda one: float(one["check_key"])):
        latest[line["check_no"]] = line
    for line in lines:
        in_force = latest.get(line["check_no"])
        if in_force is None or line not in good:
            continue
        same_day = str(line["check_date"])[:10] == str(in_force["check_date"])[:10]
        if line is in_force or (same_day and _left(in_force) and not _left(line)):
            yield line


def _left(line: Mapping[str, Any]) -> bool:
    return str(line["check_as"] or "").strip().lower() == words.AS_LEFT
