"""Workbooks that a real office has saved, with the functions in it and without, in both formats."""

import functools
import re
from pathlib import Path

import pytest

from tests.helpers import run
from tests.plain import engines
from xlfuncs import cli
from xlfuncs.files import problems, stored
from xlfuncs.hosts.calc import runner
from xlfuncs.records.upgrade import upgraded
from xlfuncs.workbook import words
from xlfuncs.workbook.sheets import SHEETS
from xlfuncs.workbook.words import Choices

FIRST = Path(__file__).parents[2] / "records/first_edition.xlsx"


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    """The example with as many lines as its 70 readings fill."""
    path = tmp_path_factory.mktemp("example") / "example.xlsx"
    run("new", path, "--example", "--rows", 70)
    return path


@pytest.fixture(scope="module")
def saved(needs_office, example, tmp_path_factory):
    """Where what an office without our functions makes of a workbook is, by name and ending."""
    folder = tmp_path_factory.mktemp("saved")
    for ending in ("xlsx", "ods"):
        engines.converted(ending, folder, folder / "profile", example, FIRST)
    return lambda source, ending: folder / f"{source.stem}.{ending}"


@pytest.fixture(scope="module")
def as_it_is(example):
    """What the report says of the example, but for its first line: the file's name."""
    return run("report", example).partition("\n")[2]


@pytest.fixture(scope="module")
def with_functions(needs_office, example, tmp_path_factory):
    path = tmp_path_factory.mktemp("with") / "log.xlsx"
    path.write_bytes(runner.as_xlsx(example, example.read_bytes()))
    return path


@pytest.fixture(scope="module")
def without_functions(saved, example):
    return saved(example, "xlsx")


@pytest.fixture(scope="module")
def open_document(saved, example):
    return saved(example, "ods")


@pytest.fixture(params=["with_functions", "without_functions"])
def workbook(request):
    return request.getfixturevalue(request.param)


def test_every_command_takes_what_an_office_saved(workbook, as_it_is, tmp_path):
    assert run("report", workbook).partition("\n")[2] == as_it_is
    out = tmp_path / "computed.xlsx"
    assert f"{len(stored.computed_cells(workbook))} values stored" in run(
        "calculate", workbook, "-o", out
    )
    assert "readings: 70; 1 severe, 2 warning" in run_audit(out)
    new = upgraded(workbook)
    assert (new.lost, new.notes) == ([], [])
    (tmp_path / "new.xlsx").write_bytes(new.data)
    assert run("report", tmp_path / "new.xlsx").partition("\n")[2] == as_it_is


def test_without_the_functions_every_sheet_says_that_its_figures_are_not_those_stored(
    with_functions, without_functions
):
    """LibreOffice computes array formulas anew when it opens a file, whatever is stored in it."""
    assert beside_titles(with_functions) == {}
    said = beside_titles(without_functions)
    assert said.keys() == {module.sheet(Choices()).title for module in SHEETS}
    for words_there in said.values():
        assert re.match(
            r"NOT LOADED, and this program keeps none of the figures stored on [\d-]{10}: ",
            words_there,
        )


def beside_titles(path):
    """By sheet, the sentence that stands in the row of its title."""
    return {
        title: said
        for (title, address), said in engines.whole(path).items()
        if re.fullmatch("[B-Z]+1", address) and str(said).startswith("NOT LOADED")
        if title != words.START
    }


def test_it_is_printed(with_functions, tmp_path):
    run("print", with_functions, "-o", tmp_path / "page.pdf", "--sheet", "Log")
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")


def test_an_open_document_is_read(open_document, as_it_is, tmp_path, monkeypatch):
    """Each command asks the office for it; of the same bytes that one makes the same."""
    monkeypatch.setattr(runner, "as_xlsx", functools.cache(runner.as_xlsx))
    assert run("report", open_document).partition("\n")[2] == as_it_is
    assert "readings: 70; 1 severe" in run_audit(open_document)
    run("print", open_document, "-o", tmp_path / "page.pdf", "--sheet", "Log")
    assert "Wrote" in run("upgrade", open_document, "-o", tmp_path / "new.xlsx")
    assert run("report", tmp_path / "new.xlsx").partition("\n")[2] == as_it_is


def test_an_open_document_is_not_written(open_document, tmp_path):
    data = open_document.read_bytes()
    refused = "is read only: save it as .xlsx in LibreOffice first."
    assert refused in run("calculate", open_document, status=2)
    assert refused in run("calculate", open_document, "-o", tmp_path / "new.xlsx", status=2)
    assert refused in run("freeze", open_document, "-o", tmp_path / "new.xlsx", status=2)
    assert open_document.read_bytes() == data


def test_without_an_office_one_sentence_says_what_to_do(open_document, monkeypatch):
    monkeypatch.setattr(runner, "choose_office", no_office)
    said = run("report", open_document, status=2)
    assert said.strip().count("\n") == 0
    assert "is read by way of LibreOffice: none is here; or save it as .xlsx" in said
    assert "is read by way of LibreOffice" in run_audit(open_document)


def no_office():
    raise runner.OfficeProblem("none is here")


def test_where_no_office_is_asked_an_open_document_is_refused(open_document):
    problems.through_office.clear()
    with pytest.raises(problems.WorkbookProblem, match="in LibreOffice first"):
        problems.read(open_document)


@pytest.fixture(scope="module")
def first_as_it_is(tmp_path_factory):
    """The first edition as it is, in the sheets of today, and what the report says of it."""
    new = upgraded(FIRST)
    return new, reported(new, tmp_path_factory.mktemp("first") / "new.xlsx")


def reported(new, path):
    path.write_bytes(new.data)
    return run("report", path).partition("\n")[2]


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_the_first_edition_too(needs_office, saved, first_as_it_is, tmp_path, ending, monkeypatch):
    monkeypatch.setattr(problems, "through_office", [cli._through_office])
    (new, report), as_saved = first_as_it_is, upgraded(saved(FIRST, ending))
    kept = [str(lost) for lost in new.lost if lost.sheet != "Hops & malt"]
    assert [str(lost) for lost in as_saved.lost if lost.sheet != "Hops & malt"] == kept
    assert any("log_plato is a name" in lost.why for lost in as_saved.lost)
    assert reported(as_saved, tmp_path / "new.xlsx") == report


def run_audit(*paths):
    """What the audit prints; the example has a severe finding."""
    import contextlib
    import io
    import sys

    out = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out):
        patch.setattr(sys, "argv", ["xlfuncs", "audit", *map(str, paths)])
        with pytest.raises(SystemExit) as left:
            cli.main()
    assert left.value.code == 1
    return out.getvalue()
