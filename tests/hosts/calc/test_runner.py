"""Workbooks computed and printed by an office without a window, and what can go wrong with it."""

import concurrent.futures
import os
import signal
import subprocess
import threading
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.files.stored import store
from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts.calc import offices, runner, session
from xlfuncs.hosts.calc.offices import OfficeProblem, examine

WORT_SG = CATALOGUE["WORT_SG"].callable()
WORT_BRIX = CATALOGUE["WORT_BRIX"].callable()


def _book(path, **formulas):
    return _sheets(path, Log=formulas)


def _sheets(path, **sheets):
    """The same column in each, and formulas beside it."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, formulas in sheets.items():
        sheet = book.create_sheet(title)
        for row, value in enumerate([12.4, None, "twelve", "=NA()", 0.0, "=1/0", 10.5], start=1):
            sheet.cell(row, 1).value = value
        for address, formula in formulas.items():
            sheet[address] = formula
    book.save(path)
    return path


@pytest.fixture
def small(tmp_path):
    return _book(tmp_path / "small.xlsx", B1="=WORT_SG(A1)")


@pytest.fixture
def processes(monkeypatch):
    """Every process that a session starts."""
    started = []
    real = subprocess.Popen

    def popen(*arguments, **options):
        started.append(real(*arguments, **options))
        return started[-1]

    monkeypatch.setattr(session.subprocess, "Popen", popen)
    return started


def _nothing_is_left(processes):
    assert processes
    for process in processes:
        assert process.poll() is not None
        for _ in range(50):  # the killed are gone when the system has buried them
            try:
                os.killpg(process.pid, 0)
            except ProcessLookupError:
                break
            time.sleep(0.1)
        else:
            pytest.fail(f"the group of {process.args[0]} still runs")


# --- values ------------------------------


@pytest.fixture(scope="module")
def computed(needs_office, tmp_path_factory):
    """A workbook with a sheet for each of the tests below, computed in one go, and its values."""
    path = _sheets(
        tmp_path_factory.mktemp("computed") / "log.xlsx",
        Kinds={
            "B1": "=WORT_SG(A1)", "B2": '=IF(A1>5,"strong","weak")', "B3": "=A1>5",
            "B4": "=A1<5", "B5": "=A5*1", "B6": "=NA()", "B7": "=1/0", "B8": '=""',
            "B9": "=WORT_SG(140)", "B10": "=10^400", "B11": "=NOSUCH(1)",
            "C1": ArrayFormula("C1:C2", "=WORT_SG(A1:A2)"),
        },
        Typed={"A8": True, "B1": "=IF(A8,A1*2,0)"},
        Nested={
            "B1": "=WORT_SG(A4)",  # an error of Calc goes through as it is
            "B2": "=WORT_SG(A6)",
            "B3": "=WORT_BRIX(WORT_SG(A1))",
            "B4": '=IF(WORT_SG(A1)>1.04,"strong","weak")',
            "B5": "=SUM(WORT_SG(A7:A7),1)",
            "C1": ArrayFormula("C1:C3", "=WORT_BRIX(WORT_SG(A1:A3))"),
            "D1": ArrayFormula("D1:D3", '=WORT_SG(IF(A1:A3="","",A1:A3))'),
            "E1": ArrayFormula("E1:E7", '=WORT_SG(IFERROR(A1:A7,""))'),
            "F1": ArrayFormula("F1:F2", "=WORT_SG({12.4;10.5})"),
            "G1": "=WORT_SG(A1:A7)",  # a range with an error cell: Calc does not call the function
        },
    )  # fmt: skip
    before = path.read_bytes()
    values = runner.compute(path)
    assert path.read_bytes() == before
    return path, values


def test_every_kind_of_value(computed):
    _, values = computed
    column = [values["Kinds", f"B{row}"] for row in range(1, 12)]
    assert column == [
        WORT_SG(12.4), "strong", True, False, 0.0,
        "#N/A", "#DIV/0!", "", WORT_SG(140), "#NUM!", "#NAME?",
    ]  # fmt: skip
    assert [type(value) for value in column[2:5]] == [bool, bool, float]
    assert [values["Kinds", f"C{row}"] for row in (1, 2)] == [WORT_SG(12.4), ""]
    assert ("Kinds", "A1") not in values
    assert values["Kinds", "A4"] == "#N/A"


def test_a_typed_truth_value_is_no_formula(computed, tmp_path):
    path, values = computed
    assert values["Typed", "B1"] == 24.8
    assert ("Typed", "A8") not in values
    store(path, values, tmp_path / "stored.xlsx")


def test_errors_and_nested_calls(computed):
    _, values = computed

    def column(letter, count):
        return [values["Nested", f"{letter}{row}"] for row in range(1, count + 1)]

    sg = WORT_SG(12.4)
    not_a_number = WORT_SG("twelve")
    assert column("B", 4) == ["#N/A", "#DIV/0!", pytest.approx(12.4, rel=1e-12), "strong"]
    assert values["Nested", "B5"] == pytest.approx(1 + WORT_SG(10.5), rel=1e-12)
    assert column("C", 3) == [pytest.approx(12.4, rel=1e-12), "", not_a_number]
    assert column("D", 3) == [sg, "", not_a_number]
    assert column("E", 7) == [sg, "", not_a_number, "", WORT_SG(0), "", WORT_SG(10.5)]
    assert column("F", 2) == [sg, WORT_SG(10.5)]
    assert values["Nested", "G1"] == "#VALUE!"


def test_without_numpy_the_cell_names_the_command(needs_office, small, tmp_path, monkeypatch):
    monkeypatch.setattr(runner, "numpy_for", lambda _: tmp_path / "nothing here")
    python = examine(needs_office)
    excuse = (
        f"! numpy is missing in the office's Python {python.version}; run: xlfuncs install calc"
    )
    expected = WORT_SG(12.4) if python.numpy else excuse
    assert runner.compute(small)["Log", "B1"] == expected


def test_the_function_wizard_explains_every_function(needs_office, tmp_path, monkeypatch):
    deadline = time.monotonic() + 60
    profile = runner._profile(needs_office, tmp_path, True, deadline)
    monkeypatch.setattr(session, "_DRIVER", Path(__file__).with_name("wizard_driver.py"))
    task = {"do": "wizard", "names": " ".join(CATALOGUE)}
    found = session.run(needs_office, profile, task, deadline)["found"]
    assert found == {
        name: {
            "description": function.documentation.summary,
            "arguments": [[a.name, a.help, a.optional] for a in function.arguments],
        }
        for name, function in CATALOGUE.items()
    }


# --- several, and the kept profile ------------------------------


def test_four_at_once(needs_office, tmp_path, processes):
    paths = [
        _book(tmp_path / f"{brix}.xlsx", B1=f"=WORT_SG({brix})") for brix in (9.0, 10.0, 11.0, 12.0)
    ]
    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        values = list(pool.map(runner.compute, paths))
    assert [value["Log", "B1"] for value in values] == [WORT_SG(b) for b in (9.0, 10.0, 11.0, 12.0)]
    _nothing_is_left(processes)


def test_the_kept_profile_is_made_once(needs_office, small, tmp_path, monkeypatch, processes):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "cache"))
    monkeypatch.setenv("HOME", str(tmp_path))
    first = runner.compute(small)
    assert _offices(processes) == 2  # one to install, one to compute
    [kept] = offices.user_folder("cache").glob("xlfuncs/calc-*")
    assert not list(kept.rglob(".lock"))
    assert runner.compute(small) == first
    assert _offices(processes) == 3


def _offices(processes):
    return sum("soffice" in process.args[0] for process in processes)


# --- what can go wrong ------------------------------


def _killing(monkeypatch, times):
    """The office is killed shortly after its start, so many times."""
    real, left = session._office_command, [times]

    def command(office, profile, pipe):
        line = real(office, profile, pipe)
        if left[0]:
            left[0] -= 1
            threading.Timer(0.4, _kill_office_of, [pipe]).start()
        return line

    monkeypatch.setattr(session, "_office_command", command)


def _kill_office_of(pipe):
    """Kill the process that listens at the pipe, as a crash would end it."""
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            command = (folder / "cmdline").read_text()
        except OSError:
            continue
        if pipe in command and "soffice" in command:
            os.kill(int(folder.name), signal.SIGKILL)


def test_a_killed_office_is_started_again(needs_office, small, monkeypatch, processes):
    _killing(monkeypatch, 1)
    assert runner.compute(small)["Log", "B1"] == WORT_SG(12.4)
    assert _offices(processes) > 1
    _nothing_is_left(processes)


def test_an_office_killed_each_time(needs_office, small, monkeypatch, processes):
    _killing(monkeypatch, 9)
    with pytest.raises(
        OfficeProblem, match=r"^small.xlsx: LibreOffice ended before it was done, t"
    ):
        runner.compute(small)
    _nothing_is_left(processes)


def test_not_done_in_time(needs_office, small, tmp_path, processes):
    with pytest.raises(OfficeProblem, match=r"^small.xlsx: LibreOffice was not done after 0.2 s"):
        runner.compute(small, timeout=0.2)
    out = tmp_path / "out.pdf"
    out.write_text("yesterday's")
    with pytest.raises(OfficeProblem, match="not done"):
        runner.print_pdf(small, out, timeout=0.2)
    assert out.read_text() == "yesterday's"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.pdf", "small.xlsx"]
    _nothing_is_left(processes)


def test_no_office(small, tmp_path, monkeypatch):
    monkeypatch.setenv(offices.VARIABLE, str(tmp_path / "nowhere"))
    with pytest.raises(OfficeProblem, match="there is no LibreOffice"):
        runner.compute(small)


def test_no_numpy_for_the_office(needs_office, small, monkeypatch):
    def refuse(_):
        raise OfficeProblem("no numpy; run: xlfuncs install calc")

    monkeypatch.setattr(runner, "numpy_for", refuse)
    with pytest.raises(OfficeProblem, match=r"^small.xlsx: no numpy; run"):
        runner.compute(small)


def test_not_a_workbook(needs_office, tmp_path, processes):
    path = tmp_path / "not.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
    with pytest.raises(WorkbookProblem, match=r"^not.xlsx is cut short or damaged$"):
        runner.compute(path)
    with pytest.raises(
        OfficeProblem, match=r"^not.xlsx: LibreOffice cannot read it as a workbook$"
    ):
        runner.print_pdf(path, tmp_path / "not.pdf")
    _nothing_is_left(processes)


def test_no_such_file(tmp_path):
    with pytest.raises(WorkbookProblem, match=r"gone\.xlsx does not exist"):
        runner.compute(tmp_path / "gone.xlsx")


def test_a_pdf_into_no_folder(small, tmp_path):
    with pytest.raises(WorkbookProblem, match=r"the folder .*gone does not exist"):
        runner.print_pdf(small, tmp_path / "gone" / "out.pdf")


# --- printing ------------------------------


def test_a_footer_shows_the_name_of_the_file(tmp_path, small):
    source = runner.problems.read(small)
    assert runner._copied(source, tmp_path, ".xlsx").name == small.name


def test_a_pdf(needs_office, small, tmp_path, processes):
    out = runner.print_pdf(small, tmp_path / "out.pdf")
    assert out.read_bytes().startswith(b"%PDF-")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.pdf", "small.xlsx"]
    _nothing_is_left(processes)
