"""Own factors: pairs found in the log, both fits, what all pairs share, what Setup takes."""

from __future__ import annotations

import math

import pytest

from tests.workbook.conftest import BENCH, GLASS, day
from xlfuncs.functions.beer import BEER_FIT, BEER_SG
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import WORT_FACTOR_FIT, WORT_SG
from xlfuncs.science.beer import MODEL_U
from xlfuncs.science.calibration import UNCHECKED_SLOPE_U
from xlfuncs.workbook import defaults, words
from xlfuncs.workbook.sheets import factors
from xlfuncs.workbook.words import Choices

CHECKS = [
    {"instrument": "bench", "date": day(2026, 2, 15), "temperature": 20, "shown_1": 0.0},
    {"instrument": "glass", "date": day(2026, 2, 15), "temperature": 20, "shown_1": 1.0},
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
WORTS = [(10.9, 1.0424), (16.7, 1.0655), (12.6, 1.0486), (13.4, 1.0523), (18.6, 1.0740)]


def line(batch, stage, instrument, reading, hour, **more):
    return {
        "date": day(2026, 3, 1, hour),
        "batch": batch,
        "stage": stage,
        "instrument": instrument,
        "reading": reading,
        "temperature": 20,
    } | more


def beer(number, original, brix, sg, **more):
    """A beer with its measured original gravity, and a drop and a jar of it an hour apart."""
    name = f"beer {number}"
    return [
        line(name, words.INTO_FERMENTER, "glass", original, 8),
        line(name, words.FERMENTING, "bench", brix, 18, **more),
        line(name, words.FERMENTING, "glass", sg, 19),
    ]


def wort(number, brix, sg, **more):
    name = f"wort {number}"
    return [
        line(name, words.BEFORE_BOIL, "bench", brix, 10, **more),
        line(name, words.BEFORE_BOIL, "glass", sg, 11),
    ]


def beers(rows=READ):
    return [entry for number, row in enumerate(rows) for entry in beer(number, *row)]


def worts(rows=WORTS):
    return [entry for number, row in enumerate(rows) for entry in wort(number, *row)]


@pytest.fixture
def paired(computed):
    def make(log, choices=None, cells=None, inst=(BENCH, GLASS), check=CHECKS):
        names = dict.fromkeys(entry["batch"] for entry in log)
        return computed(
            choices or Choices(rows=100, checks=20),
            cells,
            inst=inst,
            check=check,
            batch=[{"name": name} for name in names],
            log=log,
        )

    return make


def fitted(rows):
    keys = ("wort_factor", "alcohol_factor", "u_wort_factor", "u_alcohol_factor", "error")
    found = BEER_FIT(*map(list, zip(*rows, strict=True)))[0]
    return dict(zip((*keys, "default_error", "pairs"), found, strict=True))


def shared_by_drops(brix):
    """What one check in water leaves open, as a share: one reading, and a slope never checked."""
    return math.hypot(BENCH["fine"], UNCHECKED_SLOPE_U * brix) / brix


def test_an_unfilled_sheet_shows_no_figures_and_says_so(paired):
    book = paired([])
    assert book.cell("factors_says").startswith("No pairs of wort yet")
    assert book.cell("factors_beer_says").startswith("No pairs of beer yet")
    assert book.column("fact_factor") == [None, None]
    assert set(book.column("match_kind") + book.column("match_remark")) == {None}
    for name in ("wort_factor", "beer_wort_factor", "beer_alcohol_factor", "model_error"):
        own = name.removeprefix("beer_") if name == "beer_alcohol_factor" else name
        assert book.cell(f"own_{own}") is None


def test_pairs_of_wort_give_the_wort_factor(paired):
    book = paired(worts())
    [[factor, u, pairs, error]] = WORT_FACTOR_FIT(*map(list, zip(*WORTS, strict=True)))
    assert book.cell("own_wort_factor") == pytest.approx(factor, abs=1e-9)
    assert book.column("fact_pairs") == [pairs, 0]
    assert book.column("fact_error")[0] == pytest.approx(error, abs=1e-9)
    # What one check of each instrument leaves open is common to all pairs: no number of them
    # makes it smaller.
    drop = sum(shared_by_drops(brix) for brix, _ in WORTS) / len(WORTS)
    jar = sum(GLASS["fine"] / (sg - 1) for _, sg in WORTS) / len(WORTS)
    assert book.cell("own_u_wort_factor") == pytest.approx(
        math.hypot(u, factor * drop, factor * jar), rel=1e-6
    )
    # The latest pair first; of one moment the later line.
    assert book.column("match_batch")[0] == "wort 4"


def test_pairs_of_beer_give_the_correction_for_alcohol(paired):
    book = paired(beers())
    wanted = fitted(READ)
    assert book.cell("own_beer_wort_factor") == pytest.approx(wanted["wort_factor"], abs=1e-9)
    assert book.cell("own_alcohol_factor") == pytest.approx(wanted["alcohol_factor"], abs=1e-9)
    assert book.column("fact_error")[1] == pytest.approx(wanted["error"], abs=1e-9)
    assert book.column("fact_common_error")[1] == pytest.approx(wanted["default_error"], abs=1e-9)
    drop = sum(shared_by_drops(brix) for _, brix, _ in READ) / len(READ)
    assert book.cell("own_beer_u_wort_factor") == pytest.approx(
        math.hypot(wanted["u_wort_factor"], wanted["wort_factor"] * drop), rel=1e-6
    )
    rows = book.table("match", "brix", "scaled_1", "scaled_2", "scaled_3", "difference")
    for row, (original, brix, sg) in zip(rows, reversed(READ), strict=False):
        own = BEER_SG(original, brix, wanted["wort_factor"], "balance", wanted["alcohol_factor"])
        assert row["scaled_1"] == pytest.approx(sg)
        assert row["scaled_2"] == pytest.approx(BEER_SG(original, brix), abs=1e-9)
        assert row["scaled_3"] == pytest.approx(own, abs=1e-9)
        assert row["difference"] == pytest.approx(round(own - sg, 4), abs=1e-9)


def test_the_error_of_the_factors_in_use_counts_from_six_pairs_on(paired):
    jar = GLASS["fine"]  # u of the hydrometer's one check
    for source, key in (("common", "default_error"), ("own", "error")):
        book = paired(beers(), cells={"set_beer_source": source})
        error = fitted(READ)[key]
        assert book.cell("own_model_error") == pytest.approx(math.hypot(error, jar), rel=1e-6)
    assert paired(beers(READ[: factors.FEW - 1])).cell("own_model_error") is None


def test_setup_takes_either_factors(paired):
    log = worts() + beers()
    book = paired(log, cells={"set_source": "own", "set_beer_source": "own"})
    assert book.cell("wort_factor") == book.cell("own_wort_factor") != 1.04
    assert book.cell("u_wort_factor") == book.cell("own_u_wort_factor")
    assert book.cell("beer_wort_factor") == book.cell("own_beer_wort_factor") != 1.04
    assert book.cell("beer_alcohol_factor") == book.cell("own_alcohol_factor") != 1
    assert book.column("fact_used") == ["your own factor", "your own factors"]
    # A wort of the log is then corrected by it.
    brix, _ = WORTS[0]
    assert book.column("log_sg")[0] == pytest.approx(WORT_SG(brix, book.cell("wort_factor")))
    common = paired(log)
    assert common.cell("wort_factor") == 1.04
    assert common.column("fact_used")[0] == "the common factor, 1.040"


TYPED = {"set_beer_wort_factor": 1.031, "set_beer_u_wort_factor": 0.004,
         "set_beer_alcohol_factor": 0.97, "set_beer_u_model": 0.0021}  # fmt: skip


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("source", ["common", "own"])
def test_typed_factors_count_where_no_pairs_do(paired, plain, source):
    """Of a season before: in either edition, whether or not own ones are asked for."""
    log = beer("one", 1.05, 6.3, 1.012)[:2]
    choices = Choices(rows=100, checks=20, plain=plain)
    cells = {"set_wort_factor": 1.05, "set_beer_source": source}
    book = paired(log, choices, cells | TYPED)
    for name, value in TYPED.items():
        assert book.cell(name.removeprefix("set_")) == value
    assert book.cell("wort_factor") == 1.05
    assert book.cell("factors_in_use") == "typed"
    said = book.cell("factors_remark")
    assert said == ("no fermented pairs fit yet: the typed factors are in use"
                    if source == "own" else None)  # fmt: skip
    assert book.column("fact_used")[1] == "the typed ones, 1.031 and 0.97"
    assert "how well the typed factors suit" in book.cell("factors_beer_says")
    assert book.column("log_sg")[1] == pytest.approx(
        BEER_SG(1.05, 6.3, 1.031, "balance", 0.97), abs=2e-7
    )
    # What the pairs have not told, blanks do: the wort's own factor, and no smaller doubt.
    blank = paired(log, choices, cells | {"set_beer_u_model": 0.0001})
    assert blank.cell("beer_wort_factor") == 1.05
    assert blank.cell("beer_alcohol_factor") == 1
    assert blank.cell("beer_u_model") == MODEL_U


def test_own_pairs_are_held_against_typed_factors(paired):
    """Their error is that of the factors in use, and takes the place of the one that was typed."""
    book = paired(beers(), cells=TYPED)
    typed = [BEER_SG(original, brix, 1.031, "balance", 0.97) for original, brix, _ in READ]
    off = [one - sg for one, (_, _, sg) in zip(typed, READ, strict=True)]
    error = math.sqrt(sum(one**2 for one in off) / len(off))
    assert book.column("fact_common_error")[1] == pytest.approx(error, rel=1e-6)
    assert book.cell("beer_u_model") == pytest.approx(
        max(MODEL_U, math.hypot(error, GLASS["fine"])), rel=1e-6
    )
    assert book.column("match_scaled_2")[: len(READ)] == [
        pytest.approx(one, abs=1e-9) for one in reversed(typed)
    ]
    own = paired(beers(), cells=TYPED | {"set_beer_source": "own"})
    assert own.cell("factors_in_use") == "own"
    assert own.cell("beer_wort_factor") == own.cell("own_beer_wort_factor") != 1.031
    assert own.cell("beer_alcohol_factor") == own.cell("own_alcohol_factor") != 0.97


def test_a_typed_factor_shares_nothing_with_that_of_the_wort(paired):
    """Through one refractometer the wort factor all but cancels; a factor for beer alone does not.

    As if the factor were own: what they have in common is the calibration.
    """
    log = [line("one", words.INTO_FERMENTER, "bench", 12.4, 8),
           line("one", words.FERMENTING, "bench", 6.3, 18)]  # fmt: skip
    same = {"set_beer_wort_factor": 1.04, "set_beer_u_wort_factor": 0.012}
    together, apart = paired(log), paired(log, cells=same)
    assert apart.column("log_sg") == together.column("log_sg")
    rise, by_wort, by_beer = (
        together.column(name)[1 if name != "line_factor" else 0]
        for name in ("line_lean", "line_factor", "line_by_factor")
    )
    shared = 2 * rise * by_wort * by_beer * 0.012
    assert together.column("log_u")[1] ** 2 - apart.column("log_u")[1] ** 2 == pytest.approx(shared)


def test_a_check_with_malt_extract_leans_on_the_common_factor(paired):
    """The own factor comes of checked readings: it cannot be in the check as well."""
    check = [
        {"instrument": "bench", "date": day(2026, 2, 15), "temperature": 20, "shown_1": 0.0,
         "shown_2": 10.4, "known_2": 10.0, "made_of": words.MALT_EXTRACT},
        CHECKS[1],
    ]  # fmt: skip
    book = paired(worts(), cells={"set_source": "own"}, check=check)
    assert book.cell("wort_factor") == book.cell("own_wort_factor")
    # 10.4 °Bx is what wort of 10 °Plato shows by the common factor: no offset.
    assert book.column("check_offset")[0] == pytest.approx(0, abs=1e-9)


def test_a_line_is_left_out_by_its_mark_in_the_log(paired):
    log = beers() + beer("slip", 1.06, 8.2, 1.0320, leave="yes")
    book = paired(log)
    assert book.column("fact_pairs") == [0, len(READ)]
    assert book.cell("own_alcohol_factor") == pytest.approx(fitted(READ)["alcohol_factor"])


def test_a_suspicious_pair_is_counted_and_named(paired):
    book = paired(beers() + beer("slip", 1.06, 8.2, 1.0320))
    assert book.column("fact_pairs")[1] == len(READ) + 1
    assert book.column("fact_suspicious")[1] == 1
    assert book.column("match_remark")[0].startswith("suspicious")
    assert "1 suspicious" in book.cell("factors_doubt_says")


def test_what_cannot_be_a_pair_says_why_and_leaves_the_fit_to_the_others(paired):
    unknown = beer("unknown", 1.05, 6.3, 1.012)[1:]
    book = paired(beers() + unknown + beer("odd", 1.05, 30, 1.01))
    remarks = book.column("match_remark")
    assert remarks[0].startswith("does not count: brix 30 is above")
    assert remarks[1] == "does not count: original gravity is missing"
    assert book.cell("own_alcohol_factor") == pytest.approx(fitted(READ)["alcohol_factor"])


def test_where_no_fit_is_possible_it_says_why_and_setup_falls_back(paired):
    log = beers() + beer("above", 1.05, 7.0, 1.09)
    book = paired(log, cells={"set_beer_source": "own", "set_wort_factor": 1.05})
    assert book.cell("factors_beer_says").startswith("No fit for beer: hydrometer_sgs 1.09")
    assert book.cell("beer_wort_factor") == 1.05
    assert book.cell("beer_alcohol_factor") == 1
    assert "no fermented pairs fit" in book.cell("factors_remark")


def test_a_planned_gravity_teaches_nothing(paired, computed):
    log = beer("planned", 1.05, 6.3, 1.012)[1:]
    book = computed(
        Choices(rows=100, checks=20), {}, inst=[BENCH, GLASS], check=CHECKS,
        batch=[{"name": "beer planned", "into_fermenter_gravity": 1.05}], log=log,
    )  # fmt: skip
    assert book.column("match_remark")[0] == "does not count: original gravity not measured"


def test_the_latest_forty_count_and_worts_keep_their_place(paired):
    log = worts() * 4 + beers(READ * 4)
    book = paired(log, Choices(rows=400, checks=20))
    kinds = book.column("match_kind")
    assert kinds.count("wort") == factors.WORTS
    assert kinds.count("beer") == factors.PAIRS - factors.WORTS
    assert "12 older do not" in book.cell("factors_doubt_says")


def test_the_sentence_adapts_to_the_number_of_pairs_and_their_error(paired):
    many, few = (paired(beers(rows)).cell("factors_beer_says") for rows in (READ, READ[:3]))
    assert many.startswith(f"Beer, 8 pairs: typical error ± {fitted(READ)['error']:.4f} SG by")
    assert "choose them on Setup" in many
    assert few.startswith("Beer, 3 pairs: so few lean on the common factors; ")
    assert "Keep the common ones." in few


def test_plato_and_fahrenheit_tell_the_same(paired):
    def plato(sg):
        return float(GRAVITY_CONVERT(sg, "SG", "Plato"))

    warm = [entry | {"temperature": 68} for entry in worts() + beers()]
    book = paired(warm, Choices(rows=100, checks=20, units="us", gravity="plato"),
                  inst=(BENCH, GLASS | {"reference": 68}),
                  check=[check | {"temperature": 68} for check in CHECKS])  # fmt: skip
    metric = paired(worts() + beers())
    for name in ("own_wort_factor", "own_alcohol_factor", "own_model_error"):
        assert book.cell(name) == pytest.approx(metric.cell(name), rel=1e-6), name
    assert book.column("match_scaled_1") == [
        value and pytest.approx(plato(value), abs=1e-6) for value in metric.column("match_scaled_1")
    ]
    assert book.column("fact_error")[1] == pytest.approx(
        metric.column("fact_error")[1] / defaults.SG_PER_PLATO
    )
