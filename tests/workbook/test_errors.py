"""An error that somebody typed or pasted into a cell: it is named, and it stays in its line."""

import openpyxl
import pytest

from tests.audit.conftest import cells_of, filled  # noqa: F401
from tests.helpers import run
from tests.workbook.conftest import BATCH, FIELD, GLASS, day, fill, reading, water_check
from xlfuncs.audit import run as audit
from xlfuncs.hosts import embedded
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.workbook import build, words
from xlfuncs.workbook.words import Choices

NOT_THERE = ERRORS["#N/A"]
CHECKS = (
    water_check(FIELD, day(2026, 3, 1), 0.1),
    water_check(GLASS, day(2026, 3, 1), 0.001),
)
LOG = (
    reading(FIELD, 12, volume=20, volume_temperature=20),
    reading(GLASS, 1.048, stage="into fermenter"),
)


def shown(book, name):
    """What a column shows, but its blanks."""
    return [cell for cell in book.column(name) if cell is not None]


@pytest.mark.parametrize("key", ["kind", "scale", "material", "compensated"])
def test_in_the_line_of_an_instrument(computed, key):
    sound = computed(inst=[FIELD, GLASS], check=CHECKS, batch=[BATCH], log=LOG)
    book = computed(inst=[FIELD, GLASS | {key: NOT_THERE}], check=CHECKS, batch=[BATCH], log=LOG)
    assert book.column("log_sg")[0] == sound.column("log_sg")[0]
    assert book.column("log_sg")[1] is None
    assert book.column("log_remark")[1].startswith(
        "its kind on Setup is none, or an error stands there"
    )
    assert shown(book, "inst_is") == ["refractometer", words.BROKEN]
    assert shown(book, "state_status")[0] == shown(sound, "state_status")[0]
    pages = ("log_gravity", "log_tells", "log_verdict", "state_status", "state_due",
             "check_verdict", "check_offset", "inst_every", "card_remark")  # fmt: skip
    told = [cell for name in pages for cell in shown(book, name)]
    assert not [cell for cell in told if str(cell).startswith("#")]


def test_in_a_word_of_a_check(computed):
    good = [*CHECKS, CHECKS[0] | {"date": day(2026, 3, 2)}]
    for key in ("known_in", "made_of", "as"):
        bad = [*CHECKS, CHECKS[0] | {"date": day(2026, 3, 2), key: NOT_THERE}]
        book = computed(inst=[FIELD, GLASS], check=bad, batch=[BATCH], log=LOG)
        assert book.column("check_offset")[2] == "! this line holds an error"
        sound = computed(inst=[FIELD, GLASS], check=good[:2], batch=[BATCH], log=LOG)
        assert book.column("log_sg") == sound.column("log_sg")


@pytest.mark.parametrize("name", ["set_source", "set_beer_source"])
def test_where_the_factors_are_chosen(computed, name):
    sound = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH], log=LOG[:1])
    book = computed(cells={name: NOT_THERE}, inst=[FIELD], check=CHECKS[:1], batch=[BATCH],
                    log=LOG[:1])  # fmt: skip
    assert book.cell("factors_remark") == "an error stands above: the common factors are in use"
    assert book.column("log_sg") == sound.column("log_sg")


def test_where_lines_take_it_for_a_blank(computed):
    """As a text there: the usual tolerance, the usual intervals, no reading left out."""
    sound = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH], log=LOG[:1])
    book = computed(
        cells={"interval_by_history": NOT_THERE, "chart_instrument": NOT_THERE},
        inst=[FIELD],
        check=CHECKS[:1],
        batch=[BATCH | {"tolerance_volume": NOT_THERE}],
        log=[LOG[0] | {"leave": NOT_THERE}],
    )
    for name in ("log_sg", "log_verdict", "log_volume_verdict", "state_due", "state_status"):
        assert book.column(name) == sound.column(name)


def test_in_a_line_of_the_log(computed):
    for key in ("batch", "stage", "temperature", "ph"):
        book = computed(inst=[FIELD], check=CHECKS[:1], batch=[BATCH],
                        log=[LOG[0] | {key: NOT_THERE}, LOG[0]])  # fmt: skip
        assert book.column("log_remark")[0] == "an error was typed"
        assert isinstance(book.column("log_sg")[1], float)


def test_the_audit_and_the_report_say_so(tmp_path):
    book = build.build(Choices(rows=20, checks=20))
    fill(book, inst=[FIELD, GLASS], check=CHECKS, batch=[BATCH], log=LOG)
    path = tmp_path / "log.xlsx"
    path.write_bytes(build.to_bytes(book))
    title, address = cells_of(path, "inst_kind")[1]
    book = openpyxl.load_workbook(path)
    book[title][address] = "#N/A"
    book.save(path)
    assert embedded.calculate(path).failures == []
    assert words.BROKEN in run("report", path)
    found = audit.audit(path, day(2026, 3, 14).date()).findings
    assert {one.cell for one in found if one.code == "no-gravity"} == {
        cells_of(path, "log_reading")[1][1]
    }


# --- what is no number ------------------------------


@pytest.mark.parametrize("true", ["10,0", "ten", None])
def test_a_true_value_that_is_no_number_is_named_beside_the_check(computed, true):
    solution = CHECKS[0] | {"shown_2": 10.1, "known_2": true}
    book = computed(inst=[FIELD], check=[solution, CHECKS[0]])
    assert book.column("check_verdict")[0] == "a true value is missing or no number"
    assert book.column("check_offset")[:2] == pytest.approx([0.1, 0.1])
    assert book.column("check_verdict")[1] == "probably within"
    alone = {**solution, "shown_1": None}
    told = computed(inst=[FIELD], check=[alone]).column("check_verdict")[0]
    assert told == "a true value is missing or no number"


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize(
    ("unit", "said"),
    [("stone", "no unit: nothing is reckoned with volumes"), ("hL", "of every volume you type")],
)
def test_a_unit_of_volume_that_is_none_is_named_beside_it(computed, plain, unit, said):
    book = computed(Choices(rows=20, checks=20, plain=plain), {"set_volume": unit})
    title, cell = book.place("set_volume")
    assert said in [value for (sheet, at), value in book._values.items()
                    if sheet == title and at.endswith(cell[1:])]  # fmt: skip


@pytest.mark.parametrize("unit", words.VOLUME_UNITS)
def test_a_planned_volume_that_is_a_text_is_refused_in_words(computed, unit):
    """Not multiplied by the unit, which would give an error, and no verdict is made of it."""
    book = computed(
        cells={"set_volume": unit},
        inst=[FIELD],
        check=CHECKS[:1],
        batch=[BATCH | {"before_boil_gravity": 1.046, "before_boil_volume": "5 gal"}],
        log=LOG[:1],
    )
    planned = {line[1] for line in book.block("target_litres")}
    assert planned == {None, "! planned volume 5 gal is not a number"}
    assert book.column("log_volume_verdict")[0] is None
    assert book.column("log_verdict")[0] is not None
    assert isinstance(book.column("log_volume_20")[0], float)


def test_a_true_value_out_of_reach_is_refused(computed, filled):  # noqa: F811
    """1e300 overflowed in the audit, and its check counts nowhere."""
    tables = {"inst": [FIELD], "batch": [BATCH], "log": LOG[:1],
              "check": [CHECKS[0], CHECKS[0] | {"date": day(2026, 3, 2), "shown_2": 10.1,
                                                "known_2": 1e300}]}  # fmt: skip
    book = computed(**tables)
    assert book.column("check_offset")[1].startswith("! true value 1E+300 is out of reach")
    found = audit.audit(filled("log.xlsx", **tables), day(2026, 3, 14).date()).findings
    [finding] = [one for one in found if one.code == "check-unusable"]
    assert "out of reach" in finding.reason
    assert not [one for one in found if one.code == "file"]
