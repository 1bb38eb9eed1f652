"""`make engines`: the filled plain example in engines of others, as a table for the docs."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any

from tests.plain import engines
from xlfuncs.hosts import embedded
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

_PAGE = Path(__file__).parent.parent.parent / "docs" / "anywhere.md"
_BEFORE, _AFTER = "<!-- engines -->\n", "<!-- end of engines -->"
ENGINES: Mapping[str, Callable[[Path], engines.Whole]] = {
    **engines.WHOLE,
    "formulon": engines.whole_formulon,
    "HyperFormula": engines.whole_hyperformula,
}


def lines(
    path: Path, ours: Mapping[tuple[str, str], object], named: Collection[tuple[str, str]]
) -> list[str]:
    """A line for each engine."""
    found = [
        "| engine | version | cells compared | not alike | helpers not alike | largest difference "
        "| lacks |",
        "|---|---|---:|---:|---:|---:|---|",
    ]
    versions = engines.versions()
    for name, compute in ENGINES.items():
        theirs = compute(path)
        unlike, helpers, largest = 0, 0, 0.0
        for place, value in ours.items():
            other = theirs.get(place)
            if isinstance(value, (int, float)) and isinstance(other, (int, float)):
                off = abs(float(value) - float(other)) / max(1.0, abs(float(value)))
                largest, wrong = max(largest, off), off > 1e-9
            else:
                wrong = (value or "") != (other or "")
            unlike, helpers = (
                unlike + (wrong and place in named),
                helpers + (wrong and place not in named),
            )
        found.append(
            f"| {name} | {versions[name]} | {len(ours):,} | {unlike} | {helpers} | {largest:.0e} "
            f"| {engines.LACKS[name]} |"
        )
    return found


def _named(book: Any) -> set[tuple[str, str]]:
    """The cells of names: all but the helpers of calls."""
    return {
        (title, cell.coordinate)
        for defined in book.defined_names.values()
        if "!" in defined.attr_text
        for title, area in defined.destinations
        for line in _lines(book[title][area])
        for cell in line
    }


def _lines(cells: Any) -> Any:
    return cells if isinstance(cells, tuple) else ((cells,),)


def main() -> None:
    """Write the table into its page."""
    book = build.build(Choices(rows=20, example=True, plain=True))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "plain.xlsx")
        path.write_bytes(build.to_bytes(book))
        values = embedded.calculate_book(book).values
        table = "\n".join(lines(path, values, _named(book)))
    page = _PAGE.read_text("utf-8")
    block = re.compile(f"(?<={re.escape(_BEFORE)}).*?(?={re.escape(_AFTER)})", re.DOTALL)
    _PAGE.write_text(block.sub(lambda _: table + "\n", page), "utf-8")
    print(table)


if __name__ == "__main__":
    main()
