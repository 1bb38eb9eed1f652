"""A finished workbook with our functions inside (.xlsm), and the add-in (.xlam).

The package changes in what macros need and nowhere else: the VBA project, the name by which VBA
knows each sheet, a hidden sheet of settings, and what the function wizard shows.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

from openpyxl.workbook import Workbook
from openpyxl.writer.excel import ExcelWriter

from xlfuncs import __doc__ as about
from xlfuncs import __version__
from xlfuncs.files import package
from xlfuncs.files.package import Parts
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.excel import vba, wrappers

_WORKBOOK = "{00020819-0000-0000-C000-000000000046}"
_SHEET = "{00020820-0000-0000-C000-000000000046}"
_ADDIN_PROJECT = "{7C1E0A52-5A0B-4C0E-9D5B-2F3B8E6C1D01}"
_WORKBOOK_PROJECT = "{7C1E0A52-5A0B-4C0E-9D5B-2F3B8E6C1D03}"

_PLAIN = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"
_WITH_MACROS = "application/vnd.ms-excel.sheet.macroEnabled.main+xml"
_ADDIN = "application/vnd.ms-excel.addin.macroEnabled.main+xml"
_PROJECT_TYPE = "application/vnd.ms-office.vbaProject"
_PROJECT_RELATION = "http://schemas.microsoft.com/office/2006/relationships/vbaProject"
_X14 = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"
_ARGUMENTS = "{A2CB5862-8E78-49c6-8D9D-AF26E26ADB89}"

#: Settings that xlwings' VBA reads: what an import would import, and that no Python lying beside
#: somebody's workbook is run.  Where Python is stands in the user's own settings, see `install`.
SETTINGS = {"UDF MODULES": wrappers.SERVED, "ADD_WORKBOOK_TO_PYTHONPATH": "false"}


def with_functions(xlsx: bytes) -> bytes:
    """A workbook that was finished without macros, as .xlsm with the functions in it."""
    return _with_macros(xlsx, addin=False)


def addin() -> bytes:
    """The add-in, .xlam; the same versions of xlfuncs, xlwings and openpyxl give the same bytes."""
    book = Workbook()
    book.active.title = wrappers.PROJECT
    book.active["A1"] = f"{about} Version {__version__}"
    book.views[0].visibility = "hidden"
    properties = book.properties
    properties.creator = properties.title = wrappers.PROJECT
    properties.version = __version__
    properties.created = properties.modified = datetime.datetime(2026, 1, 1)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        ExcelWriter(book, archive).save()  # Workbook.save would write the hour of saving
    return _with_macros(buffer.getvalue(), addin=True)


def addin_version(data: bytes) -> str:
    """The version of an add-in that `addin` made; nothing for any other file."""
    try:
        core = ElementTree.fromstring(package.unpacked(data)["docProps/core.xml"])
    except (zipfile.BadZipFile, KeyError, ElementTree.ParseError):
        return ""
    found = {package.local(element.tag): element.text for element in core}
    return (found.get("version") or "") if found.get("title") == wrappers.PROJECT else ""


def without_functions(xlsm: bytes) -> bytes:
    """A workbook with macros as .xlsx without any."""
    parts = package.unpacked(xlsm)
    package.remove_parts(parts, "vbaProject")
    _set_type(parts, _WITH_MACROS, _PLAIN)
    book, _ = package.sheet_parts(parts)
    text = parts[book].decode()
    text = re.sub(r'<definedName\b[^>]*\bvbProcedure="1"[^>]*>[^<]*</definedName>', "", text)
    text = re.sub(r"<functionGroups\b.*?</functionGroups>", "", text)
    text = re.sub(rf'<ext uri="{_ARGUMENTS}".*?</ext>', "", text)
    parts[book] = re.sub(r"<(extLst|definedNames)></\1>", "", text).encode()
    return package.packed(parts)


def _with_macros(xlsx: bytes, *, addin: bool) -> bytes:
    parts = package.unpacked(xlsx)
    settings = f"{wrappers.PROJECT}.conf"
    package.add_sheet(parts, settings, list(SETTINGS.items()), hidden=not addin)
    documents = _name_for_vba(parts)
    project = vba.vba_project(
        wrappers.PROJECT,
        _ADDIN_PROJECT if addin else _WORKBOOK_PROJECT,
        [*documents, *wrappers.modules(addin=addin)],
    )
    package.add_part(parts, "xl/vbaProject.bin", project, _PROJECT_TYPE, _PROJECT_RELATION)
    _set_type(parts, _PLAIN, _ADDIN if addin else _WITH_MACROS)
    book, _ = package.sheet_parts(parts)
    parts[book] = _with_help(parts[book].decode()).encode()
    return package.packed(parts)


def _set_type(parts: Parts, old: str, new: str) -> None:
    name = "[Content_Types].xml"
    parts[name] = parts[name].replace(old.encode(), new.encode())


def _name_for_vba(parts: Parts) -> list[vba.Module]:
    """Give the workbook and each sheet the name of a module of its own; those modules."""
    book, sheets = package.sheet_parts(parts)
    parts[book] = _named(parts[book], "workbook", "workbookPr", "ThisWorkbook")
    documents = [vba.document("ThisWorkbook", _WORKBOOK)]
    for number, part in enumerate(sheets.values(), 1):
        name = f"Sheet{number}"
        parts[part] = _named(parts[part], "worksheet", "sheetPr", name)
        documents.append(vba.document(name, _SHEET))
    return documents


def _named(part: bytes, root: str, properties: str, name: str) -> bytes:
    text = part.decode()
    attribute = f' codeName="{name}"'
    if f"<{properties}" in text:
        text = re.sub(rf"<{properties}\b", rf"\g<0>{attribute}", text, count=1)
    else:
        text = re.sub(rf"<{root}\b[^>]*>", rf"\g<0><{properties}{attribute}/>", text, count=1)
    return text.encode()


def _with_help(book: str) -> str:
    """The workbook's part with category and argument help of each function.

    The attribute for descriptions is in the VBA project; for these the format has places here.
    """
    names, arguments = [], []
    taken = {name.upper() for name in re.findall(r'<definedName\b[^>]*?\bname="([^"]+)"', book)}
    for function in sorted(CATALOGUE.values(), key=lambda function: function.name):
        if function.name in taken:  # a name can stand for one thing only
            continue
        names.append(
            f'<definedName name="{function.name}" function="1" hidden="1" vbProcedure="1" '
            f'functionGroupId="{wrappers.CATEGORIES[function.category]}">#REF!</definedName>'
        )
        helps = "".join(
            f'<x14:argumentDescription index="{index}">{escape(argument.help)}'
            "</x14:argumentDescription>"
            for index, argument in enumerate(function.arguments)
        )
        if helps:
            arguments.append(
                f'<x14:definedName name="{function.name}"><x14:argumentDescriptions '
                f'count="{len(function.arguments)}">{helps}</x14:argumentDescriptions>'
                "</x14:definedName>"
            )
    groups = "".join(f"<functionGroup name={quoteattr(name)}/>" for name in wrappers.CATEGORIES)
    book = package.put_after_sheets(book, "functionGroups", groups)
    first = min(wrappers.CATEGORIES.values())
    book = book.replace("<functionGroups>", f'<functionGroups builtInGroupCount="{first}">')
    book = package.put_after_sheets(book, "definedNames", "".join(names))
    help_texts = (
        f'<ext uri="{_ARGUMENTS}" xmlns:x14="{_X14}"><x14:definedNames>{"".join(arguments)}'
        "</x14:definedNames></ext>"
    )
    return package.put_after_sheets(book, "extLst", help_texts)
