"""Runoff sheet: what the log's readings say of the wash-out, and when to stop."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests import uncertainties
from tests.workbook.conftest import FIELD, GLASS, SMALL, day
from xlfuncs.functions.brewday import RUNOFF_VOLUME
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.functions.volumes import EXTRACT_MASS, VOLUME_AT
from xlfuncs.science import sucrose, units
from xlfuncs.science.budget import COMPENSATION_U, THERMOMETER_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U, Calibration
from xlfuncs.science.wort import FACTOR_U
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.sheets import runoff
from xlfuncs.workbook.words import Choices

CHECK = [{"instrument": "field", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 0.0}]
BATCH = {"name": "pale", "grain": 5, "potential": 0.8}
VOLUMES = (5.0, 9.0, 13.0, 17.0, 22.0)


def shown(volume):
    """°Brix of a runoff that washes out with a scale of 12 L."""
    return round(21 * math.exp(-volume / 12), 2)


def line(volume, reading, minute=0, stage=words.RUNOFF_STAGE, **more):
    return {
        "date": day(2026, 3, 7, 10, minute),
        "batch": "pale",
        "stage": stage,
        "reading": reading,
        "temperature": 20,
        "volume": volume,
        "volume_temperature": 20,
    } | more


def lines(volumes=VOLUMES):
    return [line(volume, shown(volume), round(2 * volume)) for volume in volumes]


def sgs(volumes=VOLUMES):
    return [WORT_SG(REFRACTOMETER_BRIX(shown(volume), 20)) for volume in volumes]


@pytest.fixture
def run(computed):
    """A brew day with these lines, on a refractometer that was checked."""

    def make(*log, choices=None, batch=BATCH, inst=(FIELD, GLASS), check=CHECK, cells=None):
        return computed(choices, cells, inst=inst, check=check, batch=[batch], log=log)

    return make


def test_volume_at_which_the_runoff_falls_to_the_limit(run):
    book = run(*lines())
    # What all readings share: a check in water alone to 0.1 °Bx, slope unchecked, wort factor.
    share = math.hypot(FACTOR_U / 1.04, UNCHECKED_SLOPE_U)
    level = uncertainties.wort_gravity(2.67, 0.0, Calibration(0.1)).level
    [[volume, u]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), 1.010, book.cell("run_u_level"), share)
    assert book.cell("run_u_level") == pytest.approx(level, rel=0.01)
    assert book.cell("run_end") == pytest.approx(volume, abs=1e-9)
    assert book.cell("run_end_expanded") == pytest.approx(2 * u, abs=1e-9)
    assert book.cell("run_last") == pytest.approx(sgs()[-1])
    assert book.cell("run_collected") == 22
    assert book.cell("run_limit") == runoff.LIMIT == 1.010
    assert book.cell("run_batch") == "pale"
    left = f"{volume - 22:.1f}"
    assert book.cell("run_answer") == f"Keep going, about {left} L more"
    assert book.cell("log_answer").endswith(f" · runoff: keep going, about {left} L more")


@pytest.mark.parametrize("tool", [FIELD | {"compensated": "yes"}, GLASS])
def test_the_end_knows_what_the_instrument_is_uncertain_by(run, tool):
    glass = tool is GLASS
    entries = [line(v, sg if glass else shown(v), round(2 * v), instrument=tool["name"])
               for v, sg in zip(VOLUMES, sgs(), strict=True)]  # fmt: skip
    check = CHECK[0] | {"instrument": tool["name"], "shown_1": 1.0 if glass else 0.0}
    book = run(*entries, inst=[tool], check=[check])
    compensated = uncertainties.wort_gravity(2.67, COMPENSATION_U, Calibration(0.1)).u
    level = 0.0005 if glass else compensated
    assert book.cell("run_u_level") == pytest.approx(level, rel=0.06)
    share = 0 if glass else math.hypot(FACTOR_U / 1.04, UNCHECKED_SLOPE_U)
    assert book.cell("run_u_share") == pytest.approx(share)


def drawn(plato, size=200_000):
    """Gravities that a reading of 22 L may stand for: reading, check and wort factor drawn."""
    rng = np.random.default_rng(20)
    brix = shown(22.0) + rng.normal(0, 0.1, size) - rng.normal(0, 0.1, size)
    brix += rng.normal(0, THERMOMETER_U * defaults.BRIX_PER_DEGREE, size)
    brix -= shown(22.0) * rng.normal(0, UNCHECKED_SLOPE_U, size)  # checked in water only
    platos = brix / rng.normal(1.04, FACTOR_U, size)
    return platos if plato else sucrose.sg(platos)


@pytest.mark.parametrize("gravity", ["sg", "plato"])
def test_every_gravity_has_its_uncertainty(run, gravity):
    """Against a Monte Carlo run (JCGM 101) of what makes a reading doubtful."""
    book = run(*lines(), choices=replace(SMALL, gravity=gravity))
    draws = drawn(gravity == "plato")
    # 200 000 draws know a standard deviation to some 0.2 %.
    assert book.cell("run_last_expanded") == pytest.approx(2 * draws.std(), rel=0.01)
    assert book.cell("run_last") == pytest.approx(draws.mean(), rel=1e-3)
    expanded = book.column("run_expanded")
    # The wort factor weighs more in strong runoff; a line without a reading has none.
    assert expanded[0] > 1.3 * expanded[4]
    assert set(expanded[5:]) == {None}


def test_the_drawn_curve_is_the_fitted_one(run):
    book = run(*lines())
    xs, ys = (np.array(book.column(f"curve_{axis}")[2:], dtype=float) for axis in "xy")
    assert np.all(np.diff(xs) > 0)
    for limit in (1.009, 1.02, 1.04):
        [[volume, _]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), limit)
        assert np.interp(volume, xs, ys) == pytest.approx(limit, abs=2e-4)
    assert set(book.column("curve_limit")) == {1.01}
    assert book.column("run_chart_y")[:5] == pytest.approx(sgs())
    assert set(book.column("run_chart_y")[5:]) == {"#N/A"}


def test_the_order_of_lines_does_not_matter(run):
    tidy = run(*lines())
    mixed = run(
        {}, *lines((22.0, 5.0)), {}, line(None, 14.2, stage=words.MASH), *lines((13.0, 17.0, 9.0))
    )
    for name in ("run_end", "run_end_expanded", "run_extract", "run_collected", "run_last"):
        assert mixed.cell(name) == pytest.approx(tidy.cell(name), rel=1e-9), name
    assert mixed.cell("run_answer") == tidy.cell("run_answer")


def test_extract_collected_is_the_integral_of_the_runoff(run):
    book = run(*lines())
    per_litre = [EXTRACT_MASS(1, sg) for sg in sgs()]
    # Before the first reading as strong as that one; then exponential from one to the next.
    extract = VOLUMES[0] * per_litre[0] + sum(
        (v - u) * (a - b) / math.log(a / b)
        for u, v, a, b in zip(VOLUMES, VOLUMES[1:], per_litre, per_litre[1:], strict=False)
    )
    assert book.cell("run_extract") == pytest.approx(extract, rel=1e-9)
    fine = np.linspace(5, 22, 2001)
    density = np.array([EXTRACT_MASS(1, WORT_SG(21 * math.exp(-v / 12))) for v in fine])
    steps = (density[1:] + density[:-1]) / 2 * np.diff(fine)
    assert extract == pytest.approx(VOLUMES[0] * per_litre[0] + steps.sum(), rel=2e-3)
    assert book.cell("run_efficiency") == pytest.approx(100 * extract / 4, rel=1e-9)


def test_first_runnings_are_the_plateau_and_no_part_of_the_fall(run):
    first = line(None, 18.0, 1, words.FIRST_RUNNINGS, volume_temperature=None)
    book, without = run(first, *lines()), run(*lines())
    for name in ("run_end", "run_end_expanded", "run_collected", "run_answer"):
        assert book.cell(name) == without.cell(name), name
    strong, weak = (EXTRACT_MASS(1, WORT_SG(brix)) for brix in (18.0, shown(5.0)))
    more = 5 * ((strong - weak) / math.log(strong / weak) - weak)
    assert book.cell("run_extract") - without.cell("run_extract") == pytest.approx(more, rel=1e-6)
    assert book.column("run_chart_x")[0] == 0


def test_hot_volumes_are_turned_to_20_degrees_first(run):
    hot = run(*(entry | {"volume_temperature": 70} for entry in lines()))
    cold = [VOLUME_AT(volume, 70, 20, sg) for volume, sg in zip(VOLUMES, sgs(), strict=True)]
    assert hot.column("run_volume")[:5] == pytest.approx(cold)
    [[volume, _]] = RUNOFF_VOLUME(cold, sgs(), 1.010)
    assert hot.cell("run_end") == pytest.approx(volume)


def test_us_units_tell_the_same(run):
    metric = run(*lines())
    gallons = [
        entry
        | {
            "volume": units.convert(entry["volume"], "L", "US gal"),
            "volume_temperature": 68,
            "temperature": 68,
        }
        for entry in lines()
    ]
    us = run(
        *gallons,
        choices=replace(SMALL, units="us"),
        batch=BATCH | {"grain": units.convert(5, "kg", "lb")},
        check=[CHECK[0] | {"temperature": 68}],
    )
    for name, unit in (("run_end", "US gal"), ("run_collected", "US gal"), ("run_extract", "lb")):
        base = "kg" if unit == "lb" else "L"
        assert units.convert(us.cell(name), unit, base) == pytest.approx(metric.cell(name)), name
    assert us.cell("run_efficiency") == pytest.approx(metric.cell("run_efficiency"))
    assert us.cell("run_answer").endswith(" US gal more")


def test_limit_and_picture_in_plato(run):
    plan = BATCH | {"runoff_end_gravity": 3.0}
    book = run(*lines(), choices=replace(SMALL, gravity="plato"), batch=plan)
    [[volume, _]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), GRAVITY_CONVERT(3.0, "Plato", "SG"))
    assert book.cell("run_end") == pytest.approx(volume, abs=1e-6)
    assert book.cell("run_last") == pytest.approx(shown(22.0) / 1.04, abs=1e-4)
    assert set(book.column("curve_limit")) == {3.0}


def test_the_limit_is_that_of_the_batchs_plan(run):
    plan = BATCH | {"runoff_end_gravity": 1.012}
    [[volume, _]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), 1.012)
    assert run(*lines(), batch=plan).cell("run_end") == pytest.approx(volume, abs=1e-9)


@pytest.mark.parametrize(
    ("volumes", "says"),
    [
        ((5, 9, 13), "keep going, about "),
        ((5, 9, 13, 17, 22, 24.5), "get ready, about 0.3 L more"),
        ((5, 9, 13, 17, 22, 26), "stop now, the last reading is at the limit"),
        ((5, 9), "keep going, read again: readings at 2 different volumes are too few"),
    ],
)
def test_one_plain_line(run, volumes, says):
    book = run(*lines(volumes))
    assert book.cell("runoff_says").startswith(says)
    assert book.cell("run_answer").startswith(says[0].upper() + says[1:])
    assert f"runoff: {says}" in book.cell("log_answer")


def test_the_curve_overrules_a_last_reading_that_is_just_above(run):
    book = run(*lines(), line(27, 2.75, 58))
    assert book.cell("run_last") > 1.010
    assert book.cell("runoff_says") == "stop now, the fitted curve is at the limit"


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (2.6, "limit reached"),
        (2.8, "about the limit"),
        (4.0, "above the limit: extract stays in the grain"),
    ],
)
def test_a_runoff_that_has_ended_is_not_told_to_go_on(run, reading, said):
    book = run(*lines(), line(26, reading, 58, words.RUNOFF_END))
    assert book.cell("runoff_says").startswith("ended at 1.0")
    assert book.cell("runoff_says").endswith(f"({said})")


def test_the_line_says_when_the_kettle_is_full(run):
    full, more = (
        run(*lines(), batch=BATCH | {"before_boil_volume": volume}).cell("runoff_says")
        for volume in (22, 23)
    )
    assert full.endswith("; the kettle holds its planned volume")
    assert "holds" not in more


def test_a_reading_without_a_volume_still_says_when_to_stop(run):
    book = run(line(None, 2.4, 50, volume_temperature=None))
    assert book.cell("runoff_says") == "stop now, the last reading is at the limit"
    assert book.column("run_remark")[0] == "volume is missing"
    going = run(line(None, 6.0, 50, volume_temperature=None))
    assert going.cell("runoff_says") == "keep going, log the volume collected too"


def test_runoff_that_rises_is_named(run):
    book = run(*(line(5 * i, 3.0 * i, i) for i in (1, 2, 3, 4)))
    assert book.cell("run_end").startswith("! sgs do not fall as the volume grows")
    assert "gravities do not fall" in book.cell("runoff_says")
    assert set(book.column("curve_y")) == {"#N/A"}


def test_one_slip_is_left_out(run):
    volumes = (5, 8, 11, 14, 17, 20, 23)
    slip = lines(volumes)
    slip[3]["reading"] = 16.0
    good = run(*lines(volumes)).cell("run_end")
    assert run(*slip).cell("run_end") == pytest.approx(good, abs=0.3)


def test_two_readings_at_one_volume_both_count(run):
    book = run(*lines(), line(22.0, shown(22.0), 55))
    assert book.cell("run_extract") == pytest.approx(run(*lines()).cell("run_extract"))


def test_text_instead_of_a_volume_is_named_in_its_line(run):
    book = run(line("full", 12), *lines())
    assert book.column("run_volume")[0] == '! volume "full" is not a number'
    assert book.cell("run_end") == '! volume "full" is not a number'
    assert book.column("run_gravity")[1:6] == pytest.approx(sgs())


def test_more_readings_than_there_is_room_for_are_counted(run):
    volumes = [5 + 0.8 * i for i in range(runoff.READINGS + 2)]
    book = run(*(line(v, shown(v), i) for i, v in enumerate(volumes)))
    assert book.cell("run_answer").endswith("(2 earlier readings have no room here)")
    assert book.cell("run_collected") == pytest.approx(volumes[-1])


@pytest.mark.parametrize(("ph", "said"), [(5.4, "ok"), (5.8, "ok"), (5.9, "above 5.8: tannins")])
def test_ph_of_the_runoff(run, ph, said):
    book = run(line(5, 12), line(9, 10, 9, ph=ph))
    assert book.cell("run_ph_says") == said
    assert book.column("run_ph")[:2] == [None, ph]


def test_a_hydrometer_reads_the_runoff_as_well(run):
    volumes = (5, 9, 13, 17)
    jar = [line(v, 1 + 0.08 * math.exp(-v / 12), v, instrument="glass") for v in volumes]
    book = run(*jar)
    [[volume, _]] = RUNOFF_VOLUME(list(volumes), [entry["reading"] for entry in jar], 1.010)
    assert book.cell("run_end") == pytest.approx(volume, abs=0.01)


def test_the_calibration_in_force_corrects_the_readings(run):
    book = run(*lines(), check=[CHECK[0] | {"shown_1": 0.4}])
    wanted = [WORT_SG(REFRACTOMETER_BRIX(shown(v), 20, 0.4)) for v in VOLUMES]
    assert book.column("run_gravity")[:5] == pytest.approx(wanted)


def test_another_batch_shows_its_own_runoff(computed):
    other = [entry | {"batch": "dark"} for entry in lines((5, 9))]
    tables = {
        "inst": [FIELD],
        "check": CHECK,
        "batch": [BATCH, {"name": "dark"}],
        "log": [*lines(), *other],
    }
    assert computed(**tables).cell("run_collected") == 9
    assert computed(cells={"chosen_batch": "pale"}, **tables).cell("run_collected") == 22


@pytest.mark.parametrize(
    "choices", [Choices(rows=30), Choices(rows=30, units="us", gravity="plato")]
)
def test_an_unfilled_sheet_says_nothing(computed, choices):
    book = computed(replace(choices, checks=20))
    for name in ("end", "collected", "last", "extract", "efficiency", "ph_says", "batch"):
        assert book.cell(f"run_{name}") is None
    assert book.cell("runoff_says") is None
    assert book.cell("run_answer") == "Choose a batch on Batches, or log a reading of the runoff."
    assert set(book.column("curve_y")) | set(book.column("curve_limit")) == {"#N/A"}


def test_runoff_and_kettle_of_the_example_hold_the_same_extract(computed):
    book = computed(Choices(rows=80, example=True))
    # Volumes within 1 %, gravities within what the wort factor has in common.
    assert book.cell("run_extract") == pytest.approx(book.cell("kettle_extract"), rel=0.03)
