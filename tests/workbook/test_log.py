"""The log: what a brewer types, at any stage, and the gravity, ± and verdict beside it."""

from __future__ import annotations

import pytest

from tests import uncertainties
from tests.workbook.conftest import BATCH, BENCH, FIELD, GLASS, SPINDLE, day, reading, water_check
from xlfuncs.functions.beer import BEER_SG
from xlfuncs.functions.instruments import HYDROMETER_SG, REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.science import budget, units
from xlfuncs.science.calibration import Calibration
from xlfuncs.workbook import words
from xlfuncs.workbook.words import Choices

SHOWN = ("gravity", "expanded", "tells", "volume_20")


def sg_of(computed, *args, **tables):
    return [row["sg"] for row in computed(*args, **tables).table("log", "sg") if row["sg"]]


def test_an_unfilled_workbook_shows_no_figures_and_no_errors(computed):
    book = computed()
    for row in book.table("log", *SHOWN):
        assert set(row.values()) == {None}
    for row in book.table("state", "name", "date", "offset", "days", "status", "due"):
        assert set(row.values()) == {None}
    assert book.cell("log_answer") == "Type the first reading below: the answer appears here."
    assert book.cell("log_notice") is None


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
    check = water_check(FIELD, day(2026, 3, 1), 0.2) | {"shown_2": 10.4, "known_2": 10}
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


@pytest.mark.parametrize("typed", ["1,050", " 1.050 "])
def test_the_correction_reaches_a_hydrometer_reading_that_is_a_text(computed, typed):
    check = {"instrument": GLASS["name"], "date": day(2026, 1, 5), "shown_1": 1.003}
    log = [reading(GLASS, shown, day(2026, 1, 20)) for shown in (1.05, typed)]
    number, text = sg_of(computed, inst=[GLASS], check=[check], log=log)
    assert number < 1.0485
    assert text == pytest.approx(number, abs=1e-9)


def test_a_scale_against_water_at_4_degrees_and_plastic(computed):
    tools = [GLASS | {"name": "20/4", "water": 4}, GLASS | {"name": "jug", "material": "plastic"}]
    log = [reading(tools[0], 1.045), reading(tools[1], 1.045, temperature=30)]
    found = sg_of(computed, inst=tools, log=log)
    wanted = [HYDROMETER_SG(1.045, 20, 20, 4), HYDROMETER_SG(1.045, 30, 20, "", 0.0002)]
    assert found == pytest.approx(wanted, abs=1e-12)


def test_a_refractometer_whose_scale_is_sg(computed):
    """What it shows is that of a sugar solution: brought to °Brix, then read as wort."""
    tool = FIELD | {"scale": "SG", "fine": 0.0005, "tolerated": 0.001}
    check = {"instrument": "field", "date": day(2026, 3, 1), "shown_1": 1.0}
    book = computed(inst=[tool], check=[check], log=[reading(tool, 1.048)])
    row = book.table("log", "sg", "expanded", "remark")[0]
    assert row["sg"] == pytest.approx(WORT_SG(11.9084), abs=2e-6)
    assert row["expanded"] > 0.001
    assert row["remark"] is None


def test_us_units_give_the_same_gravity_and_volume(computed):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.1, temperature=20)]
    log = [reading(FIELD, 12, temperature=25, volume=20, volume_temperature=70)]
    keys = ("sg", "u", "volume_20")
    metric = computed(inst=[FIELD], check=checks, log=log).table("log", *keys)[0]
    us_checks = [checks[0] | {"temperature": 68}]
    us_log = [log[0] | {"temperature": 77, "volume": 20 / 3.785411784, "volume_temperature": 158}]
    us = computed(Choices(rows=20, units="us"), inst=[FIELD], check=us_checks, log=us_log).table(
        "log", *keys
    )[0]
    assert (us["sg"], us["u"]) == pytest.approx((metric["sg"], metric["u"]), abs=1e-12)
    assert units.convert(us["volume_20"], "US gal", "L") == pytest.approx(metric["volume_20"])


@pytest.mark.parametrize(
    ("row", "remark"),
    [
        (reading(FIELD, 12, "7 March"), "the date is a text"),
        (reading(FIELD, 12, stage="fermenting", date=None), "no date: no calibration applied"),
        (reading(FIELD, 12, day(2025, 1, 1)), "not checked before this date"),
        (reading(FIELD, 12, day(2026, 6, 1)), "check overdue"),
        (reading(FIELD, 12, temperature=None), "no temperature: 20 °C (68 °F) assumed"),
        (reading(GLASS, 1.05, temperature=None), "sample temperature is missing"),
        (reading({"name": "lost"}, 12), "instrument is not on Setup"),
        (reading(FIELD, 12, batch="2"), "batch is not on Batches"),
        (reading(FIELD, 12, batch=None), "batch is missing"),
        (reading(FIELD, 12, stage="lunch"), "unknown stage"),
        (reading(FIELD, 1.05), "reads like SG, but its scale is °Brix"),
        (reading(GLASS, 12.4), "reads like °Brix, but its scale is SG"),
        (reading(FIELD, 7, stage="fermenting"), "original gravity is missing"),
        (reading(FIELD, 12, volume=20), "volume as at 20 °C (68 °F)"),
        (reading(FIELD, 12, stage="runoff", ph=5.9), "pH above 5.8: husk tannins dissolve"),
        (reading(FIELD, 12), None),
    ],
)
def test_remarks_say_what_a_figure_lacks(computed, row, remark):
    checks = [water_check(FIELD, day(2026, 3, 1), 0.0), water_check(GLASS, day(2026, 3, 1), 0.0)]
    found = computed(inst=[FIELD, GLASS], check=checks, log=[row]).table("log", "remark")[0]
    if remark is None:
        assert found["remark"] is None
    else:
        assert remark in found["remark"].split("; ")


def test_names_compare_without_outer_blanks_and_case(computed):
    row = reading({"name": " Field "}, 12, batch=" 1 ", stage=" Before Boil")
    checks = [water_check(FIELD, day(2026, 3, 1), 0.2) | {"instrument": "FIELD "}]
    plan = [BATCH | {"before_boil_gravity": 1.048}]
    found = computed(inst=[FIELD], check=checks, batch=plan, log=[row])
    assert found.table("log", "sg")[0]["sg"] == pytest.approx(
        WORT_SG(REFRACTOMETER_BRIX(12, 20, 0.2))
    )
    assert found.table("log", "verdict", "remark")[0]["verdict"]


def test_a_blank_instrument_is_the_first_and_a_blank_date_the_brew_day(computed):
    row = reading({"name": None}, 12, date=None)
    checks = [water_check(FIELD, day(2026, 3, 1), 0.2), water_check(FIELD, day(2026, 3, 8), 0.9)]
    found = computed(inst=[FIELD, GLASS], check=checks, log=[row]).table("log", "sg", "remark")[0]
    assert found["sg"] == pytest.approx(WORT_SG(REFRACTOMETER_BRIX(12, 20, 0.2)))
    assert found["remark"] is None


def test_beer_is_corrected_with_what_went_into_the_fermenter(computed):
    checks = [water_check(BENCH, day(2026, 3, 1), 0.0)]
    log = [
        reading(BENCH, 12.4, stage="into fermenter"),
        reading(BENCH, 6.2, day(2026, 3, 12), stage="fermenting"),
    ]
    book = computed(inst=[BENCH], check=checks, log=log)
    rows = book.table("log", "sg", "u", "remark")
    assert rows[1]["sg"] == pytest.approx(BEER_SG(WORT_SG(12.4), 6.2), abs=1e-12)
    assert rows[1]["u"] > 0.0013
    assert rows[1]["remark"] == "no proof that it has ended"


def test_without_a_measured_original_the_plan_serves_and_says_so(computed):
    plan = [BATCH | {"into_fermenter_gravity": 1.050}]
    log = [reading(BENCH, 6.2, day(2026, 3, 12), stage="fermenting")]
    row = computed(inst=[BENCH], batch=plan, log=log).table("log", "sg", "remark")[0]
    assert row["sg"] == pytest.approx(BEER_SG(1.050, 6.2))
    assert "original from the plan" in row["remark"]


def test_noise_of_a_reading_goes_on_smoothly(computed):
    plan = [BATCH | {"into_fermenter_gravity": 1.048}]
    log = [reading(BENCH, shown, day(2026, 3, 8), stage="fermenting") for shown in (12.5, 13.2)]
    found = computed(inst=[BENCH], batch=plan, log=log).table("log", "sg")
    assert found[0]["sg"] == pytest.approx(1.048, abs=0.001)
    assert found[1]["sg"].startswith("! ")


def test_a_gravity_that_rises_is_named(computed):
    log = [reading(GLASS, 1.020, day(2026, 3, 12), stage="fermenting"),
           reading(GLASS, 1.019, day(2026, 3, 13), stage="fermenting"),
           reading(GLASS, 1.030, day(2026, 3, 14), stage="fermenting")]  # fmt: skip
    checks = [water_check(GLASS, day(2026, 3, 1), 0)]
    rows = computed(inst=[GLASS], check=checks, log=log).table("log", "remark")
    assert [row["remark"] for row in rows[:3]] == [
        None, None, "gravity rises during fermentation",
    ]  # fmt: skip


def test_more_extract_than_the_grain_holds_is_named(computed):
    plan = [BATCH | {"grain": 5, "after_boil_volume": 24}]
    log = [reading(FIELD, 31.4, stage="after boil"), reading(FIELD, 13.4, stage="after boil")]
    rows = computed(inst=[FIELD], batch=plan, log=log).table("log", "remark")
    assert "more extract than the grain holds" in rows[0]["remark"]
    assert "more extract" not in rows[1]["remark"]


def test_an_unchecked_instrument_carries_its_whole_tolerance_as_uncertainty(computed):
    row = computed(inst=[FIELD], log=[reading(FIELD, 12)]).table("log", "u", "expanded")[0]
    checked = computed(
        inst=[FIELD], check=[water_check(FIELD, day(2026, 3, 1), 0)], log=[reading(FIELD, 12)]
    ).table("log", "u")[0]
    assert row["u"] > checked["u"] > 0
    assert row["expanded"] == pytest.approx(2 * row["u"], rel=1e-6)


def test_nothing_left_blank_becomes_a_doubt_of_zero(computed):
    bare = {"name": "bare"}
    row = computed(inst=[bare], log=[reading(bare, 12)]).table("log", "u", "verdict")[0]
    # A tenth of a degree to read, two tenths that it may be off, and the wort factor's doubt.
    assert row["u"] == pytest.approx(
        uncertainties.wort_gravity(
            12,
            (0.1**2 + (budget.temperature_slope(12, 20) * budget.THERMOMETER_U) ** 2) ** 0.5,
            Calibration(0.2),
        ).u,
        rel=0.01,
    )


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
    shown = [row["gravity"] for row in book.table("log", "gravity")[:6]]
    assert shown[0] == shown[3] == shown[5] == pytest.approx(WORT_SG(12))
    assert shown[1] == '! reading "twelve" is not a number'
    assert shown[2].startswith("! temperature 140 is outside 5 to 45")
    assert shown[4] is None


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        (1.0480, "on target"),
        (1.0511, "probably on target"),
        (1.0519, "too close to call"),
        (1.0531, "probably high"),
        (1.0420, "low"),
        (1.0550, "high"),
    ],
)
def test_verdicts(computed, shown, verdict):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    plan = [BATCH | {"before_boil_gravity": 1.048, "tolerance": 0.004}]
    book = computed(inst=[GLASS], check=checks, batch=plan, log=[reading(GLASS, shown)])
    assert book.table("log", "verdict")[0]["verdict"] == verdict


def test_targets_in_plato(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    book = computed(
        Choices(rows=20, gravity="plato"),
        inst=[GLASS],
        check=checks,
        batch=[BATCH | {"before_boil_gravity": 12.0, "tolerance": 0.6}],
        log=[reading(GLASS, 1.04838)],
    )
    row = book.table("log", "gravity", "expanded", "verdict")[0]
    assert row["gravity"] == pytest.approx(12.0, abs=0.01)
    assert row["expanded"] == pytest.approx(2 * (0.0005**2 * 2) ** 0.5 / 0.0041, rel=0.1)
    assert row["verdict"] == "on target"


def test_a_volume_is_judged_beside_its_gravity(computed):
    plan = [BATCH | {"before_boil_gravity": 1.048, "before_boil_volume": 25}]
    log = [reading(GLASS, 1.048, volume=22, volume_temperature=20)]
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    row = computed(inst=[GLASS], check=checks, batch=plan, log=log).table("log", "tells")[0]
    assert row["tells"] == "on target; volume low"


# --- ten batches, ten plans ---


def ten():
    batches = [{"name": str(n), "date": day(2026, 1, n), "before_boil_gravity": 1.03 + n / 500}
               for n in range(1, 12)]  # fmt: skip
    log = [reading(GLASS, 1.048, day(2026, 1, n, 12), batch=n) for n in range(1, 12)]
    return batches, log


def test_ten_batches_are_judged_at_once_each_by_its_own_plan(computed):
    batches, log = ten()
    checks = [water_check(GLASS, day(2026, 1, 1), 0.0)]
    rows = computed(inst=[GLASS], check=checks, batch=batches, log=log).table("log", "verdict")
    assert [row["verdict"] for row in rows[:11]] == [
        *["high"] * 7,
        "too close to call",
        "on target",
        "too close to call",
        "low",
    ]


def test_the_plan_of_one_batch_changes_no_other_verdict(computed):
    batches, log = ten()
    checks = [water_check(GLASS, day(2026, 1, 1), 0.0)]
    before = computed(inst=[GLASS], check=checks, batch=batches, log=log).table("log", "tells")
    batches[10]["before_boil_gravity"] = 1.048
    after = computed(inst=[GLASS], check=checks, batch=batches, log=log).table("log", "tells")
    changed = [n for n, (one, other) in enumerate(zip(before, after, strict=True)) if one != other]
    assert changed == [10]


# --- the head ---


def test_the_head_says_what_the_last_line_means(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    plan = [BATCH | {"into_fermenter_gravity": 1.050}]
    log = [reading(GLASS, 1.0480, stage="into fermenter", temperature=20)]
    book = computed(inst=[GLASS], check=checks, batch=plan, log=log)
    said = book.cell("log_answer")
    assert said.startswith("1.0480 ± 0.0014 SG · into fermenter: 0.0020 low (")
    assert book.cell("log_notice").startswith("1: ")


def test_the_head_says_why_the_last_line_has_no_gravity(computed):
    book = computed(inst=[GLASS], log=[reading(GLASS, 1.05, temperature=None)])
    assert "sample temperature is missing" in book.cell("log_answer")


def test_lines_below_the_frame_are_noticed(computed):
    from xlfuncs.workbook import build

    choices = Choices(rows=20)
    area = build.layout(choices).names["log_below"]
    book = computed(choices, inst=[FIELD], log=[reading(FIELD, 12)])
    assert "below the frame" not in (book.cell("log_notice") or "")
    book = computed(choices, cells={"log_below": 12.4}, inst=[FIELD], log=[reading(FIELD, 12)])
    assert area.rows >= 100
    assert "Lines below the frame are not read" in book.cell("log_notice")


def test_all_stages_can_be_logged(computed):
    checks = [water_check(GLASS, day(2026, 3, 1), 0.0)]
    log = [reading(GLASS, 1.05, stage=stage) for stage in words.STAGES]
    rows = computed(inst=[GLASS], check=checks, log=log).table("log", "sg")
    assert [row["sg"] for row in rows[:10]] == pytest.approx([1.05] * 10)


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
        wanted.append(WORT_SG(12 - last["shown_1"]))
    assert found == pytest.approx(wanted, abs=1e-12)
