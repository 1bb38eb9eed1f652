"""Blocks, their places, and the formulas that come of them."""

from __future__ import annotations

import io
import re

import openpyxl
import pytest

from tests.workbook.conftest import blank_book
from xlfuncs.functions import CATALOGUE
from xlfuncs.workbook import build, words
from xlfuncs.workbook.kit import formulas, styles, write
from xlfuncs.workbook.kit.blocks import (
    Column,
    Group,
    Line,
    Lines,
    Sheet,
    Steps,
    Table,
    Text,
    step,
    typed,
)
from xlfuncs.workbook.kit.place import Layout, LayoutProblem
from xlfuncs.workbook.sheets import SHEETS
from xlfuncs.workbook.words import Choices


def placed(*blocks, title="One"):
    layout = Layout()
    layout.add(Sheet(title, "", "", blocks))
    return layout


def written(layout):
    book = openpyxl.Workbook()
    book.remove(book.active)
    styles.register(book)
    write.write(book, layout, write.A4)
    return book


def table(*columns, name="t", rows=3, **more):
    return Table(name, rows, columns, **more)


def test_blocks_follow_each_other_with_a_gap():
    layout = placed(Text("a"), Text("b"), Text("c", gap=0))
    assert [one.area.top for one in layout.pages[0].blocks] == [3, 5, 6]


def test_two_blocks_on_one_cell_are_refused():
    with pytest.raises(LayoutProblem, match="overlaps"):
        placed(table(typed("a", "A"), typed("b", "B")), Text("x", column=2, beside=True))


def test_a_name_given_twice_is_refused():
    with pytest.raises(LayoutProblem, match="the name a is given twice"):
        placed(table(typed("a", "A")), Lines((Line("a", "again"),)))
    layout = placed(table(typed("a", "A")))
    with pytest.raises(LayoutProblem, match="twice"):
        layout.add(Sheet("Two", "", "", (Steps({"a": "1"}),)))


def test_steps_stand_right_of_the_page_on_the_lines_of_their_table():
    layout = placed(table(typed("a", "A"), step("b", "", "a+1"), typed("c", "C")))
    assert layout.names["a"].cells == "A5:A7"
    assert layout.names["c"].cells == "B5:B7"
    assert layout.names["b"].cells == "D5:D7"


def test_a_column_is_one_array_formula_or_a_formula_in_each_line():
    book = written(placed(
        table(typed("a", "A"), step("b", "", "a+SUM(all.a)"),
              step("c", "", "a+SUM(all.a)+N(above.c)", by_line=True))
    ))["One"]  # fmt: skip
    assert (book["C5"].value.ref, book["C5"].value.text) == ("C5:C7", "=a+SUM(a)")
    first, *below = (book[f"D{row}"].value for row in (5, 6, 7))
    assert (first.text, dict(first)) == (
        "=$A5+SUM(a)+N($D4)",
        {"t": "shared", "ref": "D5:D7", "si": "1"},
    )
    assert [(one.text, dict(one)) for one in below] == [(None, {"t": "shared", "si": "1"})] * 2


def test_a_filled_column_is_read_line_by_line():
    """As any reader of the file does it: the first formula, moved along."""
    book = written(placed(table(typed("a", "A"), step("c", "", "2*a", by_line=True))))
    read = openpyxl.load_workbook(io.BytesIO(build.to_bytes(book)))["One"]
    assert [read[f"C{row}"].value for row in (5, 6, 7)] == ["=2*$A5", "=2*$A6", "=2*$A7"]


def test_a_column_of_other_lines_is_refused_but_whole_it_serves():
    other = table(typed("z", "Z"), name="u", rows=5)
    with pytest.raises(LayoutProblem, match="z has 5 lines, not 3"):
        written(placed(other, table(typed("a", "A"), step("b", "", "z+1"))))
    written(placed(other, table(typed("a", "A"), step("b", "", "SUM(all.z)"))))


def test_a_long_formula_is_refused():
    longest = "1+" * 149 + "11"
    written(placed(Steps({"a": longest})))
    with pytest.raises(LayoutProblem, match="301 characters"):
        written(placed(Steps({"a": f"{longest}1"})))


def test_what_stands_below_a_guarded_table_has_a_name():
    layout = placed(table(typed("a", "A"), guarded=True), Text("end", gap=3))
    assert layout.names["t_below"].cells == "A8:A10"


# --- all sheets ---


@pytest.mark.parametrize("example", [False, True])
def test_no_name_is_that_of_a_function(example):
    """Spreadsheet programs know names and functions apart by nothing else, nor by case."""
    names = {name.upper() for name in blank_book(Choices(example=example)).defined_names}
    assert len(names) > 100
    assert not names & CATALOGUE.keys()


@pytest.fixture(scope="module")
def everything():
    return blank_book(Choices(example=True))


def every_formula(book):
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                value = getattr(cell.value, "text", cell.value)
                if isinstance(value, str) and value.startswith("="):
                    yield sheet.title, cell.coordinate, value


def test_no_formula_is_long_and_none_writes_digits_by_a_pattern(everything):
    for title, address, formula in every_formula(everything):
        assert len(formula) <= formulas.LONGEST + 60, (title, address, len(formula))
        assert not re.search(r"\bTEXT\(", formula), (title, address)
        assert not re.search(r"\b(LET|LAMBDA|XLOOKUP|FILTER|OFFSET|INDIRECT)\(", formula)


def test_array_formulas_use_nothing_that_takes_only_a_first_cell():
    """N of a range is the number in its first cell in Excel; AND and OR join all the lines."""
    for page in build.layout(Choices()).pages:
        for table in (placed.block for placed in page.blocks if isinstance(placed.block, Table)):
            for part in table.parts if table.rows > 1 else ():
                columns = [part, *part.columns] if isinstance(part, Group) else [part]
                own = {column.name for column in table.columns}
                for column in columns:
                    if not getattr(column, "by_line", False):
                        given = re.findall(r"(?<![A-Z])(?:N|AND|OR|MAX|MIN)\((\w+)", column.formula)
                        assert not own & set(given), (column.name, column.formula)


def test_tab_and_title_are_the_same_words(everything):
    for module in SHEETS:
        sheet = module.sheet(Choices())
        assert everything[sheet.title]["A1"].value == sheet.title
        assert sheet.sentence.endswith(".")


def test_typed_and_computed_cells_are_told_apart_without_colour(everything):
    for name in (styles.TYPED, styles.CELL):
        (style,) = (one for one in everything._named_styles if one.name == name)
        assert style.border.left.style
    for title, address, _ in every_formula(everything):
        assert everything[title][address].style not in (styles.TYPED, styles.CELL), address


def test_single_computed_cells_are_guarded_as_arrays_are(everything):
    for module in SHEETS:
        sheet = module.sheet(Choices())
        single = [
            line.name
            for block in sheet.blocks
            if isinstance(block, Lines)
            for line in block.lines
            if line.formula
        ]
        refusing = [
            rule
            for rule in everything[sheet.title].data_validations.dataValidation
            if rule.type == "custom" and rule.formula1 == "FALSE" and rule.error
        ]
        for name in single:
            cell = everything.defined_names[name].attr_text.rpartition("!")[2].replace("$", "")
            assert any(cell in rule.sqref for rule in refusing), name


def test_every_column_of_a_table_has_a_heading(everything):
    for module in SHEETS:
        for block in module.sheet(Choices()).blocks:
            if isinstance(block, Table):
                for column in block.columns:
                    assert isinstance(column, Column)
                    assert column.heading, column.name


def test_names_follow_a_layout_mark(everything):
    assert everything.defined_names[words.LAYOUT_NAME].attr_text == str(words.LAYOUT_VERSION)


def test_a_share_is_drawn_as_a_bar_behind_its_number():
    """From nothing to the whole: a bar as wide as its cell is all of it."""
    book = blank_book(Choices())
    rules = book[words.CALIBRATION].conditional_formatting
    [(cells, [rule])] = [(str(one.sqref), one.rules) for one in rules]
    area = book.defined_names["share_part"].attr_text
    assert area.replace("$", "").endswith(f"!{cells}")
    assert [(end.type, end.val) for end in rule.dataBar.cfvo] == [("num", 0), ("num", 1)]
    assert rule.dataBar.showValue


def test_type_is_as_large_as_a_sheet_asks():
    layout = Layout()
    layout.add(Sheet("Wall", "", "lead", (Text("a note", styles.NOTE),), least=10))
    layout.add(Sheet("Desk", "", "lead", (Text("a note", styles.NOTE),)))
    book = written(layout)
    assert [book[title]["A3"].font.size for title in ("Wall", "Desk")] == [10, 9]
    assert book["Wall"]["A3"].font.color.rgb == book["Desk"]["A3"].font.color.rgb
