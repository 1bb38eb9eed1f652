"""LibreOffice computes template and example; the embedded engine gives the same, cell by cell."""

from __future__ import annotations

import datetime
import re
from itertools import pairwise

import pytest

from tests.helpers import parts_of, poppler, run
from tests.plain import engines
from tests.workbook.conftest import fill, many_checks
from xlfuncs.files import package
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner
from xlfuncs.workbook import build
from xlfuncs.workbook.defaults import NUMBERS
from xlfuncs.workbook.words import Choices


def differences(path, least=1e-300, theirs=None):
    """Cells whose value differs by more than 1e-10 relative, as days do that are a difference."""
    ours = embedded.calculate(path)
    theirs = theirs or runner.compute(path)
    assert ours.failures == []
    assert ours.values
    assert set(ours.values) == set(theirs)
    return {
        place: (value, theirs[place])
        for place, value in ours.values.items()
        if value != theirs[place]
        and not (
            isinstance(value, float)
            and isinstance(theirs[place], float)
            and value == pytest.approx(theirs[place], rel=1e-10, abs=least)
        )
    }


def spoilt(book):
    """The example as a careless day would leave it: texts, blanks, slips, lines out of order."""
    lines = [
        {"reading": "12,4"}, {"reading": "twelve"}, {"temperature": 80},
        {"instrument": "no such instrument"}, {"date": None}, {"reading": None},
        {"temperature": None}, {"volume": -3}, {"reading": "! from elsewhere"},
        {"date": datetime.datetime(2020, 1, 1)}, {"reading": "=NA()"}, {"volume": "=1/0"},
        {"instrument": "=NA()"}, {"batch": " 7 STOUT "}, {"stage": "lunch"}, {"batch": None},
    ]  # fmt: skip
    checks = [{}, {"date": None}, {"shown_1": "one"}, {"instrument": "no such instrument"}]
    plans = [{"before_boil_gravity": "strong"}, {"into_fermenter_gravity": 72}, {"grain": "=NA()"}]
    fill(book, log=lines, check=checks, batch=plans)
    return book


def sloppy(book):
    """The example with units and numbers on Setup that are none, and numbers typed as texts."""
    numbers = {name: 1e300 for name in NUMBERS if not name.startswith("inst_")}
    cells = numbers | {"set_volume": "xyz", "set_temperature": "K", "set_gravity": "B",
                       "set_mass": "x", "set_marks": "warm", "set_wort_factor": 0,
                       "as_of": 5}  # fmt: skip
    tools = [{"reference": -3, "fine": 0}, {"interval": 1e300, "low": "x"}, {"water": 300}]
    lines = [{"temperature": " 20,5 "}, {"temperature": "20.5"}, {"volume": "22,5", "ph": "5,9"},
             {"volume": 22.5, "volume_temperature": "62,5"}, {"ph": "sour"}]  # fmt: skip
    plans = [
        {"grain": " 4,4", "minutes": "75"},
        {"potential": "0,78", "tolerance": "0,003"},
        {"grain": -1, "potential": 80, "tolerance": 5, "tolerance_volume": "wide"},
    ]
    checks = [{"temperature": "21,5", "shown_2": "10,2", "known_2": "10,1"}]
    fill(book, cells=cells, inst=tools, log=lines, batch=plans, check=checks)
    return book


@pytest.mark.parametrize(
    ("choices", "change"),
    [
        (Choices(rows=20, checks=20), None),
        (Choices(rows=70, checks=20, example=True, units="us", gravity="plato"), None),
        (Choices(rows=30, checks=20, example=True), spoilt),
        (Choices(rows=30, checks=20, example=True), sloppy),
        (Choices(rows=20, checks=20, example=True, plain=True), sloppy),
    ],
    ids=["template", "example in US units and Plato", "spoilt example", "sloppy", "plain sloppy"],
)
def test_both_engines_agree_on_every_cell(needs_office, tmp_path, choices, change):
    book = build.build(choices)
    if change:
        book = change(book)
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    # A difference of two numbers that are almost alike is left with fewer digits.
    assert differences(path, least=1e-12 if choices.plain else 1e-300) == {}


def test_both_engines_agree_on_hundreds_of_checks(needs_office, tmp_path):
    tools, checks = many_checks(400)
    book = build.build(Choices(rows=20, instruments=12, checks=400))
    fill(book, inst=tools, check=checks)
    path = tmp_path / "book.xlsx"
    path.write_bytes(build.to_bytes(book))
    # Calc takes what is left of a difference for 0 when it is rounding alone.
    assert differences(path, least=1e-12) == {}


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    """A folder with the example in it."""
    path = tmp_path_factory.mktemp("example") / "example.xlsx"
    path.write_bytes(build.to_bytes(build.build(Choices(rows=80, example=True))))
    return path


def test_both_engines_agree_on_the_example_and_calculate_keeps_the_file_as_it_is(
    needs_office, tmp_path, example, monkeypatch
):
    """Values come from Calc; panes, styles, validation and charts stay our own."""
    told, compute = [], runner.compute

    def heard(*arguments):
        told.append(compute(*arguments))
        return told[0]

    monkeypatch.setattr(runner, "compute", heard)
    run("calculate", example, "--engine", "calc", "-o", tmp_path / "calc.xlsx")
    assert differences(example, theirs=told[0]) == {}
    before, after = parts_of(example), parts_of(tmp_path / "calc.xlsx")
    before.pop("xl/workbook.xml")  # it says no longer that the file is to be computed
    for name, part in before.items():
        if name.startswith("xl/worksheets/sheet"):
            assert around_cells(after[name]) == around_cells(part), name
        else:
            assert after[name] == part, name
    assert {b"pane", b"dataValidations"} <= set(re.findall(rb"<(\w+)", b"".join(before.values())))
    assert any(name.startswith("xl/charts") for name in before)
    title, cells = package.destination(engines.names(example)["log_gravity"])
    value = engines.whole(tmp_path / "calc.xlsx")[title, cells.partition(":")[0]]
    assert value == pytest.approx(1.0371, abs=1e-4)


def around_cells(sheet):
    """What a part of a sheet says before its cells and after them, but for how far they reach."""
    before, _, rest = re.sub(rb"<dimension [^>]*>", b"", sheet).partition(b"<sheetData>")
    assert rest
    return before, rest.partition(b"</sheetData>")[2]


@pytest.fixture(scope="module")
def printed(_usable_office, example):
    """The pages of the example; the folder holds nothing else."""
    out = example.with_name("out.pdf")
    if not isinstance(_usable_office, str):  # needs_office says so
        run("print", example, "-o", out)
        assert sorted(p.name for p in example.parent.iterdir()) == ["example.xlsx", "out.pdf"]
    return out


def test_print_makes_pages_and_never_overwrites_unasked(needs_office, example, printed):
    """All of them, or the batch sheet alone."""
    out, batch = printed, example.with_name("batch.pdf")
    assert out.read_bytes().startswith(b"%PDF")
    before = out.read_bytes()
    assert "exists already" in run("print", example, "-o", out, status=2)
    assert out.read_bytes() == before
    run("print", example, "--sheet", "batch sheet", "-o", batch)
    pages = [len(re.findall(rb"/Type\s*/Page\b", path.read_bytes())) for path in (batch, out)]
    assert pages[0] == 1
    assert pages[1] > 10


@pytest.fixture(scope="module")
def letter(_usable_office, tmp_path_factory):
    """The pages of the plain example on the paper of the United States."""
    path = tmp_path_factory.mktemp("letter") / "example.xlsx"
    if not isinstance(_usable_office, str):
        path.write_bytes(build.to_bytes(
            build.build(Choices(rows=80, units="us", example=True, plain=True))))  # fmt: skip
        run("print", path, "-o", path.with_suffix(".pdf"))
    return path.with_suffix(".pdf")


@pytest.mark.parametrize("paper", ["printed", "letter"])
def test_a_page_for_a_sheet_or_forty_lines_in_type_that_can_be_read(needs_office, request, paper):
    """Words of 8 points at least, of 10 on the wall; no picture goes on overleaf."""
    printed = request.getfixturevalue(paper)
    magnified, title_points, text_points = 3, 18, 10
    # Of a bare machine's only font digits are wider than Arial's, and columns with them.
    wider = 636 / 556
    told = poppler("pdftohtml", "-xml", "-i", "-stdout", "-zoom", str(magnified), printed)
    outline = re.findall(r'<item page="(\d+)">(.+)</item>', told)
    first = {title: int(page) for page, title in outline}
    pages = told.split("<page ")[1:]
    sheets = dict(zip(first, pairwise([*first.values(), len(pages) + 1]), strict=True))
    assert list(first)[:4] == ["Start", "Setup", "Calibration", "Batches"]
    assert {title: end - start for title, (start, end) in sheets.items()} == (
        dict.fromkeys(first, 1) | {"Calibration": 2, "Log": 2}
    )
    points = {font: int(size) / magnified
              for font, size in re.findall(r'fontspec id="(\d+)" size="(\d+)"', told)}  # fmt: skip
    for title, page in first.items():
        fonts = re.findall(rf'font="(\d+)"><b>{title}</b>', pages[page - 1])
        scale = max(points[font] for font in fonts) / title_points
        scale *= wider if "+DejaVuSans" in told else 1
        assert text_points * scale > (9.9 if title == "Batch sheet" else 7.9), title
    last = pages[first["Batches"] - 2]
    assert re.search("Correction found.*date of check", last, re.DOTALL)


def test_a_sheet_that_is_not_there_is_named(needs_office, tmp_path, example):
    said = run("print", example, "--sheet", "Grist", "-o", tmp_path / "x.pdf", status=2)
    assert "it has no sheet Grist; it has Start, Setup" in said
    assert not (tmp_path / "x.pdf").exists()
