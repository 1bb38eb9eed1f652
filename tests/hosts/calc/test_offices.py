"""Where offices are found: trees of empty files stand for the three platforms."""

import os
import sys
from pathlib import Path

import pytest

from xlfuncs.hosts.calc import offices
from xlfuncs.hosts.calc.offices import OfficeProblem, choose_office, find_offices


def _put(path, text="", executable=False):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    if executable:
        path.chmod(0o755)
    return path


def _linux(root, version, python=True):
    program = root / f"opt/libreoffice{version}/program"
    _put(program / "bootstraprc", f"[Bootstrap]\nProductKey=LibreOffice {version}\n")
    if python:
        _put(program / "python", executable=True)
    return _put(program / "soffice", executable=True)


def _windows(root):
    program = root / "Program Files/LibreOffice/program"
    _put(program / "python.exe")
    _put(
        program / "bootstrap.ini",
        "[Bootstrap]\nProductKey=LibreOffice 25.2\nUserInstallation=$SYSUSERCONFIG/LibreOffice/4\n",
    )
    return _put(program / "soffice.exe")


def _mac(root):
    contents = root / "Applications/LibreOffice.app/Contents"
    _put(contents / "Resources/python", executable=True)
    _put(
        contents / "Resources/bootstraprc",
        "[Bootstrap]\nProductKey=LibreOffice 24.8\nUserInstallation=$SYSUSERCONFIG/LibreOffice/4\n",
    )
    return _put(contents / "MacOS/soffice", executable=True)


NOWHERE = {"PATH": ""}


def test_none(tmp_path):
    for platform in ("linux", "darwin", "win32"):
        assert find_offices(NOWHERE, platform, tmp_path) == []


def test_one_on_linux(tmp_path):
    soffice = _linux(tmp_path, "24.8")
    [office] = find_offices(NOWHERE, "linux", tmp_path)
    assert office.soffice == soffice
    assert office.version == "24.8"
    assert office.python == soffice.with_name("python")


def test_windows_brings_its_python(tmp_path):
    soffice = _windows(tmp_path)
    [office] = find_offices(NOWHERE, "win32", tmp_path)
    assert office == offices.Office(soffice, "25.2", soffice.with_name("python.exe"))


def test_mac_brings_its_python(tmp_path):
    soffice = _mac(tmp_path)
    [office] = find_offices(NOWHERE, "darwin", tmp_path)
    python = tmp_path / "Applications/LibreOffice.app/Contents/Resources/python"
    assert office == offices.Office(soffice, "24.8", python)


def test_an_office_without_python_on_windows_has_none(tmp_path):
    _windows(tmp_path).with_name("python.exe").unlink()
    assert find_offices(NOWHERE, "win32", tmp_path)[0].python is None


def test_two_newest_first(tmp_path):
    old, new = _linux(tmp_path, "7.4"), _linux(tmp_path, "24.8")
    found = find_offices(NOWHERE, "linux", tmp_path)
    assert [office.soffice for office in found] == [new, old]


def test_what_is_on_the_path_comes_first_and_once(tmp_path):
    old, new = _linux(tmp_path, "7.4"), _linux(tmp_path, "24.8")
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin/soffice").symlink_to(old)
    found = find_offices({"PATH": str(tmp_path / "bin")}, "linux", tmp_path)
    assert [office.soffice for office in found] == [old, new]


@pytest.mark.parametrize("named", ["program/soffice", "program", "."])
def test_the_variable_chooses(tmp_path, named):
    old, _ = _linux(tmp_path, "7.4"), _linux(tmp_path, "24.8")
    environ = {"PATH": "", offices.VARIABLE: str(old.parents[1] / named)}
    assert [office.soffice for office in find_offices(environ, "linux", tmp_path)] == [old]


def test_the_variable_names_an_app_on_a_mac(tmp_path):
    soffice = _mac(tmp_path)
    environ = {"PATH": "", offices.VARIABLE: str(tmp_path / "Applications/LibreOffice.app")}
    assert [office.soffice for office in find_offices(environ, "darwin")] == [soffice]


def test_the_variable_points_nowhere(tmp_path):
    _linux(tmp_path, "7.4")
    environ = {"PATH": "", offices.VARIABLE: str(tmp_path / "gone")}
    assert find_offices(environ, "linux", tmp_path) == []
    with pytest.raises(OfficeProblem, match=r"^XLFUNCS_OFFICE names .*gone, but there is no Libre"):
        choose_office(environ)


def test_no_office_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(offices, "_PATTERNS", {})
    with pytest.raises(OfficeProblem, match="LibreOffice was not found: install it"):
        choose_office({"PATH": str(tmp_path)})


def test_an_office_without_python_says_what_to_do(tmp_path, monkeypatch):
    program = _linux(tmp_path, "7.4", python=False)
    monkeypatch.setattr(offices.shutil, "which", lambda *_, **__: None)
    with pytest.raises(OfficeProblem, match="apt install python3-uno"):
        choose_office({"PATH": "", offices.VARIABLE: str(program)})


def test_a_python_that_cannot_reach_the_office(tmp_path):
    broken = _put(tmp_path / "python", "#!/bin/sh\nexit 1\n", executable=True)
    office = offices.Office(tmp_path / "soffice", "7.4", broken)
    with pytest.raises(OfficeProblem, match="cannot reach the office"):
        offices.examine(office)


@pytest.mark.parametrize(
    ("platform", "make", "within"),
    [
        ("win32", _windows, "config/LibreOffice/4"),
        ("darwin", _mac, "home/Library/Application Support/LibreOffice/4"),
        ("linux", lambda root: _linux(root, "7.4"), "config/libreoffice/4"),
    ],
)
def test_the_users_profile(tmp_path, monkeypatch, platform, make, within):
    make(tmp_path)
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "home")
    for variable in ("APPDATA", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / "config"))
    [office] = find_offices(NOWHERE, platform, tmp_path)
    assert offices.user_profile(office, platform) == tmp_path / within


def test_the_office_sees_nothing_of_our_python():
    ours = str(Path(sys.prefix) / "bin")
    path = os.pathsep.join([ours, "/usr/bin"])
    kept = offices.clean_environment(
        {"PATH": path, "PYTHONPATH": "x", "PYTHONHOME": "y", "VIRTUAL_ENV": "z", "LANG": "de_DE"}
    )
    assert kept == {"PATH": "/usr/bin", "LANG": "de_DE"}
