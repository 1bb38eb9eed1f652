from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.science import gravity, sucrose

SCALES = gravity.SCALES
EXTRACT = np.linspace(-4.9, 44.9, 499)


@pytest.mark.parametrize("name", SCALES)
def test_each_scale_goes_to_plato_and_back_over_the_whole_range(name):
    scale = SCALES[name]
    there = scale.from_plato(EXTRACT)
    assert np.max(np.abs(scale.to_plato(there) - EXTRACT)) < 1e-10


@pytest.mark.parametrize("name", SCALES)
def test_all_scales_end_where_specific_gravity_does(name):
    ends = np.array(SCALES[name].limits)
    assert SCALES["SG"].from_plato(SCALES[name].to_plato(ends)) == pytest.approx([0.98, 1.206])


@pytest.mark.parametrize(("one", "other"), list(permutations(SCALES, 2)))
@given(share=st.floats(0, 1))
def test_every_pair_there_and_back(one, other, share):
    scale = SCALES[one]
    value = scale.low + share * (scale.high - scale.low)
    back = gravity.convert(gravity.convert(value, one, other), other, one)
    assert back == pytest.approx(value, abs=1e-10 * (scale.high - scale.low))


@pytest.mark.parametrize(
    ("value", "scale", "sg"),
    [
        (48.0, "Points", 1.048),
        (48.0, "Oechsle", 1.048),
        (9.6, "Twaddell", 1.048),
        (145 - 145 / 1.048, "Baume", 1.048),
        (0.0, "Baume", 1.0),
        (0.0, "Extract", 1.0),
        (12.0, "Brix", sucrose.sg(12.0)),
        (float(sucrose.density(12.0)), "Density", sucrose.sg(12.0)),
        (float(sucrose.refractive_index(12.0)), "Index", sucrose.sg(12.0)),
    ],
)
def test_definitions(value, scale, sg):
    assert gravity.convert(value, scale, "SG") == pytest.approx(sg, abs=1e-12)


def test_extract_per_litre_is_mass_over_volume():
    assert gravity.convert(12.0, "Plato", "Extract") == pytest.approx(
        0.12 * sucrose.density(12.0), rel=1e-12
    )


@pytest.mark.parametrize("name", SCALES)
def test_each_scale_rises_with_extract(name):
    assert np.all(np.diff(SCALES[name].from_plato(EXTRACT)) > 0)
