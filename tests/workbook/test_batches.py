"""Batches: a number of a plan that is none is named by its batch, and counts nowhere."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from tests.audit.conftest import cells_of, computed_file
from tests.audit.test_agreement import assert_agreement
from tests.workbook.conftest import FIELD, SMALL, TODAY, day, reading, water_check
from xlfuncs.audit import run as audit
from xlfuncs.workbook.defaults import PLANS

PALE = {"name": "Pale", "date": day(2026, 3, 7), "grain": 5, "before_boil_gravity": 1.046,
        "before_boil_volume": 20}  # fmt: skip
TABLES = {
    "inst": [FIELD],
    "check": [water_check(FIELD, day(2026, 3, 1), 0.1)],
    "log": [reading(FIELD, 12, volume=20, volume_temperature=60, batch="Pale")],
}
SEEN = ("log_verdict", "log_volume_verdict", "batch_efficiency", "batch_boil", "past_potential")
#: What is typed into the one, the next and the one after it, and so on.
SPOILT = dict(zip(PLANS, itertools.cycle([1e300, -3000, "soon"]), strict=False))


def with_plan(cell, value):
    return {**TABLES, "batch": [PALE | {cell.removeprefix("batch_"): value}]}


@pytest.mark.parametrize("cell", PLANS)
def test_a_number_out_of_its_limits_is_named_and_counts_nowhere(computed, cell):
    value, reach = SPOILT[cell], PLANS[cell]
    book = computed(**with_plan(cell, value))
    assert book.cell("batch_warning").startswith(f"Pale: {reach.what} ")
    assert book.cell("batch_warning").endswith(f"{reach.outside}: {reach.instead}")
    if cell == "batch_grain":
        assert book.column("batch_efficiency")[0].startswith("! grain ")
    blank = computed(**with_plan(cell, None))
    assert blank.cell("batch_warning") is None
    for name in SEEN:
        if cell != "batch_grain" or name != "batch_efficiency":
            assert book.column(name) == blank.column(name), name


@pytest.mark.parametrize(("value", "verdict"), [("0,02", "on target"), (0.02, "on target")])
def test_a_number_may_be_a_text(computed, value, verdict):
    book = computed(**with_plan("batch_tolerance", value))
    assert book.cell("batch_warning") is None
    assert book.column("log_verdict")[0] == verdict


def test_a_tolerance_in_plato_has_limits_of_its_own(computed):
    choices = replace(SMALL, gravity="plato")
    tables = with_plan("batch_tolerance", 11.9)
    tables["batch"][0]["before_boil_gravity"] = 11.4
    assert computed(choices, **tables).cell("batch_warning") is None


@pytest.mark.parametrize("cell", PLANS)
def test_the_audit_names_it_and_judges_as_the_sheets(tmp_path, cell):
    path = tmp_path / "log.xlsx"
    with computed_file(path, stored=True, **with_plan(cell, SPOILT[cell])) as book:
        assert_agreement(book)
    code = "no-number" if isinstance(SPOILT[cell], str) else "out-of-limits"
    [finding] = [one for one in audit.audit(path, TODAY).findings if one.code == code]
    assert PLANS[cell].instead in finding.reason
    assert (finding.sheet, finding.cell) in cells_of(path, cell)
