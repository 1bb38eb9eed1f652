"""A copy with values in place of our functions: what becomes a value, and what stays."""

import datetime
import doctest
import io
import re
import time

import openpyxl
import pytest
from openpyxl.formatting.rule import FormulaRule
from openpyxl.utils.datetime import to_excel
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from tests.helpers import run
from tests.hosts.calc.conftest import _usable_office, needs_office  # noqa: F401
from tests.plain.engines import converted
from xlfuncs import __version__
from xlfuncs.files import calls, package, problems
from xlfuncs.files.calls import Calls
from xlfuncs.files.frozen import freeze
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner
from xlfuncs.hosts.excel import macros
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 11, 26)
STAMP = f"values of 2026-11-26, fixed by xlfuncs {__version__}"


def to_bytes(book):
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def small():
    """Each kind of cell that a formula of ours can stand in, and some that are not ours."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log & notes"
    for row, brix in enumerate((12.4, None, 140), 1):
        sheet.cell(row, 1, brix)
    sheet["B1"] = '=IF(A1>0,wort_sg(A1,1.04),"")'
    sheet["C1"] = ArrayFormula("C1:C3", "=WORT_SG(A1:A3)")
    sheet["D1"] = "=C1*1000"
    sheet["D2"] = '="not WORT_SG(1)"'
    sheet["E1"] = '="loaded, version "&CELLS_VERSION()'
    sheet["F1"] = "=NA()+WORT_SG(A1)"
    sheet["G1"] = "typed"
    return book


def frozen(data, tmp_path):
    path = tmp_path / "workbook.xlsx"
    path.write_bytes(data)
    return freeze(data, embedded.calculate(path).values, Calls(CATALOGUE), __version__, TODAY)


def cells(data, **options):
    """Every cell that is not empty; an array formula as its text, a date as its number."""
    book = openpyxl.load_workbook(io.BytesIO(data), **options)
    return {
        (sheet.title, cell.coordinate): to_excel(cell.value)
        if isinstance(cell.value, (datetime.date, datetime.time))
        else getattr(cell.value, "text", cell.value)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def of(data, **options):
    found = cells(data, **options)
    return {place: value for (sheet, place), value in found.items() if sheet == "Log & notes"}


def test_each_kind_of_cell(tmp_path):
    data, done = frozen(to_bytes(small()), tmp_path)
    sg = pytest.approx(1.04806, abs=1e-5)
    assert of(data) == {
        "A1": 12.4,
        "A3": 140,
        "B1": sg,
        "C1": sg,
        "C2": '=""',
        "C3": "! brix 140 is outside -1 to 45",
        "D1": "=C1*1000",
        "D2": '="not WORT_SG(1)"',
        "E1": STAMP,
        "F1": "#N/A",
        "G1": "typed",
    }
    assert of(data, data_only=True)["D1"] == pytest.approx(1048.06, abs=0.01)
    assert done.cells == {"Log & notes": 6}
    assert done.left == []


def test_an_empty_answer_stays_a_text(tmp_path):
    """A blank cell would be 0 in the formulas that look it up; the empty text is not."""
    data, _ = frozen(to_bytes(small()), tmp_path)
    sheet = package.unpacked(data)["xl/worksheets/sheet1.xml"].decode()
    assert re.search(r'<c r="C2"[^>]* t="str"><f>""</f><v></v></c>', sheet)


def test_a_sheet_at_the_end_says_what_it_is(tmp_path):
    data, _ = frozen(to_bytes(small()), tmp_path)
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.sheetnames == ["Log & notes", "Frozen"]
    text = " ".join(row[0] for row in book["Frozen"].values)
    assert STAMP in text
    assert "6 cells" in text
    again, _ = frozen(data, tmp_path)
    assert openpyxl.load_workbook(io.BytesIO(again)).sheetnames[2:] == ["Frozen 2"]


def test_the_same_bytes_each_time(tmp_path):
    data = to_bytes(small())
    assert frozen(data, tmp_path)[0] == frozen(data, tmp_path)[0]


def changed(data, part, change):
    parts = package.unpacked(data)
    parts[part] = change(parts[part].decode()).encode()
    return package.packed(parts)


def test_formulas_written_once_for_several_cells(tmp_path):
    """As Excel writes formulas that were filled down; and the mark of a dynamic array."""
    rows = (
        '<row r="1"><c r="A1"><v>12.4</v></c><c r="B1"><f t="shared" ref="B1:B2" si="3">'
        'WORT_SG(A1)</f><v>9</v></c><c r="C1"><f t="shared" ref="C1:C2" si="4">A1+1</f></c></row>'
        '<row r="2"><c r="A2"><v>10</v></c><c r="B2" s="0"><f t="shared" si="3"/><v>9</v></c>'
        '<c r="C2"><f t="shared" si="4"/></c></row>'
        '<row r="3"><c r="B3" cm="1"><f t="array" ref="B3:B4">WORT_SG(A1:A2)</f><v>9</v></c></row>'
        '<row r="4"><c r="B4"><v>9</v></c></row>'
    )
    data = changed(
        to_bytes(openpyxl.Workbook()),
        "xl/worksheets/sheet1.xml",
        lambda text: re.sub("<sheetData>.*</sheetData>", f"<sheetData>{rows}</sheetData>", text),
    )
    data, _ = frozen(data, tmp_path)
    sheet = package.unpacked(data)["xl/worksheets/sheet1.xml"].decode()
    assert sheet.count("<f") == sheet.count("<f ") == 2
    assert "cm=" not in sheet
    one, other = pytest.approx(1.04806, abs=1e-5), pytest.approx(1.03846, abs=1e-4)
    found = cells(data, data_only=True)
    assert [found["Sheet", place] for place in ("B1", "B2", "B3", "B4")] == [one, other] * 2
    assert found["Sheet", "C2"] == 11


def test_the_list_of_formulas_goes_and_all_other_parts_stay(tmp_path):
    parts = package.unpacked(to_bytes(small()))
    package.add_part(
        parts,
        "xl/calcChain.xml",
        b'<calcChain xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>',
        "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml",
        "http://schemas.openxmlformats.org/officeDocument/2006/relationships/calcChain",
    )
    parts["xl/own.bin"] = bytes(range(256))
    data, _ = frozen(package.packed(parts), tmp_path)
    after = package.unpacked(data)
    assert not any(b"calcChain" in content for content in after.values())
    assert parts.keys() - after.keys() == {"xl/calcChain.xml"}
    assert {name for name in parts.keys() & after.keys() if parts[name] != after[name]} == {
        "xl/worksheets/sheet1.xml",
        "xl/workbook.xml",
        "xl/_rels/workbook.xml.rels",
        "[Content_Types].xml",
    }


def test_names_and_rules_that_call_the_functions_are_named(tmp_path):
    book = small()
    book.defined_names["first_wort"] = DefinedName("first_wort", attr_text="WORT_SG(12.4)")
    sheet = book.active
    sheet["H1"] = "=first_wort*2"
    sheet.conditional_formatting.add("A1", FormulaRule(formula=["WORT_SG($A$1)>1.05"]))
    data, done = frozen(to_bytes(book), tmp_path)
    assert of(data)["H1"] == pytest.approx(2.0961, abs=1e-4)
    assert done.left == [
        "the name first_wort",
        "a rule of the sheet Log & notes: WORT_SG($A$1)>1.05",
    ]


def test_what_could_not_be_computed_stays_a_formula(tmp_path):
    book = small()
    book.active["H1"] = '=WORT_SG(WEBSERVICE("x"))'
    data, done = frozen(to_bytes(book), tmp_path)
    assert of(data)["H1"] == '=WORT_SG(WEBSERVICE("x"))'
    assert done.cells == {"Log & notes": 6}


# --- the workbook ------------------------------


@pytest.fixture(scope="module")
def example():
    """The worked example as it is built: no values beside its formulas."""
    return build.to_bytes(build.build(Choices(rows=80, example=True)))


def formulas(data):
    """All formulas but the empty text that stands for an empty answer."""
    return {place: f for place, f in cells(data).items() if str(f).startswith("=") and f != '=""'}


def calculated(data, tmp_path):
    path = tmp_path / "calculated.xlsx"
    path.write_bytes(data)
    return embedded.calculate(path, TODAY)


@pytest.fixture(scope="module")
def frozen_example(example, tmp_path_factory):
    """What the example shows, the same frozen, and what was done."""
    before = calculated(example, tmp_path_factory.mktemp("frozen")).values
    return before, *freeze(example, before, Calls(CATALOGUE), __version__, TODAY)


def test_the_example(example, frozen_example, tmp_path):
    before, data, done = frozen_example
    assert done.left == []
    after = calculated(data, tmp_path)
    assert after.failures == []
    assert not after.calls, "nothing calls a function of ours any more"
    assert sum(done.cells.values()) > 500
    ours = Calls(CATALOGUE)
    plain = {place: f for place, f in formulas(example).items() if not ours.names(f)}
    assert formulas(data).items() == plain.items()
    shown = cells(data, data_only=True)
    for place, value in before.items():
        if isinstance(value, str):
            assert (shown.get(place) or "") in (value, STAMP), place
        else:
            assert shown[place] == pytest.approx(value, rel=1e-12), place


def test_the_frozen_example_computed_by_another_program(frozen_example, tmp_path, needs_office):  # noqa: F811
    """What looks up an empty answer shows nothing there either, not 0."""
    before, data, _ = frozen_example
    path = tmp_path / "frozen.xlsx"
    path.write_bytes(data)
    found = runner.compute(problems.read(path))
    assert len(found) > 10_000
    for place, value in found.items():
        expected = before[place]
        if isinstance(expected, str):
            assert (value or "") == expected, place
        else:
            assert value == pytest.approx(expected, rel=1e-9, abs=1e-9), place


def test_a_workbook_that_libreoffice_saved(tmp_path, needs_office):  # noqa: F811
    """It writes the add-in's own name before each function."""
    (tmp_path / "saved").mkdir()
    (tmp_path / "brew.xlsx").write_bytes(to_bytes(small()))
    profile = runner._profile(needs_office, tmp_path, True, time.monotonic() + 120)
    converted("xlsx", tmp_path / "saved", profile, tmp_path / "brew.xlsx")
    saved = (tmp_path / "saved" / "brew.xlsx").read_bytes()
    # So does 7.4; 25.2 leaves a name that it does not know as it was.
    assert of(saved)["C1"] in ("=XLFUNCS.CALC.ADDIN.WORT_SG(A1:A3)", "=WORT_SG(A1:A3)")
    data, done = frozen(saved, tmp_path)
    expected, _ = frozen(to_bytes(small()), tmp_path)
    assert of(data, data_only=True) == of(expected, data_only=True)
    assert formulas(data) == formulas(expected)
    assert done.left == []


# --- the command ------------------------------


def test_the_command(tmp_path):
    path, out = tmp_path / "brew.xlsx", tmp_path / "frozen.xlsx"
    path.write_bytes(to_bytes(small()))
    before = path.read_bytes()
    assert "6 cells fixed in" in run("freeze", path, "-o", out)
    assert path.read_bytes() == before
    assert of(out.read_bytes())["E1"].endswith(f"fixed by xlfuncs {__version__}")
    assert "exists already" in run("freeze", path, "-o", out, status=2)
    assert "is the workbook itself" in run("freeze", path, "-o", path, "--force", status=2)
    assert "must end in .xlsx" in run("freeze", path, "-o", tmp_path / "x.xlsm", status=2)


def test_the_command_names_what_it_could_not_do(tmp_path):
    path, out = tmp_path / "brew.xlsx", tmp_path / "frozen.xlsx"
    book = small()
    book.active["H1"] = '=WORT_SG(WEBSERVICE("x"))'
    book.defined_names["first_wort"] = DefinedName("first_wort", attr_text="WORT_SG(12.4)")
    path.write_bytes(to_bytes(book))
    said = run("freeze", path, "-o", out, status=1)
    assert "still calls the functions: the name first_wort" in said
    assert "not computed: Log & notes!H1" in said
    assert out.exists()
    for row in range(2, 31):
        book.active.cell(row, 8, '=WORT_SG(WEBSERVICE("x"))')
    path.write_bytes(to_bytes(book))
    said = run("freeze", path, "-o", out, "--force", status=1)
    assert said.count("not computed: Log & notes!H") == 10
    assert "not computed: 20 more, 30 formulas in all" in said


def test_macros_go_where_they_cannot_stay(tmp_path):
    path = tmp_path / "brew.xlsm"
    path.write_bytes(macros.with_functions(to_bytes(small())))
    for ending, kept in (("xlsx", False), ("xlsm", True)):
        out = tmp_path / f"frozen.{ending}"
        run("freeze", path, "-o", out)
        parts = package.unpacked(out.read_bytes())
        assert ("xl/vbaProject.bin" in parts) == kept
        assert (b"macroEnabled" in parts["[Content_Types].xml"]) == kept
        assert of(out.read_bytes())["B1"] == pytest.approx(1.04806, abs=1e-5)


# --- finding calls ------------------------------


def test_the_example_of_the_finder():
    assert doctest.testmod(calls).failed == 0


@pytest.mark.parametrize(
    ("formula", "found"),
    [
        ("=WORT_SG(A1)", ["WORT_SG"]),
        ("=1+wort_sg (A1)", ["WORT_SG"]),
        ("=WORT_SG_UNCERTAINTY(A1)", ["WORT_SG_UNCERTAINTY"]),
        ("=[2]!WORT_SG(A1)", ["WORT_SG"]),
        (r"='C:\Users\me\it''s mine\xlfuncs.xlam'!WORT_SG(A1)", ["WORT_SG"]),
        ("=xlfuncs.xlam!WORT_SG(A1)*BOIL_SG(1,2,3,4)", ["WORT_SG", "BOIL_SG"]),
        ("=MY_WORT_SG(A1)", []),
        ("=MY.WORT_SG(A1)", []),
        ('="WORT_SG(A1)"', []),
        ('="a""WORT_SG(A1)"', []),
        ("=WORT_SG", []),
        ("='WORT_SG'!A1", []),
    ],
)
def test_calls_in_formulas(formula, found):
    ours = Calls(CATALOGUE)
    assert ours.names(formula) == found
    bare = ours.bare(formula)
    assert ours.names(bare) == found
    assert ("!" in bare) == ("!A1" in formula)
