import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.udfs import (
    CALIBRATION_FIT,
    CALIBRATION_STATUS,
    HYDROMETER_SG,
    REFRACTOMETER_BRIX,
    VOLUME_AT,
    WORT_BRIX,
    WORT_FACTOR_FIT,
    WORT_SG,
    WORT_SG_UNCERTAINTY,
)


def test_distilled_water_reads_zero():
    assert REFRACTOMETER_BRIX(0) == pytest.approx(0, abs=1e-10)
    assert REFRACTOMETER_BRIX(0.3, 20, 0.3) == pytest.approx(0, abs=1e-10)
    assert HYDROMETER_SG(1.0, 15.56, 15.56) == pytest.approx(1.0, abs=1e-12)
    assert WORT_SG(0) == 1.0


def test_a_blank_temperature_is_a_compensated_instrument():
    assert REFRACTOMETER_BRIX([[12.4], [12.4]], [[None], [26]])[0] == [pytest.approx(12.4)]


def test_calibration_comes_before_temperature():
    shown = 0.2 + 1.01 * 12.4
    assert REFRACTOMETER_BRIX(shown, 28, 0.2, 1.01) == pytest.approx(
        REFRACTOMETER_BRIX(12.4, 28), abs=1e-10
    )


def test_the_fit_of_a_calibration_corrects_its_own_instrument():
    references = [0.0, 5.0, 10.0, 20.0]
    readings = [0.3 + 1.02 * reference for reference in references]
    offset, slope = CALIBRATION_FIT(readings, references)[0][:2]
    assert REFRACTOMETER_BRIX(readings, None, offset, slope) == pytest.approx(references, abs=1e-9)


def test_what_leads_off_the_scale_is_refused():
    assert REFRACTOMETER_BRIX(40, 20, -5, 0.5) == (
        "! Brix 90 is off the scale, -5.273 to 45.18: check offset and slope"
    )
    assert HYDROMETER_SG([[0.96], [1.05]], 20) == [
        ["! SG 0.96 is off the scale, 0.98 to 1.206: check reading and temperature"],
        [pytest.approx(1.05)],
    ]


def test_a_blank_water_temperature_is_the_reference_in_cells_and_ranges():
    blank = HYDROMETER_SG(1.048, 15, 15)
    assert HYDROMETER_SG(1.048, 15, 15, 15) == blank
    assert HYDROMETER_SG([1.048] * 4, 15, 15, [None, "", 15, 4]) == [
        blank, blank, blank, pytest.approx(blank + 0.0009, abs=1e-4),
    ]  # fmt: skip


def test_a_plastic_hydrometer():
    assert HYDROMETER_SG(1.048, 30, 20, None, 0.0002) == pytest.approx(
        HYDROMETER_SG(1.048, 30) - 0.0018, abs=1e-4
    )


def test_typing_fahrenheit_is_noticed():
    assert HYDROMETER_SG(1.04, 140) == (
        "! temperature 140 is outside 0 to 70 °C; if that is °F, it is 60.0 °C"
    )


@given(st.floats(0, 36), st.floats(0.9, 1.2))
def test_wort_there_and_back(brix, factor):
    assert WORT_BRIX(WORT_SG(brix, factor), factor) == pytest.approx(brix, abs=1e-10)


def test_pairs_with_a_blank_are_left_out():
    assert WORT_FACTOR_FIT([10.4, None, 15.6, 12], [1.04, 1.05, 1.0611, None]) == (
        WORT_FACTOR_FIT([10.4, 15.6], [1.04, 1.0611])
    )


def test_one_pair_has_no_residual():
    assert WORT_FACTOR_FIT(12.5, 1.0484)[0][2:] == [1.0, ""]


@pytest.mark.parametrize(
    ("brix", "sgs"),
    [([0, 0], [1, 1]), ([6.2, 5.8], [1.010, 1.008])],  # water alone, finished beer
)
def test_readings_that_give_no_wort_factor(brix, sgs):
    answer = WORT_FACTOR_FIT(brix, sgs)
    text = "! no wort factor from 0.9 to 1.2 fits: is a sample water alone, or fermented?"
    assert answer == [[text] * 4]


def test_the_doubt_of_a_reference_solution():
    sure = CALIBRATION_FIT([0.2, 20.4], [0, 20])[0]
    assert CALIBRATION_FIT([0.2, 20.4], [0, 20], 0.1, [None, None])[0] == sure
    weighed = CALIBRATION_FIT([0.2, 20.4], [0, 20], 0.1, [None, 0.2])[0]
    assert weighed[:3] == pytest.approx(sure[:3])
    assert sure[3] == pytest.approx(np.hypot(0.1, 0.1) / 20)
    assert weighed[3] == pytest.approx(np.hypot(0.1, np.hypot(0.1, 0.2)) / 20)


def test_readings_beside_the_wrong_references_give_no_slope():
    """CALIBRATION_FIT([0, 20], [20, 0]): a slope of -1, which REFRACTOMETER_BRIX refuses."""
    answer = CALIBRATION_FIT([0, 20], [20, 0])
    assert set(answer[0]) == {
        "! slope -1 is outside 0.5 to 1.5: check that each of the readings stands beside its own "
        "of the references"
    }
    assert CALIBRATION_FIT([9.0], [0.0])[0][0].startswith("! offset 9 is outside -5 to 5")
    ends = CALIBRATION_FIT([-5, 25], [0, 20])[0]
    assert isinstance(REFRACTOMETER_BRIX(10, 20, ends[0], ends[1]), float)


def test_gravity_is_refused_beyond_the_model_before_its_polynomial_is_used():
    """WORT_SG(45, 0.9) was 1.232, of 50 °Plato; WORT_BRIX(1.206, 1.2) 54."""
    text = "! SG 1.232 is off the scale, 0.98 to 1.206: check brix and wort_factor"
    assert WORT_SG(45, 0.9) == WORT_SG_UNCERTAINTY(45, 0.9) == text
    assert WORT_BRIX(1.206, 1.2).startswith("! Brix 54.22 is off the scale")
    assert isinstance(WORT_SG(45, 1.0), float)


def test_status_of_a_log():
    offsets, days = [[0.1], [0.3], [None], [0.3], [0.1]], [[5], [5], [5], [40], [None]]
    assert CALIBRATION_STATUS(offsets, 0.2, days, 30) == [
        ["ok"],
        ["adjust"],
        ["not checked"],
        ["adjust, check due"],
        ["not checked"],
    ]


def test_status_with_the_doubt_of_the_offset():
    assert CALIBRATION_STATUS([0.1, 0.15, 0.21], 0.2, 5, 30, 0.05) == [
        "ok",
        "probably ok",
        "adjust",
    ]


@given(st.floats(0, 1e6), st.floats(0, 100), st.floats(0, 100), st.floats(1, 1.12))
def test_volume_there_and_back(volume, hot, cold, sg):
    back = VOLUME_AT(VOLUME_AT(volume, hot, cold, sg), cold, hot, sg)
    assert back == pytest.approx(volume, rel=1e-12)


def test_volume_of_boiling_wort():
    """Common practice: 4 % shrinkage from the boil to pitching."""
    assert VOLUME_AT(25, 100) == pytest.approx(25 * 0.96, rel=1e-3)
    shrinkage = 1 - np.array(VOLUME_AT([1.0] * 3, 100, 20, [1.0, 1.05, 1.1]))
    assert shrinkage == pytest.approx([0.04] * 3, abs=0.001)
