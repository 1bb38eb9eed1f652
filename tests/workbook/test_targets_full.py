"""What a miss was worth, and what the past says of the next recipe."""

from __future__ import annotations

import statistics

import pytest

from tests.workbook.conftest import GLASS, day
from xlfuncs.functions.brewday import MASH_EFFICIENCY, TARGET_CHECK
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.volumes import EXTRACT_MASS
from xlfuncs.science import units
from xlfuncs.workbook import targets
from xlfuncs.workbook.vocabulary import Choices

CHECK = [{"instrument": "glass", "date": day(2026, 3, 1), "reading_1": 1.0}]
SETUP = {"grain_mass": 5, "extract_potential": 0.8}
WORTH = ("missed_volume", "missed_extract", "missed_efficiency")


def line(batch, sg, volume, hour=12, stage="before boil"):
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


def target(**entry):
    return [{}, {}, entry]


@pytest.fixture
def brewed(computed):
    def make(*log, choices=None, past=(), wanted=(), inst=GLASS, **cells):
        return computed(
            choices,
            cells=SETUP | cells,
            inst=[inst],
            check=CHECK,
            log=log,
            past=past,
            target=wanted,
        )

    return make


WANTED = {"gravity": 1.048, "gravity_tolerance": 0.002, "volume": 25, "volume_tolerance": 0.5}


def test_what_a_miss_was_worth(brewed):
    book = brewed(line("1", 1.044, 26), wanted=target(**WANTED))
    row = book.table("verdict", *WORTH, "measured", "expanded", "gravity")[2]
    extract = EXTRACT_MASS(26, 1.044) - EXTRACT_MASS(25, 1.048)
    assert row["missed_volume"] == pytest.approx(1.0)
    assert row["missed_extract"] == pytest.approx(extract, rel=1e-6)
    points = MASH_EFFICIENCY(26, 1.044, 5) - MASH_EFFICIENCY(25, 1.048, 5)
    assert row["missed_efficiency"] == pytest.approx(points, rel=1e-6)
    u = row["expanded"] / 2
    assert row["gravity"] == TARGET_CHECK(row["measured"], 1.048, 0.002, u) == "low"
    others = [book.table("verdict", *WORTH)[i] for i in (0, 1, 3, 4)]
    assert {value for other in others for value in other.values()} == {None}


def test_a_target_equal_to_what_was_measured_misses_nothing(brewed):
    book = brewed(line("1", 1.048, 25), wanted=target(**WANTED))
    row = book.table("verdict", *WORTH)[2]
    assert list(row.values()) == pytest.approx([0, 0, 0], abs=1e-6)


def test_worth_in_us_units_and_plato(brewed):
    choices = Choices(rows=20, units="us", gravity="plato")
    wanted = WANTED | {
        "gravity": GRAVITY_CONVERT(1.048, "SG", "Plato"),
        "volume": units.convert(25, "L", "US gal"),
    }
    log = line("1", 1.044, units.convert(26, "L", "US gal"))
    log |= {"temperature": 68, "volume_temperature": 68}
    book = brewed(
        log,
        choices=choices,
        wanted=target(**wanted),
        inst=GLASS | {"reference": 68},
        grain_mass=units.convert(5, "kg", "lb"),
    )
    row = book.table("verdict", *WORTH)[2]
    extract = EXTRACT_MASS(26, 1.044) - EXTRACT_MASS(25, 1.048)
    assert units.convert(row["missed_extract"], "lb", "kg") == pytest.approx(extract, rel=1e-3)
    assert row["missed_efficiency"] == pytest.approx(100 * extract / 4, rel=1e-3)


def test_without_grain_there_are_no_efficiency_points(brewed):
    book = brewed(line("1", 1.044, 26), wanted=target(**WANTED), grain_mass=None)
    row = book.table("verdict", *WORTH)[2]
    assert row["missed_efficiency"] is None
    assert row["missed_extract"] is not None


def test_efficiency_history_sets_the_expectation(brewed):
    log = [
        line("a", 1.046, 25, 12),
        line("a", 1.020, 25, 9),  # an earlier line of the same batch
        line("b", 1.050, 24, 13),
        line("b", 1.070, 20, 15, stage="after boil"),
    ]
    past = [
        {"batch": "a", "grain": 5},
        {"batch": "b", "grain": 5.5, "potential": 0.78},
        {},
        {"batch": "older", "known": 71.0},
        {"batch": "nowhere", "grain": 5},
        {"batch": "b"},
    ]
    book = brewed(*log, past=past, wanted=target(volume=25))
    known = [MASH_EFFICIENCY(25, 1.046, 5), MASH_EFFICIENCY(24, 1.050, 5.5, 0.78), 71.0]
    found = [row["efficiency"] for row in book.table("past", "efficiency")]
    assert found[:6] == pytest.approx([known[0], known[1], None, known[2], None, None])
    assert book.cell("next_batches") == 3
    mean = statistics.mean(known)
    assert book.cell("next_efficiency") == pytest.approx(mean)
    spread = 4.30 * statistics.stdev(known) * (1 + 1 / 3) ** 0.5
    assert book.cell("next_spread") == pytest.approx(spread)
    extract = mean / 100 * 5 * 0.8
    assert EXTRACT_MASS(25, book.cell("next_gravity")) == pytest.approx(extract, rel=1e-6)
    upper = book.cell("next_gravity") + book.cell("next_gravity_expanded")
    assert EXTRACT_MASS(25, upper) == pytest.approx(extract * (1 + spread / mean), rel=1e-6)
    # Each gravity taken from the log has the uncertainty that it has there.
    in_log = book.table("log", "expanded")
    known_as = [row["expanded"] for row in book.table("past", "expanded")]
    wanted = [in_log[0]["expanded"], in_log[2]["expanded"], None, None, None, in_log[2]["expanded"]]
    assert wanted[0] > 0
    assert known_as[:6] == wanted


def test_gravity_to_expect_in_plato(brewed):
    choices = Choices(rows=20, gravity="plato")
    past = [{"batch": str(known), "known": known} for known in (70, 75, 77)]
    plato, sg = (
        brewed(past=past, wanted=target(volume=25), choices=choices)
        for choices in (choices, Choices(rows=20))
    )
    ends = [book.cell("next_gravity") for book in (sg, plato)]
    assert ends[1] == pytest.approx(GRAVITY_CONVERT(ends[0], "SG", "Plato"))
    upper = GRAVITY_CONVERT(ends[0] + sg.cell("next_gravity_expanded"), "SG", "Plato")
    assert ends[1] + plato.cell("next_gravity_expanded") == pytest.approx(upper)


def test_student_factors_are_those_of_the_distribution():
    from scipy.stats import t

    for freedom, factor in enumerate(targets._STUDENT, 1):
        assert factor == pytest.approx(t.ppf(0.975, freedom), abs=0.005)
    assert len(targets._STUDENT) == targets._HISTORY - 1


def test_one_batch_gives_a_mean_without_a_spread(brewed):
    book = brewed(past=[{"batch": "x", "known": 75}])
    assert (book.cell("next_efficiency"), book.cell("next_spread")) == (75, None)
    assert book.cell("next_gravity_expanded") is None


def test_impossible_efficiency_is_named(brewed):
    book = brewed(line("a", 1.060, 30), past=[{"batch": "a", "grain": 4}])
    assert "is more than the grain holds" in book.table("past", "efficiency")[0]["efficiency"]
    assert book.cell("next_batches") is None


def test_an_unfilled_workbook_expects_nothing(computed):
    book = computed()
    for name in ("batches", "efficiency", "spread", "gravity", "gravity_expanded"):
        assert book.cell(f"next_{name}") is None
    past = book.table("past", "efficiency", "sg", "expanded", "volume")
    for row in book.table("verdict", *WORTH) + past:
        assert set(row.values()) == {None}
