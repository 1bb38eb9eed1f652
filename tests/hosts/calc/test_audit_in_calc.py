"""The record of an audit, printed through LibreOffice."""

from __future__ import annotations

import pytest

from tests.helpers import poppler
from tests.helpers import run as command
from tests.workbook.conftest import FIELD, as_file, day, reading, water_check
from xlfuncs.workbook.words import Choices

EARLY = water_check(FIELD, day(2026, 1, 1), 0.1)
IN_FORCE = water_check(FIELD, day(2026, 3, 1), 0.1)
BAD = water_check(FIELD, day(2026, 3, 9), 0.9)


@pytest.fixture
def log(tmp_path):
    """Write a log of one reading with these checks; its text could run as a formula."""

    def make(name, *checks):
        path = tmp_path / "logs" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(as_file(
            Choices(rows=20), inst=[FIELD], batch=[{"name": "@home"}], check=checks,
            log=[reading(FIELD, 12, batch="@home")],
        ))  # fmt: skip
        return path

    return make


def words(pdf):
    """The words on the pages of a PDF."""
    return poppler("pdftotext", "-layout", pdf, "-").split()


def test_the_findings_are_printed(needs_office, log, tmp_path):
    """Of every file, the broken one too; the exit status is still that of the findings."""
    log("=1+1.xlsx", IN_FORCE, BAD)
    whole = log("whole.xlsx", IN_FORCE).read_bytes()
    (tmp_path / "logs/cut.xlsx").write_bytes(whole[:5000])
    pdf = tmp_path / "audit.pdf"
    command("audit", tmp_path / "logs", "--pdf", pdf, status=1)
    found = " ".join(words(pdf))
    assert "Record of gravity readings" in found
    assert "2 severe" in found
    for name in ("=1+1.xlsx", "cut.xlsx", "whole.xlsx"):
        assert name in found
    assert "cut short or damaged" in found
    assert "field was found at +0.9 on 2026-03-09, tolerated is ±0.2" in found
    assert "@home" in found
    assert "accepted by" in found
    assert sorted(path.name for path in tmp_path.iterdir()) == ["audit.pdf", "logs"]


def test_nothing_severe_leaves_status_0(needs_office, log, tmp_path):
    pdf = tmp_path / "audit.pdf"
    said = command("audit", log("good.xlsx", EARLY, IN_FORCE), "--pdf", pdf)
    assert "0 severe" in said
    assert pdf.read_bytes().startswith(b"%PDF")


def test_a_pdf_that_exists_is_replaced_when_asked(needs_office, log, tmp_path):
    pdf = tmp_path / "audit.pdf"
    pdf.write_bytes(b"older")
    command("audit", log("good.xlsx", IN_FORCE), "--pdf", pdf, "--force")
    assert "good.xlsx" in " ".join(words(pdf))


def test_two_runs_print_the_same_bytes(needs_office, log, tmp_path, monkeypatch):
    """Whatever the hour, and the language of the office; on A4 across."""
    source = log("good.xlsx", EARLY, IN_FORCE)
    for name, language in (("one.pdf", "C.UTF-8"), ("other.pdf", "de_DE.UTF-8")):
        monkeypatch.setenv("LC_ALL", language)
        command("audit", source, "--pdf", tmp_path / name, "--on", "2026-03-14")
    one, other = ((tmp_path / name).read_bytes() for name in ("one.pdf", "other.pdf"))
    assert one == other
    assert one.count(b"/MediaBox[0 0 841.") >= 7
