"""Plain formulas in spreadsheet programs that others wrote, without anything of ours in them."""

import functools
import os
import shutil

import pytest

from tests.plain import engines, sheets
from xlfuncs.plain import measured

_NAMES = [*measured.BOUNDS]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The file with the calls of a function, the calls, and where their answers stand."""
    folder = tmp_path_factory.mktemp("engines")

    @functools.cache
    def make(name):
        path, cases = folder / f"{name}.xlsx", sheets.calls(name, good=30)
        return path, cases, sheets.write(path, name, cases)

    return make


# The engines of one function after each other: its file is made once.
@pytest.mark.parametrize("engine", ["ironcalc", "gnumeric"])
@pytest.mark.parametrize("name", _NAMES)
def test_each_function(made, name, engine):
    if engine == "ironcalc":
        pytest.importorskip("ironcalc")
    elif shutil.which("ssconvert") is None:
        if os.environ.get("XLFUNCS_REQUIRE_OFFICE") == "1":
            pytest.fail("ssconvert, Gnumeric's converter, is not installed")
        pytest.skip("ssconvert, Gnumeric's converter, is not installed")
    path, cases, places = made(name)
    values = getattr(engines, engine)(path)
    sheets.check(name, cases, [values.get(place) for place in places])


def test_libreoffice(made, needs_office):
    """All functions in one go: an office takes seconds to start."""
    values = engines.libreoffice(*(made(name)[0] for name in _NAMES))
    for name in _NAMES:
        path, cases, places = made(name)
        sheets.check(name, cases, [values[path].get(place) for place in places])
