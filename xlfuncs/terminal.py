"""What commands print: text that no file can steer, tables, and a sign of life."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from rich.cells import cell_len
from rich.console import Console
from rich.markup import escape
from rich.measure import Measurement
from rich.table import Table

from xlfuncs.cells.values import visible

# Wide enough for a table when the output goes to a file or a pipe.
out = Console(highlight=False, width=None if sys.stdout.isatty() else 220)
err = Console(stderr=True, highlight=False)

_BETWEEN, _NO_LIMIT = "   ", 10_000


def say(text: str, bold: bool = False) -> None:
    """Print a line as it is."""
    out.print(visible(text), markup=False, soft_wrap=True, style="bold" if bold else None)


def item(text: str) -> None:
    """Print a line of a list, wrapped between words."""
    _wrapped(f"  {visible(text)}")


def _wrapped(text: str) -> None:
    for line in textwrap.wrap(text, out.width, subsequent_indent="    ", break_on_hyphens=False):
        out.print(line, markup=False)


def complain(text: str) -> None:
    """Print a line to the error stream."""
    err.print(visible(text), markup=False, soft_wrap=True)


def data(content: dict[str, Any], **lists: Iterable[Any]) -> None:
    """Print plain data as JSON, behind it long lists, whose elements are made one at a time."""
    print(_json(content).removesuffix("\n}"), end="")
    for name, elements in lists.items():
        print(f",\n  {_json(name)}: [", end="")
        among = "\n"
        for element in elements:
            print(among, textwrap.indent(_json(element), "    "), sep="", end="")
            among = ",\n"
        print("]" if among == "\n" else "\n  ]", end="")
    print("\n}")


def _json(content: Any) -> str:
    return visible(json.dumps(content, ensure_ascii=False, indent=2, default=str))


def table(
    title: str,
    headings: Sequence[str],
    rows: Sequence[Sequence[Any]],
    folding: Sequence[str] | None = None,
) -> None:
    """Print a table under its title; without rows one line says so.

    Where there is no room columns are folded between words: all alike, or those in `folding`.  A
    table that is too wide still is printed line by line: what each holds, after its heading.
    """
    title = visible(title)
    if not rows:
        out.print(f"{title}: none yet\n", markup=False)
        return
    texts = [["" if cell is None else visible(str(cell)) for cell in row] for row in rows]
    drawn = Table(
        title=escape(title), title_justify="left", title_style="bold", box=None, pad_edge=False
    )
    for heading, cells in zip(headings, zip(*texts, strict=True), strict=True):
        one_word = not any(" " in cell for cell in (heading, *cells))
        firm = folding is not None and heading not in folding
        drawn.add_column(heading, overflow="fold", no_wrap=one_word or firm)
    for line in texts:
        drawn.add_row(*map(escape, line))
    if Measurement.get(out, out.options.update(max_width=_NO_LIMIT), drawn).minimum > out.width:
        say(title, bold=True)
        for line in texts:
            _record(headings, line)
    else:
        out.print(drawn)
    out.print()


def _record(headings: Sequence[str], line: Sequence[str]) -> None:
    """What a line of a table holds, each after its heading, as many side by side as have room."""
    told = [
        f"{heading}: {text}" if heading else text
        for heading, text in zip(headings, line, strict=True)
        if text
    ]
    shown, *rest = told or [""]
    for text in rest:
        if cell_len(shown) + cell_len(text) + len(_BETWEEN) <= out.width:
            shown += _BETWEEN + text
        else:
            _wrapped(shown)
            shown = f"    {text}"
    _wrapped(shown)


def progress(paths: Sequence[Path], what: str) -> Iterable[Path]:
    """The files one after another, with a bar for whoever waits at a terminal."""
    if not err.is_terminal:
        return paths
    from rich.progress import track

    return track(paths, what, console=err, transient=True)


def working(what: str) -> Any:
    """A sign of life for whoever waits at a terminal."""
    return err.status(escape(visible(what))) if err.is_terminal else open(os.devnull)  # noqa: PTH123
