"""Charts that read in black and white: markers and dashes tell the series apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from openpyxl.chart import BarChart, LineChart, Reference, ScatterChart, Series
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.title import Title, title_maker
from openpyxl.drawing.text import CharacterProperties, ParagraphProperties
from openpyxl.worksheet.worksheet import Worksheet

_INK, _SIGNAL = "22303C", "8A3B12"


@dataclass(frozen=True)
class Trace:
    """One series of a chart: its name, its cells, and whether it is a line of limits."""

    name: str
    x: str
    y: str
    limit: bool = False
    marker: str = "circle"
    line: bool = False
    fine: bool = False  # a second kind of limit, dotted


def scatter(
    sheet: Worksheet,
    anchor: str,
    heading: str,
    x_title: str,
    y_title: str,
    traces: tuple[Trace, ...],
    size: tuple[float, float],
    x_format: str = "General",
    y_format: str = "General",
    y_from: float | None = None,
) -> None:
    """Points and limit lines over a numeric axis; cells that hold #N/A are left out."""
    chart = ScatterChart()
    chart.scatterStyle = "lineMarker"
    chart.x_axis.title = _title(x_title, 900)
    chart.x_axis.number_format = x_format
    for trace in traces:
        series = Series(_cells(sheet, trace.y), _cells(sheet, trace.x), title=trace.name)
        chart.series.append(_styled(series, trace))
    _finish(sheet, chart, anchor, heading, y_title, y_format, size)
    chart.y_axis.scaling.min = y_from


def by_stage(
    sheet: Worksheet,
    anchor: str,
    heading: str,
    y_title: str,
    stages: str,
    traces: tuple[Trace, ...],
    size: tuple[float, float],
    y_format: str = "General",
    y_from: float | None = None,
) -> None:
    """Points and limit lines over named stages; cells that hold #N/A are left out."""
    chart = LineChart()
    for trace in traces:
        chart.series.append(_styled(Series(_cells(sheet, trace.y), title=trace.name), trace))
    chart.set_categories(_cells(sheet, stages))
    _finish(sheet, chart, anchor, heading, y_title, y_format, size)
    chart.y_axis.scaling.min = y_from


def bars(
    sheet: Worksheet,
    anchor: str,
    heading: str,
    y_title: str,
    names: str,
    trace: Trace,
    size: tuple[float, float],
    y_format: str = "General",
) -> None:
    """Lying bars, the first on top."""
    chart = BarChart()
    chart.type, chart.gapWidth = "bar", 60
    series = Series(_cells(sheet, trace.y), title=trace.name)
    series.graphicalProperties = GraphicalProperties(solidFill=_INK)
    chart.series.append(series)
    chart.set_categories(_cells(sheet, names))
    chart.x_axis.scaling.orientation = "maxMin"
    _finish(sheet, chart, anchor, heading, y_title, y_format, size)
    chart.legend = None


def _finish(
    sheet: Worksheet,
    chart: ScatterChart | LineChart | BarChart,
    anchor: str,
    heading: str,
    y_title: str,
    y_format: str,
    size: tuple[float, float],
) -> None:
    chart.style = 2
    chart.title = _title(heading, 1200)
    chart.y_axis.title = _title(y_title, 900)
    chart.y_axis.number_format = y_format
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.majorGridlines = None
    chart.y_axis.majorGridlines.spPr = GraphicalProperties(ln=_line("D5DCE1", 6350))
    chart.x_axis.tickLblPos = "low"
    chart.legend.position = "b"
    chart.display_blanks = "gap"
    chart.width, chart.height = size
    sheet.add_chart(chart, anchor)


def _title(text: str, size: int) -> Title:
    """A title in a size that leaves room for the data, hundredths of a point."""
    title = title_maker(text)
    title.overlay = False
    for paragraph in title.tx.rich.p:
        paragraph.pPr = ParagraphProperties(defRPr=CharacterProperties(sz=size, b=True))
        for run in paragraph.r:
            run.rPr = CharacterProperties(sz=size, b=True, solidFill=_INK)
    return title


def _styled(series: Any, trace: Trace) -> Any:
    properties = series.graphicalProperties = GraphicalProperties()
    if trace.limit or trace.fine:
        properties.line.solidFill = _SIGNAL if trace.limit else _INK
        properties.line.dashStyle = "dash" if trace.limit else "sysDot"
        properties.line.width = 15875
        series.marker.symbol = "none"
    else:
        if trace.line:
            properties.line.solidFill, properties.line.width = _INK, 12700
        else:
            properties.line.noFill = True
        series.marker.symbol, series.marker.size = trace.marker, 7
        series.marker.graphicalProperties = GraphicalProperties(solidFill=_INK)
        series.marker.graphicalProperties.line.solidFill = _INK
    series.smooth = False
    return series


def _cells(sheet: Worksheet, cells: str) -> Reference:
    return Reference(sheet, range_string=f"'{sheet.title}'!{cells}")


def _line(colour: str, width: int) -> Any:
    properties = GraphicalProperties()
    properties.line.solidFill, properties.line.width = colour, width
    return properties.line
