"""Batches over the years: as the sheets have them, joined over files, in text, tables, pictures."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from openpyxl.utils.cell import coordinate_to_tuple
from rich.console import Console

from tests.audit.conftest import filled  # noqa: F401
from tests.helpers import run as command
from tests.plain import engines
from tests.workbook.conftest import GLASS, day, reading, water_check
from xlfuncs import terminal
from xlfuncs.audit.typed import day as iso
from xlfuncs.files import contents, problems
from xlfuncs.functions.beer import APPARENT_ATTENUATION, BEER_ABV
from xlfuncs.functions.brewday import MASH_EFFICIENCY
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.history import run, table, workbook
from xlfuncs.history.batches import Measured
from xlfuncs.workbook import build, reader, words
from xlfuncs.workbook.words import Choices

ROOT = Path(__file__).parents[2]
DOCUMENT = ROOT / "docs/history.md"
EDITIONS = ["brewday-example.xlsx", "brewday-plain-example.xlsx"]
#: What is computed by fits needs the functions: the plain edition leaves it blank.
FUNCTIONS = EDITIONS[0]
MARKED = GLASS | {"identity": "H-1"}
RIGHT = water_check(GLASS, day(2024, 1, 1), 0.0)


def plan(name, when, **more):
    return {"name": name, "date": when, "grain": 5, "before_boil_gravity": 1.044,
            "into_fermenter_gravity": 1.050} | more  # fmt: skip


def brew(name, when, kettle=1.044, og=1.050, fg=1.010, litres=28, **more):
    """The log of a batch read with a hydrometer at 20 °C."""

    def line(stage, sg, **also):
        return reading(GLASS, sg, when, batch=name, stage=stage) | also | more

    return [
        line("before boil", kettle, volume=litres, volume_temperature=20),
        line("into fermenter", og),
        line("packaged", fg),
    ]


@pytest.fixture
def years(filled):  # noqa: F811
    """A season in each file: its batches, and a check of one instrument at its beginning."""

    def make(seasons=3, batches=2, name="{}.xlsx", **content):
        paths = []
        for season in range(seasons):
            when = [day(2024 + season, 2 + batch, 1, 12) for batch in range(batches)]
            names = [f"{season}-{batch}" for batch in range(batches)]
            at = dict(zip(names, when, strict=True))
            checked = water_check(GLASS, day(2024 + season, 1, 1), 0.0005 * season)
            given = {
                "inst": [MARKED],
                "check": [checked],
                "batch": [plan(one, moment) for one, moment in at.items()],
                "log": [line for one, moment in at.items() for line in brew(one, moment)],
            }
            paths.append(filled(name.format(2024 + season), **given | content))
        return paths

    return make


# --- the same figures as on the sheets -----------------------------------------------------------


def as_stored(path):
    """A workbook as its last calculation left it."""
    book = contents.read(problems.read(path))
    values = {
        (title, address): value
        for (title, address), value in engines.whole(path).items()
        if coordinate_to_tuple(address) not in book.sheets[title].typed
    }
    return reader.Reader(path, book, values)


@pytest.fixture(scope="module", params=EDITIONS)
def edition(request):
    """A shipped example: its history, and what its sheets have stored."""
    path = ROOT / "workbooks" / request.param
    stored = as_stored(path)
    return run.read([path]), stored


def test_efficiency_attenuation_and_alcohol_are_those_of_batches(edition):
    history, sheet = edition
    keys = ("name", "attenuation", "abv", "efficiency")
    theirs = {row["name"]: row for row in sheet.table("batch", *keys) if row["name"]}
    assert [one.name for one in history.batches] == list(theirs)[:-1]  # the last is to be brewed
    for one in history.batches:
        row = theirs[one.name]
        found = (one.attenuation, one.alcohol, one.efficiency and one.efficiency.value)
        for value, key in zip(found, keys[1:], strict=True):
            wanted = row[key]
            assert (value is None) == (wanted is None)
            if value is not None:
                assert value == pytest.approx(wanted, abs=2e-3)


def test_targets_and_verdicts_are_those_of_targets(edition):
    history, sheet = edition
    shown = next(one for one in history.batches if one.name == sheet.cell("shown_batch"))
    rows = sheet.table("target", "stage", "plan", "measured", "expanded", "verdict", "volume",
                       "volume_verdict")  # fmt: skip
    assert any(row["verdict"] for row in rows)
    for row in rows:
        stage = shown.stages[row["stage"]]
        assert stage.verdict == (row["verdict"] or "")
        assert stage.volume_verdict == (row["volume_verdict"] or "")
        for found, wanted in (
            (stage.planned, row["plan"]),
            (stage.gravity and stage.gravity.value, row["measured"]),
            (stage.gravity and stage.gravity.expanded, row["expanded"]),
            (stage.volume, row["volume"]),
        ):
            assert found == (wanted if wanted is None else pytest.approx(wanted, rel=2e-4))


def test_drift_is_that_of_calibration(edition):
    history, sheet = edition
    rows = sheet.table("state", "name", "drift", "drift_expanded", "offset", "expanded")
    for one, row in zip(history.instruments, rows, strict=False):
        assert one.name == row["name"]
        assert one.checks[-1].offset.value == pytest.approx(row["offset"], abs=1e-6)
        assert one.checks[-1].offset.expanded == pytest.approx(row["expanded"], rel=1e-6)
        assert (one.drift is None) == (row["drift"] is None)
        if one.drift:
            assert one.drift.value == pytest.approx(row["drift"], rel=1e-4)
            assert one.drift.expanded == pytest.approx(row["drift_expanded"], rel=1e-6)
    assert history.instruments[0].adjusted == 1


def test_own_factors_are_those_that_the_file_has_stored():
    path = ROOT / "workbooks" / FUNCTIONS
    stored = as_stored(path)
    (one,) = run.read([path]).factors
    assert one.wort == Measured(
        stored.cell("own_wort_factor"), 2 * stored.cell("own_u_wort_factor")
    )
    assert one.beer.value == stored.cell("own_beer_wort_factor")
    assert one.alcohol == stored.cell("own_alcohol_factor")
    assert one.used == stored.cell("wort_factor")


# --- by hand -------------------------------------------------------------------------------------


def test_a_batch_by_hand(years):
    one = run.read(years(1, 1)).batches[0]
    assert (one.name, iso(one.day)) == ("0-0", "2024-02-01 12:00")
    assert one.original.value == pytest.approx(1.05, abs=1e-6)
    assert one.last.value == pytest.approx(1.01, abs=1e-6)
    assert one.packaged
    assert one.attenuation == pytest.approx(APPARENT_ATTENUATION(1.05, 1.01), abs=0.01)
    assert one.alcohol == pytest.approx(BEER_ABV(1.05, 1.01), abs=0.001)
    assert one.efficiency.value == pytest.approx(MASH_EFFICIENCY(28, 1.044, 5), abs=0.01)
    # 1 % of the volume, and the gravity's own ±, of about its share in the points.
    u_sg = one.stages["before boil"].gravity.expanded / 2
    of_both = 2 * np.hypot(0.01, u_sg / 0.044) * one.efficiency.value
    assert one.efficiency.expanded == pytest.approx(of_both, rel=0.03)
    assert one.verdicts == {"before boil": "on target", "into fermenter": "on target"}


def test_an_original_that_was_not_measured_is_that_of_the_plan(years, filled):  # noqa: F811
    log = [line for line in brew("1", day(2024, 2, 1, 12)) if line["stage"] != "into fermenter"]
    path = filled("plan.xlsx", inst=[GLASS], check=[RIGHT], log=log,
                  batch=[plan("1", day(2024, 2, 1))])  # fmt: skip
    one = run.read([path]).batches[0]
    assert one.original_planned
    assert one.original == Measured(1.05)
    assert " p " in command("history", path)


def test_units_of_the_workbook_do_not_matter(filled):  # noqa: F811
    found = []
    for units, gravity in (("metric", "sg"), ("us", "plato")):
        plans = {"before_boil_gravity": 1.044, "into_fermenter_gravity": 1.05}
        litres, kilograms = 28.0, 5.0
        if units == "us":
            plans = {k: GRAVITY_CONVERT(v, "SG", "Plato") for k, v in plans.items()}
            litres, kilograms = 28 / 3.785411784, 5 / 0.45359237
        log = brew("1", day(2024, 2, 1, 12), litres=litres)
        for line in log:
            line["temperature"] = 68 if units == "us" else 20
            if "volume_temperature" in line:
                line["volume_temperature"] = 68 if units == "us" else 20
        tool = GLASS | ({"reference": 68} if units == "us" else {})
        content = {
            "choices": Choices(rows=20, units=units, gravity=gravity),
            "inst": [tool],
            "check": [RIGHT],
            "log": log,
            "batch": [plan("1", day(2024, 2, 1), **plans) | {"grain": kilograms}],
        }
        path = filled(f"{units}.xlsx", **content)
        found.append(run.read([path]))
    metric, us = (one.batches[0] for one in found)
    assert us.efficiency.value == pytest.approx(metric.efficiency.value, rel=1e-4)
    assert us.original.value == pytest.approx(metric.original.value, abs=1e-6)
    assert us.stages["before boil"].planned == pytest.approx(1.044, abs=1e-6)
    assert us.stages["before boil"].volume == pytest.approx(28, rel=1e-6)
    assert (found[0].plato, found[1].plato) == (False, True)


def test_hits_and_misses_by_stage(filled):  # noqa: F811
    when = [day(2024, month, 1, 12) for month in (2, 3, 4)]
    log = [line for name, moment, og in zip("123", when, (1.05, 1.056, 1.04), strict=True)
           for line in brew(name, moment, og=og)]  # fmt: skip
    plans = [plan(name, moment) for name, moment in zip("123", when, strict=True)]
    path = filled(inst=[GLASS], check=[RIGHT], log=log, batch=plans)
    kettle, fermenter = run.read([path]).stages
    assert (kettle.stage, kettle.on_target, kettle.judged) == ("before boil", 3, 3)
    counts = (fermenter.on_target, fermenter.low, fermenter.high, fermenter.close)
    assert counts == (1, 1, 1, 0)
    assert fermenter.miss == pytest.approx((0 + 0.006 - 0.01) / 3, abs=1e-5)


# --- joined over files ---------------------------------------------------------------------------


def test_batches_of_all_years_stand_in_the_order_of_their_days(years):
    paths = years(3, 2)
    history = run.read(reversed(paths))
    assert [one.name for one in history.batches] == ["0-0", "0-1", "1-0", "1-1", "2-0", "2-1"]


def test_an_instrument_is_one_over_the_files_and_drifts_over_years(years):
    (one,) = run.read(years(3, 1)).instruments
    assert (one.identity, one.joined_by, len(one.files)) == ("H-1", "mark", 3)
    assert [check.offset.value for check in one.checks] == pytest.approx([0, 0.0005, 0.001])
    # 0.0005 a year; 2024 had 366 days.
    assert one.drift.value == pytest.approx(30 * 0.001 / 731, rel=1e-2)
    assert one.readings == 9


def test_a_reading_in_two_files_counts_once(years):
    first = years(1, 1)
    again = years(1, 1, name="copy-{}.xlsx")
    history = run.read([*first, *again])
    assert len(history.batches) == 1
    assert history.batches[0].readings == 3
    assert history.repeated == 3
    assert "3 stand in two of them and count once" in command("history", *first, *again)


# --- broken files --------------------------------------------------------------------------------


def test_broken_files_are_named_and_the_others_go_on(years, tmp_path):
    years(1, 2)
    (tmp_path / "broken.xlsx").write_bytes(b"PK no workbook")
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    out = tmp_path / "out.csv"
    said = command("history", tmp_path, "--csv", out, status=1)
    assert "left out: " in said
    assert "broken.xlsx is cut short or damaged" in said
    assert "other.xlsx is not a gravity log" in said
    assert len(out.read_text().splitlines()) == 3


def test_nothing_that_can_be_read_writes_nothing(tmp_path):
    out = tmp_path / "out.csv"
    assert "there is no workbook" in command("history", tmp_path, "--csv", out, status=2)
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    said = command("history", tmp_path, "--csv", out, status=2)
    assert "none of these files is a workbook that can be read" in said
    assert not out.exists()


@pytest.mark.parametrize(("option", "name"), [("--csv", "out.csv"), ("--xlsx", "out.xlsx")])
def test_an_existing_file_is_kept_unless_forced(years, tmp_path, option, name):
    (path,) = years(1, 1)
    out = tmp_path / "out" / name
    out.parent.mkdir()
    out.write_text("mine")
    assert "exists already" in command("history", path, option, out, status=2)
    assert out.read_text() == "mine"
    command("history", path, option, out, "--force")
    assert out.read_bytes() != b"mine"


def test_a_file_without_batches(filled):  # noqa: F811
    path = filled(inst=[GLASS])
    assert "Batches: 0" in command("history", path)
    assert workbook.to_bytes(run.read([path])).startswith(b"PK")
    assert len(table.as_csv([]).splitlines()) == 1


# --- in a terminal -------------------------------------------------------------------------------


def test_a_hundred_columns_break_no_word(years, monkeypatch):
    long = MARKED | {"name": "Second best glass hydrometer of the brewhouse"}
    checked = water_check(long, day(2024, 1, 1), 0.0)
    paths = years(2, 2, inst=[long], check=[checked], log=[])
    monkeypatch.setattr(terminal, "out", Console(highlight=False, width=100))
    said = command("history", ROOT / "workbooks" / FUNCTIONS, *paths)
    assert max(map(len, said.splitlines())) <= 100
    for word in ("refractometer", "brewhouse", "2025-12-08", "10 strong pale", "80.0 ± 3.4",
                 "0.0005 ± 0.0008 SG", "probably high:", "too close to call"):  # fmt: skip
        assert word in said


# --- tables --------------------------------------------------------------------------------------


def read_csv(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_csv_has_the_documented_headings_and_numbers_with_a_point(years):
    history = run.read(years(1, 1))
    data = table.as_csv(history.batches)
    (row,) = read_csv(data)
    assert list(row) == [column.name for column in table.COLUMNS]
    assert row["brew_day"] == "2024-02-01"
    assert float(row["original_gravity"]) == pytest.approx(1.05)
    assert row["before_boil_gravity_verdict"] == "on target"
    assert row["runoff_end_gravity"] == ""
    assert row["last_stage"] == words.PACKAGED
    # Names are documented once for all stages.
    text = DOCUMENT.read_text("utf-8")
    stages = "|".join(map(words.key, words.PLANNED))
    for column in table.COLUMNS:
        name = re.sub(f"^({stages})_", "STAGE_", column.name)
        assert f"`{name}`" in text


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|x"])
def test_text_is_no_formula(years, name):
    history = run.read(years(1, 1))
    history.batches = [dataclasses.replace(history.batches[0], name=name)]
    (row,) = read_csv(table.as_csv(history.batches))
    assert row["batch"] == f"'{name}"
    book = openpyxl.load_workbook(io.BytesIO(workbook.to_bytes(history)))
    assert book[words.BATCHES]["A2"].value == name
    assert book[words.BATCHES]["A2"].data_type == "s"


def parts(data):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


def charts(data):
    found = {name: text for name, text in parts(data).items() if "charts/chart" in name}
    return [re.sub(r"<[^>]+>", "", re.search(r"<c:title>.*?</c:title>", text)[0])
            for _, text in sorted(found.items())]  # fmt: skip


def test_the_workbook_opens_with_what_matters_and_its_pictures(years):
    history = run.read(years(3, 2))
    data = workbook.to_bytes(history)
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.active.title == book.sheetnames[0] == "History"
    first = [cell.value for cell in book["History"]["A"] if cell.value]
    assert first[1] == "6 batches in 3 workbooks, 2024-02-01 to 2026-03-01"
    assert first[2].startswith("efficiency ")
    mean = sum(one.attenuation for one in history.batches) / 6
    assert f"attenuation {mean:.1f} %" in first[2]
    assert "12 of 12 gravities on target" in first[2]
    assert charts(data) == [
        "Mash efficiency, and its ±",
        "Apparent attenuation",
        "Batches on target by stage",
        "glass (H-1): correction as found, and its ±",
    ]
    assert not any("<f>" in text for name, text in parts(data).items() if "worksheets" in name)
    sheet = book[words.BATCHES]
    assert [sheet.cell(row, 1).value for row in range(2, 8)] == [b.name for b in history.batches]
    place = next(i for i, c in enumerate(table.COLUMNS, 1) if c.name == "efficiency_percent")
    assert sheet.cell(2, place).value == round(history.batches[0].efficiency.value, 2)
    assert data == workbook.to_bytes(history)


def test_pictures_have_their_bars_and_limits_named(years):
    made = parts(workbook.to_bytes(run.read(years(3, 2))))
    texts = [text for name, text in made.items() if "/chart" in name]
    with_bars = [text for text in texts if "<c:errBars>" in text]
    assert len(with_bars) == 2  # efficiency and instrument; attenuation has no ± of its own
    (moved,) = [text for text in texts if "correction as found" in text]
    assert "put up with" in moved


def test_empty_pictures_are_left_out(filled, years):  # noqa: F811
    assert charts(workbook.to_bytes(run.read(years(1, 1)))) == ["Batches on target by stage"]
    none = workbook.to_bytes(run.read([filled(inst=[GLASS])]))
    assert charts(none) == []
    book = openpyxl.load_workbook(io.BytesIO(none))
    assert any("No picture" in str(cell.value) for cell in book["History"]["A"])


def test_it_is_built_of_what_new_writes(tmp_path):
    """A workbook that nobody has filled in is no error."""
    path = tmp_path / "new.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices(rows=20))))
    assert "batches: 0" in command("history", path)
