"""Blend sheet: parts, share of two for a target, dilution card."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.workbook.conftest import beside
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
from xlfuncs.workbook import blend
from xlfuncs.workbook.vocabulary import Choices

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


def test_blend_share_and_dilution(computed):
    book = computed(cells=CARD, part=PARTS)
    assert [r["volume_20"] for r in book.table("part", "volume_20")[:4]] == pytest.approx(
        [VOLUMES[0], None, *VOLUMES[1:]]
    )
    assert book.cell("blend_gravity") == pytest.approx(BLEND_SG(VOLUMES, SGS))
    assert book.cell("blend_volume") == pytest.approx(BLEND_VOLUME(VOLUMES, SGS), rel=1e-9)
    assert book.cell("blend_abv") == pytest.approx(BLEND_ABV(VOLUMES, [0, 0, 5.2], SGS))
    share = BLEND_SHARE(1.060, 1.040, 1.048)
    assert book.cell("share_percent") == pytest.approx(100 * share)
    found = [book.cell("share_volume_a"), book.cell("share_volume_b")]
    assert found == pytest.approx([10 * share, 10 - 10 * share])
    rows = book.table("dilution", "target", "water", "volume", "remark")
    # No ± was given; volumes alone leave a little open.
    for name in ("blend", "share"):
        assert 0 < book.cell(f"{name}_expanded") < 0.001, name
    # What water cannot do is said, in its own row.
    assert rows[0]["water"] is None
    assert rows[0]["remark"].endswith("water cannot raise a gravity")
    for number, row in enumerate(rows[1:], 1):
        target = round(1.062 - 0.004 * number, 6)
        assert row["target"] == pytest.approx(target)
        assert row["water"] == pytest.approx(DILUTION_WATER(20, 1.060, target))
        extract = EXTRACT_MASS(20, 1.060)
        assert row["volume"] == pytest.approx(extract / EXTRACT_MASS(1, target), rel=1e-6)
        assert row["remark"] == "± not given"


SPREAD_PARTS = [PARTS[0] | {"expanded": 0.002}, PARTS[2], PARTS[3] | {"expanded": 0.0012}]


def drawn(values, u, rng):
    """As many normal deviates as a Monte Carlo run (JCGM 101) takes here, one row for each."""
    return np.array(values) + rng.normal(size=(200_000, len(values))) * u


def test_uncertainty_of_a_blend(computed):
    rng = np.random.default_rng(8)
    volumes = drawn(VOLUMES, 0.02 * np.array(VOLUMES), rng)
    gravities = drawn(SGS, np.array([0.001, 0, 0.0006]), rng)
    wanted = 2 * blending.blend(volumes, gravities).sg.std()
    book = computed(part=SPREAD_PARTS, cells={"u_volume": 0.02})
    # First order is within 1.5 %, the draws within some 0.5 %.
    assert book.cell("blend_expanded") == pytest.approx(wanted, rel=0.02)
    # Sure volumes leave the gravities' own.
    book = computed(part=SPREAD_PARTS, cells={"u_volume": 0})
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
        "u_volume": 0.02,
    }
    book = computed(cells=cells)
    share = BLEND_SHARE(1.060, 1.040, 1.048)

    def simulated(volumes, sgs, u):
        made = blending.blend(drawn(volumes, 0.02 * np.array(volumes), rng), drawn(sgs, u, rng))
        return 2 * made.sg.std()

    wanted = simulated([share, 1 - share], [1.060, 1.040], np.array([0.001, 0.0005]))
    assert book.cell("share_expanded") == pytest.approx(wanted, rel=0.02)
    rows = book.table("dilution", "target", "water", "expanded", "remark")
    assert (rows[0]["expanded"], rows[1]["remark"]) == (None, None)
    for row in rows[1:4]:
        wanted = simulated([20, row["water"]], [1.060, 1.0], np.array([0.001, 0]))
        assert row["expanded"] == pytest.approx(wanted, rel=0.02)


def test_a_missing_spread_is_said_and_left_out(computed):
    parts = [SPREAD_PARTS[0], SPREAD_PARTS[1], PARTS[3]]
    book = computed(part=parts, cells=CARD | {"share_b_expanded": 0.001, "u_volume": 0})
    assert [r["remark"] for r in book.table("part", "remark")[:3]] == [None, None, "± not given"]
    assert book.cell("blend_expanded") == pytest.approx(0.002 * VOLUMES[0] / sum(VOLUMES))
    assert beside(book, "blend_expanded").startswith("SG; ± is not given in 1 of the parts, and")
    assert beside(book, "share_expanded").endswith("; without the ± of A, which is not given")
    assert book.cell("share_expanded") == pytest.approx(
        0.001 * (1 - BLEND_SHARE(1.060, 1.040, 1.048))
    )
    # What is no number is not given either.
    words = computed(part=[SPREAD_PARTS[0] | {"expanded": "small"}])
    assert words.table("part", "remark")[0]["remark"] == "± not given"
    assert beside(words, "blend_expanded").startswith("SG; ± is not given in 1 of the parts")
    whole = computed(part=SPREAD_PARTS)
    assert beside(whole, "blend_expanded") == "SG; gravities and volumes of the parts"


def test_us_units_and_plato_tell_the_same(computed):
    def plato(sg):
        return GRAVITY_CONVERT(sg, "SG", "Plato")

    def gallons(litres):
        return units.convert(litres, "L", "US gal")

    parts = [
        {**part, **({"volume": gallons(part["volume"])} if part else {})}
        | ({"temperature": part["temperature"] * 1.8 + 32} if "temperature" in part else {})
        | ({"gravity": plato(part["gravity"])} if "gravity" in part else {})
        for part in PARTS
    ]
    cells = {
        "dilute_volume": gallons(20),
        "dilute_gravity": plato(1.060),
        "dilute_first": 12,
        "dilute_step": 1,
        "share_a": plato(1.060),
        "share_b": plato(1.040),
        "share_target": plato(1.048),
    }
    book = computed(Choices(rows=20, units="us", gravity="plato"), cells=cells, part=parts)
    assert book.cell("blend_gravity") == pytest.approx(plato(BLEND_SG(VOLUMES, SGS)), abs=1e-7)
    assert book.cell("blend_volume") == pytest.approx(gallons(BLEND_VOLUME(VOLUMES, SGS)))
    assert book.cell("share_percent") == pytest.approx(100 * BLEND_SHARE(1.060, 1.040, 1.048))
    # The ± too, as a difference on the other scale.
    known = [part | ({"expanded": 0.002} if "gravity" in part else {}) for part in PARTS]
    metric = computed(cells=CARD | {"share_a_expanded": 0.002, "dilute_expanded": 0.002},
                      part=known)  # fmt: skip
    wide = [plato(sg + 0.002) - plato(sg) for sg in (1.060, 1.012)]
    parts[0]["expanded"], parts[3]["expanded"] = wide
    cells |= {"share_a_expanded": wide[0], "dilute_expanded": wide[0]}
    book = computed(Choices(rows=20, units="us", gravity="plato"), cells=cells, part=parts)
    for name, sg in (("blend", metric.cell("blend_gravity")), ("share", 1.048)):
        spread = plato(sg + metric.cell(f"{name}_expanded")) - plato(sg)
        assert book.cell(f"{name}_expanded") == pytest.approx(spread, rel=1e-6), name
    row = book.table("dilution", "expanded")[1]
    assert 0 < row["expanded"] < wide[0]
    row = book.table("dilution", "target", "water")[1]
    water = DILUTION_WATER(20, 1.060, GRAVITY_CONVERT(11, "Plato", "SG"))
    assert (row["target"], row["water"]) == pytest.approx((11, gallons(water)))


def test_hot_wort_is_diluted_as_cold(computed):
    book = computed(cells=CARD | {"dilute_temperature": 95, "dilute_first": 1.050})
    volume = VOLUME_AT(20, 95, 20, 1.060)
    assert book.table("dilution", "water")[0]["water"] == pytest.approx(
        DILUTION_WATER(volume, 1.060, 1.050)
    )


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
            "! ABV is missing in 1 of the parts",
            ["ABV is missing"],
        ),
        # The ABV of a blend needs no gravities.
        (
            [{"kind": "beer", "volume": 10, "abv": 8}, {"kind": "beer", "volume": 30, "abv": 4}],
            "! gravity is missing in 2 of the parts",
            5.0,
            ["gravity is missing"] * 2,
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
    assert book.cell("blend_abv") == abv
    assert [r["remark"] for r in book.table("part", "remark")[: len(remarks)]] == remarks


def test_eight_parts(computed):
    parts = [{"kind": "wort", "volume": i, "gravity": 1.03 + i / 200} for i in range(1, 9)]
    assert len(computed().table("part", "kind")) == blend.PARTS == 8
    book = computed(part=parts)
    wanted = BLEND_SG([p["volume"] for p in parts], [p["gravity"] for p in parts])
    assert book.cell("blend_gravity") == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("a", "b", "target", "text"),
    [
        (1.060, 1.040, 1.070, "! target_sg 1.070 is not between sg_a 1.060 and sg_b 1.040"),
        (1.050, 1.050, 1.050, "! sg_a and sg_b are both 1.050: every share gives that"),
    ],
)
def test_targets_that_no_share_reaches(computed, a, b, target, text):
    book = computed(cells=CARD | {"share_a": a, "share_b": b, "share_target": target})
    assert book.cell("share_percent") == text
    assert book.cell("share_volume_a") is None


def test_the_dilution_card_stops_at_water_and_prints_on_its_own_page(computed):
    book = computed(cells=CARD | {"dilute_first": 1.010})
    targets = [row["target"] for row in book.table("dilution", "target")]
    assert targets[:3] == pytest.approx([1.010, 1.006, 1.002])
    assert set(targets[3:]) == {None}

    from xlfuncs.workbook import build

    sheet = build.build(Choices())["Blend"]
    [page] = sheet.row_breaks.brk
    assert sheet[f"A{page.id + 1}"].value is None
    assert sheet[f"A{page.id + 2}"].value == "Dilution card"
