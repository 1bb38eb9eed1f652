"""How the sheets look: one type scale, one accent, one tint for what is typed.

Colour never carries meaning alone: cells to fill in have a hairline round them, headings say who
fills a column in, and every verdict is a word.
"""

from __future__ import annotations

from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.workbook import Workbook

INK, QUIET, RULE, GRID, ACCENT = "26302E", "66716E", "B4BFBB", "DCE3E0", "7B3F61"
_TINT, BAND, BAR = "F1F5EC", "E9EDEB", "CBB3C1"
FACE = "Arial"

#: Points: title, the answer, section, text, note.
_TITLE, _ANSWER, _SECTION, _TEXT, _NOTE = 18, 14, 12, 10, 9

GENERAL, WHOLE, SG, FINE_SG = "General", "0", "0.0000", "0.00000"
DATE, MOMENT = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
READING, TEMPERATURE, VOLUME, ONE, TWO = "0.0###", "0.#", "0.0#", "0.0", "0.00"
PERCENT, SIGNED_ONE, SIGNED_TWO = "0.0%", "+0.0;-0.0;0.0", "+0.00;-0.00;0.00"

TITLE, LEAD, SECTION, TEXT, NOTE = "title of sheet", "lead of sheet", "section", "words", "note"
HEADING, HEADING_TYPED, HINT, HINT_TYPED = "head", "head, typed", "hint", "hint, typed"
TYPED, RESULT, STEP, LABEL, ANSWER = "typed", "result", "step", "label", "the answer"
LINK, CAUTION, BOX, CELL = "link to sheet", "caution", "box for a pen", "typed cell"
STRIP, NOTICE = "one value of a strip", "notice beside a title"

_LEFT = Alignment(vertical="center", horizontal="left", indent=1)
_WRAPPED = Alignment(vertical="center", horizontal="left", indent=1, wrap_text=True)
_MIDDLE = Alignment(vertical="center", horizontal="center", wrap_text=True)
_TOP = Alignment(wrap_text=True, vertical="top", horizontal="center")
_NUMBER = Alignment(vertical="center")

_FINE = Side(style="thin", color=GRID)
_THIN = Side(style="thin", color=RULE)
_EDGE = Side(style="thin", color=INK)
_HAIRLINE = Border(left=_FINE, right=_FINE, top=_FINE, bottom=_FINE)


def _font(**changes: object) -> Font:
    return Font(**{"name": FACE, "size": _TEXT, "color": INK, **changes})


def _fill(colour: str) -> PatternFill:
    return PatternFill("solid", start_color=colour, end_color=colour)


def _look(name: str, font: Font, alignment: Alignment, border: Border | None = None,
          fill: str = "") -> NamedStyle:  # fmt: skip
    style = NamedStyle(name, font=font, alignment=alignment)
    if border:
        style.border = border
    if fill:
        style.fill = _fill(fill)
    return style


def register(book: Workbook) -> None:
    """Give a new workbook all the named styles."""
    # Widths of columns are counted in digits of the normal font: one that is there everywhere.
    normal = book._named_styles["Normal"]
    normal.font = _font()
    normal.bind(book)
    below, above = Border(bottom=_THIN), Border(top=_EDGE)
    bold, quiet = _font(bold=True, size=_NOTE), _font(size=_NOTE, color=QUIET)
    for style in (
        _look(TITLE, _font(size=_TITLE, bold=True), Alignment(vertical="center")),
        _look(LEAD, quiet, Alignment(wrap_text=True, vertical="top")),
        _look(SECTION, _font(size=_SECTION, bold=True, color=ACCENT),
              Alignment(vertical="bottom"), Border(bottom=Side(style="thin", color=ACCENT))),
        _look(TEXT, _font(), Alignment(wrap_text=True, vertical="center")),
        _look(NOTE, quiet, _LEFT),
        _look(HEADING, bold, _MIDDLE, above, BAND),
        _look(HEADING_TYPED, bold, _MIDDLE, above, _TINT),
        _look(HINT, _font(size=8, color=QUIET), _TOP, below, BAND),
        _look(HINT_TYPED, _font(size=8, color=QUIET), _TOP, below, _TINT),
        _look(TYPED, _font(), _NUMBER, _HAIRLINE, _TINT),
        _look(CELL, _font(), _LEFT, Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN),
              _TINT),
        _look(RESULT, _font(), _NUMBER, Border(bottom=_FINE)),
        _look(STEP, _font(size=_NOTE, color=QUIET), _NUMBER),
        _look(LABEL, _font(), Alignment(vertical="center")),
        _look(ANSWER, _font(size=_ANSWER, bold=True, color=ACCENT), _WRAPPED),
        _look(LINK, _font(bold=True, color=ACCENT, underline="single"),
              Alignment(vertical="center")),
        _look(CAUTION, _font(bold=True), _WRAPPED,
              Border(left=Side(style="thick", color=ACCENT))),
        _look(NOTICE, bold, _WRAPPED),
        _look(STRIP, _font(), _MIDDLE, _HAIRLINE),
        _look(BOX, _font(), _MIDDLE, Border(left=_EDGE, right=_EDGE, top=_EDGE, bottom=_EDGE)),
    ):  # fmt: skip
        book.add_named_style(style)


#: Words keep clear of the number before them.
WORDS, WRAPPED_WORDS = _LEFT, _WRAPPED
#: And a number with a bar behind it clear of the bar's ends.
OVER_BAR = _MIDDLE
