"""`xlfuncs import`: what is asked, written, kept and said, and that nothing is half done."""

import datetime
import io
import sys

import openpyxl
import pytest

from tests.helpers import cells_of, column, columns, parts_of, run
from tests.plain import engines
from xlfuncs import cli
from xlfuncs.cells.values import date_serial
from xlfuncs.files.problems import Source
from xlfuncs.records import importing
from xlfuncs.records.book import Book
from xlfuncs.records.tables import TABLES

LINES = """date,batch,stage,reading,temperature,note
2025-03-15 10:00,Pale 12,before boil,12.4,20,=1+1
2025-03-15 10:05,Pale 12,before boil,12.5,20,"+5, -5"
"""


@pytest.fixture
def lines(tmp_path):
    path = tmp_path / "lines.csv"
    path.write_text(LINES)
    return path


def log_of(path):
    """The lines of the log that hold something, as typed."""
    book = Book(Source(path, path.read_bytes()), TABLES["log"])
    return [{key: value for key, value in line.items() if value is not None}
            for line in book.lines[: book.free]]  # fmt: skip


@pytest.mark.parametrize("kind", ["book", "macro_book"])
def test_lines_are_written_computed_and_the_old_file_is_kept(kind, lines, request):
    path = request.getfixturevalue(kind)
    before, old = path.read_bytes(), parts_of(path)
    said = run("import", lines, "--into", path, "--table", "log", "--yes")
    assert f"as it was before: {path.name}.bak" in said
    assert path.with_name(path.name + ".bak").read_bytes() == before
    assert log_of(path)[1:] == [
        {"log_date": pytest.approx(date_serial_of(10, 0)), "log_batch": "Pale 12",
         "log_stage": "before boil", "log_reading": 12.4, "log_temperature": 20.0,
         "log_note": "=1+1"},
        {"log_date": pytest.approx(date_serial_of(10, 5)), "log_batch": "Pale 12",
         "log_stage": "before boil", "log_reading": 12.5, "log_temperature": 20.0,
         "log_note": "+5, -5"},
    ]  # fmt: skip
    # 12.4 °Bx less the 0.1 that the check in water shows, at a wort factor of 1.04: 11.83 °Plato.
    assert column(path, "log_gravity")[1] == pytest.approx(1.0477, abs=1e-4)
    assert parts_of(path).keys() == old.keys()
    # Neither of the texts has become a formula.
    assert column(path, "log_note")[1:3] == ["=1+1", "+5, -5"]
    assert not set(cells_of(path, "log_note")) & engines.formulas(path).keys()


def date_serial_of(hour, minute):
    return date_serial(datetime.datetime(2025, 3, 15, hour, minute))


def test_a_plain_workbook_in_gallons_and_fahrenheit(plain_book, lines):
    lines.write_text(LINES.replace(",20,", ",20 °C,"))
    run("import", lines, "--into", plain_book, "--table", "log", "--yes")
    assert [line["log_temperature"] for line in log_of(plain_book)[1:]] == [68.0, 68.0]
    assert column(plain_book, "log_gravity")[1] == pytest.approx(1.0477, abs=1e-4)


def test_once_more_changes_nothing(book, lines):
    run("import", lines, "--into", book, "--table", "log", "--yes")
    after = book.read_bytes()
    said = run("import", lines, "--into", book, "--table", "log")  # nothing to ask for
    assert "0 to write on Log of book.xlsx, 2 there already, 0 rejected" in said
    assert book.read_bytes() == after
    assert not book.with_name("book.xlsx.bak2").exists()


def test_what_was_recognised_is_shown_before_anything_is_asked(book, lines):
    lines.write_text("Datum;Sud;Stufe;Wert;Temp (°F);Farbe\n14.3.2025;13;Maische;12,4;68;x\n")
    said = run("import", lines, "--into", book, "--table", "log", "--yes")
    for expected in ("“Datum”", "°F, to °C", "nothing, not taken over", "separator: semicolon",
                     "decimal comma", "day, month, year", "2025-03-14", "1 to write"):  # fmt: skip
        assert expected in said


def test_rejected_lines_are_listed_the_others_written_and_the_status_is_1(book, lines):
    lines.write_text(LINES + "2025-03-16,Nix,mash,12,20,\n2025-03-16,Nix,mash,13,20,\n,,,,,x\n")
    said = run("import", lines, "--into", book, "--table", "log", "--yes", status=1)
    assert "rejected: lines 4 to 5: batch “Nix” is not on Batches" in said
    assert "rejected: line 6: batch is blank; stage is blank" in said
    assert len(log_of(book)) == 3
    assert "rejected" in run("import", lines, "--into", book, "--table", "log", status=1)


def test_a_second_import_keeps_the_first_copy_too(book, lines):
    run("import", lines, "--into", book, "--table", "log", "--yes")
    middle = book.read_bytes()
    lines.write_text(LINES.replace("12.4", "12.6"))
    run("import", lines, "--into", book, "--table", "log", "--yes")
    assert book.with_name("book.xlsx.bak2").read_bytes() == middle


@pytest.mark.parametrize(("answer", "writes"), [("y\n", True), ("n\n", False), ("\n", False)])
def test_the_question(book, lines, monkeypatch, answer, writes):
    before = book.read_bytes()
    keyboard = io.StringIO(answer)
    keyboard.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", keyboard)
    run("import", lines, "--into", book, "--table", "log", status=0 if writes else 2)
    assert (book.read_bytes() != before) == writes
    assert book.with_name("book.xlsx.bak").exists() == writes


# --- tables that are too short ------------------------------


@pytest.mark.parametrize(
    ("table", "kind"),
    [("log", "book"), ("log", "macro_book"), ("checks", "book"), ("batches", "book"),
     ("instruments", "book")],
)  # fmt: skip
def test_a_table_that_is_too_short_grows_and_keeps_all(table, kind, tmp_path, request):
    path, lines = request.getfixturevalue(kind), tmp_path / "many.csv"
    before = everything(path)
    count = {"log": 45, "checks": 70, "batches": 21, "instruments": 20}[table]
    day = datetime.date(2025, 3, 15)
    heading, line = {
        "log": ("date,batch,stage,reading\n", "{day},13,before boil,1{i:02}e-1\n"),
        "checks": ("date,reading\n", "{day},0.{i:02}\n"),
        "batches": ("batch,grain\n", "Many {i},5.5\n"),
        "instruments": ("name,scale\n", "Many {i},SG\n"),
    }[table]
    lines.write_text(heading + "".join(
        line.format(day=day + datetime.timedelta(i), i=i) for i in range(count)))  # fmt: skip
    said = run("import", lines, "--into", path, "--table", table, "--yes")
    assert "the table grows from" in said
    words = " ".join(said.split())
    assert "macros do not come along" not in words
    assert ("the functions' macros again" in words) == (kind == "macro_book")
    after = everything(path)
    for name, values in before.items():
        if not name.startswith(TABLES[table].prefix):
            assert [value for value in after[name] if value] == [value for value in values if value]
    first = TABLES[table].column(heading.partition(",")[0]).target
    old, new = ([value for value in found[first] if value is not None] for found in (before, after))
    assert (new[: len(old)], len(new)) == (old, len(old) + count)
    assert Source(path, path.read_bytes()).ending() == path.suffix
    if table == "log":
        assert column(path, "log_gravity")[45] == pytest.approx(1.056, abs=2e-3)  # of 14.4 °Bx
    if path.suffix == ".xlsm":
        assert "xl/vbaProject.bin" in parts_of(path)


def everything(path):
    """All that is typed into the four tables."""
    return columns(path, [name for table in TABLES.values() for name in table.typed])


# --- refusals: status 2, and the workbook as it was ------------------------------


def refused(book, *arguments):
    before = book.read_bytes()
    said = run("import", *arguments, "--into", book, status=2)
    assert book.read_bytes() == before
    assert [path.name for path in book.parent.iterdir() if ".bak" in path.name] == []
    return said


def test_nobody_to_ask(book, lines, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    said = refused(book, lines, "--table", "log")
    assert "nothing was written: nobody is there to be asked" in said


def test_a_file_that_is_changed_while_it_is_read(book, lines, monkeypatch):
    entered = importing.entered

    def meanwhile(plan):
        lines.write_text(LINES + "2025-03-16,13,mash,12,20,\n")
        return entered(plan)

    monkeypatch.setattr(importing, "entered", meanwhile)
    assert "lines.csv was changed meanwhile" in refused(book, lines, "--table", "log", "--yes")


def test_a_workbook_that_is_changed_meanwhile_is_not_overwritten(book, lines, monkeypatch):
    entered = importing.entered

    def meanwhile(plan):
        book.write_bytes(book.read_bytes() + b" ")
        return entered(plan)

    monkeypatch.setattr(importing, "entered", meanwhile)
    said = run("import", lines, "--into", book, "--table", "log", "--yes", status=2)
    assert "book.xlsx was changed by another program meanwhile" in said
    assert not book.with_name("book.xlsx.bak").exists()


def test_a_workbook_that_is_open(book, lines):
    book.with_name("~$book.xlsx").write_text("")
    assert "is open in another program" in refused(book, lines, "--table", "log", "--yes")


def test_a_workbook_into_itself(book):
    assert "is the workbook itself" in refused(book, book, "--table", "log", "--yes")


def test_a_workbook_that_is_none_of_ours(lines, tmp_path):
    path = tmp_path / "other.xlsx"
    openpyxl.Workbook().save(path)
    assert "not a gravity log" in refused(path, lines, "--table", "log", "--yes")


def test_options_that_do_not_fit_the_table(book, lines):
    said = refused(book, lines, "--table", "batches", "--stage", "mash", "--yes")
    assert "the table batches has no column stage" in said


@pytest.mark.parametrize("hours", ["0", "169", "nan"])
def test_hours_that_are_too_few_too_many_or_none(book, lines, hours):
    assert "Invalid value for '--hours'" in refused(
        book, lines, "--table", "log", "--hours", hours, "--yes"
    )


def test_the_command_names_each_table():
    assert list(cli.TABLE.choices) == list(TABLES)
