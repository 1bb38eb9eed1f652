"""The lines of a list of recipes, from a .csv or an .xlsx file."""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from xlfuncs.cells.values import date_serial, is_blank
from xlfuncs.files import problems
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.shop.recipes import FIELDS

#: A line of a list: its number in the file, and its cells by field.
Line = tuple[int, dict[str, Any]]


def read(path: Path) -> tuple[list[Line], list[str]]:
    """The lines of a list by the meaning of its headings, and the headings that match nothing.

    Raises `WorkbookProblem` for a file that is no list, or in which two headings mean one thing.
    """
    rows = [row for row in _rows(path) if not all(map(is_blank, row[1]))]
    if not rows:
        raise WorkbookProblem(f"{path.name} is empty: its first line holds the headings")
    (at, headings), *lines = rows
    fields, unread = _fields(path, at, headings)
    return [(number, {field: row[place] for field, place in fields.items() if place < len(row)})
            for number, row in lines], unread  # fmt: skip


def _fields(path: Path, at: int, headings: Sequence[Any]) -> tuple[dict[str, int], list[str]]:
    found: dict[str, int] = {}
    unread = []
    for place, heading in enumerate(headings):
        field = _meaning(str(heading or ""))
        if is_blank(heading):
            continue
        if field is None:
            unread.append(str(heading).strip())
        elif field in found:
            raise WorkbookProblem(
                f"{path.name}, line {at}: “{headings[found[field]]}” and “{heading}” both mean "
                f"{field}: keep one of them"
            )
        else:
            found[field] = place
    if "batch" not in found:
        raise WorkbookProblem(
            f"{path.name}, line {at}: no heading means “batch”, the recipe's name"
        )
    return found, unread


def _meaning(heading: str) -> str | None:
    plain = re.sub(r"\W+", "_", re.sub(r"\(.*?\)|\[.*?\]", "", heading.casefold())).strip("_")
    return plain if plain in FIELDS else None


def _rows(path: Path) -> Iterator[tuple[int, Sequence[Any]]]:
    if path.suffix.lower() in problems.ENDINGS:
        sheet = problems.load(path, read_only=True, data_only=True).worksheets[0]
        for number, row in enumerate(sheet.iter_rows(values_only=True), 1):
            yield number, [_plain(value) for value in row]
        return
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeError) as error:
        raise WorkbookProblem(f"{path.name} cannot be read: {error}") from None
    delimiter = max(";\t,", key=text.partition("\n")[0].count)
    for number, cells in enumerate(csv.reader(io.StringIO(text), delimiter=delimiter), 1):
        yield number, [_dated(cell) for cell in cells]


def _plain(value: Any) -> Any:
    return date_serial(value) if isinstance(value, datetime.date) else value


def _dated(text: str) -> Any:
    try:
        return date_serial(datetime.date.fromisoformat(text.strip()))
    except ValueError:
        return text
