"""The files as programs that others wrote read them: oletools, pyOpenVBA, LibreOffice."""

import io
import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pyopenvba
import pytest
import xlwings
from oletools.olevba import VBA_Parser

from tests.hosts.excel.specification import read_project
from tests.plain.engines import converted
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.calc import runner
from xlfuncs.hosts.excel import macros, wrappers

ENDINGS = ["xlam", "xlsm"]
XLWINGS_OWN = {"xlam": "quickstart_addin.xlam", "xlsm": "quickstart_standalone.xlsm"}


def written(path):
    """Source of each module that went in, by name, without those of workbook and sheets."""
    return {m.name: m.source for m in wrappers.modules(addin=path.suffix == ".xlam")}


def sheets_of(path):
    with zipfile.ZipFile(path) as archive:
        return archive.read("xl/workbook.xml").decode().count("<sheet ")


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_specification(files, ending):
    with zipfile.ZipFile(files[ending]) as archive:
        project = read_project(archive.read("xl/vbaProject.bin"))
    sources = written(files[ending])
    documents = ["ThisWorkbook", *(f"Sheet{n}" for n in range(1, sheets_of(files[ending]) + 1))]
    assert list(project.modules) == [*documents, *sources]
    for name, (kind, source) in project.modules.items():
        assert (kind == "Document") == (name in documents)
        assert source == sources.get(name, source)
        if name in documents:
            assert all(line.startswith("Attribute VB_") for line in source.splitlines())


@pytest.mark.parametrize("ending", ENDINGS)
def test_oletools(files, ending):
    reader = VBA_Parser(str(files[ending]))
    found = {
        stream.rpartition("/")[2]: source.replace("\r\n", "\n")
        for _, stream, _, source in reader.extract_macros()
    }
    sources = written(files[ending])
    assert {name: found[name] for name in sources} == sources
    assert len(found) == len(sources) + 1 + sheets_of(files[ending])
    own = VBA_Parser(str(Path(xlwings.__file__).parent / XLWINGS_OWN[ending]))
    warnings, usual = (
        {(kind, word) for kind, word, _ in parser.analyze_macros()} for parser in (reader, own)
    )
    assert warnings <= usual
    assert "AutoExec" not in {kind for kind, _ in warnings}, "nothing runs when it is opened"


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_is_of_xlwings_is_as_in_its_own_files(ending):
    """But for the name of the project, under which settings are looked for; VBA knows no case."""
    own = VBA_Parser(str(Path(xlwings.__file__).parent / XLWINGS_OWN[ending]))
    sources = {
        stream.rpartition("/")[2]: lines_of(source) for _, stream, _, source in own.extract_macros()
    }
    for module in wrappers.modules(addin=ending == "xlam")[:2]:
        ours, its = lines_of(module.source), sources[module.name]
        assert len(ours) == len(its)
        changed = {one for one, other in zip(ours, its, strict=True) if one != other}
        renamed = {f'public const project_name as string = "{wrappers.PROJECT}"'}
        assert changed == (renamed if module.name == "xlwings" else set())


def lines_of(source):
    return [line.rstrip().lower() for line in source.strip().splitlines()]


@pytest.mark.parametrize("ending", ENDINGS)
def test_pyopenvba(files, ending):
    report = pyopenvba.check_file(files[ending])
    assert (report.issues, report.complete) == ((), True)
    with pyopenvba.ExcelFile(files[ending]) as file:
        found = file.vba_modules()
        assert [reference.name for reference in file.references()] == ["stdole", "Office"]
    for name, source in written(files[ending]).items():
        assert without_attributes(found[name]) == without_attributes(source), name


def without_attributes(source):
    lines = source.replace("\r\n", "\n").strip().splitlines()
    return [line for line in lines if not line.startswith("Attribute ")]


def test_libreoffice(files, needs_office, tmp_path):
    """It takes over what it reads of the macros when it saves the workbook in its own format."""
    converted("ods", tmp_path, tmp_path / "profile", files["xlsm"])
    with zipfile.ZipFile(tmp_path / "brewing.ods") as archive:
        modules = {
            Path(name).stem: "".join(ElementTree.fromstring(archive.read(name)).itertext())
            for name in archive.namelist()
            if name.startswith("Basic/xlfuncs/") and "script-lb" not in name
        }
    sources = written(files["xlsm"])
    assert modules.keys() == {
        "ThisWorkbook",
        *(f"Sheet{n}" for n in range(1, sheets_of(files["xlsm"]) + 1)),
        *sources,
    }
    procedure = re.compile(r"^(?:Public |Private )?(?:Function|Sub) (\w+)\(", re.MULTILINE)
    for name, source in sources.items():
        assert procedure.findall(modules[name]) == procedure.findall(source), name
    assert set(procedure.findall(modules["xlwings_udfs"])) == CATALOGUE.keys()


def test_libreoffice_computes_with_our_functions_not_with_the_macros(needs_office, tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"], book.active["B1"] = 12.4, "=WORT_SG(A1)"
    buffer = io.BytesIO()
    book.save(buffer)
    path = tmp_path / "with macros.xlsm"
    path.write_bytes(macros.with_functions(buffer.getvalue()))
    assert runner.compute(path) == {("Sheet", "B1"): pytest.approx(1.04806, abs=1e-5)}
