"""The command line: make a workbook, compute it, report on it, look up a function."""

from __future__ import annotations

import datetime
import enum
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from xlfuncs import __version__
from xlfuncs.cells.values import visible
from xlfuncs.files import problems, stored
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.hosts.calc.offices import OfficeProblem

if TYPE_CHECKING:
    from xlfuncs.audit.findings import FileAudit

app = typer.Typer(
    help="Spreadsheet functions for a brewer's gravity log.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
# Wide enough for a table when the output goes to a file or a pipe.
_out = Console(highlight=False, width=None if sys.stdout.isatty() else 150)
_err = Console(stderr=True, highlight=False)


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


class Gravity(enum.StrEnum):
    """Scale of targets that a new workbook starts with."""

    SG = "sg"
    PLATO = "plato"


_File = Annotated[Path, typer.Argument(help="The workbook (.xlsx)", show_default=False)]
_Force = Annotated[bool, typer.Option("--force", help="Replace the file if it exists")]


def main() -> None:
    """Run the command line; a problem with a file is one sentence, not a traceback."""
    try:
        app()
    except (WorkbookProblem, OfficeProblem) as problem:
        _err.print(visible(f"xlfuncs: {problem}"), markup=False, soft_wrap=True)
        sys.exit(2)


@app.command()
def new(
    file: _File,
    example: Annotated[
        bool, typer.Option("--example", help="Fill in an invented brewhouse with two brew days")
    ] = False,
    rows: Annotated[int, typer.Option(help="Lines in the batch log", min=10, max=5000)] = 40,
    units: Annotated[
        Units, typer.Option(help="Litres and °C, or US gallons and °F")
    ] = Units.METRIC,
    gravity: Annotated[Gravity, typer.Option(help="Scale of the targets")] = Gravity.SG,
    instruments: Annotated[int, typer.Option(help="Instruments on Setup", min=6, max=500)] = 6,
    checks: Annotated[
        int, typer.Option(help="Lines for calibration checks", min=60, max=5000)
    ] = 60,
    force: _Force = False,
) -> None:
    """Write a new brew-day workbook, with its values already computed."""
    from xlfuncs.hosts import embedded
    from xlfuncs.workbook import build
    from xlfuncs.workbook.vocabulary import Choices

    _must_be_free(file, force)
    choices = Choices(rows, units.value, gravity.value, example, instruments, checks)
    file.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, _working("Building the workbook"):
        draft = Path(folder) / file.name
        draft.write_bytes(build.to_bytes(build.build(choices)))
        calculation = embedded.calculate_file(draft, file)
    _name_failures(calculation.failures)
    _out.print(visible(f"Wrote {file}"), markup=False)


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
    target = file if out is None else out
    source = problems.read(file)
    if out is not None and not _same(out, file):
        _must_be_free(out, force, source.ending())
    _must_be_closed(target)
    with _working(f"Computing {file.name}"):
        values, failures = _computed(source, engine)
        stored.store(source, values, target)
    _out.print(visible(f"{len(values)} values stored in {target}"), markup=False)
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
    with _working(f"Printing {file.name}"):
        runner.print_pdf(file, target, sheet=sheet or "")
    _out.print(visible(f"Wrote {target}"), markup=False)


@app.command()
def install(host: Annotated[Host, typer.Argument(help="The spreadsheet program")]) -> None:
    """Put the functions into a spreadsheet program of this user (Excel: see the README)."""
    from xlfuncs.hosts.calc import install as calc

    with _working("Installing the add-in"):
        done = calc.install()
    _out.print(f"Functions {done.version} are in {done.office.soffice}", markup=False)
    if done.site_packages is not None:
        _out.print(f"numpy for it: {done.site_packages}", markup=False)
    _out.print("Restart LibreOffice if it is open.")


@app.command()
def uninstall(host: Annotated[Host, typer.Argument(help="The spreadsheet program")]) -> None:
    """Take the functions out of a spreadsheet program."""
    from xlfuncs.hosts.calc import install as calc

    with _working("Taking the add-in out"):
        was_there = calc.uninstall()
    _out.print("The functions were taken out." if was_there else "The functions were not there.")


@app.command()
def doctor() -> None:
    """Say for each host what is found, what is missing, and the command that mends it."""
    from xlfuncs.hosts import doctor as doctor_

    for finding in doctor_.doctor():
        _out.print(f"[bold]{finding.host}[/bold]: {'ready' if finding.ready else 'not ready'}")
        for what, which in finding.facts:
            _out.print(f"  {what}: {which}", markup=False)
        if finding.missing:
            _out.print(f"  missing: {finding.missing}", markup=False)
        if finding.mend:
            _out.print(f"  to mend: {finding.mend}", markup=False)


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
    from xlfuncs.workbook import reader

    with _working(f"Computing {file.name}"):
        calculation = embedded.calculate(file)
        content = reader.report(reader.read(file, calculation.values))
    if as_json:
        content["version"] = __version__
        content["not_computed"] = [
            {"sheet": sheet, "cell": address, "reason": reason}
            for sheet, address, reason in calculation.failures
        ]
        _print_data(content)
    else:
        _print_report(content)
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
        typer.Option("--pdf", help="Print the findings into this file too", show_default=False),
    ] = None,
    force: _Force = False,
) -> None:
    """Trace every reading to the calibration in force, in one workbook or many.

    The files are not changed.  Leaves with status 1 when a severe finding stands.
    """
    from rich.progress import track

    from xlfuncs.audit import run
    from xlfuncs.audit.findings import Severity

    if pdf is not None:
        _must_be_free(pdf, force, ".pdf")
    today, paths = datetime.date.today(), run.files(workbooks)
    if not paths:
        _stop(f"there is no workbook (.xlsx) in {', '.join(workbooks)}")
    audits = list(
        track(
            (run.audit(path, today) for path in paths),
            "Auditing",
            total=len(paths),
            console=_err,
            transient=True,
            disable=not _err.is_terminal,
        )
    )
    totals = {severity.value: sum(one.count(severity) for one in audits) for severity in Severity}
    if as_json:
        content = {
            "version": __version__,
            "audited_on": today.isoformat(),
            "totals": totals,
            "files": [one.as_data() for one in audits],
        }
        _print_data(content)
    else:
        _print_audit(audits, totals)
    if pdf is not None:
        _print_findings(audits, today, pdf)
    if totals[Severity.SEVERE]:
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
        table = Table(box=None, pad_edge=False)
        table.add_column("function", style="bold")
        table.add_column("gives")
        for function in CATALOGUE.values():
            table.add_row(escape(function.signature()), function.documentation.summary)
        _out.print(table)
        return
    found = CATALOGUE.get(name.upper())
    if found is None:
        near = [known for known in CATALOGUE if name.upper() in known]
        hint = f" Did you mean {', '.join(near)}?" if near else " See: xlfuncs functions"
        _stop(f"there is no function {name}.{hint}")
    _out.print(Markdown(reference.entry(found)))


@app.command()
def version() -> None:
    """Print the version."""
    print(__version__)


# --- printing ------------------------------


def _print_data(content: dict[str, Any]) -> None:
    print(visible(json.dumps(content, ensure_ascii=False, indent=2, default=str)))


def _print_report(content: dict[str, Any]) -> None:
    units = content["units"]
    scale = units["gravity"]
    file = escape(visible(content["file"]))
    _out.print(f"[bold]{file}[/bold]", f"state on {content['state_on'] or '-'}")
    _out.print()
    _table(
        "Instruments",
        ("instrument", "last check", "offset", "slope", "state", "next check"),
        [
            (
                row["name"],
                row["date"],
                _number(row["offset"], "+.3f"),
                _number(row["slope"], ".4f"),
                row["status"],
                row["due"],
            )
            for row in content["instruments"]
        ],
    )
    _table(
        "Readings",
        ("line", "date", "batch", "stage", "reading", "SG", "± 95 %", "°P",
         f"{units['volume']} at 20 °C", "remark"),
        [
            (
                str(row["line"]),
                row["date"],
                row["batch"],
                row["stage"],
                _number(row["reading"], "g"),
                _number(row["sg"], ".4f"),
                _number(row["expanded"], ".4f"),
                _number(row["plato"], ".2f"),
                _number(row["volume_20"], ".1f"),
                row["remark"],
            )
            for row in content["readings"]
        ],
    )  # fmt: skip
    digits = ".1f" if scale == "Plato" else ".4f"
    _table(
        f"Targets of batch {content['batch'] or '-'} ({scale}, {units['volume']})",
        ("stage", "target", "measured", "± 95 %", "gravity is", "target", "measured", "volume is",
         f"{units['mass']} of extract off", "efficiency off"),
        [
            (
                row["stage"],
                _number(row["wanted"], digits),
                _number(row["measured"], digits),
                _number(row["expanded"], digits),
                row["gravity"],
                _number(row["wanted_volume"], ".1f"),
                _number(row["measured_volume"], ".1f"),
                row["volume"],
                _number(row["missed_extract"], "+.2f"),
                _number(row["missed_efficiency"], "+.1f"),
            )
            for row in content["targets"]
        ],
    )  # fmt: skip
    _print_brewday(content, digits)
    _table(
        "Fermentation",
        ("line", "date", "batch", "SG", "± 95 %", "apparent %", "real %", "alcohol %",
         "± 95 %", "method", "remark"),
        [
            (
                str(row["line"]),
                row["date"],
                row["batch"],
                _number(row["sg"], ".4f"),
                _number(row["expanded"], ".4f"),
                _number(row["apparent"], ".1f"),
                _number(row["real"], ".1f"),
                _number(row["abv"], ".1f"),
                _number(row["abv_expanded"], ".1f"),
                row["method"],
                row["remark"],
            )
            for row in content["fermentation"]
        ],
    )  # fmt: skip
    forecast = content["forecast"]
    if forecast["state"] is not None:
        final = _number(forecast["final"], ".4f")
        sentence = f"Batch {forecast['batch']}: {forecast['state']}"
        if final is not None:
            spread = _number(forecast["final_expanded"], ".4f")
            sentence += f"; expected final SG {final} ± {spread}, near it on {forecast['near_on']}"
        sentence += ". No proof that fermentation has ended: bottles can burst."
        _out.print(visible(sentence), "\n", markup=False, soft_wrap=True)
    pairs = content["pairs"]
    _out.print(f"Refractometer against hydrometer ({pairs['in_use']} factors in use)", style="bold")
    for sentence in (pairs["remark"], pairs["sentence"], pairs["far_apart"]):
        if sentence is not None:
            _out.print(visible(sentence), markup=False, soft_wrap=True)


def _print_brewday(content: dict[str, Any], digits: str) -> None:
    """Runoff, kettle and efficiency, as far as there is something to say."""
    units, lines = content["units"], []
    runoff, kettle, past = content["runoff"], content["kettle"], content["efficiency"]
    if runoff["collected"] is not None:
        line = f"Runoff of batch {runoff['batch'] or '-'}: {runoff['state']}, {runoff['reason']}"
        if isinstance(runoff["gravity"], float):
            line += f" Gravity there {runoff['gravity']:{digits}}"
            spread = _number(runoff["gravity_expanded"], digits)
            line += "." if spread is None else f" ± {spread}."
        if isinstance(runoff["end"], float):
            line += (
                f" It falls to {runoff['limit']:g} at {runoff['end']:.1f} "
                f"± {runoff['end_expanded']:.1f} {units['volume']}."
            )
        lines.append(line)
    if past["efficiency"] is not None:
        line = f"Mash efficiency of {past['batches']:g} batches: {past['efficiency']:.1f} %"
        if past["spread"] is not None:
            line += f"; the next one ± {past['spread']:.1f}"
        expected = _number(past["gravity"], digits)
        if expected is not None:
            line += f"; gravity to expect before the boil {expected}"
            spread = _number(past["gravity_expanded"], digits)
            line += "" if spread is None else f" ± {spread}"
        lines.append(line)
    for line in lines:
        _out.print(visible(line), markup=False, soft_wrap=True)
    if lines:
        _out.print()
    for part, title in (
        ("before", f"Batch {kettle['batch'] or '-'}, before the boil"),
        ("after", f"Batch {kettle['batch'] or '-'}, after the boil"),
        ("rescue", "Rescue corner"),
    ):
        if kettle[part]:
            _table(
                title,
                ("ends at", "± 95 %", units["volume"], "± 95 %", "bitterness %", "in words"),
                [
                    (
                        _number(row["gravity"], digits),
                        _number(row["expanded"], digits),
                        _number(row["volume"], ".1f"),
                        _number(row["volume_expanded"], ".1f"),
                        _number(row["bitterness"], "+.1f"),
                        row["words"],
                    )
                    for row in kettle[part]
                ],
            )


def _print_audit(audits: list[FileAudit], totals: dict[str, int]) -> None:
    for one in audits:
        if one.findings:
            rows: list[tuple[Any, ...]] = []
            for finding in one.findings:
                rows.append((finding.severity, finding.sheet, finding.cell, finding.reason))
                rows += [
                    (
                        "",
                        doubt.sheet,
                        doubt.cell,
                        f"{doubt.date} batch {doubt.batch or '-'}: {doubt.recorded_sg:.4f}, "
                        f"with this check {doubt.corrected_sg:.4f}",
                    )
                    for doubt in finding.in_doubt
                ]
            _table(one.file, ("severity", "sheet", "cell", "what is wrong"), rows)
    counts = ", ".join(f"{count} {severity}" for severity, count in totals.items())
    clean = sum(not one.findings for one in audits)
    readings = sum(one.readings for one in audits)
    _out.print(
        f"workbooks: {len(audits)}, readings: {readings}; {counts}; {clean} without a finding",
        markup=False,
    )


def _print_findings(audits: list[FileAudit], today: datetime.date, pdf: Path) -> None:
    from xlfuncs.audit import paper
    from xlfuncs.hosts.calc import runner

    with tempfile.TemporaryDirectory() as folder, _working("Printing the findings"):
        draft = Path(folder) / "audit.xlsx"
        draft.write_bytes(paper.workbook(audits, today))
        runner.print_pdf(draft, pdf)
    _err.print(visible(f"Wrote {pdf}"), markup=False)


def _table(title: str, headings: tuple[str, ...], rows: list[tuple[Any, ...]]) -> None:
    title = visible(title)
    if not rows:
        _out.print(f"{title}: none yet\n", markup=False)
        return
    table = Table(
        title=escape(title), title_justify="left", title_style="bold", box=None, pad_edge=False
    )
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(*("" if cell is None else escape(visible(str(cell))) for cell in row))
    _out.print(table)
    _out.print()


def _number(value: Any, form: str) -> str | None:
    """A number in a format; a text (a `! ` text, an error) as it is."""
    return format(float(value), form) if isinstance(value, (int, float)) else value


def _working(what: str) -> Any:
    """A sign of life for whoever waits at a terminal."""
    return _err.status(escape(visible(what))) if _err.is_terminal else open(os.devnull)  # noqa: PTH123


# --- refusing ------------------------------


def _stop(reason: str) -> NoReturn:
    raise WorkbookProblem(reason)


def _same(one: Path, other: Path) -> bool:
    return one.exists() and other.exists() and one.samefile(other)


def _must_be_free(file: Path, force: bool, ending: str = ".xlsx") -> None:
    if file.is_dir():
        _stop(f"{file} is a folder; name a file in it.")
    if file.suffix.lower() != ending:
        _stop(f"{file} must end in {ending}.")
    if file.exists() and not force:
        _stop(f"{file} exists already; choose another name, or --force to replace it.")
    _must_be_closed(file)


def _must_be_closed(file: Path) -> None:
    """A file that a spreadsheet program has open would be overwritten at its next save."""
    for lock in (file.with_name(f"~${file.name}"), file.with_name(f".~lock.{file.name}#")):
        if lock.exists():
            _stop(
                f"{file.name} is open in another program (it left {lock.name}): close it there "
                "first, or delete that file if the program crashed."
            )


def _name_failures(failures: list[tuple[str, str, str]]) -> None:
    """Name the formulas that were not computed, and leave with status 1."""
    for sheet, address, reason in failures:
        said = visible(f"not computed: {sheet}!{address}: {reason}")
        _err.print(said, markup=False, soft_wrap=True)
    if failures:
        raise typer.Exit(1)
