"""Runoff sheet: what the readings say of the wash-out, and when to stop."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.workbook.conftest import FIELD, GLASS, day
from xlfuncs.functions.brewday import RUNOFF_VOLUME
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.functions.volumes import EXTRACT_MASS, VOLUME_AT
from xlfuncs.science import sucrose, units
from xlfuncs.workbook.vocabulary import Choices

CHECK = [{"instrument": "field", "date": day(2026, 3, 1), "reading_1": 0.0}]
CELLS = {"run_instrument": "field", "run_date": day(2026, 3, 7)}
VOLUMES = (5.0, 9.0, 13.0, 17.0, 22.0)


def shown(volume: float) -> float:
    """°Brix of a runoff that washes out with a scale of 12 L."""
    return round(21 * math.exp(-volume / 12), 2)


def row(volume, reading, **more):
    return {
        "volume": volume,
        "volume_temperature": 20,
        "reading": reading,
        "temperature": 20,
    } | more


def rows(volumes=VOLUMES):
    return [row(volume, shown(volume)) for volume in volumes]


def sgs(volumes=VOLUMES):
    return [WORT_SG(REFRACTOMETER_BRIX(shown(volume), 20)) for volume in volumes]


@pytest.fixture
def run(computed):
    """Fill the sheet with readings; the rest of the workbook knows the refractometer."""

    def make(run, choices=None, inst=(FIELD, GLASS), check=CHECK, cells=None, **tables):
        return computed(
            choices, cells=CELLS | (cells or {}), run=run, inst=inst, check=check, **tables
        )

    return make


def test_volume_at_which_the_runoff_falls_to_the_limit(run):
    book = run(rows())
    [[volume, u]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), 1.010)
    assert book.cell("run_end") == pytest.approx(volume, abs=1e-9)
    assert book.cell("run_end_expanded") == pytest.approx(2 * u, abs=1e-9)
    assert book.cell("run_gravity") == pytest.approx(sgs()[-1])
    assert book.cell("run_collected") == 22


def simulated(choices, rng, size=200_000):
    """Gravities that the last reading may stand for: reading, check and wort factor drawn."""
    brix = shown(22.0) + rng.normal(0, 0.1, size) - rng.normal(0, 0.1, size)
    platos = brix / rng.normal(1.04, 0.01, size)
    return platos if choices.gravity == "plato" else sucrose.sg(platos)


@pytest.mark.parametrize("gravity", ["sg", "plato"])
def test_every_gravity_has_its_uncertainty(run, gravity):
    """Against a Monte Carlo run (JCGM 101): one reading and one check in water, u 0.1 °Bx each."""
    choices = Choices(rows=20, gravity=gravity)
    rng = np.random.default_rng(20)
    book = run(rows(), choices, cells={"run_limit": 1.01 if gravity == "sg" else 2.6})
    drawn = simulated(choices, rng)
    # 200 000 draws know a standard deviation to some 0.2 %.
    assert book.cell("run_gravity_expanded") == pytest.approx(2 * drawn.std(), rel=0.02)
    assert book.cell("run_gravity") == pytest.approx(drawn.mean(), rel=1e-3)
    expanded = [r["expanded"] for r in book.table("run", "expanded")]
    assert expanded[4] == pytest.approx(2 * simulated(Choices(), rng).std(), rel=0.02)
    # The wort factor weighs more in strong runoff; a row without a reading has none.
    assert expanded[0] > 1.3 * expanded[4]
    assert set(expanded[5:]) == {None}


def test_an_instrument_of_unknown_uncertainty_takes_no_gravity_away(run):
    book = run(rows(), inst=[FIELD | {"u_reading": "small"}, GLASS])
    assert book.cell("run_gravity") == pytest.approx(sgs()[-1])
    assert book.cell("run_gravity_expanded") is None


def test_the_drawn_curve_is_the_fitted_one(run):
    book = run(rows())
    for limit in (1.008, 1.02, 1.04):
        [[volume, _]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), limit)
        drawn = book.table("ro", "chart_x", "chart_fitted")
        x, y = zip(*((r["chart_x"], r["chart_fitted"]) for r in drawn), strict=True)
        if volume <= x[-1]:
            assert np.interp(volume, x, y) == pytest.approx(limit, abs=2e-4)
    assert {r["chart_limit"] for r in book.table("ro", "chart_limit")} == {1.01}
    points = book.table("ro", "chart_volume", "chart_gravity")
    assert [p["chart_gravity"] for p in points[:5]] == pytest.approx(sgs())
    assert {p["chart_gravity"] for p in points[5:]} == {"#N/A"}


def test_order_and_blank_rows_do_not_matter(run):
    tidy = run(rows())
    mixed = run([{}, *rows((22.0, 5.0)), {}, {}, *rows((13.0, 17.0)), {}, *rows((9.0,))])
    for name in ("run_end", "run_end_expanded", "run_extract", "run_collected", "run_gravity"):
        assert mixed.cell(name) == pytest.approx(tidy.cell(name), rel=1e-9), name
    assert mixed.cell("run_state") == tidy.cell("run_state")


def test_extract_collected_is_the_integral_of_the_runoff(run):
    book = run(rows(), cells={"grain_mass": 5, "extract_potential": 0.8})
    per_litre = [EXTRACT_MASS(1, sg) for sg in sgs()]
    # Before the first reading as strong as that one; then exponential from one to the next.
    extract = VOLUMES[0] * per_litre[0] + sum(
        (v - u) * (a - b) / math.log(a / b)
        for u, v, a, b in zip(VOLUMES, VOLUMES[1:], per_litre, per_litre[1:], strict=False)
    )
    assert book.cell("run_extract") == pytest.approx(extract, rel=1e-9)
    fine = np.linspace(5, 22, 2001)
    exact = np.trapezoid if hasattr(np, "trapezoid") else np.trapz
    truth = VOLUMES[0] * per_litre[0] + exact(
        [EXTRACT_MASS(1, WORT_SG(21 * math.exp(-v / 12))) for v in fine], fine
    )
    assert extract == pytest.approx(truth, rel=2e-3)
    assert book.cell("run_efficiency") == pytest.approx(100 * extract / 4, rel=1e-9)


def test_wide_spacing_costs_little(run):
    near, far = run(rows()), run(rows((5.0, 13.0, 22.0)))
    assert far.cell("run_extract") == pytest.approx(near.cell("run_extract"), rel=5e-3)


def test_hot_volumes_are_turned_to_20_degrees_first(run):
    hot = run([r | {"volume_temperature": 70} for r in rows()])
    cold = [VOLUME_AT(volume, 70) for volume in VOLUMES]
    found = [r["volume_20"] for r in hot.table("run", "volume_20")[:5]]
    assert found == pytest.approx(cold)
    [[volume, _]] = RUNOFF_VOLUME(cold, sgs(), 1.010)
    assert hot.cell("run_end") == pytest.approx(volume)


def test_a_volume_without_temperature_is_said_to_count_as_cold(run):
    book = run([row(5, 12, volume_temperature=None)])
    assert book.table("run", "remark")[0]["remark"] == "volume counts as at 20 °C"


def test_us_units_tell_the_same(run):
    metric = run(rows(), cells={"grain_mass": 5})
    gallons = [
        r
        | {
            "volume": units.convert(r["volume"], "L", "US gal"),
            "volume_temperature": 68,
            "temperature": 68,
        }
        for r in rows()
    ]
    us = run(
        gallons,
        Choices(rows=20, units="us"),
        cells={"grain_mass": units.convert(5, "kg", "lb")},
    )
    for name, unit in (("run_end", "US gal"), ("run_collected", "US gal"), ("run_extract", "lb")):
        base = "kg" if unit == "lb" else "L"
        assert units.convert(us.cell(name), unit, base) == pytest.approx(metric.cell(name)), name
    assert us.cell("run_efficiency") == pytest.approx(metric.cell("run_efficiency"))


def test_limit_and_chart_in_plato(run):
    book = run(rows(), Choices(rows=20, gravity="plato"), cells={"run_limit": 3.0})
    [[volume, _]] = RUNOFF_VOLUME(list(VOLUMES), sgs(), GRAVITY_CONVERT(3.0, "Plato", "SG"))
    assert book.cell("run_end") == pytest.approx(volume, abs=1e-6)
    assert book.cell("run_gravity") == pytest.approx(shown(22.0) / 1.04, abs=1e-4)
    assert book.table("ro", "chart_limit")[0]["chart_limit"] == 3.0


@pytest.mark.parametrize(
    ("volumes", "state", "reason"),
    [
        ((5, 9, 13), "Keep going", " L more."),
        ((5, 9, 13, 17, 22), "Keep going", " L more."),
        ((5, 9, 13, 17, 22, 24.5), "Get ready", "about 0.3 L more."),
        ((5, 9, 13, 17, 22, 26), "Stop now", "the last reading is at the limit."),
        ((5, 9), "Keep going", "and read again: readings at 2 different volumes are too few"),
    ],
)
def test_one_plain_line(run, volumes, state, reason):
    book = run(rows(volumes))
    assert book.cell("run_state") == state
    assert reason in book.cell("run_reason")


def test_the_curve_overrules_a_last_reading_that_is_just_above(run):
    book = run([*rows((5, 9, 13, 17, 22)), row(26, 2.9)])
    assert book.cell("run_gravity") > 1.010
    assert (book.cell("run_state"), book.cell("run_reason")) in (
        ("Stop now", "the fitted curve is at the limit."),
        ("Get ready", book.cell("run_reason")),
    )


def test_the_line_says_when_the_kettle_is_full(run):
    target = [{}, {}, {"volume": 22}]
    assert "holds its target volume" in run(rows(), target=target).cell("run_reason")
    target[2] = {"volume": 23}
    assert "holds its target volume" not in run(rows(), target=target).cell("run_reason")


def test_two_readings_are_too_few_for_a_curve(run):
    book = run(rows((5.0, 13.0)))
    assert book.cell("run_end").startswith("! readings at 2 different volumes are too few")
    assert book.cell("run_extract") > 0
    assert {r["chart_fitted"] for r in book.table("ro", "chart_fitted")} == {"#N/A"}


def test_runoff_that_rises_is_named(run):
    book = run([row(5, 4.0), row(10, 6.0), row(15, 9.0), row(20, 12.0)])
    assert book.cell("run_end").startswith("! sgs do not fall as the volume grows")
    assert book.cell("run_state") == "Keep going"
    assert "sgs do not fall" in book.cell("run_reason")


def test_one_slip_is_left_out(run):
    volumes = (5, 8, 11, 14, 17, 20, 23)
    slip = rows(volumes)
    slip[3]["reading"] = 16.0
    good = run(rows(volumes))
    assert run(slip).cell("run_end") == pytest.approx(good.cell("run_end"), abs=0.3)


def test_a_reading_at_volume_zero(run):
    book = run([row(0, shown(0)), *rows()])
    assert book.cell("run_extract") == pytest.approx(
        sum(r["part"] for r in book.table("ro", "part"))
    )
    assert book.table("ro", "part")[0]["part"] == 0
    assert isinstance(book.cell("run_end"), float)


def test_two_readings_at_one_volume_both_count(run):
    book = run([*rows(), row(22.0, shown(22.0))])
    assert book.cell("run_extract") == pytest.approx(run(rows()).cell("run_extract"))


def test_text_instead_of_a_number_is_named_in_its_row(run):
    book = run([row("full", 12), *rows()])
    assert book.table("run", "volume_20")[0]["volume_20"] == "! volume full is not a number"
    assert book.cell("run_end") == "! volume full is not a number"
    assert [r["sg"] for r in book.table("run", "sg")[:6]] == pytest.approx(
        [WORT_SG(REFRACTOMETER_BRIX(12, 20)), *sgs()]
    )


def test_half_filled_rows_are_named(run):
    book = run([row(5, None), row(None, 12), row(5, 12, ph=6.1), row(5, 12, ph=5.2)])
    remarks = [r["remark"] for r in book.table("run", "remark")[:4]]
    assert remarks == ["reading is missing", "volume is missing", "pH above 5.8", None]


@pytest.mark.parametrize(("ph", "said"), [(5.4, "ok"), (5.8, "ok"), (5.9, "above 5.8")])
def test_ph_of_the_runoff(run, ph, said):
    assert run([*rows((5,)), row(9, 10, ph=ph)]).cell("run_ph_warning") == said


@pytest.mark.parametrize(
    ("instrument", "reason"),
    [
        ("glass", "the instrument chosen is not a refractometer on Setup"),
        ("lost", "the instrument chosen is not a refractometer on Setup"),
        (None, "choose the refractometer"),
    ],
)
def test_only_a_refractometer_will_do(run, instrument, reason):
    book = run(rows(), cells={"run_instrument": instrument})
    assert (book.cell("run_state"), book.cell("run_reason")) == (None, reason)
    assert book.cell("run_end") is None


def test_the_calibration_in_force_corrects_the_readings(run):
    book = run(rows(), check=[CHECK[0] | {"reading_1": 0.4}])
    wanted = [WORT_SG(REFRACTOMETER_BRIX(shown(v), 20, 0.4)) for v in VOLUMES]
    assert [r["sg"] for r in book.table("run", "sg")[:5]] == pytest.approx(wanted)


def test_an_unfilled_sheet_says_nothing(computed):
    book = computed()
    for name in ("state", "reason", "collected", "gravity", "end", "extract", "efficiency"):
        assert book.cell(f"run_{name}") is None
