"""The extension file is made from the catalogue, whole and the same each time."""

import json
import struct
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.functions.catalogue_cases import FUNCTIONS
from xlfuncs import __version__
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.calc import addin, edge
from xlfuncs.hosts.calc.typelibrary import Method, interface

OOR = "{http://openoffice.org/2001/registry}"


class Library:
    """Reads a type library back, by the description of the format."""

    def __init__(self, data):
        self.data = data
        assert data[:8] == b"UNOIDL\xff\0"
        self.root, self.count = struct.unpack_from("<II", data, 8)

    def entities(self, where, count):
        for name, entity in struct.iter_unpack("<II", self.data[where : where + 8 * count]):
            yield self.data[name : self.data.index(b"\0", name)].decode(), entity

    def the_interface(self):
        """Dotted name, offset of the one interface."""
        names, where, count = [], self.root, self.count
        while True:
            [(name, entity)] = self.entities(where, count)
            names.append(name)
            if self.data[entity] == 5:
                return ".".join(names), entity
            assert self.data[entity] == 0, "a module"
            [count] = struct.unpack_from("<I", self.data, entity + 1)
            where = entity + 5

    def methods(self):
        _, self.at = self.the_interface()
        self.at += 1
        assert [self._text() for _ in range(self._number())] == ["com.sun.star.uno.XInterface"]
        assert (self._number(), self._number()) == (0, 0)
        for _ in range(self._number()):
            name, answer, parameters = self._text(), self._text(), []
            for _ in range(self._number()):
                assert self.data[self.at] == 0, "an argument that goes in"
                self.at += 1
                parameters.append((self._text(), self._text()))
            assert self._number() == 0
            yield Method(name, parameters, answer)

    def _number(self):
        [number] = struct.unpack_from("<I", self.data, self.at)
        self.at += 4
        return number

    def _text(self):
        length = self._number()
        self.at += length
        return self.data[self.at - length : self.at].decode("ascii")


def test_bytes_of_a_small_type_library():
    data = interface("a.X", [Method("F", [("n", "any")], "double")])
    entity = (
        b"\x05\x01\0\0\0\x1b\0\0\0com.sun.star.uno.XInterface" + bytes(8) + b"\x01\0\0\0"
        b"\x01\0\0\0F\x06\0\0\0double\x01\0\0\0\0\x01\0\0\0n\x03\0\0\0any\0\0\0\0"
    )
    at_name = 16 + len(entity)
    module = b"\0\x01\0\0\0" + struct.pack("<II", at_name, 16)
    at_module = at_name + 2
    at_root = at_module + len(module) + 2
    assert data == (
        b"UNOIDL\xff\0" + struct.pack("<II", at_root, 1) + entity + b"X\0" + module + b"a\0"
        + struct.pack("<II", at_root - 2, at_module)
    )  # fmt: skip


def test_type_library_holds_every_function_of_the_catalogue():
    library = Library(addin.type_library())
    assert library.the_interface()[0] == "xlfuncs.calc.XCells"
    methods = list(library.methods())
    assert [method.name for method in methods] == list(CATALOGUE)
    for method, function in zip(methods, FUNCTIONS, strict=True):
        assert method.answer == "[][]any"
        assert [name for name, _ in method.parameters] == [a.name for a in function.arguments]
        # Calc lets a cell leave out what is declared `any`, and nothing else.
        assert [kind == "any" for _, kind in method.parameters] == [
            argument.optional for argument in function.arguments
        ]


@pytest.fixture(scope="module")
def oxt(tmp_path_factory):
    return addin.build(tmp_path_factory.mktemp("oxt") / "x.oxt", Path("/some/site-packages"))


@pytest.fixture(scope="module")
def parts(oxt):
    with zipfile.ZipFile(oxt) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _properties(node):
    return {prop.get(OOR + "name"): prop.findtext("value") for prop in node.findall("prop")}


def test_descriptions_come_from_the_catalogue(parts):
    root = ElementTree.fromstring(parts["CalcAddIns.xcu"])
    functions = root.findall(f".//node[@{OOR}name='AddInFunctions']/node")
    assert [node.get(OOR + "name") for node in functions] == list(CATALOGUE)
    for node, function in zip(functions, FUNCTIONS, strict=True):
        told = _properties(node)
        assert told["DisplayName"] == told["CompatibilityName"] == function.name
        assert told["Description"] == function.documentation.summary
        assert told["CategoryDisplayName"] == function.category
        arguments = node.findall("node/node")
        assert [_properties(argument) for argument in arguments] == [
            {"DisplayName": argument.name, "Description": argument.help}
            for argument in function.arguments
        ]


def test_manifest_names_parts_that_are_there(parts):
    space = "{http://openoffice.org/2001/manifest}"
    entries = ElementTree.fromstring(parts["META-INF/manifest.xml"]).findall(space + "file-entry")
    named = {entry.get(space + "full-path") for entry in entries}
    assert named == {"types.rdb", "component.py", "CalcAddIns.xcu", "Jobs.xcu"} <= parts.keys()


def test_description_names_the_version(parts):
    [version] = [
        element.get("value")
        for element in ElementTree.fromstring(parts["description.xml"])
        if element.tag.endswith("}version")
    ]
    assert version == __version__


def test_folder_of_numpy_is_told(parts):
    assert parts["site-packages.txt"].decode() == "/some/site-packages\n"


def test_the_job_is_the_one_that_the_component_offers(parts):
    job = ElementTree.fromstring(parts["Jobs.xcu"]).findtext(".//prop/value")
    assert f'JOB = "{job}"' in parts["component.py"].decode()


def test_same_catalogue_same_bytes(oxt, tmp_path):
    again = addin.build(tmp_path / "again.oxt", Path("/some/site-packages"))
    assert again.read_bytes() == oxt.read_bytes()


def test_what_is_packed_answers_by_itself(oxt, tmp_path):
    """The packed modules suffice, with numpy alone beside them."""
    with zipfile.ZipFile(oxt) as archive:
        archive.extractall(tmp_path)
    packed = tmp_path / "pythonpath"
    code = (
        "import sys, json; sys.path.insert(0, sys.argv[1])\n"
        "import xlfuncs.hosts.calc.edge as edge\n"
        "assert edge.__file__.startswith(sys.argv[1]), edge.__file__\n"
        "unwanted = {'xlwings', 'openpyxl', 'formulas', 'scipy', 'click'} & set(sys.modules)\n"
        "print(json.dumps([edge.respond('WORT_SG', (((12.4,),), None)), sorted(unwanted)]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(packed)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    answer, unwanted = json.loads(done.stdout)
    assert answer == [[CATALOGUE["WORT_SG"].callable()(12.4)]]
    assert unwanted == []
    assert not list(packed.rglob("udfs.py"))


# --- the edge ------------------------------


def test_error_texts_are_passed_on_and_spoil_no_neighbour():
    column = ((12.4,), ("#N/A",), ("#DIV/0!",), ("",), ("! earlier",))
    answers = [row[0] for row in edge.respond("WORT_SG", (column, None))]
    assert answers[1:] == ["#N/A", "#DIV/0!", "", "! earlier"]
    assert answers[0] == CATALOGUE["WORT_SG"].callable()(12.4)


def test_a_zero_is_a_zero():
    [[first], [second]] = edge.respond("HYDROMETER_SG", (((0.0,), ("",)), ((20.0,),)))
    assert "0 is outside" in first
    assert second == ""
    assert "0 is outside" in edge.respond("HYDROMETER_SG", [((0.0,),), 20.0])[0][0]
    assert "0 is outside" in edge.respond("WORT_SG", [((12.4,),), 0.0])[0][0]
