"""Into Excel and out again, with a stand-in for Windows: what goes wrong, and what is left then."""

import contextlib
import subprocess
import sys
import types
from pathlib import Path

import pytest

from tests.helpers import run
from xlfuncs import __version__
from xlfuncs.hosts import doctor
from xlfuncs.hosts.excel import install, macros, windows
from xlfuncs.hosts.excel.install import MEND, ExcelProblem, examine, uninstall
from xlfuncs.hosts.excel.windows import Computer

XLWINGS = "0.37.8"
WHEEL = f"xlfuncs-{__version__}-py3-none-any.whl"


class StandIn(Computer):
    """A Windows computer where all is well; a test then spoils one thing.

    Its folders are real ones; what it was asked to write is done by the code under test.
    """

    encoding = "cp1252"
    is_windows = True
    python = Path()

    def __init__(self, home):
        self.home = home
        self.excel = self.of(home / "Office" / "EXCEL.EXE")
        self.excel_runs = False
        self.python = self.of(home / "venv" / "Scripts" / "python.exe")
        self.dll = self.of(home / "venv" / f"xlwings64-{XLWINGS}.dll")
        self.machine, self.for_the_user, self.refused = 64, False, ()

    @staticmethod
    def of(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
        return path

    def folder(self, variable):
        return self.home / variable

    def program(self, name):
        assert name == "excel.exe"
        return self.excel

    def bits(self, program):
        assert program == self.excel
        return self.machine

    def runs(self, name):
        assert name == "EXCEL.EXE"
        return self.excel_runs

    def version(self, distribution):
        assert distribution == "xlwings"
        return XLWINGS

    def installed_for_the_user(self, distribution):
        return self.for_the_user

    def put(self, path, content):
        if path.name in self.refused:
            raise PermissionError(13, "Permission denied", str(path))
        super().put(path, content)


@pytest.fixture
def computer(tmp_path):
    return StandIn(tmp_path)


def addin(computer):
    return computer.home / "APPDATA" / "Microsoft" / "Excel" / "XLSTART" / "xlfuncs.xlam"


def settings(computer):
    return computer.home / "USERPROFILE" / ".xlfuncs" / "xlfuncs.conf"


def all_files(computer):
    return {
        path.relative_to(computer.home): path.read_bytes()
        for path in computer.home.rglob("*")
        if path.is_file()
    }


# --- all is well ------------------------------


def test_into_excel_and_out_again(computer):
    before = all_files(computer)
    parts = install.install(computer)
    assert not [part for part in parts if part.missing or part.mend]
    assert [part.name for part in parts] == ["Excel", "Python", "library", "add-in", "settings"]
    assert parts[0].found == f"{computer.excel}, 64 bit"
    assert addin(computer).read_bytes() == macros.addin()
    assert settings(computer).read_bytes() == (
        f'"INTERPRETER_WIN","{computer.python}"\r\n'.encode("cp1252")
    )
    assert len(all_files(computer)) == len(before) + 2
    assert uninstall(computer)
    assert all_files(computer) == before
    assert not settings(computer).parent.exists()
    assert not uninstall(computer)


def test_again_changes_nothing(computer):
    install.install(computer)
    before = all_files(computer)
    install.install(computer)
    assert all_files(computer) == before


def test_the_library_beside_python_and_for_32_bit(computer):
    computer.dll.unlink()
    computer.machine = 32
    dll = computer.of(computer.python.parent / f"xlwings32-{XLWINGS}.dll")
    parts = {part.name: part for part in install.install(computer)}
    assert parts["library"].found == str(dll)
    assert parts["Excel"].found.endswith("32 bit")


def test_settings_that_somebody_made_stay(computer):
    own = '"SHOW CONSOLE","True"\r\n'
    settings(computer).parent.mkdir(parents=True)
    settings(computer).write_text(own + '"INTERPRETER_WIN","C:\\old\\python.exe"\r\n', newline="")
    assert [p.missing for p in examine(computer) if p.name == "settings"] == [
        "Excel starts another Python, C:\\old\\python.exe"
    ]
    install.install(computer)
    expected = own + f'"INTERPRETER_WIN","{computer.python}"\r\n'
    assert settings(computer).read_bytes().decode() == expected
    uninstall(computer)
    assert settings(computer).read_bytes().decode() == own


def test_a_name_with_an_umlaut(computer):
    computer.python = computer.of(computer.home / "Bräu" / "python.exe")
    computer.of(computer.python.with_name(computer.dll.name))
    install.install(computer)
    assert b"Br\xe4u" in settings(computer).read_bytes()


def test_a_workbook_with_the_functions_needs_the_settings_alone(computer):
    install.name_python(computer)
    written = f'"INTERPRETER_WIN","{computer.python}"\r\n'.encode("cp1252")
    assert settings(computer).read_bytes() == written
    assert not addin(computer).exists()
    computer.python = computer.of(computer.home / "other" / "python.exe")
    install.name_python(computer)
    assert settings(computer).read_bytes() == written, "what was chosen before stays"
    assert uninstall(computer)
    computer.is_windows = False
    install.name_python(computer)
    assert not settings(computer).exists()


def of_another_version(monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(macros, "__version__", "0.0.1")
        return macros.addin()


def test_an_older_add_in_is_replaced(computer, monkeypatch):
    StandIn.of(addin(computer)).write_bytes(of_another_version(monkeypatch))
    [part] = [part for part in examine(computer) if part.name == "add-in"]
    assert part.missing == "the add-in in Excel is of version 0.0.1"
    assert part.mend == MEND
    install.install(computer)
    assert addin(computer).read_bytes() == macros.addin()


def test_an_add_in_made_with_another_xlwings_is_noticed(computer, monkeypatch):
    """Its library has the version in its name, so the old add-in would look for the old one."""
    with monkeypatch.context() as patch:
        patch.setattr(macros, "SETTINGS", {"UDF MODULES": "other"})
        StandIn.of(addin(computer)).write_bytes(macros.addin())
    [part] = [part for part in examine(computer) if part.name == "add-in"]
    assert (part.missing, part.mend) == ("the add-in in Excel is another one", MEND)


# --- what goes wrong ------------------------------


def without_excel(computer):
    computer.excel = None


def with_excel_running(computer):
    computer.excel_runs = True


def without_library(computer):
    computer.dll.unlink()


def with_the_python_of_the_store(computer):
    computer.python = computer.of(
        computer.home / "Microsoft" / "WindowsApps" / "PythonSoftwareFoundation" / "python.exe"
    )


def with_xlwings_for_the_user(computer):
    computer.dll.unlink()
    computer.for_the_user = True


def with_xlstart_not_writable(computer):
    computer.refused = ("xlfuncs.xlam",)


def with_settings_not_writable(computer):
    computer.refused = ("xlfuncs.conf",)


def with_another_file_of_the_name(computer):
    computer.of(addin(computer)).write_bytes(b"not ours")


def with_a_path_that_excel_cannot_read(computer):
    computer.python = computer.of(computer.home / "Пиво" / "python.exe")
    computer.of(computer.python.with_name(computer.dll.name))


def on_another_system(computer):
    computer.is_windows = False


FAILURES = {
    without_excel: "Excel was not found; the plain workbook (xlfuncs new FILE",
    with_excel_running: "Excel is open: close it and run this again",
    without_library: f"xlwings64-{XLWINGS}.dll is not beside ",
    with_the_python_of_the_store: "the Python of the Microsoft Store keeps xlwings64-",
    with_xlwings_for_the_user: "xlwings was installed with --user, and Excel does not find",
    with_xlstart_not_writable: "xlfuncs.xlam cannot be changed (Permission denied); nothing was",
    with_settings_not_writable: "xlfuncs.conf cannot be changed (Permission denied); nothing was",
    with_another_file_of_the_name: "xlfuncs.xlam is another file, not our add-in: move it away",
    with_a_path_that_excel_cannot_read: "(“П” is not in the code page of this Windows)",
    on_another_system: "Excel runs these functions on Windows only; the plain workbook (xlfuncs",
}


@pytest.mark.parametrize("spoil", FAILURES, ids=lambda spoil: spoil.__name__)
def test_one_sentence_and_nothing_half_done(computer, spoil):
    spoil(computer)
    before = all_files(computer)
    with pytest.raises(ExcelProblem) as problem:
        install.install(computer)
    assert FAILURES[spoil] in str(problem.value)
    assert "\n" not in str(problem.value)
    assert all_files(computer) == before


def test_what_was_there_before_is_there_after_a_failure(computer, monkeypatch):
    old = of_another_version(monkeypatch)
    StandIn.of(addin(computer)).write_bytes(old)
    computer.refused = ("xlfuncs.conf",)
    with pytest.raises(ExcelProblem, match="nothing was changed"):
        install.install(computer)
    assert addin(computer).read_bytes() == old


@pytest.mark.parametrize(
    "spoil", [with_excel_running, with_xlstart_not_writable, on_another_system]
)
def test_taken_out_wholly_or_not_at_all(computer, spoil):
    install.install(computer)
    before = all_files(computer)
    spoil(computer)
    with pytest.raises(ExcelProblem):
        uninstall(computer)
    assert all_files(computer) == before


def test_another_file_of_the_name_is_not_taken_out(computer):
    with_another_file_of_the_name(computer)
    assert not uninstall(computer)
    assert addin(computer).read_bytes() == b"not ours"


def test_a_file_that_cannot_be_read(computer, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(computer, "read", refuse)
    with pytest.raises(ExcelProblem, match=r"xlfuncs.xlam: Permission denied$"):
        install.install(computer)


# --- what the doctor says ------------------------------


def finding(computer):
    return next(f for f in doctor.doctor(computer=computer) if f.host == "Excel")


def test_the_doctor_when_all_is_well(computer):
    install.install(computer)
    found = finding(computer)
    assert found.ready
    assert dict(found.facts) == {
        "xlwings": XLWINGS,
        "Excel": f"{computer.excel}, 64 bit",
        "Python": str(computer.python),
        "library": str(computer.dll),
        "add-in": f"{addin(computer)}, version {__version__}",
        "settings": str(settings(computer)),
    }


def test_the_doctor_names_what_mends_each_part(computer):
    without_library(computer)
    found = finding(computer)
    facts = dict(found.facts)
    assert facts["library"].endswith(f"--force-reinstall {WHEEL}")
    assert facts["add-in"] == f"the add-in is not in Excel; to mend it: {MEND}"
    assert facts["settings"].endswith(f"to mend it: {MEND}")
    assert found.mend in facts["library"], "first what the rest needs"


@pytest.mark.parametrize("spoil", [with_the_python_of_the_store, with_xlwings_for_the_user])
def test_a_python_that_excel_does_not_reach_is_mended_by_one_of_its_own(computer, spoil):
    spoil(computer)
    assert finding(computer).mend.endswith(
        f'cmd /c "py -m venv brewing && brewing\\Scripts\\pip install {WHEEL} && '
        f'brewing\\Scripts\\xlfuncs install excel"'
    )


@pytest.mark.parametrize(
    ("spoil", "missing"),
    [
        (on_another_system, "Excel runs these functions on Windows only"),
        (without_excel, "Excel was not found"),
    ],
)
def test_the_doctor_says_what_to_do_where_there_is_no_excel(computer, spoil, missing):
    spoil(computer)
    found = finding(computer)
    assert (found.missing, found.mend) == (missing, "")
    assert "xlfuncs new FILE --plain" in found.instead
    assert "install calc" not in found.instead


def test_the_doctor_when_windows_refuses(computer, monkeypatch):
    def refuse(program):
        raise PermissionError(13, "Permission denied", str(program))

    monkeypatch.setattr(computer, "bits", refuse)
    assert "EXCEL.EXE: Permission denied" in finding(computer).missing


# --- the looks into Windows themselves ------------------------------


def test_where_excel_is_registered(monkeypatch, tmp_path):
    asked = []
    program = tmp_path / "EXCEL.EXE"
    program.touch()
    registered = {"machine": f'"{program}"', "user": None}

    def query(hive, key):
        asked.append((hive, key))
        if registered[hive] is None:
            raise FileNotFoundError
        return registered[hive]

    registry = types.SimpleNamespace(
        HKEY_CURRENT_USER="user", HKEY_LOCAL_MACHINE="machine", QueryValue=query
    )
    monkeypatch.setitem(sys.modules, "winreg", registry)
    assert Computer().program("excel.exe") == program
    assert [hive for hive, _ in asked] == ["user", "machine"]
    assert asked[0][1] == r"SOFTWARE\Microsoft\Windows\CurrentVersion\App Paths\excel.exe"
    program.unlink()
    assert Computer().program("excel.exe") is None, "it was removed"


@pytest.mark.parametrize(("machine", "bits"), [(0x014C, 32), (0x8664, 64), (0xAA64, 64)])
def test_bits_of_a_program(tmp_path, machine, bits):
    """The header as the PE format lays it out: its place at 0x3C, the machine after `PE\\0\\0`."""
    head = b"MZ".ljust(0x3C, b"\0") + (0x80).to_bytes(4, "little")
    program = tmp_path / "program.exe"
    program.write_bytes(head.ljust(0x80, b"\0") + b"PE\0\0" + machine.to_bytes(2, "little"))
    assert Computer().bits(program) == bits


@pytest.mark.parametrize(
    ("said", "runs"),
    [
        (b'"EXCEL.EXE","4711","Console","1","120.000 K"\r\n', True),
        (b'"excel.exe","4711","Console","1","120,000 K"\r\n', True),
        (b"INFO: No tasks are running which match the specified criteria.\r\n", False),
        (b"", False),
    ],
)
def test_whether_excel_runs(monkeypatch, said, runs):
    def tasklist(command, **_):
        assert command[:3] == ["tasklist", "/FI", "IMAGENAME eq EXCEL.EXE"]
        return subprocess.CompletedProcess(command, 0, said, b"")

    monkeypatch.setattr(windows.subprocess, "run", tasklist)
    assert Computer().runs("EXCEL.EXE") == runs


def test_what_is_installed_and_where(monkeypatch):
    computer = Computer()
    assert computer.version("numpy")
    assert computer.version("no-such-package") == ""
    assert not computer.installed_for_the_user("numpy")
    assert not computer.installed_for_the_user("no-such-package")
    place = windows.importlib.metadata.distribution("numpy").locate_file("")
    monkeypatch.setattr(windows.site, "getusersitepackages", lambda: str(place))
    assert computer.installed_for_the_user("numpy")


def test_a_file_is_changed_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / ".own" / "file"
    Computer().put(path, b"one")
    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(PermissionError(13, "no")))
        with contextlib.suppress(PermissionError):
            Computer().put(path, b"two")
    assert {held.name: held.read_bytes() for held in path.parent.iterdir()} == {"file": b"one"}
    (path.parent / "another").touch()
    Computer().put(path, None)
    assert [held.name for held in path.parent.iterdir()] == ["another"]


def test_this_computer():
    computer = Computer()
    assert computer.is_windows == (sys.platform == "win32")
    assert computer.python == Path(sys.executable)
    assert computer.is_file(computer.python)


# --- the commands ------------------------------


def test_the_commands(computer, monkeypatch):
    monkeypatch.setattr(windows, "Computer", lambda: computer)
    run("new", computer.home / "brew.xlsm", "--rows", "20")
    assert settings(computer).exists()
    said = run("install", "excel")
    assert f"settings: {settings(computer)}" in said.replace("\n", "")
    assert "The functions were taken out." in run("uninstall", "excel")
    assert "The functions were not there." in run("uninstall", "excel")
    computer.excel_runs = True
    assert run("install", "excel", status=2) == (
        "xlfuncs: Excel is open: close it and run this again\n"
    )
