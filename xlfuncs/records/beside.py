"""What the user put on our sheets: columns and cells of their own, comments, and links."""

from __future__ import annotations

from collections.abc import Container
from copy import copy
from typing import Any

from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.records import old as olds
from xlfuncs.records.moves import HEADINGS, CannotFollow, Moves
from xlfuncs.records.old import Lost, Old, Place, Template
from xlfuncs.workbook.kit.place import Area


class Beside:
    """The user's own cells on our sheets, and where they go."""

    def __init__(
        self, old: Old, made: Template, moves: Moves, book: Workbook, taken: Container[Place]
    ) -> None:
        self.old, self.made, self.moves, self.book = old, made, moves, book
        self.lost: list[Lost] = []
        self.notes: list[str] = []
        self._cells = olds.own_cells(old, made, taken)
        for title, cells in self._cells.items():
            self._settle(title, cells)

    # --- where they go

    def _settle(self, title: str, cells: list[Any]) -> None:
        """Find each cell a place: on the line beside which it stood, in its column if it can be."""
        columns: dict[tuple[int, str], dict[int, int]] = {}
        for cell in cells:
            place = self._line(title, cell.row, cell.column)
            if place is None:
                self.lost.append(_lost(self.old, cell, "the line beside which it stood was empty"))
                continue
            columns.setdefault((cell.column, place[0]), {})[cell.row] = place[1]
        for (column, sheet), rows in columns.items():
            free = self._free(sheet, column, list(rows.values()))
            self._claim(sheet, free, list(rows.values()))
            for row, now in rows.items():
                self.moves.cells[title, row, column] = (sheet, now, free)
            letters = get_column_letter(column), get_column_letter(free)
            if (title, column) != (sheet, free):
                self.notes.append(
                    f"your cells in column {letters[0]} of {title} stand in column {letters[1]} of "
                    f"{sheet} now"
                )

    def _line(self, title: str, row: int, column: int) -> tuple[str, int] | None:
        """Sheet and line to which a line of an old sheet has come."""
        if (title, row) in self.moves.lines:
            table, number = self.moves.lines[title, row]
            return table.sheet, table.top + number
        tables = [
            (was, now)
            for was, now in self.moves.areas
            if was.sheet == title
            and was.rows > 1
            and was.top - HEADINGS <= row < was.top + was.rows
        ]
        if not tables:
            place = self.moves.place(title, row, column)
            return place[:2] if place else (self.moves.titles[title], row)
        was, now = min(tables, key=lambda pair: abs(pair[0].left - column))
        line = row - was.top
        if line >= 0 and any(table.sheet == now.sheet for table, _ in self.moves.lines.values()):
            return None  # lines were put in another order, and this one came along nowhere
        return (now.sheet, now.top + line) if line < now.rows else None

    def _free(self, sheet: str, column: int, rows: list[int]) -> int:
        """A column that is free on these lines: the wished one, or the first right of all."""
        cells = self.book[sheet]._cells
        if not any((row, column) in cells for row in rows):
            return column
        return max((column for _, column in cells), default=0) + 2

    def _claim(self, sheet: str, column: int, rows: list[int]) -> None:
        for row in rows:
            self.book[sheet].cell(row, column)

    # --- carrying

    def carry(self) -> None:
        """Put the cells and comments into the new workbook."""
        for title, cells in self._cells.items():
            for cell in cells:
                place = self.moves.cells.get((title, cell.row, cell.column))
                if place is not None:
                    self._put(title, cell, place)
            self._comments(title)
            self._links(title)
            self._merged(title, cells)
            self._rules(title)

    def _put(self, title: str, cell: Any, place: Place) -> None:
        sheet, row, column = place
        new = self.book[sheet].cell(row, column)
        entry = self.old.entry(title, cell.row, cell.column)
        try:
            value = self._formula(cell, title, place) if entry.formula else cell.value
        except CannotFollow as reason:
            self.lost.append(entry.lost(f"its value stands in place of {entry.formula}: {reason}"))
            value = entry.value
        new.value = value
        if cell.data_type == "s":
            new.data_type = "s"
        if cell.has_style:
            for what in ("font", "fill", "border", "alignment", "number_format", "protection"):
                setattr(new, what, copy(getattr(cell, what)))
        widths = self.old.book[title].column_dimensions
        if get_column_letter(cell.column) in widths:
            width = widths[get_column_letter(cell.column)].width
            now = self.book[sheet].column_dimensions[get_column_letter(column)]
            now.width = max(now.width, width) if now.customWidth else width

    def _formula(self, cell: Any, title: str, place: Place) -> Any:
        """The user's formula, following what it refers to."""
        if isinstance(cell.value, DataTableFormula):
            raise CannotFollow("data tables (what-if analysis) are not carried over")
        text = self.moves.formula(olds.formula_of(cell), title, place[0])
        if not isinstance(cell.value, ArrayFormula):
            return text
        left, top, right, bottom = range_boundaries(cell.value.ref)
        area = Area(place[0], place[1], place[2], bottom - top + 1, right - left + 1)
        return ArrayFormula(area.cells, text)

    def _comments(self, title: str) -> None:
        for cell in list(self.old.book[title]._cells.values()):
            if cell.comment is None:
                continue
            place = self.moves.place(title, cell.row, cell.column)
            if place is None:
                text = cell.comment.text
                why = "the cell of this comment is no more"
                self.lost.append(Lost(title, cell.coordinate, text, why))
                continue
            new = self.book[place[0]].cell(place[1], place[2])
            old = cell.comment
            text = f"{new.comment.text}\n{old.text}" if new.comment else old.text
            new.comment = Comment(text, old.author, old.height, old.width)

    def _links(self, title: str) -> None:
        """Links to somewhere else, on whatever cell, but those that our own sheets have."""
        made = self.made.book[self.made.titles(self.old)[title]]
        ours = {place for place, cell in made._cells.items() if cell.hyperlink}
        for cell in list(self.old.book[title]._cells.values()):
            link = cell.hyperlink
            if link is None or not link.target or (cell.row, cell.column) in ours:
                continue
            place = self.moves.place(title, cell.row, cell.column)
            if place is None:
                why = "the cell of this link is no more"
                self.lost.append(Lost(title, cell.coordinate, link.target, why))
                continue
            new = self.book[place[0]].cell(place[1], place[2])
            # The setter would type the address into a cell that is empty so far.
            new._hyperlink = copy(link)
            new._hyperlink.ref = new.coordinate
            new.parent._hyperlinks.append(new._hyperlink)

    def _merged(self, title: str, cells: list[Any]) -> None:
        """Cells shown as one, where they stand as they stood."""
        own = {(cell.row, cell.column) for cell in cells}
        for area in self.old.book[title].merged_cells.ranges:
            first = area.min_row, area.min_col
            if first not in own:
                continue
            place = self.moves.cells.get((title, *first))
            if place and place[1:] == first:
                self.book[place[0]].merged_cells.add(area.coord)
            else:
                self.lost.append(Lost(title, area.coord, "", "its cells are shown as one no more"))

    def _rules(self, title: str) -> None:
        """Looks that follow from values stay behind, unless our own sheet had some too."""
        if self.made.book[self.made.titles(self.old)[title]].conditional_formatting:
            return
        for rules in self.old.book[title].conditional_formatting:
            why = "a look that follows from values (conditional format) on a sheet of ours"
            self.lost.append(Lost(title, str(rules.sqref), "", why))


def _lost(old: Old, cell: Any, why: str) -> Lost:
    return old.entry(cell.parent.title, cell.row, cell.column).lost(why)
