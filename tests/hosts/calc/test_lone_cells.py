"""A cell that stands alone in a call: in Calc too an empty one is blank, and a 0 is a 0."""

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import lone, runner, session

WORT_SG = CATALOGUE["WORT_SG"].callable()

# --- by tokens ------------------------------

CODES = lone.Codes(*range(1, 9))
_WORDS = {"(": 1, ")": 2, ";": 3, "=": 4, "IF": 5, '""': 6, " ": 7}


@dataclass
class Token:
    OpCode: int
    Data: Any = None

    def __str__(self):
        by_code = {code: word for word, code in _WORDS.items()}
        return by_code.get(self.OpCode) or str(self.Data).rpartition(".")[2]


def _tokens(formula):
    """A formula in words: functions of ours in capitals, cells with a $."""
    return [
        Token(_WORDS[word]) if word in _WORDS
        else Token(8, f"some.service.{word}") if word in CATALOGUE
        else Token(0, word)
        for word in formula.split()
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("WORT_SG ( $A )", 'WORT_SG ( IF ( $A = "" ; "" ; $A ) )'),
        ("WORT_SG ( $A ; $B )", 'WORT_SG ( IF ( $A = "" ; "" ; $A ) ; IF ( $B = "" ; "" ; $B ) )'),
        (
            "WORT_SG ( REFRACTOMETER_BRIX ( $A ; ; 5 ) )",
            'WORT_SG ( REFRACTOMETER_BRIX ( IF ( $A = "" ; "" ; $A ) ; ; 5 ) )',
        ),
        ("SUM ( $A ; WORT_SG ( $B ) )", 'SUM ( $A ; WORT_SG ( IF ( $B = "" ; "" ; $B ) ) )'),
        # Blank or 0, the offset is 0.
        ("REFRACTOMETER_BRIX ( 5 ; ; $A )", None),
        ("WORT_SG ( $A + 1 )", None),
        ("WORT_SG ( 1 + $A )", None),
        ("WORT_SG ( MAX ( $A ; $B ) )", None),
        ("WORT_SG ( 5 ) + $A", None),
        ("MAX ( $A )", None),
        ("WORT_SG ( 5 ; 1 ; $A )", None),  # one more than it takes
        ("( $A ) )", None),
    ],
)
def test_lone_cells_in_a_formula(formula, expected):
    found = lone.guarded(_tokens(formula), CODES, lambda t: str(t.Data).startswith("$"), Token)
    assert (found and " ".join(map(str, found))) == expected


def test_spaces_stay_where_they_were():
    tokens = _tokens("WORT_SG ( $A )")
    tokens.insert(2, Token(CODES.spaces))
    tokens.insert(4, Token(CODES.spaces))
    found = lone.guarded(tokens, CODES, lambda t: str(t.Data).startswith("$"), Token)
    assert "".join(map(str, found)) == 'WORT_SG( IF($A="";"";$A) )'


# --- in the office ------------------------------


@pytest.fixture
def book(tmp_path):
    """A workbook of a person's own: a blank, a 0, a text, an error; lone cells and names."""
    made = openpyxl.Workbook()
    sheet = made.active
    made.create_sheet("Other 2")
    sheet["A2"], sheet["A3"], sheet["A4"], sheet["A5"] = 0, 12.4, "twelve", "=NA()"
    for name, cell in (("nothing", "$A$1"), ("something", "$A$3"), ("several", "$A$1:$A$3")):
        made.defined_names[name] = DefinedName(name, attr_text=f"{sheet.title}!{cell}")
    for row, formula in enumerate(
        ("WORT_SG(A1)", "WORT_SG(A2)", "WORT_SG($A$3)", "WORT_SG(A4)", "WORT_SG(A5)",
         "WORT_SG( A3, A1 )", "WORT_SG(A3,A2)", "WORT_SG('Other 2'!A1)", "WORT_SG(nothing)",
         "WORT_SG(something,nothing)", "WORT_SG(REFRACTOMETER_BRIX(A1))", "HYDROMETER_SG(A2,20)",
         "REFRACTOMETER_BRIX(A3,A2)", 'GRAVITY_CONVERT(A1,"Plato","SG")', "SUM(1,WORT_SG(A3))"),
        1,
    ):  # fmt: skip
        sheet[f"B{row}"] = f"={formula}"
    sheet["C1"] = ArrayFormula("C1:C4", "=WORT_SG(A1:A4,A1)")
    sheet["D1"] = ArrayFormula("D1:D3", "=WORT_SG(several,nothing)")
    path = tmp_path / "own.xlsx"
    made.save(path)
    return path


def test_every_cell_is_as_in_the_embedded_engine(needs_office, book):
    found = runner.compute(book)
    expected = embedded.calculate(book)
    assert expected.failures == []
    assert set(expected.values) == set(found)
    for place, value in expected.values.items():
        alike = pytest.approx(value, rel=1e-12) if isinstance(value, float) else value
        assert found[place] == alike, place


def _typing(office, monkeypatch, tmp_path, typed, file="", look=""):
    deadline = time.monotonic() + 60
    profile = runner._profile(office, tmp_path, True, deadline)
    monkeypatch.setattr(session, "_DRIVER", Path(__file__).with_name("typing_driver.py"))
    task = {"do": "type", "file": str(file), "typed": typed, "look": look}
    return session.run(office, profile, task, deadline)


def test_opening_asks_nobody_to_save_or_to_undo(needs_office, monkeypatch, tmp_path, book):
    opened = _typing(needs_office, monkeypatch, tmp_path, {"F1": "5"}, book, "B1 B2 C3")["opened"]
    assert not opened["modified"]
    assert opened["undo"] == []
    assert opened["shown"] == {
        "B1": ['=WORT_SG(IF(A1="";"";A1))', ""],
        "B2": ['=WORT_SG(IF(A2="";"";A2))', "1"],
        "C3": ['{=WORT_SG(A1:A4;IF(A1="";"";A1))}', f"{WORT_SG(12.4):.15g}"],
    }


def test_what_is_typed_into_a_new_workbook(needs_office, monkeypatch, tmp_path):
    typed = {"A2": "0", "B1": "=WORT_SG(A1)", "B2": "=WORT_SG(A2)", "B3": "=SUM(A1)"}
    found = _typing(needs_office, monkeypatch, tmp_path, {**typed, "B4": "=WORT_SG(A1;A3)"})
    last = ['=WORT_SG(IF(A1="";"";A1);IF(A3="";"";A3))', ""]
    assert found["typed"] == {
        "A2": ["0", "0"],
        "B1": ['=WORT_SG(IF(A1="";"";A1))', ""],
        "B2": ['=WORT_SG(IF(A2="";"";A2))', "1"],
        "B3": ["=SUM(A1)", "0"],
        "B4": last,
    }
    assert found["undone"] == ["", ""]  # one step, as for any other entry
    assert found["redone"] == last
    assert found["modified"]


def test_a_protected_sheet_is_computed_like_any_other(needs_office, book):
    made = openpyxl.load_workbook(book)
    made.active.protection.sheet = True
    made.save(book)
    assert runner.compute(book)["Sheet", "B1"] == ""
