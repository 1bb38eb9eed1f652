"""Pages of recipes through an office: one each, at their true size, the same under every locale."""

from __future__ import annotations

import pytest

from tests.helpers import poppler, run

LINES = [
    "batch,customer,date,grain,before_boil_gravity,before_boil_volume,into_fermenter_gravity,"
    "into_fermenter_volume,packaged_gravity",
    *(f"No. {i},Ann,2026-03-21,5.25,1.044,28.5,1.0515,22,1.012" for i in range(3)),
]


@pytest.fixture
def listed(tmp_path):
    path = tmp_path / "recipes.csv"
    path.write_text("\n".join(LINES), "utf-8")
    return path


def _middle(lines, word):
    """Where the last of these words on the first page stands."""
    first_page = lines[: lines.index("  </page>")]
    line = [one for one in first_page if f">{word}<" in one][-1]
    left, right = (float(line.split(f'{edge}="')[1].split('"')[0]) for edge in ("xMin", "xMax"))
    return (left + right) / 2


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_page_each_at_its_true_size(needs_office, listed, tmp_path, paper):
    pdf = tmp_path / "sheets.pdf"
    assert run("sheets", listed, "-o", pdf, "--paper", paper) == f"Wrote {pdf}, pages: 3\n"
    about = poppler("pdfinfo", pdf)
    assert "Pages:           3" in about
    assert ("A4" in about) == (paper == "a4")
    # Four boxes of 25 mm (283.5 points) at least, from the middle of one heading to that of
    # another; LibreOffice 25.2 makes them 26 mm wide on Letter.
    lines = poppler("pdftotext", "-bbox", pdf, "-").splitlines()
    assert 282.5 < _middle(lines, "Volume") - _middle(lines, "Time") < 297
    assert sorted(path.name for path in tmp_path.iterdir()) == ["recipes.csv", "sheets.pdf"]


def test_a_german_office_prints_the_same(needs_office, listed, tmp_path, monkeypatch):
    said = []
    for locale in ("C.UTF-8", "de_DE.UTF-8"):
        monkeypatch.setenv("LC_ALL", locale)
        run("sheets", listed, "-o", tmp_path / "sheets.pdf", "--force")
        said.append(poppler("pdftotext", "-layout", tmp_path / "sheets.pdf", "-"))
    assert said[0] == said[1]
    assert "1.0515" in said[0]
    assert "5.25 kg" in said[0]
