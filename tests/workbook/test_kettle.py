"""Kettle sheet: forecast and options before and after the boil, and for what somebody tells."""

from __future__ import annotations

import math

import pytest

from tests.workbook.conftest import GLASS, day
from xlfuncs.functions.brewday import BOIL_SG, KETTLE_OPTIONS, MASH_EFFICIENCY
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import WORT_SG
from xlfuncs.functions.volumes import EXTRACT_MASS, VOLUME_AT
from xlfuncs.science import sucrose, units
from xlfuncs.workbook import kettle
from xlfuncs.workbook.brewhouse import HOT
from xlfuncs.workbook.vocabulary import Choices

CHECK = [{"instrument": "glass", "date": day(2026, 3, 1), "reading_1": 1.0}]
SETUP = {
    "boil_off": 4,
    "boil_minutes": 60,
    "u_boil_off": 0.1,
    "u_volume": 0.01,
    "grain_mass": 5,
    "extract_potential": 0.8,
}
TOLD = {
    "told_volume": 24,
    "told_temperature": 80,
    "told_gravity": 11.2,
    "told_scale": "°Bx",
    "told_target": 1.055,
    "told_minutes": 60,
    "told_boil_off": 3,
}
KEYS = ("option", "amount", "unit", "gravity", "expanded", "volume", "volume_expanded",
        "bitterness", "words")  # fmt: skip


def line(stage, sg, volume, celsius=20, minute=0):
    return {
        "date": day(2026, 3, 7, 12, minute),
        "batch": "1",
        "stage": stage,
        "instrument": "glass",
        "reading": sg,
        "temperature": 20,
        "volume": volume,
        "volume_temperature": celsius,
    }


def target(sg):
    return [{}, {}, {}, {"gravity": sg}]


BEFORE, AFTER = line("before boil", 1.045, 27), line("after boil", 1.056, 22.5, minute=59)


@pytest.fixture
def brewed(computed):
    def make(*log, choices=None, wanted=1.050, **cells):
        return computed(
            choices,
            cells=SETUP | cells,
            inst=[GLASS],
            check=CHECK,
            log=log,
            target=target(wanted) if wanted else (),
        )

    return make


def end_of(volume, sg, boiled, added_kg=0.0, fraction=0.95, water=0.0):
    """Gravity when so much water is boiled away, and extract or water added."""
    mass = volume * sucrose.from_apparent(sg) / 1000
    water_mass = (water - boiled) * 0.998203
    extract = EXTRACT_MASS(volume, sg) + added_kg * fraction
    return GRAVITY_CONVERT(100 * extract / (mass + water_mass + added_kg), "Plato", "SG")


def test_forecast_and_options_before_and_after_the_boil(brewed):
    book = brewed(BEFORE, AFTER)
    forecast = BOIL_SG(27, 1.045, 60, 4)
    assert book.cell("kettle_volume") == 27
    assert book.cell("kettle_gravity") == pytest.approx(1.045)
    # One reading, and one check with as many doubts.
    assert book.cell("kettle_gravity_expanded") == pytest.approx(2 * 0.0005 * math.sqrt(2))
    assert book.cell("kettle_extract") == pytest.approx(EXTRACT_MASS(27, 1.045))
    assert book.cell("kettle_efficiency") == pytest.approx(MASH_EFFICIENCY(27, 1.045, 5))
    assert book.cell("kettle_forecast") == pytest.approx(forecast)
    after = EXTRACT_MASS(27, 1.045) / EXTRACT_MASS(1, forecast)
    assert book.cell("kettle_forecast_volume") == pytest.approx(after)
    assert book.cell("kettle_lack") is None
    for prefix, options in (
        ("before", KETTLE_OPTIONS(27, 1.045, after, 1.050, 4)),
        ("after", KETTLE_OPTIONS(22.5, 1.056, 22.5, 1.050, 4)),
    ):
        rows = book.table(prefix, *KEYS)
        for row, (name, amount, unit, sg, volume) in zip(rows, options, strict=True):
            assert (row["option"], row["unit"]) == (name, unit)
            if isinstance(amount, str):
                why = amount[2:].replace("target_sg", "target")
                assert row["words"] == f"Not possible: {why}"
                assert {row[key] for key in KEYS[3:8]} | {row["amount"]} == {None}
            else:
                found = [row["amount"], row["gravity"], row["volume"]]
                assert found == pytest.approx([amount, sg, volume], rel=1e-9, abs=1e-9)
                assert row["bitterness"] == pytest.approx(
                    100 * (options[3][4] / volume - 1), abs=1e-9
                )
                assert f"it ends at {sg:.4f} and {volume:.1f} L" in row["words"]
    words = [row["words"] for row in book.table("before", "words")]
    assert words[0].startswith("Boil 19 min less than planned")
    assert words[3].startswith("Boil 60 min as planned")
    late = [row["words"] for row in book.table("after", "words")]
    assert late[2].startswith(f"Add {options[2][1]:.2f} L of water: ")
    assert late[3].startswith("As it is: ")


def test_uncertainty_of_each_option_is_that_of_its_amount_done_to_another_wort(brewed):
    """First order against finite differences of the mass balance itself."""
    for sg, wanted in ((1.045, 1.056), (1.045, 1.050)):
        book = brewed(line("before boil", sg, 27), wanted=wanted)
        log = book.table("log", "u")[0]
        rows = book.table("before", *KEYS)
        steps = book.table("before", "water")
        for row, water in zip(rows, (s["water"] for s in steps), strict=True):
            if row["gravity"] is None:
                continue
            added = {"kg": {"added_kg": row["amount"]}, "L": {"water": row["amount"]}}.get(
                row["unit"], {}
            )
            assert end_of(27, sg, water, **added) == pytest.approx(row["gravity"], abs=2e-5)
            moved = [
                end_of(27 + d * 0.27, sg + e * log["u"], water * (1 + f * 0.1), **added)
                for d, e, f in ((1, 0, 0), (0, 1, 0), (0, 0, 1))
            ]
            u = math.hypot(*(value - end_of(27, sg, water, **added) for value in moved))
            assert row["expanded"] == pytest.approx(2 * u, rel=0.03)
            assert row["volume_expanded"] == pytest.approx(2 * math.hypot(0.27, 0.1 * water))


def test_hot_volume_is_turned_to_20_degrees(brewed):
    book = brewed(line("before boil", 1.045, 28, 75))
    assert book.cell("kettle_volume") == pytest.approx(VOLUME_AT(28, 75, 20, 1.045))


def test_nothing_to_do_when_the_boil_ends_at_the_target(brewed):
    book = brewed(
        BEFORE, line("after boil", 1.050, 23, minute=59), wanted=BOIL_SG(27, 1.045, 60, 4)
    )
    words = [row["words"].split(":")[0] for row in book.table("before", "words")]
    assert words == ["Boil as planned", "No extract needed", "No water needed",
                     "Boil 60 min as planned"]  # fmt: skip
    equal = brewed(BEFORE, line("after boil", 1.050, 23, minute=59), wanted=1.050)
    words = [row["words"].split(":")[0] for row in equal.table("after", "words")]
    assert words == ["No boil needed", "No extract needed", "No water needed", "As it is"]
    assert [row["amount"] for row in equal.table("after", "amount")] == pytest.approx([0] * 4)


def test_target_that_the_extract_cannot_reach(brewed):
    book = brewed(BEFORE, wanted=1.100, extract_fraction=0.2)
    assert "out of reach of extract_fraction 0.2" in book.table("before", "words")[1]["words"]


def test_boil_off_larger_than_the_volume_is_named(brewed):
    book = brewed(BEFORE, boil_off=30)
    text = "! boil-off 30 (60 minutes at 30 an hour) is not below volume 27"
    assert book.cell("kettle_forecast") == text
    assert {row["words"] for row in book.table("before", "words")} == {text}
    assert {row["gravity"] for row in book.table("before", "gravity")} == {None}


def test_volume_of_zero_is_named(brewed):
    book = brewed(
        line("before boil", 1.045, 0), told_volume=0, told_gravity=1.045, told_target=1.05
    )
    for prefix in ("before", "rescue"):
        assert book.table(prefix, "words")[0]["words"] == "! volume 0 is not above 0"


def test_what_does_not_fit_into_the_kettle_is_said(brewed):
    book = brewed(BEFORE, line("after boil", 1.070, 22.5, minute=59), kettle_size=24.5)
    assert book.cell("kettle_lack") == "the kettle on Setup is too small for that volume"
    water = book.table("after", "words", "volume")[2]
    assert water["volume"] * HOT > 24.5
    assert f"Not in this kettle: it would stand at {water['volume'] * HOT:.1f} L" in water["words"]
    assert "Not in this kettle" not in book.table("after", "words")[3]["words"]


@pytest.mark.parametrize(
    ("log", "cells", "said"),
    [
        ((), {}, "write the brew day in the log"),
        ((AFTER,), {}, "the log lacks a line “before boil”"),
        ((line("before boil", 1.045, None),), {}, "the log lacks a line “before boil”"),
        ((BEFORE,), {"boil_off": None}, "enter the boil-off on Setup"),
        ((BEFORE,), {"wanted": None}, "enter the target gravity after the boil on Setup"),
    ],
)
def test_what_is_missing_is_said(brewed, log, cells, said):
    book = brewed(*log, **cells)
    assert book.cell("kettle_lack").startswith(said)
    assert {row["words"] for row in book.table("before", "words")} == {None}


def test_rescue_corner_from_what_somebody_tells(brewed):
    book = brewed(**TOLD)
    volume, sg = VOLUME_AT(24, 80, 20, WORT_SG(11.2)), WORT_SG(11.2)
    end = EXTRACT_MASS(volume, sg) / EXTRACT_MASS(1, BOIL_SG(volume, sg, 60, 3))
    options = KETTLE_OPTIONS(volume, sg, end, 1.055, 3)
    rows = book.table("rescue", *KEYS)
    for row, (name, amount, _, _, ends) in zip(rows, options, strict=True):
        assert row["option"] == name
        if not isinstance(amount, str):
            assert [row["amount"], row["volume"]] == pytest.approx([amount, ends], rel=1e-7)
    assert rows[1]["words"].startswith(f"Add {options[1][1]:.2f} kg of dry extract after the boil")
    assert "water cannot raise a gravity" in rows[2]["words"]


def test_rescue_corner_in_us_units_tells_the_same(brewed):
    metric = brewed(**TOLD).table("rescue", *KEYS)
    us = brewed(
        choices=Choices(rows=20, units="us"),
        **TOLD
        | {
            "told_volume": units.convert(24, "L", "US gal"),
            "told_temperature": 176,
            "told_boil_off": units.convert(3, "L", "US gal"),
        },
    ).table("rescue", *KEYS)
    for a, b in zip(metric, us, strict=True):
        if a["amount"] is None:
            assert b["amount"] is None
            continue
        unit = {"lb": "kg", "US gal": "L"}.get(b["unit"])
        amount = units.convert(b["amount"], b["unit"], unit) if unit else b["amount"]
        assert amount == pytest.approx(a["amount"], rel=1e-7)
        assert b["gravity"] == pytest.approx(a["gravity"])
        assert b["expanded"] == pytest.approx(a["expanded"])


@pytest.mark.parametrize(
    ("scale", "gravity"),
    [("SG", WORT_SG(11.2)), ("°Plato", 11.2 / 1.04)],
)
def test_a_gravity_may_be_told_on_any_scale(brewed, scale, gravity):
    assert scale in kettle.SCALES
    book = brewed(**TOLD | {"told_scale": scale, "told_gravity": gravity})
    assert book.table("pot", "sg")[2]["sg"] == pytest.approx(WORT_SG(11.2), abs=1e-7)
    assert book.table("pot", "extract")[2]["extract"] == pytest.approx(
        EXTRACT_MASS(VOLUME_AT(24, 80, 20, WORT_SG(11.2)), WORT_SG(11.2)), rel=1e-6
    )


def test_targets_in_plato(brewed):
    plato = GRAVITY_CONVERT(1.050, "SG", "Plato")
    book = brewed(BEFORE, choices=Choices(rows=20, gravity="plato"), wanted=plato)
    row = book.table("before", *KEYS)[0]
    assert row["gravity"] == pytest.approx(plato)
    assert 0.3 < row["expanded"] < 0.9
    assert "it ends at 12.4 and" in row["words"]
    why = book.table("before", "words")[1]["words"]
    assert why == "Not possible: extract cannot lower a gravity"
