"""Paired readings: the fit and its errors, what the sheet says of them, and what Setup takes."""

from __future__ import annotations

import math

import pytest

from tests.workbook.conftest import BENCH, FIELD, GLASS, SPINDLE, beside, day
from xlfuncs.functions.beer import BEER_FIT, BEER_SG, BEER_SG_UNCERTAINTY
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import HYDROMETER_SG, REFRACTOMETER_BRIX
from xlfuncs.workbook.vocabulary import Choices

CHECKS = [
    {"instrument": "bench", "date": day(2026, 2, 15), "reading_1": 0.0},
    {"instrument": "field", "date": day(2026, 2, 15), "reading_1": 0.0},
    {"instrument": "glass", "date": day(2026, 2, 15), "reading_1": 1.0},
]
# Original SG, refractometer, hydrometer: beers of a wort factor near 1.03, with some scatter.
READ = [
    (1.042, 6.3, 1.0157),
    (1.042, 5.2, 1.0087),
    (1.066, 11.2, 1.0316),
    (1.066, 9.0, 1.0183),
    (1.049, 5.9, 1.0086),
    (1.052, 7.7, 1.0170),
    (1.052, 6.7, 1.0117),
    (1.074, 10.2, 1.0209),
]
FIT = ("wort_factor", "alcohol_factor", "u_wort_factor", "u_alcohol_factor", "error")


def pair(original, brix, sg, **more):
    row = {
        "date": day(2026, 3, 1),
        "beer": "pale",
        "original": original,
        "refractometer": "bench",
        "shown_brix": brix,
        "hydrometer": "glass",
        "shown_sg": sg,
        "shown_sg_temperature": 20,
    }
    return row | more


PAIRS = [pair(*row) for row in READ]


def filled(computed, pairs, choices=None, cells=None, **tables):
    return computed(
        choices,
        cells,
        **{"inst": [BENCH, GLASS, FIELD], "check": CHECKS, "pair": pairs, **tables},
    )


def fitted(rows):
    return dict(
        zip((*FIT, "default_error", "pairs"), BEER_FIT(*map(list, zip(*rows, strict=True)))[0],
            strict=True)
    )  # fmt: skip


def test_an_unfilled_sheet_shows_no_figures_and_says_so(computed):
    book = computed()
    assert set(book.table("fit", *FIT, "default_error", "pairs", "outliers")[0].values()) == {None}
    for row in book.table("pair", "brix", "sg", "default_sg", "fitted_sg", "difference", "remark"):
        assert set(row.values()) == {None}
    assert book.cell("pairs_sentence").startswith("No pairs yet")
    assert book.cell("pairs_far") is None


def test_pairs_are_corrected_by_the_default_and_by_their_own_fit(computed):
    book = filled(computed, PAIRS)
    wanted = fitted(READ)
    fit = book.table("fit", *FIT, "default_error", "pairs")[0]
    assert fit == pytest.approx(wanted, abs=1e-9)
    rows = book.table("pair", "default_sg", "fitted_sg", "difference")
    for row, (original, brix, sg) in zip(rows, READ, strict=False):
        own = BEER_SG(original, brix, wanted["wort_factor"], "balance", wanted["alcohol_factor"])
        assert row["default_sg"] == pytest.approx(BEER_SG(original, brix), abs=1e-12)
        assert row["fitted_sg"] == pytest.approx(own, abs=1e-9)
        assert row["difference"] == pytest.approx(own - sg, abs=1e-9)


def test_each_gravity_of_a_pair_has_its_uncertainty(computed):
    book = filled(computed, PAIRS)
    keys = ("sg", "default", "fitted", "difference")
    row = book.table("pair", *(f"{key}_expanded" for key in keys))[3]
    original, brix, _ = READ[3]
    fit = book.table("fit", "wort_factor", "u_wort_factor")[0]
    # One check in water: its offset is as uncertain as one reading.
    u_brix, u_glass = BENCH["u_reading"] * 2**0.5, GLASS["u_reading"] * 2**0.5
    default = BEER_SG_UNCERTAINTY(original, brix, 1.04, u_brix, 0.01)
    own = BEER_SG_UNCERTAINTY(original, brix, fit["wort_factor"], u_brix, fit["u_wort_factor"])
    wanted = [u_glass, default, own, math.hypot(own, u_glass)]
    assert list(row.values()) == pytest.approx([2 * u for u in wanted], rel=1e-6)
    # Without a fit the difference is that of the default factors.
    alone = filled(computed, [pair(*READ[3], use="no")])
    row = alone.table("pair", *(f"{key}_expanded" for key in keys))[0]
    wanted = [2 * u_glass, 2 * default, None, 2 * math.hypot(default, u_glass)]
    assert list(row.values()) == [value and pytest.approx(value, rel=1e-6) for value in wanted]


def test_calibration_in_force_and_temperature_are_applied_to_both(computed):
    checks = [
        {"instrument": "field", "date": day(2026, 2, 1), "reading_1": 0.3},
        {"instrument": "glass", "date": day(2026, 2, 1), "reading_1": 1.001},
        {"instrument": "field", "date": day(2026, 4, 1), "reading_1": 2.0},
    ]
    row = pair(
        1.05, 7, 1.012, refractometer="field", shown_brix_temperature=25, shown_sg_temperature=12
    )
    found = filled(computed, [row], check=checks).table("pair", "brix", "sg")[0]
    assert found["brix"] == pytest.approx(REFRACTOMETER_BRIX(7, 25, 0.3, 1), abs=1e-12)
    assert found["sg"] == pytest.approx(HYDROMETER_SG(1.011, 12, 20), abs=1e-12)


def test_the_default_error_is_that_of_the_wort_factor_on_setup(computed):
    book = filled(computed, PAIRS, cells={"wort_factor": 1.07})
    errors = [BEER_SG(original, brix, 1.07) - sg for original, brix, sg in READ]
    wanted = math.sqrt(sum(error**2 for error in errors) / len(errors))
    assert book.table("fit", "default_error")[0]["default_error"] == pytest.approx(wanted)


def test_the_sentence_adapts_to_the_number_of_pairs_and_their_error(computed):
    many = filled(computed, PAIRS).cell("pairs_sentence")
    error = round(fitted(READ)["error"], 4)
    assert many.startswith(f"8 pairs: within ±{error:.4f} SG of the hydrometer two times in three")
    assert "The fitted factors do better." in many
    assert "lean" not in many
    few = filled(computed, PAIRS[:3]).cell("pairs_sentence")
    assert few.startswith("3 pairs: so few lean on the default factors.")
    assert "Keep the default factors." in few
    assert filled(computed, PAIRS[:1]).cell("pairs_sentence").startswith("1 pair: ")
    for sentence in (many, few):
        assert sentence.endswith("Do not decide packaging on this alone.")


def test_pairs_that_fit_the_default_best_keep_it(computed):
    pairs = [pair(o, b, round(BEER_SG(o, b) + e, 4))
             for (o, b, _), e in zip(READ, (1, -1, 1, -1, -1, 1, -1, 1), strict=True)
             for e in (e * 0.0004,)]  # fmt: skip
    book = filled(computed, pairs)
    fit = book.table("fit", "error", "default_error")[0]
    assert fit["error"] > fit["default_error"]
    assert "Keep the default factors." in book.cell("pairs_sentence")


def test_a_pair_far_apart_is_counted_and_named_and_can_be_left_out(computed):
    slip = pair(1.06, 8.2, 1.0320, beer="slip")
    book = filled(computed, [*PAIRS, slip])
    assert book.table("fit", "outliers", "pairs")[0] == {"outliers": 1, "pairs": 9}
    assert "line 9 (slip)" in book.cell("pairs_far")
    remarks = [row["remark"] for row in book.table("pair", "remark")[:9]]
    assert remarks == [None] * 8 + ["more than 4 deviations apart"]
    left_out = filled(computed, [*PAIRS, slip | {"use": "no"}])
    assert left_out.table("pair", "remark")[8]["remark"] == "left out"
    assert left_out.table("fit", *FIT)[0] == pytest.approx(
        {key: fitted(READ)[key] for key in FIT}, abs=1e-9
    )
    assert left_out.cell("pairs_far") == "No pair lies more than 4 standard deviations apart."


def test_a_bad_cell_speaks_in_its_own_line_and_leaves_the_fit_to_the_others(computed):
    pairs = [*PAIRS[:4], pair(1.05, "seven", 1.01), pair(1.05, 30, 1.01), {}, *PAIRS[4:]]
    book = filled(computed, pairs)
    rows = book.table("pair", "default_sg")
    assert rows[4]["default_sg"] == '! reading "seven" is not a number'
    assert rows[5]["default_sg"].startswith("! brix 30 is above")
    assert rows[6]["default_sg"] is None
    assert book.table("fit", *FIT)[0] == pytest.approx(
        {key: fitted(READ)[key] for key in FIT}, abs=1e-9
    )


def test_where_no_fit_is_possible_it_says_why_and_setup_falls_back(computed):
    pairs = [*PAIRS, pair(1.05, 7.0, 1.09)]
    book = filled(computed, pairs, cells={"beer_correction": "fitted", "wort_factor": 1.05})
    fit = book.table("fit", "wort_factor", "u_wort_factor", "error")[0]
    assert fit["wort_factor"].startswith("! hydrometer_sgs 1.09 is above original_sgs 1.05")
    assert (fit["u_wort_factor"], fit["error"]) == (None, None)
    assert "no fit" in book.cell("pairs_sentence")
    assert book.cell("beer_factors") == "default"
    assert book.cell("beer_wort_factor") == 1.05
    assert book.cell("beer_alcohol_factor") == 1


@pytest.mark.parametrize("choice", ["default", "fitted"])
def test_setup_takes_either_factors(computed, choice):
    book = filled(computed, PAIRS, cells={"beer_correction": choice, "u_wort_factor": 0.02})
    fit = fitted(READ)
    wanted = {
        "default": (1.04, 0.02, 1.0),
        "fitted": (fit["wort_factor"], fit["u_wort_factor"], fit["alcohol_factor"]),
    }[choice]
    keys = ("beer_wort_factor", "beer_u_wort_factor", "beer_alcohol_factor")
    assert [book.cell(key) for key in keys] == pytest.approx(wanted, abs=1e-9)
    assert book.cell("beer_factors") == choice


@pytest.mark.parametrize(
    ("change", "remark"),
    [
        ({}, None),
        ({"original": None}, "original gravity is missing"),
        ({"refractometer": "glass"}, "not a refractometer"),
        ({"hydrometer": "bench"}, "not a hydrometer"),
        ({"refractometer": None}, "drop: choose an instrument"),
        ({"shown_sg_temperature": None}, "jar: sample temperature is missing"),
        ({"date": day(2025, 6, 1)}, "drop: no calibration check before this date"),
        ({"shown_brix": None}, None),
    ],
)
def test_remarks_say_what_a_pair_lacks(computed, change, remark):
    found = filled(computed, [PAIRS[0] | change]).table("pair", "remark")[0]
    assert found["remark"] == remark


def test_us_units_plato_and_a_plato_spindle_give_the_same_fit(computed):
    def plato(sg):
        return GRAVITY_CONVERT(sg, "SG", "Plato")

    checks = [*CHECKS, {"instrument": "spindle", "date": day(2026, 2, 15), "reading_1": 0.0}]
    pairs = [
        pair(plato(original), brix, plato(sg), hydrometer="spindle", shown_sg_temperature=68)
        for original, brix, sg in READ
    ]
    book = filled(
        computed,
        pairs,
        Choices(rows=20, units="us", gravity="plato"),
        inst=[BENCH, GLASS, FIELD, SPINDLE | {"reference": 68}],
        check=checks,
    )
    assert book.table("fit", *FIT)[0] == pytest.approx(
        {key: fitted(READ)[key] for key in FIT}, abs=1e-7
    )


def test_the_picture_shows_the_pairs_that_count_between_two_lines(computed):
    book = filled(computed, [*PAIRS, pair(1.06, 8.2, 1.0320, use="no")])
    shown = book.table("match", "chart_sg", "chart_default", "chart_fitted")
    assert [row["chart_sg"] for row in shown[:8]] == pytest.approx([row[2] for row in READ])
    assert {value for row in shown[8:] for value in row.values()} == {"#N/A"}
    for end in book.table("equal", "x", "y", "above", "below"):
        assert end["y"] == end["x"]
        assert (end["above"] - end["y"], end["y"] - end["below"]) == pytest.approx((0.002, 0.002))


@pytest.mark.parametrize(
    "pairs",
    [
        [],
        [row | {"use": "no"} for row in PAIRS],
        [row | {"original": None} for row in PAIRS],
    ],
    ids=["none", "left out", "incomplete"],
)
def test_a_choice_of_fitted_factors_that_has_no_fit_is_never_silent(computed, pairs):
    book = filled(computed, pairs, cells={"beer_correction": "fitted"}, ferment=[BEER])
    said = "nothing is fitted on the sheet Pairs: the default factors are in use"
    assert book.cell("beer_remark") == said
    for name in ("beer_correction", "beer_factors", "ferment_factors"):
        assert beside(book, name) == said, name
    assert book.cell("beer_factors") == book.cell("ferment_factors") == "default"
    line = book.table("ferment", "sg", "method", "remark")[0]
    assert line["sg"] == pytest.approx(BEER_SG(1.05, 6.5))
    assert line["method"].endswith("default factors")
    assert line["remark"] == "nothing fitted: default factors"


def test_the_reason_of_a_refused_fit_stands_beside_the_choice(computed):
    """A reading above that of the unfermented wort is no beer: the fit refuses it."""
    strange = [pair(1.042, 5.2, 1.1)]
    book = filled(computed, strange, cells={"beer_correction": "fitted"})
    why = book.table("fit", "wort_factor")[0]["wort_factor"]
    assert why.startswith("! ")
    assert beside(book, "beer_factors") == "no fit: " + why[2:]
    assert beside(book, "beer_correction") == book.cell("beer_remark") != ""


@pytest.mark.parametrize("choice", ["default", "fitted"])
def test_nothing_is_said_where_the_choice_is_followed(computed, choice):
    book = filled(computed, PAIRS, cells={"beer_correction": choice}, ferment=[BEER])
    assert book.cell("beer_remark") is None
    assert book.cell("beer_factors") == choice
    assert beside(book, "beer_correction").startswith("fitted takes the factors")
    assert book.table("ferment", "remark")[0]["remark"] == "no proof that it has ended"


BEER = {
    "date": day(2026, 3, 8),
    "batch": "1",
    "original": 1.05,
    "instrument": "bench",
    "reading": 6.5,
}
