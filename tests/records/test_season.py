"""A season starts with what stands at the end of the last: no batch, no reading."""

import datetime
import io
from pathlib import Path

import openpyxl
import pytest

from tests.helpers import column, run
from xlfuncs.files.problems import Source
from xlfuncs.hosts import embedded
from xlfuncs.records import season
from xlfuncs.science.beer import MODEL_U
from xlfuncs.workbook import build, reader, words
from xlfuncs.workbook.kit.write import type_into
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 17)
CHOICES = Choices(rows=80, example=True, instruments=7, checks=62)
CHECKED = ("instrument", "date", "as", "shown_1", "shown_2", "known_2", "note")


def values(source):
    return embedded.calculate(source, TODAY).values


@pytest.fixture(scope="module")
def last():
    book = build.build(CHOICES)
    type_into(book, "set_source", words.OWN)
    type_into(book, "set_beer_source", words.OWN)
    type_into(book, "set_u_volume", 0.02)
    # After the last check one that shows nothing, and the field refractometer put right.
    for line, note in ((12, "looked at"), (13, None), (14, None)):
        type_into(book, "check_instrument", "Field refractometer", line)
        type_into(book, "check_date", datetime.datetime(2026, 3, 12 + line - 12), line)
        type_into(book, "check_note", note, line)
    type_into(book, "check_shown_1", 0.3, 13)
    type_into(book, "check_date", datetime.datetime(2026, 3, 14), 13)
    type_into(book, "check_shown_1", 0.0, 14)
    type_into(book, "check_as", words.AS_LEFT, 14)
    return Source(Path("last.xlsx"), build.to_bytes(book))


@pytest.fixture(scope="module")
def before(last):
    return reader.read(last, values(last))


@pytest.fixture(scope="module")
def started(before):
    return season.started(before, CHOICES, rows=40, checks=60, plain=False)


@pytest.fixture(scope="module")
def after(started):
    source = Source(Path("next.xlsx"), started.data)
    return reader.read(source, values(source))


def test_setup_and_instruments_come_along_and_nothing_else(before, after):
    for name in ("brewery", "kettle_size", "boil_off", "set_minutes", "set_u_volume"):
        assert after.cell(name) == before.cell(name) is not None
    for key in ("name", "identity", "kind", "division", "tolerated", "interval"):
        assert after.column(f"inst_{key}")[:4] == before.column(f"inst_{key}")[:4]
    assert after.cell("as_of") is None
    for name in ("batch_name", "log_date", "log_reading", "log_batch"):
        assert set(after.column(name)) == {None}
    assert len(after.column("log_date")) == 40
    assert len(after.column("inst_name")) == 7


def test_the_check_in_force_of_each_instrument_comes_along(after):
    lines = [tuple(line.values()) for line in after.table("check", *CHECKED) if line["instrument"]]
    day = datetime.datetime
    assert lines == [
        ("Glass hydrometer", day(2025, 9, 6), None, 1.0005, 1.0405, 1.04, "as received"),
        ("Bench refractometer", day(2026, 3, 7), None, 0.1, 10.1, 10, None),
        ("Tank floater", day(2026, 3, 7), None, 1.002, None, None, "in a jar of water"),
        ("Field refractometer", day(2026, 3, 14), None, 0.3, None, None, None),
        ("Field refractometer", day(2026, 3, 14), words.AS_LEFT, 0, None, None, None),
    ]


def test_every_correction_is_the_one_that_was_in_force(before, after):
    for what in ("offset", "u", "slope", "date"):
        assert after.column(f"state_{what}")[:4] == before.column(f"state_{what}")[:4]


@pytest.fixture(scope="module")
def comment(started):
    """The comment of a cell of the new workbook."""
    book = openpyxl.load_workbook(io.BytesIO(started.data))
    return lambda title, cell: book[title][cell].comment.text


def test_the_own_factor_is_typed_and_says_where_it_comes_from(before, after, comment):
    factor, u = before.cell("own_wort_factor"), before.cell("own_u_wort_factor")
    assert after.cell("wort_factor") == pytest.approx(factor, abs=5e-5)
    assert after.cell("u_wort_factor") == pytest.approx(u, abs=5e-5)
    assert (after.cell("set_source"), after.cell("set_beer_source")) == ("common", "common")
    title, cell = after.place("set_wort_factor")
    pairs = before.cell("factor_worts_ok")
    said = comment(title, cell)
    assert said.startswith(f"Your own factor: from {pairs:g} pairs of wort in last.xlsx;")


def test_the_own_factors_for_beer_are_typed_with_their_doubts(before, after, started, comment):
    for name in ("wort_factor", "u_wort_factor", "alcohol_factor", "u_model"):
        was, now = before.cell(f"beer_{name}"), after.cell(f"beer_{name}")
        assert now == pytest.approx(was, abs=5e-5)
        if name != "u_model":
            assert after.cell(f"set_beer_{name}") == now
    assert after.cell("set_beer_u_model") == pytest.approx(before.cell("own_model_error"), abs=5e-6)
    assert before.cell("factors_in_use") == words.OWN
    assert after.cell("factors_in_use") == words.TYPED
    pairs = before.cell("factor_beers_ok")
    for name in ("wort_factor", "alcohol_factor", "u_model"):
        title, cell = after.place(f"set_beer_{name}")
        assert f"rom {pairs:g} pairs of beer in last.xlsx" in comment(title, cell)
    [note] = [note for note in started.notes if "the factors for beer" in note]
    assert f"come from {pairs:g} pairs of last.xlsx" in note


def test_a_season_that_used_the_common_factors_hands_on_how_far_they_were_off():
    choices = Choices(rows=70, example=True)
    book = build.build(choices)
    type_into(book, "set_beer_alcohol_factor", 0.8)
    last = Source(Path("last.xlsx"), build.to_bytes(book))
    before = reader.read(last, values(last))
    made = season.started(before, choices, rows=20, checks=60, plain=True)
    source = Source(Path("next.xlsx"), made.data)
    after = reader.read(source, values(source))
    assert after.cell("set_beer_wort_factor") is None
    assert after.cell("set_beer_alcohol_factor") == 0.8
    assert after.cell("beer_u_model") == pytest.approx(before.cell("beer_u_model"), abs=5e-6)
    assert before.cell("own_model_error") > MODEL_U
    assert any("which it did not use" in note for note in made.notes)


def test_the_command_starts_from_either_edition(tmp_path):
    last, out = tmp_path / "last.xlsx", tmp_path / "next.xlsx"
    first = Path(__file__).with_name("first_edition.xlsx")
    last.write_bytes(first.read_bytes())
    assert "choose one" in run("new", out, "--from", last, "--example", status=2)
    assert "is the last season's workbook itself" in run(
        "new", last, "--from", last, "--force", status=2
    )
    assert f"Wrote {out}" in run("new", out, "--from", last)
    assert column(out, "state_name")[0] == "Field refractometer"
    assert last.read_bytes() == first.read_bytes()
