"""Numbers that were typed as texts: the steps of a table that read them, and what they are called.

What is reckoned with on a sheet, and not handed to a function as it stands, is read by them.
"""

from __future__ import annotations

from dataclasses import dataclass

from xlfuncs.workbook.kit.blocks import Column, Group, step
from xlfuncs.workbook.kit.formulas import any_text, text_only, told_numbers


def texts(name: str, columns: tuple[str, ...], first: int = 1) -> Group:
    """The texts that stand in some columns of a table, counted from `first` on."""
    return Group(name, tuple(
        step(f"{name}_{number}", "typed as a text", text_only(cell))
        for number, cell in enumerate(columns, first)))  # fmt: skip


@dataclass(frozen=True)
class Told:
    """Columns of a table whose numbers may be typed as texts, counted from `first` on."""

    table: str
    columns: tuple[str, ...]
    first: int = 1

    def number(self, column: str) -> str:
        """The step with the number that the text in a column says."""
        return f"{self.table}_told_{self.columns.index(column) + self.first}"

    def steps(self, *besides: Group) -> tuple[Column | Group, ...]:
        """The steps; `besides` are texts that are read otherwise and only counted here."""
        own = texts(f"{self.table}_text", self.columns, self.first)
        every = [column.name for group in (own, *besides) for column in group.columns]
        numbers = tuple(step(self.number(cell), cell, "") for cell in self.columns)
        return (
            own,
            *besides,
            step(f"{self.table}_any_text", "1: any", any_text(*every)),
            Group(f"{self.table}_told", numbers, told_numbers(own.name, f"{self.table}_texts")),
        )
