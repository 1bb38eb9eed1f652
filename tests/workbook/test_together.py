"""What readings share: repeated readings, one instrument, one wort factor."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from tests import uncertainties
from tests.workbook.conftest import BENCH, FIELD, GLASS, day, reading, water_check
from xlfuncs.functions.beer import BEER_SG, BEER_SG_UNCERTAINTY, ORIGINAL_SG
from xlfuncs.functions.brewday import TARGET_CHECK
from xlfuncs.functions.instruments import WORT_SG, WORT_SG_UNCERTAINTY
from xlfuncs.functions.volumes import VOLUME_AT
from xlfuncs.science import beer, repeats, sucrose, wort
from xlfuncs.science.budget import COMPENSATION_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U, Calibration
from xlfuncs.workbook import slopes, words
from xlfuncs.workbook.words import Choices

CHECKS = [
    water_check(FIELD, day(2026, 3, 1), 0.0, temperature=20),
    water_check(BENCH, day(2026, 3, 1), 0.0),
    water_check(GLASS, day(2026, 3, 1), 0.0, temperature=20),
]
PLAN = {"name": "1", "date": day(2026, 3, 7), "before_boil_gravity": 1.048, "tolerance": 0.004,
        "grain": 5, "before_boil_volume": 25}  # fmt: skip


@pytest.fixture
def logged(computed):
    def make(*log, plan=PLAN, check=CHECKS, inst=(BENCH, FIELD, GLASS), **cells):
        return computed(None, cells, inst=inst, check=check, batch=[plan], log=log)

    return make


def drops(values, tool=BENCH, minutes=5, start=day(2026, 3, 7, 12), **more):  # noqa: B008
    return [reading(tool, value, start + datetime.timedelta(minutes=minutes * i), **more)
            for i, value in enumerate(values)]  # fmt: skip


# --- repeated readings ---


def test_readings_within_half_an_hour_are_taken_together(logged):
    values = [12.4, 12.5, 12.9, 12.45]
    book = logged(*drops(values))
    single = book.column("log_sg")[:4]
    assert single == pytest.approx([WORT_SG(value) for value in values])
    own = 0.1 * uncertainties.wort_gravity(12.4, 1.0, Calibration(0.0)).own
    wanted = repeats.taken_together(np.array(single), own)
    assert book.column("mean_of")[:4] == [4] * 4
    assert book.column("mean_sg")[3] == pytest.approx(wanted.mean, abs=1e-9)
    u_single = book.column("log_u")[3]
    assert book.column("mean_u")[3] == pytest.approx(wanted.u(u_single, own), rel=1e-3)
    assert book.column("mean_u")[3] > wanted.u_own
    remarks = book.column("log_remark")[:4]
    assert [line for line, remark in enumerate(remarks) if "far" in (remark or "")] == [wanted.far]


@pytest.mark.parametrize(
    ("values", "far"),
    [
        ((12.4, 13.0), [1]),
        ((13.0, 12.4, 12.4), [0]),
        ((12.4, 12.6, 12.5), []),
        ((12.0, 12.0, 13.0, 13.1, 14.4), [4]),
    ],
)
def test_one_far_from_the_rest_is_named(logged, values, far):
    own = 0.1 * uncertainties.wort_gravity(12.4, 1.0, Calibration(0.0)).own
    assert repeats.taken_together(np.array(WORT_SG(list(values))), own).far == (
        far[0] if far else None
    )
    remarks = logged(*drops(values)).column("log_remark")[: len(values)]
    assert [i for i, remark in enumerate(remarks) if "far from the other" in (remark or "")] == far


def test_views_verdicts_and_head_use_the_mean_and_say_of_how_many(logged):
    values = [11.9, 12.3, 12.4]
    book = logged(*drops(values, volume=26, volume_temperature=20))
    mean = np.mean(WORT_SG(values))
    boil = words.planned(words.BEFORE_BOIL) - 1
    row = book.table("target", "measured", "expanded", "of", "verdict")[boil]
    assert row["measured"] == pytest.approx(mean)
    assert row["expanded"] == pytest.approx(2 * book.column("mean_u")[2])
    assert row["of"] == 3
    assert row["verdict"] == book.column("mean_verdict")[2] == "on target"
    # Each line keeps its own gravity and verdict.
    assert book.column("log_gravity")[:3] == pytest.approx(WORT_SG(values))
    own = (book.column(name)[0] for name in ("log_sg", "log_u"))
    assert book.column("log_verdict")[0] == TARGET_CHECK(next(own), 1.048, 0.004, next(own))
    assert "(mean of 3)" in book.cell("log_answer")
    assert f"{mean:.4f}" in book.cell("log_answer")
    assert ", mean of 3" in book.cell("targets_answer")
    assert book.cell("kettle_gravity") == pytest.approx(mean)


def test_the_original_gravity_is_the_mean(logged):
    log = drops([12.3, 12.5], stage=words.INTO_FERMENTER)
    log.append(reading(BENCH, 6.2, day(2026, 3, 12, 9), stage=words.FERMENTING))
    book = logged(*log)
    mean = np.mean(WORT_SG([12.3, 12.5]))
    assert book.cell("ferment_from") == pytest.approx(mean)
    assert book.cell("ferment_from_where") == "measured, into fermenter, mean of 2"
    assert book.column("log_sg")[2] == pytest.approx(BEER_SG(mean, 6.2))
    assert book.cell("ferment_from_expanded") == pytest.approx(2 * book.column("mean_u")[1])


def test_beer_read_several_times(logged):
    three = drops([1.011, 1.012, 1.0118], GLASS, 3, day(2026, 3, 20, 9), stage=words.PACKAGED)
    log = [reading(GLASS, 1.048, stage=words.INTO_FERMENTER), *three]
    book = logged(*log)
    assert book.column("batch_last")[0] == pytest.approx(np.mean([1.011, 1.012, 1.0118]), abs=1e-9)
    assert book.column("mean_of")[:4] == [1, 3, 3, 3]


@pytest.mark.parametrize(
    ("log", "count"),
    [
        (drops([12.4, 12.5], minutes=31), 1),
        (drops([12.4, 12.5], minutes=30), 2),
        ([*drops([12.4]), *drops([12.5], FIELD)], 1),
        ([*drops([12.4]), *drops([12.5], stage=words.AFTER_BOIL)], 1),
        (drops([12.4, 12.5], stage=words.RUNOFF_STAGE), 1),
        (drops([12.4, 12.5], stage=words.RUNOFF_STAGE, volume=20), 2),
        ([*drops([12.4], stage=words.RUNOFF_STAGE, volume=20),
          *drops([12.5], stage=words.RUNOFF_STAGE, volume=21)], 1),
        (drops([12.4, 12.5], stage=words.DURING_BOIL), 1),
        # A brew day without times: one wort does not change, what ferments does.
        (drops([12.4, 12.5], minutes=0, start=day(2026, 3, 7)), 2),
        (drops([1.02, 1.019], GLASS, 0, day(2026, 3, 9), stage=words.FERMENTING), 1),
        (drops([1.02, 1.019], GLASS, 2, day(2026, 3, 9, 8), stage=words.FERMENTING), 2),
        (drops([12.4, "twelve"]), 1),
    ],
)  # fmt: skip
def test_which_readings_are_of_one_wort(logged, log, count):
    assert logged(*log).column("mean_of")[0] == count


# --- what original and present gravity share ---


def test_alcohol_by_one_hydrometer(logged):
    """±0.38 % vol, not 0.53: what its scale is off by is in both gravities."""
    glass = GLASS | {"fine": 0.001, "tolerated": 0.001}
    log = [reading(glass, 1.06, stage=words.INTO_FERMENTER),
           reading(glass, 1.012, day(2026, 3, 20, 9), stage=words.FERMENTING)]  # fmt: skip
    cells = {"set_u_temperature": 0}
    book = logged(*log, check=[], inst=[glass], **cells)
    assert book.column("ferment_abv_expanded")[0] == pytest.approx(0.38, abs=0.01)
    other = [GLASS | {"name": "other", "fine": 0.001, "tolerated": 0.001}]
    log[0]["instrument"] = "other"
    book = logged(*log, check=[], inst=[glass, *other], **cells)
    assert book.column("ferment_abv_expanded")[0] == pytest.approx(0.53, abs=0.01)


def test_a_new_check_is_a_new_correction(logged):
    log = [reading(GLASS, 1.06, stage=words.INTO_FERMENTER),
           reading(GLASS, 1.012, day(2026, 3, 20, 9), stage=words.FERMENTING)]  # fmt: skip
    one = logged(*log).column("ferment_abv_expanded")[0]
    between = [*CHECKS, water_check(GLASS, day(2026, 3, 10), 0.0, temperature=20)]
    assert logged(*log, check=between).column("ferment_abv_expanded")[0] > 1.2 * one


@pytest.mark.parametrize("tool", [BENCH, FIELD])
def test_beer_by_the_refractometer_that_read_its_original(logged, tool):
    log = [reading(tool, 12.4, stage=words.INTO_FERMENTER),
           reading(tool, 6.2, day(2026, 3, 20, 9), stage=words.FERMENTING)]  # fmt: skip
    book = logged(*log)
    u_drop = book.column("line_u_drop")[0]
    checked = Calibration(0.1, 0.0, UNCHECKED_SLOPE_U)
    start = uncertainties.wort_gravity(12.4, u_drop, checked)
    now, rise = uncertainties.beer_reading(12.4 / 1.04, 6.2, u_drop, checked)
    assert book.column("log_u")[1] == pytest.approx(uncertainties.together((rise, 1), (start, now)),
                                                    rel=0.01)  # fmt: skip
    by_original, by_sg = uncertainties.analysis_slopes(
        lambda extract, sg: beer.from_sg(extract, sg).abv, WORT_SG(12.4), book.column("log_sg")[1]
    )
    u_abv = uncertainties.together((by_original + by_sg * rise, by_sg), (start, now))
    assert book.column("ferment_abv_expanded")[0] == pytest.approx(2 * u_abv, rel=0.02)
    # Without the common part the ± would be that of two instruments.
    u_original = WORT_SG_UNCERTAINTY(12.4, 1.04, u_drop, wort.FACTOR_U, float(checked.at(12.4)))
    apart = BEER_SG_UNCERTAINTY(
        WORT_SG(12.4), 6.2, 1.04, float(np.hypot(u_drop, checked.at(6.2))), u_original=u_original
    )
    assert book.column("log_u")[1] < 0.95 * apart


@pytest.mark.parametrize("brix", [2.0, 6.2, 12.0])
@pytest.mark.parametrize("original", [9.0, 12.4, 18.0])
def test_slopes_are_those_of_the_science(original, brix):
    given = {"b": brix, "p": original, "x": sucrose.sg(original) - 1}
    by = uncertainties.wort_gravity(brix, 1.0, Calibration(0.0)).own
    assert slopes.WORT_BY_PLATO(p=brix / 1.04) / 1.04 == pytest.approx(by, rel=0.006)
    rise, by_brix, by_factor = beer.sg_slopes(original, brix, 1.04)
    if original / 5 < brix < original:
        assert slopes.BEER_BY_ORIGINAL(**given) == pytest.approx(rise, rel=0.01)
        assert slopes.BEER_BY_BRIX(**given) == pytest.approx(by_brix, rel=0.01)
        assert slopes.BEER_BY_FACTOR(**given) == pytest.approx(by_factor, rel=0.09, abs=1e-3)


# --- marks of the kettle ---


@pytest.mark.parametrize(("marks", "more"), [(None, 0), ("cold", 60 * 48e-6), ("hot", -20 * 48e-6)])
def test_a_kettle_is_wider_when_hot(logged, marks, more):
    line = reading(BENCH, 12.4, volume=25, volume_temperature=80)
    cells = {"set_marks": marks} if marks else {}
    found = logged(line, **cells).column("log_volume_20")[0]
    assert found == pytest.approx(VOLUME_AT(25 * (1 + more), 80, 20, WORT_SG(12.4)), rel=1e-12)


def test_marks_made_cold_read_a_few_tenths_of_a_percent_short_at_the_boil(logged):
    line = reading(BENCH, 12.4, volume=25, volume_temperature=98)
    cold, read = (logged(line, **cells).column("log_volume_20")[0]
                  for cells in ({"set_marks": "cold"}, {}))  # fmt: skip
    assert 0.003 <= cold / read - 1 <= 0.004


# --- Convert, Blend, Setup ---


def test_the_original_gravity_of_an_unknown_beer_has_its_uncertainty(logged):
    book = logged(lost_sg=1.0103, lost_brix=6.2, lost_expanded=0.002)
    found = ORIGINAL_SG(1.0103, 6.2)
    assert book.cell("lost_answer") == pytest.approx(found, abs=1e-9)
    u_brix = np.sqrt(0.1**2 + 0.1**2 + (6.2 * UNCHECKED_SLOPE_U) ** 2 + (0.069 * 0.5) ** 2)
    u = uncertainties.original_uncertainty(
        sucrose.plato(found), 6.2, 1.04, 0.001, u_brix, wort.FACTOR_U, beer.MODEL_U
    )
    assert book.cell("lost_answer_expanded") == pytest.approx(2 * u, rel=0.01)
    assert logged().cell("lost_answer") is None


def test_parts_read_on_one_instrument_are_off_alike(computed):
    part = {"kind": "wort", "volume": 10, "expanded": 0.0016}

    def blended(one):
        return computed(
            Choices(rows=20, checks=20),
            {"blend_one": one, "set_u_volume": 0},
            part=[part | {"gravity": sg} for sg in (1.060, 1.040)],
            inst=[{"name": "field", "fine": 0.1}],
        ).cell("blend_expanded")

    own = 0.1 * 0.0041 / 1.04
    common = np.sqrt(0.0008**2 - own**2)
    assert blended(None) == pytest.approx(0.0016 / np.sqrt(2), rel=0.02)
    assert blended("yes") == pytest.approx(2 * np.sqrt(own**2 / 2 + common**2), rel=0.02)


def test_setup_says_what_the_first_instrument_decides(logged):
    book = logged()
    u = uncertainties.wort_gravity(12.0, np.hypot(0.1, COMPENSATION_U),
                            Calibration(0.1, 0.0, UNCHECKED_SLOPE_U)).u  # fmt: skip
    assert book.cell("decides") == pytest.approx(2 * u, rel=0.05)
    assert logged(inst=[GLASS]).cell("decides") == pytest.approx(0.0014, abs=1e-4)
