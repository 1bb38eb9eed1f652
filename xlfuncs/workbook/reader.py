"""Read a filled workbook by its names, so that renamed sheets and moved cells do no harm."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from openpyxl.workbook import Workbook

from xlfuncs.cells.values import BLANK
from xlfuncs.files.problems import WorkbookProblem, load
from xlfuncs.workbook import vocabulary as words

#: Values of computed cells by sheet and address, as an engine gives them.
Values = Mapping[tuple[str, str], Any]


class Reader:
    """The named cells and tables of one workbook.

    Computed cells are looked up in `values`; the others are what was typed.
    """

    def __init__(self, path: Path, book: Workbook, values: Values) -> None:
        self.path, self._book, self._values = path, book, values

    def cell(self, label: str) -> Any:
        """The value of a named cell, None when it is blank."""
        return self._column(label)[0]

    def table(self, prefix: str, *keys: str) -> list[dict[str, Any]]:
        """The rows of the named columns `prefix_key`, blank ones included."""
        columns = [self._column(f"{prefix}_{key}") for key in keys]
        return [dict(zip(keys, row, strict=True)) for row in zip(*columns, strict=True)]

    def _column(self, label: str) -> list[Any]:
        defined = self._book.defined_names.get(label)
        places = list(defined.destinations) if defined else []
        if len(places) != 1 or places[0][0] not in self._book.sheetnames:
            raise WorkbookProblem(
                f"{self.path.name} has lost its cells “{label}”: was a sheet or a column deleted? "
                "Copy your entries into a new workbook (xlfuncs new)."
            )
        title, cells = places[0]
        block = self._book[title][cells.replace("$", "")]
        rows = block if isinstance(block, tuple) else ((block,),)
        return [self._value(title, row[0]) for row in rows]

    def _value(self, title: str, cell: Any) -> Any:
        value = self._values.get((title, cell.coordinate), cell.value)
        return None if value == BLANK else value


def read(path: Path, values: Values) -> Reader:
    """Open a filled workbook; `values` holds what its formulas give.

    Raises WorkbookProblem when the file is not one of our workbooks.
    """
    book = load(path)
    layout = book.defined_names.get(words.LAYOUT_NAME)
    if layout is None:
        raise WorkbookProblem(
            f"{path.name} is not a gravity log made by “xlfuncs new”: it lacks the layout mark."
        )
    if str(layout.attr_text) != str(words.LAYOUT_VERSION):
        raise WorkbookProblem(
            f"{path.name} has layout {layout.attr_text}; this program reads layout "
            f"{words.LAYOUT_VERSION}. Install the matching version of xlfuncs."
        )
    return Reader(path, book, values)


def report(reader: Reader) -> dict[str, Any]:
    """What the workbook says, as plain data; docs/report.md describes the keys."""
    readings = [
        {"line": number, **row}
        for number, row in enumerate(
            reader.table(
                "log",
                "date",
                "batch",
                "stage",
                "instrument",
                "reading",
                "plato",
                "sg",
                "u",
                "expanded",
                "volume_20",
                "remark",
            ),
            1,
        )
        if row["reading"] is not None or row["volume_20"] is not None
    ]
    instruments = [
        {**row, **setup, "history": history}
        for row, setup, history in zip(
            reader.table(
                "state", "name", "date", "offset", "slope", "u_offset", "days", "due", "status"
            ),
            reader.table("inst", "kind", "identity"),
            reader.table(
                "history",
                "checks",
                "drift",
                "expanded",
                "centre",
                "low",
                "high",
                "verdict",
                "interval",
            ),
            strict=True,
        )
        if row["name"] is not None
    ]
    verdicts = reader.table(
        "verdict",
        "stage",
        "wanted",
        "tolerance",
        "measured",
        "expanded",
        "gravity",
        "wanted_volume",
        "volume_tolerance",
        "measured_volume",
        "expanded_volume",
        "volume",
        "missed_volume",
        "missed_extract",
        "missed_efficiency",
    )
    fermentation = [
        {"line": number, **row}
        for number, row in enumerate(
            reader.table(
                "ferment",
                "date",
                "batch",
                "instrument",
                "reading",
                "original_sg",
                "original_expanded",
                "sg",
                "expanded",
                "apparent",
                "apparent_expanded",
                "real",
                "real_expanded",
                "abv",
                "abv_expanded",
                "method",
                "remark",
            ),
            1,
        )
        if row["reading"] is not None
    ]
    (pairs,) = reader.table(
        "fit",
        "pairs",
        "wort_factor",
        "u_wort_factor",
        "alcohol_factor",
        "u_alcohol_factor",
        "error",
        "default_error",
        "outliers",
    )
    forecast = {key: reader.cell(f"ferment_{key}") for key in ("state", "final", "final_expanded")}
    return {
        "file": reader.path.name,
        "layout": words.LAYOUT_VERSION,
        "state_on": _date(reader.cell("state_as_of")),
        "units": {
            what: reader.cell(f"unit_{what}")
            for what in ("volume", "temperature", "gravity", "mass")
        },
        "instruments": [
            {**row, "date": _date(row["date"]), "due": _date(row["due"])} for row in instruments
        ],
        "readings": [{**row, "date": _date(row["date"])} for row in readings],
        "batch": reader.cell("shown_batch"),
        "targets": verdicts,
        "efficiency": _efficiency(reader),
        "runoff": _runoff(reader),
        "kettle": _kettle(reader),
        "pairs": {
            **pairs,
            "chosen": reader.cell("beer_correction"),
            "in_use": reader.cell("beer_factors"),
            "remark": reader.cell("beer_remark"),
            "sentence": reader.cell("pairs_sentence"),
            "far_apart": reader.cell("pairs_far"),
        },
        "fermentation": [{**row, "date": _date(row["date"])} for row in fermentation],
        "forecast": {
            "batch": reader.cell("ferment_shown"),
            **forecast,
            "near_on": _date(reader.cell("ferment_end")),
        },
    }


def _cells(reader: Reader, prefix: str, *keys: str) -> dict[str, Any]:
    return {key: reader.cell(f"{prefix}_{key}") for key in keys}


def _efficiency(reader: Reader) -> dict[str, Any]:
    history = reader.table("past", "batch", "grain", "sg", "expanded", "volume", "efficiency")
    return {
        "history": [row for row in history if row["batch"] is not None],
        **_cells(reader, "next", "batches", "efficiency", "spread", "gravity", "gravity_expanded"),
    }


def _runoff(reader: Reader) -> dict[str, Any]:
    keys = ("volume", "reading", "ph", "volume_20", "plato", "sg", "expanded", "remark")
    readings = reader.table("run", *keys)
    return {
        **_cells(reader, "run", "batch", "instrument", "state", "reason", "collected", "gravity"),
        **_cells(reader, "run", "gravity_expanded", "limit", "end", "end_expanded", "extract"),
        "efficiency": reader.cell("run_efficiency"),
        "date": _date(reader.cell("run_date")),
        "readings": [
            row for row in readings if row["volume"] is not None or row["reading"] is not None
        ],
    }


def _kettle(reader: Reader) -> dict[str, Any]:
    keys = ("option", "amount", "unit", "gravity", "expanded", "volume", "volume_expanded")
    return {
        **_cells(reader, "kettle", "batch", "volume", "volume_expanded", "gravity"),
        **_cells(reader, "kettle", "gravity_expanded", "extract", "efficiency"),
        **_cells(reader, "kettle", "forecast", "forecast_volume", "lack"),
        **{
            prefix: [
                row
                for row in reader.table(prefix, *keys, "bitterness", "words")
                if row["words"] is not None
            ]
            for prefix in ("before", "after", "rescue")
        },
    }


def _date(value: Any) -> str | None:
    """A date cell, typed or computed, as ISO text; what is no date stays as it is."""
    if isinstance(value, (int, float)):
        value = datetime.datetime(1899, 12, 30) + datetime.timedelta(days=float(value))
        value = value.replace(microsecond=0)
    if isinstance(value, datetime.datetime):
        if value.time() == datetime.time():
            return value.date().isoformat()
        return value.isoformat(sep=" ", timespec="minutes")
    return None if value is None else str(value)
