"""The table of batches: its columns by fixed names, for whatever it is written into."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from xlfuncs.audit.typed import day
from xlfuncs.cells.values import FORMULA_SIGNS, visible
from xlfuncs.history.batches import Brewed, Measured, Stage
from xlfuncs.workbook import words

Cell = str | float | None
#: What a program may take for the beginning of a formula where it reads a text.
_FORMULAS = (*FORMULA_SIGNS, "\t", "\r")


@dataclass(frozen=True)
class Column:
    """One column: its fixed name, its heading for people, and what it takes of a batch."""

    name: str
    heading: str
    of: Callable[[Brewed], Cell]
    digits: int = 0  # of a number


def _value(found: Measured | None) -> float | None:
    return found.value if found else None


def _expanded(found: Measured | None) -> float | None:
    return found.expanded if found else None


def _columns() -> Iterator[Column]:
    yield Column("batch", "Batch", lambda one: one.name)
    yield Column("brewery", "Brewery", lambda one: one.brewery)
    yield Column("brew_day", "Brew day", lambda one: None if one.day is None else day(int(one.day)))
    yield Column("original_gravity", "Original", lambda one: _value(one.original), 5)
    yield Column("original_gravity_pm", "±", lambda one: _expanded(one.original), 5)
    yield Column("original_from", "from", _original_from)
    yield Column("last_gravity", "Last", lambda one: _value(one.last), 5)
    yield Column("last_gravity_pm", "±", lambda one: _expanded(one.last), 5)
    yield Column("last_stage", "stage", _last_stage)
    yield Column("attenuation_percent", "Attenuation, %", lambda one: one.attenuation, 2)
    yield Column("alcohol_percent_vol", "Alcohol, % vol", lambda one: one.alcohol, 2)
    yield Column("efficiency_percent", "Efficiency, %", lambda one: _value(one.efficiency), 2)
    yield Column("efficiency_percent_pm", "±", lambda one: _expanded(one.efficiency), 2)
    for stage in words.PLANNED:
        yield from _of_stage(stage)
    yield Column("wort_factor", "Wort factor", lambda one: one.wort_factor, 4)
    yield Column("readings", "Readings", lambda one: one.readings)
    yield Column("files", "Files", lambda one: "; ".join(one.files))


def _of_stage(stage: str) -> Iterator[Column]:
    def column(name: str, heading: str, of: Callable[[Stage], Cell], digits: int = 0) -> Column:
        return Column(f"{words.key(stage)}_{name}", heading, lambda one: of(one.stages[stage]),
                      digits)  # fmt: skip

    said = stage.capitalize()
    yield column("gravity_planned", f"{said}, plan", lambda at: at.planned, 5)
    yield column("gravity", f"{said}", lambda at: _value(at.gravity), 5)
    yield column("gravity_pm", "±", lambda at: _expanded(at.gravity), 5)
    yield column("gravity_verdict", "is", lambda at: at.verdict)
    if stage != words.PACKAGED:
        yield column("volume_planned", f"{said}, L, plan", lambda at: at.planned_volume, 2)
        yield column("volume", f"{said}, L", lambda at: at.volume, 2)
        yield column("volume_verdict", "is", lambda at: at.volume_verdict)


def _original_from(one: Brewed) -> str:
    return "" if one.original is None else "plan" if one.original_planned else "measured"


def _last_stage(one: Brewed) -> str:
    return "" if one.last is None else words.PACKAGED if one.packaged else words.FERMENTING


COLUMNS = tuple(_columns())


def rows(batches: Iterable[Brewed]) -> Iterator[list[Cell]]:
    """The cells of each batch, numbers rounded to what they are good for, blanks as None."""
    for one in batches:
        cells: list[Cell] = []
        for column in COLUMNS:
            value = column.of(one)
            if isinstance(value, float):
                value = round(value, column.digits)
            cells.append(None if value == "" else value)
        yield cells


def as_csv(batches: Iterable[Brewed]) -> bytes:
    """One heading line of fixed names, then a line for each batch; numbers with a point."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(column.name for column in COLUMNS)
    for cells in rows(batches):
        writer.writerow(_guarded(cell) if isinstance(cell, str) else cell for cell in cells)
    return out.getvalue().encode()


def _guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula: one that looks so gets an apostrophe."""
    shown = visible(text)
    return f"'{shown}" if shown.startswith(_FORMULAS) else shown
