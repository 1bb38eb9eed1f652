"""Brew day: what the cells answer, and how they refuse."""

import numpy as np
import pytest

from xlfuncs.functions.brewday import (
    BOIL_MINUTES,
    BOIL_SG,
    KETTLE_OPTIONS,
    MASH_EFFICIENCY,
    RUNOFF_VOLUME,
)
from xlfuncs.functions.volumes import DILUTION_WATER, EXTRACT_TO_ADD
from xlfuncs.science import blending

VOLUMES, SGS = [5, 10, 15, 20], [1.062, 1.045, 1.0325, 1.0235]


def test_efficiency():
    assert MASH_EFFICIENCY([25, None], 1.048, 5, 0.8) == [pytest.approx(77.9, abs=0.05), ""]
    assert MASH_EFFICIENCY(250, 1.048, 5).startswith("! efficiency 778.")
    assert MASH_EFFICIENCY(25, 1.048, 0) == "! grain_mass 0 is not above 0"
    assert MASH_EFFICIENCY(25, 1.048, 5, 80) == "! extract_potential 80 is outside 0 to 1"


def test_minutes_and_gravity_undo_each_other():
    minutes = BOIL_MINUTES(25, 1.045, [1.045, 1.05, 1.06], 3)
    assert minutes[0] == 0
    assert BOIL_SG(25, 1.045, minutes, 3) == pytest.approx([1.045, 1.05, 1.06], abs=1e-12)


def test_boil_off_larger_than_the_volume():
    assert BOIL_SG([20, 30, 18], 1.05, 360, 3) == [
        "! boil-off 18 of volume 20 leaves wort above 1.206",
        pytest.approx(1.1240, abs=1e-4),
        "! boil-off 18 (360 minutes at 3 an hour) is not below volume 18",
    ]
    assert BOIL_SG(20, 1.05, 60, 30) == (
        "! boil-off 30 (60 minutes at 30 an hour) is not below volume 20"
    )


def test_boil_to_a_target_on_the_wrong_side():
    assert BOIL_MINUTES(20, 1.05, [1.04, 1.06], 3) == [
        "! target_sg 1.040 is below the 1.050 of the wort: boiling cannot lower a gravity",
        pytest.approx(67.4, abs=0.5),
    ]
    assert BOIL_MINUTES(20, 1.05, 1.06, 0) == "! boil_off_per_hour 0 is not above 0"


# --- runoff ------------------------------


def test_rows_in_any_order_and_unfilled_ones():
    volumes = [[20], [None], [5], [30], [10], [15]]
    sgs = [[1.0235], [1.05], [1.062], [None], [1.045], [1.0325]]
    expected = RUNOFF_VOLUME(VOLUMES, SGS)
    assert RUNOFF_VOLUME(volumes, sgs)[0] == pytest.approx(expected[0], rel=1e-6)
    assert expected[0][0] == pytest.approx(33.6, abs=0.1)


def test_a_lower_limit_takes_longer():
    later, sooner = RUNOFF_VOLUME(VOLUMES, SGS, 1.008)[0], RUNOFF_VOLUME(VOLUMES, SGS, 1.012)[0]
    assert later[0] > RUNOFF_VOLUME(VOLUMES, SGS)[0][0] > sooner[0]


@pytest.mark.parametrize(
    ("volumes", "sgs", "limit", "text"),
    [
        (
            [5, 10],
            [1.062, 1.045],
            1.010,
            "readings at 2 different volumes are too few to see how the runoff falls: "
            "3 or more are needed",
        ),
        (
            [5, 10, None, 5],
            [1.062, 1.045, 1.04, 1.06],
            1.010,
            "readings at 2 different volumes are too few to see how the runoff falls: "
            "3 or more are needed",
        ),
        (
            [15, 5, 10],
            [1.062, 1.045, 1.05],
            1.010,
            "sgs do not fall as the volume grows (first 1.045, last 1.062)",
        ),
        (
            [5, 10, 15],
            [1.05, 1.05, 1.05],
            1.010,
            "sgs do not fall as the volume grows (first 1.050, last 1.050)",
        ),
        (VOLUMES, SGS, 1.1, "limit_sg 1.100 is above the runoff from its very start"),
        (
            [5, 10, 15, 20],
            [1.0200, 1.0204, 1.0196, 1.0199],
            1.010,
            "sgs scatter too much, or fall too little, to tell when limit_sg 1.010 is reached",
        ),
        (VOLUMES, [1.062, 1.045, 32.5, 1.0235], 1.010, "sgs 32.5 is outside 0.98 to 1.206"),
        (VOLUMES, SGS, 1.0, "limit_sg 1 is not above 1"),
    ],
)
def test_runoff_that_tells_nothing(volumes, sgs, limit, text):
    [[first, second]] = RUNOFF_VOLUME(volumes, sgs, limit)
    assert first == second
    assert first.startswith("! " + text)


def test_no_readings_yet():
    assert RUNOFF_VOLUME([None, None], [None, None]) == [["", ""]]


# --- options ------------------------------


def options(*cells):
    names = ("option", "amount", "unit", "sg", "volume")
    return [dict(zip(names, row, strict=True)) for row in KETTLE_OPTIONS(*cells)]


def test_options_agree_with_the_single_functions():
    boil, extract, water, leave = options(27, 1.045, 23, 1.055, 4, 0.96)
    assert [row["option"] for row in (boil, extract, water, leave)] == [
        "boil longer",
        "add dry extract",
        "add water",
        "leave it",
    ]
    assert [row["unit"] for row in (boil, extract, water, leave)] == ["min", "kg", "L", "min"]
    assert leave["amount"] + boil["amount"] == pytest.approx(BOIL_MINUTES(27, 1.045, 1.055, 4))
    assert BOIL_SG(27, 1.045, leave["amount"], 4) == pytest.approx(leave["sg"])
    assert extract["amount"] == pytest.approx(EXTRACT_TO_ADD(23, leave["sg"], 1.055, 0.96))
    assert water["amount"] == (
        f"! target_sg 1.0550 is above the {leave['sg']:.4f} that the planned boil ends at: "
        "water cannot raise a gravity"
    )
    assert (water["sg"], water["volume"]) == ("", "")
    boil, extract, water, leave = options(27, 1.045, 23, 1.050, 4)
    assert boil["option"] == "boil shorter"
    assert leave["amount"] - boil["amount"] == pytest.approx(BOIL_MINUTES(27, 1.045, 1.050, 4))
    assert water["amount"] == pytest.approx(DILUTION_WATER(23, leave["sg"], 1.050))
    assert extract["amount"].endswith("extract cannot lower a gravity")


def test_options_at_the_end_of_the_boil():
    """No boil is planned any more: leave it is what is there."""
    boil, extract, water, leave = options(23, 1.048, 23, 1.050, 4)
    assert (leave["amount"], leave["sg"], leave["volume"]) == pytest.approx(
        (0, 1.048, 23), abs=1e-9
    )
    assert boil["amount"] == pytest.approx(BOIL_MINUTES(23, 1.048, 1.050, 4))
    assert extract["amount"] == pytest.approx(EXTRACT_TO_ADD(23, 1.048, 1.050))
    assert water["amount"].startswith("! ")


def test_options_with_an_extract_too_weak():
    _, extract, _, _ = options(23, 1.048, 23, 1.060, 4, 0.1)
    assert extract["amount"] == "! target_sg 1.0600 is out of reach of extract_fraction 0.1"


def test_options_of_a_volume_too_small():
    assert KETTLE_OPTIONS([[25]], [[1.05]], 2, 1.06, 3) == [
        ["! target_volume 2 is too small for volume 25 of sg 1.050: the boil would end above 1.206"]
        * 5
    ]


def test_options_of_an_unfilled_sheet():
    assert KETTLE_OPTIONS(None, 1.05, 20, 1.06, 3) == [[""] * 5]
    assert KETTLE_OPTIONS(0, 1.05, 20, 1.06, 3) == [["! volume 0 is not above 0"] * 5]
    assert KETTLE_OPTIONS([[1], [2]], 1.05, 20, 1.06, 3) == [
        ["! volume must be one cell, not 2 x 1"] * 5
    ]


def test_a_boil_to_almost_nothing_is_refused():
    """Beyond 45 °Plato the polynomial of density comes back to 1.052, or to -95773."""
    assert BOIL_SG(20, 1.05, 398, 3) == "! boil-off 19.9 of volume 20 leaves wort above 1.206"
    answer = KETTLE_OPTIONS(100, 1.05, 1, 1.05, 3)
    assert {cell for row in answer for cell in row} == {
        "! target_volume 1 is too small for volume 100 of sg 1.050: the boil would end above 1.206"
    }
    for minutes in range(0, 400, 2):
        cell = BOIL_SG(20, 1.05, minutes, 3)
        assert isinstance(cell, str) or 1.05 <= cell <= 1.206
    for left in np.geomspace(1e-3, 100, 200):
        boil = KETTLE_OPTIONS(100, 1.05, left, 1.05, 3)
        assert boil[-1][0].startswith("! ") or 1.05 <= boil[3][3] <= 1.206


FIRST_WORT = [1.072, 1.0722, 1.0718]
FALLING = [1.062, 1.045, 1.0325, 1.0235]


def test_first_wort_is_no_part_of_the_fall():
    """An exponential through the plateau ended litres late."""
    alone = RUNOFF_VOLUME([13, 18, 23, 28], FALLING)[0]
    with_plateau = RUNOFF_VOLUME([2, 5, 8, 13, 18, 23, 28], FIRST_WORT + FALLING)[0]
    assert with_plateau[0] == alone[0]
    assert alone[0] == pytest.approx(41.6, abs=0.1)


def test_a_fall_that_has_just_begun():
    assert RUNOFF_VOLUME([2, 5, 8, 13], [*FIRST_WORT, 1.062])[0][0] == (
        "! sgs have only begun to fall after 3 readings of first wort: one more reading is needed"
    )
    assert isinstance(RUNOFF_VOLUME([2, 5, 8, 13, 18], FIRST_WORT + FALLING[:2])[0][0], float)


def test_the_runoff_knows_what_its_readings_share():
    volumes = [5, 10, 15, 20]
    exact = RUNOFF_VOLUME(volumes, FALLING, 1.010, 0, 0)[0]
    shared = RUNOFF_VOLUME(volumes, FALLING)[0]
    level = RUNOFF_VOLUME(volumes, FALLING, 1.010, 0.001, 0)[0]
    assert exact[0] == shared[0] == level[0]
    assert exact[1] < shared[1] < level[1]


def test_the_smallest_of_numbers_is_no_exception():
    """Two factors whose product is too small for a float: what a column answers, a cell does."""
    arguments = 1e9, 1.13, 5e-324, 0.26
    cell = MASH_EFFICIENCY(*arguments)
    assert cell.startswith("! efficiency inf % is more than the grain holds")
    assert MASH_EFFICIENCY([arguments[0]] * 2, *arguments[1:]) == [cell] * 2


def test_a_gravity_that_is_the_wanted_one_to_rounding_is_not_above_it():
    hair = blending.SAME_SG / 2
    for sg in (1.05 - hair, 1.05, 1.05 + hair):
        assert not str(KETTLE_OPTIONS(23, sg, 23, 1.05, 4)[0][1]).startswith("! ")
    told = KETTLE_OPTIONS(23, 1.05 + 3 * blending.SAME_SG, 23, 1.05, 4)[0][1]
    assert str(told).endswith("boiling cannot lower a gravity")
