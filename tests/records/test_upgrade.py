"""A workbook in the sheets of today says what it said before, and loses nothing of its user's."""

import datetime

import openpyxl
import pytest

from xlfuncs.files.problems import Source
from xlfuncs.hosts import embedded
from xlfuncs.records.upgrade import upgraded
from xlfuncs.report import content
from xlfuncs.workbook import build, reader
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 14)


def said(source):
    """What the report says of a workbook, but for the file's name."""
    calculation = embedded.calculate(source, TODAY)
    assert calculation.failures == []
    return content.gather(reader.read(source.path, calculation.values)) | {"file": ""}


@pytest.fixture
def filled(tmp_path):
    """Build a workbook, let a test change it, and write it."""

    def make(change=lambda book: None, **choices):
        book = build.build(Choices(**{"rows": 80, "example": True, **choices}))
        change(book)
        path = tmp_path / "old.xlsx"
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
        {"plain": True},
    ],
)
def test_the_report_says_the_same(filled, choices):
    path = filled(**choices)
    new = upgraded(path)
    assert (new.lost, new.notes) == ([], [])
    assert said(in_file(path, new)) == said(Source(path, path.read_bytes()))


def test_tables_are_lengthened_as_asked(filled):
    path = filled()
    new = upgraded(path, rows=300, checks=80, instruments=12)
    names = openpyxl.load_workbook(in_file(path, new).path).defined_names
    rows = {
        name: names[name].attr_text.replace("$", "").split("!")[1].split(":")
        for name in ("log_date", "check_date", "inst_name", "batch_name")
    }
    lines = {name: int(b[1:]) - int(a[1:]) + 1 for name, (a, b) in rows.items()}
    assert lines == {"log_date": 300, "check_date": 80, "inst_name": 12, "batch_name": 37}
    was, now = said(Source(path, path.read_bytes())), said(in_file(path, new))
    assert {key: now[key] for key in now if now[key] != was[key]} == {}


def test_what_stands_below_the_frame_comes_into_the_table(filled):
    def longer(book):
        log = book["Log"]
        log["B88"], log["C88"], log["E88"], log["F88"] = "12 oat pale", "mash", 17, 20

    path = filled(longer)
    assert (
        "Lines below the frame are not read"
        in said(Source(path, path.read_bytes()))["last"]["notice"]
    )
    new = upgraded(path)
    readings = said(in_file(path, new))["readings"]
    assert readings[-1]["line"] == 81
    assert readings[-1]["reading"] == 17


def test_texts_stay_texts_and_blanks_stay_blank(filled):
    def typed(book):
        book["Log"]["N8"].value = "=1+1"
        book["Log"]["N8"].data_type = "s"
        book["Setup"][book.defined_names["set_source"].attr_text.split("!")[1].replace("$", "")] = (
            None
        )

    path = filled(typed)
    book = openpyxl.load_workbook(in_file(path, upgraded(path)).path)
    assert (book["Log"]["N8"].value, book["Log"]["N8"].data_type) == ("=1+1", "s")
    assert book["Setup"][book.defined_names["set_source"].attr_text.split("!")[1]].value is None
