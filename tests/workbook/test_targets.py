"""Targets sheet: what a miss was worth, and what the past says of the next recipe."""

from __future__ import annotations

import statistics
from dataclasses import replace

import pytest

from tests.workbook.conftest import GLASS, SMALL, day
from xlfuncs.functions.brewday import MASH_EFFICIENCY, TARGET_CHECK
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.volumes import EXTRACT_MASS
from xlfuncs.science import units
from xlfuncs.workbook import words
from xlfuncs.workbook.sheets import targets

CHECK = [{"instrument": "glass", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 1.0}]
WORTH = ("volume_off", "missed", "worth")
BOIL = words.planned(words.BEFORE_BOIL) - 1
PLAN = {
    "name": "1",
    "grain": 5,
    "potential": 0.8,
    "before_boil_gravity": 1.048,
    "before_boil_volume": 25,
    "tolerance": 0.002,
    "tolerance_volume": 0.5,
}


def line(batch, sg, volume, hour=12, stage=words.BEFORE_BOIL):
    return {
        "date": day(2026, 3, 7, hour),
        "batch": batch,
        "stage": stage,
        "instrument": "glass",
        "reading": sg,
        "temperature": 20,
        "volume": volume,
        "volume_temperature": 20,
    }


@pytest.fixture
def brewed(computed):
    def make(*log, batch=(PLAN,), choices=None, inst=GLASS, **cells):
        return computed(choices, cells, inst=[inst], check=CHECK, log=log, batch=batch)

    return make


def test_what_a_miss_was_worth(brewed):
    book = brewed(line("1", 1.044, 26))
    row = book.table("target", *WORTH, "measured", "expanded", "verdict", "volume_verdict", "off")[
        BOIL
    ]
    extract = EXTRACT_MASS(26, 1.044) - EXTRACT_MASS(25, 1.048)
    assert row["volume_off"] == pytest.approx(1.0)
    assert row["off"] == pytest.approx(-0.004)
    assert row["missed"] == pytest.approx(extract, rel=1e-6)
    points = MASH_EFFICIENCY(26, 1.044, 5) - MASH_EFFICIENCY(25, 1.048, 5)
    assert row["worth"] == pytest.approx(points, rel=1e-6)
    u = row["expanded"] / 2
    assert row["verdict"] == TARGET_CHECK(row["measured"], 1.048, 0.002, u) == "low"
    assert row["volume_verdict"] == TARGET_CHECK(26, 25, 0.5, 0.26)
    others = [r for i, r in enumerate(book.table("target", *WORTH)) if i != BOIL]
    assert {value for other in others for value in other.values()} == {None}
    assert book.cell("targets_answer") == (
        f"1, before boil: gravity low (1.0440 ± {2 * u:.4f}); volume {row['volume_verdict']}"
    )


def test_a_hair_below_the_plan_is_no_minus_zero(brewed):
    row = brewed(line("1", 1.04799, 24.97)).table("target", *WORTH, "off", "measured")[BOIL]
    assert row["measured"] < 1.048
    assert (row["off"], row["volume_off"]) == (0, 0)
    assert row["missed"] == 0
    assert brewed(line("1", 1.04794, 24.94)).table("target", "off")[BOIL]["off"] != 0


def test_the_verdict_may_be_a_probable_one(brewed):
    book = brewed(line("1", 1.0455, 25))
    row = book.table("target", "measured", "expanded", "verdict")[BOIL]
    wanted = TARGET_CHECK(row["measured"], 1.048, 0.002, row["expanded"] / 2)
    assert row["verdict"] == wanted == book.column("log_verdict")[0]
    assert wanted.startswith("probably")


def test_the_latest_reading_counts_and_a_volume_may_stand_by_itself(brewed):
    alone = line("1", None, 24, 11) | {"temperature": None}
    book = brewed(line("1", 1.060, 20, 9), alone, line("1", 1.044, None, 13), line("1", 1.05, 9, 8))
    row = book.table("target", "measured", "volume")[BOIL]
    assert row["measured"] == pytest.approx(1.044)
    assert row["volume"] == 24
    assert book.column("batch_efficiency")[0] == pytest.approx(MASH_EFFICIENCY(24, 1.044, 5))


def test_a_target_equal_to_what_was_measured_misses_nothing(brewed):
    book = brewed(line("1", 1.048, 25))
    assert list(book.table("target", *WORTH)[BOIL].values()) == pytest.approx([0] * 3, abs=1e-6)


def test_worth_in_us_units_and_plato(brewed):
    plan = PLAN | {
        "before_boil_gravity": GRAVITY_CONVERT(1.048, "SG", "Plato"),
        "before_boil_volume": units.convert(25, "L", "US gal"),
        "grain": units.convert(5, "kg", "lb"),
    }
    log = line("1", 1.044, units.convert(26, "L", "US gal"))
    book = brewed(
        log | {"temperature": 68, "volume_temperature": 68},
        choices=replace(SMALL, units="us", gravity="plato"),
        batch=[plan],
        inst=GLASS | {"reference": 68},
    )
    row = book.table("target", *WORTH)[BOIL]
    extract = EXTRACT_MASS(26, 1.044) - EXTRACT_MASS(25, 1.048)
    assert units.convert(row["missed"], "lb", "kg") == pytest.approx(extract, rel=1e-3)
    assert row["worth"] == pytest.approx(100 * extract / 4, rel=1e-3)


def test_without_grain_there_are_no_efficiency_points(brewed):
    row = brewed(line("1", 1.044, 26), batch=[PLAN | {"grain": None}]).table("target", *WORTH)[BOIL]
    assert row["worth"] is None
    assert row["missed"] is not None


def test_changing_the_next_plan_leaves_the_shown_verdicts_alone(brewed):
    log = line("1", 1.044, 26)
    one, other = (
        brewed(log, batch=[PLAN, {"name": "2", "before_boil_gravity": wanted}])
        for wanted in (1.040, 1.090)
    )
    assert one.column("target_verdict") == other.column("target_verdict")
    assert one.column("log_verdict") == other.column("log_verdict")


PAST = [
    {"name": "a", "grain": 5, "potential": 0.8},
    {"name": "b", "grain": 5.5, "potential": 0.78},
    {"name": "c", "grain": 5},
    {"name": "unread", "grain": 5, "before_boil_volume": 25, "before_boil_gravity": 1.06},
]
PAST_LOG = (
    line("a", 1.046, 25, 12),
    line("a", 1.020, 25, 9),  # an earlier line of the same batch
    line("b", 1.050, 24, 13),
    line("b", 1.070, 20, 15, words.AFTER_BOIL),
    line("c", 1.041, 26, 10),
)


def test_past_batches_set_the_expectation_of_the_next_recipe(brewed):
    book = brewed(*PAST_LOG, batch=PAST)
    known = [
        MASH_EFFICIENCY(26, 1.041, 5),
        MASH_EFFICIENCY(24, 1.050, 5.5, 0.78),
        MASH_EFFICIENCY(25, 1.046, 5),
    ]
    assert book.column("past_batch")[:4] == ["c", "b", "a", None]
    assert book.column("past_efficiency")[:3] == pytest.approx(known)
    assert book.cell("next_count") == 3
    assert book.cell("next_batch") == "unread"
    mean = statistics.mean(known)
    assert book.cell("next_efficiency") == pytest.approx(mean)
    spread = 4.30 * statistics.stdev(known) * (1 + 1 / 3) ** 0.5
    assert book.cell("next_spread") == pytest.approx(spread)
    extract = mean / 100 * 5 * 0.8
    assert EXTRACT_MASS(25, book.cell("next_gravity")) == pytest.approx(extract, rel=1e-6)
    upper = book.cell("next_gravity") + book.cell("next_expanded")
    assert EXTRACT_MASS(25, upper) == pytest.approx(extract * (1 + spread / mean), rel=1e-6)
    within = abs(1.06 - book.cell("next_gravity")) <= book.cell("next_expanded")
    said = "within what to expect" if within else "beyond what your past batches let expect"
    assert book.cell("next_means") == said


def test_the_shown_batch_is_the_next_one_while_nothing_was_read(brewed):
    later = {"name": "later", "grain": 6}
    book = brewed(*PAST_LOG, batch=[*PAST, later], chosen_batch="later")
    assert book.cell("next_batch") == "later"
    assert book.cell("next_means") == "write its grain and its volume before boil"
    brewed_all = brewed(*PAST_LOG, batch=PAST[:3])
    assert brewed_all.cell("next_batch") is None
    assert brewed_all.cell("next_why").startswith("none without readings on Batches")


def test_only_the_latest_batches_count(brewed):
    names = [f"n{i}" for i in range(targets.PAST + 2)]
    batch = [{"name": name, "grain": 5} for name in names]
    log = [line(name, 1.040 + i / 2000, 25) for i, name in enumerate(names)]
    book = brewed(*log, batch=batch)
    assert book.cell("next_count") == targets.PAST
    assert book.column("past_batch") == names[:1:-1]


def test_gravity_to_expect_in_plato(brewed):
    ends = [
        brewed(*PAST_LOG, batch=PAST, choices=replace(SMALL, gravity=gravity))
        for gravity in ("sg", "plato")
    ]
    sg, plato = (book.cell("next_gravity") for book in ends)
    assert plato == pytest.approx(GRAVITY_CONVERT(sg, "SG", "Plato"))
    upper = GRAVITY_CONVERT(sg + ends[0].cell("next_expanded"), "SG", "Plato")
    assert plato + ends[1].cell("next_expanded") == pytest.approx(upper)


def test_student_factors_are_those_of_the_distribution():
    from scipy.stats import t

    for freedom, factor in enumerate(targets.STUDENT, 1):
        assert factor == pytest.approx(t.ppf(0.975, freedom), abs=0.005)
    assert len(targets.STUDENT) == targets.PAST - 1


def test_one_batch_gives_a_mean_without_a_spread(brewed):
    book = brewed(PAST_LOG[0], batch=PAST)
    assert book.cell("next_efficiency") == pytest.approx(MASH_EFFICIENCY(25, 1.046, 5))
    assert (book.cell("next_spread"), book.cell("next_expanded")) == (None, None)


def test_impossible_efficiency_is_named_and_does_not_count(brewed):
    book = brewed(line("a", 1.060, 30), batch=[PAST[0] | {"grain": 4}])
    assert "is more than the grain holds" in book.column("batch_efficiency")[0]
    assert book.cell("next_count") is None


def test_an_unfilled_workbook_expects_nothing(computed):
    book = computed()
    for name in ("batch", "count", "efficiency", "spread", "gravity", "expanded", "plan", "means"):
        assert book.cell(f"next_{name}") is None
    shown = book.table("target", *WORTH, "plan", "within", "measured", "verdict", "volume_verdict")
    for row in shown + book.table("past", "batch", "date", "grain", "efficiency"):
        assert set(row.values()) == {None}
    assert book.cell("targets_answer") == "Choose a batch on Batches, or log a reading."
