"""What each cell function does with its arguments, recorded and kept.

Words that come from a cell, such as the scale of a gravity, are chosen among in the formula: the
function is recorded once for each word.
"""

from __future__ import annotations

import dataclasses
import functools
import re
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from typing import Any

from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.plain import pieces, trace
from xlfuncs.plain.expressions import Value, argument, make
from xlfuncs.science import units

#: Constants in the places of arguments, as they are given to the body.
Constants = tuple[tuple[str, Any], ...]
Context = Callable[[], AbstractContextManager[None]]


@functools.cache
def with_stand_ins(name: str, constants: Constants, steps: int) -> trace.Answer:
    """The function's answer, short, from arguments that are read and within their limits."""
    return record(CATALOGUE[name], dict(constants), lambda: pieces.standing_in(steps))


def record(function: CellFunction, given: Mapping[str, Any], context: Context) -> trace.Answer:
    """The function's answer, with constants in the places of the arguments that are given."""
    open_words = [
        each.name
        for each in function.arguments
        if isinstance(each.quantity, Choice) and each.name not in given
    ]
    if len(open_words) == 2:
        return ((_converted(function, given, context),),)
    if open_words:
        return _chosen(function, given, open_words[0], context)
    values = {each.name: given.get(each.name, argument(each.name)) for each in function.arguments}
    with context():
        return trace.answer(function, values)


def by_word(name: str, words: list[str], of: Callable[[str], Any]) -> Any:
    """What `of` gives for the word that the argument will be."""
    chosen = of(words[-1])
    for word in words[-2::-1]:
        chosen = make("IF", make("=", argument(name), word), of(word), chosen)
    return chosen


def _words(function: CellFunction, name: str) -> list[str]:
    quantity = next(each.quantity for each in function.arguments if each.name == name)
    return list(quantity.words)


def _chosen(
    function: CellFunction, given: Mapping[str, Any], name: str, context: Context
) -> trace.Answer:
    def of(word: str) -> Value:
        return record(function, {**given, name: word}, context)[0][0]

    return ((by_word(name, _words(function, name), of),),)


def _converted(function: CellFunction, given: Mapping[str, Any], context: Context) -> Value:
    """A conversion whose two words both come from cells: to the first word of a kind, and from it.

    A test holds that this is what the function itself makes of every pair of words.
    """
    value, source, target = (each.name for each in function.arguments)
    words = _words(function, source)

    def kind_of(word: str) -> str:
        return units.UNITS[word].kind if word in units.UNITS else ""

    first_of = {kind_of(word): word for word in reversed(words)}

    def convert(number: Value, one: str, other: str) -> Value:
        pair = {**given, value: number, source: one, target: other}
        return record(function, pair, context)[0][0]

    middle = by_word(source, words, lambda w: convert(argument(value), w, first_of[kind_of(w)]))
    converted = by_word(target, words, lambda w: convert(middle, first_of[kind_of(w)], w))
    same_word = make("=", argument(source), argument(target))
    answer = make("IF", same_word, argument(value), converted)
    if len(first_of) == 1:
        return answer
    one, other, *_ = first_of.values()
    refusal = convert(argument(value), one, other)
    kinds = [by_word(name, words, kind_of) for name in (source, target)]
    assert isinstance(refusal, str)
    instead = {
        one: argument(source), other: argument(target),
        kind_of(one): kinds[0], kind_of(other): kinds[1],
    }  # fmt: skip
    said: list[Value] = [
        instead.get(word, word) for word in _split(refusal, sorted(instead, key=len, reverse=True))
    ]
    return make("IF", make("=", *kinds), answer, make("&", *said))


def _split(text: str, words: list[str]) -> list[str]:
    """The text cut before and after each of the words, where they stand alone."""
    return re.split(rf"(?<!\w)({'|'.join(map(re.escape, words))})(?!\w)", text)


def quantity_of(function: CellFunction, name: str, given: Mapping[str, Any]) -> Number | Choice:
    """An argument's quantity; where a word from a cell decides, with limits chosen by it."""
    quantity = next(each.quantity for each in function.arguments if each.name == name)
    if not isinstance(quantity, Number) or quantity.given is None:
        return quantity
    if quantity.depends_on in given:
        return quantity.given(given[quantity.depends_on])
    words = _words(function, quantity.depends_on)
    limits = quantity.given
    return dataclasses.replace(
        limits(words[0]),
        low=by_word(quantity.depends_on, words, lambda word: _outward(limits(word).low, -1)),
        high=by_word(quantity.depends_on, words, lambda word: _outward(limits(word).high, 1)),
    )


def _outward(limit: float, side: int) -> float:
    """The limit, or the next number beyond it that 15 digits tell: programs read no more."""
    digits = float(f"{limit:.15g}")
    return (
        digits
        if (digits - limit) * side >= 0
        else float(f"{limit + side * abs(limit) * 1e-14:.15g}")
    )
