"""The files that are tested: the add-in, and a workbook with the functions in it."""

import pytest

from tests.hosts.calc.conftest import _usable_office, needs_office  # noqa: F401
from xlfuncs.hosts.excel import macros
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices


@pytest.fixture(scope="session")
def plain_workbook():
    """A finished workbook without macros, as bytes."""
    return build.to_bytes(build.build(Choices(rows=20)))


@pytest.fixture(scope="session")
def files(tmp_path_factory, plain_workbook):
    """The add-in and the workbook, by ending."""
    folder = tmp_path_factory.mktemp("excel")
    made = {"xlam": macros.addin(), "xlsm": macros.with_functions(plain_workbook)}
    for ending, content in made.items():
        (folder / f"brewing.{ending}").write_bytes(content)
    return {ending: folder / f"brewing.{ending}" for ending in made}
