"""The package around the VBA project: what changes in a workbook, and what stays."""

import io
import json
import re
import subprocess
import sys
import zipfile
from xml.etree import ElementTree

import openpyxl
import pytest

from tests.helpers import column, run
from xlfuncs import __version__
from xlfuncs.files import package
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.hosts.excel import macros, wrappers

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
X14 = "{http://schemas.microsoft.com/office/spreadsheetml/2009/9/main}"
# Elements of a workbook's part in the order that ECMA-376 (18.2.27) gives them.
ORDER = [
    "fileVersion", "fileSharing", "workbookPr", "workbookProtection", "bookViews", "sheets",
    "functionGroups", "externalReferences", "definedNames", "calcPr", "oleSize",
    "customWorkbookViews", "pivotCaches", "extLst",
]  # fmt: skip


def book_of(path):
    with zipfile.ZipFile(path) as archive:
        return ElementTree.fromstring(archive.read("xl/workbook.xml"))


def opened(path):
    """What openpyxl reads, which takes workbooks but no add-ins."""
    data = path.read_bytes()
    if path.suffix == ".xlam":
        parts = package.unpacked(data)
        types = parts["[Content_Types].xml"]
        parts["[Content_Types].xml"] = types.replace(b"addin.macroEnabled", b"sheet.macroEnabled")
        data = package.packed(parts)
    return openpyxl.load_workbook(io.BytesIO(data))


def test_the_same_bytes_in_another_process(files, tmp_path):
    code = (
        "import sys, pathlib; from xlfuncs.hosts.excel import macros;"
        "pathlib.Path(sys.argv[1]).write_bytes(macros.addin())"
    )
    again = tmp_path / "again.xlam"
    subprocess.run([sys.executable, "-c", code, again], check=True)
    assert again.read_bytes() == files["xlam"].read_bytes()


def test_the_same_workbook_gives_the_same_bytes(files, plain_workbook):
    assert macros.with_functions(plain_workbook) == files["xlsm"].read_bytes()


@pytest.mark.parametrize("ending", ["xlam", "xlsm"])
def test_type_and_relation(files, ending):
    with zipfile.ZipFile(files[ending]) as archive:
        types = archive.read("[Content_Types].xml").decode()
        relations = archive.read("xl/_rels/workbook.xml.rels").decode()
    kind = {"xlam": "addin", "xlsm": "sheet"}[ending]
    assert f"application/vnd.ms-excel.{kind}.macroEnabled.main+xml" in types
    assert "spreadsheetml.sheet.main+xml" not in types
    assert (
        'PartName="/xl/vbaProject.bin" ContentType="application/vnd.ms-office.vbaProject"' in types
    )
    assert 'relationships/vbaProject" Target="vbaProject.bin"' in relations
    identities = re.findall(r'\bId="([^"]*)"', relations)
    assert len(set(identities)) == len(identities)


@pytest.mark.parametrize("ending", ["xlam", "xlsm"])
def test_the_workbook_part_is_in_order(files, ending):
    book = book_of(files[ending])
    names = [element.tag.removeprefix(MAIN) for element in book]
    assert names == sorted(names, key=ORDER.index)
    assert len(set(names)) == len(names)
    sheets = book.find(f"{MAIN}sheets")
    assert len({sheet.get("sheetId") for sheet in sheets}) == len(sheets)


@pytest.mark.parametrize("ending", ["xlam", "xlsm"])
def test_each_sheet_is_known_to_vba(files, ending):
    book = opened(files[ending])
    assert book.code_name == "ThisWorkbook"
    names = [sheet.sheet_properties.codeName for sheet in book.worksheets]
    assert names == [f"Sheet{n}" for n in range(1, len(names) + 1)]


@pytest.mark.parametrize("ending", ["xlam", "xlsm"])
def test_settings(files, ending):
    """No path of an interpreter: it would win over that of whoever opens the file."""
    sheet = opened(files[ending])[f"{wrappers.PROJECT}.conf"]
    assert list(sheet.values) == list(macros.SETTINGS.items())
    assert [key for key in macros.SETTINGS if "INTERPRETER" in key] == []
    assert sheet.sheet_state == ("hidden" if ending == "xlsm" else "visible")


@pytest.mark.parametrize("ending", ["xlam", "xlsm"])
def test_category_and_help_of_each_function(files, ending):
    book = book_of(files[ending])
    groups = book.find(f"{MAIN}functionGroups")
    first = int(groups.get("builtInGroupCount"))
    categories = [group.get("name") for group in groups]
    found = {
        name.get("name"): categories[int(name.get("functionGroupId")) - first]
        for name in book.iter(f"{MAIN}definedName")
        if name.get("vbProcedure")
    }
    assert found == {name: f.category for name, f in CATALOGUE.items()}
    help_texts = {
        name.get("name"): [text.text for text in name.iter(f"{X14}argumentDescription")]
        for name in book.iter(f"{X14}definedName")
    }
    assert help_texts == {
        name: [argument.help for argument in CATALOGUE[name].arguments]
        for name in found
        if CATALOGUE[name].arguments
    }


def test_description_of_each_function():
    source = wrappers.modules(addin=True)[-1].source
    first = min(wrappers.CATEGORIES.values())
    for name, function in CATALOGUE.items():
        summary = function.documentation.summary.replace('"', '""')
        number = wrappers.CATEGORIES[function.category]
        assert (
            f'\nAttribute {name}.VB_Description = "{summary}"\n'
            f'Attribute {name}.VB_ProcData.VB_Invoke_Func = " \\n{number}"\n'
        ) in source
        assert list(wrappers.CATEGORIES)[number - first] == function.category
    assert max(map(len, source.splitlines())) <= 1023, "the longest line that VBA takes"


def test_all_else_in_the_workbook_is_as_it_was(files, plain_workbook):
    before = package.unpacked(plain_workbook)
    after = package.unpacked(files["xlsm"].read_bytes())
    changed = {name for name, content in before.items() if after[name] != content}
    sheets = {name for name in before if name.startswith("xl/worksheets/sheet")}
    others = {"[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"}
    assert changed == sheets | others
    for name in sheets:
        text = re.sub(r' codeName="\w+"', "", after[name].decode())
        assert text == before[name].decode().replace("<sheetPr />", "<sheetPr/>") or (
            text.replace("<sheetPr/>", "", 1) == before[name].decode()
        )
    assert len(after) == len(before) + 2  # the project, and the sheet of settings


def test_the_workbook_computes_to_the_same(files, plain_workbook, tmp_path):
    (tmp_path / "plain.xlsx").write_bytes(plain_workbook)
    with_macros, plain = map(embedded.calculate, (files["xlsm"], tmp_path / "plain.xlsx"))
    assert with_macros.values == plain.values
    assert with_macros.failures == plain.failures == []


def test_without_the_functions_again(files, plain_workbook):
    data = macros.without_functions(files["xlsm"].read_bytes())
    parts = package.unpacked(data)
    assert not any("vba" in name.lower() for name in parts)
    for content in parts.values():
        assert b"acroEnabled" not in content
        assert b"vbaProject" not in content
    book = openpyxl.load_workbook(io.BytesIO(data))
    expected = openpyxl.load_workbook(io.BytesIO(plain_workbook))
    assert book.sheetnames == [*expected.sheetnames, f"{wrappers.PROJECT}.conf"]
    assert book.defined_names.keys() == expected.defined_names.keys()


def test_the_add_in_says_what_it_is(files):
    properties = opened(files["xlam"]).properties
    assert (properties.title, properties.version) == (wrappers.PROJECT, __version__)


def test_an_xlwings_that_keeps_its_name_elsewhere_is_noticed(monkeypatch, tmp_path):
    (tmp_path / "xlwings.bas").write_text('Attribute VB_Name = "xlwings"\n')
    monkeypatch.setattr(wrappers.xlwings, "__file__", str(tmp_path / "__init__.py"))
    with pytest.raises(RuntimeError, match="keeps its project's name elsewhere"):
        wrappers.modules(addin=False)


def test_windows_needs_no_stand_ins(monkeypatch):
    asked = []
    monkeypatch.setattr(wrappers.sys, "platform", "win32")
    monkeypatch.setattr(wrappers.importlib, "import_module", asked.append)
    wrappers._generator()
    assert asked == ["xlwings.udfs"]


def test_making_the_files_leaves_no_stand_in_behind(files):
    wrappers.wrappers(addin=True)
    assert not {"pythoncom", "pywintypes", "win32com", "xlwings.udfs"} & sys.modules.keys()


# --- the commands ------------------------------


def test_new_with_the_functions_inside_and_the_add_in_alone(tmp_path):
    for name in ("brew.xlsm", "brew.xlsx"):
        run("new", tmp_path / name, "--example", "--rows", 20)
    with zipfile.ZipFile(tmp_path / "brew.xlsm") as archive:
        assert "xl/vbaProject.bin" in archive.namelist()
    report, expected = (
        json.loads(run("report", tmp_path / name, "--json")) for name in ("brew.xlsm", "brew.xlsx")
    )
    assert report | {"file": expected["file"]} == expected
    run("addin", tmp_path / "xlfuncs.xlam")
    assert "exists already" in run("addin", tmp_path / "xlfuncs.xlam", status=2)
    assert "must end in .xlam" in run("addin", tmp_path / "xlfuncs.xls", status=2)


def test_a_workbook_with_the_functions_inside_keeps_them_when_it_is_computed(tmp_path):
    file = tmp_path / "brew.xlsm"
    run("new", file, "--rows", 20)
    said = run("calculate", file, "-o", tmp_path / "out.xlsx", status=2)
    assert "must end in .xlsm" in said
    run("calculate", file, "-o", tmp_path / "out.xlsm")
    before, after = (package.unpacked(path.read_bytes()) for path in (file, tmp_path / "out.xlsm"))
    assert after["xl/vbaProject.bin"] == before["xl/vbaProject.bin"]
    for path in (file, tmp_path / "out.xlsm"):
        assert column(path, "functions_state")[0].startswith("NOT LOADED")
