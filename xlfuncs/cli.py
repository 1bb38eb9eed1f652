"""The command line: make a workbook, compute it, report on it, look up a function."""

from __future__ import annotations

import datetime
import enum
import gc
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from xlfuncs import __version__, terminal
from xlfuncs.files import problems
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import back_up, replacing
from xlfuncs.hosts.calc.offices import OfficeProblem
from xlfuncs.hosts.excel.windows import ExcelProblem

if TYPE_CHECKING:
    from xlfuncs.audit.run import Audited
    from xlfuncs.hosts.embedded.engine import Calculation

app = typer.Typer(
    help="Spreadsheet functions for a brewer's gravity log.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


class Units(enum.StrEnum):
    """Units that a new workbook starts with."""

    METRIC = "metric"
    US = "us"


class Engine(enum.StrEnum):
    """What computes a workbook."""

    EMBEDDED = "embedded"
    CALC = "calc"


class Host(enum.StrEnum):
    """Spreadsheet programs that the functions can be installed into."""

    CALC = "calc"
    EXCEL = "excel"


class Paper(enum.StrEnum):
    """Papers that pages are printed on."""

    A4 = "a4"
    LETTER = "letter"


class Table(enum.StrEnum):
    """Tables that can be imported."""

    INSTRUMENTS = "instruments"
    CHECKS = "checks"
    BATCHES = "batches"
    LOG = "log"


class Dates(enum.StrEnum):
    """Orders of day, month and year."""

    YMD = "ymd"
    DMY = "dmy"
    MDY = "mdy"


class Decimal(enum.StrEnum):
    """Signs that part off decimals."""

    POINT = "point"
    COMMA = "comma"


class Gravity(enum.StrEnum):
    """Scale of targets that a new workbook starts with."""

    SG = "sg"
    PLATO = "plato"


_File = Annotated[Path, typer.Argument(help="The workbook (.xlsx or .xlsm)", show_default=False)]
_Force = Annotated[bool, typer.Option("--force", help="Replace the file if it exists")]


def main() -> None:
    """Run the command line; a problem with a file is one sentence, not a traceback."""
    # A workbook is made of objects by the hundred thousand, and a command ends soon: to look for
    # circles each time there are 700 more takes a third of its time.
    gc.set_threshold(100_000, 20, 100)
    # Matrices are small here: threads of numpy would only wait for each other, a second in all.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    problems.through_office[:] = [_through_office]
    try:
        app()
    except (WorkbookProblem, OfficeProblem, ExcelProblem) as problem:
        terminal.complain(f"xlfuncs: {problem}")
        sys.exit(2)


def _through_office(path: Path, data: bytes) -> bytes:
    from xlfuncs.hosts.calc import runner

    return runner.as_xlsx(path, data)


@app.command()
def new(
    file: _File,
    example: Annotated[
        bool, typer.Option("--example", help="Fill in an invented brewhouse with two brew days")
    ] = False,
    rows: Annotated[int, typer.Option(help="Lines in the log", min=20, max=5000)] = 200,
    units: Annotated[
        Units, typer.Option(help="Litres and °C, or US gallons and °F")
    ] = Units.METRIC,
    gravity: Annotated[Gravity, typer.Option(help="Scale of the targets")] = Gravity.SG,
    instruments: Annotated[int, typer.Option(help="Instruments on Setup", min=6, max=500)] = 6,
    checks: Annotated[
        int, typer.Option(help="Lines for calibration checks", min=60, max=5000)
    ] = 60,
    plain: Annotated[
        bool, typer.Option("--plain", help="In formulas that every program knows, no functions")
    ] = False,
    names: Annotated[
        bool,
        typer.Option("--names", help="Instead: the functions by name, for Excel without Python"),
    ] = False,
    last: Annotated[
        Path | None,
        typer.Option(
            "--from",
            help="Start a season: Setup, instruments, checks in force and own factors of LAST",
            metavar="LAST",
            show_default=False,
        ),
    ] = None,
    force: _Force = False,
) -> None:
    """Write a new brew-day workbook, with its values already computed.

    As FILE.xlsm it has the functions in it, for Excel on Windows.
    """
    from xlfuncs.hosts import embedded
    from xlfuncs.workbook import build
    from xlfuncs.workbook.sheets import start
    from xlfuncs.workbook.words import Choices

    macros_inside = file.suffix.lower() == ".xlsm" and not names and not plain
    _must_be_free(file, force, ".xlsm" if macros_inside else ".xlsx")
    if names:
        from xlfuncs.plain import names_file

        names_file.write(file)
        terminal.say(f"Wrote {file}")
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    if last is not None:
        if example:
            _stop("--example fills in an invented brewhouse, --from your own: choose one.")
        _season(last, file, rows, checks, plain, macros_inside)
        return
    choices = Choices(rows, units.value, gravity.value, example, instruments, checks, plain)
    with terminal.working("Building the workbook"):
        book = build.build(choices)
        calculation = embedded.calculate_book(book)
        named = start.as_stored(datetime.date.today())
        data = build.to_bytes(book, values=calculation.values, named=named)
        _finish(data, file, macros_inside, calculation)
    _name_failures(calculation.failures)
    terminal.say(f"Wrote {file}")


def _season(
    last: Path, file: Path, rows: int, checks: int, plain: bool, macros_inside: bool
) -> None:
    """Start a season with what stands at the end of the last one."""
    from xlfuncs.hosts import embedded
    from xlfuncs.records import season
    from xlfuncs.records import upgrade as records

    if _same(last, file):
        _stop(f"{file} is the last season's workbook itself: name another file.")
    with terminal.working(f"Starting {file.name} from {last.name}"):
        # Whatever its layout, and whether it is whole or not: today's sheets with its entries.
        sound = Source(last, records.upgraded(last).data)
        values = embedded.calculate(sound).values
        started = season.started(sound, values, rows, checks, plain)
        failures = _finish(started.data, file, macros_inside)
    for note in started.notes:
        terminal.say(f"note: {note}")
    terminal.say(f"Wrote {file}")
    _name_failures(failures)


def _finish(
    data: bytes, file: Path, macros_inside: bool, known: Calculation | None = None
) -> list[tuple[str, str, str]]:
    """Write a new workbook, finished; gives the formulas that could not be computed."""
    data, failures = _finished(data, file, macros_inside, known)
    with replacing(file) as target:
        target.write(data)
    return failures


def _finished(
    data: bytes, file: Path, macros_inside: bool, known: Calculation | None = None
) -> tuple[bytes, list[tuple[str, str, str]]]:
    """A workbook with its values, and with the functions in it if wanted.

    Gives the formulas that could not be computed too; a workbook whose values are `known` has them.
    """
    from xlfuncs.files import stored
    from xlfuncs.hosts import embedded
    from xlfuncs.workbook.sheets import start

    calculation = known or embedded.calculate(Source(file, data))
    if macros_inside:
        from xlfuncs.hosts.excel import install as excel
        from xlfuncs.hosts.excel import macros
        from xlfuncs.hosts.excel.windows import Computer

        excel.name_python(Computer())
        data = macros.with_functions(data)
    if known is None:
        named = start.as_stored(datetime.date.today())
        data = stored.with_values(Source(file, data), calculation.values, named)
    return data, calculation.failures


@app.command()
def upgrade(
    file: _File,
    out: Annotated[Path, typer.Option("-o", "--out", help="The new workbook", show_default=False)],
    rows: Annotated[
        int | None,
        typer.Option(help="Lines in the log, at least", min=20, max=5000, show_default=False),
    ] = None,
    checks: Annotated[
        int | None,
        typer.Option(
            help="Lines for calibration checks, at least", min=60, max=5000, show_default=False
        ),
    ] = None,
    plain: Annotated[
        bool | None,
        typer.Option(
            "--plain/--functions",
            help="Formulas that every program knows, or our functions; unless given, as in FILE",
            show_default=False,
        ),
    ] = None,
    force: _Force = False,
) -> None:
    """Put a workbook into today's sheets: one of the first edition, too short, or spoilt.

    Entries, notes, extra columns and sheets, comments and pictures come along; what cannot is
    listed.  FILE stays as it is.
    """
    from xlfuncs.records import upgrade as records

    if _same(file, out):
        _stop(f"{out} is the old workbook itself: name another file.")
    macros_inside = out.suffix.lower() == ".xlsm"
    _must_be_free(out, force, ".xlsm" if macros_inside else ".xlsx")
    with terminal.working(f"Carrying {file.name} over"):
        new = records.upgraded(file, rows=rows, checks=checks, plain=plain)
        failures = _finish(new.data, out, macros_inside)
    for note in new.notes:
        terminal.say(f"note: {note}")
    for lost in new.lost:
        terminal.complain(f"not carried over: {lost}")
    terminal.say(f"Wrote {out}")
    _name_failures(failures)


@app.command()
def addin(
    out: Annotated[Path, typer.Argument(help="The add-in (.xlam)", show_default=False)],
    force: _Force = False,
) -> None:
    """Write the add-in for Excel alone; `install excel` puts it where Excel looks."""
    from xlfuncs.hosts.excel import macros

    _must_be_free(out, force, ".xlam")
    with replacing(out) as file:
        file.write(macros.addin())
    terminal.say(f"Wrote {out}")


@app.command()
def calculate(
    file: _File,
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="Write here instead of into FILE", show_default=False),
    ] = None,
    engine: Annotated[
        Engine, typer.Option(help="Computed here, or by LibreOffice Calc")
    ] = Engine.EMBEDDED,
    force: _Force = False,
) -> None:
    """Compute a filled workbook and store the values beside its formulas.

    Without -o the file itself gets the new values; nothing else in it changes.
    """
    from xlfuncs.files import stored
    from xlfuncs.workbook.sheets import start

    target = file if out is None else out
    _must_be_xlsx(file)
    source = problems.read(file)
    if out is not None and not _same(out, file):
        _must_be_free(out, force, source.ending())
    _must_be_closed(target)
    with terminal.working(f"Computing {file.name}"):
        values, failures = _computed(source, engine)
        stored.store(source, values, target, start.as_stored(datetime.date.today()))
    terminal.say(f"{len(values)} values stored in {target}")
    _name_failures(failures)


def _computed(
    source: Source, engine: Engine
) -> tuple[dict[tuple[str, str], Any], list[tuple[str, str, str]]]:
    """Values of the formula cells, and the formulas that could not be computed."""
    if engine is Engine.EMBEDDED:
        from xlfuncs.hosts import embedded

        calculation = embedded.calculate(source)
        return dict(calculation.values), calculation.failures
    from xlfuncs.hosts.calc import runner

    found = runner.compute(source)
    unknown = {place for place, value in found.items() if value == "#NAME?"}
    return (
        {place: value for place, value in found.items() if place not in unknown},
        [(*place, "Calc does not know a name in it") for place in sorted(unknown)],
    )


@app.command("import")
def import_(
    data: Annotated[Path, typer.Argument(help="The file (.csv or .xlsx)", show_default=False)],
    into: Annotated[Path, typer.Option(help="The workbook to import into", show_default=False)],
    table: Annotated[Table, typer.Option(help="What the lines are", show_default=False)],
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking")] = False,
    column: Annotated[
        list[str] | None,
        typer.Option(help="“HEADING=NAME”: what a heading means; “HEADING=”: leave it out"),
    ] = None,
    batch: Annotated[str | None, typer.Option(help="Batch of lines that name none")] = None,
    stage: Annotated[str | None, typer.Option(help="Stage of lines that name none")] = None,
    instrument: Annotated[
        str | None, typer.Option(help="Instrument of lines that name none")
    ] = None,
    dates: Annotated[
        Dates | None, typer.Option(help="Order of day, month and year, where it is not clear")
    ] = None,
    decimal: Annotated[
        Decimal | None, typer.Option(help="Sign before decimals, where it is not clear")
    ] = None,
    units: Annotated[
        Units | None,
        typer.Option(help="Units that the file does not name; otherwise those of the workbook"),
    ] = None,
    sheet: Annotated[str | None, typer.Option(help="The sheet of a .xlsx")] = None,
    hours: Annotated[
        float,
        typer.Option(
            help="A floating hydrometer's readings are thinned to their median of so many hours",
            min=0.1,
            max=168,
        ),
    ] = 1,
) -> None:
    """Take the lines of a file into a table of a workbook; docs/tables.md has the headings.

    What was recognised is shown first.  Leaves with status 1 when lines were rejected.
    """
    from xlfuncs.records import importing, reading, shown
    from xlfuncs.records.plans import Options
    from xlfuncs.records.tables import TABLES

    options = Options.of(
        column or (), {"batch": batch, "stage": stage, "instrument": instrument},
        TABLES[table], dates=dates, decimal=decimal, units=units, sheet=sheet, hours=hours,
    )  # fmt: skip
    if _same(data, into):
        _stop(f"{data} is the workbook itself.")
    _must_be_closed(into)
    source = problems.read(into)
    with terminal.working(f"Reading {data.name}"):
        lines = reading.content(data)
        plan = importing.plan(lines, source, TABLES[table], options, datetime.date.today())
    shown.show(plan, options)
    if plan.lines:
        if not yes:
            _must_want(f"Write into {into.name}?")
        _write_import(Source(source.path, importing.entered(plan)), source, lines)
    if plan.rejected:
        raise typer.Exit(1)


def _write_import(new: Source, old: Source, lines: Source) -> None:
    """Compute a workbook with new lines and put it in the place of the old one, which is kept."""
    with terminal.working(f"Computing {new.name}"):
        # One that was built anew to be longer has no macros yet.
        macros_are_lost = new.ending() != old.ending() == ".xlsm"
        data, failures = _finished(new.data, new.path, macros_are_lost)
    if lines.changed():
        _stop(f"{lines.name} was changed meanwhile; nothing was written: run it again.")
    kept = back_up(old)
    try:
        with replacing(old.path, old) as file:
            file.write(data)
    except BaseException:
        kept.unlink()
        raise
    terminal.say(f"Wrote {old.path}; as it was before: {kept.name}")
    _name_failures(failures)


def _must_want(question: str) -> None:
    """Ask; leave with status 2 where the answer is no, or nobody can be asked."""
    if not sys.stdin.isatty():
        _stop("nothing was written: nobody is there to be asked; --yes writes without asking.")
    if not typer.confirm(question):
        terminal.say("Nothing was written.")
        raise typer.Exit(2)


@app.command()
def freeze(
    file: _File,
    out: Annotated[Path, typer.Option("-o", "--out", help="The copy", show_default=False)],
    engine: Annotated[
        Engine, typer.Option(help="Computed here, or by LibreOffice Calc")
    ] = Engine.EMBEDDED,
    force: _Force = False,
) -> None:
    """Write a copy with values in place of our functions, for those who have none.

    All else stays as it was; a sheet at the end says of which day the values are.
    """
    from xlfuncs.files import calls, frozen
    from xlfuncs.functions import CATALOGUE
    from xlfuncs.hosts.excel import macros

    if _same(file, out):
        _stop(f"{out} is the workbook itself, whose formulas would be lost: name another file.")
    _must_be_xlsx(file)
    source = problems.read(file)
    macros_go = source.ending() == ".xlsm" and out.suffix.lower() != ".xlsm"
    _must_be_free(out, force, ".xlsx" if macros_go else source.ending())
    with terminal.working(f"Computing {file.name}"):
        values, failures = _computed(source, engine)
        data = macros.without_functions(source.data) if macros_go else source.data
        data, done = frozen.freeze(
            data, values, calls.Calls(CATALOGUE), __version__, datetime.date.today()
        )
        with replacing(out) as target:
            target.write(data)
    terminal.say(f"{sum(done.cells.values())} cells fixed in {out}")
    for left in done.left:
        terminal.complain(f"still calls the functions: {left}")
    _name_failures(failures)


@app.command("print")
def print_(
    file: _File,
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="The PDF; FILE.pdf unless given", show_default=False),
    ] = None,
    sheet: Annotated[
        str | None,
        typer.Option(help="One sheet alone, such as “Batch sheet”", show_default=False),
    ] = None,
    force: _Force = False,
) -> None:
    """Print a workbook, or one sheet of it, to PDF through LibreOffice, computed afresh."""
    from xlfuncs.hosts.calc import runner

    target = file.with_suffix(".pdf") if out is None else out
    _must_be_free(target, force, ".pdf")
    with terminal.working(f"Printing {file.name}"):
        runner.print_pdf(file, target, sheet=sheet or "")
    terminal.say(f"Wrote {target}")


@app.command()
def sheets(
    recipes: Annotated[
        Path,
        typer.Argument(help="A list (.csv, .xlsx), or a workbook of ours", show_default=False),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "-o", "--out", help="A .pdf or .xlsx; RECIPES.pdf unless given", show_default=False
        ),
    ] = None,
    book: Annotated[
        Path | None,
        typer.Option(help="The workbook with units, refractometers, checks", show_default=False),
    ] = None,
    shop: Annotated[
        str, typer.Option(help="At the head of each page; else BOOK's brewery", show_default=False)
    ] = "",
    batch: Annotated[
        list[str] | None,
        typer.Option(help="Print this recipe alone; may be repeated", show_default=False),
    ] = None,
    paper: Annotated[
        Paper | None, typer.Option(help="A4, or Letter where units are US", show_default=False)
    ] = None,
    units: Annotated[
        Units, typer.Option(help="Units of a list that names none, without BOOK")
    ] = Units.METRIC,
    gravity: Annotated[
        Gravity, typer.Option(help="Scale that the pages are in, without BOOK")
    ] = Gravity.SG,
    column: Annotated[
        list[str] | None,
        typer.Option(
            help="HEADING=NAME: what a heading means; HEADING= leaves it out", show_default=False
        ),
    ] = None,
    dates: Annotated[
        Dates | None, typer.Option(help="Order of the list's dates", show_default=False)
    ] = None,
    decimal: Annotated[
        Decimal | None, typer.Option(help="Decimal sign of the list", show_default=False)
    ] = None,
    force: _Force = False,
) -> None:
    """Print a page for each recipe: targets, boxes for a pen, °Bx turned into gravity.

    Lines of the list that give no page are named, the others are printed; then it leaves with
    status 1.  A .pdf needs LibreOffice, an .xlsx nothing.
    """
    from xlfuncs.cells.values import date_serial
    from xlfuncs.records import tables
    from xlfuncs.records.plans import Options
    from xlfuncs.shop import brewhouse, run

    target = recipes.with_suffix(".pdf") if out is None else out
    _must_be_free(target, force, ".xlsx" if target.suffix.lower() == ".xlsx" else ".pdf")
    house = None if book is None else brewhouse.of_workbook(book)
    options = Options.of(column or (), {}, tables.RECIPES, dates=dates and dates.value,
                         decimal=decimal and decimal.value)  # fmt: skip
    evening = run.read(recipes, house, units.value, gravity.value, batch or (), options)
    for remark in evening.remarks():
        terminal.complain(remark)
    if not evening.recipes:
        _stop(f"{recipes.name} has no recipe that can be printed; nothing was written.")
    size = run.paper(evening, paper and paper.value)
    with terminal.working(f"Printing {len(evening.recipes)} pages"):
        data = run.workbook(evening, shop, size, date_serial(datetime.date.today()))
        _write_or_print(data, target, seconds=120 + len(evening.recipes))
    terminal.say(f"Wrote {target}, pages: {len(evening.recipes)}")
    if evening.refused or evening.lacking:
        raise typer.Exit(1)


@app.command()
def install(host: Annotated[Host, typer.Argument(help="The spreadsheet program")]) -> None:
    """Put the functions into a spreadsheet program of this user."""
    if host is Host.EXCEL:
        from xlfuncs.hosts.excel import install as excel
        from xlfuncs.hosts.excel.windows import Computer

        for part in excel.install(Computer()):
            terminal.say(f"{part.name}: {part.found}")
        terminal.say("The functions are there when Excel starts.")
        return
    from xlfuncs.hosts.calc import install as calc

    with terminal.working("Installing the add-in"):
        done = calc.install()
    terminal.say(f"Functions {done.version} are in {done.office.soffice}")
    if done.site_packages is not None:
        terminal.say(f"numpy for it: {done.site_packages}")
    terminal.say("Restart LibreOffice if it is open.")


@app.command()
def uninstall(host: Annotated[Host, typer.Argument(help="The spreadsheet program")]) -> None:
    """Take the functions out of a spreadsheet program."""
    if host is Host.EXCEL:
        from xlfuncs.hosts.excel import install as excel
        from xlfuncs.hosts.excel.windows import Computer

        was_there = excel.uninstall(Computer())
    else:
        from xlfuncs.hosts.calc import install as calc

        with terminal.working("Taking the add-in out"):
            was_there = calc.uninstall()
    terminal.say("The functions were taken out." if was_there else "The functions were not there.")


@app.command()
def doctor() -> None:
    """Say for each host what is found, what is missing, and the command that mends it."""
    from xlfuncs.hosts import doctor as doctor_

    for finding in doctor_.doctor():
        terminal.say(f"{finding.host}: {'ready' if finding.ready else 'not ready'}", bold=True)
        for what, which in finding.facts:
            terminal.say(f"  {what}: {which}")
        if finding.missing:
            terminal.say(f"  missing: {finding.missing}")
        if finding.mend:
            terminal.say(f"  to mend: {finding.mend}")
        if finding.instead:
            terminal.say(f"  instead: {finding.instead}")


@app.command()
def report(
    file: _File,
    as_json: Annotated[
        bool, typer.Option("--json", help="Plain data; the keys stand in docs/report.md")
    ] = False,
) -> None:
    """Print corrected gravities, verdicts and the state of the instruments.

    The figures are computed afresh from what is typed in; the file is not changed.
    """
    from xlfuncs.hosts import embedded
    from xlfuncs.report import content, text
    from xlfuncs.workbook import reader

    with terminal.working(f"Computing {file.name}"):
        source = problems.read(file)
        reader.must_be_ours(source)  # else other things may seem wrong with it
        book = embedded.opened(source)
        calculation = embedded.calculate_book(book)
        filled = reader.read(source, calculation.values, book)
    if as_json:
        data = content.gather(filled)
        data["version"] = __version__
        data["not_computed"] = [
            {"sheet": sheet, "cell": address, "reason": reason}
            for sheet, address, reason in calculation.failures
        ]
        terminal.data(data)
    else:
        text.show(filled)
    _name_failures(calculation.failures)


@app.command()
def audit(
    workbooks: Annotated[
        list[str], typer.Argument(help="Workbooks, folders, patterns", show_default=False)
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="Plain data; the keys stand in docs/audit.md")
    ] = False,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", help="Print the record into this file too", show_default=False),
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", help="Write the record as a workbook too", show_default=False),
    ] = None,
    on: Annotated[
        datetime.datetime | None,
        typer.Option(
            help="The day of the audit; today unless given",
            formats=["%Y-%m-%d"],
            show_default=False,
        ),
    ] = None,
    force: _Force = False,
) -> None:
    """Trace every reading to the calibration in force, in one workbook or in many as one record.

    The files are not changed.  Leaves with status 1 when a severe finding stands.
    """
    from xlfuncs.audit import run
    from xlfuncs.audit import text as audit_text
    from xlfuncs.audit.findings import Severity

    for out, ending in ((pdf, ".pdf"), (xlsx, ".xlsx")):
        if out is not None:
            _must_be_free(out, force, ending)
    today = on.date() if on else datetime.date.today()
    audited = run.audit_all(
        terminal.progress(_workbooks(workbooks), "Auditing"),
        today,
    )
    audited.audit.skipped = run.skipped(workbooks)
    if as_json:
        terminal.data(audited.audit.as_data(), **audited.audit.lists())
    else:
        audit_text.show(audited.audit)
    if pdf is not None or xlsx is not None:
        _write_record(audited, pdf, xlsx)
    if audited.audit.totals()[Severity.SEVERE]:
        raise typer.Exit(1)


@app.command()
def history(
    workbooks: Annotated[
        list[str], typer.Argument(help="Workbooks, folders, patterns", show_default=False)
    ],
    as_csv: Annotated[
        Path | None,
        typer.Option("--csv", help="Write the batches into this file too", show_default=False),
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", help="Write pictures and tables too", show_default=False),
    ] = None,
    force: _Force = False,
) -> None:
    """Print batches over the years: efficiency, attenuation, targets, instruments, own factors.

    The files are not changed.  Broken ones are named and left out; then it leaves with status 1.
    """
    from xlfuncs.history import run, table, text, workbook

    for target, ending in ((as_csv, ".csv"), (xlsx, ".xlsx")):
        if target is not None:
            _must_be_free(target, force, ending)
    found = run.read(terminal.progress(_workbooks(workbooks), "Reading"))
    for broken in found.broken:
        terminal.complain(f"left out: {broken}")
    if not found.files:
        _stop("none of these files is a workbook that can be read.")
    text.show(found)
    if as_csv is not None:
        with replacing(as_csv) as file:
            file.write(table.as_csv(found.batches))
        terminal.complain(f"Wrote {as_csv}")
    if xlsx is not None:
        with replacing(xlsx) as file:
            file.write(workbook.to_bytes(found))
        terminal.complain(f"Wrote {xlsx}")
    if found.broken:
        raise typer.Exit(1)


@app.command()
def functions(
    name: Annotated[
        str | None, typer.Argument(help="One function; without it, all", show_default=False)
    ] = None,
) -> None:
    """Print the function reference."""
    from rich.markdown import Markdown

    from xlfuncs import reference
    from xlfuncs.functions import CATALOGUE

    if name is None:
        terminal.table(
            "Cell functions",
            ("function", "gives"),
            [(one.signature(), one.documentation.summary) for one in CATALOGUE.values()],
        )
        return
    found = CATALOGUE.get(name.upper())
    if found is None:
        near = [known for known in CATALOGUE if name.upper() in known]
        hint = f" Did you mean {', '.join(near)}?" if near else " See: xlfuncs functions"
        _stop(f"there is no function {name}.{hint}")
    terminal.out.print(Markdown(reference.entry(found)))


@app.command()
def version() -> None:
    """Print the version."""
    print(__version__)


def _write_record(audited: Audited, pdf: Path | None, xlsx: Path | None) -> None:
    from xlfuncs.audit import document
    from xlfuncs.hosts.calc import runner

    with terminal.working("Writing the record"):
        content = document.workbook(audited)
    if xlsx is not None:
        with replacing(xlsx) as file:
            file.write(content)
        terminal.complain(f"Wrote {xlsx}")
    if pdf is not None:
        with tempfile.TemporaryDirectory() as folder, terminal.working("Printing the record"):
            draft = Path(folder) / "record.xlsx"
            draft.write_bytes(content)
            runner.print_pdf(draft, pdf)
        terminal.complain(f"Wrote {pdf}")


def _write_or_print(data: bytes, target: Path, seconds: float) -> None:
    """Write a workbook of ours, or have an office print it where the target is a .pdf."""
    if target.suffix.lower() != ".pdf":
        with replacing(target) as file:
            file.write(data)
        return
    from xlfuncs.hosts.calc import runner

    runner.print_pdf(Source(target.with_suffix(".xlsx"), data), target, timeout=seconds)


# --- refusing ------------------------------


def _stop(reason: str) -> NoReturn:
    raise WorkbookProblem(reason)


def _same(one: Path, other: Path) -> bool:
    return one.exists() and other.exists() and one.samefile(other)


def _workbooks(arguments: list[str]) -> list[Path]:
    """The workbooks that arguments name, of which there must be one."""
    from xlfuncs.audit import run

    found = run.files(arguments)
    if not found:
        _stop(f"there is no workbook ({', '.join(problems.ENDINGS)}) in {', '.join(arguments)}")
    return found


def _must_be_free(file: Path, force: bool, ending: str = ".xlsx") -> None:
    if file.is_dir():
        _stop(f"{file} is a folder; name a file in it.")
    if file.suffix.lower() != ending:
        _stop(f"{file} must end in {ending}.")
    if file.exists() and not force:
        _stop(f"{file} exists already; choose another name, or --force to replace it.")
    _must_be_closed(file)


def _must_be_xlsx(file: Path) -> None:
    """Values are stored in the file that was read, and no other is made of it by the way."""
    if file.suffix.lower() == problems.OPEN_DOCUMENT:
        _stop(f"{file.name} is read only: save it as .xlsx in LibreOffice first.")


def _must_be_closed(file: Path) -> None:
    """A file that a spreadsheet program has open would be overwritten at its next save."""
    for lock in (file.with_name(f"~${file.name}"), file.with_name(f".~lock.{file.name}#")):
        if lock.exists():
            _stop(
                f"{file.name} is open in another program (it left {lock.name}): close it there "
                "first, or delete that file if the program crashed."
            )


#: So many formulas that were not computed are named; the others are counted.
_NAMED = 10


def _name_failures(failures: list[tuple[str, str, str]]) -> None:
    """Name the first formulas that were not computed, count the others, leave with status 1."""
    for sheet, address, reason in failures[:_NAMED]:
        terminal.complain(f"not computed: {sheet}!{address}: {reason}")
    if len(failures) > _NAMED:
        more = len(failures) - _NAMED
        terminal.complain(f"not computed: {more} more, {len(failures)} formulas in all")
    if failures:
        raise typer.Exit(1)
