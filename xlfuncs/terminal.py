"""What commands print: text that no file can steer, tables, and a sign of life."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from xlfuncs.cells.values import visible

# Wide enough for a table when the output goes to a file or a pipe.
out = Console(highlight=False, width=None if sys.stdout.isatty() else 220)
err = Console(stderr=True, highlight=False)


def say(text: str, bold: bool = False) -> None:
    """Print a line as it is."""
    out.print(visible(text), markup=False, soft_wrap=True, style="bold" if bold else None)


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

    Where there is no room columns are folded: all alike, or those in `folding`.
    """
    title = visible(title)
    if not rows:
        out.print(f"{title}: none yet\n", markup=False)
        return
    drawn = Table(
        title=escape(title), title_justify="left", title_style="bold", box=None, pad_edge=False
    )
    for heading in headings:
        firm = folding is not None and heading not in folding
        drawn.add_column(heading, overflow="fold", no_wrap=firm)
    for row in rows:
        drawn.add_row(*("" if cell is None else escape(visible(str(cell))) for cell in row))
    out.print(drawn)
    out.print()


def working(what: str) -> Any:
    """A sign of life for whoever waits at a terminal."""
    return err.status(escape(visible(what))) if err.is_terminal else open(os.devnull)  # noqa: PTH123
