"""Values written beside formulas: what readers see, and that nothing else in the file changes."""

import datetime
import functools
import struct
import zipfile
from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Font
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.files import contents, package, problems, stored
from xlfuncs.files.part import SheetPart
from xlfuncs.files.problems import WorkbookProblem, load
from xlfuncs.files.stored import (
    must_compute_whole,
    no_longer_computed,
    store,
)  # fmt: skip
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

SHEET = "xl/worksheets/sheet1.xml"


@pytest.fixture
def path(tmp_path):
    book = openpyxl.Workbook()
    log = book.active
    log.title = "Log & notes"
    log["A1"], log["A2"], log["C9"] = "x < y", 12.5, "typed"
    log["B2"], log["B3"] = "=A2*2", '=IF(A2<13,"a","b")'
    log["B2"].font = Font(bold=True)
    log["D4"] = ArrayFormula("D4:E6", "=A1:B3")
    log["D5"] = 17  # a member that exists already, as a value of an earlier calculation
    log["F4"] = "after"
    other = book.create_sheet("Other")
    other["A1"] = "='Log & notes'!B2"
    path = tmp_path / "log.xlsx"
    book.save(path)
    return path


def parts_of(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def formula_cells(path):
    """Sheet, address, formula, its range, and what is stored beside it, of each formula."""
    values = load(path, data_only=True)
    return [
        (
            sheet.title,
            cell.coordinate,
            getattr(cell.value, "text", cell.value),
            getattr(cell.value, "ref", None),
            values[sheet.title][cell.coordinate].value,
        )
        for sheet in load(path).worksheets
        for _, cell in sorted(sheet._cells.items())  # of those that are there
        if cell.data_type == "f"
    ]


def rewritten(path, part, change):
    """The same file with one part changed."""
    parts = parts_of(path)
    parts[part] = change(parts[part].decode()).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def shown(path, values, title="Log & notes"):
    """What a reader of values sees in these cells after `store`."""
    out = path.with_name("out.xlsx")
    store(path, {(title, address): value for address, value in values.items()}, out)
    sheet = openpyxl.load_workbook(out, data_only=True)[title]
    return {address: sheet[address].value for address in values}


@pytest.mark.parametrize(
    "value",
    [
        25.0, 0.1, -1e-300, 1e22, True, False, "plain", "a < b & 'c' > \"d\"", "#N/A", "#DIV/0!",
        "! reading 140 is outside 0 to 45", "  spaces  ", "two\nlines", "°Bx – ü 🍺",
    ],
)  # fmt: skip
def test_each_kind_of_value(path, value):
    got = shown(path, {"B2": value})["B2"]
    assert got == value
    assert isinstance(got, bool) == isinstance(value, bool)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (25.0, "<v>25</v>"),
        (0.1, "<v>0.1</v>"),
        (True, 't="b"><f>A2*2</f><v>1</v>'),
        ("#N/A", 't="e"><f>A2*2</f><v>#N/A</v>'),
        ("a&b", 't="str"><f>A2*2</f><v>a&amp;b</v>'),
        (" a", '<v xml:space="preserve"> a</v>'),
        ("", 't="str"><f>A2*2</f><v></v>'),
    ],
)
def test_how_a_value_is_written(path, tmp_path, value, written):
    store(path, {("Log & notes", "B2"): value}, tmp_path / "out.xlsx")
    sheet = parts_of(tmp_path / "out.xlsx")[SHEET].decode()
    assert written in sheet[sheet.index('r="B2"') :].split("</c>")[0] + "</c>"


def test_characters_that_xml_does_not_allow_are_left_out(path):
    assert shown(path, {"B2": "a\x00b\x0bc\ud800d\ufffe"}) == {"B2": "abcd"}


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(path, tmp_path, value):
    with pytest.raises(ValueError, match="no number"):
        store(path, {("Log & notes", "B2"): value}, tmp_path / "out.xlsx")


def test_every_cell_of_an_array_formula(path):
    values = {"D4": 1.0, "E4": "", "D5": "five", "E5": True, "D6": "#N/A", "E6": 6.5}
    assert shown(path, values) == {**values, "E4": None}
    sheet = openpyxl.load_workbook(path.with_name("out.xlsx"))["Log & notes"]
    assert sheet["D4"].value.ref == "D4:E6"
    assert (sheet["F4"].value, sheet["C9"].value, sheet["A2"].value) == ("after", "typed", 12.5)
    assert sheet["B2"].font.bold


def test_new_rows_and_cells_stand_in_order(path):
    shown(path, {"D4": 1.0, "E4": 2.0, "D6": 3.0, "E6": 4.0})
    sheet = parts_of(path.with_name("out.xlsx"))[SHEET].decode()
    places = [
        sheet.index(text) for text in ('"D4"', '"E4"', '"F4"', 'r="6"', '"D6"', '"E6"', '"C9"')
    ]
    assert places == sorted(places)


def test_values_of_other_formulas_stay(path):
    out = path.with_name("first.xlsx")
    store(path, {("Log & notes", "B2"): 25.0, ("Other", "A1"): 25.0}, out)
    store(out, {("Log & notes", "B3"): "a"}, path)
    sheet = openpyxl.load_workbook(path, data_only=True)["Log & notes"]
    assert (sheet["B2"].value, sheet["B3"].value) == (25, "a")


def test_other_parts_stay_byte_for_byte(path, tmp_path):
    out = tmp_path / "out.xlsx"
    store(path, {("Log & notes", "B2"): 25.0}, out)
    before, after = parts_of(path), parts_of(out)
    assert list(before) == list(after)
    assert {name for name in before if before[name] != after[name]} == {SHEET, "xl/workbook.xml"}


def test_same_values_give_the_same_bytes(path, tmp_path):
    first, second = tmp_path / "1.xlsx", tmp_path / "2.xlsx"
    store(path, {("Log & notes", "B2"): 25.0, ("Log & notes", "D4"): 1.0}, first)
    store(path, {("Log & notes", "D4"): 1.0, ("Log & notes", "B2"): 25.0}, second)
    assert first.read_bytes() == second.read_bytes()
    with zipfile.ZipFile(first) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_excel_is_not_asked_to_compute_everything_when_it_opens_the_file(path, tmp_path):
    assert b'fullCalcOnLoad="1"' in parts_of(path)["xl/workbook.xml"]
    store(path, {}, tmp_path / "out.xlsx")
    book = parts_of(tmp_path / "out.xlsx")["xl/workbook.xml"]
    assert b"fullCalcOnLoad" not in book
    assert b'calcId="191029"' in book


def test_what_somebody_typed_is_not_overwritten(path, tmp_path):
    out = tmp_path / "out.xlsx"
    with pytest.raises(ValueError, match="Log & notes!A2 holds no formula"):
        store(path, {("Log & notes", "A2"): 1.0}, out)
    with pytest.raises(ValueError, match="no sheet Nowhere"):
        store(path, {("Nowhere", "A2"): 1.0}, out)
    assert not out.exists()


def test_nothing_is_left_when_writing_fails(path, tmp_path):
    folder = tmp_path / "out.xlsx"
    folder.mkdir()
    before = sorted(tmp_path.iterdir())
    with pytest.raises(WorkbookProblem, match=r"^out\.xlsx cannot be written"):
        store(path, {("Log & notes", "B2"): 1.0}, folder)
    assert sorted(tmp_path.iterdir()) == before


def test_file_can_be_replaced_by_itself(path):
    store(path, {("Log & notes", "B2"): 25.0}, path)
    assert openpyxl.load_workbook(path, data_only=True)["Log & notes"]["B2"].value == 25


def test_cells_and_rows_without_addresses_and_with_a_prefix(path):
    """Other programs leave out addresses, which the standard allows, or prefix every element."""
    rows = (
        '<x:sheetData><x:row><x:c><x:v>1</x:v></x:c><x:c s="0"><x:f>A1</x:f></x:c></x:row>'
        '<x:row r="3" spans="2:2"/>'
        '<x:row><x:c r="B4" t="str"><x:f>"a"</x:f><x:v>old</x:v></x:c></x:row></x:sheetData>'
    )
    namespace = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    rewritten(path, SHEET, lambda _: f'<x:worksheet xmlns:x="{namespace}">{rows}</x:worksheet>')
    assert shown(path, {"B1": 1.0, "B4": "new"}) == {"B1": 1, "B4": "new"}


def test_formulas_stay_with_what_is_stored_beside_them(path):
    store(path, {("Log & notes", "B2"): 25.0, ("Log & notes", "D4"): 1.0}, path)
    assert formula_cells(path) == [
        ("Log & notes", "B2", "=A2*2", None, 25),
        ("Log & notes", "B3", '=IF(A2<13,"a","b")', None, None),
        ("Log & notes", "D4", "=A1:B3", "D4:E6", 1),
        ("Other", "A1", "='Log & notes'!B2", None, None),
    ]


# --- files that are no workbooks ------------------------------


def ole(*names):
    """The start of a compound file that holds streams of these names."""
    header = bytes.fromhex("D0CF11E0A1B11AE1") + struct.pack("<504x")
    return header + b"".join(name.encode("utf-16-le") for name in names)


def zipped(tmp_path, *names):
    with zipfile.ZipFile(tmp_path / "zip", "w") as archive:
        for name in names:
            archive.writestr(name, "text")
    return (tmp_path / "zip").read_bytes()


@pytest.mark.parametrize("read", [load, lambda path: store(path, {}, path)])
@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b"id,sg\n1,1.05\n",
            "brew.xlsx is not an Excel workbook (.xlsx): it is another kind of file",
        ),
        (b"", "brew.xlsx is not an Excel workbook (.xlsx): it is empty"),
        (
            ole("EncryptedPackage"),
            "brew.xlsx is protected by a password: save it without one first",
        ),
        (
            ole("Workbook"),
            "brew.xlsx is not an Excel workbook (.xlsx): it is an older kind (.xls); "
            "save it as .xlsx first",
        ),
    ],
)
def test_file_that_is_no_workbook(tmp_path, read, content, message):
    path = tmp_path / "brew.xlsx"
    path.write_bytes(content)
    with pytest.raises(WorkbookProblem) as problem:
        read(path)
    assert str(problem.value) == message
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    "names", [["content.xml", "mimetype"], ["[Content_Types].xml", "xl/workbook.bin"]]
)
def test_other_kinds_of_documents(tmp_path, names):
    path = tmp_path / "brew.xlsx"
    path.write_bytes(zipped(tmp_path, *names))
    with pytest.raises(WorkbookProblem, match=r"^brew.xlsx is not .*another kind of document$"):
        load(path)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_file_that_is_cut_short(path, tmp_path, share):
    data = path.read_bytes()
    cut = tmp_path / "cut.xlsx"
    cut.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(WorkbookProblem, match=r"^cut.xlsx is cut short or damaged$"):
        store(cut, {}, tmp_path / "out.xlsx")


def test_damaged_inside(path, tmp_path):
    rewritten(path, "xl/workbook.xml", lambda text: text[: len(text) // 2])
    for read in (load, lambda path: store(path, {}, tmp_path / "out.xlsx")):
        with pytest.raises(WorkbookProblem, match=r"log\.xlsx is cut short or damaged"):
            read(path)


def test_file_that_is_missing_or_a_folder(tmp_path):
    with pytest.raises(WorkbookProblem, match=r"^brew.xlsx does not exist in "):
        load(tmp_path / "brew.xlsx")
    with pytest.raises(WorkbookProblem, match="it is a folder"):
        load(tmp_path)


# --- files that are used while they are read ------------------------------


def test_an_edit_after_reading_is_not_lost(path):
    source = problems.read(path)
    changed = openpyxl.load_workbook(path)
    changed["Log & notes"]["A2"] = 99
    changed.save(path)
    edited = path.read_bytes()
    with pytest.raises(WorkbookProblem, match="changed by another program"):
        store(source, {("Log & notes", "B2"): 25.0}, path)
    assert path.read_bytes() == edited


def macros(path):
    """The same workbook with the content type of one that holds macros."""
    rewritten(
        path,
        "[Content_Types].xml",
        lambda text: text.replace(
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
            "application/vnd.ms-excel.sheet.macroEnabled.main+xml",
        ),
    )
    return path.rename(path.with_suffix(".xlsm"))


def test_the_ending_follows_the_content(path, tmp_path):
    with pytest.raises(WorkbookProblem, match=r"must end in \.xlsx"):
        store(path, {}, tmp_path / "out.xlsm")
    with_macros = macros(path)
    with pytest.raises(WorkbookProblem, match=r"holds macros: .*must end in \.xlsm"):
        store(with_macros, {}, tmp_path / "out.xlsx")
    store(with_macros, {}, tmp_path / "out.xlsm")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["log.xlsm", "out.xlsm"]


# --- the same XML, spelled otherwise ------------------------------


def single_quotes(text):
    return text.replace('"', "'")


def utf_16(text):
    return f'<?xml version="1.0" encoding="UTF-16"?>{text}'.encode("utf-16")


def latin_1(text):
    return f"<?xml version='1.0' encoding='ISO-8859-1'?>{text}".encode("latin-1")


def blanks(text):
    return text.replace('="', '\n = "').replace("/>", " />").replace("</c>", "</c >")


def comments(text):
    return text.replace(
        '<c r="B2"', '<!-- <c r="B2"><f>no</f></c></row></sheetData> --><c r="B2"'
    ).replace("<v/>", "<v><![CDATA[</c>]]></v>")


@pytest.mark.parametrize("spelled", [single_quotes, utf_16, latin_1, blanks, comments])
def test_valid_xml_in_another_spelling(path, spelled):
    text = parts_of(path)[SHEET].decode()
    other = spelled(text)
    data = other.encode() if isinstance(other, str) else other
    assert data != text.encode()
    parts = parts_of(path) | {SHEET: data}
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    values = {"B2": 25.0, "B3": "a > b", "D4": 1.0, "E4": 2.0, "D6": 3.0, "E6": 4.0}
    assert shown(path, values) == values
    sheet = openpyxl.load_workbook(path.with_name("out.xlsx"))["Log & notes"]
    assert (sheet["A1"].value, sheet["F4"].value, sheet["B2"].value) == (
        "x < y", "after", "=A2*2"
    )  # fmt: skip


def test_a_quoted_sign_does_not_end_a_tag(path):
    rewritten(path, SHEET, lambda text: text.replace('<c r="B2"', "<c cm='>' r=\"B2\""))
    assert shown(path, {"B2": 25.0}) == {"B2": 25}


def test_a_sheet_with_an_apostrophe_in_its_name(path):
    book = openpyxl.load_workbook(path)
    book["Other"].title = "Tom's log"
    book.save(path)
    assert shown(path, {"A1": 7.0}, "Tom's log") == {"A1": 7}


# --- hostile files ------------------------------


def test_a_file_that_unpacks_to_more_than_the_limit_is_refused_before_it_is_unpacked(tmp_path):
    bomb = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w") as part:
            for _ in range(problems.LARGEST // 2**20):
                part.write(bytes(2**20))
    assert bomb.stat().st_size < 2**20
    with pytest.raises(WorkbookProblem, match=r"bomb\.xlsx unpacks to 500 MB; workbooks up to"):
        load(bomb)


@pytest.mark.parametrize(
    "part",
    [
        '<!DOCTYPE w [<!ENTITY a "aaaaaaaaaa">]><worksheet><sheetData>&a;</sheetData></worksheet>',
        "<worksheet/>",
        '<worksheet><sheetData><row r="1"><c r="1A"><f>1</f></c></row></sheetData></worksheet>',
        '<worksheet><sheetData><row r="x"/></sheetData></worksheet>',
        "<worksheet><sheetData>",
    ],
)
def test_a_sheet_that_is_none_is_called_damaged(path, tmp_path, part):
    rewritten(path, SHEET, lambda _: part)
    with pytest.raises(WorkbookProblem, match="cut short or damaged"):
        store(path, {("Log & notes", "B2"): 1.0}, tmp_path / "out.xlsx")


def test_a_value_in_the_last_row(path):
    book = openpyxl.load_workbook(path)
    book["Log & notes"]["A1048576"] = 7
    book["Log & notes"]["XFD1048576"] = "=A1048576*2"
    book.save(path)
    assert shown(path, {"XFD1048576": 14.0}) == {"XFD1048576": 14}
    assert [cell[1] for cell in formula_cells(path)][-2] == "XFD1048576"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('<fills count="2"', '<fills count="two"'),
        ('rgb="', 'rgb="none'),
        ("</cellXfs>", '</cellXfs><cellStyles><cellStyle name="" xfId="77"/></cellStyles>'),
        ('patternType="gray125"', 'patternType="polkadot"'),
    ],
)
def test_looks_that_openpyxl_does_not_take_are_no_damage(path, old, new):
    book = openpyxl.load_workbook(path)
    book["Log & notes"]["C3"] = datetime.date(2026, 3, 14)
    book["Log & notes"]["C3"].font = Font(color="FF0000")
    book.save(path)
    rewritten(path, "xl/styles.xml", lambda text: text.replace(old, new))
    assert new in parts_of(path)["xl/styles.xml"].decode()
    sheet = load(path)["Log & notes"]
    assert sheet["C3"].value == datetime.datetime(2026, 3, 14)


# --- computed cells that another program has made plain ones ------------------------------


@pytest.fixture
def columns(path):
    book = openpyxl.load_workbook(path)
    for name, cells in (("log_sg", "$D$4:$D$6"), ("log_brix", "$A$2:$A$6")):
        book.defined_names[name] = DefinedName(name, attr_text=f"'Log & notes'!{cells}")
    book.save(path)
    return path


def held(path):
    return contents.read(problems.read(path))


def test_a_column_that_computes_in_part_is_named(columns):
    assert no_longer_computed(held(columns)) == []
    # What an office without the functions saves: the array formula of its first cell alone.
    rewritten(columns, SHEET, lambda text: text.replace('ref="D4:E6"', 'ref="D4"'))
    assert no_longer_computed(held(columns)) == ["Log & notes!D4:D6"]
    with pytest.raises(WorkbookProblem, match=r"plain ones \(Log & notes!D4:D6\).*xlfuncs upgrade"):
        must_compute_whole(held(columns), columns)


def test_a_formula_in_a_typed_column_does_no_harm(columns):
    book = openpyxl.load_workbook(columns)
    book["Log & notes"]["A2"] = "=12+0.5"
    book.save(columns)
    must_compute_whole(held(columns), columns)


#: Both kinds of formulas, in workbooks that have every sheet.
BUILT = [Choices(rows=20, checks=20, plain=True), Choices(rows=20, checks=20, example=True)]


@functools.cache
def built(choices):
    """A new workbook as a file, and what it shows."""
    source = problems.Source(Path("new.xlsx"), build.to_bytes(build.build(choices)))
    return source, embedded.calculate(source).values


@pytest.mark.parametrize("choices", BUILT)
def test_the_short_way_writes_what_the_long_way_writes(choices):
    """Sheets spelled as nearly all are spelled are not taken to pieces; the bytes are the same."""
    source, shown = built(choices)
    by_sheet: dict[str, dict[str, stored.Value]] = {}
    for (title, address), value in shown.items():
        by_sheet.setdefault(title, {})[address] = value
    parts = package.unpacked(source.data)
    _, sheets = package.sheet_parts(parts)
    short = 0
    for title, values in by_sheet.items():
        part = parts[sheets[title]]
        found = stored._beside(part, values)
        if found is not None:
            short += 1
            assert found == stored._patched(SheetPart(title, part), values)
        assert stored._beside(part.replace(b"<c ", b"<c  ", 1), values) is None
    assert short == len(by_sheet) if choices.plain else short > 0


@pytest.mark.parametrize("choices", BUILT)
def test_the_quick_way_writes_the_bytes_of_the_thorough_one(choices, monkeypatch):
    """Cells of arrays that are not there yet, and a sheet that reaches further, included."""
    source, values = built(choices)
    thorough = []
    patched = stored._patched
    monkeypatch.setattr(stored, "_patched", lambda *given: thorough.append(1) or patched(*given))
    quick = stored.with_values(source, values)
    assert not thorough
    monkeypatch.setattr(stored, "_beside", lambda *given: None)
    assert stored.with_values(source, values) == quick
    assert thorough
