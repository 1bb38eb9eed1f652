"""The command line, from a new file to a report, and every file that is not what it should be."""

from __future__ import annotations

import datetime
import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pytest

from tests.helpers import cells_of, column, parts_of, rewrite, run
from xlfuncs.cells.values import date_serial
from xlfuncs.files import problems
from xlfuncs.functions import CATALOGUE
from xlfuncs.report import content
from xlfuncs.workbook import build, words
from xlfuncs.workbook.words import Choices

REPOSITORY = Path(__file__).parents[1]


def test_as_a_process_of_its_own():
    done = subprocess.run(
        [sys.executable, "-m", "xlfuncs", "report", "nowhere.xlsx"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith("xlfuncs: nowhere.xlsx does not exist")


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    path = tmp_path_factory.mktemp("cli") / "example.xlsx"
    run("new", path, "--example")
    return path


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The same with the first lines of its log."""
    path = tmp_path_factory.mktemp("cli") / "small.xlsx"
    run("new", path, "--example", "--rows", 20)
    return path


def test_new_twice_gives_the_same_bytes(tmp_path, example):
    run("new", tmp_path / "again.xlsx", "--example")
    assert same((tmp_path / "again.xlsx").read_bytes(), example.read_bytes())


def parts(path):
    """Parts of a workbook: their texts without stored numbers, and those numbers.

    The day on which its values were stored, of which Start tells, is no part of the build.
    """
    saved = re.compile(r"\bon \d{4}-\d\d-\d\d\b")
    with zipfile.ZipFile(path) as archive:
        texts = {n: saved.sub("on DAY", archive.read(n).decode()) for n in archive.namelist()}
    number = re.compile(r"<v>(-?[0-9.]+(?:e[-+]?[0-9]+)?)</v>", re.IGNORECASE)
    return (
        {name: number.sub("<v/>", text) for name, text in texts.items()},
        {name: [float(found) for found in number.findall(text)] for name, text in texts.items()},
    )


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("brewday.xlsx", []),
        ("brewday-example.xlsx", ["--example"]),
        ("brewday-plain.xlsx", ["--plain"]),
        ("brewday-plain-example.xlsx", ["--plain", "--example"]),
    ],
)
def test_downloads_are_as_a_fresh_build_makes_them(tmp_path, example, name, options):
    """Part by part; numbers to 1e-7, since the last bits of a fit hang on the processor.

    What TODAY() gives is that of the day on which each was made.
    """
    path = example if options == ["--example"] else tmp_path / name
    if path != example:
        run("new", path, *options)
    fresh, kept = parts(path), parts(REPOSITORY / "workbooks" / name)
    assert fresh[0] == kept[0]
    today = date_serial(datetime.date.today())
    for part, numbers in fresh[1].items():
        pairs = zip(numbers, kept[1][part], strict=True)
        for number, expected in ((new, old) for new, old in pairs if new != today):
            assert number == pytest.approx(expected, rel=1e-7, abs=1e-7), part


def stored(path, name, line=0):
    """What a cell of a named column holds for whoever opens the file without the functions."""
    return column(path, name)[line]


def type_in(path, name, value, out, line=0):
    """Type a value into a cell of a named column, and save the workbook elsewhere."""
    book = openpyxl.load_workbook(path)
    title, address = cells_of(path, name)[line]
    book[title][address] = value
    book.save(out)
    return title, address


def test_stored_values_show_without_any_program(example):
    assert stored(example, "log_gravity", 0) == pytest.approx(1.0371, abs=1e-4)
    assert stored(example, "log_verdict", 1) == "on target"


def test_calculating_what_is_calculated_changes_nothing(tmp_path, small):
    run("calculate", small, "-o", tmp_path / "out.xlsx")
    assert same((tmp_path / "out.xlsx").read_bytes(), small.read_bytes())


def same(one, other):
    """Whether bytes are the same; to show where hundreds of thousands are not takes for ever."""
    return one == other


def test_calculate_follows_an_entry(tmp_path, small):
    path = tmp_path / "mine.xlsx"
    type_in(small, "log_reading", 15.0, path)
    run("calculate", path)
    assert stored(path, "log_gravity") == pytest.approx(1.060, abs=1e-3)


def test_a_formula_that_cannot_be_computed_is_named_and_the_rest_is_written(tmp_path, small):
    path = tmp_path / "odd.xlsx"
    title, address = type_in(small, "log_note", '=WEBSERVICE("x")', path, line=1)
    assert f"{title}!{address}" in run("calculate", path, status=1)
    assert stored(path, "log_gravity") == pytest.approx(1.0371, abs=1e-4)


def test_report_in_words(example):
    text = run("report", example)
    for expected in ("Field refractometer", "too close to call", "2025-09-17 11:30", "1.0371"):
        assert expected in text
    for part in content.parts():
        assert part.title in text


def test_report_as_data(example):
    data = json.loads(run("report", example, "--json"))
    assert set(data) == {
        "file", "layout", "state_on", "version", "not_computed",
        *(part.key for part in content.parts()),
    }  # fmt: skip
    first = data["readings"][0]
    assert first["sg"] == pytest.approx(1.0371, abs=1e-4)
    assert first["date"] == "2025-09-17 11:30"
    assert data["not_computed"] == []


def test_functions_from_the_catalogue():
    listed = run("functions")
    assert all(name in listed for name in CATALOGUE)
    assert "wort_factor" in run("functions", "wort_sg")
    assert "WORT_SG" in run("functions", "WORT_SGX", status=2) + run("functions", "WORT", status=2)


def test_help_lists_the_commands_in_the_order_of_their_use():
    listed = re.findall(r"^  (\w+) ", run("--help").partition("Commands:")[2], re.MULTILINE)
    assert listed[:3] == ["new", "upgrade", "addin"]
    assert listed[-1] == "version"


def test_whoever_interrupts_gets_the_status_of_shells(monkeypatch):
    def interrupted(path):
        raise KeyboardInterrupt

    monkeypatch.setattr(problems, "read", interrupted)
    assert run("report", "brew.xlsx", status=130) == ""


# --- files that are not what they should be ------------------------------


def test_new_never_overwrites_unasked(tmp_path):
    path = tmp_path / "mine.xlsx"
    path.write_bytes(b"precious")
    assert "exists already" in run("new", path, status=2)
    assert path.read_bytes() == b"precious"
    run("new", path, "--force", "--rows", 20)
    assert path.read_bytes() != b"precious"


def test_calculate_never_overwrites_another_file_unasked(tmp_path, small):
    out = tmp_path / "out.xlsx"
    out.write_bytes(b"precious")
    assert "exists already" in run("calculate", small, "-o", out, status=2)
    assert out.read_bytes() == b"precious"


def test_a_workbook_with_macros_stays_one(tmp_path, small):
    """A file whose ending belies its content is opened by no Excel."""
    mine = tmp_path / "mine.xlsm"
    mine.write_bytes(small.read_bytes())
    rewrite(
        mine,
        "[Content_Types].xml",
        lambda text: text.replace("officedocument.spreadsheetml.sheet.main", "MACROS").replace(
            "application/vnd.openxmlformats-MACROS",
            "application/vnd.ms-excel.sheet.macroEnabled.main",
        ),
    )
    assert "must end in .xlsm" in run("calculate", mine, "-o", tmp_path / "out.xlsx", status=2)
    assert not (tmp_path / "out.xlsx").exists()
    run("calculate", mine, "-o", tmp_path / "out.xlsm")
    assert same(parts_of(tmp_path / "out.xlsm"), parts_of(mine))


def test_new_wants_a_name_that_spreadsheets_open(tmp_path):
    assert "must end in .xlsx" in run("new", tmp_path / "brew.xls", status=2)
    assert "is a folder" in run("new", tmp_path, status=2)


def broken(kind, path, example):
    content = example.read_bytes()
    if kind == "truncated":
        path.write_bytes(content[: len(content) // 2])
    elif kind == "text":
        path.write_text("date,reading\n")
    elif kind == "protected":
        path.write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(2048))
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "not ours":
        openpyxl.Workbook().save(path)
    elif kind == "sheet deleted":
        book = openpyxl.load_workbook(example)
        del book[words.CALIBRATION]
        book.save(path)
    elif kind == "other layout":
        book = openpyxl.load_workbook(example)
        book.defined_names[words.LAYOUT_NAME].attr_text = "99"
        book.save(path)


@pytest.mark.parametrize(
    "kind", ["truncated", "text", "protected", "empty", "missing", "not ours", "other layout"]
)
def test_a_file_that_cannot_be_read_is_named_in_one_sentence(tmp_path, small, kind):
    path = tmp_path / "brew.xlsx"
    broken(kind, path, small)
    before = path.read_bytes() if path.exists() else None
    said = run("report", path, status=2)
    assert said.startswith("xlfuncs: brew.xlsx ")
    assert said.count("\n") == 1
    assert (path.read_bytes() if path.exists() else None) == before


@pytest.fixture(scope="module")
def cut(tmp_path_factory, small):
    """As an office without the functions saves it: array formulas of one cell, values beside."""
    path = tmp_path_factory.mktemp("cut") / "cut.xlsx"
    book = openpyxl.load_workbook(small)
    title, cells = next(iter(book.defined_names["log_sg"].destinations))
    first = cells.replace("$", "").partition(":")[0]
    book[title][first].value.ref = first
    book.save(path)
    return path, f"{title}!{cells.replace('$', '')}"


@pytest.mark.parametrize("command", ["calculate", "report", "freeze"])
def test_a_workbook_that_another_program_cut_is_not_computed(tmp_path, cut, command):
    path, cells = cut
    before = path.read_bytes()
    out = tmp_path / "out.xlsx"
    told = run(command, path, *(["-o", out] if command == "freeze" else []), status=2)
    assert f"have become plain ones ({cells})" in told
    assert path.read_bytes() == before
    assert not out.exists()


def test_a_deleted_sheet_is_named(tmp_path, small):
    path = tmp_path / "brew.xlsx"
    broken("sheet deleted", path, small)
    assert "was a sheet or a column deleted" in run("report", path, status=2)


def test_a_renamed_sheet_does_no_harm(tmp_path):
    """Spreadsheet programs carry names and formulas along when a sheet is renamed."""
    text = "Sudbuch 2026"
    source = tmp_path / "brew.xlsx"
    book = build.build(Choices(rows=20, example=True))
    for name, defined in book.defined_names.items():
        if "!" in defined.attr_text:
            book.defined_names[name].attr_text = defined.attr_text.replace("'Log'!", f"'{text}'!")
    book[words.LOG].title = text
    source.write_bytes(build.to_bytes(book))
    content = json.loads(run("report", source, "--json"))
    assert content["readings"][0]["sg"] == pytest.approx(1.0371, abs=1e-4)


@pytest.mark.parametrize("lock", ["~$brew.xlsx", ".~lock.brew.xlsx#"])
def test_a_workbook_open_elsewhere_is_left_alone(tmp_path, small, lock):
    path = tmp_path / "brew.xlsx"
    path.write_bytes(small.read_bytes())
    (tmp_path / lock).write_text("someone")
    assert "is open in another program" in run("calculate", path, status=2)
    assert "is open in another program" in run("new", path, "--force", status=2)
    assert same(path.read_bytes(), small.read_bytes())
    run("report", path)
