"""Setup: what is typed there and is no number or no unit is named, and does no harm elsewhere."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from tests.audit.conftest import computed_file, filled  # noqa: F401
from tests.audit.test_agreement import assert_agreement
from tests.helpers import cells_of, run
from tests.workbook.conftest import FIELD, GLASS, SMALL, TODAY, day, reading, water_check
from xlfuncs.audit import run as audit
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.workbook.defaults import NUMBERS

TOOLS = [FIELD, GLASS]
CHECKS = [water_check(FIELD, day(2026, 3, 1), 0.1), water_check(GLASS, day(2026, 3, 1), 0.001)]
#: A brew day that touches each of them.
TABLES = {
    "inst": TOOLS,
    "check": CHECKS,
    "batch": [{"name": "1", "date": day(2026, 3, 7), "grain": 5, "before_boil_gravity": 1.046,
               "before_boil_volume": 20, "after_boil_gravity": 1.05, "packaged_gravity": 1.012}],
    "log": [
        reading(FIELD, 12, volume=20, volume_temperature=60, ph=5.3),
        reading(GLASS, 1.048, stage="into fermenter", volume=18),
        reading(FIELD, 6.5, day(2026, 3, 12, 12), stage="fermenting"),
    ],
}  # fmt: skip
CELLS = {"kettle_size": 30, "boil_off": 3}
SINGLE = [cell for cell in NUMBERS if not cell.startswith("inst_")]
OF_TOOLS = [cell for cell in NUMBERS if cell.startswith("inst_")]
REFUSED = {cell for cell, reach in NUMBERS.items() if reach.instead.startswith("nothing")}
#: What is typed into the one, the next and the one after it, and so on.
SPOILT = dict(zip(NUMBERS, itertools.cycle([1e300, -3000, "1,05"]), strict=False))


@pytest.fixture(scope="module")
def as_it_is():
    """The brew day with nothing wrong, by what is typed besides; each is computed once."""
    return {}


def broken(book):
    """Cells that show an error, those of pictures apart."""
    return {
        place
        for place, value in book._values.items()
        if str(value).startswith("#") and str(value) != "#N/A"
    }


@pytest.mark.parametrize("cell", SINGLE)
def test_a_number_of_setup_out_of_its_limits_is_named_and_counts_nowhere(computed, as_it_is, cell):
    reach, value = NUMBERS[cell], SPOILT[cell]
    book = computed(cells=CELLS | {cell: value}, **TABLES)
    assert reach.outside in book.cell("setup_says")
    assert book.cell("setup_says").endswith(reach.instead)
    assert book.cell("start_says") == f"Next: mend on Setup: {book.cell('setup_says')}"
    assert not broken(book)
    if cell in REFUSED and not isinstance(value, str):
        of_beer = cell.startswith("set_beer")
        assert str(book.column("log_sg")[2 if of_beer else 0]).startswith("! ")
        return
    without = frozenset(CELLS.keys() - {cell})
    if without not in as_it_is:
        as_it_is[without] = computed(cells={name: CELLS[name] for name in without}, **TABLES)
    for name in ("log_sg", "log_u", "log_verdict", "log_volume_20", "log_volume_verdict",
                 "check_offset", "state_status", "batch_efficiency", "batch_boil",
                 "before_words", "after_words", "target_verdict"):  # fmt: skip
        assert book.column(name) == as_it_is[without].column(name), name


@pytest.mark.parametrize("value", [1e300, -3000])
@pytest.mark.parametrize("cell", sorted(REFUSED & set(SINGLE)))
def test_a_factor_out_of_its_limits_refuses_what_is_reckoned_with_it(computed, cell, value):
    book = computed(cells={cell: value}, **TABLES)
    of_beer = cell.startswith("set_beer")
    assert str(book.column("log_sg")[2 if of_beer else 0]).startswith("! ")
    assert not broken(book)


@pytest.mark.parametrize("cell", OF_TOOLS)
def test_a_number_of_an_instrument_out_of_its_limits_is_named_above_the_table(computed, cell):
    key, reach = cell.removeprefix("inst_"), NUMBERS[cell]
    book = computed(**TABLES | {"inst": [FIELD, GLASS | {key: SPOILT[cell]}]})
    assert book.cell("inst_notice").startswith(f"glass: {reach.what} ")
    assert reach.outside in book.cell("inst_notice")
    assert not broken(book)
    if cell in REFUSED:
        assert book.column("log_sg")[1] == f"! {book.cell('inst_notice')[len('glass: ') :]}"
        return
    sound = computed(**TABLES | {"inst": [FIELD, GLASS | {key: None}]})
    for name in ("log_sg", "log_u", "check_offset", "state_status", "state_due"):
        assert book.column(name) == sound.column(name), name


@pytest.mark.parametrize("units", ["metric", "us"])
def test_limits_of_temperatures_and_tolerances_follow_the_unit(computed, units):
    choices = replace(SMALL, units=units, gravity="plato")
    warm = 80 if units == "us" else 27
    tables = TABLES | {"inst": [GLASS | {"reference": warm}], "check": [], "log": []}
    book = computed(choices, {"set_tolerance": 11.9}, **tables)
    assert book.cell("inst_notice") is None
    assert book.cell("tolerance_gravity") == 11.9
    book = computed(choices, {"set_tolerance": 12.1}, **tables)
    assert "from 0 to 0.05 SG (0 to 12 °Plato)" in book.cell("setup_says")
    cold = computed(choices, None, **tables | {"inst": [GLASS | {"reference": 20}]})
    assert (cold.cell("inst_notice") is None) == (units == "metric")


@pytest.mark.parametrize("cell", [*SINGLE, *OF_TOOLS])
def test_the_audit_names_it_and_reckons_as_the_sheets(tmp_path, cell):
    key, value, path = cell.removeprefix("inst_"), SPOILT[cell], tmp_path / "log.xlsx"
    spoilt = {"inst": [FIELD, GLASS | {key: value}]} if cell in OF_TOOLS else {
        "cells": CELLS | {cell: value}}  # fmt: skip
    with computed_file(path, stored=True, **TABLES | spoilt) as book:
        found = assert_agreement(book).audit.findings
    code = "no-number" if isinstance(value, str) else "out-of-limits"
    [finding] = [one for one in found if one.code == code]
    assert NUMBERS[cell].instead in finding.reason
    assert (finding.sheet, finding.cell) in cells_of(path, cell)


def test_the_report_says_what_does_not_count(tmp_path):
    path = tmp_path / "log.xlsx"
    with computed_file(
        path,
        stored=True,
        **TABLES | {"inst": [FIELD | {"interval": -1}]},
        cells={"set_u_volume": 3, "set_volume": "xyz"},
    ):
        told = " ".join(run("report", path).split())
    assert "xyz is no unit of volume: nothing is reckoned in litres" in told
    assert "how sure of a volume 3 is no number from 0 to 0.2: taken as blank" in told
    assert "field: days from check to check -1 is no number from 1 to 3660" in told


# --- units ------------------------------


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("unit", ["xyz", "kg", 5, True, ERRORS["#N/A"]])
def test_a_unit_of_volume_that_is_none_gives_no_error_and_the_heads_name_it(
    computed, as_it_is, unit, plain
):
    choices = replace(SMALL, plain=plain)
    if choices not in as_it_is:
        as_it_is[choices] = computed(choices, CELLS, **TABLES)
    sound = as_it_is[choices]
    book = computed(choices, CELLS | {"set_volume": unit}, **TABLES)
    assert not {place for place in broken(book) if book._values[place] is not unit}
    heads = ("log_notice", "kettle_answer", "targets_answer", "start_says")
    for name in heads:
        assert "is no unit of volume" in book.cell(name), name
        assert "is no unit" not in sound.cell(name), name
    assert book.column("batch_efficiency")[0].endswith("on Setup is no unit of volume")
    for name in ("log_sg", "log_u", "log_verdict", "log_volume_verdict"):
        assert book.column(name) == sound.column(name), name


@pytest.mark.parametrize(
    ("cell", "unit", "counts"),
    [("set_temperature", "kelvin", "°C"), ("set_gravity", "Brix", "SG"), ("set_mass", "stone",
     "kg"), ("set_gravity", ERRORS["#N/A"], "SG")],
)  # fmt: skip
def test_another_unit_that_is_none_is_named_in_the_heads_with_the_one_that_counts(
    computed, filled, cell, unit, counts  # noqa: F811
):  # fmt: skip
    sound = computed(cells=CELLS, **TABLES)
    book = computed(cells=CELLS | {cell: unit}, **TABLES)
    for name in ("log_notice", "kettle_answer", "targets_answer", "start_says"):
        assert f"is no unit of {cell.removeprefix('set_')}: {counts} counts" in book.cell(name)
    assert book.column("log_sg") == sound.column("log_sg")
    path = filled("log.xlsx", **TABLES, cells={cell: str(unit)})
    assert "unit" in [one.code for one in audit.audit(path, TODAY).findings]


@pytest.mark.parametrize("cells", [
    {"set_volume": " GAL "}, {"set_volume": "hl"}, {"set_volume": "  "},
    {"set_temperature": " ° c"}, {"set_gravity": " °sg "}, {"set_mass": "KG "},
])  # fmt: skip
def test_units_are_read_whatever_their_case_and_blanks(computed, cells):
    assert computed(cells=cells).cell("units_say") is None


# --- numbers that were typed as texts ------------------------------

#: Columns in which a text that says a number is that number.
AS_TEXT = {
    "log": ("temperature", "volume", "volume_temperature", "ph"),
    "batch": ("grain", "potential", "minutes", "tolerance", "tolerance_volume",
              "before_boil_volume"),
    "check": ("temperature", "shown_1", "shown_2", "known_2"),
}  # fmt: skip
TYPED = TABLES | {
    "batch": [TABLES["batch"][0] | {"potential": 0.78, "minutes": 75, "tolerance": 0.003,
                                    "tolerance_volume": 0.5}],
    "check": [{**CHECKS[0], "temperature": 22.5, "shown_2": 10.3, "known_2": 10.1},
              {**CHECKS[1], "temperature": 21.5, "shown_2": 1.0405, "known_2": 1.0395}],
    "log": [line | {"temperature": 20.5} for line in TABLES["log"]],
}  # fmt: skip


@pytest.mark.parametrize("sign", [",", "."])
@pytest.mark.parametrize(("units", "plain"), [("metric", False), ("us", False), ("us", True)])
def test_temperatures_and_volumes_typed_as_texts_are_the_numbers_that_they_say(
    tmp_path, computed, units, plain, sign
):
    choices = replace(SMALL, units=units, plain=plain)
    cells = CELLS | {"set_marks": "cold"}
    texts = {
        table: [
            {key: f" {value:g} ".replace(".", sign) if isinstance(value, (int, float))
             and key in AS_TEXT.get(table, ()) else value for key, value in line.items()}
            for line in lines
        ]
        for table, lines in TYPED.items()
    }  # fmt: skip
    assert isinstance(texts["log"][0]["temperature"], str)
    sound, book = computed(choices, cells, **TYPED), computed(choices, cells, **texts)
    for name in ("log_sg", "log_u", "log_volume_20", "log_tells", "log_verdict", "check_offset",
                 "check_slope", "check_verdict", "state_status", "batch_efficiency", "batch_share",
                 "batch_boil", "batch_within", "before_words", "target_verdict", "run_ph",
                 "target_volume_verdict", "target_missed", "past_grain"):  # fmt: skip
        assert book.column(name) == sound.column(name), name
    if not plain:
        path = tmp_path / "log.xlsx"
        with computed_file(path, stored=True, choices=choices, cells=cells, **texts) as file:
            agreement = assert_agreement(file)
        assert agreement.lines == len(TYPED["log"])
        assert "no-number" not in [one.code for one in agreement.audit.findings]


@pytest.mark.parametrize("key", ["temperature", "volume_temperature"])
@pytest.mark.parametrize("text", ["warm", "20 °C", "1,2,3", "20..5"])
def test_a_temperature_that_says_no_number_is_refused_in_words(tmp_path, key, text):
    spoilt = [TABLES["log"][0] | {key: text}, TABLES["log"][0]]
    with computed_file(tmp_path / "log.xlsx", stored=True, **TABLES | {"log": spoilt}) as book:
        assert_agreement(book)
        column = book.column("log_sg" if key == "temperature" else "log_volume_20")
    assert column[0] == f"! temperature {text} is not a number"
    assert isinstance(column[1], float)


def test_a_ph_that_says_no_number_is_named(computed):
    book = computed(**TABLES | {"log": [TABLES["log"][0] | {"ph": "sour"}]})
    assert "pH is not a number" in book.column("log_remark")[0]
    book = computed(**TABLES | {"log": [TABLES["log"][0] | {"ph": "6,1"}]})
    assert book.column("log_remark")[0] is None


@pytest.mark.parametrize(("text", "counts"), [("1,040", True), (" 1.040 ", True), ("ten", False)])
def test_a_true_value_typed_as_a_text_counts_where_it_says_a_gravity(computed, text, counts):
    check = CHECKS[1] | {"shown_1": None, "shown_2": 1.041, "known_2": text}
    book = computed(**TABLES | {"check": [check]})
    alone = computed(**TABLES | {"check": [check | {"known_2": 1.040}]})
    assert (book.column("check_offset") == alone.column("check_offset")) is counts
    said = book.column("check_verdict")[0]
    assert (said == "a true value is missing or no number") is not counts
