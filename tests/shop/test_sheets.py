"""A page for each recipe: what stands on it, how large, and what is said of a line without one."""

from __future__ import annotations

import datetime
import itertools
import re
import zipfile

import openpyxl
import pytest

from tests.helpers import cells_of, run
from tests.shop.conftest import PALE, texts
from xlfuncs.files.entered import enter
from xlfuncs.functions.beer import BEER_ABV
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.functions.instruments import WORT_SG
from xlfuncs.hosts import embedded
from xlfuncs.shop import page as shop_page
from xlfuncs.shop.brewhouse import VALUES
from xlfuncs.workbook import reader, words
from xlfuncs.workbook.example import BENCH, FIELD

NAMELESS = {key: value for key, value in PALE.items() if key != "batch"}


def facts(sheet):
    """What stands beside each label."""
    said = {}
    for row in sheet.iter_rows(min_row=4, max_row=6):
        words_of_row = [cell.value for cell in row if cell.value is not None]
        said |= dict(itertools.pairwise(words_of_row))
    return said


def stages(sheet):
    """Planned gravity and volume by stage."""
    top = next(c.row for c in sheet["A"] if c.value == "Stage") + 2
    rows = sheet.iter_rows(min_row=top, max_row=top + 9, max_col=3, values_only=True)
    return {stage: (gravity, volume) for stage, gravity, volume in rows if stage}


def strip(sheet):
    return [text for text in texts(sheet) if re.match(r"[\d.]+ → ", text)]


# --- what stands on a page -----------------------------------------------------------------------


def test_a_page_names_shop_recipe_customer_and_day(pages):
    (sheet,), said = pages(PALE, options=("--shop", "Corner shop"))
    assert "pages: 1" in said
    assert sheet.title == "Pale"
    assert texts(sheet)[:3] == [
        "Corner shop", "Pale  ·  2026-03-21", "for Ann   ·   brewer ____________",
    ]  # fmt: skip
    assert facts(sheet)["Grain"] == "5.2 kg"
    assert facts(sheet)["Boil"] == "60 min"


def test_targets_by_stage_with_their_tolerance(pages):
    (sheet,), _ = pages(PALE)
    found = stages(sheet)
    assert found["Before boil"] == ("1.0440\n± 0.0020", "28.0")
    assert found["Into fermenter"] == ("1.0515\n± 0.0020", "22.0")
    assert found["Packaged"] == ("1.0120\n± 0.0020", None)
    assert found["Runoff end"] == (None, None)


def test_expected_gravity_and_alcohol(pages):
    (sheet,), _ = pages(PALE)
    assert facts(sheet)["Expected final gravity"] == "1.0120 ± 0.0020 SG"
    middle = BEER_ABV(1.0515, 1.012)
    low, high = BEER_ABV(1.0495, 1.014), BEER_ABV(1.0535, 1.010)
    assert facts(sheet)["Expected alcohol"] == (
        f"about {middle:.1f} % vol ({low:.1f} to {high:.1f} within the plan's ±)"
    )


def test_expected_alcohol_of_the_boil_where_the_fermenter_has_no_plan(pages):
    line = PALE | {"into_fermenter_gravity": "", "after_boil_gravity": 1.0515}
    (sheet,), _ = pages(line)
    assert facts(sheet)["Expected alcohol, of after boil"].startswith("about 5.2 % vol")


@pytest.mark.parametrize(
    ("line", "label", "shown"),
    [
        (PALE | {"packaged_gravity": ""}, "Expected final gravity", "______ SG"),
        (PALE | {"packaged_gravity": ""}, "Expected alcohol", "______ % vol"),
        (PALE | {"packaged_gravity": 1.09}, "Expected alcohol", "______ % vol"),
        (PALE | {"grain": "", "boil_minutes": ""}, "Grain", "______ kg"),
        (PALE | {"grain": "", "boil_minutes": ""}, "Boil", "______ min"),
    ],
)
def test_what_a_recipe_lacks_is_left_for_a_pen(pages, line, label, shown):
    (sheet,), _ = pages(line, status=0 if line["packaged_gravity"] == 1.012 else 1)
    assert facts(sheet)[label] == shown


def test_a_plan_without_any_volume_has_lines_for_them(pages):
    line = PALE | {"before_boil_volume": "", "into_fermenter_volume": ""}
    (sheet,), said = pages(line, status=1)
    assert stages(sheet)["Before boil"] == ("1.0440\n± 0.0020", "______")
    assert "line 2: “Pale” for Ann: no volume is planned: lines to write on stand for them" in said


def test_cautions_stand_on_every_page(pages):
    for sheet in pages(PALE, PALE | {"batch": "Mild"})[0]:
        text = " ".join(texts(sheet))
        for caution in (
            words.BOIL_CAUTION,
            words.GLASS_CAUTION,
            words.GAS_CAUTION,
            words.BOTTLES_CAUTION,
            words.LABEL_CAUTION,
            words.RULES_CAUTION,
        ):
            assert caution in text


# --- the strip -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("choices", "named"), [({}, FIELD), ({"gravity": "plato"}, BENCH), ({"units": "us"}, FIELD)]
)
def test_the_strip_is_that_of_the_workbooks_batch_sheet(pages, example, choices, named):
    path = example(**choices)
    [place] = cells_of(path, "card_instrument")
    changed = path.with_name("changed.xlsx")
    changed.write_bytes(enter(path.read_bytes(), {place: named}))
    theirs = reader.read(changed, embedded.calculate(changed).values)
    plato = choices.get("gravity") == "plato"
    line = {"batch": "Pale", "date": "2026-03-17", "refractometer": named.upper()}
    (sheet,), _ = pages(line, options=("--book", path), status=1)
    shown = theirs.column("strip_words")[:VALUES]
    assert sorted(strip(sheet)) == sorted(shown)
    wide = theirs.column("strip_u")
    says = next(text for text in texts(sheet) if "wort factor" in text)
    assert "checked 2026-03-07; wort factor 1.040" in says
    for at in (5, 10, 15, 20):
        assert f"{2 * wide[2 * at - 1]:.{2 if plato else 4}f} at {at} °Bx" in says


def test_without_a_workbook_the_strip_is_of_one_that_compensates_and_was_not_checked(pages):
    (sheet,), _ = pages(PALE)
    assert strip(sheet)[0] == f"0.5 → {WORT_SG(0.5):.4f}"
    assert len(strip(sheet)) == VALUES
    text = " ".join(texts(sheet))
    assert "From °Bx on a refractometer to SG of unfermented wort" in text
    assert "Compensates for temperature; not checked; wort factor 1.040" in text
    assert "Not for beer" in text


def test_a_refractometer_that_no_workbook_knows_is_said(pages):
    lines = [PALE | {"batch": str(number), "refractometer": "mine"} for number in range(2)]
    sheets, _ = pages(*lines)
    assert "“mine”" in " ".join(texts(sheets[0]))
    assert "not checked" in " ".join(texts(sheets[0]))


def test_a_check_that_is_due_again_is_said_on_the_page(pages, example):
    (sheet,), _ = pages(PALE | {"date": "2026-04-06"}, options=("--book", example()))
    assert "checked 2026-03-07; wort" in " ".join(texts(sheet))
    (sheet,), _ = pages(PALE | {"date": "2026-04-07"}, options=("--book", example()))
    assert "checked 2026-03-07, and due again since 2026-04-06;" in " ".join(texts(sheet))


def test_a_page_of_an_earlier_day_has_the_check_of_that_day(pages, example):
    (sheet,), _ = pages(PALE | {"date": "2026-01-20"}, options=("--book", example()))
    assert "checked 2026-01-10" in " ".join(texts(sheet))


# --- a workbook's Batches ------------------------------------------------------------------------


def test_the_batches_of_a_workbook(pages, example):
    sheets, _ = pages(example())
    assert [sheet.title for sheet in sheets][-3:] == [
        "12 oat pale",
        "13 dark mild",
        "14 harvest ale",
    ]
    assert texts(sheets[-3])[0] == "Lower Mill brewhouse (invented)"
    assert stages(sheets[-3])["After boil"] == ("1.0515\n± 0.0020", "23.5")
    assert facts(sheets[-3])["Boil"] == "70 min"  # as usual on its Setup
    assert "“Field refractometer”" in " ".join(texts(sheets[-3]))


def test_some_of_them(pages, example):
    sheets, _ = pages(example(), options=("--batch", "14 HARVEST ale", "--batch", "7 stout"))
    assert [sheet.title for sheet in sheets] == ["7 stout", "14 harvest ale"]
    said = run("sheets", example(), "-o", "x.xlsx", "--batch", "15", status=2)
    assert "has no recipe “15”" in said


def test_units_are_those_of_the_workbook(pages, example):
    (sheet,), _ = pages(example(units="us", gravity="plato"), options=("--batch", "12 oat pale"))
    wanted = round(GRAVITY_CONVERT(1.044, "SG", "Plato"), 1)
    assert stages(sheet)["Before boil"] == (f"{wanted:.2f}\n± 0.50", "7.4")
    assert facts(sheet)["Grain"] == "11.46 lb"
    assert "L at" not in " ".join(texts(sheet))
    assert sheet.page_setup.paperSize == 1  # Letter


# --- how it looks --------------------------------------------------------------------------------

LONG = PALE | {"batch": "A pale ale of long winter nights " * 8, "note": "and so on " * 60,
               "customer": "Ann " * 60}  # fmt: skip


@pytest.mark.parametrize(("paper", "wide", "high"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_one_page_at_its_true_size_with_large_boxes(pages, paper, wide, high):
    (sheet,), _ = pages(LONG, options=("--paper", paper))
    setup, margins = sheet.page_setup, sheet.page_margins
    assert (setup.orientation, setup.fitToWidth, setup.fitToHeight) == ("portrait", 1, 1)
    assert setup.paperSize == {"a4": 9, "letter": 1}[paper]
    # A digit of the normal font is 7 pixels at 96 an inch, a column 5 more than its digits.
    millimetres = [int(7 * sheet.column_dimensions[c].width + 5) / 96 * 25.4 for c in "ABCDEFGH"]
    assert sum(millimetres) <= wide - (margins.left + margins.right) * 25.4
    last = int(re.search(r"(\d+)$", sheet.print_area)[1])
    points = [sheet.row_dimensions[row].height for row in range(1, last + 1)]
    assert sum(points) / 72 * 25.4 <= high - (margins.top + margins.bottom) * 25.4
    boxes = [cell for row in sheet.iter_rows() for cell in row if cell.style == "box for a pen"]
    assert len(boxes) == 5 * 10
    for cell in boxes:
        assert cell.value is None
        assert millimetres[cell.column - 1] >= 25
        assert points[cell.row - 1] / 72 * 25.4 >= 10


def test_no_type_below_ten_points_and_nothing_at_the_foot(pages):
    (sheet,), _ = pages(PALE | {"note": "with oats"})
    sizes = {cell.font.size for row in sheet.iter_rows() for cell in row if cell.value is not None}
    assert min(sizes) >= shop_page.LEAST == 10
    foot = sheet.oddFooter
    assert not any((foot.left.text, foot.center.text, foot.right.text))


def test_words_of_the_user_are_no_formulas(pages):
    line = PALE | {"batch": "=1+1", "customer": "=cmd|x", "note": "@SUM(1)"}
    (sheet,), _ = pages(line, options=("--shop", "=HYPERLINK(1)"))
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"}
    assert texts(sheet)[:2] == ["=HYPERLINK(1)", "=1+1  ·  2026-03-21"]


def test_sheets_have_names_of_their_own(pages):
    names = ["a/b", "a:b", "x" * 40, "x" * 41, "'"]
    sheets, _ = pages(*(PALE | {"batch": name} for name in names))
    assert [sheet.title for sheet in sheets] == [
        "a b",
        "a b 2",
        "x" * 31,
        "x" * 29 + " 2",
        "recipe",
    ]


# --- what is wrong with a line -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"batch": ""}, "there is no name under “batch”"),
        ({"before_boil_gravity": 1.25}, "gravity 1.25 is no SG"),
        ({"before_boil_gravity": 1.208}, "before_boil_gravity 1.208 is outside 0.98 to 1.206"),
        ({"before_boil_gravity": 11.2}, "gravity 11.2 is no SG, as the others are"),
        ({"packaged_gravity": "dry"}, "packaged_gravity “dry” is not a number"),
        ({"before_boil_volume": -2}, "before_boil_volume -2 is outside 0 to"),
        ({"grain": "five"}, "grain “five” is not a number"),
        ({"date": "soon"}, "“soon” is no date"),
        ({"batch": "PALE"}, "“PALE” for Ann stands on line 2 already"),
    ],
)
def test_a_line_that_gives_no_page_is_named_and_the_others_are_printed(pages, wrong, said):
    lines = [PALE, PALE | {"batch": "Mild"} | wrong, PALE | {"batch": "Stout"}]
    sheets, told = pages(*lines, status=1)
    assert [sheet.title for sheet in sheets] == ["Pale", "Stout"]
    assert f"not printed: line 3: {said}" in told


@pytest.mark.parametrize(
    ("named", "said"),
    [("bench 7", "“bench 7” is not on Setup of the workbook"),
     ("Glass hydrometer", "“Glass hydrometer” shows no °Bx, so that it has no strip")],
)  # fmt: skip
def test_a_refractometer_without_a_strip_is_named(pages, example, named, said):
    lines = [PALE, PALE | {"batch": "Mild", "refractometer": named}]
    sheets, told = pages(*lines, options=("--book", example()), status=1)
    assert [sheet.title for sheet in sheets] == ["Pale"]
    assert f"not printed: line 3: refractometer: {said}" in told


def test_a_list_in_plato_and_a_line_in_sg(pages):
    plato = {"before_boil_gravity": 11, "into_fermenter_gravity": 12.5, "packaged_gravity": 3}
    lines = [PALE | plato | {"batch": str(number)} for number in range(3)]
    sheets, told = pages(*lines, PALE, options=("--gravity", "plato"), status=1)
    assert len(sheets) == 3
    assert stages(sheets[0])["Before boil"] == ("11.00\n± 0.50", "28.0")
    assert "not printed: line 5: gravity 1.044 looks like SG, but the others are in °Plato" in told


def test_gravities_are_printed_in_the_scale_that_is_asked_for(pages):
    (sheet,), _ = pages(PALE, options=("--gravity", "plato"))
    wanted = GRAVITY_CONVERT(1.044, "SG", "Plato")
    assert stages(sheet)["Before boil"][0] == f"{wanted:.2f}\n± 0.50"


# --- what a list looks like ----------------------------------------------------------------------


def test_a_german_list(pages, tmp_path):
    path = tmp_path / "liste.csv"
    path.write_text(
        "Sud;Kunde;Brautag;Schüttung (kg);Stammwürze;Anstellmenge (hL);Restextrakt\n"
        "Helles;Ann;21.03.2026;5,25;12,5;0,22;2,8\n",
        "cp1252",
    )
    (sheet,), _ = pages(path, options=("--gravity", "plato"))
    assert texts(sheet)[1:3] == ["Helles  ·  2026-03-21", "for Ann   ·   brewer ____________"]
    assert stages(sheet)["Into fermenter"] == ("12.50\n± 0.50", "22.0")
    assert facts(sheet)["Grain"] == "5.25 kg"


def test_units_in_headings_and_cells_are_converted(pages, tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("batch,grain (lb),before boil volume (US gal),before boil gravity\n"
                    "Pale,11.46,7 gal,1.044\n")  # fmt: skip
    (sheet,), _ = pages(path, status=1)
    assert facts(sheet)["Grain"] == "5.2 kg"
    assert stages(sheet)["Before boil"][1] == "26.5"
    (sheet,), _ = pages(path, status=1, options=("--units", "us"))
    assert facts(sheet)["Grain"] == "11.46 lb"
    assert stages(sheet)["Before boil"][1] == "7.0"


def test_a_list_in_a_workbook(pages, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Recipes of the week"])
    book.active.append(["Batch", "Brew day", "OG", "FG", "Batch size"])
    book.active.append(["Pale", datetime.datetime(2026, 3, 21), 1.0515, 1.012, 22])
    book.active.append(["Mild", None, 1.6, 1.012, 22])
    book.save(path := tmp_path / "list.xlsx")
    (sheet,), told = pages(path, status=1)
    assert texts(sheet)[1] == "Pale  ·  2026-03-21"
    assert stages(sheet)["Into fermenter"] == ("1.0515\n± 0.0020", "22.0")
    assert "not printed: line 4" in told


def test_headings_that_match_nothing_are_said(pages):
    line = PALE | {"price": 12, "shelf": "B"}
    (sheet,), told = pages(line | {"grain": -1}, PALE | {"batch": "Mild"}, status=1)
    assert sheet.title == "Mild"
    assert "not read: “price”, which is no heading of a recipe" in told
    assert "not read: “shelf”" in told


def test_two_headings_of_one_meaning_are_refused(listed, tmp_path):
    path = listed(PALE | {"OG": 1.05})
    said = run("sheets", path, "-o", tmp_path / "x.xlsx", status=2)
    assert "“into_fermenter_gravity” and “OG” both mean into_fermenter_gravity" in said
    out = run("sheets", path, "-o", tmp_path / "x.xlsx", "--column", "OG=")
    assert "pages: 1" in out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("colour,price\nred,1\n", "no heading of the table recipes was found"),
        ("grain,before_boil_gravity\n5,1.044\n", "no heading means “batch”"),
        ("batch,date\nPale,03/04/2026\nMild,04/03/2026\n", "say which with --dates"),
        ("batch;grain\nPale;5,2\nMild;5.2\n", "say which sign parts off decimals"),
    ],
)
def test_a_list_that_is_not_clear_is_refused(tmp_path, text, said):
    path, out = tmp_path / "list.csv", tmp_path / "out.xlsx"
    path.write_text(text)
    assert said in run("sheets", path, "-o", out, status=2)
    assert not out.exists()


def test_what_is_said_of_an_unclear_list_makes_it_clear(pages, tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("batch;date;grain\nPale;03/04/2026;5,2\n")
    (sheet,), _ = pages(path, status=1, options=("--dates", "mdy", "--decimal", "comma"))
    assert texts(sheet)[1] == "Pale  ·  2026-03-04"


def test_one_recipe_for_two_customers_is_two_pages(pages):
    sheets, _ = pages(PALE, PALE | {"customer": "Ben"})
    assert [sheet.title for sheet in sheets] == ["Pale", "Pale 2"]


def test_nothing_to_print_writes_nothing(listed, tmp_path):
    out = tmp_path / "out.xlsx"
    none = listed()
    assert "has no recipe that can be printed" in run("sheets", none, "-o", out, status=2)
    wrong = listed(PALE | {"grain": "five"})
    said = run("sheets", wrong, "-o", out, status=2)
    assert "line 2" in said
    assert "nothing was written" in said
    assert not out.exists()


def test_an_existing_file_is_kept(listed, tmp_path):
    out = tmp_path / "out.xlsx"
    out.write_text("mine")
    assert "exists already" in run("sheets", listed(PALE), "-o", out, status=2)
    assert out.read_text() == "mine"


def test_without_an_office_one_sentence(listed, tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr("xlfuncs.hosts.calc.offices._PATTERNS", {})
    said = run("sheets", listed(PALE), "-o", tmp_path / "out.pdf", status=2)
    assert said.count("\n") == 1
    assert "LibreOffice" in said
    assert not (tmp_path / "out.pdf").exists()


def test_five_hundred_recipes(listed, tmp_path):
    lines = (PALE | {"batch": f"No. {number}"} for number in range(500))
    out = tmp_path / "out.xlsx"
    assert "pages: 500" in run("sheets", listed(*lines), "-o", out)
    with zipfile.ZipFile(out) as archive:
        assert sum(name.startswith("xl/worksheets/sheet") for name in archive.namelist()) == 500


def test_two_runs_give_the_same_bytes(listed, tmp_path):
    made = []
    for name in ("one.xlsx", "two.xlsx"):
        run("sheets", listed(PALE), "-o", tmp_path / name)
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
