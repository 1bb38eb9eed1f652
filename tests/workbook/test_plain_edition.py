"""The plain edition: the same answers as with the functions, wherever it is computed."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import itertools
import json
import re
import string
import subprocess
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.utils.cell import rows_from_range
from openpyxl.workbook.defined_name import DefinedName

from tests.helpers import recorded_anew
from tests.hosts.calc.conftest import _usable_office, needs_office  # noqa: F401
from tests.plain import engines
from tests.workbook.conftest import TODAY, day, fill
from xlfuncs.files import package, stored
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import session
from xlfuncs.hosts.calc.offices import choose_office, clean_environment
from xlfuncs.hosts.embedded import worksheet
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.plain import measured
from xlfuncs.science import sucrose
from xlfuncs.workbook import build, words
from xlfuncs.workbook.plain_edition import NEEDS
from xlfuncs.workbook.words import Choices

METRIC = Choices(rows=20, checks=20, example=True)
US = Choices(rows=20, checks=20, example=True, units="us", gravity="plato")
#: The whole log of the example, and blank lines below it.
WHOLE = Choices(rows=100, checks=20, example=True)

#: Names that hang on what stays with the functions.
_STAY = re.compile(
    r"(beer_fit|own_beer|own_alcohol|forecast|drawn_beer_own|course_final|fact(ors)?_|match_)\w*"
    r"|ferment_(state|final\w*|near|all|four\w*|scaled\w*)|functions_\w+|stored_when"
)
#: Every function that the formulas may use; three engines that others wrote know them all.
FUNCTIONS = re.findall(
    r"\w+",
    "ABS AND AVERAGE AVERAGEIF CHAR CHOOSE COUNT COUNTA COUNTIF COUNTIFS DAY EXP FIND IF IFERROR "
    "INDEX INT ISERROR ISLOGICAL ISNUMBER ISTEXT LARGE LEFT LEN LN LOG10 LOWER MATCH MAX "
    "MID MIN MOD MONTH N NA NOT OR RIGHT ROUND ROUNDDOWN ROUNDUP ROW SEARCH SMALL SQRT STDEV "
    "SUBSTITUTE SUM SUMIF SUMIFS SUMSQ TODAY TRIM UPPER VALUE YEAR",
)


@functools.cache
def example(choices: Choices, plain: bool) -> tuple[Any, dict[tuple[str, str], Any]]:
    book = build.build(_edition(choices, plain))
    return book, computed(book)


def _edition(choices: Choices, plain: bool) -> Choices:
    return dataclasses.replace(choices, plain=plain)


def computed(book: Any) -> dict[tuple[str, str], Any]:
    calculation = embedded.calculate_book(book, TODAY)
    assert calculation.failures == []
    return dict(calculation.values)


def cells(book: Any, name: str) -> list[tuple[str, str]]:
    """The cells of a name of a workbook, or of the names in a file."""
    defined = getattr(book, "defined_names", book)[name]
    place = package.destination(getattr(defined, "attr_text", defined))
    if place is None:  # a number, such as that of the layout
        return []
    title, address = place
    return [(title, cell) for line in rows_from_range(address) for cell in line]


def by_name(one: tuple[Any, Any], other: tuple[Any, Any]) -> Iterator[tuple[str, Any, Any]]:
    """Name, value in one workbook and value in the other, of cells that are computed."""
    (book, values), (other_book, other_values) = one, other
    for name in book.defined_names:
        if name in other_book.defined_names:
            pairs = zip(cells(book, name), cells(other_book, name), strict=False)
            for place, other_place in pairs:
                if place in values or other_place in other_values:
                    yield name, values.get(place), other_values.get(other_place)


def alike(one: Any, other: Any, near: float) -> bool:
    if one in ("", None) and other in ("", None):
        return True
    if isinstance(one, str) or isinstance(other, str):
        if near > 1e-6 and isinstance(one, str) and isinstance(other, str):
            return measured.alike(one, other)
        return one == other
    if one is None or other is None:
        return False
    return abs(float(one) - float(other)) <= near * max(1.0, abs(float(one)))


@pytest.mark.parametrize("choices", [METRIC, US], ids=["metric, SG", "US, °Plato"])
def test_the_example_says_the_same_in_both_editions(choices):
    pairs = list(by_name(example(choices, False), example(choices, True)))
    assert len(pairs) > 15_000
    apart = [
        (name, ours, plain)
        for name, ours, plain in pairs
        if not _STAY.fullmatch(name) and not alike(ours, plain, 2e-4)
    ]
    assert apart == []


def test_gravities_and_uncertainties_lie_near_those_of_the_functions():
    """Within the bounds for the functions: 2e-5 SG, and 2 % of a ±."""
    for name, ours, plain in by_name(example(METRIC, False), example(METRIC, True)):
        if isinstance(ours, float) and name in ("log_sg", "line_wort_sg", "line_beer_sg"):
            assert plain == pytest.approx(ours, abs=2e-5)
        if isinstance(ours, float) and name in ("log_u", "log_expanded", "wash_u", "wort_fit_u"):
            assert plain == pytest.approx(ours, rel=0.02)
        if isinstance(ours, float) and name == "wort_fit_factor":
            assert plain == pytest.approx(ours, abs=1e-4)


def test_what_stays_with_the_functions_says_so():
    book, values = example(METRIC, True)

    def shown(name: str) -> Any:
        return values[cells(book, name)[0]]

    assert {shown("beer_fit_factor"), shown("forecast_final"), shown("ferment_state")} == {NEEDS}
    assert shown("factors_beer") == "No fit for beer: needs the functions (see Start)"
    assert shown("forecast_why_not") == "needs the functions (see Start)"
    assert "! " not in shown("ferment_answers")
    assert shown("edition_state").startswith("Plain edition")


SPOILT = [
    ("a text", {"reading": "abc"}),
    ("out of range", {"reading": 200}),
    ("a decimal comma", {"reading": "12,4"}),
    ("maybe thousands", {"reading": "1,050"}),
    ("°F for °C", {"reading": 12.4, "temperature": 150}),
    ("temperature as text", {"reading": 12.4, "temperature": "warm"}),
    ("an error", {"reading": "#N/A"}),
    ("a truth", {"reading": True}),
    ("volume as text", {"reading": 12.4, "volume": "28,5"}),
    ("volume below nothing", {"reading": 12.4, "volume": -3}),
    ("no date", {"reading": 12.4, "date": "yesterday"}),
    ("strange stage", {"reading": 12.4, "stage": "noon"}),
    ("no such batch", {"reading": 12.4, "batch": "none"}),
]


@pytest.fixture(scope="module")
def spoilt() -> dict[bool, tuple[Any, dict[tuple[str, str], Any]]]:
    """Both editions with lines of the log that are wrong in one thing each, on both instruments."""
    right = {"date": day(2026, 3, 7, 12), "batch": "1", "stage": "before boil", "temperature": 20}
    log = [
        right | {"instrument": tool} | wrong
        for _, wrong in SPOILT
        for tool in ("drop", "jar")
    ]  # fmt: skip
    tools = [
        {"name": "drop", "kind": "refractometer", "compensated": "no"},
        {"name": "jar", "kind": "hydrometer"},
    ]
    batch = [{"name": "1", "date": day(2026, 3, 7)}]
    found = {}
    for plain in (False, True):
        book = build.build(Choices(rows=30, plain=plain))
        fill(book, inst=tools, batch=batch, log=log)
        found[plain] = book, computed(book)
    return found


@pytest.mark.parametrize("number", range(len(SPOILT)), ids=[what for what, _ in SPOILT])
def test_a_spoilt_line_is_refused_in_the_same_words(spoilt, number):
    lines = (2 * number, 2 * number + 1)
    for column in ("log_gravity", "log_expanded", "log_tells", "log_volume_20", "log_sg"):
        said = [
            [values.get(cells(book, column)[line]) for line in lines]
            for book, values in (spoilt[False], spoilt[True])
        ]
        for ours, plain in zip(*said, strict=True):
            assert alike(ours, plain, 2e-5), (column, ours, plain)


def test_only_what_every_program_knows_is_used():
    book, _ = example(METRIC, True)
    used = set()
    for sheet in book:
        for cell in sheet._cells.values():
            if cell.data_type != "f":
                continue
            text = getattr(cell.value, "formula", cell.value)
            assert isinstance(text, str), "an array formula"
            assert len(text) <= 8192
            bare = re.sub(r'"[^"]*"|\'[^\']*\'', "", text)
            assert not re.search(r"[{}\[\]#@]", bare), text
            used |= set(re.findall(r"([A-Z][A-Z0-9.]*)\(", bare))
    assert used <= set(FUNCTIONS)
    for name, defined in book.defined_names.items():
        assert re.fullmatch(r"(.+!\$[A-Z]+\$\d+(:\$[A-Z]+\$\d+)?|\d+)", defined.attr_text), name


#: Functions as old as spreadsheets.
OLD = re.findall(
    r"\w+",
    "ABS AND AVERAGE COUNT DAY EXP FIND IF INDEX INT ISERROR ISNUMBER ISTEXT LEFT LEN LN LOWER "
    "MATCH MAX MID MIN MONTH N NA NOT OR RIGHT ROUND ROW SQRT SUM TODAY TRIM UPPER VALUE YEAR",
)


@pytest.mark.parametrize("lacking", [None, *sorted(set(FUNCTIONS) - set(OLD))])
def test_start_names_the_cause_in_a_program_that_lacks_a_function(monkeypatch, lacking):
    """A function that a program does not know gives #NAME? there."""
    whole, _ = example(METRIC, True)
    [(title, address)] = cells(whole, "edition_state")
    book = openpyxl.Workbook()
    book.active["D1"], book.active["A1"] = 1, whole[title][address].value
    for name in ("inst_kind", "run_no"):
        book.defined_names[name] = DefinedName(name, attr_text="Sheet!$D$1:$D$9")
    known = worksheet.function

    def function(name: str) -> Any:
        return (lambda *_: ERRORS["#NAME?"]) if name == lacking else known(name)

    monkeypatch.setattr(worksheet, "function", function)
    said = computed(book)["Sheet", "A1"]
    assert said.startswith("THIS PROGRAM LACKS" if lacking else "Plain edition")


def test_science_is_where_the_formulas_come_from(monkeypatch):
    """A changed coefficient changes the plain edition, with nothing else touched."""

    def drops() -> list[float]:
        book = build.build(_edition(METRIC, True))
        values = computed(book)
        return [values[place] for place in cells(book, "line_drop_sg")]

    book, values = example(METRIC, True)
    before = [values[place] for place in cells(book, "line_drop_sg")]
    first, second, *others = sucrose.APPARENT_SG
    with recorded_anew():
        monkeypatch.setattr(sucrose, "APPARENT_SG", (first, 1.01 * second, *others))
        after = drops()
    moved = [b - a for a, b in zip(before, after, strict=True) if isinstance(a, float)]
    assert moved
    assert all(1e-5 < one < 2e-3 for one in moved)


# --- computed by others ------------------------------


@pytest.fixture(scope="module")
def file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("plain") / "plain.xlsx"
    path.write_bytes(build.to_bytes(example(METRIC, True)[0]))
    return path


@pytest.mark.parametrize("engine", list(engines.WHOLE))
def test_programs_that_others_wrote_compute_every_cell_alike(file, engine, needs_office):  # noqa: F811
    assert different(engines.WHOLE[engine](file)) == []


def test_a_decimal_comma_in_the_program_changes_nothing(file, needs_office):  # noqa: F811
    """Numbers are the same; in sentences they have the decimal sign of the place."""
    assert different(engines.whole_libreoffice(file, "de-DE"), comma=True) == []


def different(theirs: engines.Whole, comma: bool = False) -> list[Any]:
    """Cells that are not as our own engine computes them; of helper cells, the numbers."""
    book, ours = example(METRIC, True)
    named = {place for name in book.defined_names for place in cells(book, name)}
    assert len(ours) > 40_000
    apart = []
    for place, value in ours.items():
        other = theirs.get(place)
        if comma and isinstance(value, str) and isinstance(other, str):
            value, other = value.replace(",", "."), other.replace(",", ".")
        helper = place not in named and (isinstance(value, str) or isinstance(other, str))
        if not helper and not alike(value, other, 1e-9):
            apart.append((place, value, other))
    return apart


def test_values_are_stored_beside_formulas_that_are_filled_down(file, tmp_path):
    _, ours = example(METRIC, True)
    out = tmp_path / "out.xlsx"
    stored.store(file, ours, out)
    kept = engines.whole(out)
    assert [place for place, value in ours.items() if not alike(value, kept.get(place), 0)] == []
    formulas = engines.formulas(file)
    assert formulas.keys() == ours.keys()
    assert engines.formulas(out) == formulas


# --- lines that go and come ------------------------------

#: What a person types on a line of the log.
TYPED = "date batch stage instrument reading temperature volume volume_temperature ph leave note"
LETTERS = string.ascii_uppercase
#: What must be as on a fresh sheet with the same lines: the log itself, and what looks at it.
SEEN = (
    "log_gravity log_expanded log_tells log_volume_20 log_sg line_no log_answer run_answer "
    "ferment_answer kettle_answer targets_answer factors_says start_says"
)


#: Sheets on which no cell is #N/A, which a picture leaves out.
_NO_PICTURES = (words.SETUP, words.BATCHES, words.LOG)


@contextlib.contextmanager
def _as_by_hand(command: list[str]) -> Iterator[None]:
    """An office that runs as a person starts it, and not as we do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session, "office_environment", clean_environment)
        with session._started(command):
            yield


@pytest.fixture(scope="module")
def by_hand(file, tmp_path_factory, _usable_office) -> tuple[dict[str, Path], dict[str, str]]:  # noqa: F811
    """The example after each of the edits, as LibreOffice computed and saved it; the cells with an
    error on some sheets of a long one that it computed anew."""
    if isinstance(_usable_office, str):
        return {}, {}  # needs_office says so
    folder = tmp_path_factory.mktemp("edited")
    functions = folder / "functions.xlsx"
    functions.write_bytes(build.to_bytes(build.build(WHOLE)))
    long = folder / "long.xlsx"
    long.write_bytes(build.to_bytes(build.build(_edition(WHOLE, True))))
    edits = [
        (file, "delete", 4, "delete"), (file, "insert", 4, "insert"), (file, "sort", 13, "sort"),
        (functions, "sort", 13, "functions"),
    ]  # fmt: skip
    pipe = f"xlfuncs{uuid.uuid4().hex}"
    task = {
        "pipe": pipe, "anew": long.as_uri(), "titles": _NO_PICTURES,
        "edits": [(source.as_uri(), edit, line, (folder / f"{out}.xlsx").as_uri())
                  for source, edit, line, out in edits],
    }  # fmt: skip
    office = choose_office()
    with _as_by_hand(session._office_command(office, folder / "profile", pipe)):
        done = subprocess.run(
            [str(office.python), str(Path(__file__).with_name("edit_in_calc.py"))],
            input=json.dumps(task), text=True, check=True, timeout=240, capture_output=True,
            env=clean_environment(),
        )  # fmt: skip
    return {out: folder / f"{out}.xlsx" for *_, out in edits}, json.loads(done.stdout)


@pytest.fixture(scope="module")
def edited(by_hand) -> dict[str, Path]:
    return by_hand[0]


@pytest.mark.parametrize("edit", ["delete", "insert", "sort"])
def test_lines_can_be_deleted_inserted_filled_down_and_sorted(edited, edit, needs_office):  # noqa: F811
    names, values = engines.names(edited[edit]), engines.whole(edited[edit])
    lines = len(cells(names, "log_date"))
    assert lines == len(cells(example(METRIC, True)[0], "log_date")) + {
        "delete": -1, "insert": 1, "sort": 0,
    }[edit]  # fmt: skip
    as_if_typed_so(names, values, *a_line_longer())


def test_no_formula_is_taken_for_a_circle_when_all_are_computed_anew(by_hand, needs_office):  # noqa: F811
    """LibreOffice 7.4 sees circles where a column waits for what is not asked for."""
    assert by_hand[1] == dict.fromkeys(_NO_PICTURES, "")


def test_lines_can_be_sorted_where_the_functions_compute_whole_columns(edited, needs_office):  # noqa: F811
    names, kept = engines.names(edited["functions"]), engines.whole(edited["functions"])
    dates = [kept[place] for place in cells(names, "log_date") if place in kept]
    assert 20 < len(dates) < WHOLE.rows
    assert dates == sorted(dates, reverse=True)
    values = kept | embedded.calculate(edited["functions"]).values
    fresh = build.build(WHOLE)
    as_if_typed_so(names, values, fresh, embedded.Prepared(fresh, TODAY))
    shown = [values.get((title, f"G{place.strip(LETTERS)}"))
             for title, place in cells(names, "log_gravity")]  # fmt: skip
    assert shown == [values.get(place) for place in cells(names, "log_gravity")]


@functools.cache
def a_line_longer() -> tuple[Any, embedded.Prepared]:
    """The plain example with a line more in its log, which holds what any edit leaves."""
    lines = len(cells(example(METRIC, True)[0], "log_date"))
    book = build.build(Choices(rows=lines + 1, example=True, plain=True))
    return book, embedded.Prepared(book, TODAY)


def as_if_typed_so(names: Any, values: Any, fresh: Any, prepared: embedded.Prepared) -> None:
    """A fresh sheet with the same lines, and blank ones below them, shows the same."""
    typed: dict[tuple[str, str], Any] = {}
    for key in TYPED.split():
        name = f"log_{key}"
        lines = [values.get(place) for place in cells(names, name)]
        places = cells(fresh, name)
        assert len(places) >= len(lines)
        typed |= dict(itertools.zip_longest(places, lines))
    wanted = prepared.calculate(typed)
    assert wanted.failures == []
    compared = 0
    for name in SEEN.split():
        if name not in fresh.defined_names:
            continue
        for place, here in zip(cells(names, name), cells(fresh, name), strict=False):
            assert alike(wanted.values[here], values.get(place), 1e-9), (name, here)
            compared += 1
    assert compared > 5 * len(cells(names, "log_date"))
