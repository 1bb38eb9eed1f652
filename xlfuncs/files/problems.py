"""A file that ought to be a workbook: read once, and what can be wrong with it."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

#: Endings of workbooks, in small letters: plain, and with macros.
ENDINGS = (".xlsx", ".xlsm")

_OLE = bytes.fromhex("D0CF11E0A1B11AE1")
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")

#: The ending of workbooks that are read by way of an office, and what they say of themselves.
OPEN_DOCUMENT = ".ods"
_OPEN_DOCUMENT = b"application/vnd.oasis.opendocument.spreadsheet"
#: What turns such a file into an .xlsx: put here by whoever can.
through_office: list[Callable[[Path, bytes], bytes]] = []

#: What a workbook may unpack to, in bytes; the template with 5,000 lines takes a tenth of it.
LARGEST = 500 * 2**20

_STYLES = "xl/styles.xml"
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"

#: Endings by the content type of the workbook's part.
_ENDING_OF = {
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml": ".xlsx",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.template.main+xml": ".xltx",
    "application/vnd.ms-excel.sheet.macroEnabled.main+xml": ".xlsm",
    "application/vnd.ms-excel.template.macroEnabled.main+xml": ".xltm",
}


class WorkbookProblem(Exception):
    """A file cannot be used; the message is a plain sentence that names the file."""


@dataclass(frozen=True)
class Source:
    """A workbook file as it was when it was read, for whatever is done with it afterwards."""

    path: Path
    data: bytes
    original: bytes = b""  # what the file holds, where `data` was made of it

    @property
    def held(self) -> bytes:
        """The bytes of the file itself."""
        return self.original or self.data

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.name

    def parts(self) -> dict[str, bytes]:
        """The content of each part by name, in the order of the file."""
        with zipfile.ZipFile(io.BytesIO(self.data)) as archive:
            return {info.filename: archive.read(info) for info in archive.infolist()}

    def ending(self) -> str:
        """The ending that the content asks for: `.xlsm` for one with macros."""
        with zipfile.ZipFile(io.BytesIO(self.data)) as archive:
            types = archive.read("[Content_Types].xml")
        try:
            kinds = {part.get("ContentType", "") for part in ElementTree.fromstring(types)}
        except ElementTree.ParseError as error:
            raise damaged(self.path) from error
        return next((_ENDING_OF[kind] for kind in kinds if kind in _ENDING_OF), ".xlsx")

    def changed(self) -> bool:
        """Whether the file is another one by now, or gone."""
        try:
            return self.path.read_bytes() != self.held
        except OSError:
            return True


def read(source: str | Path | Source) -> Source:
    """A workbook file, read once; raises `WorkbookProblem` if it cannot be one.

    Of an .ods file it is what an office makes of it, which is good for reading alone.
    """
    if isinstance(source, Source):
        return source
    path = Path(source)
    name = path.name
    not_one = f"{name} is not an Excel workbook (.xlsx)"
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise WorkbookProblem(f"{name} does not exist in {path.parent.absolute()}") from None
    except IsADirectoryError:
        raise WorkbookProblem(f"{not_one}: it is a folder") from None
    except (OSError, ValueError) as error:  # a name may hold what no file name can
        reason = getattr(error, "strerror", None) or str(error)
        raise WorkbookProblem(f"{name} cannot be read: {reason}") from None
    if data.startswith(_OLE):
        if _ENCRYPTED in data:
            raise WorkbookProblem(f"{name} is protected by a password: save it without one first")
        raise WorkbookProblem(f"{not_one}: it is an older kind (.xls); save it as .xlsx first")
    if not data:
        raise WorkbookProblem(f"{not_one}: it is empty")
    if not data.startswith(b"PK"):
        raise WorkbookProblem(f"{not_one}: it is another kind of file")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.namelist()
            # No part is unpacked beyond what the file says that it unpacks to.
            size = sum(info.file_size for info in archive.infolist())
            broken = archive.testzip() if size <= LARGEST else None
            kind = archive.read("mimetype") if "mimetype" in parts and size <= LARGEST else b""
    except Exception as error:  # zipfile raises many kinds for a damaged archive
        raise damaged(path) from error
    if size > LARGEST:
        raise WorkbookProblem(
            f"{name} unpacks to {size / 2**20:,.0f} MB; workbooks up to {LARGEST // 2**20} MB are "
            "read"
        )
    if broken:
        raise damaged(path)
    if kind.startswith(_OPEN_DOCUMENT):
        if not through_office:
            raise WorkbookProblem(f"{not_one}: save it as .xlsx in LibreOffice first")
        return Source(path, through_office[0](path, data), data)
    if "[Content_Types].xml" not in parts or "xl/workbook.bin" in parts:
        raise WorkbookProblem(f"{not_one}: it is another kind of document")
    return Source(path, data)


def content(path: str | Path) -> bytes:
    """The bytes of an .xlsx workbook; raises `WorkbookProblem` if it cannot be one."""
    return read(path).data


def damaged(path: str | Path) -> WorkbookProblem:
    """The problem of a file whose parts cannot be read."""
    return WorkbookProblem(f"{Path(path).name} is cut short or damaged")


def computes_in_part(path: str | Path, cut: Sequence[str]) -> WorkbookProblem:
    """The problem of a file that another program has saved with a part of its formulas only."""
    named = ", ".join(cut[:5]) + (f" and {len(cut) - 5} more columns" if cut[5:] else "")
    return WorkbookProblem(
        f"{Path(path).name}: cells that compute have become plain ones ({named}), as happens when "
        f"a program without the functions saves it; {upgrading(path)}, or go back to an earlier "
        "copy"
    )


def upgrading(path: str | Path) -> str:
    """What to do with a workbook whose sheets are no more those that this program reads."""
    return f"“xlfuncs upgrade {Path(path).name} -o NEW.xlsx” puts what you typed into sound sheets"


def load(source: str | Path | Source, **options: Any) -> Any:
    """A workbook read by openpyxl (`options` are passed to it); raises `WorkbookProblem`.

    If openpyxl does not take the looks, pictures or links that another program has written, the
    workbook is read without them.
    """
    found = read(source)
    try:
        return _loaded(found.data, options)
    except Exception as error:  # openpyxl raises whatever a wrong part leads to
        try:
            return _loaded(_plain(found), {**options, "keep_links": False})
        except Exception:
            raise damaged(found.path) from error


def _loaded(data: bytes, options: dict[str, Any]) -> Any:
    import openpyxl  # not before it is needed: it takes longer to load than `--help` to print

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about extensions that a reader does not need
        return openpyxl.load_workbook(io.BytesIO(data), **options)


def _plain(source: Source) -> bytes:
    """The same workbook without pictures and with number formats for its only looks.

    Number formats tell dates from numbers.
    """
    parts = source.parts()
    parts[_STYLES] = _number_formats(parts[_STYLES])
    for name, data in parts.items():
        if name.startswith("xl/worksheets/_rels/"):
            parts[name] = _without_drawings(data)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def _without_drawings(relations: bytes) -> bytes:
    tree = ElementTree.fromstring(relations)
    for relation in list(tree):
        if relation.get("Type", "").lower().endswith("drawing"):
            tree.remove(relation)
    return ElementTree.tostring(tree)


def _number_formats(styles: bytes) -> bytes:
    def under(parent: ElementTree.Element, name: str, **attributes: str) -> ElementTree.Element:
        return ElementTree.SubElement(parent, f"{_MAIN}{name}", attributes)

    old, new = ElementTree.fromstring(styles), ElementTree.Element(f"{_MAIN}styleSheet")
    new.extend(old.iterfind(f"{_MAIN}numFmts"))
    under(under(new, "fonts"), "font")
    under(under(under(new, "fills"), "fill"), "patternFill")
    under(under(new, "borders"), "border")
    cells = under(new, "cellXfs")
    for look in old.iterfind(f"{_MAIN}cellXfs/{_MAIN}xf"):
        under(cells, "xf", numFmtId=look.get("numFmtId", "0"), applyNumberFormat="1")
    looks = under(new, "dxfs")  # those that conditions give, which sheets name by number
    for _ in old.iterfind(f"{_MAIN}dxfs/{_MAIN}dxf"):
        under(looks, "dxf")
    return ElementTree.tostring(new)
