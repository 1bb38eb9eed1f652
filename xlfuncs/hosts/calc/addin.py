"""The add-in as an extension file (.oxt), made from the catalogue."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import xlfuncs
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.calc.typelibrary import Method, interface

IDENTIFIER = "xlfuncs.calc"
_INTERFACE = "xlfuncs.calc.XCells"
_ADDIN, _JOB = "xlfuncs.calc.AddIn", "xlfuncs.calc.AfterLoad"
_OOR = "http://openoffice.org/2001/registry"
_MEDIA = {
    "types.rdb": "application/vnd.sun.star.uno-typelibrary;type=RDB",
    "component.py": "application/vnd.sun.star.uno-component;type=Python",
    "CalcAddIns.xcu": "application/vnd.sun.star.configuration-data",
    "Jobs.xcu": "application/vnd.sun.star.configuration-data",
}
#: The parts of this package that answer cells; the office needs no others.
_PACKED = ("*.py", "science/*.py", "cells/*.py", "functions/*.py", "hosts/__init__.py",
           "hosts/calc/__init__.py", "hosts/calc/edge.py", "hosts/calc/lone.py")  # fmt: skip
_LEFT_OUT = {"udfs.py", "cli.py"}


def build(path: Path, site_packages: Path | None = None) -> Path:
    """Write the extension; the same catalogue gives the same bytes.

    `site_packages` is the folder where the office's Python finds numpy, if it has none of its own.
    """
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in _parts(site_packages):
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return path


def _parts(site_packages: Path | None) -> Iterator[tuple[str, bytes]]:
    package = Path(xlfuncs.__file__).parent
    yield "META-INF/manifest.xml", _manifest()
    yield "description.xml", _description()
    yield "types.rdb", type_library()
    yield "CalcAddIns.xcu", _descriptions()
    yield "Jobs.xcu", _jobs()
    yield "component.py", (Path(__file__).with_name("inside") / "component.py").read_bytes()
    yield "site-packages.txt", f"{site_packages or ''}\n".lstrip().encode()
    for source in sorted({found for pattern in _PACKED for found in package.glob(pattern)}):
        if source.name not in _LEFT_OUT:
            within = source.relative_to(package).as_posix()
            yield f"pythonpath/xlfuncs/{within}", source.read_bytes()


def type_library() -> bytes:
    """Every cell function as a UNO method.

    Calc gives `[][]any` a range or one cell, and takes `any` for an argument that may be left out.
    An array must be declared as the answer's type; Calc takes one of a single cell for its value.
    """
    return interface(
        _INTERFACE,
        [
            Method(
                function.name,
                [
                    (argument.name, "any" if argument.optional else "[][]any")
                    for argument in function.arguments
                ],
                "[][]any",
            )
            for function in CATALOGUE.values()
        ],
    )


def _descriptions() -> bytes:
    root = _component_data("CalcAddIns")
    functions = _node(_node(_node(root, "AddInInfo"), _ADDIN, new=True), "AddInFunctions")
    for function in CATALOGUE.values():
        entry = _node(functions, function.name, new=True)
        _property(entry, "DisplayName", function.name, "en-US")
        _property(entry, "Description", function.documentation.summary, "en-US")
        _property(entry, "Category", "Add-In")
        _property(entry, "CategoryDisplayName", function.category, "en-US")
        _property(entry, "CompatibilityName", function.name, "en-US")
        parameters = _node(entry, "Parameters")
        for argument in function.arguments:
            parameter = _node(parameters, argument.name, new=True)
            _property(parameter, "DisplayName", argument.name, "en-US")
            _property(parameter, "Description", argument.help, "en-US")
    return _xml(root)


def _jobs() -> bytes:
    root = _component_data("Jobs")
    _property(_node(_node(root, "Jobs"), _JOB, new=True), "Service", _JOB)
    events = _node(root, "Events")
    for name in ("OnLoadFinished", "OnCreate"):
        _node(_node(_node(events, name, new="fuse"), "JobList"), _JOB, new=True)
    return _xml(root)


def _description() -> bytes:
    spaces = {"xmlns": "http://openoffice.org/extensions/description/2006",
              "xmlns:xlink": "http://www.w3.org/1999/xlink"}  # fmt: skip
    root = ElementTree.Element("description", spaces)
    ElementTree.SubElement(root, "identifier", value=IDENTIFIER)
    ElementTree.SubElement(root, "version", value=xlfuncs.__version__)
    name = ElementTree.SubElement(
        ElementTree.SubElement(root, "display-name"), "name", lang="en-US"
    )
    name.text = xlfuncs.__doc__.rstrip(".")
    return _xml(root)


def _manifest() -> bytes:
    space = "http://openoffice.org/2001/manifest"
    root = ElementTree.Element("manifest:manifest", {"xmlns:manifest": space})
    for path, media in _MEDIA.items():
        ElementTree.SubElement(
            root,
            "manifest:file-entry",
            {"manifest:full-path": path, "manifest:media-type": media},
        )
    return _xml(root)


# --- the office's configuration files ------------------------------


def _component_data(name: str) -> ElementTree.Element:
    return ElementTree.Element(
        "oor:component-data",
        {"xmlns:oor": _OOR, "oor:name": name, "oor:package": "org.openoffice.Office"},
    )


def _node(parent: ElementTree.Element, name: str, new: bool | str = False) -> ElementTree.Element:
    operation = {"oor:op": "replace" if new is True else new} if new else {}
    return ElementTree.SubElement(parent, "node", {"oor:name": name, **operation})


def _property(parent: ElementTree.Element, name: str, text: str, language: str = "") -> None:
    value = ElementTree.SubElement(
        ElementTree.SubElement(parent, "prop", {"oor:name": name}),
        "value",
        {"xml:lang": language} if language else {},
    )
    value.text = text


def _xml(root: ElementTree.Element) -> bytes:
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text
