"""How the sheets look: one place for colours, type and cell styles.

Colour never carries meaning alone: cells to fill in have a dashed frame and say so in their
heading, computed ones are plain, and every verdict is a word.
"""

from __future__ import annotations

from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.workbook import Workbook

_INK = "22303C"
_QUIET = "5B6B78"
_RULE = "B9C4CC"
_FACE = "Arial"

_HAIR = Side(style="hair", color=_RULE)
_THIN = Side(style="thin", color=_RULE)
_DASHED = Side(style="dashed", color="8A6D1B")
_EDGE = Side(style="thin", color=_INK)
_BASE = Side(style="medium", color=_INK)


def _font(**changes: object) -> Font:
    return Font(**{"name": _FACE, "size": 10, "color": _INK, **changes})


def _fill(colour: str) -> PatternFill:
    return PatternFill("solid", start_color=colour, end_color=colour)


TITLE, LEAD, SECTION = "title of sheet", "lead of sheet", "section"
HEADING, HEADING_INPUT, HINT, HINT_INPUT = "head", "head to fill in", "hint", "hint to fill in"
INPUT, RESULT, STEP, LABEL, TEXT, LINK, CAUTION, BOX = (
    "to fill in",
    "result",
    "step",
    "label",
    "running text",
    "link to sheet",
    "caution",
    "box to write in",
)

_WRAP = Alignment(wrap_text=True, vertical="top")
#: Words keep clear of the number before them.
WORDS = Alignment(vertical="center", horizontal="left", indent=1)
_CENTRE = Alignment(wrap_text=True, vertical="center", horizontal="center")


def _styles() -> list[NamedStyle]:
    return [
        NamedStyle(TITLE, font=_font(size=18, bold=True), alignment=Alignment(vertical="center")),
        NamedStyle(
            LEAD,
            font=_font(size=9, italic=True, color=_QUIET),
            alignment=Alignment(wrap_text=True, vertical="center"),
        ),
        NamedStyle(SECTION, font=_font(size=12, bold=True), border=Border(bottom=_BASE)),
        NamedStyle(
            HEADING,
            font=_font(bold=True),
            fill=_fill("E3E9ED"),
            border=Border(top=_BASE),
            alignment=_CENTRE,
        ),
        NamedStyle(
            HEADING_INPUT,
            font=_font(bold=True),
            fill=_fill("F6E7BE"),
            border=Border(top=_BASE),
            alignment=_CENTRE,
        ),
        NamedStyle(
            HINT,
            font=_font(size=8, color=_QUIET),
            fill=_fill("E3E9ED"),
            border=Border(bottom=_THIN),
            alignment=_CENTRE,
        ),
        NamedStyle(
            HINT_INPUT,
            font=_font(size=8, color=_QUIET),
            fill=_fill("F6E7BE"),
            border=Border(bottom=_THIN),
            alignment=_CENTRE,
        ),
        NamedStyle(
            INPUT,
            font=_font(),
            fill=_fill("FFFBEF"),
            border=Border(left=_DASHED, right=_DASHED, top=_DASHED, bottom=_DASHED),
            alignment=Alignment(vertical="center"),
        ),
        NamedStyle(
            RESULT,
            font=_font(),
            border=Border(bottom=_HAIR),
            alignment=Alignment(vertical="center"),
        ),
        NamedStyle(
            STEP,
            font=_font(size=9, color=_QUIET),
            border=Border(bottom=_HAIR),
            alignment=Alignment(vertical="center"),
        ),
        NamedStyle(
            BOX,
            font=_font(),
            border=Border(left=_EDGE, right=_EDGE, top=_EDGE, bottom=_EDGE),
            alignment=Alignment(vertical="center", horizontal="center", wrap_text=True),
        ),
        NamedStyle(LABEL, font=_font(), alignment=Alignment(vertical="center", wrap_text=True)),
        NamedStyle(TEXT, font=_font(), alignment=_WRAP),
        NamedStyle(LINK, font=_font(bold=True, underline="single"), alignment=_WRAP),
        NamedStyle(
            CAUTION,
            font=_font(bold=True),
            border=Border(left=_BASE),
            alignment=Alignment(wrap_text=True, vertical="top", indent=1),
        ),
    ]


def register(book: Workbook) -> None:
    """Enter the named styles in a workbook."""
    for style in _styles():
        book.add_named_style(style)


#: Number formats.
SG = "0.0000"
DEGREES = "0.00"
VOLUME = "0.0"
TEMPERATURE = "0.0"
DATE = "yyyy-mm-dd"
MOMENT = "yyyy-mm-dd hh:mm"
WHOLE = "0"
READING = "0.0###"  # °Brix or SG, as the instrument shows it
PLAIN = "General"  # words
