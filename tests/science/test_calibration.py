import numpy as np
import pytest
import scipy.stats

from tests import uncertainties
from xlfuncs.science import calibration, wort

REFERENCES = np.array([0.0, 5.0, 10.0, 15.0, 20.0, 25.0])
READINGS = np.array([0.31, 5.22, 10.37, 15.41, 20.52, 25.38])


def test_line_against_linregress():
    line = calibration.fit_line(READINGS, REFERENCES)
    expected = scipy.stats.linregress(REFERENCES, READINGS)
    assert (line.offset, line.slope) == pytest.approx((expected.intercept, expected.slope))
    # linregress estimates u from the scatter: the same covariance with u = residual.
    line = calibration.fit_line(READINGS, REFERENCES, line.residual)
    assert (line.u_offset, line.u_slope) == pytest.approx(
        (expected.intercept_stderr, expected.stderr)
    )


@pytest.mark.parametrize("u", [0.05, 0.1, 0.2])
def test_uncertainties_against_polyfit(u):
    (slope, offset), covariance = np.polyfit(
        REFERENCES, READINGS, 1, w=np.full(REFERENCES.size, 1 / u), cov="unscaled"
    )
    line = calibration.fit_line(READINGS, REFERENCES, u)
    assert (line.offset, line.slope) == pytest.approx((offset, slope))
    assert (line.u_slope, line.u_offset) == pytest.approx(np.sqrt(np.diag(covariance)))
    assert line.correlation * line.u_slope * line.u_offset == pytest.approx(covariance[0, 1])


def test_distilled_water_gives_the_offset_alone():
    line = calibration.fit_line(np.array([0.3]), np.array([0.0]))
    assert (line.offset, line.slope, line.u_offset, line.u_slope) == (0.3, 1.0, 0.1, 0.01)
    assert line.correlation == 0
    assert np.isnan(line.residual)
    assert line.points == 1


def test_references_close_together_give_the_offset_alone():
    readings, references = np.array([10.2, 12.4, 14.3]), np.array([10.0, 12.0, 14.0])
    line = calibration.fit_line(readings, references)
    assert line.slope == 1.0
    assert line.offset == pytest.approx(0.3)
    assert line.calibration.level == pytest.approx(0.1 / np.sqrt(3))
    assert line.calibration.centre == pytest.approx(12.0)
    # In water, 12 °Bx away, the slope that was not looked at counts.
    assert line.u_offset == pytest.approx(np.hypot(0.1 / np.sqrt(3), 0.12))
    assert line.residual == pytest.approx(np.std(readings - references, ddof=1))


def test_two_points_have_no_scatter_about_their_line():
    """Nor has one about its offset: what rounding leaves of them is none."""
    random = np.random.default_rng(2)
    for _ in range(20):
        readings = random.uniform(0, 30, 2)
        assert np.isnan(calibration.fit_line(readings, np.array([0.3, 20.1])).residual)
        assert np.isnan(calibration.fit_line(readings[:1], np.array([0.3])).residual)
    three = calibration.fit_line(np.array([0.0, 10.3, 20.0]), np.array([0.0, 10.0, 20.0]))
    assert three.residual == pytest.approx(6**0.5 * 0.1)  # 0.1, -0.2 and 0.1 with one freedom


def test_five_brix_are_spread_enough_for_a_slope():
    line = calibration.fit_line(np.array([0.0, 5.1]), np.array([0.0, 5.0]))
    assert line.slope == pytest.approx(1.02)
    assert np.isnan(line.residual)


@pytest.mark.parametrize("references", [[0.0], [12.0], [0.0, 12.0], [0.0, 0.0, 10.0, 20.0]])
@pytest.mark.parametrize("brix", [0.0, 2.6, 12.0, 25.0])
def test_calibration_with_and_without_the_correlation_is_the_same(references, brix):
    """JCGM 100 equation 13 for offset and slope, against level and slope about the centre."""
    references = np.array(references)
    u = np.linspace(0.1, 0.2, references.size)
    line = calibration.fit_line(references + 0.2, references, u)
    correlated = uncertainties.calibration_uncertainty(
        brix, line.u_offset, line.u_slope, line.covariance
    )
    assert line.calibration.at(brix) == pytest.approx(float(correlated), rel=1e-9)
    assert line.calibration.centre == pytest.approx(np.sum(references / u**2) / np.sum(u**-2.0))


def test_the_correlation_of_offset_and_slope_halves_the_doubt():
    """Water and 20 °Bx: at 12.4 °Bx the hypotenuse of u_offset and u_slope·brix says 0.125."""
    line = calibration.fit_line(np.array([0.0, 10.0, 20.0]), np.array([0.0, 10.0, 20.0]))
    assert np.hypot(line.u_offset, 12.4 * line.u_slope) == pytest.approx(0.126, abs=0.001)
    assert line.calibration.at(12.4) == pytest.approx(0.060, abs=0.001)


def test_a_malt_extract_reference_tells_the_offset_with_the_doubt_of_the_wort_factor():
    sg, u_sg = 1.050, 0.00055
    offset, u = uncertainties.malt_offset(wort.brix(sg, 1.04) + 0.3, sg, 0.1, u_sg, 1.04, 0.012)
    assert offset == pytest.approx(0.3)
    drawn = np.random.default_rng(2).normal(size=(3, 100_000))
    shown = 0.1 * drawn[0] + wort.brix(sg + u_sg * drawn[1], 1.04 + 0.012 * drawn[2])
    assert u == pytest.approx(np.std(shown), rel=0.01)


def test_the_doubt_of_a_reference_enters_through_its_own_weight():
    """Water is sure, the weighed solution is not: the line leans on the water."""
    references, u_references = np.array([0.0, 20.0]), np.array([0.0, 0.2])
    line = calibration.fit_line(references, references, np.hypot(0.1, u_references))
    assert line.u_offset == pytest.approx(0.1)
    assert line.u_slope == pytest.approx(np.sqrt(2 * 0.1**2 + 0.2**2) / 20)
    assert line.covariance == pytest.approx(-(0.1**2) / 20)


@pytest.mark.parametrize(
    ("offset", "days", "expected"),
    [
        (0.1, 10, "ok"),
        (-0.2, 30, "ok"),  # on both limits
        (0.201, 30, "adjust"),
        (-0.3, 10, "adjust"),
        (0.1, 31, "check due"),
        (0.3, 31, "adjust, check due"),
        (np.nan, 10, "not checked"),
        (0.3, np.nan, "not checked"),
    ],
)
def test_status(offset, days, expected):
    assert calibration.status(offset, 0.2, days, 30).item() == expected


@pytest.mark.parametrize(
    ("offset", "days", "expected"),
    [
        (0.1, 10, "ok"),  # touches the tolerance from within
        (0.11, 10, "probably ok"),
        (-0.2, 10, "probably ok"),
        (-0.21, 10, "adjust"),
        (0.15, 31, "check due"),
        (0.3, 31, "adjust, check due"),
    ],
)
def test_status_with_the_doubt_of_the_offset(offset, days, expected):
    assert calibration.status(offset, 0.2, days, 30, 0.05).item() == expected


@pytest.mark.parametrize(
    ("outside", "ok", "adjust"), [(0.0, 0.023, 0.5), (1.0, 0.0014, 0.841), (2.0, 0.0, 0.977)]
)
def test_how_often_an_instrument_outside_its_tolerance_passes(outside, ok, adjust):
    """Drawn: true offset `outside` standard uncertainties over a tolerance of 0.2."""
    u = 0.05
    found = 0.2 + outside * u + np.random.default_rng(15).normal(0, u, 200_000)
    words = calibration.status(found, 0.2, 1, 30, u)
    assert np.mean(words == "ok") == pytest.approx(ok, abs=0.001)
    assert np.mean(words == "adjust") == pytest.approx(adjust, abs=0.004)


def test_an_instrument_that_was_passed_by_luck_is_no_longer_ok():
    """0.3 off with a tolerance of 0.2, read to 0.1: 16 % of checks called it ok."""
    found = 0.3 + np.random.default_rng(16).normal(0, 0.1, 100_000)
    assert np.mean(calibration.status(found, 0.2, 1, 30) == "ok") == pytest.approx(0.16, abs=0.005)
    words = calibration.status(found, 0.2, 1, 30, 0.1)
    assert np.mean(words == "ok") < 0.002
    assert np.mean(words == "probably ok") == pytest.approx(0.16, abs=0.005)


def test_status_on_the_limit_in_spite_of_binary_fractions():
    assert calibration.status(0.1 + 0.2, 0.3, 1, 30).item() == "ok"
