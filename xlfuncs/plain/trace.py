"""Run a cell function on values that record what it does."""

from __future__ import annotations

import functools
import importlib
import pkgutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import xlfuncs.functions
import xlfuncs.science
from xlfuncs.cells.boundary import NO_ANSWER
from xlfuncs.cells.catalogue import CellFunction
from xlfuncs.cells.values import BLANK, Refused
from xlfuncs.plain.expressions import Expression, Value, explore, make, words

#: Rows of an answer, each a tuple of its columns.
Answer = tuple[tuple[Value, ...], ...]


def answer(function: CellFunction, given: Mapping[str, Any]) -> Answer:
    """What the function's body makes of its arguments, each an expression or a constant."""

    def run() -> Answer:
        try:
            result = function.body(*(given[argument.name] for argument in function.arguments))
        except Refused as refused:
            return ((_value(refused.text),) * max(1, len(function.columns)),)
        return _rows(result)

    instead = BLANK if function.answers_whole else NO_ANSWER
    with as_is():
        return tuple(
            tuple(_without_nan(value, instead) for value in row) for row in explore(run, _joined)
        )


def _without_nan(value: Value, instead: str) -> Value:
    """The value, with a text where the arithmetic gives none."""
    if isinstance(value, Expression):
        if value.op != "IF":
            return value
        condition, *ways = value.args
        return make("IF", condition, *(_without_nan(way, instead) for way in ways))
    return instead if value != value else value


def _rows(result: Any) -> Answer:
    rows = result if isinstance(result, list) else [result]
    return tuple(
        tuple(map(_value, row)) if isinstance(row, tuple) else (_value(row),) for row in rows
    )


def _value(value: Any) -> Value:
    """The value as an expression; `make` unwraps what numpy has put round it."""
    return words(lambda: value) if isinstance(value, str) else make("IF", True, value, 0.0)


def _joined(condition: Expression, then: Answer, otherwise: Answer) -> Answer:
    height, width = len(max(then, otherwise, key=len)), max(map(len, (then[0], otherwise[0])))

    def filled(rows: Answer) -> Answer:
        return rows * height if len(rows) == 1 else rows

    return tuple(
        tuple(make("IF", condition, *pair) for pair in zip(*rows, strict=True))
        for rows in zip(filled(then), filled(otherwise), strict=True)
        if len(rows[0]) == width
    )


# --- other things in the place of names in science/ and functions/ ------------------------------


@functools.cache
def _modules() -> list[ModuleType]:
    return [
        importlib.import_module(found.name)
        for package in (xlfuncs.science, xlfuncs.functions)
        for found in pkgutil.iter_modules(package.__path__, package.__name__ + ".")
    ]


@functools.cache
def _names() -> dict[int, list[tuple[ModuleType, str]]]:
    """The modules that have a function by name, and its name there; by the function's identity."""
    found: dict[int, list[tuple[ModuleType, str]]] = {}
    for module in _modules():
        for name, value in vars(module).items():
            found.setdefault(id(value), []).append((module, name))
    return found


@contextmanager
def replaced(others: Mapping[Any, Any]) -> Iterator[None]:
    """Each function that is a key stands aside for its value, wherever a module has it by name."""
    before = [(*place, function) for function in others for place in _names()[id(function)]]
    for module, name, function in before:
        setattr(module, name, others[function])
    try:
        yield
    finally:
        for module, name, function in before:
            setattr(module, name, function)


@contextmanager
def as_is() -> Iterator[None]:
    """`float(x)` of a recorded value is that value itself, and a model runs in one block."""
    for module in _modules():
        vars(module)["float"] = _as_is
    from xlfuncs.science.arrays import in_blocks

    try:
        with replaced({in_blocks: lambda function, *values: function(*values)}):
            yield
    finally:
        for module in _modules():
            del vars(module)["float"]


def _as_is(value: Any) -> Any:
    return value if isinstance(value, Expression) else float(value)
