"""A workbook in the sheets of today says what it said before, and loses nothing of its user's."""

import datetime
import functools
from pathlib import Path

import openpyxl
import pytest

from tests.helpers import cells_of
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.hosts import embedded
from xlfuncs.records import old as olds
from xlfuncs.records.record import of_today
from xlfuncs.records.upgrade import upgraded
from xlfuncs.report import content
from xlfuncs.workbook import build, reader
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 14)


@functools.cache
def said_of(data):
    source = Source(Path("book.xlsx"), data)
    book = embedded.opened(source)
    calculation = embedded.calculate_book(book, TODAY)
    assert calculation.failures == []
    return shown(content.gather(reader.read(source, calculation.values, book))) | {"file": ""}


def shown(data):
    """A report with ten digits of its numbers: a time may be another in its last bit."""
    if isinstance(data, dict):
        return {key: shown(value) for key, value in data.items()}
    if isinstance(data, list):
        return [shown(value) for value in data]
    return float(f"{data:.10g}") if isinstance(data, float) else data


def said(source):
    """What the report says of a workbook, but for the file's name."""
    return said_of(source.data)


@functools.cache
def built(choices):
    """A workbook that nobody changes."""
    return build.to_bytes(build.build(choices))


@pytest.fixture
def filled(tmp_path):
    """Build a workbook, let a test change it, and write it."""

    def make(change=None, **more):
        choices = Choices(**{"rows": 80, "example": True, **more})
        path = tmp_path / "old.xlsx"
        if change is None:
            path.write_bytes(built(choices))
        else:
            book = build.build(choices)
            change(book)
            path.write_bytes(build.to_bytes(book))
        return path

    return make


def in_file(path, new, name="new.xlsx"):
    """The new workbook as a file beside the old one."""
    place = path.with_name(name)
    place.write_bytes(new.data)
    return Source(place, new.data)


@pytest.mark.parametrize(
    "choices",
    [
        {},
        {"units": "us", "gravity": "plato"},
        {"instruments": 9, "checks": 70, "rows": 100},
        {"plain": True, "rows": 70, "checks": 20},
    ],
)
def test_the_report_says_the_same(filled, choices):
    path = filled(**choices)
    new = upgraded(path)
    assert (new.lost, new.notes) == ([], [])
    assert said(in_file(path, new)) == said(Source(path, path.read_bytes()))


def test_only_what_is_typed_is_an_entry(filled):
    record = of_today(olds.read(filled()))
    lines = {table: record.filled(table) for table in record.tables}
    assert lines == {"inst": 4, "check": 12, "batch": 9, "log": 70, "part": 3}
    assert len(record.tables["check"]) == 60


def test_tables_are_lengthened_as_asked(filled):
    path = filled()
    new = upgraded(path, rows=176, checks=80, instruments=12)
    lengthened = in_file(path, new).path
    lines = {
        name: len(cells_of(lengthened, name))
        for name in ("log_date", "check_date", "inst_name", "batch_name")
    }
    assert lines == {"log_date": 176, "check_date": 80, "inst_name": 12, "batch_name": 22}
    was, now = said(Source(path, path.read_bytes())), said(in_file(path, new))
    assert {key: now[key] for key in now if now[key] != was[key]} == {}


def setup_cell(book, name):
    """A cell of Setup by its name."""
    return book["Setup"][book.defined_names[name].attr_text.split("!")[1].replace("$", "")]


@pytest.fixture(scope="module")
def handled(tmp_path_factory):
    """What hands do to one workbook: a line below the frame, a text that begins with =, a setting
    left blank, a number typed over a cell that computes."""
    book = build.build(Choices(rows=80, example=True))
    log = book["Log"]
    log["B88"], log["C88"], log["E88"], log["F88"] = "12 oat pale", "mash", 17, 20
    log["N8"].value = "=1+1"
    log["N8"].data_type = "s"
    setup_cell(book, "set_source").value = None
    setup_cell(book, "decides").value = 0.5
    path = tmp_path_factory.mktemp("handled") / "old.xlsx"
    path.write_bytes(build.to_bytes(book))
    return path, upgraded(path)


def test_what_stands_below_the_frame_comes_into_the_table(handled):
    path, new = handled
    assert (
        "Lines below the frame are not read"
        in said(Source(path, path.read_bytes()))["last"]["notice"]
    )
    readings = said(in_file(path, new))["readings"]
    assert readings[-1]["line"] == 81
    assert readings[-1]["reading"] == 17


def test_texts_stay_texts_and_blanks_stay_blank(handled):
    book = openpyxl.load_workbook(in_file(*handled).path)
    assert (book["Log"]["N8"].value, book["Log"]["N8"].data_type) == ("=1+1", "s")
    assert setup_cell(book, "set_source").value is None


def test_what_was_typed_over_a_cell_that_computes_is_listed(handled):
    (lost,) = handled[1].lost
    assert (lost.sheet, lost.value) == ("Setup", "0.5")
    assert lost.why == "typed over a cell that computes, which computes again"


def test_a_workbook_that_another_program_cut_is_made_whole(filled):
    """Array formulas of the first cell alone; the values below are no entries."""

    def cut(book):
        sheet = book["Log"]
        for column in ("G", "H", "O"):
            first = sheet[f"{column}8"]
            first.value.ref = f"{column}8:{column}8"
            for row in range(9, 88):
                sheet[f"{column}{row}"] = 1.05

    path = filled(cut)
    new = upgraded(path)
    assert new.lost == []
    calculation = embedded.calculate(in_file(path, new), TODAY)
    assert calculation.failures == []
    assert calculation.values["Log", "G9"] != 1.05


def test_a_workbook_of_tomorrow_and_one_of_others_are_refused(filled):
    def tomorrow(book):
        book.defined_names["gravity_log_layout"].attr_text = "9"

    path = filled(tomorrow, rows=20)
    with pytest.raises(WorkbookProblem, match="layout 9, which is newer than this program"):
        upgraded(path)
    other = openpyxl.Workbook()
    other.save(path)
    with pytest.raises(WorkbookProblem, match="it lacks the layout mark"):
        upgraded(path)
