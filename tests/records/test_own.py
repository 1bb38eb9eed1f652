"""What a user put into a workbook of today comes along, and follows what it refers to."""

import io

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule

from tests.records import own
from xlfuncs.files import package
from xlfuncs.files.problems import Source
from xlfuncs.hosts import embedded
from xlfuncs.records.moves import CannotFollow, Moves
from xlfuncs.records.upgrade import upgraded
from xlfuncs.workbook import build
from xlfuncs.workbook.kit.place import Area
from xlfuncs.workbook.words import Choices


@pytest.fixture(scope="module")
def old():
    book = build.build(Choices(rows=80, example=True))
    own.put_in(book, "P", 8)
    book["Log"]["G90"] = "below"
    book["Log"]["B7"].comment = Comment("of Batches", "the brewer")
    book["Setup"]["C40"] = "a note below"
    book["Setup"].merge_cells("C40:E40")
    book["Setup"]["C40"].hyperlink = "https://example.org/notes"
    book["Log"].conditional_formatting.add("E8:E20", FormulaRule(formula=["E8>20"]))
    book["Log"]["G12"] = 1.099
    book["Hops & malt"]["B6"] = "=SUM(log_reading)+[1]Other!A1"
    book["Hops & malt"]["B7"] = "=SUM(Log!E:E)"
    book["Hops & malt"]["B8"] = "=shed*SUM(Log!E8:E87)"
    book.create_sheet("Empty").sheet_state = "hidden"
    return own.picture(build.to_bytes(book), "Runoff", 14, 3)


@pytest.fixture(scope="module")
def new(old, tmp_path_factory):
    path = tmp_path_factory.mktemp("old") / "old.xlsx"
    path.write_bytes(old)
    return upgraded(path, rows=120)


@pytest.fixture(scope="module")
def book(new, tmp_path_factory):
    path = tmp_path_factory.mktemp("new") / "new.xlsx"
    path.write_bytes(new.data)
    return openpyxl.load_workbook(path)


def test_cells_stay_on_their_line(book):
    log = book["Log"]
    assert [log[cell].value for cell in ("P6", "P8", "P10", "P11")] == [
        "Weather", "fog", "rain", "=E11*2",
    ]  # fmt: skip
    assert (log["P10"].font.b, log["P10"].font.color.rgb) == (True, "FF00AA00")
    assert log["E8"].comment.text == "read twice"
    assert book["Setup"]["C40"].value == "a note below"
    assert book["Setup"]["C40"].hyperlink.target == "https://example.org/notes"
    assert "C40:E40" in book["Setup"].merged_cells


def test_what_stood_below_a_table_stands_below_it(book):
    assert book["Log"]["G130"].value == "below"
    assert book["Log"]["B7"].comment.text == "of Batches"


def test_what_does_not_come_along_is_listed(new):
    said = {lost.cell: f"{lost.value} {lost.why}" for lost in new.lost if lost.sheet == "Log"}
    assert said.keys() == {"E8:E20", "G12"}
    assert "conditional format" in said["E8:E20"]
    assert said["G12"].startswith("1.099 typed over a cell that computes")


def test_formulas_follow_and_what_cannot_is_listed_with_its_value(book, new):
    sheet = book["Hops & malt"]
    assert sheet["B3"].value == "='Log'!E8"
    assert sheet["B8"].value == "=shed*SUM('Log'!E8:E127)"
    lost = {lost.cell: str(lost.why) for lost in new.lost if lost.sheet == "Hops & malt"}
    assert lost.keys() == {"B6"}
    assert "[1]Other!A1 lies in another file" in lost["B6"]


def test_sheets_keep_their_looks_rules_and_pictures(book, new):
    sheet = book["Hops & malt"]
    assert sheet["B1"].number_format == '0.000 "kg"'
    assert sheet["B1"].fill.fgColor.rgb == "FFFFEE00"
    assert sheet["A1"].comment.text == "counted in March"
    (rules,) = sheet.conditional_formatting
    (rule,) = rules.rules
    assert (rule.formula, rule.dxf.font.color.rgb) == (["B1>10"], "FFFF0000")
    (chart,) = sheet._charts
    assert chart.series[0].val.numRef.f == "'Log'!$E$8:$E$17"
    assert book["Empty"].sheet_state == "hidden"
    assert book.defined_names["shed"].attr_text == "'Hops & malt'!$B$1"
    parts = package.unpacked(new.data)
    (drawing,) = [name for name, content in parts.items() if b"The mash tun" in content]
    _, sheets = package.sheet_parts(parts)
    assert drawing in {one.target for one in package.relations(parts, sheets["Runoff"])}
    (image,) = [one for one in package.relations(parts, drawing) if one.what == "image"]
    assert parts[image.target] == own.PICTURE


def test_our_own_charts_are_there_once(book):
    charts = {sheet.title: len(sheet._charts) for sheet in book.worksheets if sheet._charts}
    fresh = build.build(Choices(rows=20))
    expected = {sheet.title: len(sheet._charts) for sheet in fresh.worksheets if sheet._charts}
    assert charts == {**expected, "Hops & malt": 1}


def test_all_of_it_computes(new, tmp_path):
    calculation = embedded.calculate(Source(tmp_path / "new.xlsx", new.data))
    assert calculation.failures == []
    assert calculation.values["Hops & malt", "B2"] == 70
    reading = openpyxl.load_workbook(io.BytesIO(new.data))["Log"]["E11"].value
    assert calculation.values["Log", "P11"] == 2 * reading


def moves(**more):
    was, now = Area("Log", 6, 5, 40), Area("Log", 8, 6, 200)
    return Moves([(was, now)], {"Log": "Log"}, {"Mine": "Mine 2"}, {"reading": "log_reading"},
                 frozenset({"plato"}), alike=False, **more)  # fmt: skip


@pytest.mark.parametrize(
    ("formula", "now"),
    [
        ("=Log!E6", "='Log'!F8"),
        ("=SUM(Log!$E$6:$E$45)", "=SUM('Log'!$F$8:$F$207)"),
        ("=SUM(Log!E6:E9)", "=SUM('Log'!F8:F11)"),
        ("=Mine!A1+A1+reading", "=A1+A1+log_reading"),
        ('="Log!E6"&1.5%', '="Log!E6"&1.5%'),
        ("=Mine!A:A", "=A:A"),
    ],
)
def test_references_follow_their_cells(formula, now):
    assert moves().formula(formula, "Mine", "Mine 2") == now


@pytest.mark.parametrize(
    ("formula", "why"),
    [
        ("=Log!A1", "Log!A1 is not there any more"),
        ("=plato+1", "plato is a name of the old sheets that is no more"),
        ("=Pairs!A1", "there is no such sheet"),
        ("=Log!#REF!+1", "it had lost what it refers to already"),
        ("=SUM(Log!D6:E7)", "cells that do not stand together any more"),
        ("=Log!A:A", "other columns and lines stand there now"),
    ],
)
def test_what_is_not_there_any_more_is_said(formula, why):
    with pytest.raises(CannotFollow, match=why):
        moves().formula(formula, "Mine", "Mine 2")
