"""Sheet and audit compute the same from the same entries, each by its own way."""

from __future__ import annotations

import datetime
import functools
import random
from typing import NamedTuple

import openpyxl
import pytest
from openpyxl.utils import rows_from_range

from tests.audit.conftest import computed_file
from tests.audit.test_rules import codes
from tests.workbook.conftest import FIELD, GLASS, SPINDLE, TODAY, day, reading, water_check
from xlfuncs.audit import record, run, setup
from xlfuncs.audit.findings import FileAudit
from xlfuncs.audit.record import Record
from xlfuncs.files import problems
from xlfuncs.workbook import words
from xlfuncs.workbook.words import Choices

UNITS = [("metric", "sg"), ("metric", "plato"), ("us", "sg"), ("us", "plato")]
#: What stands on both: name of the log's column, and of the reading's attribute.
BOTH = {"log_sg": "sg", "log_u": "u", "log_volume_20": "volume", "log_verdict": "verdict",
        "log_volume_verdict": "volume_verdict"}  # fmt: skip


class Agreement(NamedTuple):
    """How many lines of the log were compared, and what was read for it."""

    lines: int
    record: Record
    audit: FileAudit


def assert_agreement(shown, today=TODAY):
    """Line by line: gravity, its doubt, the volume and both verdicts, refusals word by word."""
    with pytest.MonkeyPatch.context() as patch:  # the file is read once
        patch.setattr(record, "typed", functools.cache(record.typed))
        kept = record.understood(record.typed(problems.read(shown.path)))
        audit = run.audit(shown.path, today)
        assert record.typed.cache_info().misses == 1
    found = {one.cell.address: one for one in kept.readings}
    _, place = shown.place("log_reading")
    cells = [cell for (cell,) in rows_from_range(place)]
    compared = 0
    for cell, line in zip(cells, shown.lines({name: name for name in BOTH}), strict=True):
        if cell not in found:
            assert set(line.values()) <= {None, ""}, (cell, line)
            continue
        compared += 1
        for name, attribute in BOTH.items():
            told, computed = line[name] or "", getattr(found[cell], attribute) or ""
            if isinstance(told, float) and isinstance(computed, float):
                assert told == pytest.approx(computed, rel=1e-7), (cell, name)
            else:
                assert told == computed, (cell, name)
    assert not {"gravity-changed", "verdict-changed"} & {code for code, _ in codes(audit)}
    return Agreement(compared, kept, audit)


# --- many entries at once, from seeded numbers ---

TOOLS = (
    {"name": "field", "kind": "refractometer", "fine": 0.1, "tolerated": 0.2},
    {"name": "bench", "compensated": "yes", "scale": "Brix", "division": 0.2},
    {"name": "sugar", "kind": "refractometer", "scale": "SG", "fine": 0.0005},
    {"name": "glass", "kind": "hydrometer", "scale": "SG", "reference": 20, "fine": 0.0005},
    {"name": "jug", "kind": "hydrometer", "material": "plastic", "reference": 15.56},
    {"name": "spindle", "kind": "hydrometer", "scale": "Plato", "fine": 0.1},
    {"name": "20/4", "kind": "hydrometer", "scale": "SG", "reference": 20, "water": 4},
    {"name": "floater", "kind": "floating hydrometer", "scale": "SG"},
    {"name": "afloat", "kind": "floating hydrometer", "scale": "Plato"},
    {"name": "probe", "kind": "thermometer"},
)
IN_WATER = {"sugar": 1.0, "glass": 1.0, "jug": 1.0, "20/4": 0.9982, "floater": 1.0}
WRONG = (None, "", " ", "x", "12,4", " 12.4 ", True, 0, -1, 1e6, "=1/0", "=NA()", '=""')
WRONG_DATES = (None, " ", "7 March", "2026-03-07", 0.3, -1, 45000.5, True, "=1/0")
SPELT = {
    "set_temperature": ("f", " °F ", "Fahrenheit", "c", 0.3, None),
    "set_gravity": ("plato", " °P ", "P", "sg", 0.3, None),
    "set_volume": ("l", "US gal", "stone", 0.3, None),
    "set_source": ("own", " Own ", "common"),
    "set_beer_source": ("own", "OWN "),
    "set_beer_wort_factor": (1.03, "1.03", "=NA()", None),
    "set_beer_u_wort_factor": (0.003, "x", None),
    "set_beer_alcohol_factor": (0.97, "0.97", None),
    "set_beer_u_model": (0.002, 0, "x", "=1/0"),
    "set_wort_factor": (1.03, "1.03", 0.3, None),
    "set_tolerance_volume": (1.0, 0, None, -1, 1e300),
    "set_tolerance": (0.003, 0, 0.3, 1e300, "x"),
    "set_u_volume": (0.02, -1, 1e300, "1,05"),
    "set_u_temperature": (1, 21, -3, None),
    "set_potential": (0.78, 78, "x"),
}


class Hands:
    """Entries of a brewer; clumsy ones spoil cells, and spell names in their own ways."""

    def __init__(self, seed, clumsy):
        self.random = random.Random(seed)
        self.clumsy = clumsy

    def often(self, share):
        return self.random.random() < share

    def number(self, value, wrong=WRONG):
        return self.random.choice(wrong) if self.clumsy and self.often(0.08) else value

    def word(self, value):
        if not (self.clumsy and self.often(0.3)):
            return value
        return self.random.choice([value.upper(), f" {value}", f"{value} ", value.title()])

    def name(self, value):
        wrong = (None, "", " ", "lost", 12, "=1/0")
        return self.random.choice(wrong) if self.clumsy and self.often(0.04) else self.word(value)

    def instruments(self):
        tools = [{key: self.word(value) if isinstance(value, str) else self.number(value)
                  for key, value in tool.items()} for tool in TOOLS]  # fmt: skip
        self.random.shuffle(tools)
        return tools

    def near(self, value, is_sg):
        return self.number(round(value + self.random.gauss(0, 0.001 if is_sg else 0.1), 4))

    def check(self):
        name = self.random.choice(TOOLS)["name"]
        is_sg = name in IN_WATER
        date = day(2026, self.random.choice((1, 2, 3)), self.random.randrange(1, 28),
                   self.random.choice((0, 0, 9, 14)))  # fmt: skip
        line = {"instrument": self.name(name), "date": self.number(date, WRONG_DATES),
                "temperature": self.number(self.random.choice((None, 20, 24)))}  # fmt: skip
        if self.often(0.85):
            line["shown_1"] = self.near(IN_WATER.get(name, 0.0), is_sg)
        for point, known in ((2, 1.04 if is_sg else 10.0), (3, 1.08 if is_sg else 20.0)):
            if self.often(0.4):
                line |= {f"shown_{point}": self.near(known, is_sg),
                         f"known_{point}": self.number(known)}  # fmt: skip
        if self.often(0.3):
            line["made_of"] = self.word("malt extract")
        if self.often(0.2):
            line["as"] = self.word("as left")
        if self.clumsy and self.often(0.15):
            line["known_in"] = self.random.choice(("SG", "sg", "plato", " °P", "Bx", "°Bx"))
        return line

    def batch(self, number):
        line = {"name": self.random.choice((str(number), number, f"no {number}")),
                "date": self.number(day(2026, 3, number), WRONG_DATES),
                "grain": self.number(5.0)}  # fmt: skip
        for stage in words.PLANNED:
            key = words.key(stage)
            if self.often(0.7):
                line[f"{key}_gravity"] = self.number(self.random.choice((1.012, 1.045, 1.05)))
            if self.often(0.5) and stage != words.PACKAGED:
                line[f"{key}_volume"] = self.number(25.0)
        if self.often(0.4):
            line["tolerance"] = self.number(0.004)
        if self.often(0.4):
            line["tolerance_volume"] = 0.5
        return line

    def reading(self, batches):
        name, stage = self.random.choice(TOOLS)["name"], self.random.choice(words.STAGES)
        batch = self.random.choice(batches)["name"]
        beer = stage in (words.FERMENTING, words.PACKAGED)
        value = (self.random.choice((1.012, 1.02, 1.045, 1.055)) if name in IN_WATER else
                 self.random.choice((5.9, 6.6, 8.0) if beer else (9.0, 11.0, 12.2)))  # fmt: skip
        date = day(2026, 3, self.random.randrange(1, 28), self.random.choice((0, 10, 15)))
        line = {"date": self.number(date, WRONG_DATES), "stage": self.name(stage),
                "batch": self.name(batch) if isinstance(batch, str) else batch,
                "instrument": self.name(name), "reading": self.number(value),
                "temperature": self.number(self.random.choice((20, 24, 18, None)))}  # fmt: skip
        if self.often(0.4):
            line["volume"] = self.number(self.random.choice((24.5, 25.1, 27.0)))
            line["volume_temperature"] = self.number(self.random.choice((20, 60, 90, None)))
        return line

    def settings(self):
        share = 0.3 if self.clumsy else 0.0
        return {name: self.random.choice(some) for name, some in SPELT.items() if self.often(share)}


@pytest.mark.parametrize(("units", "gravity"), UNITS)
@pytest.mark.parametrize("clumsy", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_on_many_entries(tmp_path, units, gravity, clumsy, seed):
    hands = Hands(f"{seed}{units}{gravity}", clumsy)
    batches = [hands.batch(number) for number in range(1, 6)]
    with computed_file(
        tmp_path / "log.xlsx",
        stored=True,
        choices=Choices(rows=30, checks=20, instruments=10, units=units, gravity=gravity),
        cells=hands.settings(),
        inst=hands.instruments(),
        check=[hands.check() for _ in range(20)],
        batch=batches,
        log=[hands.reading(batches) for _ in range(30)],
    ) as shown:
        assert assert_agreement(shown).lines > 15


AFTERWARDS = datetime.date(2026, 4, 1)  # the example has ended


@pytest.mark.parametrize(("units", "gravity"), UNITS)
@pytest.mark.parametrize("source", [words.COMMON, words.OWN])
def test_the_example_shows_what_its_entries_give(tmp_path, units, gravity, source):
    """With its own factors too: all that is found is what it has on purpose."""
    path = tmp_path / "example.xlsx"
    with computed_file(
        path,
        stored=True,
        today=AFTERWARDS,
        choices=Choices(rows=70, example=True, units=units, gravity=gravity),
        cells={"set_source": source, "set_beer_source": source},
    ) as shown:
        lines, kept, audit = assert_agreement(shown, AFTERWARDS)
    assert lines > 60
    assert (kept.settings.wort_factor != kept.settings.common_factor) is (source == words.OWN)
    assert {code for code, _ in codes(audit)} == ON_PURPOSE


#: A check that found the refractometer after its fall, and readings long after a check.
ON_PURPOSE = {"outside-tolerance", "check-overdue"}


# --- one thing at a time ---

EARLY = day(2026, 2, 20)


@pytest.mark.parametrize("hour", [0, 8, 12])
@pytest.mark.parametrize(
    "dates",
    [
        (day(2026, 3, 1), day(2026, 3, 1)),
        (day(2026, 3, 1, 9), day(2026, 3, 1, 10)),
        (day(2026, 3, 1, 10), day(2026, 3, 1, 9)),
        (day(2026, 3, 1), day(2026, 3, 1, 9)),
    ],
)
@pytest.mark.parametrize("states", [(None, None), ("as left", "as found")])
def test_of_two_checks_on_one_day_the_one_of_the_sheet_counts(tmp_path, hour, dates, states):
    checks = [
        water_check(FIELD, date, offset) | {"as": state}
        for date, offset, state in zip(dates, (0.1, -0.1), states, strict=True)
    ]
    log = [reading(FIELD, 12, day(2026, 3, 1, hour))]
    checks = [water_check(FIELD, EARLY, 0.0), *checks]
    with computed_file(tmp_path / "log.xlsx", inst=[FIELD], check=checks, log=log) as shown:
        assert assert_agreement(shown).lines == 1


def test_malt_extract_leans_on_the_common_factor(tmp_path):
    """Whatever factor is in use for wort: own ones come of readings that were checked."""
    check = {"instrument": "field", "date": EARLY, "shown_1": 0.1, "shown_2": 10.5, "known_2": 10.0,
             "made_of": "malt extract"}  # fmt: skip
    pairs = [line for shown, sg in ((12.0, 1.0489), (14.0, 1.0574), (10.0, 1.0405)) for line in (
        reading(FIELD, shown), reading(GLASS, sg))]  # fmt: skip
    with computed_file(
        tmp_path / "log.xlsx", stored=True, cells={"set_source": "own", "set_wort_factor": 1.05},
        inst=[FIELD, GLASS], check=[check, water_check(GLASS, EARLY, 0.0)], log=pairs,
    ) as shown:  # fmt: skip
        agreement = assert_agreement(shown)
    assert agreement.lines == 6
    assert agreement.record.settings.wort_factor != 1.05


@pytest.mark.parametrize("factor", [1.03, None])
@pytest.mark.parametrize("source", [words.COMMON, words.OWN])
def test_typed_factors_for_beer_count_on_both(tmp_path, factor, source):
    """Whether or not they share a doubt with the factor of the wort, read on one refractometer."""
    typed = {"set_beer_wort_factor": factor, "set_beer_u_wort_factor": 0.005,
             "set_beer_alcohol_factor": 0.96, "set_beer_u_model": 0.002}  # fmt: skip
    log = [reading(FIELD, 12.4, stage="into fermenter"), reading(FIELD, 6.6, stage="fermenting")]
    with computed_file(
        tmp_path / "log.xlsx", stored=True, inst=[FIELD], batch=[{"name": "1"}], log=log,
        check=[water_check(FIELD, EARLY, 0.0)], cells=typed | {"set_beer_source": source},
    ) as shown:  # fmt: skip
        agreement = assert_agreement(shown)
    assert agreement.lines == 2
    settings = agreement.record.settings
    assert (settings.beer_wort_factor, settings.alcohol_factor) == (factor or 1.04, 0.96)
    assert (settings.beer_u_wort_factor, settings.u_model) == (0.005, 0.002)


def test_a_workbook_of_before_the_typed_factors_for_beer_is_read(tmp_path):
    path = tmp_path / "log.xlsx"
    log = [reading(FIELD, 12.4, stage="into fermenter"), reading(FIELD, 6.6, stage="fermenting")]
    with computed_file(path, stored=True, inst=[FIELD], batch=[{"name": "1"}], log=log) as shown:
        book = openpyxl.load_workbook(shown.path)
        for name in setup.LATER:
            del book.defined_names[name]
        book.save(path)
    kept = record.read(path)
    assert [isinstance(one.sg, float) for one in kept.readings] == [True, True]
    assert (kept.settings.beer_wort_factor, kept.settings.alcohol_factor) == (1.04, 1)


def test_a_plan_stands_in_for_an_original(tmp_path):
    plan = [{"name": "1", "into_fermenter_gravity": 12.4}, {"name": "2"}]
    log = [reading(FIELD, 6.6, batch=batch, stage="fermenting") for batch in "12"]
    with computed_file(
        tmp_path / "log.xlsx", choices=Choices(rows=20, gravity="plato"), inst=[FIELD, SPINDLE],
        batch=plan, check=[water_check(FIELD, EARLY, 0.0)], log=log,
    ) as shown:  # fmt: skip
        agreement = assert_agreement(shown)
    assert agreement.lines == 2
    first, second = agreement.record.readings
    assert isinstance(first.sg, float)
    assert second.sg is None or str(second.sg).startswith("! ")
