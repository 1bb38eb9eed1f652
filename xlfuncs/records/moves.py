"""Where each cell of an old workbook stands in the new one, and formulas that follow it there."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from openpyxl.formula.tokenizer import Token, Tokenizer
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.utils.cell import column_index_from_string

from xlfuncs.workbook.kit.place import Area

_CELLS = re.compile(r"(\$?)([A-Z]{1,3})(\$?)(\d+)(?::(\$?)([A-Z]{1,3})(\$?)(\d+))?", re.IGNORECASE)
_LINES = re.compile(r"\$?(?:[A-Z]{1,3}:\$?[A-Z]{1,3}|\d+:\$?\d+)", re.IGNORECASE)
_SHEET = re.compile(r"(?:'((?:[^']|'')+)'|([^'!\[\]]+))!")
#: Larger ranges are followed by their corners.
_MANY = 20_000

Place = tuple[str, int, int]


class CannotFollow(Exception):
    """A reference to something that is not there any more; in words."""


@dataclass
class Moves:
    """Old cells and names, and where they are found now."""

    areas: list[tuple[Area, Area]]  # of names: where they were, where they are
    titles: Mapping[str, str]  # our sheets as they were called, and are
    own: Mapping[str, str]  # the user's sheets as they were called, and are
    names: Mapping[str, str]  # names of ours, old and new
    gone: frozenset[str]  # names of ours that are no more
    lines: Mapping[tuple[str, int], tuple[Area, int]] = field(default_factory=dict)
    cells: dict[Place, Place] = field(default_factory=dict)  # the user's cells on our sheets

    def __post_init__(self) -> None:
        moved: dict[str, bool] = {}
        for was, now in self.areas:
            stays = (was.top, was.left) == (now.top, now.left) and (
                self.titles.get(was.sheet) == now.sheet
            )
            moved[was.sheet] = moved.get(was.sheet, False) or not stays
        #: Our sheets on which everything stands where it stood.
        self.still = {
            title
            for title in self.titles
            if not moved.get(title, True) and not any(sheet == title for sheet, _ in self.lines)
        }

    def place(self, sheet: str, row: int, column: int) -> Place | None:
        """Where a cell stands now; None if it is no more."""
        if sheet in self.own:
            return self.own[sheet], row, column
        if (sheet, row, column) in self.cells:
            return self.cells[sheet, row, column]
        for was, now in self.areas:
            if was.overlaps(Area(sheet, row, column)) and was.sheet == sheet:
                line, across = row - was.top, column - was.left
                table, number = self.lines.get((sheet, row), (now, line))
                if (table.top, table.rows, table.sheet) == (now.top, now.rows, now.sheet):
                    line = number
                inside = line < now.rows and across < now.columns
                return (now.sheet, now.top + line, now.left + across) if inside else None
        return (self.titles[sheet], row, column) if sheet in self.still else None

    def _range(self, sheet: str, first: tuple[int, int], last: tuple[int, int]) -> list[Place]:
        """The corners of a range, where it stands now."""
        whole = [
            (was, now)
            for was, now in self.areas
            if was.sheet == sheet
            and first[0] == was.top
            and last[0] == was.top + was.rows - 1
            and any(was.left <= column < was.left + was.columns for column in (first[1], last[1]))
        ]
        tops = [self.place(sheet, *first), self.place(sheet, *last)]
        if whole and tops[0] and was_column(whole, first[1]) and was_column(whole, last[1]):
            # A whole column stays one, however long it is by now.
            ends = [was_column(whole, column) for column in (first[1], last[1])]
            (one, left), (two, right) = (e for e in ends if e)
            return [(one.sheet, one.top, left), (two.sheet, two.top + two.rows - 1, right)]
        cells: Iterable[tuple[int, int]] = [first, last]
        if (last[0] - first[0] + 1) * (last[1] - first[1] + 1) <= _MANY:
            cells = [
                (row, column)
                for row in range(first[0], last[0] + 1)
                for column in range(first[1], last[1] + 1)
            ]
        found = [(self.place(sheet, *cell), cell) for cell in cells]
        steps = {
            (place[0], place[1] - cell[0], place[2] - cell[1]) if place else None
            for place, cell in found
        }
        if len(steps) != 1 or None in steps:
            raise CannotFollow("cells that do not stand together any more")
        return [found[0][0], found[-1][0]]  # type: ignore[list-item]

    def reference(self, text: str, home: str, now: str) -> str:
        """A reference in a formula of the sheet `home`, which stands on the sheet `now`.

        Raises `CannotFollow`.
        """
        if "[" in text:
            if re.match(r"'?\[\d+\]", text):
                raise CannotFollow(f"{text} lies in another file")
            return text  # a table of the user's own
        found = _SHEET.match(text)
        sheet = (found[1] or found[2]).replace("''", "'") if found else home
        cells = text[found.end() :] if found else text
        if sheet not in self.own and sheet not in self.titles:
            raise CannotFollow(f"{text}: there is no such sheet")
        if _LINES.fullmatch(cells):
            if sheet not in self.own and sheet not in self.still:
                raise CannotFollow(f"{text}: other columns and lines stand there now")
            return self._with_sheet(cells, sheet, {**self.titles, **self.own}[sheet], home, now)
        place = _CELLS.fullmatch(cells)
        if not place:
            return self.name(text) if not found else text
        first = int(place[4]), column_index_from_string(place[2].upper())
        if not place[6]:
            to = self.place(sheet, *first)
            if to is None:
                raise CannotFollow(f"{text} is not there any more")
            return self._with_sheet(_written(place, 1, to), sheet, to[0], home, now)
        last = int(place[8]), column_index_from_string(place[6].upper())
        try:
            ends = self._range(sheet, first, last)
        except CannotFollow as reason:
            raise CannotFollow(f"{text}: {reason}") from None
        both = f"{_written(place, 1, ends[0])}:{_written(place, 5, ends[1])}"
        return self._with_sheet(both, sheet, ends[0][0], home, now)

    def name(self, text: str) -> str:
        """What a name is called now."""
        low = text.casefold()
        if low in self.names:
            return self.names[low]
        if low in self.gone:
            raise CannotFollow(f"{text} is a name of the old sheets that is no more")
        return text

    def _with_sheet(self, cells: str, sheet: str, to: str, home: str, now: str) -> str:
        return cells if sheet == home and to == now else f"{quote_sheetname(to)}!{cells}"

    def formula(self, text: str, home: str, now: str) -> str:
        """A formula of the sheet `home` as it reads on the sheet `now`; raises `CannotFollow`."""
        equals = "" if text.startswith("=") else "="
        tokens = Tokenizer(equals + text)
        for token in tokens.items:
            if token.type == Token.OPERAND and token.subtype == Token.RANGE:
                if "#REF!" in token.value:
                    raise CannotFollow("it had lost what it refers to already")
                token.value = self.reference(token.value, home, now)
        return str(tokens.render()).removeprefix(equals)


def was_column(whole: list[tuple[Area, Area]], column: int) -> tuple[Area, int] | None:
    """The new area of the name that holds a column, and where in it the column is."""
    for was, now in whole:
        if was.left <= column < was.left + was.columns:
            return now, now.left + column - was.left
    return None


def _written(place: re.Match[str], at: int, to: Place) -> str:
    """A cell as the reference spells it, in its new place."""
    return f"{place[at]}{get_column_letter(to[2])}{place[at + 2]}{to[1]}"
