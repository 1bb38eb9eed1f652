"""A workbook of the first edition, with something on each of its sheets, in the sheets of today.

`first_edition.xlsx` was made and computed by the last program of that edition, from its invented
example and what `own.put_in` and `own.picture` put in besides.
"""

import datetime
import shutil
from pathlib import Path

import openpyxl
import pytest

from tests.helpers import column, run
from xlfuncs.files import package
from xlfuncs.files.problems import Source
from xlfuncs.hosts import embedded
from xlfuncs.records import first_edition, upgrade
from xlfuncs.records import old as olds
from xlfuncs.workbook import reader

OLD = Path(__file__).with_name("first_edition.xlsx")
TODAY = datetime.date(2026, 3, 17)
#: Cells of which several say the same: of a batch, its original gravity, the tolerance of a stage.
SAID_ONCE = {"target_gravity_tolerance", "target_volume_tolerance", "pair_original",
             "ferment_chosen", "grain_mass"}  # fmt: skip


@pytest.fixture(scope="module")
def old():
    return olds.read(OLD)


@pytest.fixture(scope="module")
def record(old):
    return first_edition.record(old)


@pytest.fixture(scope="module")
def new():
    return upgrade.upgraded(OLD)


@pytest.fixture(scope="module")
def filled(new):
    source = Source(Path("new.xlsx"), new.data)
    calculation = embedded.calculate(source, TODAY)
    assert calculation.failures == []
    return reader.read(source, calculation.values)


@pytest.fixture(scope="module")
def book(new, tmp_path_factory):
    path = tmp_path_factory.mktemp("new") / "new.xlsx"
    path.write_bytes(new.data)
    return openpyxl.load_workbook(path)


def at(book, name, line=0):
    title, cells = next(iter(book.defined_names[name].destinations))
    first = book[title][cells.replace("$", "").partition(":")[0]]
    return book[title].cell(first.row + line, first.column)


def test_the_template_knows_every_cell_that_is_not_the_users(old):
    made = first_edition.template()
    own = {
        f"{title}!{cell.coordinate}"
        for title, cells in olds.own_cells(old, made).items()
        for cell in cells
    }
    assert own == {"Log!P4", "Log!P6", "Log!P8", "Log!P9", "Runoff!K20", "Runoff!K23"}


def test_each_reading_has_the_gravity_that_it_had(old, record, filled):
    was = {"Log": "log_sg", "Runoff": "run_sg", "Fermentation": "ferment_sg"}
    now, compared = filled.column("log_sg"), dict.fromkeys([*was, "Pairs"], 0)
    for number, line in enumerate(record.tables["log"]):
        sheet, row = line.stood
        reading = line.entries["log_reading"].value
        name = was.get(sheet) or ("pair_sg" if reading < 2 else "pair_default_sg")
        area = old.names[name]
        before = old.entry(sheet, row, area.left).value
        assert now[number] == pytest.approx(before, abs=1e-9), (sheet, row)
        compared[sheet] += 1
    assert compared == {"Log": 15, "Runoff": 7, "Fermentation": 12, "Pairs": 24}


def test_readings_stand_in_the_order_of_time(filled):
    dates = [date for date in filled.column("log_date") if date is not None]
    assert len(dates) == 58
    assert dates == sorted(dates)


def test_nothing_that_was_typed_is_dropped_in_silence(old, record, new):
    """Each typed cell is an entry of the record, is listed, or is what every workbook had."""
    made = first_edition.template()
    told = {(lost.sheet, lost.cell) for lost in new.lost}
    held = [*record.cells.values(), *(e for t in record.tables.values() for line in t
                                      for e in line.entries.values())]  # fmt: skip
    kept = {(entry.sheet, entry.cell) for entry in held}
    presets = {
        (name, cell.value)
        for name, area in made.names.items()
        if (cell := made.book[area.sheet].cell(area.top, area.left)).value is not None
    }
    dropped = []
    for name in _typed(made):
        area = old.names[name]
        for line in range(area.rows):
            entry = old.entry(area.sheet, area.top + line, area.left)
            if not entry.blank and (name, entry.value) not in presets:
                place = (entry.sheet, entry.cell)
                # A batch that stands on two sheets, a reading too, is one.
                if place not in kept and place not in told:
                    dropped.append((name, entry.value))
    # Where several cells said the same, one cell says it now.
    assert {value for _, value in dropped} <= {entry.value for entry in held}
    assert {name for name, _ in dropped} <= SAID_ONCE


def _typed(made):
    """Names of cells that a person types into, as their look says."""
    for name, area in made.names.items():
        if made.book[area.sheet].cell(area.top, area.left).style == "to fill in":
            yield name


def test_plan_and_batches(filled):
    batches = {line["name"]: line for line in filled.table(
        "batch", "name", "grain", "into_fermenter_gravity", "before_boil_volume", "tolerance",
        "note",
    ) if line["name"]}  # fmt: skip
    assert batches["12 oat pale"] == {
        "name": "12 oat pale", "grain": 5.2, "into_fermenter_gravity": 1.0515,
        "before_boil_volume": 28, "tolerance": 0.003, "note": None,
    }  # fmt: skip
    assert batches["7 stout, day 3"]["into_fermenter_gravity"] == 1.066
    assert batches["8 oat pale"]["note"] == "mash efficiency 73.5 %, as typed in the first edition"


def test_what_cannot_be_carried_is_listed(new):
    told = {f"{lost.sheet}!{lost.cell}": lost for lost in new.lost}
    assert told.keys() == {
        "Calibration!B42", "Fermentation!C35", "Setup!D44", "Setup!D45", "Setup!D46",
        "Hops & malt!B5",
    }  # fmt: skip
    assert str(told["Setup!D44"]) == (
        "Setup!D44: 0.002: a batch has one tolerance for all stages now: 0.003"
    )
    assert told["Hops & malt!B5"].why.endswith(
        "log_plato is a name of the old sheets that is no more"
    )


def test_checks_settings_and_texts(book):
    assert at(book, "check_shown_1", 6).value is None
    assert [at(book, f"check_{what}_2", 6).value for what in ("shown", "known")] == [10.2, 10]
    assert at(book, "card_show").value == "yes"
    assert at(book, "standard_gravity").value == 1.05
    assert at(book, "standard_mass").value == 250
    assert at(book, "told_volume").value == 24
    left = [at(book, "log_leave", line).value for line in range(58)]
    assert left.count("yes") == 2
    notes = [at(book, "log_note", line) for line in range(58)]
    assert [(n.value, n.data_type) for n in notes if n.value == "=2+2"] == [("=2+2", "s")]
    readings = [at(book, "log_reading", line).value for line in range(58)]
    assert "=18+0.2" in readings


def test_what_the_user_put_in_stands_beside_its_line(book, new):
    log = book["Log"]
    first = next(cell for cell in log["P"] if cell.value == "fog")
    assert log[f"E{first.row}"].value == 17.6
    assert log[f"E{first.row}"].comment.text == "read twice"
    assert log["P6"].value == "Weather"
    rain = next(cell for cell in log["P"] if cell.value == "rain")
    assert (rain.row, rain.font.b) == (first.row + 2, True)
    assert log[f"P{first.row + 3}"].value == f"=E{first.row + 3}*2"
    pale = next(cell for row in log for cell in row if cell.value == "pale")
    assert log[f"E{pale.row}"].value == 12.8
    own = book["Hops & malt"]
    assert own["B1"].number_format == '0.000 "kg"'
    assert own["B1"].fill.fgColor.rgb == "FFFFEE00"
    assert own["A1"].comment.text == "counted in March"
    assert own["B3"].value == f"='Log'!E{first.row}"
    assert (own["B2"].value, own["B4"].value) == ("=COUNT(log_reading)", "=MAX(B1:B3)")
    assert book.defined_names["shed"].attr_text == "'Hops & malt'!$B$1"
    parts = package.unpacked(new.data)
    assert [name for name in parts if name.startswith("xl/media/")] == ["xl/media/image1.png"]
    assert sum(b"The mash tun" in content for content in parts.values()) == 1


def test_the_command(tmp_path):
    old, out = tmp_path / "old.xlsx", tmp_path / "new.xlsx"
    shutil.copy(OLD, old)
    assert "xlfuncs upgrade old.xlsx -o NEW.xlsx" in run("audit", old, status=1) + run(
        "report", old, status=2
    )
    said = run("upgrade", old, "-o", out)
    assert "your cells in column K of Runoff stand in column" in said
    assert "exists already" in run("upgrade", old, "-o", out, status=2)
    assert "the old workbook itself" in run("upgrade", old, "-o", old, "--force", status=2)
    assert old.read_bytes() == OLD.read_bytes()
    assert column(out, "log_sg")[57] == pytest.approx(1.01131, abs=1e-5)


def test_the_command_gives_more_lines_for_checks(tmp_path):
    old, out = tmp_path / "old.xlsx", tmp_path / "new.xlsx"
    old.write_bytes(Path(__file__).with_name("first_edition.xlsx").read_bytes())
    run("upgrade", old, "-o", out, "--checks", "130")
    assert olds.choices_of(olds.read(Source(out, out.read_bytes()))).checks == 130
