"""Pictures that read in black and white: markers and dashes tell the series apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from openpyxl.chart import LineChart, Reference, ScatterChart, Series
from openpyxl.chart.data_source import NumDataSource, NumRef
from openpyxl.chart.error_bar import ErrorBars
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.title import Title, title_maker
from openpyxl.drawing.text import CharacterProperties, ParagraphProperties
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import Chart, Trace
from xlfuncs.workbook.kit.place import Area


def add(sheet: Worksheet, chart: Chart, area: Area, names: Mapping[str, Area]) -> None:
    """Put a picture on its sheet; cells that hold #N/A are left out."""

    def cells(name: str) -> Reference:
        return Reference(sheet, range_string=f"'{names[name].sheet}'!{names[name].cells}")

    drawn: Any
    if chart.kind == "scatter":
        drawn = ScatterChart()
        drawn.scatterStyle = "lineMarker"
        drawn.x_axis.title = _title(chart.x_title, 900)
        drawn.x_axis.number_format = chart.x_format
        drawn.x_axis.scaling.min, drawn.x_axis.scaling.max = chart.x_range
        for trace in chart.traces:
            series = Series(cells(trace.y), cells(trace.x), title=trace.name)
            drawn.series.append(_styled(series, trace, cells))
    else:
        drawn = LineChart()
        for trace in chart.traces:
            drawn.series.append(_styled(Series(cells(trace.y), title=trace.name), trace, cells))
        drawn.set_categories(cells(chart.categories))
    _finish(drawn, chart)
    sheet.add_chart(drawn, f"{get_column_letter(area.left)}{area.top}")


def _finish(drawn: Any, chart: Chart) -> None:
    drawn.style = 2
    drawn.title = _title(chart.heading, 1100)
    drawn.y_axis.title = _title(chart.y_title, 900)
    drawn.y_axis.number_format = chart.y_format
    drawn.x_axis.delete = drawn.y_axis.delete = False
    drawn.x_axis.majorGridlines = None
    drawn.y_axis.majorGridlines.spPr = GraphicalProperties(ln=_line(styles.GRID, 6350))
    drawn.x_axis.tickLblPos = "low"
    drawn.legend.position = "r"
    drawn.display_blanks = "gap"
    drawn.y_axis.scaling.min = chart.y_from
    drawn.width, drawn.height = chart.size


def _title(text: str, size: int) -> Title:
    """A title in a size that leaves room for the data, hundredths of a point."""
    title = title_maker(text)
    title.overlay = False
    for paragraph in title.tx.rich.p:
        paragraph.pPr = ParagraphProperties(defRPr=CharacterProperties(sz=size, b=True))
        for run in paragraph.r:
            run.rPr = CharacterProperties(sz=size, b=True, solidFill=styles.INK)
    return title


def _styled(series: Any, trace: Trace, cells: Callable[[str], Reference]) -> Any:
    properties = series.graphicalProperties = GraphicalProperties()
    if trace.limit or trace.fine:
        properties.line.solidFill = styles.ACCENT if trace.limit else styles.INK
        properties.line.dashStyle = "dash" if trace.limit else "sysDot"
        properties.line.width = 15875
        series.marker.symbol = "none"
    else:
        if trace.line:
            properties.line.solidFill, properties.line.width = styles.INK, 12700
        else:
            properties.line.noFill = True
        series.marker.symbol, series.marker.size = trace.marker, 7
        series.marker.graphicalProperties = GraphicalProperties(solidFill=styles.INK)
        series.marker.graphicalProperties.line.solidFill = styles.INK
    series.smooth = False
    if trace.expanded:
        series.errBars = _bars(str(cells(trace.expanded)))
    return series


def _bars(cells: str) -> ErrorBars:
    """Bars of ± above and below each point."""
    reach = NumDataSource(numRef=NumRef(f=cells))
    return ErrorBars(errDir="y", errBarType="both", errValType="cust", plus=reach, minus=reach,
                     spPr=GraphicalProperties(ln=_line(styles.INK, 9525)))  # fmt: skip


def _line(colour: str, width: int) -> Any:
    properties = GraphicalProperties()
    properties.line.solidFill, properties.line.width = colour, width
    return properties.line
