"""A new user's first brew day: so little is typed, and every view answers."""

from __future__ import annotations

import pytest

from tests.workbook.conftest import day
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG

#: One refractometer and its kettle; a check in water; a batch with its plan; seven readings.
CELLS = {"boil_off": 4}
TABLES = {
    "inst": [{"name": "hand", "compensated": "no"}],
    "check": [{"date": day(2026, 3, 7), "temperature": 21, "shown_1": 0.1}],
    "batch": [
        {
            "name": "1", "date": day(2026, 3, 7), "grain": 5.2,
            "before_boil_gravity": 1.044, "before_boil_volume": 28,
            "after_boil_gravity": 1.0515, "into_fermenter_gravity": 1.0515,
            "packaged_gravity": 1.012,
        }
    ],
    "log": [
        {"batch": "1", "stage": "first runnings", "reading": 18.2, "temperature": 26},
        {"batch": "1", "stage": "runoff", "reading": 9.3, "temperature": 27},
        {"batch": "1", "stage": "runoff", "reading": 5.1, "temperature": 26},
        {"batch": "1", "stage": "runoff end", "reading": 2.6, "temperature": 26},
        {"batch": "1", "stage": "before boil", "reading": 11.0, "temperature": 25,
         "volume": 28.8, "volume_temperature": 72},
        {"batch": "1", "stage": "after boil", "reading": 13.2, "temperature": 24,
         "volume": 24.4, "volume_temperature": 98},
        {"batch": "1", "stage": "into fermenter", "reading": 13.3, "temperature": 20},
    ],
}  # fmt: skip
NEXT = {"name": "2", "date": day(2026, 3, 21), "grain": 5.0, "before_boil_gravity": 1.042}


def typed(tables):
    return sum(len(line) for lines in tables.values() for line in lines)


@pytest.fixture(scope="module")
def first_day():
    from tests.workbook.conftest import TODAY, fill
    from xlfuncs.files import contents
    from xlfuncs.hosts.embedded import engine
    from xlfuncs.workbook import build, reader
    from xlfuncs.workbook.words import Choices

    book = build.build(Choices(rows=30, checks=20))
    fill(book, CELLS, **TABLES)
    filled = contents.of(book)
    return reader.Reader("first.xlsx", filled, engine.calculate_book(filled, TODAY).values)


def test_it_takes_at_most_fifty_five_cells():
    assert len(CELLS) + typed(TABLES) <= 55
    assert len(TABLES["log"]) == 7
    assert len([line for line in TABLES["log"] if "volume" in line]) == 2


def test_every_reading_has_its_gravity_and_its_verdict(first_day):
    lines = first_day.table("log", "gravity", "expanded", "verdict", "remark")[:7]
    offset = REFRACTOMETER_BRIX(0.1, 21)
    wanted = [
        WORT_SG(REFRACTOMETER_BRIX(line["reading"], line["temperature"], offset))
        for line in TABLES["log"]
    ]
    assert [line["gravity"] for line in lines] == pytest.approx(wanted, abs=1e-9)
    assert all(0.001 < line["expanded"] < 0.004 for line in lines)
    assert all(lines[at]["verdict"] for at in (4, 5, 6))
    assert {line["remark"] for line in lines} == {None}


def test_every_view_answers(first_day):
    assert first_day.column("state_status")[0] == "probably ok"
    assert first_day.cell("shown_batch") == "1"
    for answer in ("log_answer", "run_answer", "kettle_answer", "targets_answer",
                   "ferment_answer", "start_says"):  # fmt: skip
        assert first_day.cell(answer), answer
    assert first_day.column("batch_efficiency")[0] == pytest.approx(76, abs=2)
    assert first_day.column("batch_original_shown")[0] == pytest.approx(1.0510, abs=0.0001)
    assert first_day.column("strip_gravity_1")[10]


def test_the_next_batch_needs_one_line_and_its_readings(computed):
    tables = TABLES | {"batch": [*TABLES["batch"], NEXT]}
    tables["log"] = [*TABLES["log"], {"batch": "2", "stage": "before boil", "reading": 10.6,
                                      "temperature": 24}]  # fmt: skip
    book = computed(cells=CELLS, **tables)
    before = book.table("log", "verdict")
    assert before[7]["verdict"]
    assert book.cell("shown_batch") == "2"
