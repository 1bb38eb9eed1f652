"""What the report says: each part as plain data, and as text; never a formula, never an object."""

from __future__ import annotations

import json
import re
from pathlib import Path

import openpyxl
import pytest

from tests.helpers import cells_of, run
from tests.workbook.conftest import (
    BATCH,
    FIELD,
    as_file,
    day,
    reading,
    water_check,
)
from xlfuncs import terminal
from xlfuncs.report import content
from xlfuncs.workbook.words import Choices

DOCUMENT = Path(__file__).parents[2] / "docs/report.md"


def written(tmp_path, **tables):
    """A filled workbook as a file; nothing in it is computed yet."""
    path, check = tmp_path / "log.xlsx", water_check(FIELD, day(2026, 3, 1), 0.1)
    choices = Choices(rows=20, checks=20)
    path.write_bytes(as_file(choices, inst=[FIELD], check=[check], **tables))
    return path


def values(data):
    """Every value in a report."""
    if isinstance(data, dict):
        data = list(data.values())
    if not isinstance(data, list):
        return [data]
    return [value for one in data for value in values(one)]


def test_lines_that_say_nothing_are_left_out(tmp_path):
    path = written(tmp_path, batch=[BATCH], log=[reading(FIELD, 12), {}, reading(FIELD, 13)])
    data = json.loads(run("report", path, "--json"))
    assert [line["line"] for line in data["readings"]] == [1, 3]
    assert [line["name"] for line in data["instruments"]] == ["field"]
    assert [line["batch"] for line in data["batches"]] == ["1"]
    assert data["readings"][0]["date"] == "2026-03-07 12:00"
    assert data["instruments"][0]["date"] == "2026-03-01"


def test_an_empty_workbook_gives_a_report(tmp_path):
    data = json.loads(run("report", written(tmp_path), "--json"))
    assert data["readings"] == data["batches"] == []
    assert data["batch"]["name"] is None
    assert "none yet" in run("report", tmp_path / "log.xlsx")


def test_a_formula_that_nobody_knows_is_no_value(tmp_path):
    """It is named, its line has no gravity, and the others have theirs."""
    log = [reading(FIELD, "=NOSUCH(1)"), reading(FIELD, 12)]
    path = written(tmp_path, batch=[BATCH], log=log)
    title, address = cells_of(path, "log_reading")[0]
    assert f"{title}!{address}" in run("report", path, status=1)
    book = openpyxl.load_workbook(path)
    book[title][address] = '=IF(1=1,"=NOSUCH(1)",2)'
    book.save(path)
    data = json.loads(run("report", path, "--json"))
    readings = {line["line"]: line for line in data["readings"]}
    assert readings[1]["gravity"].startswith("! ")
    assert readings[2]["gravity"] == pytest.approx(1.0465, abs=1e-3)


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("batch", "grain", "five"),
        ("batch", "potential", "80 %"),
        ("batch", "before_boil_gravity", "=1/0"),
        ("log", "reading", "=1/0"),
        ("log", "volume", "many"),
        ("log", "stage", True),
    ],
)
def test_whatever_stands_in_a_cell_the_report_is_plain_data(tmp_path, table, key, value):
    line = reading(FIELD, 12, volume=20, volume_temperature=20)
    tables = {"batch": [BATCH | {"grain": 5}], "log": [line]}
    tables[table] = [tables[table][0] | {key: value}]
    path = written(tmp_path, **tables)
    data = json.loads(run("report", path, "--json"))
    assert data["not_computed"] == []
    told = values(data)
    assert {type(one) for one in told} <= {str, int, float, bool, type(None)}
    assert not [one for one in told if isinstance(one, str) and re.match("=|<", one)]
    assert "openpyxl" not in run("report", path)


def test_a_workbook_whose_values_are_lost_is_computed_afresh(tmp_path):
    """Other programs save formulas without their values."""
    path = written(tmp_path, batch=[BATCH], log=[reading(FIELD, 12)])
    run("calculate", path)
    kept = json.loads(run("report", path, "--json"))
    openpyxl.load_workbook(path).save(path)
    assert json.loads(run("report", path, "--json")) == kept
    assert kept["readings"][0]["gravity"] == pytest.approx(1.0465, abs=1e-3)


def test_text_shows_numbers_as_their_cells_do(tmp_path):
    path = written(tmp_path, batch=[BATCH], log=[reading(FIELD, 12, volume=20.04)])
    text = run("report", path)
    [gravity] = re.findall(r"before boil +field +12(?:\.0)? +([\d.]+) ", text)
    assert re.fullmatch(r"1\.0\d\d\d", gravity)
    assert " 20.0 " in text
    assert "20.04" not in text


def documented():
    """Part of the report -> the keys that the document describes for it."""
    parts: dict[str, set[str]] = {"": set()}
    part = ""
    for line in DOCUMENT.read_text("utf-8").splitlines():
        if found := re.fullmatch(r"## `(\w+)`.*", line):
            part = found[1]
            parts[part] = set()
        elif line.startswith("| `"):
            parts[part] |= set(re.findall(r"`(\w+)`", line.split("|")[1]))
    return parts


def test_the_document_describes_every_key_and_no_other():
    found = documented()
    parts = list(content.parts())
    assert found.pop("") == {"file", "layout", "version", "state_on", "not_computed",
                             *(part.key for part in parts)}  # fmt: skip
    assert found == {
        part.key: set(part.cells) | ({"line"} if part.keep else set()) for part in parts
    }


@pytest.mark.parametrize("width", [80, 100])
def test_no_word_is_folded_in_a_narrow_terminal(tmp_path, monkeypatch, width):
    """Tables that are too wide are told line by line; whoever reads finds each word whole."""
    line = reading(FIELD, 12, volume=20, volume_temperature=20, note="out of the second tap")
    path = written(tmp_path, batch=[BATCH | {"name": "61 strong pale ale"}],
                   log=[line | {"batch": "61 strong pale ale"}])  # fmt: skip
    wide = run("report", path)
    monkeypatch.setattr(terminal.out, "_width", width)
    narrow = run("report", path)
    assert max(map(len, narrow.splitlines())) <= width
    cells = next(line.split() for line in wide.splitlines() if "2026-03-07 12:00" in line)
    assert len(cells) > 12
    assert set(cells) <= set(narrow.split())
    assert re.search(r"^1 +date: 2026-03-07 12:00   batch: 61 strong pale ale", narrow, re.M)
    assert "reading: 12.0" in narrow
