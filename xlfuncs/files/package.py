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
from dataclasses import dataclass
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

from openpyxl.utils import get_column_letter

#: The parts of a workbook by name, in the order in which the file keeps them.
Parts = dict[str, bytes]

_TYPES = "[Content_Types].xml"
_TIMESTAMP = (1980, 1, 1, 0, 0, 0)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
#: The namespace of lists of relations.
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
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


class PartsAsAsked(Parts):
    """The parts of a file, each unpacked when it is asked for."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        super().__init__()
        self._archive = archive

    def __missing__(self, name: str) -> bytes:
        self[name] = self._archive.read(name)
        return self[name]


def packed(parts: Mapping[str, bytes]) -> bytes:
    """The file with these parts."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in parts.items():
            archive.writestr(undated(name), content)
    return buffer.getvalue()


def undated(name: str) -> zipfile.ZipInfo:
    """What a file says of a part: the same whenever and wherever it is written."""
    info = zipfile.ZipInfo(name, _TIMESTAMP)
    info.compress_type, info.create_system = zipfile.ZIP_DEFLATED, 0
    return info


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


def defined_names(book: bytes) -> dict[str, str]:
    """What each name of the workbook's part stands for; those of one sheet are not among them."""
    return names_by_sheet(book).get("", {})


def names_by_sheet(book: bytes) -> dict[str, dict[str, str]]:
    """The same, and the names that belong to one sheet by its title; the workbook's own by "".

    Those that the format reserves, such as that of what is printed, are left out.
    """
    tree = ElementTree.fromstring(book)
    titles = [each.attrib["name"] for each in tree.iter() if local(each.tag) == "sheet"]
    found: dict[str, dict[str, str]] = {}
    for element in tree.iter():
        if local(element.tag) == "definedName" and element.attrib["name"][:6] != "_xlnm.":
            number = element.get("localSheetId")
            title = titles[int(number)] if number else ""
            found.setdefault(title, {})[element.attrib["name"]] = element.text or ""
    return found


@dataclass(frozen=True)
class Relation:
    """What a part refers to: by identity, as which kind (an address), and where it lies."""

    identity: str
    kind: str
    target: str  # a part's name, or an address outside the file
    outside: bool = False

    @property
    def what(self) -> str:
        """The kind in a word, such as `drawing`."""
        return self.kind.rpartition("/")[2]


def relations(parts: Mapping[str, bytes], source: str) -> list[Relation]:
    """The relations of a part; the file's own are those of `""`."""
    try:  # asked for, not looked up: parts may be read one by one
        listed = ElementTree.fromstring(parts[relations_of(source)])
    except KeyError:
        return []
    return [
        Relation(
            element.attrib["Id"],
            element.attrib["Type"],
            element.attrib["Target"]
            if element.get("TargetMode") == "External"
            else posixpath.normpath(
                posixpath.join("/", posixpath.dirname(source), element.attrib["Target"])
            ).lstrip("/"),
            element.get("TargetMode") == "External",
        )
        for element in listed
    ]


def _relations(parts: Mapping[str, bytes], source: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part."""
    return {one.identity: (one.what, one.target) for one in relations(parts, source)}


def relations_of(source: str) -> str:
    """The name of the part that lists the relations of a part."""
    folder, name = posixpath.split(source)
    return posixpath.join(folder, "_rels", f"{name}.rels")


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
    add_type(parts, name, media_type)
    return relate(parts, book, relation, name)


def add_type(parts: Parts, name: str, media_type: str) -> None:
    """Say of which type a part is."""
    override = f'Override PartName="/{name}" ContentType="{media_type}"'
    _append(parts, _TYPES, "Types", override)


def relate(parts: Parts, source: str, kind: str, target: str, *, outside: bool = False) -> str:
    """Have a part refer to another, or to an address outside the file; the relation's identity."""
    name, known = relations_of(source), {one.identity for one in relations(parts, source)}
    if name not in parts:
        parts[name] = f'<Relationships xmlns="{RELATIONS}"></Relationships>'.encode()
    identity = f"rId{1 + len(known)}"
    while identity in known:
        identity += "x"
    if not outside:
        target = posixpath.relpath(target, posixpath.dirname(source))
    mode = ' TargetMode="External"' if outside else ""
    _append(
        parts,
        name,
        "Relationships",
        f'Relationship Id="{identity}" Type="{kind}" Target={quoteattr(target)}{mode}',
    )
    return identity


def remove_parts(parts: Parts, kind: str) -> None:
    """Take out the parts to which the workbook's part has a relation of this kind."""
    book, _ = sheet_parts(parts)
    relations = relations_of(book)
    for identity, (found, name) in _relations(parts, book).items():
        if found == kind:
            parts.pop(name, None)
            parts.pop(relations_of(name), None)
            _erase(parts, relations, rf'<(?:\w+:)?Relationship\b[^>]*\bId="{identity}"[^>]*/>')
            _erase(parts, _TYPES, rf'<(?:\w+:)?Override\b[^>]*PartName="/{re.escape(name)}"[^>]*/>')


def add_sheet(
    parts: Parts, title: str, rows: Sequence[Sequence[str]], *, hidden: bool = False
) -> None:
    """Put a sheet with these texts behind all others."""
    cells = ""
    for number, row in enumerate(rows, 1):
        texts = (
            f'<c r="{get_column_letter(column)}{number}" t="inlineStr">'
            f"<is><t>{escape(text)}</t></is></c>"
            for column, text in enumerate(row, 1)
        )
        cells += f'<row r="{number}">{"".join(texts)}</row>'
    content = f'<worksheet xmlns="{_MAIN}"><sheetData>{cells}</sheetData></worksheet>'
    add_sheet_part(parts, title, content.encode(), state="hidden" if hidden else "visible")


def add_sheet_part(parts: Parts, title: str, content: bytes, *, state: str = "visible") -> str:
    """Put a sheet's part behind all others; the name that it gets."""
    book, _ = sheet_parts(parts)
    name = free_name(parts, posixpath.join(posixpath.dirname(book), "worksheets", "sheet1.xml"))
    identity = add_part(parts, name, content, _WORKSHEET, f"{_OFFICE}/worksheet")
    numbers = re.findall(r'<(?:\w+:)?sheet\b[^>]*\bsheetId="(\d+)"', parts[book].decode())
    kept = f' state="{state}"' if state != "visible" else ""
    _append(
        parts,
        book,
        "sheets",
        f'sheet xmlns:r="{_OFFICE}" name={quoteattr(title)} '
        f'sheetId="{max(map(int, numbers)) + 1}"{kept} r:id="{identity}"',
    )
    return name


def free_name(parts: Mapping[str, bytes], like: str) -> str:
    """A name that no part has yet, with another number than that of one it is to be like."""
    base, ending = posixpath.splitext(like)
    base, number = base.rstrip("0123456789"), 1
    while (name := f"{base}{number}{ending}") in parts:
        number += 1
    return name


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
