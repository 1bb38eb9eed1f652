"""What a brewer types, and what the sheets make of it."""

from __future__ import annotations

import pytest

from tests.workbook.conftest import BENCH, FIELD, GLASS, SPINDLE, day
from xlfuncs.functions.instruments import HYDROMETER_SG, REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.science import units
from xlfuncs.workbook import vocabulary as words
from xlfuncs.workbook.vocabulary import Choices

LOG = ("plato", "sg", "u", "expanded", "volume_20", "remark")


def water_check(instrument, date, offset, **more):
    """A check against distilled water that finds the offset."""
    zero = 1.0 if instrument["kind"] == "hydrometer" else 0.0
    return {"instrument": instrument["name"], "date": date, "reading_1": zero + offset} | more


def reading(instrument, value, date=day(2026, 3, 7, 12), **more):  # noqa: B008
    row = {"date": date, "batch": "1", "stage": "before boil", "instrument": instrument["name"]}
    return row | {"reading": value, "temperature": 20} | more


def sg_of(computed, *args, **tables):
    return [row["sg"] for row in computed(*args, **tables).table("log", "sg") if row["sg"]]


def test_an_unfilled_workbook_shows_no_figures_and_no_errors(computed):
    book = computed()
    for row in book.table("log", *LOG) + book.table(
        "verdict", "measured", "expanded", "gravity", "measured_volume", "volume"
    ):
        assert set(row.values()) == {None}
    for row in book.table("state", "name", "date", "offset", "days", "status", "due"):
        assert set(row.values()) == {None}


def test_the_calibration_in_force_at_the_date_corrects_the_reading(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 10), 0.5),
        water_check(FIELD, day(2026, 1, 5), 0.1),
        water_check(FIELD, day(2026, 2, 5), -0.2),
        water_check(BENCH, day(2026, 2, 20), 0.4),
    ]
    dates = [day(2026, 1, 20), day(2026, 2, 5, 9), day(2026, 3, 9, 23), day(2026, 3, 10)]
    found = sg_of(
        computed, inst=[FIELD, BENCH], check=checks, log=[reading(FIELD, 12, d) for d in dates]
    )
    wanted = [WORT_SG(REFRACTOMETER_BRIX(12, 20, o)) for o in (0.1, -0.2, -0.2, 0.5)]
    assert found == pytest.approx(wanted, abs=1e-12)


def test_of_two_checks_on_one_day_the_later_line_counts(computed):
    checks = [water_check(FIELD, day(2026, 2, 14), 0.3), water_check(FIELD, day(2026, 2, 14), 0.0)]
    found = sg_of(computed, inst=[FIELD], check=checks, log=[reading(FIELD, 12)])
    assert found == pytest.approx([WORT_SG(12)], abs=1e-12)


def test_a_timed_check_counts_from_its_time(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 1), 0.0),
        water_check(FIELD, day(2026, 3, 7, 12), 0.4),
    ]
    log = [reading(FIELD, 12, day(2026, 3, 7, hour)) for hour in (11, 13)]
    found = sg_of(computed, inst=[FIELD], check=checks, log=log)
    assert found == pytest.approx([WORT_SG(12), WORT_SG(11.6)], abs=1e-12)


def test_a_solution_fixes_the_slope(computed):
    check = {
        "instrument": "field",
        "date": day(2026, 3, 1),
        "reading_1": 0.2,
        "reading_2": 10.4,
        "reference_2": 10,
    }
    book = computed(inst=[FIELD], check=[check], log=[reading(FIELD, 12)])
    state = book.table("state", "offset", "slope")[0]
    assert (state["offset"], state["slope"]) == pytest.approx((0.2, 1.02))
    assert book.table("log", "sg")[0]["sg"] == pytest.approx(WORT_SG((12 - 0.2) / 1.02))


def test_a_check_read_warm_is_turned_to_20_degrees_first(computed):
    shown = -0.3  # about what water shows on an uncompensated scale at 24 °C
    check = water_check(FIELD, day(2026, 3, 1), shown, temperature=24)
    book = computed(inst=[FIELD], check=[check])
    assert book.table("state", "offset")[0]["offset"] == pytest.approx(
        REFRACTOMETER_BRIX(shown, 24)
    )


def test_a_compensated_refractometer_is_not_corrected_again(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.0)]
    found = sg_of(computed, inst=[BENCH], check=checks, log=[reading(BENCH, 12, temperature=35)])
    assert found == pytest.approx([WORT_SG(12)], abs=1e-12)


def test_hydrometers_in_sg_and_plato(computed):
    checks = [
        water_check(GLASS, day(2026, 3, 1), 0.001),
        water_check(SPINDLE, day(2026, 3, 1), -1.0),  # shows 0 °P in water
    ]
    log = [reading(GLASS, 1.045, temperature=30), reading(SPINDLE, 12.0)]
    found = sg_of(computed, inst=[GLASS, SPINDLE], check=checks, log=log)
    assert found == pytest.approx([HYDROMETER_SG(1.044, 30), WORT_SG(12, 1)], abs=1e-9)


def test_us_units_give_the_same_gravity_and_volume(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.1, temperature=20)]
    log = [reading(FIELD, 12, temperature=25, volume=20, volume_temperature=70)]
    metric = computed(inst=[FIELD], check=checks, log=log).table("log", *LOG)[0]
    us_checks = [checks[0] | {"temperature": 68}]
    us_log = [log[0] | {"temperature": 77, "volume": 20 / 3.785411784, "volume_temperature": 158}]
    us = computed(Choices(rows=20, units="us"), inst=[FIELD], check=us_checks, log=us_log).table(
        "log", *LOG
    )[0]
    assert us["sg"] == pytest.approx(metric["sg"], abs=1e-12)
    assert units.convert(us["volume_20"], "US gal", "L") == pytest.approx(metric["volume_20"])


@pytest.mark.parametrize(
    ("row", "remark"),
    [
        (reading(FIELD, 12, date=None), "no date: no calibration applied"),
        (reading(FIELD, 12, day(2025, 1, 1)), "no calibration check before this date"),
        (reading(FIELD, 12, day(2026, 6, 1)), "calibration check was overdue"),
        (reading(FIELD, 12, temperature=None), "no temperature: 20 °C (68 °F) assumed"),
        (reading(GLASS, 1.05, temperature=None), "sample temperature is missing"),
        (reading({"name": "lost"}, 12), "instrument is not on Setup"),
        (reading({"name": None}, 12), "choose an instrument"),
        (
            reading(FIELD, 7, stage="fermenting"),
            "alcohol in the sample: enter it on the sheet Fermentation",
        ),
        (reading(FIELD, 12), None),
    ],
)
def test_remarks_say_what_a_figure_lacks(computed, row, remark):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.0), water_check(GLASS, day(2026, 3, 1), 0.0)]
    found = computed(inst=[FIELD, GLASS], check=checks, log=[row]).table("log", "remark")[0]
    assert found["remark"] == remark


def test_after_pitching_a_refractometer_gives_no_gravity(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.0)]
    rows = [reading(FIELD, 7, stage=stage) for stage in words.FERMENTED_STAGES]
    book = computed(inst=[FIELD], check=checks, log=rows)
    assert [row["sg"] for row in book.table("log", "sg")[:2]] == [None, None]


def test_an_unchecked_instrument_carries_its_whole_tolerance_as_uncertainty(computed):
    row = computed(inst=[FIELD], log=[reading(FIELD, 12)]).table("log", "u", "expanded")[0]
    checked = computed(
        inst=[FIELD], check=[water_check(FIELD, day(2026, 3, 1), 0)], log=[reading(FIELD, 12)]
    ).table("log", "u")[0]
    assert row["u"] > checked["u"] > 0
    assert row["expanded"] == pytest.approx(2 * row["u"])


def test_a_bad_cell_speaks_in_its_own_line_only(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.0)]
    log = [
        reading(FIELD, 12),
        reading(FIELD, "twelve"),
        reading(FIELD, 12, temperature=140),
        reading(FIELD, "12,0"),
        {},
        reading(FIELD, 12),
    ]
    book = computed(inst=[FIELD], check=checks, log=log)
    shown = [row["sg"] for row in book.table("log", "sg")[:6]]
    assert shown[0] == shown[3] == shown[5] == pytest.approx(WORT_SG(12))
    assert shown[1] == '! reading "twelve" is not a number'
    assert shown[2].startswith("! temperature 140 is outside 5 to 45")
    assert shown[4] is None


TARGET = {"gravity": 1.048, "gravity_tolerance": 0.004, "volume": 25, "volume_tolerance": 1}


def third(row):
    """Targets with the entry for `before boil`."""
    return [{}, {}, row]


def test_the_latest_reading_of_the_batch_meets_its_target(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    log = [
        reading(GLASS, 1.0485, day(2026, 3, 7, 12), volume=25.2, volume_temperature=20),
        reading(GLASS, 1.0300, day(2026, 3, 7, 9), volume=20, volume_temperature=20),
        reading(GLASS, 1.0900, day(2026, 3, 7, 13), batch="2"),
    ]
    book = computed(
        cells={"target_batch": "1"}, inst=[GLASS], check=checks, log=log, target=third(TARGET)
    )
    row = book.table("verdict", "measured", "gravity", "measured_volume", "volume")[2]
    assert row["measured"] == pytest.approx(1.0485, abs=1e-9)
    assert (row["gravity"], row["volume"]) == ("on target", "on target")
    assert row["measured_volume"] == pytest.approx(25.2)


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [(1.0480, "on target"), (1.0420, "low"), (1.0550, "high"), (1.0515, "too close to call")],
)
def test_verdicts(computed, shown, verdict):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    book = computed(inst=[GLASS], check=checks, log=[reading(GLASS, shown)], target=third(TARGET))
    assert book.table("verdict", "gravity")[2]["gravity"] == verdict


def test_targets_in_plato(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    book = computed(
        Choices(rows=20, gravity="plato"),
        inst=[GLASS],
        check=checks,
        log=[reading(GLASS, 1.04838)],
        target=third({"gravity": 12.0, "gravity_tolerance": 0.5}),
    )
    row = book.table("verdict", "measured", "expanded", "gravity")[2]
    assert row["measured"] == pytest.approx(12.0, abs=0.01)
    assert row["expanded"] == pytest.approx(2 * (0.0005**2 * 2) ** 0.5 / 0.0041, rel=0.05)
    assert row["gravity"] == "on target"


def test_a_target_of_zero_is_named(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    book = computed(
        inst=[GLASS],
        check=checks,
        log=[reading(GLASS, 1.05)],
        target=third({"gravity": 0, "gravity_tolerance": 0.002}),
    )
    assert book.table("verdict", "gravity")[2]["gravity"] == "! target 0 is not above 0"


def test_state_of_the_instruments(computed):
    checks = [
        water_check(FIELD, day(2026, 3, 1), 0.1),
        water_check(BENCH, day(2026, 1, 1), 0.5),
    ]
    book = computed(inst=[FIELD, BENCH, GLASS], check=checks)
    rows = book.table("state", "name", "days", "status", "due")[:4]
    assert [row["status"] for row in rows] == ["ok", "adjust, check due", "not checked", None]
    assert [row["days"] for row in rows] == [13, 72, None, None]


def test_a_date_of_the_checks_shows_an_earlier_state(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.1)]
    book = computed(cells={"as_of": day(2026, 5, 1)}, inst=[FIELD], check=checks)
    assert book.table("state", "status")[0]["status"] == "check due"


def test_sixty_checks_of_six_instruments_in_any_order(computed):
    instruments = [FIELD | {"name": f"no {i}"} for i in range(6)]
    checks = [
        water_check(instruments[i % 6], day(2026, 1 + (i * 7) % 2, 1 + i // 3), round(i / 100, 2))
        for i in range(60)
    ]
    log = [reading(instrument, 12, day(2026, 2, 10)) for instrument in instruments]
    found = sg_of(computed, Choices(rows=20), inst=instruments, check=checks, log=log)
    wanted = []
    for instrument in instruments:
        own = [c for c in checks if c["instrument"] == instrument["name"]]
        last = max((c for c in own if c["date"] <= day(2026, 2, 10)), key=lambda c: c["date"])
        wanted.append(WORT_SG(12 - last["reading_1"]))
    assert found == pytest.approx(wanted, abs=1e-12)
