"""How an instrument moved: a picture of all its checks in the record."""

from __future__ import annotations

from xlfuncs.audit.paper import ENGLISH, Page
from xlfuncs.audit.setup import Piece
from xlfuncs.cells.values import visible
from xlfuncs.workbook.kit import charts, styles
from xlfuncs.workbook.kit.blocks import Chart, Trace
from xlfuncs.workbook.kit.place import Area

#: Places of the columns in the table of checks, and of those behind a picture.
_CHECKS = {"when": 2, "found": 7, "expanded": 8, "low": 10, "high": 11}
_BEHIND = {"from": 1, "low": 2, "high": 3}
#: Half a page: so many rows of so many points, and the picture in it, cm.
_ROWS, _HEIGHT, _SIZE = 10, 24.0, (26.5, 8.2)


def add(
    page: Page,
    checks: Page,
    title: str,
    piece: Piece,
    first: int,
    last: int,
    period: tuple[float, float],
) -> None:
    """Put a picture of the rows `first` to `last` of the table of checks on a page.

    What is tolerated is drawn over the whole period, or from check to check where it changed.
    """
    rows = last - first + 1
    names = {key: Area(checks.sheet.title, first, column, rows) for key, column in _CHECKS.items()}
    limits = {check.tool.tolerance for check in piece.checks}
    behind = []
    if len(limits) == 1:
        (limit,) = limits
        behind = [(day, -limit, limit) for day in period]
        names |= {
            key: Area(page.sheet.title, page.rows + 1, column, 2) for key, column in _BEHIND.items()
        }
    else:
        names["from"] = names["when"]
    chart = Chart(
        "scatter",
        visible(title),
        "shown less true",
        (
            Trace("found, with ±", "found", "when", line=True, expanded="expanded"),
            Trace("tolerated", "low", "from", limit=True),
            Trace("tolerated", "high", "from", limit=True),
        ),
        _SIZE,
        _ROWS,
        x_format=f"{ENGLISH}{styles.DATE}",
        y_format=f"{ENGLISH}0.0###",
        x_range=period,
    )
    charts.add(page.sheet, chart, Area(page.sheet.title, page.rows + 1, 1), names)
    for row in range(_ROWS):
        page.row(behind[row] if row < len(behind) else [""], styles.LABEL, height=_HEIGHT)
