"""Plain formulas in spreadsheet programs that others wrote, without anything of ours in them."""

import os
import shutil

import pytest

from tests.plain import engines, sheets
from xlfuncs.plain import measured

_NAMES = [*measured.BOUNDS]


@pytest.mark.parametrize("name", _NAMES)
def test_ironcalc(tmp_path, name):
    pytest.importorskip("ironcalc")
    _check(tmp_path, name, engines.ironcalc, good=30)


@pytest.mark.parametrize("name", _NAMES)
def test_gnumeric(tmp_path, name):
    if shutil.which("ssconvert") is None:
        if os.environ.get("XLFUNCS_REQUIRE_OFFICE") == "1":
            pytest.fail("ssconvert, Gnumeric's converter, is not installed")
        pytest.skip("ssconvert, Gnumeric's converter, is not installed")
    _check(tmp_path, name, engines.gnumeric, good=30)


def test_libreoffice(tmp_path, needs_office):
    """All functions in one go: an office takes seconds to start."""
    cases = {name: sheets.calls(name, good=15) for name in _NAMES}
    paths = {name: tmp_path / f"{name}.xlsx" for name in _NAMES}
    places = {name: sheets.write(paths[name], name, cases[name]) for name in _NAMES}
    values = engines.libreoffice(*paths.values())
    for name, path in paths.items():
        sheets.check(name, cases[name], [values[path].get(place) for place in places[name]])


def _check(tmp_path, name, engine, good):
    cases = sheets.calls(name, good)
    path = tmp_path / "plain.xlsx"
    places = sheets.write(path, name, cases)
    values = engine(path)
    sheets.check(name, cases, [values.get(place) for place in places])
