"""The function reference, from the catalogue: for the terminal and for the documentation."""

from __future__ import annotations

from xlfuncs.cells.catalogue import CATALOGUE, CellFunction
from xlfuncs.cells.quantities import Choice, Takes


def page() -> str:
    """The whole reference as Markdown."""
    parts = [
        "# Function reference",
        "",
        "Made from the catalogue by `python -m xlfuncs.reference`; do not edit by hand.",
        "",
        "SG is apparent specific gravity in air at 20 °C/20 °C; temperatures are °C. Arguments "
        "marked ▦ take a cell or a range; a range is answered in its own shape. A blank in a "
        "required argument gives a blank, bad input gives a text that starts with `! ` in that "
        "cell alone. Arguments in brackets may be left out or left blank.",
        "",
    ]
    category = ""
    for function in CATALOGUE.values():
        if function.category != category:
            category = function.category
            parts += [f"## {category}", ""]
        parts += [entry(function), ""]
    return "\n".join(parts).rstrip() + "\n"


def entry(function: CellFunction) -> str:
    """One function as Markdown."""
    text = function.documentation
    lines = [f"### `{function.name}`", "", f"`{function.signature()}`", "", text.summary]
    if text.details:
        lines += ["", text.details]
    if function.arguments:
        lines += ["", "| argument | takes | meaning | limits | blank |", "|---|---|---|---|---|"]
    for argument in function.arguments:
        quantity = argument.quantity
        mark = {Takes.CELLS: "▦", Takes.CELL: "one cell", Takes.RANGE: "range"}[argument.takes]
        unit = "" if isinstance(quantity, Choice) or not quantity.unit else f" ({quantity.unit})"
        blank = f"{argument.default}" if argument.optional else "blank answer"
        if quantity.blank_means:
            blank = quantity.blank_means
        elif argument.default is None:
            blank = "left out"
        meaning = f"{quantity.help}{unit}"
        lines.append(f"| `{argument.name}` | {mark} | {meaning} | {quantity.limits()} | {blank} |")
    if function.columns:
        lines += ["", "Answers in columns: " + ", ".join(function.columns) + "."]
    if text.formula:
        lines += ["", f"*Formula.* {text.formula}"]
    if text.source:
        lines += ["", f"*Source.* {text.source}"]
    if text.example:
        lines += ["", "```python", text.example.rstrip(), "```"]
    return "\n".join(lines)


if __name__ == "__main__":
    import xlfuncs.functions  # noqa: F401  # fills the catalogue

    print(page(), end="")
