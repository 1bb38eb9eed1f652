"""A workbook file as its parts: read, changed as text, and packed again.

Parts are changed as text because rebuilding them from a parsed tree would change the rest as well.
The same parts give the same bytes.
"""

from __future__ import annotations

import functools
import io
import posixpath
import re
import zipfile
from collections.abc import Mapping, Sequence
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

from openpyxl.utils import get_column_letter

#: The parts of a workbook by name, in the order in which the file keeps them.
Parts = dict[str, bytes]

_TYPES = "[Content_Types].xml"
_TIMESTAMP = (1980, 1, 1, 0, 0, 0)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_WORKSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
# What may follow the list of sheets in the workbook's part, in the order that it must have.
_AFTER_SHEETS = (
    "functionGroups", "externalReferences", "definedNames", "calcPr", "oleSize",
    "customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes", "webPublishing",
    "fileRecoveryPr", "webPublishObjects", "extLst",
)  # fmt: skip


def unpacked(data: bytes) -> Parts:
    """The parts of the file."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(parts: Mapping[str, bytes]) -> bytes:
    """The file with these parts."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in parts.items():
            info = zipfile.ZipInfo(name, _TIMESTAMP)
            info.compress_type, info.create_system = zipfile.ZIP_DEFLATED, 0
            archive.writestr(info, content, compresslevel=6)
    return buffer.getvalue()


# --- finding ------------------------------


def sheet_parts(parts: Mapping[str, bytes]) -> tuple[str, dict[str, str]]:
    """The name of the workbook's part, and of the part of each sheet by title."""
    book = next(
        target for kind, target in _relations(parts, "").values() if kind == "officeDocument"
    )
    relations = _relations(parts, book)
    sheets = {}
    for element in ElementTree.fromstring(parts[book]).iter():
        if local(element.tag) == "sheet":
            identity = next(v for k, v in element.attrib.items() if k.endswith("}id"))
            kind, target = relations[identity]
            if kind == "worksheet":
                sheets[element.attrib["name"]] = target
    return book, sheets


def _relations(parts: Mapping[str, bytes], source: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part."""
    return {
        element.attrib["Id"]: (
            element.attrib["Type"].rpartition("/")[2],
            posixpath.normpath(
                posixpath.join("/", posixpath.dirname(source), element.attrib["Target"])
            ).lstrip("/"),
        )
        for element in ElementTree.fromstring(parts[_relations_of(source)])
    }


def _relations_of(source: str) -> str:
    folder, name = posixpath.split(source)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def defined_names(book: bytes) -> dict[str, str]:
    """What each name stands for, from the workbook's part."""
    return {
        element.attrib["name"]: element.text or ""
        for element in ElementTree.fromstring(book).iter()
        if local(element.tag) == "definedName"
    }


_PLACE = re.compile(
    r"(?:'(?P<quoted>(?:[^']|'')+)'|(?P<title>[^'!]+))"
    r"!(?P<cells>\$?[A-Z]+\$?\d+(?::\$?[A-Z]+\$?\d+)?)"
)


def destination(name: str) -> tuple[str, str] | None:
    """Sheet and cells that a name stands for; None where it is not one such place.

    >>> destination("'Own factors'!$B$4:$B$9")
    ('Own factors', 'B4:B9')
    """
    found = _PLACE.fullmatch(name)
    if found is None:
        return None
    title = found["title"] or found["quoted"].replace("''", "'")
    return title, found["cells"].replace("$", "")


@functools.cache
def local(tag: str) -> str:
    """The name of an element without its namespace, or the prefix that stands for it."""
    return tag.rpartition("}")[2].rpartition(":")[2]


# --- changing ------------------------------


def add_part(parts: Parts, name: str, content: bytes, media_type: str, relation: str) -> str:
    """Put in a part that the workbook's part names; the identity of that relation.

    `relation` is the relation's kind, an address.
    """
    book, _ = sheet_parts(parts)
    parts[name] = content
    identity = f"rId{1 + len(_relations(parts, book))}"
    while identity in _relations(parts, book):
        identity += "x"
    _append(
        parts,
        _relations_of(book),
        "Relationships",
        f'Relationship Id="{identity}" Type="{relation}" '
        f'Target="{posixpath.relpath(name, posixpath.dirname(book))}"',
    )
    override = f'Override PartName="/{name}" ContentType="{media_type}"'
    _append(parts, _TYPES, "Types", override)
    return identity


def remove_parts(parts: Parts, kind: str) -> None:
    """Take out the parts to which the workbook's part has a relation of this kind."""
    book, _ = sheet_parts(parts)
    relations = _relations_of(book)
    for identity, (found, name) in _relations(parts, book).items():
        if found == kind:
            parts.pop(name, None)
            parts.pop(_relations_of(name), None)
            _erase(parts, relations, rf'<(?:\w+:)?Relationship\b[^>]*\bId="{identity}"[^>]*/>')
            _erase(parts, _TYPES, rf'<(?:\w+:)?Override\b[^>]*PartName="/{re.escape(name)}"[^>]*/>')


def add_sheet(
    parts: Parts, title: str, rows: Sequence[Sequence[str]], *, hidden: bool = False
) -> None:
    """Put a sheet with these texts behind all others."""
    book, _ = sheet_parts(parts)
    cells = ""
    for number, row in enumerate(rows, 1):
        texts = (
            f'<c r="{get_column_letter(column)}{number}" t="inlineStr">'
            f"<is><t>{escape(text)}</t></is></c>"
            for column, text in enumerate(row, 1)
        )
        cells += f'<row r="{number}">{"".join(texts)}</row>'
    content = f'<worksheet xmlns="{_MAIN}"><sheetData>{cells}</sheetData></worksheet>'
    folder, number = posixpath.dirname(book), 1
    while (name := posixpath.join(folder, "worksheets", f"sheet{number}.xml")) in parts:
        number += 1
    identity = add_part(parts, name, content.encode(), _WORKSHEET, f"{_OFFICE}/worksheet")
    numbers = re.findall(r'<(?:\w+:)?sheet\b[^>]*\bsheetId="(\d+)"', parts[book].decode())
    state = ' state="hidden"' if hidden else ""
    _append(
        parts,
        book,
        "sheets",
        f'sheet xmlns:r="{_OFFICE}" name={quoteattr(title)} '
        f'sheetId="{max(map(int, numbers)) + 1}"{state} r:id="{identity}"',
    )


def put_after_sheets(text: str, element: str, content: str) -> str:
    """Content put into an element of the workbook's part, which is made where it is missing."""
    text = re.sub(rf"<{element}\s*/>", "", text)
    if f"</{element}>" in text:
        return text.replace(f"</{element}>", f"{content}</{element}>")
    later = "|".join(_AFTER_SHEETS[_AFTER_SHEETS.index(element) + 1 :]) or element
    place = re.search(rf"<(?:{later})\b|</workbook>", text)
    at = place.start() if place else len(text)
    return f"{text[:at]}<{element}>{content}</{element}>{text[at:]}"


def _append(parts: Parts, name: str, root: str, element: str) -> None:
    """Put an element without content at the end of another, with the prefix that this one has."""
    text = parts[name].decode()
    text = re.sub(rf"</((?:\w+:)?){root}>", lambda end: f"<{end[1]}{element}/>{end[0]}", text)
    parts[name] = text.encode()


def _erase(parts: Parts, name: str, pattern: str) -> None:
    parts[name] = re.sub(pattern, "", parts[name].decode()).encode()
