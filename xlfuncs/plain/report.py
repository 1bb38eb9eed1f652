"""Length and accuracy of the plain formulas, and length of the names, as a page of the docs."""

from __future__ import annotations

from collections.abc import Iterator

from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.plain.measured import kept
from xlfuncs.plain.names import LONGEST, all_names
from xlfuncs.plain.rows import FROM_CELL, formula

_HEAD = """# Plain formulas: how long, how near

Written by `make docs` from `xlfuncs/plain/`; [anywhere.md](anywhere.md) says what this is. Each
function is held against its plain formula on 10,000 random cases over the whole declared range of
every argument. Verdicts and refusals are the same in all of them. `largest` is the largest
difference, `bound` what a test allows. Cells and characters are of one row with every argument
from a cell: typed by a person, and in brackets where all are figures of other formulas.
"""


def lines() -> Iterator[str]:
    """The page, line by line."""
    yield _HEAD
    yield "| function | largest | bound | | helper cells | characters |"
    yield "|---|---:|---:|---|---:|---:|"
    for found in kept():
        arguments = [each.name for each in CATALOGUE[found.function].arguments]
        typed = formula(found.function, dict.fromkeys(arguments, FROM_CELL))
        ours = formula(found.function, dict.fromkeys(arguments, FROM_CELL), frozenset(arguments))
        name = f"`{found.function}`" + (f": {found.column}" if found.column else "")
        lengths = [sum(map(len, plain.templates)) for plain in (typed, ours)]
        yield (
            f"| {name} | {found.largest:.0e} | {found.bound.most:g} | {found.bound.unit} "
            f"| {len(typed.helpers)} ({len(ours.helpers)}) | {lengths[0]:,} ({lengths[1]:,}) |"
        )
    yield ""
    yield "## The functions by name\n"
    yield f"Characters as a person sees them, of {LONGEST:,} that fit.\n"
    yield "| name | characters |\n|---|---:|"
    for each in all_names():
        yield f"| `{each.name}` | {len(each.shown):,} |"


if __name__ == "__main__":
    print("\n".join(lines()))
