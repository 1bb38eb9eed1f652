"""The doctor: what is there, what is missing, the one command that mends it."""

import dataclasses
import sys
from pathlib import Path

import pytest

from xlfuncs import __version__
from xlfuncs.hosts import doctor
from xlfuncs.hosts.calc.offices import Office, OfficeProblem, OfficePython

OFFICE = Office(Path("/office/soffice"), "24.8", Path("/office/python"))


@pytest.fixture
def healthy(monkeypatch):
    """An office where all is well; a test then spoils one thing."""
    monkeypatch.setattr(doctor, "find_offices", lambda *_: [OFFICE])
    monkeypatch.setattr(doctor, "examine", lambda _: OfficePython("3.11", "2.1"))
    monkeypatch.setattr(doctor, "numpy_for", lambda _: None)
    monkeypatch.setattr(doctor, "installed_version", lambda _: __version__)
    monkeypatch.setattr(doctor, "left_behind", lambda _: [])
    return monkeypatch


def _calc(platform="linux"):
    return [finding for finding in doctor.doctor({}, platform) if finding.host == "Calc"]


def test_all_is_well(healthy):
    [finding] = _calc()
    assert finding.ready
    assert finding.mend == ""
    assert dict(finding.facts) == {
        "office": "/office/soffice",
        "version": "24.8",
        "its Python": "3.11 (/office/python)",
        "numpy": "2.1",
        "add-in": __version__,
    }


def test_what_was_left_is_named(healthy):
    healthy.setattr(doctor, "installed_version", lambda _: "")
    healthy.setattr(doctor, "left_behind", lambda _: [Path("/cache/calc-1")])
    [finding] = _calc()
    assert ("left (xlfuncs uninstall calc)", "/cache/calc-1") in finding.facts


def test_no_office(healthy):
    healthy.setattr(doctor, "find_offices", lambda *_: [])
    [finding] = _calc()
    assert (finding.ready, finding.missing) == (False, "LibreOffice was not found")


def test_two_offices(healthy):
    other = dataclasses.replace(OFFICE, version="7.4")
    healthy.setattr(doctor, "find_offices", lambda *_: [OFFICE, other])
    assert [dict(finding.facts)["version"] for finding in _calc()] == ["24.8", "7.4"]


def _raise(problem):
    raise problem


@pytest.mark.parametrize(
    ("name", "spoiled", "missing", "mend"),
    [
        ("installed_version", lambda _: "", "the add-in is not installed", "xlfuncs install calc"),
        ("installed_version", lambda _: "0.0", "not of version", "xlfuncs install calc"),
        (
            "numpy_for",
            lambda _: _raise(OfficeProblem("no numpy; run: xlfuncs install calc")),
            "no numpy",
            "xlfuncs install calc",
        ),
        (
            "examine",
            lambda _: _raise(OfficeProblem("cannot reach")),
            "cannot reach",
            "apt install python3-uno",
        ),
        (
            "find_offices",
            lambda *_: [dataclasses.replace(OFFICE, python=None)],
            "no Python",
            "apt install python3-uno",
        ),
    ],
)
def test_one_thing_is_missing(healthy, name, spoiled, missing, mend):
    healthy.setattr(doctor, name, spoiled)
    [finding] = _calc()
    assert missing in finding.missing
    assert finding.mend == mend


def test_the_embedded_engine(healthy, tmp_path):
    def finding():
        return next(f for f in doctor.doctor({}, "linux") if f.host == "Embedded")

    healthy.setattr(doctor, "_version", lambda _: "1.3")
    assert finding().facts == (("formulas", "1.3"),)
    healthy.setattr(doctor, "_version", lambda _: "")
    folder = Path(__file__).parents[2]
    assert finding().mend == f'"{sys.executable}" -m pip install -e "{folder}"'
    healthy.setattr(doctor.xlfuncs, "__file__", str(tmp_path / "xlfuncs" / "__init__.py"))
    assert "from its folder or its wheel" in finding().mend


def test_this_computer_as_it_is():
    hosts = [finding.host for finding in doctor.doctor()]
    assert {"Excel", "Calc", "Embedded"} == set(hosts)
