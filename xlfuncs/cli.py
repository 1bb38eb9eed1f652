"""The command line: make a workbook, compute it, report on it, look up a function."""

from __future__ import annotations

import atexit
import datetime
import gc
import math
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from xlfuncs import __version__, terminal
from xlfuncs.files import problems
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import back_up, replacing
from xlfuncs.hosts.calc.offices import OfficeProblem
from xlfuncs.hosts.excel.windows import ExcelProblem

if TYPE_CHECKING:
    from xlfuncs.audit.run import Audited
    from xlfuncs.hosts.embedded.engine import Calculation


class _Commands(click.Group):
    """The commands in the order in which they stand here, not that of the alphabet."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            ctx.exit(130)  # as shells count it


@click.group(cls=_Commands, context_settings={"show_default": True})
def app() -> None:
    """Spreadsheet functions for a brewer's gravity log."""


_PATH = click.Path(path_type=Path)
_ROWS, _CHECKS = click.IntRange(20, 5000), click.IntRange(60, 5000)
_UNITS, _GRAVITY = click.Choice(["metric", "us"]), click.Choice(["sg", "plato"])
_DATES, _DECIMAL = click.Choice(["ymd", "dmy", "mdy"]), click.Choice(["point", "comma"])
#: Tables that can be imported.
TABLE = click.Choice(["instruments", "checks", "batches", "log"])

_file = click.argument("file", type=_PATH, help="The workbook (.xlsx or .xlsm)")
_files = click.argument("workbooks", nargs=-1, required=True, help="Workbooks, folders, patterns")
_host = click.argument("host", type=click.Choice(["calc", "excel"]), help="The spreadsheet program")
_engine = click.option(
    "--engine",
    type=click.Choice(["embedded", "calc"]),
    default="embedded",
    help="Computed here, or by LibreOffice Calc",
)
_force = click.option("--force", is_flag=True, help="Replace the file if it exists")


def main() -> None:
    """Run the command line; a problem with a file is one sentence, not a traceback."""
    # A workbook is made of objects by the hundred thousand, and a command ends soon: to look among
    # them for circles takes a third of its time, and finds next to none; nor is it worth while at
    # the end, when all goes with the process.
    gc.disable()
    atexit.register(gc.freeze)
    # Matrices are small here: threads of numpy would only wait for each other, a second in all.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    problems.through_office[:] = [_through_office]
    try:
        app()
    except (WorkbookProblem, OfficeProblem, ExcelProblem) as problem:
        terminal.complain(f"xlfuncs: {problem}")
        sys.exit(2)
    finally:
        gc.enable()


def _through_office(path: Path, data: bytes) -> bytes:
    from xlfuncs.hosts.calc import runner

    return runner.as_xlsx(path, data)


@app.command()
@_file
@click.option("--example", is_flag=True, help="Fill in an invented brewhouse with two brew days")
@click.option("--rows", type=_ROWS, default=200, help="Lines in the log")
@click.option("--units", type=_UNITS, default="metric", help="Litres and °C, or US gallons and °F")
@click.option("--gravity", type=_GRAVITY, default="sg", help="Scale of the targets")
@click.option("--instruments", type=click.IntRange(6, 500), default=6, help="Instruments on Setup")
@click.option("--checks", type=_CHECKS, default=60, help="Lines for calibration checks")
@click.option("--plain", is_flag=True, help="In formulas that every program knows, no functions")
@click.option(
    "--names", is_flag=True, help="Instead: the functions by name, for Excel without Python"
)
@click.option(
    "--from",
    "last",
    type=_PATH,
    metavar="LAST",
    help="Start a season: Setup, instruments, checks in force and own factors of LAST",
)
@_force
def new(
    file: Path,
    example: bool,
    rows: int,
    units: str,
    gravity: str,
    instruments: int,
    checks: int,
    plain: bool,
    names: bool,
    last: Path | None,
    force: bool,
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
    choices = Choices(rows, units, gravity, example, instruments, checks, plain)
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
    from xlfuncs.workbook.reader import Reader

    if _same(last, file):
        _stop(f"{file} is the last season's workbook itself: name another file.")
    with terminal.working(f"Starting {file.name} from {last.name}"):
        # Whatever its layout, and whether it is whole or not: today's sheets with its entries.
        sound = records.upgraded(last)
        book = embedded.opened(Source(last, sound.data))
        filled = Reader(last, book, embedded.calculate_book(book).values)
        started = season.started(filled, sound.choices, rows, checks, plain)
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
@_file
@click.option("-o", "--out", type=_PATH, required=True, help="The new workbook")
@click.option("--rows", type=_ROWS, help="Lines in the log, at least")
@click.option("--checks", type=_CHECKS, help="Lines for calibration checks, at least")
@click.option(
    "--plain/--functions",
    default=None,
    help="Formulas that every program knows, or our functions; unless given, as in FILE",
)
@_force
def upgrade(
    file: Path, out: Path, rows: int | None, checks: int | None, plain: bool | None, force: bool
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
@click.argument("out", type=_PATH, help="The add-in (.xlam)")
@_force
def addin(out: Path, force: bool) -> None:
    """Write the add-in for Excel alone; `install excel` puts it where Excel looks."""
    from xlfuncs.hosts.excel import macros

    _must_be_free(out, force, ".xlam")
    with replacing(out) as file:
        file.write(macros.addin())
    terminal.say(f"Wrote {out}")


@app.command()
@_file
@click.option("-o", "--out", type=_PATH, help="Write here instead of into FILE")
@_engine
@_force
def calculate(file: Path, out: Path | None, engine: str, force: bool) -> None:
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
    source: Source, engine: str
) -> tuple[dict[tuple[str, str], Any], list[tuple[str, str, str]]]:
    """Values of the formula cells, and the formulas that could not be computed."""
    if engine == "embedded":
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


def _number(_: click.Context, __: click.Parameter, value: float) -> float:
    """Refuse nan, which lies outside of no range."""
    if math.isnan(value):
        raise click.BadParameter(f"{value} is not a number.")
    return value


@app.command("import")
@click.argument("data", type=_PATH, help="The file (.csv or .xlsx)")
@click.option("--into", type=_PATH, required=True, help="The workbook to import into")
@click.option("--table", type=TABLE, required=True, help="What the lines are")
@click.option("--yes", is_flag=True, help="Write without asking")
@click.option(
    "--column",
    multiple=True,
    help="“HEADING=NAME”: what a heading means; “HEADING=”: leave it out",
)
@click.option("--batch", help="Batch of lines that name none")
@click.option("--stage", help="Stage of lines that name none")
@click.option("--instrument", help="Instrument of lines that name none")
@click.option("--dates", type=_DATES, help="Order of day, month and year, where it is not clear")
@click.option("--decimal", type=_DECIMAL, help="Sign before decimals, where it is not clear")
@click.option(
    "--units",
    type=_UNITS,
    help="Units that the file does not name; otherwise those of the workbook",
)
@click.option("--sheet", help="The sheet of a .xlsx")
@click.option(
    "--hours",
    type=click.FloatRange(0.1, 168),
    default=1,
    callback=_number,
    help="A floating hydrometer's readings are thinned to their median of so many hours",
)
def import_(
    data: Path,
    into: Path,
    table: str,
    yes: bool,
    column: tuple[str, ...],
    batch: str | None,
    stage: str | None,
    instrument: str | None,
    dates: str | None,
    decimal: str | None,
    units: str | None,
    sheet: str | None,
    hours: float,
) -> None:
    """Take the lines of a file into a table of a workbook; docs/tables.md has the headings.

    What was recognised is shown first.  Leaves with status 1 when lines were rejected.
    """
    from xlfuncs.records import importing, reading, shown
    from xlfuncs.records.plans import Options
    from xlfuncs.records.tables import TABLES

    options = Options.of(
        column, {"batch": batch, "stage": stage, "instrument": instrument},
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
        sys.exit(1)


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
    if not click.confirm(question):
        terminal.say("Nothing was written.")
        sys.exit(2)


@app.command()
@_file
@click.option("-o", "--out", type=_PATH, required=True, help="The copy")
@_engine
@_force
def freeze(file: Path, out: Path, engine: str, force: bool) -> None:
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
@_file
@click.option("-o", "--out", type=_PATH, help="The PDF; FILE.pdf unless given")
@click.option("--sheet", help="One sheet alone, such as “Batch sheet”")
@_force
def print_(file: Path, out: Path | None, sheet: str | None, force: bool) -> None:
    """Print a workbook, or one sheet of it, to PDF through LibreOffice, computed afresh."""
    from xlfuncs.hosts.calc import runner

    target = file.with_suffix(".pdf") if out is None else out
    _must_be_free(target, force, ".pdf")
    with terminal.working(f"Printing {file.name}"):
        runner.print_pdf(file, target, sheet=sheet or "")
    terminal.say(f"Wrote {target}")


@app.command()
@click.argument("recipes", type=_PATH, help="A list (.csv, .xlsx), or a workbook of ours")
@click.option("-o", "--out", type=_PATH, help="A .pdf or .xlsx; RECIPES.pdf unless given")
@click.option("--book", type=_PATH, help="The workbook with units, refractometers, checks")
@click.option(
    "--shop", default="", show_default=False, help="At the head of each page; else BOOK's brewery"
)
@click.option("--batch", multiple=True, help="Print this recipe alone; may be repeated")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help="A4, or Letter where units are US"
)
@click.option(
    "--units",
    type=_UNITS,
    default="metric",
    help="Units of a list that names none, without BOOK",
)
@click.option(
    "--gravity", type=_GRAVITY, default="sg", help="Scale that the pages are in, without BOOK"
)
@click.option(
    "--column",
    multiple=True,
    help="HEADING=NAME: what a heading means; HEADING= leaves it out",
)
@click.option("--dates", type=_DATES, help="Order of the list's dates")
@click.option("--decimal", type=_DECIMAL, help="Decimal sign of the list")
@_force
def sheets(
    recipes: Path,
    out: Path | None,
    book: Path | None,
    shop: str,
    batch: tuple[str, ...],
    paper: str | None,
    units: str,
    gravity: str,
    column: tuple[str, ...],
    dates: str | None,
    decimal: str | None,
    force: bool,
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
    options = Options.of(column, {}, tables.RECIPES, dates=dates, decimal=decimal)
    evening = run.read(recipes, house, units, gravity, batch, options)
    for remark in evening.remarks():
        terminal.complain(remark)
    if not evening.recipes:
        _stop(f"{recipes.name} has no recipe that can be printed; nothing was written.")
    size = run.paper(evening, paper)
    with terminal.working(f"Printing {len(evening.recipes)} pages"):
        data = run.workbook(evening, shop, size, date_serial(datetime.date.today()))
        _write_or_print(data, target, seconds=120 + len(evening.recipes))
    terminal.say(f"Wrote {target}, pages: {len(evening.recipes)}")
    if evening.refused or evening.lacking:
        sys.exit(1)


@app.command()
@_host
def install(host: str) -> None:
    """Put the functions into a spreadsheet program of this user."""
    if host == "excel":
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
@_host
def uninstall(host: str) -> None:
    """Take the functions out of a spreadsheet program."""
    if host == "excel":
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
@_file
@click.option(
    "--json", "as_json", is_flag=True, help="Plain data; the keys stand in docs/report.md"
)
def report(file: Path, as_json: bool) -> None:
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
@_files
@click.option("--json", "as_json", is_flag=True, help="Plain data; the keys stand in docs/audit.md")
@click.option("--pdf", type=_PATH, help="Print the record into this file too")
@click.option("--xlsx", type=_PATH, help="Write the record as a workbook too")
@click.option(
    "--on", type=click.DateTime(["%Y-%m-%d"]), help="The day of the audit; today unless given"
)
@_force
def audit(
    workbooks: tuple[str, ...],
    as_json: bool,
    pdf: Path | None,
    xlsx: Path | None,
    on: datetime.datetime | None,
    force: bool,
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
        sys.exit(1)


@app.command()
@_files
@click.option("--csv", "as_csv", type=_PATH, help="Write the batches into this file too")
@click.option("--xlsx", type=_PATH, help="Write pictures and tables too")
@_force
def history(
    workbooks: tuple[str, ...], as_csv: Path | None, xlsx: Path | None, force: bool
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
        sys.exit(1)


@app.command()
@click.argument("name", required=False, help="One function; without it, all")
def functions(name: str | None) -> None:
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


def _workbooks(arguments: Sequence[str]) -> list[Path]:
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
        sys.exit(1)
