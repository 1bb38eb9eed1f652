"""The history as a workbook: pictures first, the tables that they are drawn of behind them.

All of it is words and numbers: nothing that came out of a file can run as a formula here.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import xlsxwriter
from xlsxwriter.utility import xl_range_abs

from xlfuncs.audit.typed import day
from xlfuncs.cells.values import shortened, visible
from xlfuncs.history import table
from xlfuncs.history.instruments import Moved, known
from xlfuncs.history.run import History
from xlfuncs.workbook.kit import styles

FIRST, BATCHES, STAGES, INSTRUMENTS, CHECKS, FACTORS = (
    "History", "Batches", "Stages", "Instruments", "Checks", "Own factors",
)  # fmt: skip
# A file that says when it was made differs every time.
_MADE = datetime.datetime(2026, 1, 1)
#: Pixels of a picture, two beside each other; rows from one to the next, and its first row.
_WIDE, _HIGH, _ROWS, _TOP = 620, 300, 16, 5
_COLUMNS = {column.name: place for place, column in enumerate(table.COLUMNS)}


def to_bytes(history: History) -> bytes:
    """The workbook as the bytes of an .xlsx file, the same for the same history."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"title": "History", "author": "xlfuncs", "created": _MADE})
    _Writer(book, history).write()
    book.close()
    return buffer.getvalue()


class _Writer:
    """Writes the sheets of one history."""

    def __init__(self, book: Any, history: History) -> None:
        self.book, self.history = book, history
        face = {"font_name": styles.FACE, "font_size": 10, "font_color": f"#{styles.INK}"}
        self.plain = book.add_format(face)
        self.title = book.add_format({**face, "font_size": 18, "bold": True})
        self.answer = book.add_format({**face, "font_size": 14, "bold": True,
                                       "font_color": f"#{styles.ACCENT}"})  # fmt: skip
        self.heading = book.add_format({**face, "bold": True, "text_wrap": True, "top": 1,
                                        "bg_color": f"#{styles.BAND}",
                                        "valign": "vcenter"})  # fmt: skip
        self.formats = {
            digits: book.add_format({**face, "num_format": f"0.{'0' * digits}" if digits else "0"})
            for digits in range(6)
        }
        self.date = book.add_format({**face, "num_format": "yyyy-mm-dd"})
        self.pictures = 0

    def write(self) -> None:
        self.first = self.book.add_worksheet(FIRST)
        self._batches()
        self._stages()
        self._instruments()
        self._factors()
        self._head()
        self.first.activate()

    def _head(self) -> None:
        history, sheet = self.history, self.first
        sheet.hide_gridlines(2)
        sheet.set_column(0, 30, 9)
        sheet.write_string(0, 0, "Batches over the years", self.title)
        days = [one.day for one in history.batches if one.day is not None]
        period = f", {day(int(min(days)))} to {day(int(max(days)))}" if days else ""
        files, batches = len(history.files), len(history.batches)
        sheet.write_string(1, 0, f"{batches} batches in {files} workbooks{period}", self.plain)
        sheet.write_string(2, 0, "   ·   ".join(_answers(history)), self.answer)
        sheet.set_row(0, 26)
        sheet.set_row(2, 22)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_paper(9)
        if not self.pictures:
            sheet.write_string(_TOP, 0, "No picture: two figures of a kind make one.", self.plain)

    def _sheet(self, name: str, headings: Sequence[str], widths: Sequence[float]) -> Any:
        sheet = self.book.add_worksheet(name)
        for place, (heading, width) in enumerate(zip(headings, widths, strict=True)):
            sheet.set_column(place, place, width)
            sheet.write_string(0, place, heading, self.heading)
        sheet.set_row(0, 42)
        sheet.freeze_panes(1, 1)
        return sheet

    def _cell(self, sheet: Any, row: int, place: int, value: Any, digits: int = 0) -> None:
        if value is None or value == "":
            return
        if isinstance(value, str):
            sheet.write_string(row, place, visible(value), self.plain)
        else:
            sheet.write_number(row, place, value, self.formats[digits])

    def _date(self, sheet: Any, row: int, place: int, serial: float | None) -> None:
        if serial is not None:
            sheet.write_number(row, place, int(serial), self.date)

    # --- tables ----------------------------------------------------------------------------------

    def _batches(self) -> None:
        headings = [column.heading for column in table.COLUMNS]
        widths = [20 if column.name in ("batch", "brewery", "files") else
                  16 if "verdict" in column.name else 11 for column in table.COLUMNS]  # fmt: skip
        sheet = self._sheet(BATCHES, headings, widths)
        batches = self.history.batches
        for row, (one, cells) in enumerate(zip(batches, table.rows(batches), strict=True), 1):
            for place, (column, value) in enumerate(zip(table.COLUMNS, cells, strict=True)):
                if column.name == "brew_day":
                    self._date(sheet, row, place, one.day)
                else:
                    self._cell(sheet, row, place, value, column.digits)
        if batches:
            sheet.autofilter(0, 0, len(batches), len(headings) - 1)
        self._over_time("Mash efficiency, and its ±", "%", "efficiency_percent")
        self._over_time("Apparent attenuation", "%", "attenuation_percent")

    def _stages(self) -> None:
        headings = ("Stage", "On target", "Low", "High", "Too close to call", "Mean miss, SG")
        sheet = self._sheet(STAGES, headings, (18, 11, 11, 11, 11, 11))
        stages = self.history.stages
        for row, one in enumerate(stages, 1):
            counts = (one.on_target, one.low, one.high, one.close)
            for place, value in enumerate((one.stage.capitalize(), *counts)):
                self._cell(sheet, row, place, value)
            self._cell(sheet, row, len(counts) + 1, one.miss, 5)
        if stages:
            self._hits(headings[1:5], len(stages))

    def _instruments(self) -> None:
        headings = ("Instrument", "Mark", "Kind", "Scale", "Put up with ±", "Checks", "Outside",
                    "Adjusted", "Last check", "Correction", "± about 95 %", "Drift in 30 days",
                    "± about 95 %", "Readings", "Joined by", "Files")  # fmt: skip
        sheet = self._sheet(INSTRUMENTS, headings, (24, 16, 18, *(11,) * 12, 40))
        checks = self._sheet(
            CHECKS,
            ("Instrument", "Date", "As", "Shown less true", "± about 95 %", "Put up with",
             "Put up with, below"),
            (24, 11, 11, 11, 11, 11, 11),
        )  # fmt: skip
        below = 1
        for row, one in enumerate(self.history.instruments, 1):
            self._instrument(sheet, row, one)
            below = self._checks(checks, below, one)

    def _instrument(self, sheet: Any, row: int, one: Moved) -> None:
        fine = 5 if one.unit == "SG" else 2
        last = one.checks[-1] if one.checks else None
        told = (one.name, one.identity, one.kind, one.unit)
        for place, value in enumerate(told):
            self._cell(sheet, row, place, value)
        self._cell(sheet, row, 4, one.tolerance, fine)
        for place, count in enumerate((len(one.checks), one.outside, one.adjusted), 5):
            self._cell(sheet, row, place, count)
        self._date(sheet, row, 8, last.when if last else None)
        for place, found in ((9, last.offset if last else None), (11, one.drift)):
            if found:
                self._cell(sheet, row, place, found.value, fine)
                self._cell(sheet, row, place + 1, found.expanded, fine)
        self._cell(sheet, row, 13, one.readings)
        for place, value in enumerate((one.joined_by, "; ".join(one.files)), 14):
            self._cell(sheet, row, place, value)

    def _checks(self, sheet: Any, top: int, one: Moved) -> int:
        """The checks of an instrument from a row on, and their picture; gives the next row."""
        fine = 5 if one.unit == "SG" else 2
        for row, check in enumerate(one.checks, top):
            self._cell(sheet, row, 0, known(one))
            self._date(sheet, row, 1, check.when)
            self._cell(sheet, row, 2, "left" if check.as_left else "found")
            found = (check.offset.value, check.offset.expanded, one.tolerance, -one.tolerance)
            for place, value in enumerate(found, 3):
                self._cell(sheet, row, place, value, fine)
        end = top + len(one.checks) - 1
        if len(one.checks) > 1:
            self._moved(one, top, end)
        return end + 1

    def _factors(self) -> None:
        headings = ("Workbook", "Last reading", "Wort factor", "± about 95 %",
                    "Wort factor of beer", "± about 95 %", "Alcohol factor", "In use")  # fmt: skip
        sheet = self._sheet(FACTORS, headings, (40, *(11,) * 7))
        factors = self.history.factors
        for row, one in enumerate(factors, 1):
            self._cell(sheet, row, 0, one.file)
            self._date(sheet, row, 1, one.until)
            for place, found in ((2, one.wort), (4, one.beer)):
                if found:
                    self._cell(sheet, row, place, found.value, 4)
                    self._cell(sheet, row, place + 1, found.expanded, 4)
            self._cell(sheet, row, 6, one.alcohol, 4)
            self._cell(sheet, row, 7, one.used, 4)
        dated = {int(one.until): one.wort for one in factors if one.until and one.wort}
        if len(dated) > 1:
            points = self._points(FACTORS, 1, len(factors), 1, 2, 3)
            self._scatter("Own wort factor, and its ±", "°Bx of a drop over °Plato", "0.000",
                          [_found("", points)],
                          _reach([(one.value, one.expanded) for one in dated.values()], 0.005),
                          )  # fmt: skip

    # --- pictures --------------------------------------------------------------------------------

    def _over_time(self, title: str, unit: str, name: str) -> None:
        """A figure of the batches over their brew days."""
        place, batches = _COLUMNS[name], self.history.batches
        column = table.COLUMNS[place]
        if sum(one.day is not None and column.of(one) is not None for one in batches) < 2:
            return
        bars = _COLUMNS.get(f"{name}_pm")
        points = self._points(BATCHES, 1, len(batches), _COLUMNS["brew_day"], place, bars)
        wide = table.COLUMNS[bars].of if bars else lambda _: 0.0
        found = [(column.of(one), wide(one)) for one in batches]
        self._scatter(title, unit, "0", [_found("", points)], _reach(found, 5))

    def _moved(self, one: Moved, top: int, end: int) -> None:
        points = self._points(CHECKS, top, end, 1, 3, 4)
        limits = [
            _limit("put up with" if place == 5 else "", self._points(CHECKS, top, end, 1, place),
                   end - top)
            for place in (5, 6)
        ]  # fmt: skip
        digits = "0.000" if one.unit == "SG" else "0.0"
        found: list[tuple[Any, Any]] = [(check.offset.value, check.offset.expanded)
                                        for check in one.checks]  # fmt: skip
        found += [(one.tolerance, 0), (-one.tolerance, 0)]
        self._scatter(f"{shortened(known(one))}: correction as found, and its ±",
                      f"shown less true, {one.unit}", digits, [_found("", points), *limits],
                      _reach(found, 0.001 if one.unit == "SG" else 0.1))  # fmt: skip

    @staticmethod
    def _points(
        sheet: str, top: int, end: int, x: int, y: int, bars: int | None = None
    ) -> dict[str, Any]:
        def cells(place: int) -> str:
            return f"='{sheet}'!{xl_range_abs(top, place, end, place)}"

        points: dict[str, Any] = {"categories": cells(x), "values": cells(y)}
        if bars is not None:
            points["y_error_bars"] = {"type": "custom", "plus_values": cells(bars),
                                      "minus_values": cells(bars), "line": _line()}  # fmt: skip
        return points

    def _scatter(self, title: str, unit: str, digits: str, lines: Iterable[dict[str, Any]],
                 reach: Mapping[str, float]) -> None:  # fmt: skip
        chart = self.book.add_chart({"type": "scatter", "subtype": "straight_with_markers"})
        for one in lines:
            chart.add_series(one)
        chart.set_x_axis({**_axis(), "num_format": "yyyy-mm", "major_gridlines": {"visible": False},
                          "label_position": "low"})  # fmt: skip
        chart.set_y_axis({**_axis(unit), **reach, **_GRID, "num_format": digits, "crossing": "min"})
        self._place(chart, title)
        chart.set_legend({"none": True})

    def _hits(self, names: Sequence[str], rows: int) -> None:
        chart = self.book.add_chart({"type": "bar", "subtype": "stacked"})
        ink = f"#{styles.INK}"
        down, up = (
            {"pattern": f"wide_{way}_diagonal", "fg_color": ink, "bg_color": "#FFFFFF"}
            for way in ("downward", "upward")
        )
        looks: tuple[dict[str, Any], ...] = (
            {"fill": {"color": f"#{styles.RULE}"}},
            {"pattern": down},
            {"pattern": up},
            {"fill": {"color": "#FFFFFF"}},
        )
        for place, (name, look) in enumerate(zip(names, looks, strict=True), 1):
            points = self._points(STAGES, 1, rows, 0, place)
            chart.add_series({**points, **look, "name": name, "border": {"color": ink}, "gap": 60})
        chart.set_y_axis({**_axis(), "reverse": True, "major_gridlines": {"visible": False}})
        chart.set_x_axis(
            {**_axis(), **_GRID, "num_format": "0", "min": 0, "label_position": "high"}
        )
        chart.set_legend({"position": "bottom", "font": {"size": 9}})
        self._place(chart, "Batches on target by stage")

    def _place(self, chart: Any, title: str) -> None:
        font = {"size": 11, "bold": True, "color": f"#{styles.INK}"}
        chart.set_title({"name": title, "overlay": False, "name_font": font})
        chart.set_size({"width": _WIDE, "height": _HIGH})
        chart.show_blanks_as("gap")
        line, beside = divmod(self.pictures, 2)
        self.first.insert_chart(_TOP - 1 + line * _ROWS, 9 * beside, chart, {"x_offset": 4})
        self.pictures += 1


def _reach(found: Iterable[tuple[Any, Any]], step: float) -> dict[str, float]:
    """Where an axis begins and ends: at a whole step beyond each figure with its ±."""
    ends = [(value - (pm or 0), value + (pm or 0)) for value, pm in found if value is not None]
    low, high = min(one for one, _ in ends), max(one for _, one in ends)
    below, above = math.ceil(low / step) - 1, math.floor(high / step) + 1
    return {"min": below * step, "max": above * step}


def _answers(history: History) -> list[str]:
    """What matters most, in a few words."""
    found = []
    values = [one.efficiency.value for one in history.batches if one.efficiency]
    if values:
        found.append(f"efficiency {_mean(values):.1f} %, {min(values):.1f} to {max(values):.1f}")
    attenuations = [one.attenuation for one in history.batches if one.attenuation is not None]
    if attenuations:
        found.append(f"attenuation {_mean(attenuations):.1f} %")
    judged = sum(one.judged for one in history.stages)
    if judged:
        hits = sum(one.on_target for one in history.stages)
        found.append(f"{hits} of {judged} gravities on target")
    return found


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _line(colour: str = styles.INK, width: float = 0.75, dash: str = "solid") -> dict[str, Any]:
    return {"color": f"#{colour}", "width": width, "dash_type": dash}


#: Fine lines behind the figures.
_GRID = {"major_gridlines": {"visible": True, "line": _line(styles.GRID)}}


def _axis(name: str = "") -> dict[str, Any]:
    return {"name": name, "name_font": {"size": 9, "bold": True}, "num_font": {"size": 9}}


def _found(name: str, points: dict[str, Any]) -> dict[str, Any]:
    ink = {"color": f"#{styles.INK}"}
    marker = {"type": "circle", "size": 6, "fill": ink, "border": ink}
    return {**points, "name": name, "marker": marker, "line": _line(width=1)}


def _limit(name: str, points: dict[str, Any], last: int) -> dict[str, Any]:
    """A limit as a dashed line with its name at its end, in place of a legend."""
    series = {**points, "marker": {"type": "none"}, "line": _line(styles.ACCENT, 1.25, "dash")}
    if name:
        label: list[dict[str, Any]] = [{"delete": True}] * last + [{"value": name}]
        series["data_labels"] = {"value": True, "custom": label, "position": "above",
                                 "font": {"size": 9, "color": f"#{styles.ACCENT}"}}  # fmt: skip
    return series
