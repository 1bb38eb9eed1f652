"""The formulas of docs/science.md, in the plain operators of a sheet, against the science."""

import re
from pathlib import Path

import numpy as np
import pytest

from tests import uncertainties
from tests.sheet_formulas import BLOCKS, DOCUMENT, sheet
from xlfuncs.science import beer, budget, calibration, repeats, runoff, sucrose, wort

WATER = {"u_offset": 0.06, "u_slope": 0.01, "covariance": 0.0}
LINE = {"u_offset": 0.0913, "u_slope": 0.00707, "covariance": -0.0005}


def known(inputs):
    centre = -inputs["covariance"] / inputs["u_slope"] ** 2
    level = np.sqrt(inputs["u_offset"] ** 2 - (centre * inputs["u_slope"]) ** 2)
    return calibration.Calibration(level, centre, inputs["u_slope"])


def test_every_block_is_tried():
    tried = set(re.findall(r'sheet\(\s*"(\w+)"', Path(__file__).read_text(encoding="utf-8")))
    assert tried == BLOCKS.keys()


def test_the_defaults_are_those_of_the_document():
    table = dict(re.findall(r"^\| ([^|]+?) \| ([\d.]+)", DOCUMENT, re.MULTILINE))
    assert float(table["wort factor"]) == wort.FACTOR_U
    assert float(table["slope"]) == calibration.UNCHECKED_SLOPE_U
    assert float(table["thermometer, uncompensated instrument"]) == budget.THERMOMETER_U
    left = table["compensation that an instrument does itself"]
    assert float(left) == budget.COMPENSATION_U
    assert float(table["alcohol correction"]) == beer.MODEL_U


@pytest.mark.parametrize("references", [[0.0, 15.0], [0.0, 10.0, 20.0], [5.0, 15.0, 15.0]])
def test_line(references):
    references = np.array(references)
    u = np.hypot(0.1, 0.01 * references)
    line = calibration.fit_line(references, references, u)
    weights = u**-2.0
    sums = [float(np.sum(weights * references**power)) for power in range(3)]
    found = sheet("line", S=sums[0], Sx=sums[1], Sxx=sums[2])
    for name in ("u_slope", "u_offset", "covariance"):
        assert found[name] == pytest.approx(getattr(line, name), rel=1e-9)


@pytest.mark.parametrize("references", [[0.0], [12.0], [10.0, 12.0]])
def test_offset(references):
    references = np.array(references)
    line = calibration.fit_line(references, references, 0.1)
    found = sheet("offset", S=references.size / 0.01, Sx=float(references.sum()) / 0.01)
    for name in ("u_slope", "u_offset", "covariance"):
        assert found[name] == pytest.approx(getattr(line, name), rel=1e-9, abs=1e-15)


def test_malt():
    found = sheet("malt", reading=13.1, solution_sg=1.05, u_solution=0.00055)
    expected = uncertainties.malt_offset(13.1, 1.05, 0.1, 0.00055)
    assert (found["offset"], found["u_malt"]) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("checked", [WATER, LINE])
@pytest.mark.parametrize("brix", [2.6, 8.0, 12.4, 20.0])
@pytest.mark.parametrize("temperature", [10.0, 20.0, 35.0])
@pytest.mark.parametrize("compensated", [False, True])
def test_wort(checked, brix, temperature, compensated):
    found = sheet("wort", brix=brix, temperature=temperature, compensated=compensated, **checked)
    slope = budget.temperature_slope(brix, temperature)
    left = budget.COMPENSATION_U if compensated else slope * budget.THERMOMETER_U
    effects = uncertainties.wort_gravity(brix, np.hypot(0.1, left), known(checked))
    assert found["by_temperature"] == pytest.approx(slope, abs=0.008)
    assert found["own"] == pytest.approx(effects.own, rel=0.02)
    assert found["factor"] == pytest.approx(effects.factor, rel=0.006)
    assert found["common"] == pytest.approx(effects.common, rel=0.006)
    assert found["u"] == pytest.approx(effects.u, rel=0.01)


@pytest.mark.parametrize("checked", [WATER, LINE])
def test_two(checked):
    first, second = (
        sheet(
            "two", **sheet("wort", brix=brix, **checked), own_2=0, level_2=0, tilt_2=0, factor_2=0
        )
        for brix in (12.4, 13.0)
    )
    other = {f"{name}_2": second[name] for name in ("own", "level", "tilt", "factor")}
    found = sheet("two", **{**sheet("wort", brix=12.4, **checked), **other})
    slopes = [budget.temperature_slope(brix, 24.0) for brix in (12.4, 13.0)]
    readings = [
        uncertainties.wort_gravity(brix, np.hypot(0.1, 0.5 * slope), known(checked))
        for brix, slope in zip((12.4, 13.0), slopes, strict=True)
    ]
    assert found["u_difference"] == pytest.approx(
        uncertainties.together((1, -1), readings), rel=0.01
    )
    assert first["tilt"] == pytest.approx(readings[0].tilt, rel=0.006)


def test_repeats():
    readings = np.array([12.4, 12.5, 12.9, 12.45])
    together = repeats.taken_together(readings, 0.1)
    one = sheet("wort", brix=12.4, **WATER)
    found = sheet(
        "repeats", by_brix=one["by_brix"], u=one["u"], readings=4, sg=wort.sg(readings),
        mean=wort.sg(together.mean), scatter=np.std(wort.sg(readings), ddof=1),
    )  # fmt: skip
    expected = together.u(one["u"] / one["by_brix"], 0.1) * one["by_brix"]
    assert found["u_mean"] == pytest.approx(expected, rel=0.005)
    assert np.flatnonzero(found["far"]).tolist() == [together.far] == [2]


@pytest.mark.parametrize("checked", [WATER, LINE])
@pytest.mark.parametrize("original", [9.0, 12.4, 18.0])
@pytest.mark.parametrize("attenuation", [30.0, 60.0, 75.0])
def test_beer(checked, original, attenuation):
    made = beer.from_attenuation(original, attenuation)
    brix_o, brix = wort.brix(sucrose.sg(original)), made.brix()
    none = {f"{name}_2": 0 for name in ("own", "level", "tilt", "factor")}
    start = sheet("two", **{**sheet("wort", brix=brix_o, temperature=20.0, **checked), **none})
    given = {f"{name}_o": start[name] for name in ("own", "level", "tilt", "factor")}
    shared = {name: start[name] for name in ("centre", "u_level", "u_slope")}
    u_own = sheet("wort", brix=brix, temperature=20.0, **checked)["u_own"]
    found = sheet(
        "beer", brix=brix, brix_o=brix_o, original_sg=sucrose.sg(original), sg=made.sg,
        u_own=u_own, **given, **shared,
    )  # fmt: skip
    effects = uncertainties.wort_gravity(brix_o, start["u_own"], known(checked))
    now, rise = uncertainties.beer_reading(original, brix, u_own, known(checked))
    slopes = uncertainties.analysis_slopes(
        lambda extract, sg: beer.from_sg(extract, sg).abv, sucrose.sg(original), made.sg
    )
    assert found["rise"] == pytest.approx(rise, rel=0.006)
    assert found["u_sg"] == pytest.approx(
        uncertainties.together((rise, 1), (effects, now)), rel=0.01
    )
    assert (found["abv_o"], found["abv_sg"]) == pytest.approx(slopes, rel=0.003)
    weights = (slopes[0] + slopes[1] * rise, slopes[1])
    assert found["u_abv"] == pytest.approx(
        uncertainties.together(weights, (effects, now)), rel=0.02
    )


def test_hydrometer():
    found = sheet("hydrometer", original_sg=1.06, sg=1.012, u_reading=0.001, u_offset=0.001)
    slopes = uncertainties.analysis_slopes(
        lambda original, sg: beer.from_sg(original, sg).abv, 1.06, 1.012
    )
    reading = uncertainties.hydrometer(0.001, 0.001)
    assert found["u_abv"] == pytest.approx(
        uncertainties.together(slopes, (reading, reading)), rel=0.003
    )


def test_original():
    found = sheet(
        "original", original_sg=1.048, brix=6.2, u_own=0.1, u_calibration=0.07, u_sg=0.001
    )
    expected = uncertainties.original_uncertainty(
        sucrose.plato(1.048), 6.2, 1.04, 0.001, np.hypot(0.1, 0.07), wort.FACTOR_U
    )
    assert found["u_original"] == pytest.approx(expected, rel=1e-6)


def test_runoff():
    found = sheet("runoff", u_offset=0.05, u_slope=0.01)
    at_limit = uncertainties.wort_gravity(2.67, 0.0, calibration.Calibration(0.05))
    assert found["u_level"] == pytest.approx(at_limit.level, rel=0.01)
    assert found["u_level"] == pytest.approx(runoff.LEVEL_U, abs=2e-5)
    assert found["u_share"] == pytest.approx(runoff.SHARE_U, abs=5e-4)
    warm = sheet("runoff", u_offset=0.05, u_slope=0.01, compensated=True)
    assert warm["u_level"] > 2 * found["u_level"]
