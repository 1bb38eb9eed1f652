"""Many files at once, broken ones among them; the command, its data, its paper."""

from __future__ import annotations

import datetime
import hashlib
import json
import re
import subprocess
import sys
import zipfile
from dataclasses import fields
from pathlib import Path

import openpyxl
import pytest

from tests.audit.conftest import SHOWN, TEXTS, computed_file
from tests.helpers import run as command
from tests.workbook.conftest import BENCH, FIELD, TODAY, day, reading, water_check
from xlfuncs.audit import record, rules, run, year
from xlfuncs.audit.findings import Doubt, Inventory, Otherwise, Severity
from xlfuncs.cells.values import date_serial
from xlfuncs.workbook.words import Choices

DOCUMENT = Path(__file__).parents[2] / "docs/audit.md"
CHECK = water_check(FIELD, day(2026, 3, 1), 0.1)


@pytest.fixture
def folder(filled, tmp_path):
    """A good log, one with a severe finding, and broken files."""
    filled("good.xlsx", inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    filled("bad.xlsx", inst=[BENCH], log=[reading(BENCH, 12)])
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


def test_folders_hold_workbooks_with_any_ending_of_theirs(filled, tmp_path):
    path = filled(inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    whole = path.read_bytes()
    for name in ("LOUD.XLSX", "Macro.XlsM", "copy.xlsx.txt", "notes.xls"):
        (tmp_path / name).write_bytes(whole)
    (tmp_path / "other").mkdir()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(tmp_path / "other/macro.xlsm", "w") as new:
        for part in old.namelist():
            text = old.read(part)
            if part == "[Content_Types].xml":
                text = text.replace(
                    b"openxmlformats-officedocument.spreadsheetml.sheet.main",
                    b"ms-excel.sheet.macroEnabled.main",
                )
            new.writestr(part, text)
    found = run.files([str(tmp_path)])
    assert [one.name for one in found] == ["LOUD.XLSX", "Macro.XlsM", "log.xlsx", "macro.xlsm"]
    for one in found:
        audit = run.audit(one, TODAY)
        assert (audit.readings, [f.code for f in audit.findings]) == (1, ["not-computed"])


def test_what_is_skipped_is_counted_and_named(folder):
    for name in ("old.xls", "deeper/years.csv", ".hidden.txt", "~$good.xlsx"):
        (folder / name).write_bytes(b"")
    assert "not audited: 2 in these folders, of other endings: years.csv, old.xls" in audit(
        folder, status=1
    )
    assert json.loads(audit(folder, "--json", status=1))["skipped"] == [
        str(folder / "deeper" / "years.csv"), str(folder / "old.xls"),
    ]  # fmt: skip
    assert "not audited" not in audit(folder / "good.xlsx", status=0)
    many = [folder / f"{i}.csv" for i in range(30)]
    for path in many:
        path.write_bytes(b"")
    assert "26.csv, 12 more" in audit(folder, status=1)


def test_a_fault_of_ours_in_one_file_leaves_the_others(folder, monkeypatch):
    def breaks(seen):
        if seen.record.readings[0].check is None:
            raise KeyError("plato")
        return []

    monkeypatch.setattr(rules, "RULES", [breaks, *rules.RULES])
    audits = {path.name: run.audit(path, TODAY) for path in run.files([str(folder)])}
    [finding] = audits["bad.xlsx"].findings
    assert (finding.code, finding.severity) == ("file", Severity.SEVERE)
    assert "broke off (KeyError: 'plato')" in finding.reason
    assert audits["good.xlsx"].readings == 1


def test_lost_cells_are_named(filled):
    path = filled()
    book = openpyxl.load_workbook(path)
    del book.defined_names["log_stage"]
    book.save(path)
    [finding] = run.audit(path, TODAY).findings
    assert "log_stage" in finding.reason


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
    assert "no check of bench before 2026-03-07 12:00" in text
    assert "workbooks: 5, readings: 2; 4 severe, 0 warning, 2 note; 0 without a finding" in text


def test_notes_alone_leave_status_0(folder):
    assert "0 severe" in audit(folder / "good.xlsx", status=0)


def test_nothing_to_audit(tmp_path):
    assert "there is no workbook" in command("audit", tmp_path, status=2)


def test_as_data(folder):
    data = json.loads(audit(folder, "--json", status=1))
    assert data.keys() == {
        "version", "audited_on", "totals", "inventory", "shown_otherwise", "files", "skipped",
    }  # fmt: skip
    assert data["audited_on"] == datetime.date.today().isoformat()
    assert data["totals"] == {"severe": 4, "warning": 0, "note": 2}
    bad = next(one for one in data["files"] if one["file"].endswith("bad.xlsx"))
    assert bad.keys() == {
        "file", "sha256", "instruments", "checks", "readings", "repeated", "findings",
    }  # fmt: skip
    assert bad["sha256"] == hashlib.sha256((folder / "bad.xlsx").read_bytes()).hexdigest()
    finding = bad["findings"][0]
    assert (finding["code"], finding["sheet"]) == ("no-check", "Log")
    keys = set(re.findall(r"`(\w+)`", DOCUMENT.read_text("utf-8")))
    told = [field.name for one in (Doubt, Inventory, Otherwise) for field in fields(one)]
    assert data.keys() | bad.keys() | finding.keys() | set(told) <= keys


def test_every_code_is_explained():
    rows = [line for line in DOCUMENT.read_text("utf-8").splitlines() if line.startswith("| `")]
    explained = {code for row in rows for code in re.findall(r"`([a-z-]+)`", row.split("|")[1])}
    source = "".join(Path(module.__file__).read_text("utf-8") for module in (rules, run))
    codes = set(re.findall(r'(?:_at\(\s*[\w.]+,|Finding\()\s*"([a-z-]+)"', source))
    assert len(codes) > 20
    assert codes <= explained
    tests = "".join(path.read_text("utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    assert {code for code in codes if f'"{code}"' not in tests} == set()


def test_thousands_of_checks(filled):
    """Of which each is fitted, and the last before the reading is in force."""
    checks = [water_check(FIELD, day(2010, 1, 1) + datetime.timedelta(days=i), 0.00005 * i)
              for i in range(2000)]  # fmt: skip
    path = filled(choices=Choices(rows=20, checks=2000), inst=[FIELD], check=checks,
                  log=[reading(FIELD, 12, day(2014, 1, 1))])  # fmt: skip
    read = record.read(path)
    assert len(read.checks) == len(read.instruments[0].piece.checks) == 2000
    assert read.readings[0].check.when == date_serial(day(2014, 1, 1))
    [piece] = year.join([read]).pieces
    seen = rules.Seen(read, date_serial(TODAY))
    assert {one.code for rule in rules.RULES for one in rule(seen)} == {"not-computed"}
    assert not [one for rule in rules.INSTRUMENT_RULES for one in rule(piece)]


def test_no_check_at_all(filled):
    path = filled(inst=[FIELD], log=[reading(FIELD, 12), reading(FIELD, 12)])
    audit = run.audit(path, TODAY)
    assert (audit.checks, audit.readings) == (0, 2)
    codes = [one.code for one in audit.findings]
    assert codes == ["no-check", "no-check", "not-computed"]


@pytest.mark.parametrize("share", [0.001, 0.1, 0.5, 0.9, 0.9999])
def test_a_workbook_cut_short_anywhere(filled, share):
    path = filled(inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    [finding] = run.audit(path, TODAY).findings
    assert (finding.code, finding.severity) == ("file", Severity.SEVERE)
    assert "cut short or damaged" in finding.reason


def test_a_workbook_that_another_program_cut(filled):
    """As an office without the functions saves it: array formulas of one cell, values beside."""
    path = filled(inst=[FIELD], check=[CHECK], log=[reading(FIELD, 12)])
    book = openpyxl.load_workbook(path)
    title, cells = next(iter(book.defined_names["log_sg"].destinations))
    first = cells.replace("$", "").partition(":")[0]
    book[title][first].value.ref = first
    book.save(path)
    [finding] = run.audit(path, TODAY).findings
    assert (finding.code, finding.severity) == ("file", Severity.SEVERE)
    assert f"({title}!{cells.replace('$', '')})" in finding.reason


def test_without_an_office_the_findings_are_told_all_the_same(folder, monkeypatch):
    monkeypatch.setenv("XLFUNCS_OFFICE", str(folder / "nowhere"))
    before = sorted(folder.rglob("*"))
    done = subprocess.run(
        [sys.executable, "-m", "xlfuncs", "audit", folder, "--pdf", folder / "audit.pdf"],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 2
    assert "no check of bench before 2026-03-07 12:00" in done.stdout
    assert "4 severe" in done.stdout
    assert done.stderr == (
        f"xlfuncs: XLFUNCS_OFFICE names {folder / 'nowhere'}, but there is no LibreOffice\n"
    )
    assert sorted(folder.rglob("*")) == before


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("audit.pdf", "exists already; choose another name, or --force"),
        ("audit.txt", "must end in .pdf"),
        ("deeper", "is a folder"),
    ],
)
def test_no_file_is_written_over_unasked(folder, name, said):
    """And what cannot be written is said before anything is audited."""
    (folder / "audit.pdf").write_bytes(b"older")
    assert said in command("audit", folder, "--pdf", folder / name, status=2)
    assert (folder / "audit.pdf").read_bytes() == b"older"
    assert not (folder / "audit.txt").exists()


def raw(text):
    """Characters that a terminal would act on."""
    return set(re.findall(r"[^\n\t -~\xa0-\u2027\u2030-\u2065\u2070-\ud7ff]", text))


def test_what_stands_in_a_file_does_not_steer_the_terminal(steering):
    text = audit(steering, status=1)
    assert raw(text) == set()
    plain = " ".join(text.split())
    assert r"=1+\u001b[31m2.xlsx" in plain
    for batch in (*TEXTS[:4], SHOWN):
        assert f"batch {batch}: 1.0" in plain
    assert f'"{SHOWN}" is not on Setup' in plain


def test_the_data_hold_the_texts_as_they_are(steering):
    text = audit(steering, "--json", status=1)
    assert raw(text) == set()
    [file] = json.loads(text)["files"]
    assert file["file"] == str(steering)
    doubts = next(one["in_doubt"] for one in file["findings"] if one["in_doubt"])
    assert [doubt["batch"] for doubt in doubts] == list(TEXTS)


def test_what_many_files_say_alike_is_kept_once(tmp_path):
    """The record of thousands of files is held as a whole: names, places, verdicts, numbers."""
    shown = []
    for name in ("one.xlsx", "two.xlsx"):
        with computed_file(
            tmp_path / name, stored=True, inst=[FIELD],
            batch=[{"name": "Porter 12", "before_boil_gravity": 1.05, "before_boil_volume": 25}],
            log=[reading(FIELD, 12.4, batch="Porter 12", stage="before boil", volume=24.5,
                         volume_temperature=31.5)],
        ) as book:  # fmt: skip
            shown.append(record.read(book.path).readings[0])
    one, two = shown
    assert one.cell.file != two.cell.file
    assert one.row.table.columns is two.row.table.columns
    for of in (
        lambda reading: reading.cell.address,
        lambda reading: reading.verdict,
        lambda reading: reading.volume_verdict,
        lambda reading: reading.row.value("volume_temperature"),
        lambda reading: reading.row.value("volume_verdict"),
        lambda reading: reading.instrument.name,
        lambda reading: reading.batch.name,
    ):
        assert of(one) is of(two)
        assert of(one) not in (None, "")
