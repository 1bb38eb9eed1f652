"""Lists of recipes in files, and the pages that come of them."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from tests.helpers import run
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

HEADINGS = ("batch", "customer", "date", "grain", "boil_minutes", "before_boil_gravity",
            "before_boil_volume", "into_fermenter_gravity", "into_fermenter_volume",
            "packaged_gravity", "refractometer", "note")  # fmt: skip
PALE = {
    "batch": "Pale", "customer": "Ann", "date": "2026-03-21", "grain": 5.2, "boil_minutes": 60,
    "before_boil_gravity": 1.044, "before_boil_volume": 28, "into_fermenter_gravity": 1.0515,
    "into_fermenter_volume": 22, "packaged_gravity": 1.012,
}  # fmt: skip


@pytest.fixture
def listed(tmp_path):
    """A list with these lines; returns its file."""

    def make(*lines, name="recipes.csv"):
        headings = list(dict.fromkeys([*HEADINGS, *(key for line in lines for key in line)]))
        rows = [headings, *([line.get(heading, "") for heading in headings] for line in lines)]
        path = tmp_path / name
        path.write_text("\n".join(",".join(map(str, row)) for row in rows), "utf-8")
        return path

    return make


@pytest.fixture
def pages(listed, tmp_path):
    """The pages of a list as sheets, and what was said of its lines."""

    def make(*lines, options=(), status=0):
        out = tmp_path / "sheets.xlsx"
        path = lines[0] if isinstance(lines[0], Path) else listed(*lines)
        said = run("sheets", path, "-o", out, "--force", *options, status=status)
        return openpyxl.load_workbook(out).worksheets, said

    return make


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """The example's workbook, in SG or in °Plato; without computed values."""
    made = {}

    def make(**choices):
        choices = Choices(rows=20, example=True, **choices)
        if choices not in made:
            made[choices] = tmp_path_factory.mktemp("example") / "book.xlsx"
            made[choices].write_bytes(build.to_bytes(build.build(choices)))
        return made[choices]

    return make


def texts(sheet):
    """All that stands on a page."""
    return [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]
