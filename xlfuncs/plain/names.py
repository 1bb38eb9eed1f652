"""The cell functions as named LAMBDAs, for programs that know them: exact, with our names.

What science/ has a function for, such as the density of a sugar solution, is a name of its own that
the others call; so is the reading of each kind of argument, and the writing of a number.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from xlfuncs.cells import values
from xlfuncs.cells.boundary import NO_ANSWER
from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.declaration import Argument
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.functions import beer as functions
from xlfuncs.plain import arguments, recorded, trace
from xlfuncs.plain.expressions import (
    ARITHMETIC,
    Expression,
    Value,
    argument,
    explore,
    leaf,
    make,
    reached,
    words,
)
from xlfuncs.plain.formulas import Printer, decimals_text, digits_text, lowered
from xlfuncs.science import beer, ethanol, sucrose, water
from xlfuncs.science.arrays import derivative, polynomial

#: The longest formula that a spreadsheet takes.
LONGEST = 8192
# A part gets a name within a LAMBDA when that saves more characters than this.
_WORTH = 12

#: What science/ has a function for, by the name that it gets here.
_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "WATER_DENSITY": water.density,
    "WATER_REFRACTION": water.specific_refraction,
    "REFRACTION_OF_INDEX": water.lorentz_lorenz,
    "INDEX_OF_REFRACTION": water.from_lorentz_lorenz,
    "SUGAR_DENSITY": sucrose.density,
    "SUGAR_SG": sucrose.sg,
    "SUGAR_PLATO": sucrose.plato,
    "SUGAR_INDEX": sucrose.refractive_index,
    "SUGAR_BRIX": sucrose.brix,
    "SUGAR_REFRACTION": sucrose.refraction,
    "SUGAR_PLATO_WARM": sucrose.plato_at,
    "SUGAR_BRIX_WARM": sucrose.brix_at,
    "BEER_LEAST_BRIX": functions._least_brix,
    "SHOW_SG": values.show_sg,
    "SHOW_APART": functions._apart,
}

#: Polynomials of science/ that have no function of their own.
_POLYNOMIALS: dict[str, tuple[float, ...]] = {
    "SUGAR_DENSITY_COOL": sucrose.DENSITY_20,
    "SUGAR_DENSITY_SLOPE": derivative(sucrose.DENSITY_20),
    "SUGAR_INDEX_SLOPE": derivative(sucrose.REFRACTIVE_INDEX),
    "SUGAR_EXTRACT": sucrose.EXTRACT_PER_LITRE,
    "SUGAR_EXTRACT_SLOPE": derivative(sucrose.EXTRACT_PER_LITRE),
    "ETHANOL_DENSITY": ethanol.DENSITY_20,
    "ETHANOL_DENSITY_SLOPE": derivative(ethanol.DENSITY_20),
}


@dataclass(frozen=True)
class Name:
    """One name: its LAMBDA as a person types it, and as a file stores it."""

    name: str
    shown: str
    stored: str
    arguments: tuple[str, ...]
    needs: tuple[str, ...]  # other names that it calls


# --- the parts ------------------------------


def _called(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
    """In place of a function of science/: a call of its name."""
    signature = inspect.signature(function)

    def call(*given: Any, **named: Any) -> Any:
        bound = signature.bind(*given, **named)
        bound.apply_defaults()
        if not any(isinstance(value, Expression) for value in bound.args):
            return function(*bound.args)
        return make(name, *bound.args)

    return call


def _polynomial(coefficients: tuple[float, ...], x: Any) -> Any:
    """In place of `arrays.polynomial`: a call of its name, if it has one."""
    for name, known in _POLYNOMIALS.items():
        if coefficients == known and isinstance(x, Expression):
            return make(name, x)
    return polynomial(coefficients, x)


@contextmanager
def called_by_name() -> Iterator[None]:
    """science/ with calls of names in the place of the functions that have one."""
    calls: dict[Any, Any] = {f: _called(name, f) for name, f in _FUNCTIONS.items()}
    calls[polynomial] = _polynomial
    calls[beer.from_brix] = _from_brix
    with trace.replaced(calls):
        yield


_FROM_BRIX = inspect.signature(beer.from_brix)


def _from_brix(*given: Any, **named: Any) -> beer.Beer:
    """In place of `beer.from_brix`: a call for each half of the beer."""
    bound = _FROM_BRIX.bind(*given, **named)
    bound.apply_defaults()
    halves: list[Any] = [make(name, *bound.args) for name in _HALVES]
    return beer.Beer(*halves)


def _residue(original: Any, brix: Any, wort_factor: Any, alcohol_factor: Any) -> Any:
    return beer.by_newton(original, brix, wort_factor, alcohol_factor)[0].residue


def _spirit(original: Any, brix: Any, wort_factor: Any, alcohol_factor: Any) -> Any:
    return beer.by_newton(original, brix, wort_factor, alcohol_factor)[0].spirit


_HALVES = {"BEER_RESIDUE": _residue, "BEER_SPIRIT": _spirit}


def _part(name: str, function: Callable[..., Any]) -> Name:
    names = list(inspect.signature(function).parameters)

    def run() -> Any:
        answer = function(*map(argument, names))
        return words(lambda: answer) if isinstance(answer, str) else answer

    with trace.as_is(), called_by_name():
        value = explore(run, lambda *ways: make("IF", *ways))
    return _defined(name, [(each, "") for each in names], [], value)


def _polynomial_part(name: str, coefficients: tuple[float, ...]) -> Name:
    value: Any = polynomial(coefficients, argument("x"))
    return _defined(name, [("x", "")], [], value)


# --- texts and numbers ------------------------------

_DIGITS, _DECIMALS, _NUMBER_IN, _GROUPED = "SHOW_DIGITS", "SHOW_DECIMALS", "NUMBER_IN", "GROUPED_IN"


def _number_text(number: Value, digits: int, kind: str) -> Value:
    return make(_DECIMALS if kind == "f" else _DIGITS, number, float(digits))


def _tools() -> Iterator[Name]:
    number, digits, text = argument("number"), argument("digits"), arguments.cell("text")
    both = [("number", ""), ("digits", "")]
    yield _defined(_DIGITS, both, [], digits_text(number, digits))
    yield _defined(_DECIMALS, both, [], decimals_text(number, digits))
    found, grouped = arguments.number_in(text)
    yield _defined(_NUMBER_IN, [("text", "")], [], make("IFERROR", found, ""))
    yield _defined(_GROUPED, [("text", "")], [], make("IFERROR", grouped, False))


# --- arguments ------------------------------


class _Readers:
    """The names that read arguments: one for each quantity under each argument's name."""

    def __init__(self) -> None:
        self._known: dict[Any, str] = {}
        self.names: list[Name] = []

    def read(self, each: Argument, function: CellFunction) -> Value:
        """A call that reads the argument from its cell."""
        raw = leaf("cell", each.name)
        quantity = recorded.quantity_of(function, each.name, {})
        key = (each.name, _limits(quantity), each.default if each.optional else "")
        words = _leaves(quantity)
        if key not in self._known:
            taken = set(self._known.values())
            base = f"READ_{each.name.upper()}"
            choices = [base, *(f"{base}_{letter}" for letter in "BCDEFGHIJ")]
            self._known[key] = next(choice for choice in choices if choice not in taken)
            found, grouped = arguments.number_in(raw)
            calls = {found: make(_NUMBER_IN, raw), grouped: make(_GROUPED, raw)}
            value = _exchanged(arguments.read(each, quantity), calls)
            parameters = [(each.name, ""), *((str(word.args[0]), "") for word in words)]
            self.names.append(_defined(self._known[key], parameters, [], value))
        return make(self._known[key], raw, *words)


def _limits(quantity: Number | Choice) -> Any:
    """What of the quantity decides how a cell is read."""
    if isinstance(quantity, Choice):
        return tuple(quantity.words)
    limits = tuple(
        limit.number if isinstance(limit, Expression) else limit
        for limit in (quantity.low, quantity.high)
    )
    return (*limits, quantity.above, quantity.unit, bool(quantity.blank_means))


def _leaves(quantity: Number | Choice) -> list[Expression]:
    """The arguments on which the limits hang."""
    if not isinstance(quantity, Number):
        return []
    return [step for step in reached(quantity.low, quantity.high) if step.op == "argument"]


def _exchanged(root: Value, others: Mapping[Expression, Any]) -> Value:
    """The value with other expressions in the place of some."""
    known: dict[int, Any] = {old.number: new for old, new in others.items()}
    for step in reached(root):
        if step.number not in known:
            parts = [known[p.number] if isinstance(p, Expression) else p for p in step.args]
            known[step.number] = step if step.op in ("argument", "cell") else make(step.op, *parts)
    return known[root.number] if isinstance(root, Expression) else root


# --- the functions ------------------------------


def _function(function: CellFunction, readers: _Readers) -> Name:
    [answers] = recorded.record(function, {}, called_by_name)
    reads = []
    before: list[tuple[str, Value]] = []
    for each in sorted(function.arguments, key=lambda a: isinstance(a.quantity, Number)):
        before.append((each.name, readers.read(each, function)))
        reads.append(arguments.Read(leaf("cell", each.name), argument(each.name), each.quantity))
    values = []
    for answer in answers:
        if isinstance(answer, Expression) and any(s.op in ARITHMETIC for s in reached(answer)):
            answer = make("IFERROR", answer, NO_ANSWER)
        values.append(make("IF", arguments.all_good(reads), answer, arguments.foremost(reads)))
    value = values[0] if len(values) == 1 else make("HSTACK", *values)
    parameters = [(each.name, "optional" if each.optional else "") for each in function.arguments]
    return _defined(function.name, parameters, before, value)


def _defined(
    name: str, parameters: list[tuple[str, str]], before: list[tuple[str, Value]], value: Value
) -> Name:
    """A name whose LAMBDA has the parameters, names what is read before, and gives the value."""
    # A parameter must not bear the name of a function: `beer_sg` would hide BEER_SG.
    spelled = {each: each + "_" * (each.upper() in CATALOGUE) for each, _ in parameters}
    parameters = [(spelled[each], kind) for each, kind in parameters]
    before = [(spelled[each], read) for each, read in before]
    optional = [each for each, kind in parameters if kind]

    def leaf_text(step: Expression) -> str:
        place = spelled[str(step.args[0])]
        if step.op == "cell" and place in optional:
            return f"\x01{place}_"
        return f"\x01{place}" if step.op == "cell" or not before else f"\x01{place}_read"

    printer = Printer(leaf_text, lambda number: f"\x01p_{number + 1}", LONGEST, _WORTH)
    lines = [
        (f"\x01{each}_", f'IF(\x02ISOMITTED(\x01{each}),"",IF(ISBLANK(\x01{each}),"",\x01{each}))')
        for each in optional
    ]
    for each, read in before:
        [printed] = printer.print_all([lowered(read, text=_number_text)])
        lines.append((f"\x01{each}_read", printed.text))
    [body] = printer.print_all([lowered(value, text=_number_text)])
    lines += printer.parts
    inner = body.text
    if lines:
        inner = f"\x02LET({','.join(f'{one},{text}' for one, text in lines)},{inner})"
    inner = inner.replace("HSTACK(", "\x02HSTACK(")
    heads = [f"\x03{each}" if kind else f"\x01{each}" for each, kind in parameters]
    text = f"\x02LAMBDA({','.join([*heads, inner])})"
    shown = text
    for each, kind in parameters:
        if kind:
            shown = shown.replace(f"\x03{each}", f"[{each}]")
    stored = text.replace("\x01", "_xlpm.").replace("\x02", "_xlfn.").replace("\x03", "_xlop.")
    used = {step.op for step in reached(value, *(read for _, read in before))}
    used |= {step.op for step in reached(lowered(value, text=_number_text))}
    return Name(
        name,
        shown.replace("\x01", "").replace("\x02", "").replace("_xlfn.", ""),
        stored.replace("_xlfn.ISOMITTED(_xlop.", "_xlfn.ISOMITTED(_xlpm."),
        tuple(each for each, _ in parameters),
        tuple(sorted(used)),
    )


@functools.cache
def all_names() -> tuple[Name, ...]:
    """Every name: the functions in the order of the catalogue, then what they call."""
    readers = _Readers()
    functions = [
        _function(function, readers)
        for function in CATALOGUE.values()
        if function.arguments and not function.answers_whole
    ]
    parts = [_part(name, function) for name, function in (_FUNCTIONS | _HALVES).items()]
    parts += [_polynomial_part(name, each) for name, each in _POLYNOMIALS.items()]
    others = {name.name: name for name in (*readers.names, *parts, *_tools())}
    waiting, used = [need for name in functions for need in name.needs], set()
    while waiting:
        need = waiting.pop()
        if need in others and need not in used:
            used.add(need)
            waiting += others[need].needs
    return (*functions, *(name for name in others.values() if name.name in used))
