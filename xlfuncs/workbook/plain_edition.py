"""The same sheets in formulas that every spreadsheet knows, for those who can install nothing.

Sheets are data, so each formula that calls a function of ours is rewritten here: what the call does
(recorded by `xlfuncs.plain`) becomes helper columns beside the steps of its table, and every column
is computed line by line, so that lines can be inserted, deleted, sorted and filled down.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from xlfuncs.functions import CATALOGUE
from xlfuncs.plain import Helpers
from xlfuncs.plain import columns as by_column
from xlfuncs.workbook.kit.blocks import (
    Block,
    Column,
    Group,
    Lines,
    Role,
    Section,
    Sheet,
    Steps,
    Table,
    Text,
    step,
)
from xlfuncs.workbook.kit.formulas import rewritten
from xlfuncs.workbook.kit.place import PLAIN, page_columns

#: Functions that fit or forecast: their answers stay with the functions, and their cells say so.
WITH_FUNCTIONS = ("BEER_FIT", "FERMENTATION_FORECAST", "FERMENTATION_STATE")
#: Functions of whole columns that are sums of them.
BY_SUMS = ("RUNOFF_VOLUME", "WORT_FACTOR_FIT")
NEEDS = "! needs the functions (see Start)"

_OURS = re.compile(rf"\b({'|'.join(sorted(CATALOGUE, key=len, reverse=True))})\(")
_NAME = re.compile(r"(?:all\.|above\.)?[A-Za-z_]\w*")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
#: After a call of ours within INDEX: which cell of its answer is meant.
_PICKED = re.compile(r",(\d+),(\d+)\)")
_ARRAY = re.compile(r"\{([^{}]*)\}")


def sheets(made: Sequence[Sheet]) -> list[Sheet]:
    """The sheets with plain formulas in place of calls."""
    known = _Known.of(made)
    first, *others = (_sheet(one, known) for one in made)
    kept, away = zip(*map(_off_the_lines, others), strict=True)
    return [replace(first, blocks=(*first.blocks, *itertools.chain(*away))), *kept]


def _off_the_lines(sheet: Sheet) -> tuple[Sheet, list[Block]]:
    """The sheet, and what must not stand on lines that a person may delete, insert or sort.

    It goes to the first sheet, where nobody does.
    """
    away: list[Block] = []
    if any(isinstance(block, Table) and block.guarded for block in sheet.blocks):
        away += [block for block in sheet.blocks if _is_steps(block)]
    kept = tuple(block for block in sheet.blocks if not any(block is one for one in away))
    return replace(sheet, blocks=kept), away


def _is_steps(block: Block) -> bool:
    return isinstance(block, Steps) or (isinstance(block, Table) and not page_columns(block))


@dataclass(frozen=True)
class _Known:
    """What the formulas of all sheets name: groups of columns, and what may hold a typed text."""

    groups: Mapping[str, tuple[str, ...]]
    typed: frozenset[str]
    lines: Mapping[str, int]
    tables: Mapping[str, str]  # of each column

    @classmethod
    def of(cls, made: Sequence[Sheet]) -> _Known:
        groups: dict[str, tuple[str, ...]] = {}
        typed: set[str] = set()
        computed: dict[str, str] = {}
        lines: dict[str, int] = {}
        tables: dict[str, str] = {}
        for block in (block for sheet in made for block in sheet.blocks):
            match block:
                case Table():
                    lines |= {column.name: block.rows for column in block.columns}
                    tables |= {column.name: block.name for column in block.columns}
                    for part in block.parts:
                        if isinstance(part, Group):
                            groups[part.name] = tuple(column.name for column in part.columns)
                            computed[part.name] = part.formula
                        for column in part.columns if isinstance(part, Group) else (part,):
                            formula = column.formula or getattr(part, "formula", "")
                            computed[column.name] = formula
                            if column.role is Role.TYPED:
                                typed.add(column.name)
                case Lines():
                    for line in block.lines:
                        computed[line.name] = line.formula
                        if not line.formula:
                            typed.add(line.name)
                case Steps():
                    computed |= block.cells
        for name, columns in groups.items():
            if typed & set(columns):
                typed.add(name)
        return cls(groups, frozenset(_spread(typed, groups, computed)), lines, tables)


def _spread(
    typed: set[str], groups: Mapping[str, tuple[str, ...]], computed: Mapping[str, str]
) -> set[str]:
    """Names whose cells may hold what somebody typed as it is: a number that is a text."""
    handed = {name: _handed_on(formula) for name, formula in computed.items()}
    for name, columns in groups.items():
        handed[name] = handed.get(name, set()) | set(columns)
    found = set(typed)
    while True:
        more = {name for name, names in handed.items() if name not in found and names & found}
        if not more:
            return found
        found |= more


#: Of these functions' arguments, those whose cells the answer may be; of all others it is new.
_CHOOSES = {"IF": slice(1, None), "IFERROR": slice(None), "CHOOSE": slice(1, None),
            "INDEX": slice(1), "LOOKUP": slice(-1, None), "TRIM": slice(1)}  # fmt: skip
_WHOLE_CALL = re.compile(r"([A-Z]+)\(")


def _handed_on(formula: str) -> set[str]:
    """Names whose cells a formula may give as they are: neither reckoned nor put together anew.

    >>> sorted(_handed_on('IF(x="",y,2*z)')), _handed_on("IF(ISNUMBER(x),x,0)")
    (['y'], set())
    """
    call = _WHOLE_CALL.match(formula)
    if _is_name(formula):
        return {formula.rpartition(".")[2]}
    if not call:
        inner, end = _arguments(formula, 1) if formula.startswith("(") else ([], 0)
        return _handed_on(inner[0]) if inner and end == len(formula) else set()
    arguments, end = _arguments(formula, call.end())
    if end != len(formula) or call[1] not in _CHOOSES:
        return set()
    found = set().union(*map(_handed_on, arguments[_CHOOSES[call[1]]]))
    if call[1] == "IF" and _is_name(arguments[1]) and f"ISNUMBER({arguments[1]})" in arguments[0]:
        found -= _handed_on(arguments[1]) - set().union(*map(_handed_on, arguments[2:]))
    return found


def _is_name(formula: str) -> bool:
    return _NAME.fullmatch(formula) is not None


def _last_call(formula: str) -> tuple[int, int, str, list[str]] | None:
    """The rightmost call of ours, which holds no other: start, end, name, arguments."""
    found = list(_OURS.finditer(formula))
    if not found:
        return None
    last = found[-1]
    arguments, end = _arguments(formula, last.end())
    return last.start(), end, last.group(1), arguments


def _arguments(formula: str, at: int) -> tuple[list[str], int]:
    """Arguments of a call that begins here, and where it ends."""
    parts, depth, quoted, begun = [], 0, False, at
    for place in range(at, len(formula)):
        character = formula[place]
        if character == '"':
            quoted = not quoted
        elif quoted:
            continue
        elif character in "({":
            depth += 1
        elif character == "," and not depth:
            parts.append(formula[begun:place])
            begun = place + 1
        elif character in ")}":
            if not depth:
                return [*parts, formula[begun:place]], place + 1
            depth -= 1
    raise ValueError(f"brackets do not close in {formula}")


_QUOTED = re.compile(r'"(?:[^"]|"")*"')
_POWER_OF_TEN = re.compile(r"(?<![\w.$])\d+(?:\.\d+)?[Ee][+-]?\d+")


def _known_everywhere(formula: str) -> str:
    """The same formula without what one program or another cannot read.

    No LOOKUP, no power of ten in a number, no quotation mark in a text.

    >>> _known_everywhere("1E-3+LOOKUP(x,all.a,all.b)")
    '0.001+INDEX(all.b,MATCH(x,all.a))'
    >>> _known_everywhere('"say ""no"" to it"')
    '"say "&CHAR(34)&"no"&CHAR(34)&" to it"'
    """
    while (start := formula.rfind("LOOKUP(")) >= 0:
        (what, among, *answers), end = _arguments(formula, start + len("LOOKUP("))
        there = f"INDEX({(answers or [among])[0]},MATCH({what},{among}))"
        formula = formula[:start] + there + formula[end:]
    done, parts = 0, []
    for quoted in _QUOTED.finditer(formula):
        parts += [_written_out(formula[done : quoted.start()]), _without_quotes(quoted.group())]
        done = quoted.end()
    return "".join([*parts, _written_out(formula[done:])])


def _written_out(formula: str) -> str:
    return _POWER_OF_TEN.sub(lambda number: f"{Decimal(number.group()):f}", formula)


def _without_quotes(text: str) -> str:
    parts = text[1:-1].replace('""', '\0"\0').split("\0")
    said = ["CHAR(34)" if part == '"' else f'"{part}"' for part in parts if part]
    return "&".join(said) or '""'


@dataclass
class _Scope:
    """The helper cells of the lines of one table, or the single ones of a sheet."""

    name: str
    known: _Known
    helpers: Helpers = field(init=False)
    tables: dict[str, _Scope] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.helpers = Helpers(lambda number: f"{PLAIN}{self.name}_{number + 1}")

    def of_table(self, name: str) -> _Scope:
        """The helper cells of the lines of a table on this sheet."""
        return self.tables.setdefault(name, _Scope(name, self.known))

    def cells(self) -> dict[str, str]:
        """Formulas of the helper cells by their names."""
        return {
            f"{PLAIN}{self.name}_{number}": _known_everywhere(text.removeprefix("="))
            for number, text in enumerate(self.helpers.formulas, 1)
        }

    def expanded(self, formula: str) -> str:
        """The formula with the cells of their answers in place of our calls."""
        while found := _last_call(formula):
            start, end, name, arguments = found
            row, column = 1, 1
            picked = _PICKED.match(formula, end)
            if picked and formula.endswith("INDEX(", 0, start):
                start, end = start - len("INDEX("), picked.end()
                row, column = int(picked[1]), int(picked[2])
            answer = self.answers(name, arguments)[row - 1][column - 1]
            formula = formula[:start] + self.helpers.cell(f"={answer}") + formula[end:]
        return _known_everywhere(formula)

    def answers(self, name: str, arguments: Sequence[str]) -> list[list[str]]:
        """Formulas of what a call answers, line by line of its block, without their `=`."""
        if name in WITH_FUNCTIONS:
            return [[f'"{NEEDS}"'] + ['""'] * 9]
        if name in BY_SUMS:
            return [self._of_columns(name, arguments)]
        if name.startswith("BLEND_") and arguments[0].startswith("all."):
            return [[self._of_parts(name, arguments)]]
        given: dict[str, str | float] = {}
        computed = []
        for argument, text in zip(CATALOGUE[name].arguments, arguments, strict=False):
            if text in ("", '""'):
                continue
            if text.startswith('"'):
                given[argument.name] = text.strip('"')
            elif _NUMBER.fullmatch(text):
                given[argument.name] = float(text)
            else:
                if not self.known.typed & _handed_on(text):
                    computed.append(argument.name)
                is_name = _NAME.fullmatch(text)
                given[argument.name] = text if is_name else self.helpers.cell(f"={text}")
        rows = self.helpers.call(name, computed, **given)
        return [[text.removeprefix("=") for text in row] for row in rows]

    def _of_columns(self, name: str, arguments: Sequence[str]) -> list[str]:
        """The formulas of a function of whole columns that adds up what it finds on each line."""
        given: dict[str, str | float] = {}
        for argument, text in zip(CATALOGUE[name].arguments, arguments, strict=False):
            given[argument.name] = (
                float(text) if _NUMBER.fullmatch(text) else text.removeprefix("all.")
            )
        whole = [a.name for a, text in zip(CATALOGUE[name].arguments, arguments, strict=False)
                 if text.startswith("all.")]  # fmt: skip
        lines = self.of_table(self.known.tables[str(given[whole[0]])])

        def into(scope: _Scope) -> Callable[[str], str]:
            return lambda formula: scope.helpers.cell(f"={formula}")

        return by_column.answers(name, given, frozenset(whole), into(lines), into(self))

    def _of_parts(self, name: str, arguments: Sequence[str]) -> str:
        """The formula of a function of whole columns, cell after cell."""
        ranges = {}
        for argument, text in zip(CATALOGUE[name].arguments, arguments, strict=False):
            column = text.removeprefix("all.")
            places = range(1, self.known.lines[column] + 1)
            ranges[argument.name] = [
                self.helpers.cell(f"=INDEX(all.{column},{place})") for place in places
            ]
        return self.helpers.call_parts(name, True, **ranges).removeprefix("=")


def _sheet(sheet: Sheet, known: _Known) -> Sheet:
    single = _Scope(re.sub(r"\W", "_", sheet.title.casefold()), known)
    blocks = [_block(block, single, known) for block in sheet.blocks]
    blocks = [_with_helpers(block, single) for block in blocks]
    if single.helpers.formulas:
        blocks.append(Steps(single.cells()))
    return replace(sheet, blocks=tuple(blocks))


def _block(block: Block, single: _Scope, known: _Known) -> Block:
    match block:
        case Text() | Section():
            return replace(block, text=single.expanded(block.text))
        case Lines():
            lines = tuple(
                replace(line, formula=single.expanded(line.formula)) for line in block.lines
            )
            return replace(block, lines=lines)
        case Steps():
            cells = {name: single.expanded(formula) for name, formula in block.cells.items()}
            for names, formula in block.blocks.items():
                cells |= dict(zip(names, _of_block(formula, names, single), strict=True))
            return replace(block, cells=cells, blocks={})
        case Table():
            return _table(block, single, known)
    return block


def _of_block(formula: str, names: Sequence[str], single: _Scope) -> list[str]:
    """Formulas of neighbouring cells that one call fills."""
    if _ARRAY.search(formula):
        return [single.expanded(_of_place(formula, at)) for at in range(len(names))]
    found = _last_call(formula)
    assert found is not None
    assert found[:2] == (0, len(formula)), formula
    row = [_known_everywhere(text) for text in single.answers(*found[2:])[0]]
    return (row + ['""'] * len(names))[: len(names)]


def _table(table: Table, single: _Scope, known: _Known) -> Table:
    scope = single.of_table(table.name)
    parts: list[Column | Group] = []
    for part in table.parts:
        if isinstance(part, Column):
            parts.append(_column(part, scope))
            continue
        block = _whole_block(part, table, single)
        if block:
            lines = zip(*block, strict=True)
            columns = tuple(
                replace(column, lines=tuple(map(_known_everywhere, answers)))
                for column, answers in zip(part.columns, lines, strict=False)
            )
        else:
            columns = tuple(
                _column(replace(column, formula=column.formula or _of_column(part, at, known)),
                        scope)
                for at, column in enumerate(part.columns)
            )  # fmt: skip
        parts.append(Group(part.name, columns))
    return replace(table, parts=tuple(parts))


def _with_helpers(block: Block, single: _Scope) -> Block:
    """A table with its helper cells: each stands on the line that it serves."""
    if not isinstance(block, Table):
        return block
    cells = single.of_table(block.name).cells()
    helpers = [step(name, "", formula, by_line=True) for name, formula in cells.items()]
    return replace(block, parts=(*block.parts, *helpers))


def _column(column: Column, scope: _Scope) -> Column:
    if not column.formula:
        return column
    return replace(column, formula=scope.expanded(column.formula), by_line=True)


def _of_column(group: Group, at: int, known: _Known) -> str:
    """The formula of one column of a group: groups in it mean their column of the same place."""

    def cell(prefix: str, name: str) -> str:
        columns = known.groups.get(name)
        if prefix == "all." or columns is None:
            return prefix + name
        return prefix + columns[at]

    return rewritten(_of_place(group.formula, at), cell)


def _of_place(formula: str, at: int) -> str:
    """A formula with the constant of this place instead of a row of constants."""
    return _ARRAY.sub(lambda row: row[1].split(",")[at], formula)


def _whole_block(group: Group, table: Table, single: _Scope) -> list[list[str]] | None:
    """What a call that fills all lines of a group answers, such as KETTLE_OPTIONS."""
    found = _last_call(group.formula)
    if not found or found[:2] != (0, len(group.formula)):
        return None
    function = CATALOGUE[found[2]]
    if function.name != "KETTLE_OPTIONS":
        return None
    answers = single.answers(*found[2:])
    return [row[: len(group.columns)] for row in answers[: table.rows]]
