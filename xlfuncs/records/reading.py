"""A file of lines and columns as it is: text with separators, or a sheet of a workbook.

Nothing is understood here but how the file is written: its encoding, its separator, its rows.
"""

from __future__ import annotations

import codecs
import csv
import datetime
import io
import itertools
import operator
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import openpyxl

from xlfuncs.files import problems
from xlfuncs.files.package import packed, sheet_parts, unpacked
from xlfuncs.files.problems import Source, WorkbookProblem

#: What a cell holds: a text that may be empty, or what a workbook says more closely.
Cell = str | float | datetime.datetime | datetime.time
Row = Sequence[Cell]

TEXT_ENDINGS = (".csv", ".tsv", ".txt")
#: Rows at the beginning among which the headings are looked for.
BEGINNING = 40
_SEPARATORS = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}
#: A text may begin with such a line, which names its separator.
_SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n", re.IGNORECASE)
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Cells and rows of a sheet that hold nothing but a look: there may be millions.
_LOOKS = re.compile(rb'<(?:\w+:)?c (?=[^>]*\br=")[^>]*/>')
_EMPTY_ROWS = re.compile(rb'<(?:\w+:)?row (?=[^>]*\br=")(?:[^>]*/>|[^>]*(?<!/)>\s*</(?:\w+:)?row>)')
_UNCOMPUTED = re.compile(rb"<(?:\w+:)?f\b[^>]*(?:/>|>[^<]*</(?:\w+:)?f>)\s*(?:<v\s*/>)?\s*</")


@dataclass
class Grid:
    """The rows of a file that are not empty, and the number of each in the file."""

    name: str
    rows: list[Row]
    numbers: Sequence[int]
    told: dict[str, str]  # what was recognised, in words
    separator: str = ""
    #: All cells one after another, if all rows have as many; then `rows` are those on top alone.
    even: list[str] | None = None

    def below(self, top: int) -> Below:
        """What stands below a row, which has the headings, column by column."""
        width = len(self.rows[top])
        if self.even is not None:
            start = (top + 1) * width
            columns: list[Sequence[Cell]] = [
                self.even[start + place :: width] for place in range(width)
            ]
            return Below(columns, self.numbers[top + 1 :], {})
        rows, too_long = self.rows[top + 1 :], {}
        if set(map(len, rows)) - {width}:
            filled = [
                max((place for place, cell in enumerate(row, 1) if str(cell).strip()), default=0)
                for row in rows
            ]
            too_long = {place: count for place, count in enumerate(filled) if count > width}
            rows = [[*row[:width], *[""] * (width - len(row))] for row in rows]
        columns = [list(map(operator.itemgetter(place), rows)) for place in range(width)]
        return Below(columns, self.numbers[top + 1 :], too_long)


@dataclass
class Below:
    """The columns below headings, the number of each line, and how many values long ones have."""

    columns: list[Sequence[Cell]]
    numbers: Sequence[int]
    too_long: dict[int, int]


#: How well some rows suit what is looked for.
Suits = Callable[[Sequence[Row]], int]


def content(path: Path) -> Source:
    """The file, read once; raises `WorkbookProblem` if it cannot be read."""
    ending = path.suffix.lower()
    if ending in problems.ENDINGS:
        return problems.read(path)
    if ending not in TEXT_ENDINGS:
        raise WorkbookProblem(
            f"{path.name} is not a .csv or .xlsx file: save or export it as one of these first"
        )
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WorkbookProblem(f"{path.name} cannot be read: {reason}") from None
    if len(data) > problems.LARGEST:
        raise WorkbookProblem(
            f"{path.name} has {len(data) / 2**20:,.0f} MB; files up to "
            f"{problems.LARGEST // 2**20} MB are read"
        )
    if data.startswith(b"PK\x03\x04"):
        raise WorkbookProblem(f"{path.name} is no text but a packed file: is it an .xlsx?")
    return Source(path, data)


def read(source: Source, suits: Suits, sheet: str | None = None) -> Grid:
    """The rows of the file; `suits` tells which separator, or which sheet, is meant.

    Raises `WorkbookProblem`.
    """
    if source.path.suffix.lower() in problems.ENDINGS:
        return _of_workbook(source, suits, sheet)
    if sheet is not None:
        raise WorkbookProblem(f"{source.name} is a text and has no sheets: leave out --sheet")
    return _of_text(source, suits)


# --- text ------------------------------


def _of_text(source: Source, suits: Suits) -> Grid:
    text, encoding = _decoded(source)
    said = _SEPARATOR_LINE.match(text)
    separators = [said[1]] if said else list(_SEPARATORS)
    if said:  # the line stays, so that lines are counted as in the file
        text = "\n" + text[said.end() :]
    beginning = "".join(itertools.islice(io.StringIO(text, newline=""), 10 * BEGINNING))

    def rows(separator: str) -> list[Row]:
        """At the beginning; a cut within quotation marks does no harm there."""
        found = csv.reader(io.StringIO(beginning, newline=""), delimiter=separator)
        return list(itertools.islice(filter(_holds, found), BEGINNING))

    separator = max(separators, key=lambda one: (suits(rows(one)), sum(map(len, rows(one)))))
    told = {"separator": _SEPARATORS.get(separator, f"“{separator}”")}
    if encoding != "utf-8":
        told["text"] = {"cp1252": "Windows-1252"}.get(encoding, encoding.upper())
    even = _even(text, separator)
    if even is None:
        return Grid(source.name, *_rows(source, text, separator), told, separator)
    width = text.partition("\n")[0].count(separator) + 1
    top: list[Row] = [even[i : i + width] for i in range(0, BEGINNING * width, width)]
    numbers = range(1, len(even) // width + 1)
    return Grid(source.name, top[: len(numbers)], numbers, told, separator, even)


def _decoded(source: Source) -> tuple[str, str]:
    """The text of the file, and the encoding that it has."""
    data = source.data
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            wanted = [encoding if encoding != "utf-8" else "utf-8-sig"]
            break
    else:
        sample = data[:4096]
        zeros = sample[1::2].count(0), sample[::2].count(0)
        if max(zeros) * 4 > len(sample) / 2:  # each second byte of Latin letters is zero
            wanted = ["utf-16-le" if zeros[0] > zeros[1] else "utf-16-be"]
        else:
            wanted = ["utf-8", "cp1252"]
    for encoding in wanted:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            continue
        if "\0" in text:
            raise WorkbookProblem(f"{source.name} is no text")
        if not text.strip("\ufeff \t\r\n;,|"):
            raise WorkbookProblem(f"{source.name} is empty")
        return text, {"utf-8-sig": "utf-8"}.get(encoding, encoding)
    raise WorkbookProblem(f"{source.name}: line {line} holds bytes that are no text in {wanted[0]}")


def _even(text: str, separator: str) -> list[str] | None:
    """All cells of a text whose lines have as many, none of them quoted or empty; else None.

    A million such lines are parted in a fraction of the time that quotation marks take.
    """
    if '"' in text or not separator.isascii():
        return None
    text = text.replace("\r\n", "\n")
    text = text if text.endswith("\n") else text + "\n"
    width = text.index("\n")
    width = text.count(separator, 0, width) + 1
    signs = np.frombuffer(text.encode(), np.uint8)
    signs = signs[(signs == ord("\n")) | (signs == ord(separator))]
    if "\r" in text or signs.size % width:
        return None
    ends = signs.reshape(-1, width) == ord("\n")
    if not ends[:, -1].all() or ends[:, :-1].any():
        return None
    cells = text.replace("\n", separator).split(separator)[:-1]
    return cells if all(map(str.strip, cells[::width])) else None


def _rows(source: Source, text: str, separator: str) -> tuple[list[Row], Sequence[int]]:
    """The rows that hold something, and the line of the file on which each begins."""
    found = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[Row] = []
    try:
        for some in iter(lambda: list(itertools.islice(found, 50_000)), []):
            rows += some
    except csv.Error as error:
        raise WorkbookProblem(
            f"{source.name}: the quotation marks of line {found.line_num} cannot be understood; if "
            "one stands within a quoted value, write it twice"
        ) from error
    numbers: Sequence[int] = range(1, len(rows) + 1)
    if found.line_num != len(rows):
        numbers = list(_line_numbers(rows))
    kept = [place for place, row in enumerate(rows) if "".join(row).strip()]  # type: ignore[arg-type]
    if len(kept) == len(rows):
        return rows, numbers
    return [rows[place] for place in kept], [numbers[place] for place in kept]


def _line_numbers(rows: Sequence[Row]) -> Iterator[int]:
    """The line on which each row begins, where a value may go over several."""
    number = 1
    for row in rows:
        yield number
        number += 1 + sum(cell.count("\n") for cell in row if isinstance(cell, str))


def _holds(row: Row) -> bool:
    """Whether a row of texts holds anything."""
    return bool("".join(row).strip())  # type: ignore[arg-type]


# --- workbooks ------------------------------


def _of_workbook(source: Source, suits: Suits, title: str | None) -> Grid:
    parts = unpacked(source.data)
    try:
        _, sheets = sheet_parts(parts)
    except Exception as error:  # a wrong part leads to errors of many kinds
        raise problems.damaged(source.path) from error
    if title is not None and title not in sheets:
        raise WorkbookProblem(
            f"{source.name} has no sheet “{title}”; it has: {', '.join(sheets) or 'none'}"
        )
    for part in sheets.values():
        parts[part] = _EMPTY_ROWS.sub(b"", _LOOKS.sub(b"", parts[part]))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about extensions that a reader does not need
            book = openpyxl.load_workbook(
                io.BytesIO(packed(parts)), read_only=True, data_only=True, keep_links=False
            )
        titles = [title] if title is not None else list(sheets)
        chosen = max(titles, key=lambda one: suits([
            row for _, row in itertools.islice(_cells(book[one]), BEGINNING)
        ]))  # fmt: skip
        if _UNCOMPUTED.search(parts[sheets[chosen]]):
            raise WorkbookProblem(
                f"{source.name} holds formulas on “{chosen}” whose values were never computed: "
                "open it in a spreadsheet program and save it"
            )
        found = list(_cells(book[chosen]))
    except WorkbookProblem:
        raise
    except Exception as error:
        raise problems.damaged(source.path) from error
    told = {"sheet": f"“{chosen}”"} if len(sheets) > 1 else {}
    return Grid(source.name, [row for _, row in found], [number for number, _ in found], told)


def _cells(sheet: openpyxl.worksheet._read_only.ReadOnlyWorksheet) -> Iterator[tuple[int, Row]]:
    """The rows that hold something, with their numbers."""
    sheet.reset_dimensions()  # what a file says of its size may be a million rows
    for number, values in enumerate(sheet.iter_rows(values_only=True), sheet.min_row or 1):
        row = [_cell(value) for value in values]
        if any(not isinstance(cell, str) or cell.strip() for cell in row):
            yield number, row


def _cell(value: object) -> Cell:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, (datetime.datetime, datetime.time)):
        return value
    if isinstance(value, datetime.timedelta):  # a time of day may come as one
        return (datetime.datetime.min + value).time()
    return str(value)
