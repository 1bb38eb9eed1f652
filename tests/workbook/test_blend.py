"""Blend: parts, share of two for a target, dilution card."""

from __future__ import annotations

import math

import numpy as np
import pytest

from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.volumes import (
    BLEND_ABV,
    BLEND_SG,
    BLEND_SHARE,
    BLEND_VOLUME,
    DILUTION_WATER,
    EXTRACT_MASS,
    VOLUME_AT,
)
from xlfuncs.science import blending, units
from xlfuncs.workbook.defaults import SG_PER_PLATO
from xlfuncs.workbook.sheets import blend
from xlfuncs.workbook.words import Choices

PARTS = [
    {"kind": "wort", "volume": 20, "temperature": 80, "gravity": 1.060},
    {},
    {"kind": "water", "volume": 4, "temperature": 15},
    {"kind": "beer", "volume": 3, "gravity": 1.012, "abv": 5.2},
]
VOLUMES = [VOLUME_AT(20, 80, 20, 1.060), VOLUME_AT(4, 15, 20, 1.0), 3]
SGS = [1.060, 1.0, 1.012]
CARD = {
    "dilute_volume": 20,
    "dilute_gravity": 1.060,
    "dilute_first": 1.062,
    "dilute_step": 0.004,
    "share_a": 1.060,
    "share_b": 1.040,
    "share_target": 1.048,
    "share_total": 10,
}
SPREAD_PARTS = [PARTS[0] | {"expanded": 0.002}, PARTS[2], PARTS[3] | {"expanded": 0.0012}]


def test_blend_share_and_dilution(computed):
    book = computed(cells=CARD, part=PARTS)
    assert book.column("part_volume_20")[:4] == [
        volume and pytest.approx(volume) for volume in (VOLUMES[0], None, *VOLUMES[1:])
    ]
    assert book.cell("blend_gravity") == pytest.approx(BLEND_SG(VOLUMES, SGS))
    assert book.cell("blended_volume") == pytest.approx(BLEND_VOLUME(VOLUMES, SGS), rel=1e-9)
    assert book.cell("blended_abv") == pytest.approx(BLEND_ABV(VOLUMES, [0, 0, 5.2], SGS))
    share = BLEND_SHARE(1.060, 1.040, 1.048)
    assert book.cell("share_percent") == pytest.approx(100 * share)
    found = [book.cell("share_volume_a"), book.cell("share_volume_b")]
    assert found == pytest.approx([10 * share, 10 - 10 * share])
    rows = book.table("card", "target", "water", "makes", "remark")
    # No ± was given; volumes alone leave a little open.
    for name in ("blend", "share"):
        assert 0 < book.cell(f"{name}_expanded") < 0.001, name
    # What water cannot do is said, in its own line.
    assert rows[0]["water"] is None
    assert rows[0]["remark"].endswith("water cannot raise a gravity")
    for number, row in enumerate(rows[1:], 1):
        target = round(1.062 - 0.004 * number, 6)
        assert row["target"] == pytest.approx(target)
        assert row["water"] == pytest.approx(DILUTION_WATER(20, 1.060, target))
        extract = EXTRACT_MASS(20, 1.060)
        assert row["makes"] == pytest.approx(extract / EXTRACT_MASS(1, target), rel=1e-6)
        assert row["remark"] == "± not given"


def drawn(values, u, rng):
    """As many normal deviates as a Monte Carlo run (JCGM 101) takes here, one row for each."""
    return np.array(values) + rng.normal(size=(200_000, len(values))) * u


def test_uncertainty_of_a_blend(computed):
    rng = np.random.default_rng(8)
    volumes = drawn(VOLUMES, 0.02 * np.array(VOLUMES), rng)
    gravities = drawn(SGS, np.array([0.001, 0, 0.0006]), rng)
    wanted = 2 * blending.blend(volumes, gravities).sg.std()
    book = computed(part=SPREAD_PARTS, cells={"set_u_volume": 0.02})
    # First order is within 1.5 %, the draws within some 0.5 %.
    assert book.cell("blend_expanded") == pytest.approx(wanted, rel=0.02)
    # Sure volumes leave the gravities' own.
    book = computed(part=SPREAD_PARTS, cells={"set_u_volume": 0})
    shares = np.array(VOLUMES) / sum(VOLUMES)
    alone = 2 * math.hypot(shares[0] * 0.001, shares[2] * 0.0006)
    assert book.cell("blend_expanded") == pytest.approx(alone, rel=1e-9)


def test_sensitivities_are_shares_of_the_volume():
    """What the sheet takes for the derivatives of BLEND_SG, against differences of it."""
    blend_sg, total = BLEND_SG(VOLUMES, SGS), sum(VOLUMES)

    def moved(by_volume, by_sg):
        ends = [
            BLEND_SG(list(np.add(VOLUMES, way * by_volume)), list(np.add(SGS, way * by_sg)))
            for way in (1, -1)
        ]
        return (ends[0] - ends[1]) / 2

    for part, (volume, sg) in enumerate(zip(VOLUMES, SGS, strict=True)):
        step = np.eye(3)[part]
        assert moved(0, 1e-4 * step) / 1e-4 == pytest.approx(volume / total, rel=0.015)
        by_volume = moved(1e-2 * step, 0) / 1e-2
        assert by_volume == pytest.approx((sg - blend_sg) / total, rel=0.015)


def test_uncertainty_of_a_share_and_of_a_dilution(computed):
    rng = np.random.default_rng(9)
    cells = CARD | {
        "share_a_expanded": 0.002,
        "share_b_expanded": 0.001,
        "dilute_expanded": 0.002,
        "set_u_volume": 0.02,
    }
    book = computed(cells=cells)
    share = BLEND_SHARE(1.060, 1.040, 1.048)

    def simulated(volumes, sgs, u):
        made = blending.blend(drawn(volumes, 0.02 * np.array(volumes), rng), drawn(sgs, u, rng))
        return 2 * made.sg.std()

    wanted = simulated([share, 1 - share], [1.060, 1.040], np.array([0.001, 0.0005]))
    assert book.cell("share_expanded") == pytest.approx(wanted, rel=0.02)
    rows = book.table("card", "target", "water", "expanded", "remark")
    assert (rows[0]["expanded"], rows[1]["remark"]) == (None, None)
    for row in rows[1:4]:
        wanted = simulated([20, row["water"]], [1.060, 1.0], np.array([0.001, 0]))
        assert row["expanded"] == pytest.approx(wanted, rel=0.02)


def test_a_missing_spread_is_said_and_left_out(computed):
    parts = [SPREAD_PARTS[0], SPREAD_PARTS[1], PARTS[3]]
    book = computed(part=parts, cells=CARD | {"share_b_expanded": 0.001, "set_u_volume": 0})
    assert book.column("part_remark")[:3] == [None, None, "± not given"]
    assert book.cell("blend_expanded") == pytest.approx(0.002 * VOLUMES[0] / sum(VOLUMES))
    assert book.cell("blend_remark").startswith("The ± of 1 of the parts is not given")
    assert book.cell("share_expanded") == pytest.approx(
        0.001 * (1 - BLEND_SHARE(1.060, 1.040, 1.048))
    )
    # What is no number is not given either.
    told = computed(part=[SPREAD_PARTS[0] | {"expanded": "small"}])
    assert told.column("part_remark")[0] == "± not given"
    assert computed(part=SPREAD_PARTS).cell("blend_remark") is None


def test_us_units_and_plato_tell_the_same(computed):
    def plato(sg):
        return float(GRAVITY_CONVERT(sg, "SG", "Plato"))

    def gallons(litres):
        return units.convert(litres, "L", "US gal")

    parts = [
        {**part, **({"volume": gallons(part["volume"])} if part else {})}
        | ({"temperature": part["temperature"] * 1.8 + 32} if "temperature" in part else {})
        | ({"gravity": plato(part["gravity"])} if "gravity" in part else {})
        for part in SPREAD_PARTS
    ]
    for part in parts:
        if "expanded" in part:
            part["expanded"] /= SG_PER_PLATO
    cells = {
        "dilute_volume": gallons(20),
        "dilute_gravity": plato(1.060),
        "dilute_first": 12,
        "dilute_step": 1,
        "share_a": plato(1.060),
        "share_b": plato(1.040),
        "share_target": plato(1.048),
    }
    book = computed(Choices(rows=20, units="us", gravity="plato"), cells, part=parts)
    metric = computed(part=SPREAD_PARTS)
    assert book.cell("blend_gravity") == pytest.approx(plato(BLEND_SG(VOLUMES, SGS)), abs=1e-4)
    assert book.cell("blended_volume") == pytest.approx(gallons(BLEND_VOLUME(VOLUMES, SGS)))
    assert book.cell("blend_expanded") * SG_PER_PLATO == pytest.approx(
        metric.cell("blend_expanded"), rel=1e-5
    )
    share = BLEND_SHARE(1.060, 1.040, 1.048)
    assert book.cell("share_percent") == pytest.approx(100 * share, abs=0.01)
    row = book.table("card", "target", "water")[1]
    water = DILUTION_WATER(20, 1.060, GRAVITY_CONVERT(11, "Plato", "SG"))
    assert (row["target"], row["water"]) == pytest.approx((11, gallons(water)), rel=1e-4)
    assert book.cell("blend_answer").endswith(" US gal at 68 °F, 0.6 % vol")


def test_hot_wort_is_diluted_as_cold(computed):
    book = computed(cells=CARD | {"dilute_temperature": 95, "dilute_first": 1.050})
    volume = VOLUME_AT(20, 95, 20, 1.060)
    assert book.column("card_water")[0] == pytest.approx(DILUTION_WATER(volume, 1.060, 1.050))


@pytest.mark.parametrize(
    ("parts", "gravity", "abv", "remarks"),
    [
        (
            [{"kind": "wort", "volume": 20}, {"kind": "wort", "volume": 2, "gravity": 1.05}],
            "! gravity is missing in 1 of the parts",
            None,
            ["gravity is missing", "± not given"],
        ),
        (
            [{"kind": "beer", "volume": 20, "gravity": 1.01}],
            1.01,
            "! alcohol is missing in 1 of the parts",
            ["alcohol is missing"],
        ),
        (
            [{"kind": "wort", "volume": 0, "gravity": 1.05}],
            "! volumes add up to 0: there is nothing to blend",
            None,
            ["± not given"],
        ),
        ([{"kind": "wort", "gravity": 1.05}], None, None, ["volume is missing"]),
        ([{"volume": 5, "gravity": 1.05}], 1.05, None, ["choose what it is"]),
        (
            [{"kind": "wort", "volume": "a keg", "gravity": 1.05}],
            "! volume a keg is not a number",
            None,
            ["± not given"],
        ),
    ],
)
def test_parts_that_are_not_complete(computed, parts, gravity, abv, remarks):
    book = computed(part=parts)
    found = book.cell("blend_gravity")
    assert found == (pytest.approx(gravity) if isinstance(gravity, float) else gravity)
    assert book.cell("blended_abv") == abv
    assert book.column("part_remark")[: len(remarks)] == remarks


def test_eight_parts(computed):
    parts = [{"kind": "wort", "volume": i, "gravity": 1.03 + i / 200} for i in range(1, 9)]
    assert len(parts) == blend.PARTS
    wanted = BLEND_SG([p["volume"] for p in parts], [p["gravity"] for p in parts])
    assert computed(part=parts).cell("blend_gravity") == pytest.approx(wanted)
