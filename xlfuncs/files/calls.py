"""Calls of our functions in formulas, whatever a spreadsheet program writes before the name."""

from __future__ import annotations

import re
from collections.abc import Iterable

# A text in a formula, or what programs write before a function that an add-in brought: the
# service of Calc's add-in; the file of Excel's, by path or by number.
_TEXT = r'"(?:[^"]|"")*"'
_BEFORE = r"(?:XLFUNCS\.CALC\.ADDIN\.|(?:'(?:[^']|'')*'|\[\d+\]|\b[\w.]+)!)"


class Calls:
    """Finds calls of functions of these names, and uses of names that stand for such calls.

    >>> ours = Calls({"WORT_SG"}, {"first_wort"})
    >>> ours.bare("=XLFUNCS.CALC.ADDIN.WORT_SG(A1)+[1]!WORT_SG(2)")
    '=WORT_SG(A1)+WORT_SG(2)'
    >>> ours.names('=wort_sg(A1)&"WORT_SG("'), ours.names("=2*first_wort")
    (['WORT_SG'], ['FIRST_WORT'])
    """

    def __init__(self, known: Iterable[str], names: Iterable[str] = ()) -> None:
        self.known = frozenset(known)
        functions = "|".join(sorted(self.known, key=len, reverse=True))
        used = "".join(rf"|{re.escape(name)}(?![\w.(])" for name in names)
        self._call = re.compile(
            rf"{_TEXT}|(?<![\w.])(?P<name>(?:{functions})(?=\s*\(){used})", re.IGNORECASE
        )
        self._before = re.compile(rf"{_TEXT}|{_BEFORE}(?=(?:{functions})\s*\()", re.IGNORECASE)

    def names(self, formula: str) -> list[str]:
        """What a formula calls or uses of them, in order."""
        found = (match["name"] for match in self._call.finditer(self.bare(formula)))
        return [name.upper() for name in found if name]

    def bare(self, formula: str) -> str:
        """The formula with nothing before the names of functions."""
        return self._before.sub(lambda found: found[0] if found[0].startswith('"') else "", formula)
