"""A workbook that is prepared gives for any entries what computing it whole gives."""

import datetime
import random

import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.files import contents
from xlfuncs.hosts import embedded
from xlfuncs.hosts.embedded.values import CellError
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 3, 20)


@pytest.mark.parametrize("plain", [False, True])
def test_any_entries(plain):
    """Four edits, each of one to five cells that hold a number."""
    book = contents.of(build.build(Choices(rows=20, checks=20, example=True, plain=plain)))
    prepared = embedded.Prepared(book, TODAY)
    rng = random.Random(5)
    typed = [
        (title, f"{openpyxl.utils.get_column_letter(column)}{row}")
        for title, sheet in book.sheets.items()
        for (row, column), value in sheet.typed.items()
        if type(value) is float
        and title in ("Setup", "Calibration", "Batches", "Log", "Convert", "Blend")
    ]
    changed = 0
    for _ in range(4):
        values = [None, 0.0, 1.05, 12.5, "pale", True, CellError("#N/A"), -3.0]
        entries = {place: rng.choice(values) for place in rng.sample(typed, rng.randint(1, 5))}
        prepared._asked = 0  # what is asked first is computed whole
        expected, found = prepared.calculate(entries), prepared.calculate(entries)
        assert found.failures == expected.failures
        assert found.values == expected.values
        changed += found.values != prepared.calculate({}).values
    assert changed > 2


@pytest.fixture
def small():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    sheet["A1"], sheet["A2"], sheet["A3"] = 1, 2, 3
    sheet["B1"] = ArrayFormula("B1:B3", "=WORT_SG(A1:A3)")
    sheet["C1"], sheet["C2"], sheet["D1"] = "=SUM(B1:B3)", "=A1>2", "=IF(C2,C1,0)"
    return embedded.Prepared(book, TODAY)


def test_only_what_hangs_on_a_change_is_computed(small):
    assert small.calculate({}).calls == {"WORT_SG": 1}  # all of it, the first time
    assert small.calculate({("Log", "A1"): 1}).calls == {}  # as it was
    found = small.calculate({("Log", "A1"): 10})
    assert found.calls == {"WORT_SG": 1}
    assert found.values["Log", "C2"] is True
    assert found.values["Log", "D1"] == found.values["Log", "C1"] > 3.04
    assert small.calculate({}).values["Log", "D1"] == 0


def test_a_cell_that_computes_does_so_whatever_is_typed_into_it(small):
    assert small.calculate({("Log", "C1"): 7}).values == small.calculate({}).values


def test_what_cannot_be_computed_is_named_each_time():
    book = openpyxl.Workbook()
    book.active.title = "Log"
    book.active["A1"], book.active["B1"], book.active["C1"] = 1, "=NOSUCH(A1)", "=B1+A1"
    prepared = embedded.Prepared(book, TODAY)
    for _ in range(2):
        found = prepared.calculate({("Log", "A1"): 2})
        assert [(cell, reason.split(",")[0]) for _, cell, reason in found.failures] == [
            ("B1", "the function NOSUCH is not supported"),
            ("C1", "needs Log!B1"),
        ]
