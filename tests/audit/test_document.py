"""The record that an audit leaves: what it opens with, all of it, the same bytes, text only."""

from __future__ import annotations

import io

import openpyxl
import pytest

from tests.audit import invented_year
from tests.audit.conftest import SHOWN, TEXTS
from tests.helpers import run as command
from tests.workbook.conftest import FIELD, TODAY, day, reading, water_check
from xlfuncs import __version__
from xlfuncs.audit import document, paper, run
from xlfuncs.cells.values import visible
from xlfuncs.workbook.words import Choices

SHEETS = ["Record", "Checks", "Readings", "Findings", "In doubt", "Pictures", "Signatures"]


@pytest.fixture(scope="module")
def months(year):
    """The record of twelve files."""
    return load(year[1])


def load(audited):
    return openpyxl.load_workbook(io.BytesIO(document.workbook(audited)))


def rows(book, title):
    """The lines of a table, each by its headings."""
    told = list(book[title].iter_rows(values_only=True))
    return [dict(zip(told[1], line, strict=True)) for line in told[2:]]


def text_of(sheet):
    return "\n".join(str(cell.value) for row in sheet.iter_rows() for cell in row
                     if cell.value is not None)  # fmt: skip


def test_it_opens_with_whose_readings_of_which_files_it_is(months, year):
    found = year[1]
    text = text_of(months["Record"])
    assert months.sheetnames == SHEETS
    assert invented_year.BREWERY in text
    assert "2024-" in text  # the date that was mistyped is in the period too
    assert "660; workbooks: 12" in text
    assert f"with xlfuncs {__version__}" in text
    for file in found.files:
        assert file.file in text
        assert file.sha256 in text
    for tool in invented_year.INSTRUMENTS:
        assert f"{tool['name']}, {tool['identity']}" in text
    assert "joined by its mark over 12 files" in text
    assert "no certificate" in text


def test_every_check_stands_in_it(months):
    lines = rows(months, "Checks")
    assert len(lines) == len(invented_year.checks())
    bad = [line for line in lines if line["verdict"] == "outside"]
    assert [line["as found, as left"] for line in bad] == ["as found"]
    assert bad[0]["correction (shown less true)"] == pytest.approx(0.5, abs=0.02)
    assert bad[0]["± of it"] == pytest.approx(0.2, abs=0.01)
    assert {line["who"] for line in lines} == {"Ada"}
    assert bad[0]["where"].startswith("File 8 · Calibration ")


def test_every_reading_stands_in_it_with_its_check(months, year):
    lines = rows(months, "Readings")
    assert len(lines) == 660
    found = {f"File {number} · Log {one.cell.address}": one
             for number, record in enumerate(year[1].year.records, 1)
             for one in record.readings}  # fmt: skip
    for line in lines:
        one = found[line["where"]]
        assert line["SG"] == pytest.approx(one.sg)
        assert line["±"] == pytest.approx(2 * one.u)
        if one.check is None:
            assert line["check in force"] == "none"
        else:
            file = int(one.check.cell.file[-7:-5])
            assert line["check in force"].endswith(f"file {file}")
            assert line["correction of that check"] == pytest.approx(one.check.offset)
    dated = [line["when"] for line in lines]
    assert dated == sorted(dated)


def test_every_finding_and_every_doubt_stands_in_it(months, year):
    findings = [one for file in year[1].files for one in file.findings]
    lines = rows(months, "Findings")
    assert len(lines) == len(findings)
    assert {line["what is wrong"] for line in lines} == {one.reason for one in findings}
    assert lines[0]["severity"] == "severe"
    doubts = [doubt for one in findings for doubt in one.in_doubt]
    shown = rows(months, "In doubt")
    assert len(shown) == len(doubts) > 50
    assert [line["SG with this check"] for line in shown] == pytest.approx(
        [doubt.corrected_sg for doubt in doubts]
    )


def test_each_instrument_with_a_check_has_its_picture(months):
    charts = months["Pictures"]._charts
    assert len(charts) == 4
    for chart in charts:
        y = chart.series[0].yVal.numRef.f
        sheet, _, cells = y.replace("'", "").partition("!")
        values = [cell.value for line in months[sheet][cells.replace("$", "")]
                  for cell in line] if ":" in cells else [1]  # fmt: skip
        assert all(isinstance(value, (int, float)) for value in values)
    assert "accepted by" in text_of(months["Signatures"])


def test_two_runs_give_the_same_bytes(filled, tmp_path):
    path = filled(inst=[FIELD], check=[water_check(FIELD, day(2026, 3, 1), 0.1)],
                  log=[reading(FIELD, 12)])  # fmt: skip
    for name in ("one.xlsx", "other.xlsx"):
        command("audit", path, "--xlsx", tmp_path / name, "--on", "2026-03-14")
    one, other = ((tmp_path / name).read_bytes() for name in ("one.xlsx", "other.xlsx"))
    assert one == other
    command("audit", path, "--xlsx", tmp_path / "later.xlsx", "--on", "2026-03-15")
    assert (tmp_path / "later.xlsx").read_bytes() != one


def test_settings_are_told_where_the_files_differ(tmp_path, year):
    assert "wort factor" not in text_of(load(year[1])["Record"]).partition("Files\n")[2]
    for name, cells in (("one", {}), ("other", {"set_wort_factor": 1.02, "set_gravity": "P"})):
        data = invented_year.workbook(Choices(rows=20), cells, inst=[FIELD])
        (tmp_path / f"{name}.xlsx").write_bytes(data)
    text = text_of(load(run.audit_all(sorted(tmp_path.glob("*.xlsx")), TODAY))["Record"])
    assert "SG, °C; wort factor 1.04, for beer 1.04; on target within ±0.002" in text
    assert "Plato, °C; wort factor 1.02, for beer 1.02; on target within ±0.5" in text


def test_a_record_that_exists_is_kept(filled, tmp_path):
    path = filled(inst=[FIELD])
    (tmp_path / "record.xlsx").write_bytes(b"older")
    said = command("audit", path, "--xlsx", tmp_path / "record.xlsx", status=2)
    assert "exists already" in said
    assert (tmp_path / "record.xlsx").read_bytes() == b"older"


def test_it_holds_text_and_numbers_only(steering):
    book = openpyxl.load_workbook(io.BytesIO(document.workbook(run.audit_all([steering], TODAY))))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row
             if cell.value is not None]  # fmt: skip
    assert {cell.data_type for cell in cells} == {"s", "n", "d"}
    assert all(cell.quotePrefix for cell in cells if str(cell.value).startswith(("=", "@")))
    text = "\n".join(str(cell.value) for cell in cells)
    assert visible(text) == text
    for batch in TEXTS[:4]:
        assert [cell for cell in cells if cell.value == batch]
    assert SHOWN in text


def test_no_text_is_cut(filled):
    """A row is as high as its longest text needs; what is higher than a row goes on in the next."""
    batches = [f"{i} oatmeal stout with a long name and cherries" for i in range(20)]
    path = filled(inst=[FIELD], batch=[{"name": batch} for batch in batches],
                  check=[water_check(FIELD, day(2026, 3, 1), 0.1),
                         water_check(FIELD, day(2026, 3, 9), 0.9)],
                  log=[reading(FIELD, 12, batch=batch) for batch in batches])  # fmt: skip
    found = run.audit_all([path], TODAY)
    [long] = [one for one in found.files[0].findings if one.code == "outside-tolerance"]
    book = load(found)
    sheet = book["Findings"]
    [cell] = [cell for cell in sheet["D"] if cell.value == long.reason]
    assert len(long.reason) > 900
    assert cell.alignment.wrap_text
    assert sheet.row_dimensions[cell.row].height > 8 * 10


def test_a_text_higher_than_a_row_goes_on_in_the_next():
    book = paper.Book("foot")
    page = book.page("A", [paper.Column("a", 10), paper.Column("b", 10)])
    page.row([" ".join(["word"] * 100), "short"])
    page.finish()
    written = io.BytesIO()
    book.book.save(written)
    sheet = openpyxl.load_workbook(written)["A"]
    told = [line[0] for line in sheet.iter_rows(min_row=3, values_only=True)]
    assert len(told) > 1
    assert " ".join(told).split() == ["word"] * 100
    assert max(row.height for row in sheet.row_dimensions.values()) <= 409


def test_a_number_that_is_wider_than_its_column_is_told_in_words():
    book = paper.Book("foot")
    page = book.page("A", [paper.Column("a", 8, "0.0000")])
    for value in (1.05, 123456.7, 1e300):
        page.row([value])
    page.finish()
    written = io.BytesIO()
    book.book.save(written)
    told = [line[0] for line in openpyxl.load_workbook(written)["A"].iter_rows(min_row=3,
            values_only=True)]  # fmt: skip
    assert told == [1.05, "123457", "1e+300"]


def test_the_paper_can_be_read(months):
    """A4 across, one page wide at full size, 8 points or more, headings on each page."""
    for sheet in months:
        assert int(sheet.page_setup.paperSize) == 9
        assert sheet.page_setup.orientation == "landscape"
        assert sum(one.width for one in sheet.column_dimensions.values()) <= paper.WIDEST
        cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
        assert min(cell.font.sz for cell in cells) >= 8
        assert sheet.oddFooter.right.text == "&P / &N"
    for title in SHEETS[1:5]:
        assert months[title].print_title_rows in ("1:2", "$1:$2")
