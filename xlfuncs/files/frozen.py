"""A copy of a workbook for those who lack our functions: values in place of the formulas that call
them, and all else as it was."""

from __future__ import annotations

import datetime
import html
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from openpyxl.utils import get_column_letter, range_boundaries

from xlfuncs.files import package, stored
from xlfuncs.files.calls import Calls
from xlfuncs.files.stored import Value

_CELL = re.compile(r"<((?:\w+:)?)c\b([^>]*?)(?:/>|>(.*?)</\1c>)", re.DOTALL)
_FORMULA = re.compile(r"<((?:\w+:)?)f\b([^>]*?)(?:/>|>(.*?)</\1f>)", re.DOTALL)
_VALUE = re.compile(r"<(?:\w+:)?v\b[^>]*?(?:/>|>(.*?)</(?:\w+:)?v>)", re.DOTALL)
_NAME = re.compile(r'<(?:\w+:)?definedName\b[^>]*?\bname="([^"]+)"[^>]*>([^<]+)<')
# Formulas of conditional formats, and of limits to what may be typed.
_RULE = re.compile(r"<(?:\w+:)?formula[12]?>([^<]+)<")
#: The function that tells whether the functions are there; in a copy it tells what the copy is.
_VERSION = "CELLS_VERSION"


@dataclass
class Frozen:
    """What was done: cells that now hold values, by sheet; what besides cells still calls."""

    cells: dict[str, int] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)


def freeze(
    data: bytes,
    values: Mapping[tuple[str, str], Value],
    calls: Calls,
    version: str,
    today: datetime.date,
) -> tuple[bytes, Frozen]:
    """The frozen copy of a workbook, and what was done.

    `values` are those of all formulas that could be computed (see `stored.store`); a formula whose
    value is not among them stays.  A sheet at the end says when the copy was made and by which
    version.
    """
    parts = package.unpacked(data)
    stamp = f"values of {today.isoformat()}, fixed by xlfuncs {version}"
    stored.put(values, parts)
    book, sheets = package.sheet_parts(parts)
    done = Frozen()
    names = [
        name
        for name, formula in _NAME.findall(parts[book].decode())
        if calls.names(html.unescape(formula))
    ]
    calls = Calls(calls.known, names)
    for title, part in sheets.items():
        sheet = _Sheet(title, parts[part].decode(), values, calls, stamp)
        parts[part] = sheet.frozen().encode()
        if sheet.count:
            done.cells[title] = sheet.count
    if done.cells:
        package.remove_parts(parts, "calcChain")  # it lists the formulas that there were
    done.left = [f"the name {name}" for name in names] + [
        f"a rule of the sheet {title}: {html.unescape(rule)}"
        for title, part in sheets.items()
        for rule in _RULE.findall(parts[part].decode())
        if calls.names(html.unescape(rule))
    ]
    number = 1
    while (name := "Frozen" + f" {number}" * (number > 1)) in sheets:
        number += 1
    package.add_sheet(parts, name, _explanation(stamp, done))
    return package.packed(parts), done


class _Sheet:
    def __init__(
        self,
        title: str,
        text: str,
        values: Mapping[tuple[str, str], Value],
        calls: Calls,
        stamp: str,
    ) -> None:
        self.title, self.text, self.values, self.calls = title, text, values, calls
        self.stamp, self.count = stamp, 0
        self.shared: set[str] = set()  # formulas that are written once for several cells
        self.filled: set[str] = set()  # cells that an array formula of ours fills
        self.telling: set[str] = set()  # cells that ask whether the functions are there
        for address, head, formula in self._formulas():
            called = calls.names(formula)
            if not called or (title, address) not in values:
                continue
            if _attribute(head, "t") == "shared":
                self.shared.add(_attribute(head, "si"))
            reference = _attribute(head, "ref") if _attribute(head, "t") == "array" else address
            left, top, right, bottom = range_boundaries(reference)
            self.filled.update(
                f"{get_column_letter(column)}{row}"
                for row in range(top, bottom + 1)
                for column in range(left, right + 1)
            )
            if _VERSION in called:
                self.telling.add(address)

    def _formulas(self) -> Iterator[tuple[str, str, str]]:
        """Address of each cell with a formula, the formula's attributes, and its text."""
        for cell in _CELL.finditer(self.text):
            formula = _FORMULA.search(cell[3] or "")
            if formula:
                yield _attribute(cell[2], "r"), formula[2], html.unescape(formula[3] or "")

    def frozen(self) -> str:
        if not self.filled:
            return self.text
        return _CELL.sub(self._cell, self.text)

    def _cell(self, found: re.Match[str]) -> str:
        prefix, head, body = found[1], found[2], found[3] or ""
        address = _attribute(head, "r")
        formula = _FORMULA.search(body)
        shares = formula is not None and _attribute(formula[2], "si") in self.shared
        if address not in self.filled and not (shares and (self.title, address) in self.values):
            return found[0]
        self.count += 1
        body = _FORMULA.sub("", body)
        head = re.sub(r'\s+cm="[^"]*"', "", head.rstrip())  # the mark of a dynamic array
        value = _VALUE.search(body)
        if value is None or _attribute(head, "t") != "str":
            return f"<{prefix}c{head}>{body}</{prefix}c>"
        text = self.stamp if address in self.telling else value[1] or ""
        if not text:  # a cell that holds nothing is 0 to a formula that looks it up
            return f'<{prefix}c{head}><{prefix}f>""</{prefix}f>{body}</{prefix}c>'
        head = head.replace('t="str"', 't="inlineStr"')
        space = ' xml:space="preserve"' if text != text.strip() else ""
        held = f"<{prefix}is><{prefix}t{space}>{text}</{prefix}t></{prefix}is>"
        return f"<{prefix}c{head}>{_VALUE.sub('', body)}{held}</{prefix}c>"


def _attribute(head: str, name: str) -> str:
    found = re.search(rf'(?<![\w:]){name}="([^"]*)"', head)
    return found[1] if found else ""


def _explanation(stamp: str, done: Frozen) -> list[list[str]]:
    count = sum(done.cells.values())
    return [
        [f"This is a frozen copy: {stamp}."],
        [f"{count} cells that called its functions hold their values of that day"],
        ["and no longer follow what is typed; all else is as it was."],
        ["To change something, change the workbook it was made from,"],
        ["and freeze it again."],
    ]
