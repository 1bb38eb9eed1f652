"""What a cell holds, read as `cells/` reads it: a number within limits, or the text to show.

The limits, and the words of each refusal, are those of the argument's quantity: its own methods are
run on recorded values and on samples.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from xlfuncs.cells.declaration import Argument
from xlfuncs.cells.quantities import Choice, Number
from xlfuncs.cells.values import BLANK, MARK, show
from xlfuncs.plain.expressions import Expression, Value, explore, leaf, make, words

#: As long as a text is shown in a message, and the sign that it goes on.
_LONGEST, _ELLIPSIS = 40, "…"
_NO_BREAK_SPACE, _MINUS = "\N{NO-BREAK SPACE}", "\N{MINUS SIGN}"


def cell(name: str) -> Any:
    """What the cell of one argument holds, whatever it is."""
    return leaf("cell", name)


def read(
    argument: Argument, quantity: Number | Choice, *, place: str = "", computed: bool = False
) -> Value:
    """The argument's value, or the text that the answer shows in its place.

    `place` names the cell, where that is not the argument's own name.  `computed` is a cell that
    holds a formula of ours: a number, blank or a refusal, and so no text to be read as a number.
    """
    raw = cell(place or argument.name)
    blank = argument.default if argument.optional and argument.default is not None else BLANK
    if isinstance(quantity, Choice):
        return _word(raw, argument.name, quantity, blank)
    if computed:
        otherwise = make("IF", make("=", raw, BLANK), blank, raw)
        return make("IF", make("ISNUMBER", raw), within(raw, quantity, argument.name), otherwise)
    number = number_of(raw)
    _, grouped = number_in(raw)
    either = _either_reading(raw, number, quantity, argument.name)
    read_number = within(number, quantity, argument.name)
    ambiguous = make("AND", make("ISTEXT", raw), grouped)
    text = _sample(argument.name, ("?",), _quoted(raw))
    no_number = make(
        "IF",
        make("=", make("TRIM", raw), BLANK),
        blank,
        make("IF", is_refusal(raw), raw, text),
    )
    value = make(
        "IF",
        make("ISNUMBER", number),
        make("IF", ambiguous, either, read_number),
        no_number,
    )
    # LibreOffice counts TRUE as a number.
    said = _sample(argument.name, (True,), _truth(raw))
    return make("IF", make("ISLOGICAL", raw), said, value)


def number_of(raw: Expression) -> Value:
    """The number in a cell, typed as one or as text; no number where there is none."""
    return make("IF", make("ISNUMBER", raw), raw, number_in(raw)[0])


def within(value: Any, quantity: Number, name: str) -> Value:
    """The number where the quantity allows it, else its refusal."""
    allowed = _allowed(value, quantity)
    refusal = words(lambda: quantity.refusal(value, name))
    return make("IF", allowed, value, refusal)


def _allowed(value: Any, quantity: Number) -> Value:
    """Whether the quantity allows the number."""
    return explore(
        lambda: bool(quantity._allows(value)),
        _either,
    )


def _either(condition: Expression, then: Value, otherwise: Value) -> Value:
    if otherwise is False:
        return make("AND", condition, then)
    if then is False:
        return make("AND", make("NOT", condition), otherwise)
    return make("IF", condition, then, otherwise)


# --- a number that was typed as text ------------------------------


def _either_reading(raw: Expression, number: Value, quantity: Number, name: str) -> Value:
    """A number whose comma or point may set off thousands: the reading that is allowed."""
    thousands = make("*", 1000.0, number)
    shown = [make("TEXT", value, ".10g") for value in (number, thousands)]
    both = _sample(name, ("1,050", 1.05, 1050.0), _quoted(raw), *shown)
    first, second = _allowed(number, quantity), _allowed(thousands, quantity)
    return make("IF", make("=", first, second), both, make("IF", first, number, thousands))


@functools.cache
def number_in(raw: Expression) -> tuple[Any, Any]:
    """The number that a text holds, with a decimal comma or point, and whether it may be thousands.

    No number where the text holds none, or a power of ten, or marks for thousands and decimals
    both: such a text is refused, though `cells/` would read it.
    """
    stripped = make(
        "TRIM", make("SUBSTITUTE", make("SUBSTITUTE", raw, _MINUS, "-"), _NO_BREAK_SPACE, "")
    )
    sign = make("LEFT", stripped, 1.0)
    negative = make("=", sign, "-")
    signed = make("OR", negative, make("=", sign, "+"))
    bare = make("IF", signed, make("MID", stripped, 2.0, 99.0), stripped)
    left = bare
    for digit in "0123456789":
        left = make("SUBSTITUTE", left, digit, "")
    whole = make("=", left, "")
    separated = make("OR", make("=", left, ","), make("=", left, "."))
    digits = make("IF", whole, bare, make("SUBSTITUTE", bare, left, ""))
    after = make("IF", whole, 0.0, make("-", make("LEN", bare), make("FIND", left, bare)))
    number = make("/", make("VALUE", digits), make("^", 10.0, after))
    found = make(
        "IF",
        make("AND", make("OR", whole, separated), make(">", make("LEN", digits), 0.0)),
        make("*", make("IF", negative, -1.0, 1.0), number),
        "",
    )
    grouped = make(
        "AND",
        make("AND", separated, make("=", after, 3.0)),
        make(
            "AND",
            make("AND", make(">", make("LEN", bare), 4.0), make("<", make("LEN", bare), 8.0)),
            make("<>", make("LEFT", bare, 1.0), "0"),
        ),
    )
    return found, grouped


def _quoted(raw: Expression) -> Value:
    text = make("TRIM", raw)
    cut = make("&", make("LEFT", text, float(_LONGEST - 1)), _ELLIPSIS)
    return make("&", '"', make("IF", make(">", make("LEN", text), float(_LONGEST)), cut, text), '"')


def _sample(name: str, sample: Sequence[str | float], *instead: Value) -> Value:
    """What `cells/` says of a cell like the sample, with other values in the places of its own."""
    said = Number("").read(sample[0], name)
    assert isinstance(said, str)
    parts: list[Value] = []
    for shown, value in zip(map(show, sample), instead, strict=True):
        before, found, said = said.partition(shown)
        assert found, (sample, said)
        parts += [before, value]
    return make("&", *parts, said)


# --- words ------------------------------


def _word(raw: Expression, name: str, quantity: Choice, blank: Value) -> Value:
    """The word's name, or the text to show."""
    spelled: Value = make(
        "IF",
        is_refusal(raw),
        raw,
        _unknown(raw, name, quantity),
    )
    for word, others in reversed(list(quantity.words.items())):
        condition: Value = False
        for spelling in (word, *others):
            condition = make("OR", condition, make("=", make("TRIM", raw), spelling))
        spelled = make("IF", condition, word, spelled)
    return make("IF", make("=", make("TRIM", raw), BLANK), blank, spelled)


def _unknown(raw: Expression, name: str, quantity: Choice) -> Value:
    before, _, after = quantity.read("?", name).partition('"?"')
    other = make("IF", make("ISLOGICAL", raw), _truth(raw), words(lambda: show(raw)))
    return make("&", before, make("IF", make("ISTEXT", raw), _quoted(raw), other), after)


def _truth(raw: Expression) -> Value:
    return make("IF", raw, "TRUE", "FALSE")


# --- which text shows ------------------------------


@dataclass(frozen=True)
class Read:
    """One argument from a cell: what the cell holds, and what was read there."""

    raw: Value
    value: Value
    quantity: Number | Choice

    @property
    def good(self) -> Value:
        """Whether it is a number, a word, or a blank that has a meaning."""
        blank: Value = make("=", self.value, BLANK)
        if isinstance(self.quantity, Choice):
            return make("NOT", make("OR", blank, is_refusal(self.value)))
        number: Value = make("ISNUMBER", self.value)
        return make("OR", number, blank) if self.quantity.blank_means else number


def all_good(reads: Sequence[Read]) -> Value:
    """Whether nothing is in the way of an answer."""
    good: Value = True
    for read in reads:
        good = make("AND", good, read.good)
    return good


def foremost(reads: Sequence[Read]) -> Value:
    """The text that shows where one is not good, as `cells.boundary` ranks them."""
    found: Value = BLANK
    for read in reversed(reads):
        found = make("IF", is_refusal(read.value), read.value, found)
    blank: Value = False
    for read in reads:
        if not read.quantity.blank_means:
            blank = make("OR", blank, make("=", read.value, BLANK))
    found = make("IF", blank, BLANK, found)
    for read in reversed(reads):
        found = make("IF", is_refusal(read.raw), read.raw, found)
    return found


def is_refusal(value: Value) -> Value:
    """Whether a cell holds a text with which an answer was refused."""
    return make("=", make("LEFT", value, float(len(MARK))), MARK)


def is_everyday(quantity: Number | Choice) -> bool:
    """Whether numbers of the quantity are shown without a power of ten: not large, seldom tiny."""
    return isinstance(quantity, Number) and bool(
        (quantity.low < 0 or quantity.low > 1e-4) and quantity.high < 1e9
    )
