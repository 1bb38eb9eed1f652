"""Kettle sheet: forecast and options before and after the boil, from the log and the plan."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.workbook.conftest import GLASS, SMALL, day
from xlfuncs.functions.brewday import BOIL_SG, KETTLE_OPTIONS, MASH_EFFICIENCY
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.volumes import EXTRACT_MASS, VOLUME_AT
from xlfuncs.science import sucrose, units
from xlfuncs.workbook import words
from xlfuncs.workbook.defaults import HOT

CHECK = [{"instrument": "glass", "date": day(2026, 3, 1), "temperature": 20, "shown_1": 1.0}]
SETUP = {"boil_off": 4, "set_minutes": 60}
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


BEFORE = line(words.BEFORE_BOIL, 1.045, 27)
AFTER = line(words.AFTER_BOIL, 1.056, 22.5, minute=59)


@pytest.fixture
def brewed(computed):
    def make(*log, choices=None, wanted=1.050, batch=None, inst=GLASS, check=CHECK, **cells):
        plan = {"name": "1", "grain": 5, "potential": 0.8, "after_boil_gravity": wanted}
        return computed(
            choices,
            cells=SETUP | cells,
            inst=[inst],
            check=check,
            log=log,
            batch=[plan | (batch or {})],
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
    assert book.cell("kettle_expanded") == pytest.approx(book.column("log_expanded")[0])
    assert book.cell("kettle_volume_expanded") == pytest.approx(0.54)
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
    said = [row["words"] for row in book.table("before", "words")]
    assert said[0].startswith("Boil 19 min less than planned")
    assert said[3].startswith("Boil 60 min as planned")
    late = [row["words"] for row in book.table("after", "words")]
    assert late[2].startswith(f"Add {options[2][1]:.2f} L of water: ")
    assert late[3].startswith("As it is: ")
    assert book.cell("kettle_answer") == f"After the boil: add {options[2][1]:.2f} L of water."
    assert book.cell("log_answer").endswith(f"; add {options[2][1]:.2f} L of water")


def test_uncertainty_of_each_option_is_that_of_its_amount_done_to_another_wort(brewed):
    """First order against finite differences of the mass balance itself."""
    for wanted in (1.056, 1.050):
        book = brewed(BEFORE, wanted=wanted)
        u = book.column("log_u")[0]
        rows = book.table("before", *KEYS)
        for row, water in zip(rows, book.column("before_water"), strict=True):
            if row["gravity"] is None:
                continue
            added = {"kg": {"added_kg": row["amount"]}, "L": {"water": row["amount"]}}.get(
                row["unit"], {}
            )
            end = end_of(27, 1.045, water, **added)
            assert end == pytest.approx(row["gravity"], abs=2e-5)
            moved = [
                end_of(27 + d * 0.27, 1.045 + e * u, water * (1 + f * 0.1), **added)
                for d, e, f in ((1, 0, 0), (0, 1, 0), (0, 0, 1))
            ]
            whole = math.hypot(*(value - end for value in moved))
            assert row["expanded"] == pytest.approx(2 * whole, rel=0.03)
            assert row["volume_expanded"] == pytest.approx(2 * math.hypot(0.27, 0.1 * water))


def test_hot_volume_is_turned_to_20_degrees(brewed):
    book = brewed(line(words.BEFORE_BOIL, 1.045, 28, 75))
    assert book.cell("kettle_volume") == pytest.approx(VOLUME_AT(28, 75, 20, 1.045))


@pytest.mark.parametrize("where", ["before", "after"])
def test_a_volume_may_stand_on_a_line_of_its_own(brewed, where):
    gravity = line(words.BEFORE_BOIL, 1.045, None, None, 5)
    minute = {"before": 1, "after": 9}[where]
    volume = line(words.BEFORE_BOIL, None, 27, 20, minute) | {"temperature": None}
    book = brewed(gravity, volume)
    assert (book.cell("kettle_volume"), book.cell("kettle_lack")) == (27, None)
    assert book.cell("kettle_efficiency") == pytest.approx(MASH_EFFICIENCY(27, 1.045, 5))
    assert book.cell("kettle_forecast") == pytest.approx(BOIL_SG(27, 1.045, 60, 4))


@pytest.mark.parametrize(
    ("wanted", "option", "says"),
    [
        (1.0525, 3, "boil as planned"),
        (1.050, 0, "boil {:.0f} min less than planned"),
        (1.060, 0, "boil {:.0f} min longer than planned"),
        (1.044, 2, "add {:.2f} L of water after the boil"),
    ],
)
def test_the_head_of_the_log_says_what_to_do_before_the_boil(brewed, wanted, option, says):
    book = brewed(BEFORE, wanted=wanted)
    end = EXTRACT_MASS(27, 1.045) / EXTRACT_MASS(1, BOIL_SG(27, 1.045, 60, 4))
    says = says.format(KETTLE_OPTIONS(27, 1.045, end, wanted, 4)[option][1])
    assert book.cell("before_says") == says
    assert book.cell("log_answer").endswith(f" · before boil: {says}")
    assert book.cell("kettle_answer") == f"Before the boil: {says}."


@pytest.mark.parametrize(
    ("sg", "says"),
    [
        (1.0515, "leave it as it is"),
        (1.054, "add {2:.2f} L of water"),
        (1.045, "add {1:.2f} kg of dry extract or boil {0:.0f} min more"),
    ],
)
def test_the_head_of_the_log_says_what_to_do_after_the_boil(brewed, sg, says):
    book = brewed(line(words.AFTER_BOIL, sg, 22.5))
    amounts = [row[1] for row in KETTLE_OPTIONS(22.5, sg, 22.5, 1.050, 4)]
    says = says.format(*(math.nan if isinstance(one, str) else one for one in amounts))
    assert book.cell("after_says") == says
    assert book.cell("kettle_answer") == f"After the boil: {says}."


def test_minutes_of_the_batch_come_before_those_of_setup(brewed):
    book = brewed(BEFORE, batch={"minutes": 90})
    assert book.cell("kettle_forecast") == pytest.approx(BOIL_SG(27, 1.045, 90, 4))
    assert book.cell("kettle_minutes") == 90


def test_nothing_to_do_when_the_boil_ends_at_the_target(brewed):
    equal = BOIL_SG(27, 1.045, 60, 4)
    book = brewed(BEFORE, line(words.AFTER_BOIL, equal, 23, minute=59), wanted=equal)
    said = [row["words"].split(":")[0] for row in book.table("before", "words")]
    assert said == ["Boil as planned", "No extract needed", "No water needed",
                    "Boil 60 min as planned"]  # fmt: skip
    said = [row["words"].split(":")[0] for row in book.table("after", "words")]
    assert said == ["No boil needed", "No extract needed", "No water needed", "As it is"]
    assert book.column("after_amount") == pytest.approx([0] * 4, abs=1e-6)


def test_target_that_the_extract_cannot_reach(brewed):
    book = brewed(BEFORE, wanted=1.100, set_fraction=0.2)
    assert "out of reach of extract_fraction 0.2" in book.column("before_words")[1]


def test_boil_off_larger_than_the_volume_is_named(brewed):
    book = brewed(BEFORE, boil_off=30)
    text = "! boil-off 30 (60 minutes at 30 an hour) is not below volume 27"
    assert set(book.column("before_words")) == {text}
    assert set(book.column("before_gravity")) == {None}
    assert book.cell("before_says") is None


def test_volume_of_zero_is_named(brewed):
    book = brewed(line(words.BEFORE_BOIL, 1.045, 0))
    assert book.column("before_words")[0] == "! volume 0 is not above 0"


def test_what_does_not_fit_into_the_kettle_is_said(brewed):
    late = line(words.AFTER_BOIL, 1.070, 22.5, minute=59)
    book = brewed(BEFORE, late, kettle_size=24.5)
    assert book.cell("kettle_lack") == "the kettle on Setup is too small for that volume"
    water = book.table("after", "words", "volume")[2]
    assert water["volume"] * HOT > 24.5
    assert f"Not in this kettle: it would stand at {water['volume'] * HOT:.1f} L" in water["words"]
    assert "Not in this kettle" not in book.column("after_words")[3]


@pytest.mark.parametrize(
    ("log", "cells", "said"),
    [
        ((), {}, "choose a batch on Batches, or write the brew day in the log"),
        ((line(words.MASH, 1.04, 5),), {}, "the log lacks a line “before boil”"),
        ((line(words.BEFORE_BOIL, 1.045, None),), {}, "the log lacks a line “before boil”"),
        ((BEFORE,), {"boil_off": None}, "type the boil-off on Setup"),
        ((BEFORE,), {"wanted": None}, "type the gravity after boil on Batches"),
    ],
)
def test_what_is_missing_is_said(brewed, log, cells, said):
    book = brewed(*log, **cells)
    assert book.cell("kettle_lack").startswith(said)
    assert book.cell("kettle_answer").startswith(said[0].upper() + said[1:])
    assert set(book.column("before_words")) == {None}


def test_us_units_tell_the_same(brewed):
    metric = brewed(BEFORE, AFTER).table("after", *KEYS)
    gallons = [
        entry
        | {
            "volume": units.convert(entry["volume"], "L", "US gal"),
            "temperature": 68,
            "volume_temperature": 68,
        }
        for entry in (BEFORE, AFTER)
    ]
    us = brewed(
        *gallons,
        choices=replace(SMALL, units="us"),
        inst=GLASS | {"reference": 68},
        check=[CHECK[0] | {"temperature": 68}],
        boil_off=units.convert(4, "L", "US gal"),
    ).table("after", *KEYS)
    for a, b in zip(metric, us, strict=True):
        if a["amount"] is None:
            assert b["amount"] is None
            continue
        unit = {"lb": "kg", "US gal": "L"}.get(b["unit"])
        amount = units.convert(b["amount"], b["unit"], unit) if unit else b["amount"]
        assert amount == pytest.approx(a["amount"], rel=1e-3)
        assert b["gravity"] == pytest.approx(a["gravity"], abs=1e-6)
        assert b["expanded"] == pytest.approx(a["expanded"], rel=1e-2)


def test_targets_in_plato(brewed):
    plato = GRAVITY_CONVERT(1.050, "SG", "Plato")
    choices = replace(SMALL, gravity="plato")
    book = brewed(BEFORE, choices=choices, wanted=plato)
    row = book.table("before", *KEYS)[0]
    assert row["gravity"] == pytest.approx(plato)
    assert 0.3 < row["expanded"] < 0.9
    assert "it ends at 12.4 and" in row["words"]
    why = book.column("before_words")[1]
    assert why == "Not possible: extract cannot lower a gravity"


def test_an_unfilled_sheet_shows_no_figures(computed):
    book = computed()
    for prefix in ("before", "after"):
        for row in book.table(prefix, *KEYS):
            assert set(row.values()) == {None}
        assert book.cell(f"{prefix}_says") is None
    for name in ("volume", "gravity", "extract", "efficiency", "forecast", "forecast_volume"):
        assert book.cell(f"kettle_{name}") is None
