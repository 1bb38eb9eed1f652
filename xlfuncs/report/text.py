"""The report as text: each part as its sheet shows it, numbers with the decimals of their cells."""

from __future__ import annotations

from xlfuncs import terminal
from xlfuncs.report import content
from xlfuncs.workbook.kit.blocks import ReportPart
from xlfuncs.workbook.reader import Reader, blank, date_text


def show(reader: Reader) -> None:
    """Print the report of one workbook."""
    terminal.say(
        f"{reader.path.name}, state on {date_text(reader.cell('state_as_of')) or '-'}", bold=True
    )
    terminal.say("")
    for part in content.parts():
        if part.title and part.keep:
            _lines(reader, part)
        elif part.title:
            _cells(reader, part)


def _lines(reader: Reader, part: ReportPart) -> None:
    columns = [reader.shown(name) for name in part.cells.values()]
    kept = [column for key, column in zip(part.cells, columns, strict=True) if key in part.keep]
    terminal.table(
        part.title,
        ("", *(_heading(key) for key in part.cells)),
        [
            (str(number), *line)
            for number, (line, told) in enumerate(
                zip(zip(*columns, strict=True), zip(*kept, strict=True), strict=True), 1
            )
            if not blank(told)
        ],
    )


def _cells(reader: Reader, part: ReportPart) -> None:
    told = [(_heading(key), reader.shown(name)[0]) for key, name in part.cells.items()]
    told = [(key, value) for key, value in told if value is not None]
    if not told:
        return
    terminal.say(part.title, bold=True)
    for key, value in told:
        terminal.item(f"{key}: {value}")
    terminal.say("")


def _heading(key: str) -> str:
    return "± 95 %" if key == "expanded" else key.replace("_", " ").replace("expanded", "±")
