"""What is made from the code is committed as the code makes it."""

from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

import xlfuncs
from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.cli import app
from xlfuncs.plain import names_file, report

REPOSITORY = Path(xlfuncs.__file__).parent.parent


def test_the_command_writes_the_committed_file_and_keeps_what_is_there(tmp_path):
    path = tmp_path / "functions.xlsx"
    done = CliRunner().invoke(app, ["new", str(path), "--names"])
    assert done.exit_code == 0
    assert path.read_bytes() == (REPOSITORY / "workbooks/functions.xlsx").read_bytes()
    assert CliRunner().invoke(app, ["new", str(path), "--names"]).exit_code != 0


def test_the_examples_stand_with_their_answers():
    sheet = openpyxl.load_workbook(REPOSITORY / "workbooks/functions.xlsx", data_only=True)[
        names_file.SHEET
    ]
    rows = sheet.iter_rows(min_row=names_file.FIRST_ROW, values_only=True)
    shown = {row[0].partition("(")[0]: row[1] for row in rows}
    for name, answer in shown.items():
        right = boundary.answer(CATALOGUE[name], names_file.example(CATALOGUE[name]))
        right = right[0][0] if isinstance(right, list) else right
        assert answer == (right if isinstance(right, str) else pytest.approx(right, rel=1e-12))
        assert not str(answer).startswith("! ")


def test_the_page_of_accuracy_is_of_this_code():
    """Row by row; a largest difference may move in its first digit with numpy."""
    fresh = "\n".join(report.lines()).splitlines()
    kept = (REPOSITORY / "docs/plain.md").read_text(encoding="utf-8").splitlines()
    assert [line.split("|")[1:2] + line.split("|")[3:] for line in fresh] == [
        line.split("|")[1:2] + line.split("|")[3:] for line in kept
    ]
