"""A new season: a brewery as the last one left it, without batches or readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter

from xlfuncs.files import entered
from xlfuncs.files.problems import Source
from xlfuncs.records import old as olds
from xlfuncs.records.record import typed
from xlfuncs.workbook import build, reader, words
from xlfuncs.workbook.reader import Reader, Values

#: What stays of the entries that are no table; of those on Setup all but the day shown.
_KEPT = ("chart_instrument", "interval_by_history", "card_show", "card_instrument")
_LEFT = ("as_of",)


@dataclass
class Started:
    """The new workbook, and what to know of it."""

    data: bytes
    notes: list[str] = field(default_factory=list)


def started(last: Source, values: Values, rows: int, checks: int, plain: bool) -> Started:
    """A workbook for the season after `last`, which has today's layout; `values` are its values.

    Setup, instruments, the check in force of each instrument, and the own wort factor with its ±
    come along.  Its formulas are not yet computed.
    """
    filled, old = reader.read(last, values), olds.read(last)
    was = olds.choices_of(old)
    choices = replace(
        was, rows=rows, checks=max(checks, was.checks), plain=plain or was.plain, example=False
    )
    names = build.layout(choices).names
    setup = [name for name in typed().cells if names[name].sheet == words.SETUP]
    entries = {
        name: filled.cell(name)
        for name in (*setup, *_KEPT)
        if name not in _LEFT and name in old.names
    }
    notes: list[str] = []
    told = _factors(filled, entries, notes)
    book = build.build(choices)
    if told:
        area = names["set_wort_factor"]
        book[area.sheet][area.cells].comment = Comment(told, "xlfuncs")
    cells = {(names[name].sheet, names[name].cells): value for name, value in entries.items()}
    for table, lines in (("inst", _instruments(filled)), ("check", _in_force(filled))):
        for number, line in enumerate(lines):
            for name in typed().tables[table]:
                area = names[name]
                cell = f"{get_column_letter(area.left)}{area.top + number}"
                cells[area.sheet, cell] = line[name]
    return Started(entered.enter(build.to_bytes(book), cells), notes)


def _factors(filled: Reader, entries: dict[str, Any], notes: list[str]) -> str:
    """Type the factor that the last season's pairs gave; what its cell is to say."""
    factor, u = filled.cell("own_wort_factor"), filled.cell("own_u_wort_factor")
    own = isinstance(factor, float) and isinstance(u, float)
    pairs = filled.cell("factor_worts_ok")
    told = ""
    if own and filled.cell("set_source") == words.OWN:
        entries |= {"set_wort_factor": round(factor, 4), "set_u_wort_factor": round(u, 4)}
        told = (
            f"Your own factor: from {pairs:g} pairs of wort in {filled.path.name}; "
            f"its ± is a standard uncertainty of {u:.4f}."
        )
        notes.append(
            f"the wort factor {factor:.3f} ± {2 * u:.3f} (about 95 %) comes from {pairs:g} pairs "
            f"of {filled.path.name}; it counts until this season's own pairs are chosen"
        )
    elif own:
        notes.append(
            f"{filled.path.name} fits a wort factor of {factor:.3f} ± {2 * u:.3f} (about 95 %), "
            "which it did not use: Setup keeps the one that was typed"
        )
    alcohol = filled.cell("own_alcohol_factor")
    if filled.cell("set_beer_source") == words.OWN and isinstance(alcohol, float):
        notes.append(
            f"the factors for beer ({filled.cell('own_beer_wort_factor'):.3f} and {alcohol:.3f}) "
            "cannot be typed: the common ones count until this season has pairs of its own"
        )
    for source in ("set_source", "set_beer_source"):
        if source in entries:
            entries[source] = words.COMMON
    return told


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
