"""A workbook as somebody left it: its names, what is typed, and which cells are none of ours.

What is ours is told by a template: the workbook as it was before anybody typed into it.  A cell
that carries one of its names, or says what one of its cells says, is ours; all others are the
user's own.
"""

from __future__ import annotations

import datetime
import functools
import re
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.files import problems
from xlfuncs.files.calls import Calls
from xlfuncs.files.filled import translated_when_asked
from xlfuncs.files.part import by_row
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.functions import CATALOGUE
from xlfuncs.workbook import build, words
from xlfuncs.workbook.kit.blocks import ON_PAGE
from xlfuncs.workbook.kit.place import UNNAMED, Area
from xlfuncs.workbook.words import Choices

#: The sheet in which the xlwings add-in looks for the functions.
SETTINGS = "xlwings.conf"
FIRST, TODAY = 1, words.LAYOUT_VERSION
#: Lines below a table in which forgotten entries are sought.
_BELOW = 500

#: What Start says of invented entries.
_EXAMPLE = "THIS IS AN EXAMPLE"

_PLACE = re.compile(r"(?:'((?:[^']|'')+)'|([^'!]+))!(\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)")
_CALLS = Calls(CATALOGUE)

#: Sheet, row and column of a cell.
Place = tuple[str, int, int]


@dataclass(frozen=True)
class Entry:
    """What a cell holds: its value, and its formula if it is one."""

    sheet: str
    row: int
    column: int
    value: Any
    formula: str = ""

    @property
    def place(self) -> Place:
        """Where it stands."""
        return self.sheet, self.row, self.column

    @property
    def cell(self) -> str:
        """Its address; empty for what stood in no cell."""
        return "" if self.column < 1 else f"{get_column_letter(self.column)}{self.row}"

    @property
    def blank(self) -> bool:
        """Whether nothing was typed."""
        return self.value is None and not self.formula

    def lost(self, why: str) -> Lost:
        """That it could not be carried over as it was."""
        return Lost(self.sheet, self.cell, "" if self.value is None else said(self.value), why)


@dataclass(frozen=True)
class Lost:
    """Something that could not be carried over as it was, and what became of it."""

    sheet: str
    cell: str
    value: str
    why: str

    def __str__(self) -> str:
        place = f"{self.sheet}!{self.cell}" if self.cell else self.sheet
        return f"{place}: {self.value}: {self.why}" if self.value else f"{place}: {self.why}"


def said(value: Any) -> str:
    """A value as it stands in a sentence."""
    if isinstance(value, datetime.datetime):
        return str(value.date() if value.time() == datetime.time() else value)
    return f"{value:.15g}" if isinstance(value, float) else str(value)


class Old:
    """The workbook that is to be carried over."""

    def __init__(self, source: Source) -> None:
        self.source = source
        with translated_when_asked():
            self.book: Workbook = problems.load(source)
        self.names = _areas(self.book)
        self.layout = _layout(self.book, source.path)

    @functools.cached_property
    def _stored(self) -> Workbook:
        return problems.load(self.source, data_only=True)

    @property
    def plain(self) -> bool:
        """Whether its formulas need no functions of ours."""
        return "edition_state" in self.names

    def size(self, name: str) -> int:
        """Lines of a named column; none if it is not there."""
        return self.names[name].rows if name in self.names else 0

    def entry(self, sheet: str, row: int, column: int) -> Entry:
        """What a cell holds."""
        found = self.book[sheet]._cells.get((row, column))
        if found is None or found.value is None:
            return Entry(sheet, row, column, None)
        if found.data_type != "f":
            return Entry(sheet, row, column, found.value)
        stored = self._stored[sheet]._cells.get((row, column))
        value = None if stored is None else stored.value
        return Entry(sheet, row, column, value, formula_of(found))

    def single(self, name: str) -> Entry | None:
        """What a named cell holds; None if the workbook has no such cell."""
        area = self.names.get(name)
        return None if area is None else self.entry(area.sheet, area.top, area.left)

    def named(self, text: str) -> str:
        """The name of a range of cells as a formula writes it; empty if it has none."""
        return self._by_cells.get(_bare(text), "")

    @functools.cached_property
    def _by_cells(self) -> dict[str, str]:
        return _by_cells(self.names)

    def lines(
        self, names: Sequence[str], below: bool = False, free: str = ""
    ) -> list[dict[str, Entry]]:
        """The lines of a table's typed columns, with those that stand below its frame if wanted.

        `free` is the name of the free lines below it; without one the table is the last on its
        sheet.
        """
        known = {name: self.names[name] for name in names if name in self.names}
        if not known:
            return []
        first = next(iter(known.values()))
        rows = max(area.rows for area in known.values())
        lines = [
            {name: self.entry(a.sheet, a.top + line, a.left) for name, a in known.items()}
            for line in range(rows + (self._below(first.sheet, free) if below else 0))
        ]
        while len(lines) > rows and all(entry.blank for entry in lines[-1].values()):
            lines.pop()
        return lines

    def _below(self, sheet: str, free: str) -> int:
        """Lines below a table in which forgotten entries may stand."""
        if not free:
            return _BELOW
        area = self.names.get(free)
        return area.rows if area is not None and area.sheet == sheet else 0


def read(source: str | Path | Source) -> Old:
    """Open a workbook to carry it over; raises `WorkbookProblem` if it is none of ours."""
    return Old(problems.read(source))


def formula_of(cell: Any) -> str:
    """The text of a formula cell, with nothing before the names of our functions."""
    value = cell.value
    if isinstance(value, DataTableFormula):
        return ""
    text = value.text or "" if isinstance(value, ArrayFormula) else str(value)
    text = text if text.startswith("=") else f"={text}"
    return _CALLS.bare(text)


def _layout(book: Workbook, path: Path) -> int:
    mark = book.defined_names.get(words.LAYOUT_NAME)
    if mark is None:
        raise WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark."
        )
    if str(mark.attr_text) not in (str(FIRST), str(TODAY)):
        raise WorkbookProblem(
            f"{path.name} has layout {mark.attr_text}, which is newer than this program: it knows "
            f"layouts {FIRST} to {TODAY}. Install the newest xlfuncs."
        )
    return int(mark.attr_text)


def _areas(book: Workbook) -> dict[str, Area]:
    """What each name stands for; a name that has lost its cells is not there."""
    areas = {}
    for name, defined in book.defined_names.items():
        place = _PLACE.fullmatch(str(defined.attr_text or ""))
        if not place:
            continue
        title = (place[1] or place[2]).replace("''", "'")
        if title in book.sheetnames:
            left, top, right, bottom = range_boundaries(place[3].replace("$", ""))
            areas[name] = Area(title, top, left, bottom - top + 1, right - left + 1)
    return areas


# --- whose cells ------------------------------


class Template:
    """A workbook as nobody has typed into it yet, against which the user's own cells stand out."""

    def __init__(self, book: Workbook, unnamed: Mapping[str, Area] | None = None) -> None:
        self.book = book
        self._unnamed = unnamed or {}
        self.names = _areas(book)
        self.marks = set(book.defined_names) - set(self.names)  # names of no cells
        self._texts = {
            sheet.title: {_text(cell) for cell in sheet._cells.values() if cell.value is not None}
            for sheet in book.worksheets
        }

    def title(self, old: Old, title: str) -> str | None:
        """Which of our sheets a sheet is, whatever it is called by now; None for the user's own."""
        votes: dict[str, int] = {}
        for name, area in old.names.items():
            if area.sheet == title and name in self.names:
                ours = self.names[name].sheet
                votes[ours] = votes.get(ours, 0) + 1
        if votes:
            return max(votes, key=lambda one: votes[one])
        return title if title in self.book.sheetnames else None

    def drawn(self) -> set[frozenset[str]]:
        """For each of its charts the names of the columns that it draws."""
        by_cells = _by_cells(self.names)
        return {
            frozenset(by_cells[_bare(text)] for text in texts if _bare(text) in by_cells)
            for sheet in self.book.worksheets
            for chart in sheet._charts
            if (texts := _drawn(chart))
        }

    def titles(self, old: Old) -> dict[str, str]:
        """Our sheets in an old workbook by the titles that they have there, and those of ours."""
        found = {sheet.title: self.title(old, sheet.title) for sheet in old.book.worksheets}
        return {title: ours for title, ours in found.items() if ours and title != SETTINGS}

    def computes(self, name: str) -> bool:
        """Whether the cells of a name are computed."""
        area = self.names[name]
        found = self.book[area.sheet]._cells.get((area.top, area.left))
        return found is not None and found.data_type == "f"

    def areas(self, old: Old) -> dict[str, Area]:
        """Where the cells of its names are in an old workbook, and those that have no name there.

        A column without a name stands as far from the next named one on its left as it should.
        """
        found = {name: area for name, area in old.names.items() if name in self.names}
        beside: dict[tuple[str, int], list[tuple[int, str]]] = {}
        for name in found:
            area = self.names[name]
            beside.setdefault((area.sheet, area.top), []).append((area.left, name))
        for name, area in self._unnamed.items():
            row = beside.get((area.sheet, area.top), ())
            if on_its_left := [one for one in row if one[0] < area.left]:
                left, known = max(on_its_left)
                was = found[known]
                found[name] = replace(was, left=was.left + area.left - left, columns=area.columns)
        return found

    def holds(self, title: str, cell: Any) -> bool:
        """Whether a cell without a name says what one of ours says."""
        sheet = self.book[title]
        same = sheet._cells.get((cell.row, cell.column))
        if cell.data_type == "f" and same is not None and same.data_type == "f":
            return True
        return _EXAMPLE in str(cell.value) or _text(cell) in self._texts[title]


@functools.lru_cache(maxsize=2)
def template(choices: Choices) -> Template:
    """The template of workbooks of today's layout; of how many lines does not matter."""
    small = replace(choices, rows=2, checks=2, example=False)
    placed = build.layout(small)
    unnamed = {name: area for name, area in placed.names.items() if name.startswith(UNNAMED)}
    return Template(build.build(small, placed=placed), unnamed)


def choices_of(old: Old) -> Choices:
    """The choices with which a workbook was made, as far as it shows them."""

    def typed(*names: str) -> str:
        found = next((old.single(name) for name in names if name in old.names), None)
        return "" if found is None or found.value is None else str(found.value).strip().upper()

    return Choices(
        rows=max(old.size("log_date"), 1),
        units="us" if typed("set_volume", "unit_volume").startswith("US") else "metric",
        gravity="plato" if typed("set_gravity", "unit_gravity").startswith(("P", "°P")) else "sg",
        instruments=max(old.size("inst_name"), Choices.instruments),
        checks=max(old.size("check_date"), Choices.checks),
        plain=old.plain,
        example=_EXAMPLE in str(old.book.worksheets[0]["A2"].value),
    )


def _by_cells(names: Mapping[str, Area]) -> dict[str, str]:
    """One name for each named range of cells."""
    return {f"{area.sheet}!{area.cells}": name for name, area in sorted(names.items())}


def _bare(text: str) -> str:
    """A reference without quotes and dollars."""
    return text.replace("'", "").replace("$", "")


def _drawn(chart: Any) -> set[str]:
    """The ranges that a chart draws."""
    sources = [
        source
        for series in chart.series
        for source in (series.val, series.cat, series.xVal, series.yVal,
                       series.errBars and series.errBars.plus)
        if source is not None
    ]  # fmt: skip
    refs = [getattr(s, kind, None) for s in sources for kind in ("numRef", "strRef")]
    return {ref.f for ref in refs if ref is not None}


def _unnamed(sheet: Any, names: Mapping[str, Area]) -> Iterator[Any]:
    """The cells of a sheet that hold something and lie in none of these names."""
    named: dict[int, set[int]] = {}
    for area in names.values():
        if area.sheet == sheet.title:
            for column in range(area.left, area.left + area.columns):
                named.setdefault(column, set()).update(range(area.top, area.top + area.rows))
    for row, columns in by_row(sheet._cells).items():
        for column in columns:
            cell = sheet._cells[row, column]
            if row not in named.get(column, ()) and cell.value is not None:
                yield cell


def _text(cell: Any) -> str:
    """A cell's content for comparing: blanks and case of a formula do not count."""
    if cell.data_type == "f":
        return re.sub(r"[\s$]+", "", formula_of(cell)).casefold()
    return re.sub(r"\s+", " ", str(cell.value)).strip()


def own_cells(old: Old, made: Template, taken: Container[Place] = ()) -> dict[str, list[Any]]:
    """The cells of our sheets that are the user's own, by sheet; those `taken` are entries."""
    areas = made.areas(old)
    # What stands below a table is not ours, though its lines have a name.
    named = {
        name: area
        for name, area in areas.items()
        if not (name.endswith("_below") and f"{name.removesuffix('_below')}_top" in areas)
    }
    return {
        title: [
            cell
            for cell in _unnamed(old.book[title], named)
            if (title, cell.row, cell.column) not in taken and not made.holds(ours, cell)
        ]
        for title, ours in made.titles(old).items()
    }


def typed_over(old: Old, made: Template, taken: Container[Place]) -> Iterator[Entry]:
    """What somebody typed into cells of ours that compute.

    Where most of a column holds no formulas any more, another program has put their values there.
    """
    areas = made.areas(old)
    constants: dict[str, dict[int, list[int]]] = {}
    for name in areas:
        if not (name in made.names and made.computes(name)) and not name.startswith(ON_PAGE):
            continue
        area = areas[name]
        sheet = old.book[area.sheet]
        if area.sheet not in constants:
            constants[area.sheet] = _constants(sheet)
        first = sheet._cells.get((area.top, area.left))
        if first is not None and isinstance(first.value, ArrayFormula):
            continue  # nobody can type into it; one that was cut has values below it
        rows = range(area.top, area.top + area.rows)
        held = constants[area.sheet]
        found = [
            (row, column)
            for column in range(area.left, area.left + area.columns)
            for row in held.get(column, ())
            if row in rows
        ]
        if area.rows > 1 and 2 * len(found) > area.rows * area.columns:
            continue
        for row, column in found:
            if (area.sheet, row, column) not in taken:
                yield old.entry(area.sheet, row, column)


def _constants(sheet: Any) -> dict[int, list[int]]:
    """The rows of cells that hold a value and no formula fills, by column."""
    filled: dict[int, list[range]] = {}
    for cell in sheet._cells.values():
        if isinstance(cell.value, ArrayFormula):
            left, top, right, bottom = range_boundaries(cell.value.ref)
            for column in range(left, right + 1):
                filled.setdefault(column, []).append(range(top, bottom + 1))
    found: dict[int, list[int]] = {}
    for (row, column), cell in sheet._cells.items():
        if cell.value is None or cell.data_type == "f":
            continue
        if not any(row in rows for rows in filled.get(column, ())):
            found.setdefault(column, []).append(row)
    return found
