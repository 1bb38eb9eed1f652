"""Putting the add-in into a user's office, and numpy within reach of its Python."""

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from xlfuncs import __version__
from xlfuncs.hosts.calc import install, session
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, OfficePython, user_folder

SITE_PACKAGES = Path(np.__file__).parents[1]


@pytest.fixture
def own_home(tmp_path, monkeypatch):
    """A user with nothing yet."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for kind in ("CONFIG", "DATA", "CACHE"):
        monkeypatch.delenv(f"XDG_{kind}_HOME", raising=False)
    return tmp_path


def _office_with(monkeypatch, version, numpy_in):
    """An office whose Python finds numpy in these folders alone."""

    def examine(office, site_packages=None):
        return OfficePython(version, "2.0" if site_packages in numpy_in else "")

    monkeypatch.setattr(install, "examine", examine)
    return Office(Path("/office/soffice"), "25.2", Path("/office/python"))


def test_numpy_of_its_own_is_enough(own_home, monkeypatch):
    assert install.numpy_for(_office_with(monkeypatch, "3.13", {None})) is None


def test_our_numpy_serves_where_the_versions_agree(own_home, monkeypatch):
    office = _office_with(monkeypatch, "3.11", {SITE_PACKAGES})
    assert install.numpy_for(office) == SITE_PACKAGES


def test_no_numpy_names_the_command(own_home, monkeypatch):
    office = _office_with(monkeypatch, "3.8", set())
    with pytest.raises(OfficeProblem, match=r"Python 3.8 of LibreOffice has no numpy; run: xlf"):
        install.numpy_for(office)


def test_numpy_is_fetched_for_the_offices_python(own_home, monkeypatch):
    fetched = user_folder("data") / "xlfuncs" / "python-3.10"
    office = _office_with(monkeypatch, "3.10", {fetched})
    commands = []

    def pip(command, **_):
        commands.append(command)
        Path(command[command.index("--target") + 1]).mkdir()
        return subprocess.CompletedProcess(command, 0, "", "")

    monkeypatch.setattr(install.subprocess, "run", pip)
    assert install.numpy_for(office, fetch=True) == fetched
    [command] = commands
    assert command[:4] == [sys.executable, "-m", "pip", "install"]
    assert command[command.index("--python-version") + 1] == "3.10"
    assert install.numpy_for(office) == fetched  # and found without fetching from then on
    assert len(commands) == 1


def test_numpy_that_cannot_be_fetched(own_home, monkeypatch):
    office = _office_with(monkeypatch, "3.10", set())
    failed = subprocess.CompletedProcess([], 1, "", "ERROR: one\nERROR: no such network\n")
    monkeypatch.setattr(install.subprocess, "run", lambda *_, **__: failed)
    with pytest.raises(OfficeProblem, match=r"no such network\); go online and run again: xlf"):
        install.numpy_for(office, fetch=True)
    assert list((user_folder("data") / "xlfuncs").iterdir()) == []


def test_into_a_users_office_and_out_again(needs_office, own_home):
    assert install.installed_version(needs_office) == ""
    installed = install.install()
    assert installed.version == install.installed_version(needs_office) == __version__
    install.install()  # again: replaced, not doubled
    assert install.installed_version(needs_office) == __version__
    fetched = user_folder("data") / "xlfuncs/python-3.9/numpy"
    kept = user_folder("data") / "xlfuncs/kept"
    fetched.mkdir(parents=True)
    kept.mkdir()
    profile = user_folder("cache") / "xlfuncs/calc-0123456789abcdef"
    profile.mkdir(parents=True)
    assert install.left_behind(needs_office) == []
    assert install.uninstall()
    assert not fetched.parent.exists()
    assert not profile.exists()
    assert kept.exists()
    assert install.installed_version(needs_office) == ""
    assert install.left_behind(needs_office) == []
    assert list(own_home.rglob("xlfuncs.oxt")) == []


def test_what_is_left_is_named(own_home, monkeypatch):
    office = _office_with(monkeypatch, "3.11", {None})
    copy = own_home / ".config/libreoffice/4/user/extensions/tmp/extensions/lu1.tmp_"
    profile = own_home / ".cache/xlfuncs/calc-0123456789abcdef"
    (copy / "xlfuncs.oxt").mkdir(parents=True)
    profile.mkdir(parents=True)
    assert install.left_behind(office) == [profile, copy]


def test_an_open_office_is_left_alone(needs_office, own_home, monkeypatch):
    monkeypatch.setattr(session, "run", lambda *_: pytest.fail("the office was started"))
    lock = own_home / ".config/libreoffice/4/.lock"
    lock.parent.mkdir(parents=True)
    lock.touch()
    for act in (install.install, install.uninstall):
        with pytest.raises(OfficeProblem, match=r"LibreOffice is open: close it and run again"):
            act()


def test_an_office_that_ends_at_once(own_home, tmp_path, needs_office, monkeypatch):
    monkeypatch.setattr(install, "_PAUSE", 0.01)
    stub = shutil.which("true")
    office = Office(Path(stub), "7.4", needs_office.python)
    with pytest.raises(OfficeProblem, match="LibreOffice ended at once, twice; start it by hand"):
        install.install(office)


def test_an_office_that_ends_once_gets_a_second_chance(own_home, needs_office, monkeypatch):
    """As when the one before it, in the same profile, had not quite ended yet."""
    tries = []

    def run(*given):
        tries.append(given)
        if len(tries) == 1:
            raise session.OfficeDied
        return genuine(*given)

    genuine = session.run
    monkeypatch.setattr(session, "run", run)
    monkeypatch.setattr(install, "_PAUSE", 0.01)
    install.install()
    assert len(tries) == 2
    assert install.installed_version(needs_office) == __version__
