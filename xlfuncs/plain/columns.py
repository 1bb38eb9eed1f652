"""A function of whole columns as plain formulas: what it does line by line, and its sums.

The columns are recorded as one line of them; where the function adds up, the formula has a sum of a
column of helper cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from xlfuncs.cells.boundary import NO_ANSWER
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.cells.quantities import Choice
from xlfuncs.cells.values import BLANK
from xlfuncs.plain import arguments, pieces, trace
from xlfuncs.plain.expressions import Expression, Value, argument, make, reached
from xlfuncs.plain.formulas import Printer, Text, lowered

#: How a spreadsheet calls what is made of a whole column.
_WHOLE = {"SUM": "SUM", "COUNT": "SUM", "LEAST": "MIN", "MOST": "MAX"}

#: Puts a formula, without its `=`, into a helper cell, and gives the name of it.
Place = Callable[[str], str]


def answers(
    name: str, given: Mapping[str, str | float], columns: frozenset[str], line: Place, single: Place
) -> list[str]:
    """The formulas of the function's answer, cell after cell, without their `=`.

    - `given`: for each argument a constant, or the name of its column or cell of other formulas
    - `columns`: the arguments that are whole columns
    - `line`: places a formula of each line, in which a name means the cell of that line
    - `single`: places one formula, in which `all.` before a name means its whole column
    """
    function = CATALOGUE[name]
    work = _Columns(columns, line, single)
    values: dict[str, Value] = {}
    for each in function.arguments:
        address = given.get(each.name, each.default)
        if not isinstance(address, str):
            values[each.name] = address
            continue
        assert not isinstance(each.quantity, Choice)
        printer = work.lines if each.name in columns else work.singles
        cell = arguments.cell(each.name)
        printer.known[cell.number] = Text(address)
        read = arguments.read(each, each.quantity, computed=True)
        [text] = printer.print_all([lowered(read)])
        values[each.name] = argument(each.name)
        printer.known[argument(each.name).number] = printer.named(text)
    filled: Value = True
    raw: Value = BLANK
    said: Value = BLANK
    number: Value = True
    for key in sorted(columns, reverse=True):
        cell, value = arguments.cell(key), argument(key)
        filled = make("AND", make("<>", cell, BLANK), filled)
        raw = make("IF", arguments.is_refusal(cell), cell, raw)
        said = make("IF", arguments.is_refusal(value), value, said)
        number = make("AND", make("ISNUMBER", value), number)
    texts = work.lines.print_all([number, filled, raw, said])
    work.kept = line(f"IF({texts[0].text},1,0)")
    passed = line(texts[2].text)
    wrong = line(f'IF({passed}<>"",{passed},IF({texts[1].text},{texts[3].text},""))')
    at = single(f'IFERROR(MATCH("! *",all.{wrong},0),0)')
    where = f'IF(INDEX(all.{passed},{at})="", " (cell "&{at}&" of the range)","")'
    fault = f"INDEX(all.{wrong},{at})&{where.replace(', ', ',')}"
    others = [each.name for each in function.arguments
              if isinstance(given.get(each.name), str) and each.name not in columns]  # fmt: skip
    good = ",".join([f"SUM(all.{work.kept})>0"] + [
        f"ISNUMBER({work.singles.known[argument(key).number].text})" for key in others
    ])  # fmt: skip
    missing = '""'
    for key in others:
        read_as = work.singles.known[argument(key).number].text
        missing = f'IF(LEFT({read_as},2)="! ",{read_as},{missing})'
    ok = single(f"AND({good})")
    work.singles.form = f'IF({ok},IFERROR({{}},""),"")'
    with pieces.standing_in(pieces.EXACT_STEPS):
        [row, *_] = trace.answer(function, values)
    return [
        f'IF({at}>0,{fault},IF({ok},IFERROR({text},"{NO_ANSWER}"),{missing}))'
        for text in work.printed([lowered(value) for value in row])
    ]


@dataclass
class _Columns:
    """Prints what is recorded: lines into helper cells of each line, the rest into single ones."""

    columns: frozenset[str]
    line: Place
    single: Place
    kept: str = ""
    lines: _Placing = field(init=False)
    singles: _Placing = field(init=False)

    def __post_init__(self) -> None:
        self.lines = _Placing(self.line)
        self.singles = _Placing(self.single)

    def printed(self, roots: list[Value]) -> list[str]:
        """The formulas of values that are one for all lines."""
        for level in self._levels(roots):
            inner = [total.args[0] for total in level]
            self._place_singles(inner)
            for total, text in zip(level, self.lines.print_all(inner), strict=True):
                column = self.kept
                if total.op != "COUNT":
                    column = self.line(f'IF({self.kept}=1,IFERROR({text.text},""),"")')
                self.singles.known[total.number] = Text(
                    self.single(f"{_WHOLE[total.op]}(all.{column})")
                )
        return [text.text for text in self.singles.print_all(roots)]

    def _levels(self, roots: list[Value]) -> list[list[Expression]]:
        """Sums in the order in which they need each other."""
        depth: dict[int, int] = {}
        levels: list[list[Expression]] = []
        for step in reached(*roots):
            deepest = max((depth[a.number] for a in step.args if isinstance(a, Expression)),
                          default=0)  # fmt: skip
            depth[step.number] = deepest + (step.op in _WHOLE)
            if step.op in _WHOLE:
                levels += [[] for _ in range(deepest + 1 - len(levels))]
                levels[deepest].append(step)
        return levels

    def _place_singles(self, inner: list[Value]) -> None:
        """Name what lines use of the sums, so that it is not reckoned on each of them."""
        per_line: set[int] = set()
        used: list[Expression] = []
        for step in reached(*inner):
            if step.op in _WHOLE:
                continue
            if str(step.args[0]) in self.columns or any(
                isinstance(a, Expression) and a.number in per_line for a in step.args
            ):
                per_line.add(step.number)
                used += [a for a in step.args if isinstance(a, Expression)]
        for value in used:
            if value.number not in per_line and value.number not in self.lines.known:
                [text] = self.singles.print_all([value])
                self.lines.known[value.number] = self.singles.named(text)


class _Placing(Printer):
    """A printer whose parts go into cells of their own at once."""

    def __init__(self, place: Place) -> None:
        super().__init__(lambda leaf: str(leaf.args[0]), str)
        self.place, self.form = place, 'IFERROR({},"")'

    def steps(self, roots: Sequence[Value]) -> list[Expression]:
        """Nothing beneath what is known: single cells know sums, and not the lines beneath."""
        found: dict[int, Expression] = {}
        waiting = [root for root in roots if isinstance(root, Expression)]
        while waiting:
            value = waiting.pop()
            if value.number not in found:
                found[value.number] = value
                if value.number not in self.known:
                    waiting += [part for part in value.args if isinstance(part, Expression)]
        return [found[number] for number in sorted(found)]

    def named(self, text: Text, form: Callable[[str], str] = str) -> Text:
        """A cell for a piece of formula."""
        return Text(self.place(self.form.format(text.text)))
