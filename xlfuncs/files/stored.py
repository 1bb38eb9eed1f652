"""Values beside the formulas of a workbook: list them, and write new ones.

A program that only reads a workbook shows the value stored with each formula.  Writing changes
those values and nothing else: every other part of the file stays byte for byte as it was.
"""

from __future__ import annotations

import contextlib
import math
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from xlfuncs.cells.values import ERROR_TEXTS
from xlfuncs.files import problems
from xlfuncs.files.package import Parts, packed, sheet_parts, unpacked

Value = float | str | bool
Position = tuple[int, int]

# Excel computes everything anew when the values come from an engine older than its own; this is
# the number that Excel 2019 and later write.
_ENGINE = 191029


@dataclass(frozen=True)
class FormulaCell:
    """A formula, the range it fills if it is an array formula, and the value stored beside it."""

    sheet: str
    address: str
    text: str
    array_range: str | None
    stored: Any


def formula_cells(path: str | Path) -> list[FormulaCell]:
    """Every formula of a workbook, sheet by sheet in reading order."""
    formulas, values = problems.load(path), problems.load(path, data_only=True)
    found = []
    for sheet in formulas.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                is_block = isinstance(cell.value, (ArrayFormula, DataTableFormula))
                text = getattr(cell.value, "text", None) if is_block else cell.value
                found.append(
                    FormulaCell(
                        sheet.title,
                        cell.coordinate,
                        text or "",
                        cell.value.ref if is_block else None,
                        values[sheet.title][cell.coordinate].value,
                    )
                )
    return found


def store(path: str | Path, values: Mapping[tuple[str, str], Value], out: str | Path) -> None:
    """Write values beside the formulas of a workbook, into `out`.

    `values` maps (sheet title, cell address) to a number, a text, a truth value or the text of a
    spreadsheet error (`#N/A`).  Each cell must hold a formula or lie in an array formula's range;
    others raise `ValueError`, so that nothing that somebody typed is lost.  The same input gives
    the same bytes.  Raises `WorkbookProblem` for a file that is no workbook or cannot be written.
    """
    data = problems.content(path)
    try:
        parts = unpacked(data)
        put(values, parts)
    except (KeyError, StopIteration, ElementTree.ParseError) as error:
        raise problems.damaged(path) from error
    with replacing(out) as file:
        file.write(packed(parts))


def put(values: Mapping[tuple[str, str], Value], parts: Parts) -> None:
    """The same for the parts of a workbook, in place."""
    book, sheets = sheet_parts(parts)
    by_sheet: dict[str, dict[Position, Value]] = {}
    for (title, address), value in values.items():
        if title not in sheets:
            raise ValueError(f"there is no sheet {title}")
        by_sheet.setdefault(title, {})[coordinate_to_tuple(address)] = value
    for title, cells in by_sheet.items():
        part = sheets[title]
        parts[part] = _Sheet(title, cells).patched(parts[part].decode()).encode()
    parts[book] = _keeping_values(parts[book].decode()).encode()


@contextlib.contextmanager
def replacing(path: str | Path) -> Iterator[BinaryIO]:
    """A file to write, moved to `path` when all of it is written; nothing is left if that fails.

    Raises `WorkbookProblem` where the system refuses to write.
    """
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with temporary.open("wb") as file:
            yield file
        temporary.replace(path)
    except OSError as error:
        raise problems.WorkbookProblem(
            f"{path.name} cannot be written ({error.strerror}); is it open in another program?"
        ) from error
    finally:
        temporary.unlink(missing_ok=True)


# --- the workbook's part ------------------------------


def _keeping_values(book: str) -> str:
    """The workbook's part, without the wish to compute everything when it is opened."""

    def properties(found: re.Match[str]) -> str:
        text = re.sub(r'\s+fullCalcOnLoad="[^"]*"', "", found[0])
        return re.sub(r'\bcalcId="(\d+)"', lambda m: f'calcId="{max(int(m[1]), _ENGINE)}"', text)

    return re.sub(r"<(?:\w+:)?calcPr\b[^>]*>", properties, book)


# --- one sheet ------------------------------

# Sheets are patched as text: rebuilding them from a parsed tree would change the rest as well.
_DATA = re.compile(r"<((?:\w+:)?)sheetData\b[^>]*?(?:/>|>(.*?)</\1sheetData>)", re.DOTALL)
_ROW = re.compile(r"<((?:\w+:)?row)\b([^>]*?)(?:/>|>(.*?)</\1>)", re.DOTALL)
_CELL = re.compile(r"<((?:\w+:)?c)\b([^>]*?)(?:/>|>(.*?)</\1>)", re.DOTALL)
_VALUE = re.compile(r"<((?:\w+:)?(?:v|is))\b[^>]*?(?:/>|>.*?</\1>)", re.DOTALL)
_FORMULA = re.compile(r"<((?:\w+:)?f)\b([^>]*?)(?:/>|>.*?</\1>)", re.DOTALL)
_DIMENSION = re.compile(r'(<(?:\w+:)?dimension\b[^>]*?\bref=")([^"]*)(")')
_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class _Sheet:
    def __init__(self, title: str, values: Mapping[Position, Value]) -> None:
        self.title = title
        self.values = values
        self.prefix = ""

    def patched(self, text: str) -> str:
        found = _DATA.search(text)
        if found is None:
            raise ValueError(f"{self.title} holds no cells")
        self.prefix, body = found[1], found[2] or ""
        self._refuse_others(body)
        rows = self._rows(body)
        wanted: dict[int, dict[int, Value]] = {}
        for (row, column), value in self.values.items():
            wanted.setdefault(row, {})[column] = value
        for row, cells in wanted.items():
            rows[row] = self._row(rows.get(row, ("", "")), row, cells)
        tag = f"{self.prefix}row"
        data = "".join(
            f"<{tag}{head}>{cells}</{tag}>" if cells else f"<{tag}{head}/>"
            for _, (head, cells) in sorted(rows.items())
        )
        data = f"<{self.prefix}sheetData>{data}</{self.prefix}sheetData>"
        return self._dimension(text[: found.start()]) + data + text[found.end() :]

    def _rows(self, body: str) -> dict[int, tuple[str, str]]:
        """Attributes and cells of each row; a row without number follows the one before it."""
        rows, number = {}, 0
        for found in _ROW.finditer(body):
            number = int(_attribute(found[2], "r") or number + 1)
            rows[number] = (found[2].rstrip(), found[3] or "")
        return rows

    def _row(
        self, old: tuple[str, str], number: int, wanted: Mapping[int, Value]
    ) -> tuple[str, str]:
        head, body = old
        cells = dict(self._cells(number, body))
        if not wanted.keys() <= cells.keys():
            head = re.sub(r'\s+spans="[^"]*"', "", head)  # the row may reach further now
        for column, value in wanted.items():
            cells[column] = self._cell(cells.get(column), number, column, value)
        return head or f' r="{number}"', "".join(text for _, text in sorted(cells.items()))

    def _cells(self, row: int, body: str) -> Iterator[tuple[int, str]]:
        column = 0
        for found in _CELL.finditer(body):
            address = _attribute(found[2], "r")
            column = coordinate_to_tuple(address)[1] if address else column + 1
            yield column, found[0]

    def _cell(self, old: str | None, row: int, column: int, value: Value) -> str:
        tag = f"{self.prefix}c"
        head, body = f' r="{get_column_letter(column)}{row}"', ""
        if old is not None and (found := _CELL.fullmatch(old)):
            head, body = re.sub(r'\s+(?:t|vm)="[^"]*"', "", found[2].rstrip()), found[3] or ""
        kind, text = _written(value)
        kept = ' xml:space="preserve"' if text != text.strip() else ""
        formula = _FORMULA.search(body)
        middle = formula.end() if formula else 0
        rest = _VALUE.sub("", body[middle:])
        element = f"<{self.prefix}v{kept}>{text}</{self.prefix}v>"
        return f"<{tag}{head}{kind}>{body[:middle]}{element}{rest}</{tag}>"

    def _refuse_others(self, body: str) -> None:
        allowed: set[Position] = set()
        for row, (_, cells) in self._rows(body).items():
            for column, text in self._cells(row, cells):
                formula = _FORMULA.search(text)
                if formula is None:
                    continue
                allowed.add((row, column))
                if _attribute(formula[2], "t") in ("array", "dataTable"):
                    left, top, right, bottom = range_boundaries(_attribute(formula[2], "ref"))
                    allowed.update(
                        (i, j) for i in range(top, bottom + 1) for j in range(left, right + 1)
                    )
        for row, column in sorted(self.values.keys() - allowed):
            raise ValueError(f"{self.title}!{get_column_letter(column)}{row} holds no formula")

    def _dimension(self, head: str) -> str:
        def widened(found: re.Match[str]) -> str:
            left, top, right, bottom = range_boundaries(found[2])
            rows = [top, bottom, *(row for row, _ in self.values)]
            columns = [left, right, *(column for _, column in self.values)]
            first = f"{get_column_letter(min(columns))}{min(rows)}"
            last = f"{get_column_letter(max(columns))}{max(rows)}"
            return found[1] + (first if first == last else f"{first}:{last}") + found[3]

        return _DIMENSION.sub(widened, head)


def _attribute(head: str, name: str) -> str:
    found = re.search(rf'(?<![\w:]){name}="([^"]*)"', head)
    return found[1] if found else ""


def _written(value: Value) -> tuple[str, str]:
    """Attribute `t` and content of the element that holds a value."""
    if isinstance(value, bool):
        return ' t="b"', str(int(value))
    if isinstance(value, str):
        if value in ERROR_TEXTS:
            return ' t="e"', value
        return ' t="str"', escape(_ILLEGAL.sub("", value), {"\r": "&#13;"})
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number that a cell can hold")
    return "", repr(float(value)).removesuffix(".0")
