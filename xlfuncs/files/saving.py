"""A workbook that openpyxl holds as a file: its cells are written here, all else by openpyxl.

openpyxl makes an element of XML for each cell, which takes it longer than all else; and so would it
take to read the file again in order to put values beside its formulas.  The same choices give the
same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO, Any
from xml.sax.saxutils import escape

from openpyxl.comments.comment_sheet import CommentRecord
from openpyxl.compat import safe_string
from openpyxl.drawing.spreadsheet_drawing import SpreadsheetDrawing
from openpyxl.utils.datetime import to_excel
from openpyxl.workbook import Workbook
from openpyxl.worksheet._writer import WorksheetWriter
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.writer.excel import ARC_WORKBOOK, ExcelWriter

from xlfuncs.files import contents, entered, stored
from xlfuncs.files.package import undated
from xlfuncs.files.part import (
    Position,
    address_of,
    by_row,
    cell_element,
    head,
    letters,
    positions,
)

#: Sheet title and address of a cell.
Place = tuple[str, str]

_NO_ROWS = "<sheetData></sheetData>"
#: openpyxl calls a cell that holds nothing a number, and some programs take it for a 0.
_EMPTY = re.compile(rb'(<c r="[A-Z]+\d+"(?: s="\d+")?) t="n" ?/>')
#: So much of a part is read at a time.
_PIECE = 2**20


def to_bytes(
    book: Workbook,
    *,
    values: Mapping[Place, stored.Value] | None = None,
    named: Mapping[str, stored.Value] | None = None,
    entries: Mapping[Place, entered.Entry] | None = None,
) -> bytes:
    """The workbook as the bytes of an .xlsx file.

    With `values` beside its formulas, and those of `named` cells in their place, as
    `stored.with_values` puts them there; with `entries` in cells that hold no formula, as
    `entered.enter` does.
    """
    values = stored.in_places(values or {}, contents.names_of(book.defined_names), named or {})
    buffer = io.BytesIO()
    with _Archive(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.computed = bool(values)
        # Workbook.save would write the hour of saving over the dates of its properties.
        _BookWriter(book, archive, values, entries or {}).save()
    return buffer.getvalue()


class _Archive(zipfile.ZipFile):
    """A file whose parts have no dates of their own."""

    computed = False  # whether values stand beside the formulas

    def writestr(self, zinfo_or_arcname: Any, data: Any, *_: Any) -> None:
        """Put in a part by its name."""
        if self.computed and zinfo_or_arcname == ARC_WORKBOOK:
            data = stored.keeping_values(data)
        super().writestr(undated(zinfo_or_arcname), data)

    def write(self, filename: Any, arcname: Any = None, *_: Any) -> None:
        """Put in the part of a sheet whose rows openpyxl wrote as they came: a long record."""
        with Path(filename).open("rb") as part, self.open(undated(arcname), "w") as target:
            for piece in _pieces(part):
                target.write(_EMPTY.sub(rb"\1/>", piece))


def _pieces(part: IO[bytes]) -> Iterator[bytes]:
    """A part in pieces, none of which ends within a cell."""
    rest = b""
    while chunk := part.read(_PIECE):
        whole, row, rest = (rest + chunk).rpartition(b"</row>")
        yield whole + row
    yield rest


class _BookWriter(ExcelWriter):  # type: ignore[misc]
    def __init__(
        self,
        book: Workbook,
        archive: _Archive,
        values: Mapping[Place, stored.Value],
        entries: Mapping[Place, entered.Entry],
    ) -> None:
        super().__init__(book, archive)
        self.values = values
        self.entries = entered.by_sheet(entries, book.sheetnames)

    def write_worksheet(self, sheet: Any) -> None:
        """Write the part of one sheet, row by row."""
        if self.workbook.write_only:  # its rows are written already, and nothing is put beside them
            super().write_worksheet(sheet)
            return
        sheet._drawing = SpreadsheetDrawing()
        sheet._drawing.charts, sheet._drawing.images = sheet._charts, sheet._images
        cells = _Cells(sheet, self.values, self.entries.get(sheet.title, {}))
        writer = _AllButCells(sheet, io.BytesIO())
        writer.write()
        sheet._rels = writer._rels
        before, after = writer.out.getvalue().decode().split(_NO_ROWS)
        with self._archive.open(undated(sheet.path[1:]), "w") as part:
            part.write(f"{stored.reaching_to(before, cells.new)}<sheetData>".encode())
            for row in cells.rows():
                part.write(row.encode())
            part.write(f"</sheetData>{after}".encode())
        self.manifest.append(sheet)


class _AllButCells(WorksheetWriter):  # type: ignore[misc]
    """Writes the part of a sheet with no rows in it."""

    def write_rows(self) -> None:
        """Note what else hangs on the cells."""
        told = (cell for cell in self.ws._cells.values() if cell.hyperlink or cell.comment)
        for cell in sorted(told, key=lambda cell: (cell.row, cell.column)):
            if cell.hyperlink:
                self.ws._hyperlinks.append(cell.hyperlink)
            if cell.comment:
                self.ws._comments.append(CommentRecord.from_cell(cell))
        xf = self.xf.send(True)
        with xf.element("sheetData"):
            pass
        self.xf.send(None)


class _Cells:
    """The cells of a sheet as they are written, row by row."""

    def __init__(
        self,
        sheet: Any,
        values: Mapping[Place, stored.Value],
        entries: Mapping[Position, entered.Entry],
    ) -> None:
        self.sheet, self.title, self.values, self.entries = sheet, sheet.title, values, entries
        self.cells: dict[Position, Any] = sheet._cells
        #: The ranges of array formulas.
        self.within = {
            position
            for cell in self.cells.values()
            if type(cell._value) is ArrayFormula
            for position in positions(cell._value.ref)
        }
        entered.refuse(self.title, {p for p in entries if p in self.within or self._computes(p)})
        #: Cells that are there only for what is put into them.
        self.new = {
            position
            for position in self.within | entries.keys()
            if position not in self.cells
            and (position in entries or (self.title, address_of(*position)) in values)
        }
        self._looks: dict[bytes, str] = {}
        self._formulas: dict[Any, str] = {}

    def _computes(self, position: Position) -> bool:
        return position in self.cells and self.cells[position].data_type == "f"

    def rows(self) -> Iterator[str]:
        """The element of each row."""
        columns, dimensions = by_row(self.cells, self.new), self.sheet.row_dimensions
        for row in sorted(columns.keys() | dimensions.keys()):
            attributes = {"r": f"{row}", **dict(dimensions.get(row, {}))}
            cells = "".join([self._cell(row, column) for column in columns.get(row, [])])
            yield f"<row{head(attributes)}>{cells}</row>"

    def _cell(self, row: int, column: int) -> str:
        position, address = (row, column), f"{letters(column)}{row}"
        cell = self.cells.get(position)
        look = self._look(cell) if cell else ""
        if position in self.entries:
            return cell_element(address, entered.written(self.entries[position]), look)
        formula = self._formula(cell._value) if cell and cell.data_type == "f" else ""
        if formula or position in self.within:
            value = self.values.get((self.title, address))
            if value is not None:
                return cell_element(address, stored.written(value), look, formula)
        if formula:
            return f'<c r="{address}"{look}>{formula}<v /></c>'
        return self._typed(cell, address, look)

    def _typed(self, cell: Any, address: str, look: str) -> str:
        value, kind = cell._value, cell.data_type
        if value is None:
            return f'<c r="{address}"{look}/>' if look or cell.comment else ""
        if value == "":
            return f'<c r="{address}"{look} t="inlineStr" />'
        if kind == "s":
            space = ' xml:space="preserve"' if value.strip() not in ("", value) else ""
            text = f"<is><t{space}>{escape(value)}</t></is>"
            return f'<c r="{address}"{look} t="inlineStr">{text}</c>'
        if kind == "d":
            kind, value = "n", to_excel(value, self.sheet.parent.epoch)
        return f'<c r="{address}"{look} t="{kind}"><v>{escape(safe_string(value))}</v></c>'

    def _look(self, cell: Any) -> str:
        """The attribute that says how a cell looks."""
        if cell._style is None:
            return ""
        key = cell._style.tobytes()
        found = self._looks.get(key)
        if found is None:
            found = self._looks[key] = f' s="{cell.style_id}"' if cell.has_style else ""
        return found

    def _formula(self, value: Any) -> str:
        """The element of a formula; cells below the first of a column hold the same object."""
        found = self._formulas.get(value)
        if found is None:
            attributes, text = ({}, value) if isinstance(value, str) else (
                dict(value), getattr(value, "text", None))  # fmt: skip
            text = escape(text[1:]) if text else ""
            found = f"<f{head(attributes)}>{text}</f>" if text else f"<f{head(attributes)} />"
            self._formulas[value] = found
        return found
