"""One and several bad cells in a filled workbook, through every command that reads one.

Most cases go through what `calculate`, `report` and `audit` consist of, on a workbook that is
opened once; one in twenty goes through one of the commands itself, with a file.
"""

from __future__ import annotations

import contextlib
import datetime
import functools
import io
import json
import math
import random
import re
import tempfile
import warnings
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from click.testing import CliRunner
from openpyxl.utils.datetime import to_excel

from fuzz import example
from fuzz.failure import Failure
from xlfuncs import terminal
from xlfuncs.audit import run
from xlfuncs.audit import text as audit_text
from xlfuncs.cli import app
from xlfuncs.files import contents, package, problems, stored
from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.hosts import embedded
from xlfuncs.hosts.embedded.values import ERRORS
from xlfuncs.report import content, text
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.reader import Reader

COMMANDS = (["calculate"], ["report"], ["report", "--json"], ["audit"], ["audit", "--json"])
TODAY = datetime.date(2026, 3, 17)

Changes = Mapping[tuple[str, str], Any]

_ODD: list[Any] = [
    None, "", " ", "x", "12,4", "12.4 ", "1.050", "plato", "sg", "°P", "°F ", "f", "! earlier",
    "#N/A", True, False, 0, -1, 0.3, 6, 140, 1e-300, 1e300, -1e300, 2958466, 1e9, "'=1", "🍺",
    "x" * 5000, "[bold]", "\\", "a\nb",
    datetime.datetime(2026, 3, 14), datetime.datetime(1900, 1, 1), datetime.datetime(9999, 12, 31),
    datetime.time(6, 30),
]  # fmt: skip


#: Formulas where a value belongs: all formulas are read anew for them, which takes twice the time.
_FORMULAS: list[Any] = ["=NA()", "=1/0", "=NOSUCH(1)", '="="', "=A1"]


def attack(dice: random.Random) -> Iterator[Failure | None]:
    """The example, with bad cells where something is typed, or where something is computed."""
    book = _example().book
    columns = [
        [(title, cell.coordinate) for row in _rows(book[title][cells]) for cell in row]
        for name in book.defined_names.values()
        for title, cells in name.destinations
        if title in book.sheetnames
    ]
    typed = [column for column in columns if _is_typed(book[column[0][0]][column[0][1]])]
    while True:
        count = dice.choice([1, 1, 1, 2, 5, 20])
        anywhere = dice.random() < 0.1  # where something is computed too
        chosen = [dice.choice(dice.choice(columns if anywhere else typed)) for _ in range(count)]
        odd = _ODD + _FORMULAS if dice.random() < 0.2 else _ODD
        changes = {place: dice.choice(odd) for place in chosen}
        if dice.random() < 0.2:  # one thing wherever something is typed on one sheet
            title, same = chosen[0][0], dice.choice(odd)
            changes = {dice.choice(column): same for column in typed if column[0][0] == title}
        if dice.random() < 0.05:
            yield by_command(changes, dice.choice(COMMANDS))
        else:
            yield failure(changes)


def _rows(cells: Any) -> tuple[tuple[Any, ...], ...]:
    return cells if isinstance(cells, tuple) else ((cells,),)


def _is_typed(cell: Any) -> bool:
    """Whether a person fills it in."""
    return cell.style in (styles.TYPED, styles.CELL) and cell.data_type != "f"


def failure(changes: Changes) -> Failure | None:
    """What is wrong with how a workbook with these cells is taken; None if nothing is."""
    found, says = _example(), io.StringIO()
    source = Source(Path("log.xlsx"), package.packed(found.spliced(changes)))
    with (
        contextlib.redirect_stdout(says),
        warnings.catch_warnings(action="error", category=RuntimeWarning),  # on the terminal
        found.changed(changes) as typed,
    ):
        for what, does in _steps(found, source, typed, {title for title, _ in changes}).items():
            try:
                does()
            except WorkbookProblem:
                continue
            except Exception as error:  # whatever it is, the command would end with it
                told = f"{what}: {type(error).__name__}: {error}"
                return Failure(told[:300], f"assert cells.failure({dict(changes)!r}) is None")
    return None


def by_command(changes: Changes, command: list[str]) -> Failure | None:
    """The same, asked of a command."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.xlsx"
        path.write_bytes(package.packed(_example().spliced(changes)))
        result = CliRunner().invoke(app, [*command, str(path)])
    # A problem with the file is one sentence; findings and uncomputed cells are status 1.
    if isinstance(result.exception, (SystemExit, WorkbookProblem, type(None))):
        return None
    what = f"{' '.join(command)}: {type(result.exception).__name__}: {result.exception}"
    return Failure(what[:300], f"assert cells.by_command({dict(changes)!r}, {command!r}) is None")


def _steps(
    found: _Example, source: Source, typed: Changes | None, sheets: Collection[str]
) -> dict[str, Callable[[], Any]]:
    """What each command does with a workbook, in the order in which one needs the other.

    `typed` as `_Example.changed` gives it, into these sheets.
    """
    computed: list[embedded.Calculation] = []

    def reader() -> Reader:
        return Reader(source.path, contents.read(source), computed[0].values)

    def data() -> None:
        gathered = content.gather(reader())
        json.dumps(gathered)  # plain data, no object among them
        shown = [cell for cell in _leaves(gathered) if isinstance(cell, str)]
        # A text that somebody typed may begin so too, as in the head of the batch sheet.
        formulas = [cell for cell in shown if re.match(r"=[\w'\"(+-]", cell)]
        if formulas:
            raise AssertionError(f"{formulas[0]!r} is shown as a value")

    def store() -> None:
        values = computed[0].values  # of sheets without a change the example's own are stored
        assert all(isinstance(value, str) or math.isfinite(value) for value in values.values())
        near = {place: value for place, value in values.items() if place[0] in sheets}
        stored.put(near, package.unpacked(source.data))

    def audited() -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / source.path
            path.write_bytes(source.data)
            audit = run.audit_all([path], TODAY).audit
        broken = [one.reason for one in audit.files[0].findings if "broke off" in one.reason]
        if broken:
            raise AssertionError(broken[0])
        json.dumps(audit.as_data() | {key: list(one) for key, one in audit.lists().items()})
        audit_text.show(audit)

    return {
        "compute": lambda: computed.append(found.computed(typed)),
        "store": store,
        "report": lambda: text.show(reader()),
        "report --json": data,
        "audit": audited,
    }


def _leaves(data: Any) -> Iterator[Any]:
    if isinstance(data, Mapping):
        data = list(data.values())
    if isinstance(data, list):
        for inner in data:
            yield from _leaves(inner)
    else:
        yield data


class _Example:
    """The small example, opened once."""

    def __init__(self) -> None:
        source = Source(Path("log.xlsx"), example.small())
        self._parts = package.unpacked(source.data)
        self._sheets = package.sheet_parts(self._parts)[1]
        self.book = problems.load(source)
        self._prepared = embedded.Prepared(self.book, TODAY)
        terminal.out.file = None  # whatever sys.stdout is at the time

    @contextlib.contextmanager
    def changed(self, changes: Changes) -> Iterator[Changes | None]:
        """The book with these cells; gives them as values, None if formulas are among them."""
        cells = {place: self.book[place[0]][place[1]] for place in changes}
        cells = {place: cell for place, cell in cells.items() if hasattr(cell, "data_type")}
        before = {place: (cell._value, cell.data_type) for place, cell in cells.items()}
        formulas = any(kind == "f" for _, kind in before.values())
        for place, cell in cells.items():
            form = cell.number_format
            cell.value = changes[place]
            cell.number_format = form  # which a date would change
            formulas |= cell.data_type == "f"
        try:
            typed = {p: ERRORS.get(changes[p], changes[p]) for p in cells}
            yield None if formulas else typed
        finally:
            for place, cell in cells.items():
                cell._value, cell.data_type = before[place]

    def computed(self, typed: Changes | None) -> embedded.Calculation:
        """What its formulas give."""
        if typed is None:
            return embedded.engine.calculate_book(self.book, TODAY)
        return self._prepared.calculate(typed)

    def spliced(self, changes: Changes) -> package.Parts:
        """The parts of the file, with these cells in them."""
        parts = dict(self._parts)
        for (sheet, address), value in changes.items():
            part = parts[self._sheets[sheet]]
            pattern = rf'<c r="{address}"(?: s="(\d+)")?[^>]*?(?:/>|>.*?</c>)'.encode()
            style = re.search(pattern, part, re.DOTALL)
            if style is None:  # hidden under a merged cell
                continue
            head = f'r="{address}"' + (f' s="{style[1].decode()}"' if style[1] else "")
            cell = _written(head, value).encode()
            parts[self._sheets[sheet]] = part[: style.start()] + cell + part[style.end() :]
        return parts


@functools.cache
def _example() -> _Example:
    return _Example()


def _written(head: str, value: Any) -> str:
    """A cell as a spreadsheet program writes it."""
    if isinstance(value, (datetime.datetime, datetime.time)):
        value = to_excel(value)
    match value:
        case None:
            return f"<c {head}/>"
        case bool():
            return f'<c {head} t="b"><v>{int(value)}</v></c>'
        case int() | float():
            return f"<c {head}><v>{value!r}</v></c>"
        case str() if value in ERRORS:
            return f'<c {head} t="e"><v>{value}</v></c>'
        case str() if value.startswith("=") and len(value) > 1:
            return f"<c {head}><f>{escape(value[1:])}</f></c>"
        case _:
            return (
                f'<c {head} t="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is></c>'
            )
