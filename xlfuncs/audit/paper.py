"""Tables on paper: 8 pt, A4 across, headings on each page, every text wrapped and none cut.

The rows go to the file as they come, so that a hundred thousand of them need little memory.
"""

from __future__ import annotations

import copy
import math
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break

from xlfuncs.cells.values import FORMULA_SIGNS, visible
from xlfuncs.workbook.kit import styles, write

#: What the columns of a page may take together, in the characters that spreadsheets count by.
WIDEST = 143.0
#: Points: a character of column width, the edges of a cell, a line of type, the type.
_CHARACTER, _EDGES, _LINE, _SIZE = 5.25, 9.0, 10.0, 8
#: Lines of type that the tallest row takes; a longer text goes on in the next row.
_MOST = 38
#: Before a number's format: a point for decimals, whatever the language of the office that prints.
ENGLISH = "[$-409]"
#: Of numbers in the formats of the columns, what these have room for.
_LARGEST = 99_999
TITLE, SECTION, TEXT, BOLD, HEADING, LINE = (
    "record title", "record section", "record text", "record bold", "record heading",
    "record line to sign",
)  # fmt: skip

_NARROW, _WIDE = frozenset("iIl.,:;'|!()[]/\\jtfr- "), frozenset("mwMW@%—…")


class Column(NamedTuple):
    """A column of a table; numbers in it are shown in its format."""

    heading: str
    width: float
    format: str = styles.GENERAL


def wrapped(text: str, width: float) -> list[str]:
    """A text as the lines of type that it takes in a column, on the safe side.

    >>> wrapped("a few words", 20), wrapped("a few words", 6), len(wrapped("0123456789" * 6, 20))
    (['a few words'], ['a few', 'words'], 3)
    """
    room = (width * _CHARACTER - _EDGES) / _SIZE
    told: list[str] = []
    for part in text.split("\n"):
        line, used = "", 0.0
        for word in part.split(" "):
            wide = sum(map(_em, word))
            if line and used + _em(" ") + wide > room:
                told.append(line)
                line, used = "", 0.0
            gap = " " if line else ""
            if wide <= room:
                line, used = line + gap + word, used + wide + (_em(" ") if gap else 0.0)
                continue
            for character in gap + word:  # a word that is longer than a line breaks anywhere
                if used + _em(character) > room:
                    told.append(line)
                    line, used = "", 0.0
                line, used = line + character, used + _em(character)
        told.append(line)
    return told


def _em(character: str) -> float:
    """Width of a character as a share of the type's size, in Arial or what stands in for it."""
    if character in _NARROW:
        return 0.32
    if character in _WIDE or unicodedata.east_asian_width(character) in "WF":
        return 1.0
    return 0.72 if character.isupper() else 0.556


class Book:
    """A workbook that is written once, from its first row to its last."""

    def __init__(self, foot: str) -> None:
        self.book = Workbook(write_only=True)
        self._foot = foot
        styles.register(self.book)
        thin = Border(bottom=Side(style="thin", color=styles.GRID))
        ink = Side(style="thin", color=styles.INK)
        wrapped = Alignment(wrap_text=True, vertical="top", horizontal="left")
        for name, size, bold, border, fill in (
            (TITLE, 18, True, None, ""), (SECTION, 11, True, None, ""), (TEXT, 8, False, thin, ""),
            (BOLD, 8, True, thin, ""), (HEADING, 8, True, Border(top=ink, bottom=ink), styles.BAND),
            (LINE, 8, False, Border(bottom=ink), ""),
        ):  # fmt: skip
            colour = styles.ACCENT if name == SECTION else styles.INK
            style = NamedStyle(name, Font(name=styles.FACE, size=size, bold=bold, color=colour))
            style.alignment = wrapped
            if border:
                style.border = border
            if fill:
                style.fill = PatternFill("solid", start_color=fill, end_color=fill)
            self.book.add_named_style(style)

    def page(
        self, title: str, columns: Sequence[Column], *, headings: bool = True, fit: bool = True
    ) -> Page:
        """A sheet, which begins with its title and the headings of its columns."""
        page = Page(self.book, title, columns)
        page.sheet.sheet_properties.pageSetUpPr.fitToPage = fit  # stands before the rows
        page.sheet.oddFooter.left.text = "&A"
        page.sheet.oddFooter.center.text = self._foot.replace("&", "&&")
        page.sheet.oddFooter.right.text = "&P / &N"
        if headings:
            page.row([title], SECTION, height=20)
            page.row([column.heading for column in columns], HEADING)
            page.repeat = "1:2"
        return page


class Page:
    """A sheet that is being written."""

    def __init__(self, book: Workbook, title: str, columns: Sequence[Column]) -> None:
        assert sum(column.width for column in columns) <= WIDEST
        self.sheet = book.create_sheet(title)
        self.columns, self.rows, self.repeat = columns, 0, ""
        self._looks: dict[tuple[str, str, bool], Any] = {}
        self.sheet.sheet_view.showGridLines = False
        for place, column in enumerate(columns, 1):
            self.sheet.column_dimensions[get_column_letter(place)].width = column.width

    def row(
        self, values: Iterable[Any], style: str = TEXT, *, across: int = 0, height: float = 0.0
    ) -> None:
        """Write a row: texts as texts whatever they begin with, numbers in their column's format,
        or in their own as the second of a pair.

        From the column `across` on (counted from 1) the last value has all the room to the right.
        """
        if style == SECTION:
            across = 1
        told: list[Any] = []
        rest: list[str] = []
        for place, value in enumerate(values, 1):
            some = self.columns[place - 1 :] if place == across else self.columns[place - 1 : place]
            shown, more = value, ""
            if isinstance(value, str) and style != SECTION:
                text = wrapped(visible(value), sum(column.width for column in some))
                if len(text) > _MOST:
                    shown, more = "\n".join(text[:_MOST]), "\n".join(text[_MOST:])
                height = max(height, _LINE * min(len(text), _MOST) + 3)
            told.append(shown)
            rest.append(more)
        self._write(told, style, across, height or _LINE + 3)
        if any(rest):
            self.row(rest, style, across=across)

    def _write(self, values: list[Any], style: str, across: int, height: float) -> None:
        self.rows += 1
        cells = [self._cell(value, column, style)
                 for value, column in zip(values, self.columns, strict=False)]  # fmt: skip
        if across:
            blank = self._cell(None, self.columns[0], style)
            cells += [blank] * (len(self.columns) - len(cells))
            last = get_column_letter(len(self.columns))
            self.sheet.merged_cells.add(f"{get_column_letter(across)}{self.rows}:{last}{self.rows}")
        # Neither printing nor Excel makes room for a text of several lines by itself.
        self.sheet.row_dimensions[self.rows].height = height
        self.sheet.append(cells)
        del self.sheet.row_dimensions[self.rows]  # it is written, and a year has very many

    def gap(self) -> None:
        """An empty row."""
        self.rows += 1
        self.sheet.append([])

    def break_here(self) -> None:
        """Go on on the next page."""
        self.sheet.row_breaks.append(Break(id=self.rows))

    def finish(self) -> None:
        """Set up the paper, when all rows are written."""
        last = get_column_letter(len(self.columns))
        foot, fit = self.sheet.oddFooter.center.text, self.sheet.sheet_properties.pageSetUpPr
        fits = fit.fitToPage
        area = f"A1:{last}{max(self.rows, 1)}"
        write.page(self.sheet, write.A4, area, self.repeat, landscape=True)
        self.sheet.oddFooter.center.text, fit.fitToPage = foot, fits

    def _cell(self, value: Any, column: Column, style: str) -> Any:
        cell, format_ = WriteOnlyCell(self.sheet), column.format
        if isinstance(value, tuple):
            value, format_ = value
        elif isinstance(value, (int, float)) and not math.isfinite(value):
            value = None
        elif isinstance(value, (int, float)) and abs(value) > _LARGEST:
            value = f"{value:.6g}"  # as a number it would show as ### in a narrow column
        text = value is None or isinstance(value, str)
        told: Any = visible(value or "") if text else float(value)
        guarded = text and told.startswith(FORMULA_SIGNS)  # should somebody edit it
        key = style, "" if text else format_, guarded
        if key not in self._looks:
            cell.style = style
            cell.quotePrefix = guarded
            if not text:
                cell.number_format = f"{ENGLISH}{format_}"
                cell.alignment = Alignment(vertical="top", horizontal="right", indent=1)
            self._looks[key] = copy.copy(cell._style)
        cell._style = self._looks[key]
        # openpyxl would take a text that begins with = for a formula.
        cell._value, cell.data_type = (told or None, "s" if told else "n") if text else (told, "n")
        return cell
