"""Many files at once, broken ones among them; the command, its data, its paper."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from tests.test_cli import run as command
from tests.workbook.conftest import FIELD, TODAY, day
from tests.workbook.test_sheets import reading, water_check
from xlfuncs.audit import paper, record, rules, run
from xlfuncs.audit.findings import Severity

DOCUMENT = Path(__file__).parents[2] / "docs/audit.md"
CHECK = water_check(FIELD, day(2026, 3, 1), 0.1)


@pytest.fixture
def folder(filled, tmp_path):
    """A good log, one with a severe finding, and broken files."""
    filled("good.xlsx", inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    filled("bad.xlsx", inst=[FIELD], log=[reading(FIELD, 12)])
    whole = (tmp_path / "good.xlsx").read_bytes()
    (tmp_path / "deeper").mkdir()
    (tmp_path / "deeper/cut.xlsx").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "locked.xlsx").write_bytes(
        bytes.fromhex("D0CF11E0A1B11AE1") + "EncryptedPackage".encode("utf-16-le")
    )
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    (tmp_path / "~$good.xlsx").write_bytes(b"lock")
    return tmp_path


def test_files_folders_and_patterns(folder):
    names = [path.name for path in run.files([str(folder)])]
    assert names == ["bad.xlsx", "cut.xlsx", "good.xlsx", "locked.xlsx", "other.xlsx"]
    good = str(folder / "good.xlsx")
    assert [p.name for p in run.files([good, str(folder / "*d.xlsx"), good])] == [
        "good.xlsx", "bad.xlsx", "locked.xlsx",
    ]  # fmt: skip
    assert run.files([str(folder / "none-*.xlsx")]) == []


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("deeper/cut.xlsx", "cut short or damaged"),
        ("locked.xlsx", "protected by a password"),
        ("other.xlsx", "not a gravity log"),
        ("nowhere.xlsx", "does not exist"),
    ],
)
def test_a_broken_file_is_one_finding(folder, name, words):
    [finding] = run.audit(folder / name, TODAY).findings
    assert (finding.code, finding.severity) == ("file", Severity.SEVERE)
    assert words in finding.reason


def test_lost_cells_are_named(filled):
    path = filled()
    book = openpyxl.load_workbook(path)
    del book.defined_names["log_stage"]
    book.save(path)
    [finding] = run.audit(path, TODAY).findings
    assert "log_stage" in finding.reason


def test_columns_of_later_workbooks_may_be_missing(filled):
    path = filled(inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    book = openpyxl.load_workbook(path)
    for name in record.TYPED:
        if name not in record.NEEDED:
            del book.defined_names[name]
    book.save(path)
    found = run.audit(path, TODAY)
    assert [finding.code for finding in found.findings] == ["not-computed"]
    assert found.readings == 1


def audit(*arguments, status):
    done = subprocess.run(
        [sys.executable, "-m", "xlfuncs", "audit", *map(str, arguments)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == status, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout


def test_the_command_goes_on_after_a_broken_file(folder):
    text = audit(folder, status=1)
    for name in ("bad.xlsx", "cut.xlsx", "locked.xlsx", "other.xlsx"):
        assert name in text
    assert "no check of field before 2026-03-07 12:00" in text
    assert "workbooks: 5, readings: 2; 4 severe, 0 warning, 2 note; 0 without a finding" in text


def test_notes_alone_leave_status_0(folder):
    assert "0 severe" in audit(folder / "good.xlsx", status=0)


def test_nothing_to_audit(tmp_path):
    assert "there is no workbook" in command("audit", tmp_path, status=2)


def test_as_data(folder):
    data = json.loads(audit(folder, "--json", status=1))
    assert data.keys() == {"version", "audited_on", "totals", "files"}
    assert data["totals"] == {"severe": 4, "warning": 0, "note": 2}
    bad = next(one for one in data["files"] if one["file"].endswith("bad.xlsx"))
    assert bad.keys() == {"file", "instruments", "checks", "readings", "findings"}
    finding = bad["findings"][0]
    assert (finding["code"], finding["sheet"], finding["cell"]) == ("no-check", "Log", "E6")
    keys = set(re.findall(r"`(\w+)`", DOCUMENT.read_text("utf-8")))
    assert data.keys() | bad.keys() | finding.keys() <= keys


def test_every_code_is_explained():
    rows = [line for line in DOCUMENT.read_text("utf-8").splitlines() if line.startswith("| `")]
    explained = {code for row in rows for code in re.findall(r"`([a-z-]+)`", row.split("|")[1])}
    source = "".join(Path(module.__file__).read_text("utf-8") for module in (rules, run))
    codes = set(re.findall(r'(?:_at\(\s*[\w.]+,|Finding\()\s*"([a-z-]+)"', source))
    assert len(codes) > 20
    assert codes <= explained


def test_the_paper_holds_text_only(filled):
    path = filled("=1+1.xlsx", inst=[FIELD], check=[
        CHECK, water_check(FIELD, day(2026, 3, 9), 0.9)],
        log=[reading(FIELD, 12, batch="=cmd()")])  # fmt: skip
    sheet_path = path.with_name("paper.xlsx")
    sheet_path.write_bytes(paper.workbook([run.audit(path, TODAY)], TODAY))
    sheet = openpyxl.load_workbook(sheet_path).active
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"}
    text = "\n".join(str(cell.value) for cell in cells)
    assert "found at +0.9 on 2026-03-09" in text
    assert "with this check" in text


def test_thousands_of_checks(filled):
    from xlfuncs.workbook.vocabulary import Choices

    checks = [water_check(FIELD, day(2026, 1, 1 + i % 28, i % 24, i % 60), 0.0001 * i)
              for i in range(1000)]  # fmt: skip
    path = filled(choices=Choices(rows=20, checks=1000), inst=[FIELD], check=checks,
                  log=[reading(FIELD, 12)])  # fmt: skip
    assert run.audit(path, TODAY).checks == 1000
