"""Blending, dilution, volumes: what the cells answer, and how they refuse."""

import numpy as np
import pytest

from xlfuncs.functions.volumes import (
    BLEND_ABV,
    BLEND_SG,
    BLEND_SHARE,
    BLEND_VOLUME,
    BOIL_OFF_VOLUME,
    DILUTION_WATER,
    EXTRACT_MASS,
    EXTRACT_TO_ADD,
    VOLUME_AT,
)


def test_blend_of_a_column_with_unfilled_rows():
    volumes, sgs = [[10], [None], [20], [5]], [[1.04], [1.05], [1.06], [""]]
    assert BLEND_SG(volumes, sgs) == BLEND_SG([10, 20], [1.04, 1.06])
    assert BLEND_VOLUME(volumes, sgs) == BLEND_VOLUME([10, 20], [1.04, 1.06])


def test_blend_of_single_cells_is_what_was_put_in():
    assert BLEND_SG(10, 1.05) == pytest.approx(1.05, abs=1e-12)
    assert BLEND_VOLUME(10, 1.05) == pytest.approx(10, abs=1e-12)


def test_a_part_of_nothing_is_harmless_but_nothing_at_all_is_not():
    assert BLEND_SG([10, 0], [1.05, 1.1]) == pytest.approx(1.05, abs=1e-12)
    for function in (BLEND_SG, BLEND_VOLUME, BLEND_ABV):
        second = [5, 5] if function is BLEND_ABV else [1.04, 1.06]
        assert function([0, 0], second) == "! volumes add up to 0: there is nothing to blend"


def test_blend_of_ranges_that_do_not_match():
    assert BLEND_SG([10, 20], [1.04, 1.05, 1.06]) == (
        "! ranges must have the same number of cells: volumes has 2, sgs has 3"
    )


def test_abv_with_gravities_is_conserved_in_the_volume_of_the_blend():
    volumes, abvs, sgs = [10, 30, 5], [8, 4.5, 0], [1.02, 1.008, 1.0]
    pure = 10 * 8 + 30 * 4.5
    assert BLEND_ABV(volumes, abvs) == pytest.approx(pure / 45)
    assert BLEND_ABV(volumes, abvs, sgs) * BLEND_VOLUME(volumes, sgs) == pytest.approx(pure)
    assert BLEND_ABV(volumes, abvs, sgs) == pytest.approx(pure / 45, rel=1e-3)
    assert BLEND_ABV(volumes, abvs, [None] * 3) == BLEND_ABV(volumes, abvs)


def test_share_of_a():
    assert BLEND_SHARE(1.06, 1.04, 1.06) == pytest.approx(1)
    assert BLEND_SHARE(1.06, 1.04, 1.04) == pytest.approx(0, abs=1e-12)
    share = BLEND_SHARE(1.06, [1.0, 1.04], 1.05)
    for part, sg in zip(share, [1.0, 1.04], strict=True):
        assert BLEND_SG([part, 1 - part], [1.06, sg]) == pytest.approx(1.05, abs=1e-10)
    assert BLEND_SHARE(1.04, 1.06, [1.03, 1.05, 1.07]) == [
        "! target_sg 1.030 is not between sg_a 1.040 and sg_b 1.060",
        pytest.approx(0.5, abs=1e-3),
        "! target_sg 1.070 is not between sg_a 1.040 and sg_b 1.060",
    ]
    assert BLEND_SHARE(1.05, 1.05, 1.05) == (
        "! sg_a and sg_b are both 1.050: every share gives that"
    )


TO_TARGET = [
    (lambda sg, target: DILUTION_WATER(20, sg, target), "water cannot raise a gravity", "above"),
    (
        lambda sg, target: BOIL_OFF_VOLUME(20, sg, target),
        "boiling cannot lower a gravity",
        "below",
    ),
    (lambda sg, target: EXTRACT_TO_ADD(20, sg, target), "extract cannot lower a gravity", "below"),
]


@pytest.mark.parametrize(("function", "why", "side"), TO_TARGET)
def test_target_on_the_wrong_side(function, why, side):
    sg, target = (1.05, 1.06) if side == "above" else (1.06, 1.05)
    assert function(sg, target) == (
        f"! target_sg {target:.3f} is {side} the {sg:.3f} of the wort: {why}"
    )
    # One wrong row leaves the others alone, and the unfilled one empty.
    answer = function([[sg], [target], [None]], target)
    assert [row[0] for row in answer] == [function(sg, target), 0, ""]


@pytest.mark.parametrize(("function", "why", "side"), TO_TARGET)
def test_target_already_reached(function, why, side):
    for target in (1.05, 1.05 + 1e-12, 1.05 - 1e-12):
        answer = function(1.05, target)
        assert 0 <= answer < 1e-6
        assert not np.signbit(answer)


def test_texts_where_the_wrong_side_is_decided_by_single_cells():
    assert DILUTION_WATER([20, None, "x"], 1.05, 1.06) == [
        DILUTION_WATER(20, 1.05, 1.06),
        "",
        '! volume "x" is not a number',
    ]


def test_no_volume():
    for function in (DILUTION_WATER, BOIL_OFF_VOLUME, EXTRACT_TO_ADD):
        assert function(0, 1.05, 1.05) == "! volume 0 is not above 0"
    assert EXTRACT_MASS(0, 1.05) == "! volume 0 is not above 0"


def test_water_does_not_boil_to_a_gravity():
    assert BOIL_OFF_VOLUME(20, 1.0, 1.05) == (
        "! target_sg 1.050 is out of reach: sg 1.000 holds no extract"
    )


def test_target_above_what_the_extract_can_reach():
    assert EXTRACT_TO_ADD(20, 1.05, [1.06, 1.09], 0.2) == [
        pytest.approx(9.358, abs=0.01),
        "! target_sg 1.090 is out of reach of extract_fraction 0.2, which by itself has 1.083",
    ]
    assert EXTRACT_TO_ADD(20, 1.05, 1.06, 95) == "! extract_fraction 95 is outside 0 to 1"


def test_hot_wort_is_turned_to_20_degrees_first():
    cold = VOLUME_AT(25, 98, 20, 1.045)
    assert EXTRACT_MASS(cold, 1.045) == pytest.approx(0.961 * EXTRACT_MASS(25, 1.045), rel=1e-3)


def test_a_beer_without_gravity_is_not_dropped_from_the_blend_in_silence():
    text = "! sgs lack 1 of 2: give all of them, or none"
    assert BLEND_ABV([10, 30], [8, 4], [1.01, ""]) == text
    assert BLEND_ABV([10, 30], [8, 4], ["", ""]) == BLEND_ABV([10, 30], [8, 4]) == 5.0
    with_blank_row = BLEND_ABV([10, None, 30], [8, None, 4], [1.01, None, 1.02])
    assert with_blank_row == BLEND_ABV([10, 30], [8, 4], [1.01, 1.02])
