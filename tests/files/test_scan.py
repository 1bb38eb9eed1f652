"""Cells of a sheet's part, however the part is spelled."""

import io
from xml.parsers.expat import ExpatError

import pytest

from xlfuncs.files import scan
from xlfuncs.files.part import Malformed

SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def cells(rows, wanted=None, prefix="", encoding="utf-8"):
    """Row, column, formula, value and inline text of each cell of these rows."""
    mark, colon = (f":{prefix}", f"{prefix}:") if prefix else ("", "")
    text = (
        f"<?xml version='1.0' encoding='{encoding}'?>\n"
        f"<{colon}worksheet xmlns{mark}='{SPREADSHEET}'><{colon}sheetData>{rows}"
        f"</{colon}sheetData></{colon}worksheet>"
    )
    found = []

    def take(row, column, cell):
        formula = cell.formula and cell.formula.text
        found.append((row, column, formula, cell.value, cell.inline))

    scan.cells(io.BytesIO(text.encode(encoding)), take, wanted)
    return found


PLAIN = '<row r="3"><c r="B3" s="4"><v>1.5</v></c><c r="D3"><f>B3*2</f><v>3</v></c></row>'


def test_values_and_formulas():
    assert cells(PLAIN) == [(3, 2, None, "1.5", None), (3, 4, "B3*2", "3", None)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "iso-8859-1"])
def test_in_any_encoding(encoding):
    [(_, _, _, value, _)] = cells('<row r="1"><c r="A1"><v>°P</v></c></row>', encoding=encoding)
    assert value == "°P"


def test_under_any_prefix():
    rows = PLAIN.replace("</", "</x:").replace("<r", "<x:r").replace("<c", "<x:c")
    rows = rows.replace("<v", "<x:v").replace("<f", "<x:f")
    assert cells(rows, prefix="x") == cells(PLAIN)


def test_only_wanted_columns():
    assert cells(PLAIN, {4}) == cells(PLAIN)[1:]
    assert cells(PLAIN, set()) == []


def test_cells_and_rows_without_an_address_follow_the_one_before():
    rows = "<row><c/><c><v>1</v></c></row><row r='7'/><row><c r='C8'/><c><v>2</v></c></row>"
    assert [(row, column, value) for row, column, _, value, _ in cells(rows)] == [
        (1, 1, None), (1, 2, "1"), (8, 3, None), (8, 4, "2"),
    ]  # fmt: skip


def test_a_row_without_a_number_is_that_of_its_cells():
    assert [cell[:2] for cell in cells("<row><c r='B9'/></row><row><c r='A12'/><c/></row>")] == [
        (9, 2), (12, 1), (12, 2),
    ]  # fmt: skip


def test_a_text_in_runs_without_its_reading_aids():
    rows = (
        "<row r='1'><c r='A1' t='inlineStr'><is><r><rPr><b/></rPr><t>pale </t></r><r><t>ale</t></r>"
        "<rPh sb='0' eb='1'><t>aid</t></rPh><phoneticPr fontId='1'/></is></c></row>"
    )
    [(*_, inline)] = cells(rows)
    assert inline == "pale ale"
    [(*_, nothing)] = cells("<row r='1'><c r='A1' t='inlineStr'><is/></c></row>")
    assert nothing == ""


def test_comments_and_what_others_put_into_a_cell_are_no_part_of_its_value():
    rows = (
        "<row r='1'><c r='A1'><!-- <v>9</v> --><f>1<!-- one -->+1</f><v>2<!-- two -->5</v>"
        "<extLst><ext><v>8</v><f>8</f><t>8</t></ext></extLst></c><c r='B1'><v>3</v></c></row>"
    )
    assert cells(rows) == [(1, 1, "1+1", "25", None), (1, 2, None, "3", None)]
    assert cells("<row r='1'><c r='A1'><v><![CDATA[a<b]]></v></c></row>")[0][3] == "a<b"


def test_what_is_said_of_a_formula_comes_along():
    found = []
    part = (
        f"<worksheet xmlns='{SPREADSHEET}'><sheetData><row r='2'><c r='A2' t='str'>"
        "<f t='array' ref='A2:A9'>X</f><v/></c></row></sheetData></worksheet>"
    )
    scan.cells(io.BytesIO(part.encode()), lambda row, column, cell: found.append(cell))
    [cell] = found
    assert cell.formula.attributes == {"t": "array", "ref": "A2:A9"}
    assert (cell.attributes["t"], cell.value) == ("str", "")


def test_a_value_that_reaches_over_two_pieces_is_whole():
    text = "x" * (2**16 + 5)
    [(_, _, _, value, _)] = cells(f"<row r='1'><c r='A1'><v>{text}</v></c></row>")
    assert value == text


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ("<row r='1'><c r='A1'><v>1</c></row>", ExpatError),
        ("<row r='1'><c r='A1'><v>&no;</v></c></row>", ExpatError),
        ("<row r='1'><c r='1'/></row>", Malformed),
        ("<row r='x'/>", ValueError),
    ],
)
def test_what_is_no_such_part(rows, problem):
    with pytest.raises(problem):
        cells(rows)


def test_no_document_type():
    part = b"<!DOCTYPE a [<!ENTITY b 'c'>]><a><row r='1'><c r='A1'><v>&b;</v></c></row></a>"
    with pytest.raises(Malformed):
        scan.cells(io.BytesIO(part), lambda *_: None)
