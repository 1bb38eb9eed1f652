"""Recorded arithmetic as formulas of a spreadsheet: short ones, with helper cells between them.

Only operators and functions that every spreadsheet program knows are used; no name, array, LET or
LAMBDA.  A decimal comma in the program's language changes nothing.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from xlfuncs.plain.expressions import (
    ARITHMETIC,
    COMPARISONS,
    LEAVES,
    Expression,
    Value,
    make,
    reached,
)

#: A formula longer than this is cut; programs take 8,192.
LONGEST = 900
#: And so is one with more brackets in brackets; programs take 64.
DEEPEST = 40
# A part becomes a cell of its own when that saves more characters than this.
_WORTH = 100

_STRENGTH = {"&": 2, "+": 3, "-": 3, "*": 4, "/": 4, "^": 5} | dict.fromkeys(COMPARISONS, 1)
_ATOM = 9


# --- what a spreadsheet has no word for ------------------------------


def _never(number: Value) -> bool:
    return False


#: Prints a number in a message: the number, how many digits, and Python's kind of format.
NumberText = Callable[[Value, int, str], Value]


def lowered(
    root: Value, everyday: Callable[[Value], bool] = _never, text: NumberText | None = None
) -> Value:
    """The same value with worksheet functions alone: texts of numbers written out.

    `everyday` says of which numbers to take it that their size needs no power of ten.
    """
    known: dict[int, Value] = {}

    def of(value: Value) -> Value:
        return known[value.number] if isinstance(value, Expression) else value

    for step in reached(root):
        parts = [of(part) for part in step.args]
        if step.op in LEAVES:
            known[step.number] = step
        elif step.op == "TEXT":
            spec = str(parts[1])
            digits, kind, plain = int(spec[1:-1]), spec[-1], everyday(step.args[0])
            if text is not None:
                known[step.number] = text(parts[0], digits, kind)
            elif kind == "f":
                known[step.number] = decimals_text(parts[0], float(digits))
            else:
                known[step.number] = digits_text(parts[0], float(digits), everyday=plain)
        elif step.op in ("=", "<>") and all(map(_is_truth, parts)):
            # Not every program compares two truth values.
            first, second = parts
            other = make("NOT", second)
            ways = (second, other) if step.op == "=" else (other, second)
            known[step.number] = make("IF", first, *ways)
        elif step.op == "ISNAN":
            known[step.number] = make("NOT", make("ISNUMBER", parts[0]))
        else:
            known[step.number] = make(step.op, *parts)
    return of(root)


def _is_truth(value: Value) -> bool:
    return isinstance(value, Expression) and value.op in (*COMPARISONS, "AND", "OR", "NOT")


def decimals_text(number: Value, decimals: Value) -> Value:
    """As `f"{number:.2f}"`: digits before the point, and after it."""
    unit = make("^", 10.0, decimals)
    count = make("ROUND", make("*", make("ABS", number), unit), 0.0)
    whole = make("INT", make("/", count, unit))
    sign = make("IF", make("<", number, 0.0), "-", "")
    rest = make("+", unit, make("-", count, make("*", whole, unit)))
    pointed = make("&", sign, whole, ".", make("RIGHT", rest, decimals))
    return make("IF", make("=", decimals, 0.0), make("&", sign, count), pointed)


def digits_text(number: Value, digits: Value, *, everyday: bool = False) -> Value:
    """As `f"{number:.10g}"`: so many digits, a power of ten where the number is large or small.

    An everyday number is not so large, and shown as nothing where it is so small.
    """
    size = make("ABS", number)
    after = make("-", digits, 1.0)
    smallest = make("MAX", size, 10.0**_SMALL)
    near = _pointed(make("ROUND", number, make("-", after, _power_of_ten(smallest))))
    if everyday:
        return near
    power = _power_of_ten(size)
    far = make(
        "&",
        _pointed(make("ROUND", make("/", number, make("^", 10.0, power)), after)),
        make("IF", make("<", power, 0.0), "e-", "e+"),
        make("IF", make("<", make("ABS", power), 10.0), "0", ""),
        make("ABS", power),
    )
    small = make("AND", make("<>", number, 0.0), make("<", size, 10.0**_SMALL))
    large = make(">=", size, make("^", 10.0, digits))
    return make("IF", make("OR", small, large), far, near)


#: Below this power of ten Python writes a number with one.
_SMALL = -4


def _power_of_ten(size: Value) -> Value:
    # Gnumeric's logarithm of a power of ten may be a hair less than whole.
    return make("INT", make("+", make("LOG10", size), 1e-12))


def _pointed(number: Value) -> Value:
    return make("SUBSTITUTE", number, ",", ".")


# --- printing ------------------------------


class Text(NamedTuple):
    """A piece of formula, and how strongly its parts hold together."""

    text: str
    strength: int = _ATOM

    def within(self, strength: int) -> str:
        """As a part of something that holds so strongly."""
        return self.text if self.strength >= strength else f"({self.text})"


def literal(value: float | str | bool) -> Text:
    """A constant."""
    if isinstance(value, bool):
        return Text("TRUE" if value else "FALSE")
    if isinstance(value, str):
        return Text('"' + value.replace('"', '""') + '"')
    text = repr(value).removesuffix(".0").upper()
    return Text(text, _ATOM if value >= 0 else _STRENGTH["-"])


def operation(step: Expression, parts: list[Text]) -> Text:
    """One operation on parts that are printed."""
    op = step.op
    if op in ARITHMETIC or op in COMPARISONS or op == "&":
        strength = _STRENGTH[op]
        # What follows - / ^ = is put in brackets where it is no stronger.
        tight = strength + (op not in "+*&")
        first, *rest = parts
        text = first.within(strength + (op == "^" or op in COMPARISONS))
        for part in rest:
            after = part.within(tight)
            # a + -3·b reads a - 3·b
            text += after if op == "+" and after.startswith("-") else op + after
        return Text(text, strength)
    if op in ("AND", "OR"):
        texts = []
        for part in parts:
            inner = part.text
            texts.append(inner[len(op) + 1 : -1] if _is_call(inner, op) else inner)
        return Text(f"{op}({','.join(texts)})")
    return Text(f"{op}({','.join(part.text for part in parts)})")


def _too_deep(text: str) -> bool:
    return text.count("(") > DEEPEST and depth(text) > DEEPEST


def depth(text: str) -> int:
    """How many brackets are open at once."""
    deepest, now = 0, 0
    for character in text:
        now += (character == "(") - (character == ")")
        deepest = max(deepest, now)
    return deepest


def _is_call(text: str, name: str) -> bool:
    """Whether the text is one call of the function, from its first to its last character."""
    if not text.startswith(name + "("):
        return False
    depth, quoted = 0, False
    for position, character in enumerate(text):
        quoted ^= character == '"'
        if not quoted:
            depth += (character == "(") - (character == ")")
            if character == ")" and depth == 0:
                return position == len(text) - 1
    return False


@dataclass
class Printer:
    """Prints values one after the other; parts that come up often, or are long, get names."""

    leaf: Callable[[Expression], str]
    name: Callable[[int], str]  # of the next part, by its number
    longest: int = LONGEST
    worth: int = _WORTH
    parts: list[tuple[str, str]] = field(default_factory=list)  # name, formula
    known: dict[int, Text] = field(default_factory=dict)

    def print_all(self, roots: Sequence[Value], form: Callable[[str], str] = str) -> list[Text]:
        """The formulas of the roots; what they share is printed once, in `parts`, in this form."""
        steps = self.steps(roots)
        parts = itertools.chain(roots, *(step.args for step in steps))
        uses = Counter(part.number for part in parts if isinstance(part, Expression))

        def of(value: Value) -> Text:
            return self.known[value.number] if isinstance(value, Expression) else literal(value)

        for step in steps:
            if step.number in self.known:
                continue
            if step.op in LEAVES:
                self.known[step.number] = Text(self.leaf(step))
                continue
            text = operation(step, [of(part) for part in step.args])
            while len(text.text) > self.longest or _too_deep(text.text):
                inner = [part for part in step.args if isinstance(part, Expression)]
                largest = max(inner, key=lambda part: len(self.known[part.number].text))
                self.known[largest.number] = self.named(self.known[largest.number], form)
                text = operation(step, [of(part) for part in step.args])
            if (uses[step.number] - 1) * len(text.text) > self.worth:
                text = self.named(text, form)
            self.known[step.number] = text
        return [of(root) for root in roots]

    def steps(self, roots: Sequence[Value]) -> list[Expression]:
        """What has to be printed for the roots, arguments before what uses them."""
        return reached(*roots)

    def named(self, text: Text, form: Callable[[str], str] = str) -> Text:
        """A name for a piece of formula."""
        name = self.name(len(self.parts))
        self.parts.append((name, form(text.text)))
        return Text(name)
