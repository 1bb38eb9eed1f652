"""Values that record what is done to them: arithmetic as a graph with shared parts.

An `Expression` takes the place of a number in `science/` and in the bodies of the cell functions.
Operators, numpy's functions and formatting each give another expression; where Python itself has to
decide (`if`, `and`, `min`), `explore` follows both ways and joins them.
"""

from __future__ import annotations

import itertools
import math
import numbers
import operator
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar, Union

import numpy as np

from xlfuncs.cells.boundary import Recorded
from xlfuncs.cells.values import MARK
from xlfuncs.science import student

#: What stands at the leaves: an expression, or a constant.
Value = Union["Expression", float, str, bool]

#: The comparisons, and what each is when the sides change places.
COMPARISONS = ("<", ">", "<=", ">=", "=", "<>")
ARITHMETIC = ("+", "-", "*", "/", "^")
#: What comes from outside: the value of an argument, and what its cell holds.
LEAVES = ("argument", "cell")
#: Operations whose answer is a text.
_TEXTS = {"&", "TEXT", "LEFT", "MID", "RIGHT", "TRIM", "SUBSTITUTE"}

#: What is made of a whole column, of which the expression is one line.
WHOLE = {np.sum: "SUM", np.size: "COUNT", np.min: "LEAST", np.max: "MOST"}
#: Degrees of freedom up to which Student's t is written out; beyond, it is as of these.
_FREEDOM = 30

_UFUNCS = {
    "add": "+", "subtract": "-", "multiply": "*", "divide": "/", "power": "^",
    "less": "<", "greater": ">", "less_equal": "<=", "greater_equal": ">=",
    "equal": "=", "not_equal": "<>",
    "sqrt": "SQRT", "absolute": "ABS", "exp": "EXP", "log": "LN",
    "maximum": "MAX", "minimum": "MIN",
    "logical_and": "AND", "bitwise_and": "AND", "logical_or": "OR", "bitwise_or": "OR",
    "logical_not": "NOT", "invert": "NOT", "isnan": "ISNAN",
}  # fmt: skip

_TOKEN = re.compile("\x00(\\d+):([^\x00]*)\x00")


class Expression(Recorded):
    """One step of recorded arithmetic; equal steps are one object."""

    __slots__ = ("args", "number", "op")
    __array_priority__ = 1000
    ndim, shape, size = 0, (), 1

    op: str
    args: tuple[Value, ...]
    number: int  # in order of making: an argument comes before what uses it

    def __bool__(self) -> bool:
        return _decide(self)

    def __hash__(self) -> int:
        return self.number

    def __repr__(self) -> str:
        return f"{self.op}({', '.join(map(repr, self.args))})"

    def __neg__(self) -> Value:
        return make("-", 0.0, self)

    def __pos__(self) -> Value:
        return self

    def __abs__(self) -> Value:
        return make("ABS", self)

    def __invert__(self) -> Value:
        return make("NOT", self)

    def __floor__(self) -> Value:
        return make("INT", self)

    def __ceil__(self) -> Value:
        return make("-", 0.0, make("INT", make("-", 0.0, self)))

    def __getitem__(self, place: tuple[()]) -> Value:
        """As an array without dimensions gives its one value."""
        return self

    # --- formatting: a mark in the text, which `words` turns into a part of the message

    def __format__(self, spec: str) -> str:
        return f"\x00{self.number}:{spec}\x00"

    def __str__(self) -> str:
        return format(self)

    def __round__(self, decimals: int = 0) -> Value:
        return make("ROUND", self, float(decimals))

    # --- numpy

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **_: Any) -> Any:
        if any(isinstance(value, np.ndarray) and value.ndim for value in inputs):
            objects = [np.asarray(value, dtype=object) for value in inputs]
            return getattr(ufunc, method)(*objects)
        if ufunc.__name__ == "isinf":
            return False  # no cell is
        if ufunc is student.of_each:
            freedom, probability = inputs
            table = [ufunc(float(number), probability) for number in range(1, _FREEDOM + 1)]
            return make("CHOOSE", make("MIN", freedom, float(_FREEDOM)), *table)
        name = _UFUNCS.get(ufunc.__name__)
        if name is None or method != "__call__":
            raise TypeError(f"no spreadsheet formula is known for numpy's {ufunc.__name__}")
        return make(name, *inputs)

    def __array_function__(
        self, function: Callable[..., Any], types: Any, args: Any, kwargs: Any
    ) -> Any:
        if function is np.where:
            return make("IF", *args)
        if function is np.select:
            conditions, values, otherwise = args
            for condition, value in reversed(list(zip(conditions, values, strict=True))):
                otherwise = make("IF", condition, value, otherwise)
            return otherwise
        if function in WHOLE:
            return make(WHOLE[function], args[0])
        if function is np.clip:
            value, low, high = args
            return make("MIN", make("MAX", value, low), high)
        raise TypeError(f"no spreadsheet formula is known for numpy's {function.__name__}")

    def astype(self, _: Any) -> Expression:
        """Itself: a cell has no type of its own."""
        return self

    def refuse(self, result: Any, text: Callable[..., str], values: Sequence[Any]) -> Any:
        """The result, but for the text where this condition holds."""
        return make("IF", self, words(lambda: MARK + text(*values)), result)


def _operator(op: str, *, swapped: bool = False) -> Callable[[Any, Any], Any]:
    def apply(first: Any, second: Any) -> Any:
        if isinstance(second, np.ndarray) and second.ndim:
            return NotImplemented
        return make(op, second, first) if swapped else make(op, first, second)

    return apply


for _name, _op in {
    "add": "+", "sub": "-", "mul": "*", "truediv": "/", "pow": "^", "and": "AND", "or": "OR",
}.items():  # fmt: skip
    setattr(Expression, f"__{_name}__", _operator(_op))
    setattr(Expression, f"__r{_name}__", _operator(_op, swapped=True))
for _name, _op in {"lt": "<", "gt": ">", "le": "<=", "ge": ">=", "eq": "=", "ne": "<>"}.items():
    setattr(Expression, f"__{_name}__", _operator(_op))

# So that a message shows one as it shows any number.
numbers.Real.register(Expression)


# --- making them ------------------------------

_made: list[Expression] = []
_known: dict[tuple[Any, ...], Expression] = {}
# A function is run anew for each way that it may take: most of it has been made before.
_before: dict[tuple[Any, ...], Value] = {}


def leaf(kind: str, name: str) -> Expression:
    """A value from outside, of one of the kinds of `LEAVES`."""
    return _interned(kind, (name,))


def argument(name: str) -> Any:
    """The value of one argument, read and within its limits: an expression, but to science/."""
    return leaf("argument", name)


def make(op: str, *args: Any) -> Value:
    """The operation on its arguments: a constant where they are, else the one such expression."""
    key = (op, *[a.number if type(a) is Expression else (type(a), a) for a in args])
    try:
        found = _before.get(key)
    except TypeError:  # an array of numpy around a value
        return _made_of(op, tuple(map(_plain, args)))
    if found is None:
        found = _before[key] = _made_of(op, tuple(map(_plain, args)))
    return found


def _made_of(op: str, values: tuple[Value, ...]) -> Value:
    if op == "IF":
        return _choice(*values)
    if op == "&":
        values = tuple(_joined(values))
        if len(values) == 1:
            return values[0]
    if not any(isinstance(value, Expression) for value in values):
        return _constant(op, values)
    for place, value in enumerate(values):
        if isinstance(value, Expression) and value.op == "IF" and any(map(_is_nan, value.args)):
            return _beside_nan(op, values, place, value)
    simpler = _simpler(op, values)
    return _interned(op, values) if simpler is None else simpler


def _plain(value: Any) -> Value:
    if isinstance(value, Expression):
        return value
    if isinstance(value, np.ndarray):
        return _plain(value.item())
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    return str(value) if isinstance(value, str) else float(value)


def _interned(op: str, args: tuple[Value, ...]) -> Expression:
    key = (op, *((type(a), a.number if isinstance(a, Expression) else a) for a in args))
    found = _known.get(key)
    if found is None:
        found = object.__new__(Expression)
        found.op, found.args, found.number = op, args, len(_made)
        _made.append(found)
        _known[key] = found
    return found


def _choice(condition: Value, then: Value, otherwise: Value) -> Value:
    if not isinstance(condition, Expression):
        return then if condition else otherwise
    if same(then, otherwise):
        return then
    if condition.op == "NOT":
        return _choice(condition.args[0], otherwise, then)
    return _interned("IF", (condition, then, otherwise))


def same(first: Value, second: Value) -> bool:
    """Whether two values are one expression, or equal constants of one kind."""
    if isinstance(first, Expression) or isinstance(second, Expression):
        return first is second
    return type(first) is type(second) and first == second


def _is_nan(value: Value) -> bool:
    return type(value) is float and value != value


def _beside_nan(op: str, values: tuple[Value, ...], place: int, value: Expression) -> Value:
    """The operation on a value that is NaN in some cases: as Python does it, for no sheet can."""
    condition, *ways = value.args

    def done(way: Value) -> Value:
        if not _is_nan(way):
            return make(op, *values[:place], way, *values[place + 1 :])
        if op in COMPARISONS:
            return op == "<>"
        return op == "ISNAN" or math.nan

    return _choice(condition, *map(done, ways))


def _is(value: Value, number: float) -> bool:
    return type(value) is float and value == number


def _simpler(op: str, values: tuple[Value, ...]) -> Value | None:
    """What the operation comes to without being done, if anything."""
    first, second = values[0], values[-1]
    if op == "NOT" and isinstance(first, Expression) and first.op == "NOT":
        return first.args[0]
    if op in ("AND", "OR"):
        for value, other in ((first, second), (second, first)):
            if isinstance(value, bool):
                return other if value is (op == "AND") else value
        return first if first is second else None
    if op == "+" and (_is(first, 0) or _is(second, 0)):
        return second if _is(first, 0) else first
    if op == "*" and (_is(first, 0) or _is(second, 0)):
        return 0.0
    if (op == "*" and _is(first, 1)) or (op in "*/^" and _is(second, 1)):
        return second if _is(first, 1) and op == "*" else first
    if op == "-" and _is(second, 0):
        return first
    if op in "<>" and type(second) is float and math.isinf(second):
        return (op == "<") is (second > 0)
    if op == "/" and _is(first, 0):
        return 0.0
    return None


OPERATIONS: dict[str, Callable[..., Any]] = {
    "+": operator.add, "-": operator.sub, "*": operator.mul, "/": np.divide, "^": operator.pow,
    "<": operator.lt, ">": operator.gt, "<=": operator.le, ">=": operator.ge,
    "=": operator.eq, "<>": operator.ne,
    "SQRT": np.sqrt, "ABS": np.abs, "EXP": np.exp, "LN": np.log,
    "INT": np.floor, "MAX": np.maximum, "MIN": np.minimum,
    "AND": np.logical_and, "OR": np.logical_or, "NOT": np.logical_not, "ISNAN": np.isnan,
}  # fmt: skip


def _constant(op: str, values: tuple[Any, ...]) -> Value:
    if op == "&":
        return "".join(values)
    if op == "TEXT":
        return format(*values)
    if op == "ROUND":
        return float(round(values[0], int(values[1])))
    return _plain(OPERATIONS[op](*values))


def is_text(value: Value) -> bool:
    """Whether the value is a text, in some cases at least."""
    if not isinstance(value, Expression):
        return isinstance(value, str)
    if value.op == "IF":
        return is_text(value.args[1]) or is_text(value.args[2])
    return value.op in _TEXTS


# --- where Python has to decide ------------------------------

T = TypeVar("T")


#: What is decided, for each `explore` within another.
_decided: list[dict[Expression, bool]] = []


def _decide(condition: Expression) -> bool:
    if condition.op == "NOT":
        return not condition.args[0]
    if condition.op not in (*COMPARISONS, "AND", "OR", "ISNAN", "IF"):
        return bool(make("<>", condition, 0.0))
    for held in _decided:
        if condition in held:
            return held[condition]
    _decided[-1][condition] = True  # the other way is explored later
    return True


def explore(run: Callable[[], T], join: Callable[[Expression, T, T], T]) -> T:
    """What `run` gives, on every way that it may take; `join` puts two ways together.

    >>> explore(lambda: min(argument("a"), 2.0), lambda c, a, b: make("IF", c, a, b))
    IF(<(2.0, argument('a')), 2.0, argument('a'))
    """
    _decided.append({})
    try:
        return _explored(run, join)
    finally:
        _decided.pop()


def _explored(run: Callable[[], T], join: Callable[[Expression, T, T], T]) -> T:
    before = len(_decided[-1])
    found = run()
    held = list(_decided[-1].items())
    for last in range(len(held) - 1, before - 1, -1):
        condition, _ = held[last]
        _decided[-1] = {**dict(held[:last]), condition: False}
        found = join(condition, found, _explored(run, join))
    return found


# --- messages ------------------------------


def words(text: Callable[[], str]) -> Value:
    """The message that `text` makes, with the numbers in it left to the spreadsheet.

    >>> words(lambda: f"at {argument('a'):.1f} %")
    &('at ', TEXT(argument('a'), '.1f'), ' %')
    """
    return make("&", *explore(lambda: _parts(text()), _either))


Parts = tuple[Value, ...]


def _parts(text: str) -> Parts:
    pieces = _TOKEN.split(text)
    found: list[Value] = []
    for plain, number, spec in zip(
        pieces[::3], [*pieces[1::3], None], [*pieces[2::3], ""], strict=True
    ):
        found.append(plain)
        if number is not None:
            # Without a format it is a text already.
            value = _made[int(number)]
            found.append(make("TEXT", value, spec) if spec else value)
    return tuple(part for part in found if part != "" or isinstance(part, Expression))


def _either(condition: Expression, then: Parts, otherwise: Parts) -> Parts:
    """Both messages, with what they share at start and end said once."""
    start = _shared(then, otherwise)
    end = _shared(then[start:][::-1], otherwise[start:][::-1])
    left, right = (parts[start : len(parts) - end] for parts in (then, otherwise))
    if not left and not right:
        return then
    middle = make("IF", condition, *(_text(parts) for parts in (left, right)))
    return (*then[:start], middle, *then[len(then) - end :])


def _shared(first: Parts, second: Parts) -> int:
    pairs = zip(first, second, strict=False)
    return sum(1 for _ in itertools.takewhile(lambda pair: same(*pair), pairs))


def _text(parts: Parts) -> Value:
    found: Value = make("&", *parts) if len(parts) > 1 else (parts or ("",))[0]
    return found


def _joined(parts: Parts) -> Iterator[Value]:
    """The parts, those of parts among them, neighbouring constants put together."""
    flat = itertools.chain.from_iterable(
        part.args if isinstance(part, Expression) and part.op == "&" else (part,) for part in parts
    )
    parts = tuple(part for part in flat if not (isinstance(part, str) and part == "")) or ("",)
    for constant, group in itertools.groupby(parts, key=lambda part: isinstance(part, str)):
        found = list(group)
        yield from ["".join(map(str, found))] if constant else found


def reached(*roots: Value) -> list[Expression]:
    """Every expression that the roots use, arguments before what uses them.

    In the order in which they are written, whatever was recorded before.
    """
    found: dict[int, Expression] = {}
    waiting = [root for root in reversed(roots) if isinstance(root, Expression)]
    while waiting:
        value = waiting[-1]
        before = [
            part for part in value.args if type(part) is Expression and part.number not in found
        ]
        if before:
            waiting += reversed(before)
        else:
            found.setdefault(value.number, waiting.pop())
    return list(found.values())
