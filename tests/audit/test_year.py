"""The files of a year are one record: joined by instrument, batch and reading, and said so."""

from __future__ import annotations

import collections

import pytest

from tests.audit import invented_year
from tests.audit.invented_year import BENCH, FIELD, GLASS, TODAY, workbook
from tests.workbook.conftest import BATCH, SMALL, day, reading, water_check
from xlfuncs.audit import run
from xlfuncs.audit.findings import Severity
from xlfuncs.hosts import embedded

PLAN = BATCH | {"date": day(2026, 1, 5)}


@pytest.fixture
def audit(tmp_path):
    """Audit workbooks, which get the names given, in that order."""

    def make(**books):
        paths = []
        for name, data in books.items():
            paths.append(tmp_path / f"{name}.xlsx")
            paths[-1].write_bytes(data)
        return run.audit_all(paths, TODAY)

    return make


def book(choices=SMALL, cells=None, **tables):
    if "log" in tables:
        tables.setdefault("batch", [PLAN])
    return workbook(choices, cells, **tables)


def codes(found):
    """Code and file of each finding, but for the note that nothing was computed."""
    return [(one.code, one.file.rpartition("/")[2]) for file in found.files
            for one in file.findings if one.code != "not-computed"]  # fmt: skip


def one_of(found, code):
    [finding] = [one for file in found.files for one in file.findings if one.code == code]
    return finding


# --- one file and twelve ------------------------------


def numbers(found):
    """What is typed where, by the number in its note."""
    places = {}
    for record in found.year.records:
        for line in record.readings:
            where = line.cell
            places[where.file, where.sheet, where.address[1:]] = line.row.value("note")
        for check in record.checks:
            where = check.cell
            places[where.file, where.sheet, where.address[1:]] = check.row.value("note")
    return places


def test_a_year_has_the_same_findings_in_one_file_and_in_twelve(year):
    def told(found):
        places = numbers(found)
        return collections.Counter(
            (one.code, one.severity, places[one.file, one.sheet, one.cell[1:]],
             frozenset((places[d.file, d.sheet, d.cell[1:]], d.recorded_sg, d.corrected_sg)
                       for d in one.in_doubt))
            for file in found.files for one in file.findings if one.code != "not-computed"
        )  # fmt: skip

    whole, months = map(told, year)
    assert whole == months
    assert {code for code, *_ in whole} >= {
        "outside-tolerance", "check-overdue", "no-check", "far", "disagree", "rises", "order",
        "unknown-batch", "original-planned", "temperature-missing",
    }  # fmt: skip
    [doubts] = [one[3] for one in whole if one[0] == "outside-tolerance"]
    assert len(doubts) > 50


def test_a_year_has_the_same_gravities_in_one_file_and_in_twelve(year):
    def told(found):
        return {
            line.row.value("note"): (line.check and line.check.row.value("note"), line.sg, line.u,
                                     line.mean, line.u_mean, line.verdict, line.volume_verdict)
            for record in found.year.records for line in record.readings
        }  # fmt: skip

    whole, months = map(told, year)
    assert len(whole) == 660
    assert whole.keys() == months.keys()
    for note, (check, sg, u, mean, u_mean, *verdicts) in whole.items():
        other = months[note]
        assert check == other[0]
        assert (sg, u, mean, u_mean) == pytest.approx(other[1:5], rel=1e-12), note
        assert tuple(verdicts) == other[5:]


def test_checks_of_march_are_in_force_in_october(year):
    _, months = year
    october = months.year.records[9]
    assert october.checks == []
    assert {line.check.cell.file[-7:] for line in october.readings} == {
        "08.xlsx", "07.xlsx", "01.xlsx", "02.xlsx",
    }  # fmt: skip


def test_the_inventory_says_what_is_joined_and_how(year):
    whole, months = (found.audit.inventory for found in year)
    assert [(one.name, one.identity, one.joined_by, len(one.files)) for one in months] == [
        (tool["name"], tool["identity"], "identity", 12) for tool in invented_year.INSTRUMENTS
    ]
    assert [(one.checks, one.readings) for one in whole] == [
        (one.checks, one.readings) for one in months
    ]
    assert {one.joined_by for one in whole} == {""}


# --- what is one instrument ------------------------------

GOOD = water_check(FIELD, day(2026, 1, 2), 0.1)


def test_an_instrument_without_a_mark_is_joined_by_name(audit):
    tool = FIELD | {"identity": None}
    line = reading(tool, 12, day(2026, 1, 30))
    found = audit(march=book(inst=[tool], check=[GOOD]), october=book(inst=[tool], log=[line]))
    assert codes(found) == []
    [one] = found.audit.inventory
    assert (one.joined_by, len(one.files), one.checks, one.readings) == ("name", 2, 1, 1)


def test_renamed_half_way_is_joined_and_said(audit):
    other = FIELD | {"name": "old field"}
    found = audit(
        march=book(inst=[other], check=[GOOD | {"instrument": "old field"}]),
        october=book(inst=[FIELD], log=[reading(FIELD, 12, day(2026, 1, 30))]),
    )
    assert codes(found) == [("renamed", "october.xlsx")]
    said = one_of(found, "renamed").reason
    assert "the mark R-1, as old field has" in said
    assert "march.xlsx" in said
    [one] = found.audit.inventory
    assert one.names == ["old field", "field"]


def test_one_name_with_two_marks_is_two_instruments(audit):
    other = FIELD | {"identity": "R-9"}
    found = audit(
        march=book(inst=[FIELD], check=[GOOD]),
        october=book(inst=[other], log=[reading(other, 12, day(2026, 1, 30))]),
    )
    assert sorted(codes(found)) == [
        ("no-check", "october.xlsx"), ("two-instruments", "october.xlsx"),
    ]  # fmt: skip
    assert "with the mark R-9 here" in one_of(found, "two-instruments").reason


def test_a_missing_mark_is_that_of_the_only_one_with_the_name(audit):
    bare = FIELD | {"identity": None}
    line = reading(FIELD, 12, day(2026, 1, 30))
    found = audit(march=book(inst=[FIELD], check=[GOOD]), october=book(inst=[bare], log=[line]))
    assert codes(found) == []
    assert [one.joined_by for one in found.audit.inventory] == ["identity and name"]
    other = FIELD | {"identity": "R-9"}
    found = audit(march=book(inst=[FIELD], check=[GOOD]), may=book(inst=[other]),
                  october=book(inst=[bare], log=[line]))  # fmt: skip
    assert ("no-check", "october.xlsx") in codes(found)
    assert codes(found).count(("two-instruments", "october.xlsx")) == 1


@pytest.mark.parametrize("typed", ["-", "n/a", " None ", "?"])
def test_what_stands_for_no_mark_joins_nothing(audit, typed):
    tools = [FIELD | {"identity": typed}, BENCH | {"identity": typed}]
    found = audit(march=book(inst=tools, check=[GOOD]),
                  october=book(inst=tools, log=[reading(BENCH, 12, day(2026, 1, 30))]))  # fmt: skip
    assert codes(found) == [("no-check", "october.xlsx")]
    assert [one.joined_by for one in found.audit.inventory] == ["name", "name"]


def test_one_mark_on_two_kinds_is_two_instruments(audit):
    jar = GLASS | {"identity": "R-1"}
    found = audit(march=book(inst=[FIELD], check=[GOOD]), october=book(inst=[jar]))
    assert codes(found) == [("two-instruments", "october.xlsx")]
    assert "glass is a hydrometer" in one_of(found, "two-instruments").reason


def test_nothing_is_joined_between_breweries(audit):
    found = audit(
        march=book(SMALL, {"brewery": "Mill"}, inst=[FIELD], check=[GOOD]),
        october=book(SMALL, {"brewery": "Pond"}, inst=[FIELD],
                     log=[reading(FIELD, 12, day(2026, 1, 30))]),
    )  # fmt: skip
    assert sorted(codes(found)) == [("no-check", "october.xlsx"), ("other-brewery", "october.xlsx")]


def test_a_check_copied_into_the_next_file_counts_once(audit):
    bad = water_check(FIELD, day(2026, 1, 10), 0.5)
    line = reading(FIELD, 12, day(2026, 1, 5))
    found = audit(march=book(inst=[FIELD], check=[GOOD, bad], log=[line]),
                  october=book(inst=[FIELD], check=[GOOD, bad]))  # fmt: skip
    assert sorted(codes(found)) == [
        ("as-left-missing", "march.xlsx"), ("outside-tolerance", "march.xlsx"),
    ]  # fmt: skip
    [piece] = found.year.pieces
    assert [check.also for check in piece.checks] == [1, 1]


# --- what is one reading ------------------------------


def test_the_same_reading_in_two_files_counts_once(audit):
    line, later = reading(FIELD, 12, day(2026, 1, 30)), reading(FIELD, 11, day(2026, 1, 31))
    found = audit(march=book(inst=[FIELD], check=[GOOD], log=[line]),
                  copy=book(inst=[FIELD], check=[GOOD], log=[line, later]))  # fmt: skip
    assert codes(found) == [("same-reading", "copy.xlsx")]
    assert "march.xlsx" in one_of(found, "same-reading").reason
    assert [(file.readings, file.repeated) for file in found.files] == [(1, 0), (1, 1)]
    [piece] = found.year.pieces
    assert len(piece.readings) == 2


def test_two_equal_drops_in_one_file_are_two_readings(audit):
    line = reading(FIELD, 12, day(2026, 1, 30))
    twice = book(inst=[FIELD], check=[GOOD], log=[line, line])
    found = audit(march=twice)
    assert codes(found) == []
    assert found.files[0].readings == 2
    again = book(SMALL, {"brewery": "Mill"}, inst=[FIELD], check=[GOOD], log=[line, line])
    found = audit(march=twice, copy=again)
    assert codes(found) == [("same-reading", "copy.xlsx")] * 2


def test_the_same_file_twice_is_one_finding(audit, tmp_path):
    data = book(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12, day(2026, 1, 30))])
    found = audit(march=data, copy=data)
    assert codes(found) == [("same-file", "copy.xlsx")]
    assert found.files[0].sha256 == found.files[1].sha256
    assert sum(file.readings for file in found.files) == 1


# --- what is one batch ------------------------------


def beer(shown, date, **more):
    return reading(BENCH, shown, date, stage="fermenting", temperature=None, **more)


CHECKED = water_check(BENCH, day(2026, 1, 1), 0.0)
WORT = reading(BENCH, 12, day(2026, 1, 5, 12), stage="into fermenter")


def test_beer_starts_from_the_wort_in_another_file(audit):
    late = beer(6, day(2026, 1, 12))
    found = audit(january=book(inst=[BENCH], check=[CHECKED], log=[WORT]),
                  february=book(inst=[BENCH], log=[late]))  # fmt: skip
    assert codes(found) == []
    wort, one = (record.readings[0] for record in found.year.records)
    assert one.start is wort
    together = audit(both=book(inst=[BENCH], check=[CHECKED], log=[WORT, late]))
    other = together.year.records[0].readings[1]
    assert (one.sg, one.u) == pytest.approx((other.sg, other.u), rel=1e-12)


@pytest.mark.parametrize("batch", [{"name": "1"}, {"name": "another"}])
def test_without_a_brew_day_beer_is_of_the_last_batch_of_its_name(audit, batch):
    """Whether Batches of its own file has that name or not."""
    found = audit(january=book(inst=[BENCH], check=[CHECKED], log=[WORT]),
                  february=book(inst=[BENCH], batch=[batch],
                                log=[beer(6, day(2026, 1, 12))]))  # fmt: skip
    assert found.year.records[1].readings[0].start is found.year.records[0].readings[0]


def test_the_next_batch_of_a_name_is_another(audit):
    """Brewed in another month, its beer does not start from the wort of the first."""
    found = audit(
        january=book(inst=[BENCH], check=[CHECKED], log=[WORT, beer(6, day(2026, 1, 12))]),
        february=book(inst=[BENCH], batch=[BATCH | {"date": day(2026, 1, 20)}],
                      log=[beer(8, day(2026, 1, 26))]),
    )  # fmt: skip
    assert codes(found) == [("original-missing", "february.xlsx")]


def test_each_line_keeps_the_settings_of_its_file(audit):
    """Units, wort factor and tolerance."""
    fahrenheit = {"set_temperature": "F", "set_wort_factor": 1.02, "set_gravity": "Plato"}
    strict = FIELD | {"tolerated": 0.05}
    found = audit(
        january=book(inst=[FIELD], check=[GOOD], log=[reading(FIELD, 12, day(2026, 1, 10))]),
        february=book(SMALL, fahrenheit, inst=[strict],
                      check=[water_check(FIELD, day(2026, 1, 20), 0.1, temperature=68)],
                      log=[reading(FIELD, 12, day(2026, 1, 30), temperature=68)]),
    )  # fmt: skip
    first, second = (record.readings[0] for record in found.year.records)
    assert first.celsius == second.celsius == pytest.approx(20)
    assert first.brix == pytest.approx(second.brix)
    assert second.sg > first.sg
    # 0.1 is tolerated in January's file and not in February's, which has a reading in doubt.
    assert [c for c, _ in codes(found)] == ["outside-tolerance", "as-left-missing"]
    finding = one_of(found, "outside-tolerance")
    assert finding.severity == Severity.SEVERE
    assert [doubt.file[-12:] for doubt in finding.in_doubt] == ["january.xlsx"]


# --- what the workbook by itself shows ------------------------------


def test_a_figure_without_the_check_of_another_file_is_told_and_is_no_finding(audit, tmp_path):
    bad_water = water_check(FIELD, day(2026, 1, 2), 0.2)
    data = book(inst=[FIELD], log=[reading(FIELD, 12, day(2026, 1, 30))])
    (tmp_path / "alone.xlsx").write_bytes(data)
    embedded.calculate_file(tmp_path / "alone.xlsx", tmp_path / "alone.xlsx", TODAY)
    found = audit(march=book(inst=[FIELD], check=[bad_water]),
                  alone=(tmp_path / "alone.xlsx").read_bytes())  # fmt: skip
    assert codes(found) == []
    [told] = found.audit.shown_otherwise
    assert told.file.endswith("alone.xlsx")
    assert told.shown_sg - told.sg == pytest.approx(0.0008, abs=1e-4)
    assert codes(audit(alone=(tmp_path / "alone.xlsx").read_bytes())) == [
        ("no-check", "alone.xlsx")
    ]


# --- files that go wrong ------------------------------


def test_a_file_that_changes_while_it_is_read_is_named(tmp_path):
    paths = [tmp_path / "steady.xlsx", tmp_path / "moving.xlsx", tmp_path / "gone.xlsx"]
    for number, path in enumerate(paths):
        path.write_bytes(book(inst=[FIELD], check=[GOOD],
                              log=[reading(FIELD, 12, day(2026, 1, 20 + number))]))  # fmt: skip

    def meanwhile():
        yield from paths
        paths[1].write_bytes(paths[0].read_bytes())
        paths[2].unlink()

    found = run.audit_all(meanwhile(), TODAY)
    assert sorted(codes(found)) == [("file-changed", "gone.xlsx"), ("file-changed", "moving.xlsx")]
    assert [file.readings for file in found.files] == [1, 1, 1]
    assert "close it elsewhere and audit again" in found.files[1].findings[0].reason


def test_broken_files_stay_one_finding_each_and_the_rest_is_joined(audit):
    line = reading(FIELD, 12, day(2026, 1, 30))
    found = audit(march=book(inst=[FIELD], check=[GOOD]), cut=book()[:5000], text=b"PK no zip",
                  october=book(inst=[FIELD], log=[line]))  # fmt: skip
    assert codes(found) == [("file", "cut.xlsx"), ("file", "text.xlsx")]


def test_readings_of_one_wort_in_two_files_are_taken_together(audit):
    lines = [reading(FIELD, shown, day(2026, 1, 30, 12, minute))
             for shown, minute in ((12.0, 0), (12.1, 5), (14.0, 9))]  # fmt: skip
    found = audit(one=book(inst=[FIELD], check=[GOOD], log=lines[:1]),
                  two=book(inst=[FIELD], log=lines[1:]))  # fmt: skip
    assert codes(found) == [("far", "two.xlsx")]
    assert found.year.records[0].readings[0].mean_of == 3
