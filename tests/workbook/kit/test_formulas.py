"""The idioms say what their texts promise, computed."""

import numpy as np
import openpyxl
import pytest

from xlfuncs.hosts.embedded import engine
from xlfuncs.science import gravity
from xlfuncs.workbook.defaults import Reach
from xlfuncs.workbook.kit import formulas

NOT_THERE = "#N/A"
HOLDS_AN_ERROR = "! this cell holds an error"


def value(formula, **cells):
    """What a formula gives with these cells; a list is a whole column, as `all.` names it."""
    sheet = openpyxl.Workbook().active
    places = {}
    for column, (name, content) in enumerate(cells.items(), 2):
        lines = content if isinstance(content, list) else [content]
        for row, one in enumerate(lines, 1):
            sheet.cell(row, column, one)
        letter = sheet.cell(1, column).column_letter
        places[name] = f"{letter}1"
        places[f"all.{name}"] = f"{letter}1:{letter}{len(lines)}"
    sheet["A1"] = "=" + formulas.rewritten(formula, lambda prefix, name: places[prefix + name])
    calculation = engine.calculate_book(sheet.parent)
    assert calculation.failures == []
    return calculation.values["Sheet", "A1"]


def test_words_in_quotes_are_no_names():
    found = formulas.rewritten('IF(a="a",all.a,A1)', lambda prefix, name: f"<{prefix}{name}>")
    assert found == 'IF(<a>="a",<all.a>,<A1>)'


def test_idioms():
    assert formulas.cases(("a", "1"), ("b", "2"), otherwise="3") == "IF(a,1,IF(b,2,3))"
    assert formulas.if_numbers(["a", "b"], "a+b") == 'IF(ISNUMBER(a)*ISNUMBER(b),a+b,"")'
    assert formulas.shown("x", 2) == "LEFT(ROUND(x,2)+0.0001,LEN(INT(ROUND(x,2)))+3)"


@pytest.mark.parametrize(
    ("number", "digits", "said"),
    [(1.05, 4, "1.0500"), (1.04996, 4, "1.0500"), (0, 4, "0.0000"), (9.996, 2, "10.00"),
     (23.84, 1, "23.8"), (0.95, 1, "1.0"), (99.96, 1, "100.0"), (12.5, 0, 13),
     (0.00021, 4, "0.0002")],
)  # fmt: skip
def test_a_number_in_a_sentence_keeps_its_noughts(number, digits, said):
    assert value(formulas.shown("x", digits), x=number) == said


def test_a_word_and_what_is_no_word():
    assert value(formulas.word("x"), x="  Own ") == "own"
    assert value(formulas.word("x"), x=NOT_THERE) == ""
    assert value(formulas.initial("x"), x=" °plato") == "P"
    assert value(formulas.initial("x"), x=NOT_THERE) == ""


def test_what_was_typed_passes_and_an_error_is_named():
    assert value(formulas.typed("x"), x=12.5) == 12.5
    assert value(formulas.typed("x"), x=None) == ""
    assert value(formulas.typed("x"), x=NOT_THERE) == HOLDS_AN_ERROR
    assert value(formulas.default("x", "7"), x=None) == 7
    assert value(formulas.default("x", "7"), x=0) == 0


@pytest.mark.parametrize(("date", "is_one"), [
    (36525.9, 0), (36526, 1), (46095.5, 1), (73050, 1), (73050.5, 0), ("7 March", 0), (None, 0),
    (NOT_THERE, 0),
])  # fmt: skip
def test_a_date_lies_in_this_century(date, is_one):
    """2000-01-01 is day 36526 of spreadsheets, 2099-12-31 day 73050 (Python's calendar)."""
    assert value(formulas.is_date("x"), x=date) == is_one


@pytest.mark.parametrize(("number", "is_one"), [
    (1e-9, 1), (3, 1), (0, 0), (-1, 0), ("3", 0), (None, 0), (NOT_THERE, 0),
])  # fmt: skip
def test_positive(number, is_one):
    assert value(formulas.positive("x"), x=number) == is_one


@pytest.mark.parametrize(("number", "counts"), [
    (0.25, 1), (0.2499, 0), (1, 1), (5, 1), (5.001, 0), (1e300, 0), ("1", 0), (None, 0),
    (NOT_THERE, 0),
])  # fmt: skip
def test_a_number_counts_within_its_reach_and_what_does_not_is_named(number, counts):
    reach = Reach("smallest division", 0.25, 5)
    assert value(formulas.within("x", reach), x=number) == counts
    says = value(formulas.not_counted("x", reach), x=number)
    if number == NOT_THERE:
        assert says == HOLDS_AN_ERROR
    elif counts or number is None:
        assert says == ""
    else:
        told = "1E+300" if number == 1e300 else number
        assert says == (f"! smallest division {told} is no number from 0.25 to 5: taken as blank")


def test_the_line_on_which_something_stands():
    names, numbers = ["pale", "stout", "wit"], [10, 20, 30]
    assert value(formulas.matched("x", "names"), x=" Stout ", names=names) == 2
    for lost in ("porter", "zz", " ", None, NOT_THERE):
        assert value(formulas.matched("x", "names"), x=lost, names=names) == 0
    found = formulas.on_line("x", "no", "numbers", "-1")
    assert value(found, x=2, no=[1, 2, 3], numbers=numbers) == 20
    assert value(found, x=0, no=[1, 2, 3], numbers=numbers) == -1


def test_a_day_in_a_sentence():
    assert value(formulas.dated("x"), x=46089) == "2026-03-08"
    assert value(formulas.dated("x"), x=46386) == "2026-12-30"


def test_a_picture_leaves_out_what_is_no_number():
    assert value(formulas.plotted("x"), x=1.5) == 1.5
    assert value(formulas.plotted("x"), x="") == NOT_THERE
    assert value(formulas.plotted("x", "y=1"), x=1.5, y=1) == 1.5
    assert value(formulas.plotted("x", "y=1"), x=1.5, y=2) == NOT_THERE


@pytest.mark.parametrize(("idiom", "cells", "expected"), [
    (formulas.celsius("x"), {"celsius_0": -160 / 9, "celsius_step": 5 / 9}, {68: 20, 212: 100}),
    (formulas.litres("x"), {"unit_litres": 3.785411784}, {5: 18.92705892}),
    (formulas.kilograms("x"), {"unit_kilograms": 0.45359237}, {10: 4.5359237}),
])  # fmt: skip
def test_amounts_in_the_units_of_setup(idiom, cells, expected):
    """The pound, the US gallon and °F as they are defined."""
    for typed, metric in expected.items():
        assert value(idiom, x=typed, **cells) == pytest.approx(metric, abs=1e-12)
    assert value(idiom, x=None, **cells) == ""
    assert value(idiom, x=NOT_THERE, **cells) == HOLDS_AN_ERROR
    assert value(idiom, x="5 gal", **cells).endswith(" 5 gal is not a number")


def test_an_amount_shown_in_the_unit_of_setup():
    assert value(formulas.in_units("x", "u"), x=18.92705892, u=3.785411784) == pytest.approx(5)
    assert value(formulas.in_units("x", "u"), x="! no", u=3.785411784) == "! no"


@pytest.mark.parametrize("plato", np.linspace(-5, 45, 11).tolist())
def test_gravities_without_a_call_lie_near_those_of_science(plato):
    """°Plato to SG within 2e-7, SG to °Plato within 2e-5, from end to end of the scales."""
    sg = float(gravity.convert(plato, "Plato", "SG"))
    on_plato = {"unit_gravity": "Plato"}
    assert value(formulas.sg_of_plato("x"), x=plato) == pytest.approx(sg, abs=2e-7)
    assert value(formulas.sg_of("x"), x=plato, **on_plato) == pytest.approx(sg, abs=2e-7)
    if 0.98 <= sg <= 1.206:
        assert value(formulas.plato_of_sg("x"), x=sg) == pytest.approx(plato, abs=2e-5)
        shown = value(formulas.shown_on_scale("x"), x=sg, **on_plato)
        assert shown == pytest.approx(plato, abs=2e-5)


def test_in_sg_gravities_stay_as_they_are():
    for idiom in (formulas.sg_of("x"), formulas.shown_on_scale("x")):
        assert value(idiom, x=1.05, unit_gravity="SG") == 1.05
        assert value(idiom, x="! no", unit_gravity="Plato") == "! no"


def test_gravities_by_the_functions():
    """12 °Plato is SG 1.0484 (ASBC tables)."""
    for idiom in (formulas.as_sg("x"), formulas.on_scale("x")):
        assert value(idiom, x=1.05, unit_gravity="SG") == 1.05
    assert value(formulas.as_sg("x"), x=12, unit_gravity="Plato") == pytest.approx(1.0484, abs=5e-5)
    assert value(formulas.on_scale("x"), x=1.0484, unit_gravity="Plato") == pytest.approx(
        12, abs=0.01
    )
