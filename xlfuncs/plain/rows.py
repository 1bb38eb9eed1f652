"""Each cell function as plain formulas: helper cells, then the answer."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from xlfuncs.cells.boundary import NO_ANSWER
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.cells.declaration import Argument
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.cells.values import BLANK
from xlfuncs.plain import arguments, pieces, recorded, trace
from xlfuncs.plain.expressions import ARITHMETIC, Expression, Value, argument, make, reached
from xlfuncs.plain.formulas import Printer, Text, lowered
from xlfuncs.plain.measured import steps_of

#: The helper that says whether every argument is there.
_GOOD = "{_ok}"


@dataclass(frozen=True)
class Plain:
    """A cell function in plain formulas.

    Each template holds `{brix}` for the text of an argument and `{_1}` for the address of a helper
    cell; a helper uses only those before it.
    """

    helpers: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def answer(self) -> str:
        """The template of the answer, or of its first cell."""
        return self.rows[0][0]

    @property
    def templates(self) -> list[str]:
        """All of them."""
        return [template for _, template in self.helpers] + [
            template for row in self.rows for template in row
        ]


class _FromCell:
    """Says of an optional argument that it comes from a cell, as those without a default do."""


FROM_CELL = _FromCell()


def formula(
    name: str, given: Mapping[str, Any] | None = None, computed: frozenset[str] = frozenset()
) -> Plain:
    """The function, with constants in place of some arguments.

    `given` holds a constant, or `FROM_CELL`, for an argument; an optional one that is not named has
    its default.  `computed` names arguments whose cells hold a formula of ours, and so no number
    that was typed as text.
    """
    function = CATALOGUE[name]
    unknown = ((given or {}).keys() | computed) - {each.name for each in function.arguments}
    if unknown:
        raise ValueError(f"{name} has no argument {', '.join(sorted(unknown))}")
    fixed = {each.name: each.default for each in function.arguments if each.optional}
    fixed |= given or {}
    constants = {key: value for key, value in fixed.items() if value is not FROM_CELL}
    return _formula(name, tuple(sorted(constants.items())), computed)


@functools.cache
def _formula(name: str, constants: recorded.Constants, computed: frozenset[str]) -> Plain:
    function, fixed = CATALOGUE[name], dict(constants)
    answer = recorded.with_stand_ins(name, constants, steps_of(name))
    cells = [each for each in function.arguments if each.name not in fixed]
    printer = _printer()
    reads = []
    # Words first: the limits of a number may hang on one.
    for each in sorted(cells, key=lambda each: isinstance(each.quantity, Number)):
        quantity = recorded.quantity_of(function, each.name, fixed)
        _print_read(printer, each, quantity, each.name, computed=each.name in computed)
        reads.append(arguments.Read(arguments.cell(each.name), argument(each.name), quantity))
    everyday = [argument(e.name) for e in cells if arguments.is_everyday(e.quantity)]
    return _printed(printer, arguments.all_good(reads), arguments.foremost(reads), answer, everyday)


def formula_of_parts(name: str, ranges: tuple[str, ...], count: int, computed: bool) -> Plain:
    """A function of whole ranges, such as BLEND_SG, of so many cells in each.

    The template holds `{volumes_1}` for the first cell of the range `volumes`.  A place that is
    blank in one of the ranges is left out, as the function leaves it out.
    """
    return _formula_of_parts(name, ranges, count, computed)


@functools.cache
def _formula_of_parts(name: str, ranges: tuple[str, ...], count: int, computed: bool) -> Plain:
    function = CATALOGUE[name]
    printer = _printer()
    taken = [each for each in function.arguments if each.name in ranges]
    places = range(1, count + 1)
    kept: dict[int, Value] = {}
    some: Value = False
    for place in places:
        filled: Value = True
        for each in taken:
            filled = make("AND", filled, _is_filled(f"{each.name}_{place}"))
        kept[place] = filled
        some = make("OR", some, filled)
    faults: Value = BLANK
    good: Value = some
    for each in reversed(taken):
        for place in reversed(places):
            cell = f"{each.name}_{place}"
            _print_read(printer, each, each.quantity, cell, computed=computed)
            wrong = make("AND", kept[place], arguments.is_refusal(argument(cell)))
            said = make("&", argument(cell), f" (cell {place} of the range)")
            faults = make("IF", wrong, said, faults)
            number = make("ISNUMBER", argument(cell))
            good = make("AND", make("OR", make("NOT", kept[place]), number), good)
    faults = make("IF", some, faults, BLANK)
    for each in reversed(taken):
        for place in reversed(places):
            raw = arguments.cell(f"{each.name}_{place}")
            faults = make("IF", arguments.is_refusal(raw), raw, faults)
            good = make("AND", make("NOT", arguments.is_refusal(raw)), good)
    given = {each.name: each.default for each in function.arguments if each.optional}
    for number, each in enumerate(taken):
        # What is left out has no volume, and so may have any strength.
        assert isinstance(each.quantity, Number)
        instead = 0.0 if number == 0 else each.quantity.typical
        cells = [
            make("IF", kept[place], argument(f"{each.name}_{place}"), instead) for place in places
        ]
        given[each.name] = np.array(cells, dtype=object)
    with pieces.standing_in(steps_of(name)):
        answer = trace.answer(function, given)
    return _printed(printer, good, faults, answer, [])


def _is_filled(place: str) -> Value:
    return make("<>", make("TRIM", arguments.cell(place)), BLANK)


def _printer() -> Printer:
    return Printer(lambda leaf: f"{{{leaf.args[0]}}}", lambda number: f"{{_{number + 1}}}")


def _print_read(
    printer: Printer, each: Argument, quantity: Number | Choice, place: str, *, computed: bool
) -> None:
    """The helper cells that read an argument; the last is known as its value from now on."""
    if isinstance(quantity, Number) and not computed:
        found, _ = arguments.number_in(arguments.cell(place))
        printer.print_all([found], form=_of_text(place))
        number: Any = arguments.number_of(arguments.cell(place))
        [text] = printer.print_all([number], form=_or_nothing)
        printer.known[number.number] = printer.named(text, form=_or_nothing)
    # Whoever types more than 10,000,000,000 sees it in digits, not as a power of ten.
    read = lowered(
        arguments.read(each, quantity, place=place, computed=computed), lambda number: True
    )
    [text] = printer.print_all([read], form=_or_nothing)
    printer.known[argument(place).number] = printer.named(text)


def _printed(
    printer: Printer,
    good: Value,
    faults: Value,
    answer: trace.Answer,
    everyday: Collection[Expression],
) -> Plain:
    condition, fault = printer.print_all([good, faults])
    before = len(printer.parts)
    known = {value.number for value in everyday}

    def is_everyday(value: Value) -> bool:
        return isinstance(value, Expression) and value.number in known

    flat = [lowered(value, is_everyday) for row in answer for value in row]
    texts = printer.print_all(flat, form=lambda text: f'IF({_GOOD},{text},"")')
    if len(printer.parts) > before:
        printer.parts.insert(before, (_GOOD, condition.text))
        condition = Text(_GOOD)
    done = [
        f"=IF({condition.text},{_safe(value, text.text)},{fault.text})"
        for value, text in zip(flat, texts, strict=True)
    ]
    width = len(answer[0])
    return Plain(
        tuple((key.strip("{}"), "=" + text) for key, text in printer.parts),
        tuple(tuple(done[start : start + width]) for start in range(0, len(done), width)),
    )


def _or_nothing(text: str) -> str:
    """A helper that shows no error where a cell has no use for it."""
    return f'IFERROR({text},"")'


def _of_text(name: str) -> Callable[[str], str]:
    """A helper that is blank where the argument is no text."""
    return lambda text: f'IF(ISTEXT({{{name}}}),{_or_nothing(text)},"")'


def _safe(value: Value, text: str) -> str:
    """The formula, with words where the arithmetic gives no number."""
    if not isinstance(value, Expression) or not any(s.op in ARITHMETIC for s in reached(value)):
        return text
    return f'IFERROR({text},"{NO_ANSWER}")'


class Helpers:
    """The helper cells of one row: each formula once, however many functions ask for it."""

    def __init__(self, address: Callable[[int], str]) -> None:
        #: The formulas, in the order of their cells; each uses only those before it.
        self.formulas: list[str] = []
        self._address = address
        self._known: dict[str, str] = {}

    def call(
        self, name: str, computed: Collection[str] = (), /, **given: str | float
    ) -> list[list[str]]:
        """The formulas of the function's answer, by row and column.

        An argument is the address of its cell, as text, or a constant: a number, or a word of its
        list.  `computed` names those whose cells hold a formula of ours.

        >>> helpers = Helpers(lambda number: f"$Z{number + 1}")
        >>> [[answer]] = helpers.call("WORT_SG", ["brix"], brix="D5", wort_factor=1.04)
        >>> answer[:19], len(helpers.formulas)
        ('=IF(ISNUMBER($Z1),I', 1)
        """
        cells: dict[str, str] = {}
        fixed: dict[str, Any] = {}
        quantities = {each.name: each.quantity for each in CATALOGUE[name].arguments}
        for key, value in given.items():
            quantity = quantities.get(key)
            words = quantity.spellings if isinstance(quantity, Choice) else {}
            if isinstance(value, str) and value.casefold() not in words:
                cells[key] = value
            else:
                fixed[key] = words.get(str(value).casefold(), value)
        plain = formula(name, fixed | dict.fromkeys(cells, FROM_CELL), frozenset(computed))
        return self._placed(plain, cells)

    def call_parts(self, name: str, computed: bool = False, /, **ranges: list[str]) -> str:
        """The formula of a function of whole ranges: BLEND_SG, BLEND_VOLUME, BLEND_ABV.

        A range is the list of its cells' addresses, all of one length.
        """
        [count] = {len(cells) for cells in ranges.values()}
        plain = formula_of_parts(name, tuple(ranges), count, computed)
        cells = {
            f"{key}_{place}": address
            for key, addresses in ranges.items()
            for place, address in enumerate(addresses, start=1)
        }
        return self._placed(plain, cells)[0][0]

    def _placed(self, plain: Plain, cells: dict[str, str]) -> list[list[str]]:
        for key, template in plain.helpers:
            cells[key] = self.cell(template.format_map(cells))
        return [[template.format_map(cells) for template in row] for row in plain.rows]

    def cell(self, text: str) -> str:
        """The address of the helper cell that holds this formula, `=` before it."""
        if text not in self._known:
            self._known[text] = self._address(len(self.formulas))
            self.formulas.append(text)
        return self._known[text]
