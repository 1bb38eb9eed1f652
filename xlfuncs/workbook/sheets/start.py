"""Start: what to do next, where everything stands, whether the figures are fresh, cautions."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from xlfuncs.workbook import words
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import Block, ReportPart, Section, Sheet, Steps, Text
from xlfuncs.workbook.kit.formulas import cases

_TYPED = (words.SETUP, words.CALIBRATION, words.BATCHES, words.LOG)
_TOOLS = (words.CONVERT, words.STANDARDS, words.BLEND)

_READING = (
    ("Tinted cells", "with a hairline round them are yours. The others are computed: leave them."),
    ("“! …”", "names the cell's trouble: the thing, its value, the limit. Mend the first one, and "
              "those behind it follow."),
    ("±", "stands for about 95 %: two standard uncertainties."),
    ("Gravity", "is SG 20/20 °C, or °Plato, as chosen on Setup; volumes are at 20 °C (68 °F) "
                "where their heading says so."),
    ("Verdicts", "count the ±: “too close to call” means that the reading cannot decide."),
    ("Wort factor", "true °Brix over °Plato of wort; “common” is the trade's, “own” comes from "
                    "your pairs of drop and jar."),
    ("Correction", "what an instrument shows too much, from its last check before the reading."),
    ("To the right", "of each printed page stand the steps of the calculation, for whoever wants "
                     "to check them."),
)  # fmt: skip

_CAUTIONS = (
    "Boiling wort scalds: sample with a ladle, never over the rim, and let it cool.",
    "Hot wort cracks glass: cool a sample before it meets a hydrometer jar or a prism.",
    words.GAS_CAUTION,
    words.BOTTLES_CAUTION,
    words.LABEL_CAUTION,
    words.RULES_CAUTION,
)
#: Longer texts take two lines of the page.
_LONG = 118

#: Named cells of which stored values say something of the storing itself.
_STATE, _MISSING, _WHEN = "functions_state", "functions_missing", "stored_when"
_BEFORE = "NOT LOADED: the figures are those stored "
_AFTER = (
    " and do not follow what you type. How to load the functions: README, section Excel or Calc."
)
#: Whether stored figures stand, and what is said where a program computed anew what it cannot.
_KEPT, _LOST = "stored_kept", "stored_lost"
_GONE = "NOT LOADED, and this program keeps none of the figures stored "
_AND_NOW = (
    ": trust nothing on these sheets, a blank may stand for a figure. Close without saving; load "
    "the functions (README, section Calc) or take the plain edition, which needs none."
)
# TODAY() has every program compute it when it opens the file.
_NOTICE = f'=IF((TODAY()<1)+{_KEPT}>0,"",{_LOST})'


def as_stored(today: datetime.date) -> Mapping[str, str]:
    """What the cells that speak of the functions say in a program that computes nothing.

    A stored value is read where the functions are not, so it never says that they are loaded.
    """
    when = f"on {today.isoformat()}"
    return {_WHEN: when, _LOST: _GONE + when + _AND_NOW} | dict.fromkeys(
        (_MISSING, _STATE), _BEFORE + when + _AFTER
    )


def noticed(one: Sheet) -> Sheet:
    """A sheet that says beside its title where its figures are not those stored."""
    return one if one.title == words.START else replace(one, notice=_NOTICE)


def sheet(choices: words.Choices, others: Sequence[Sheet]) -> Sheet:
    """The sheet as data; `others` are the sheets that it leads to."""
    invented = (
        " THIS IS AN EXAMPLE: brewhouse, batches and readings are invented."
        if choices.example
        else ""
    )
    by_title = {one.title: one for one in others}
    views = [one for one in others if one.title not in (*_TYPED, *_TOOLS)]
    return Sheet(
        words.START,
        "What to do next, and where everything stands.",
        "From a raw drop to a corrected gravity, its ± and a verdict." + invented,
        (
            Text("=start_next", styles.ANSWER, name="start_says", lines=1.2),
            *(_without_functions() if choices.plain else _with_functions()),
            *_links("Type it in once, in this order", [by_title[name] for name in _TYPED]),
            *_links("Look at what follows from it", views),
            *_links("When you need it", [by_title[name] for name in _TOOLS if name in by_title]),
            Section("How to read the sheets"),
            *(part for heading, text in (*_READING, _lines_move(choices.plain))
              for part in _pair(heading, text)),
            *(_how_near() if choices.plain else ()),
            Section("Take care"),
            *(Text(text, styles.CAUTION, gap=0, lines=_lines(text)) for text in _CAUTIONS),
            Steps({
                "start_next": '"Next: "&start_step',
                    "start_step": 'IF(setup_first="",start_types,"mend on Setup: "&setup_first)',
                    "start_types": cases(
                        ("COUNTA(all.inst_name)=0", '"name your first instrument on Setup"'),
                        (
                            "COUNT(all.check_date)=0",
                            '"check your instrument in water; write it down on Calibration"',
                        ),
                        ("COUNTA(all.batch_name)=0", '"a line for your batch on Batches"'),
                        ("last_line=0", '"type the first reading on Log"'),
                        otherwise='"type the next reading on Log"',
                    ),
            }),
        ),
        widths=(15, 110),
        parts=(ReportPart("start", {"next": "start_says"}),),
    )  # fmt: skip


def _lines_move(plain: bool) -> tuple[str, str]:
    """What can be done with the lines of a table."""
    take_out = "To take one out, clear its tinted cells"
    if plain:
        take_out += (
            " or delete its row; a new row needs the formulas of the line above, filled down."
        )
    else:
        take_out += "; rows are neither deleted nor put in between in this edition."
    return "Lines", (
        "may stand in any order: the arrows of the headings sort and filter them whole, never a "
        "part of the columns. " + take_out
    )


def _with_functions() -> tuple[Block, ...]:
    """Whether the functions are loaded."""
    return (
        Text(
            # TODAY() has every program compute this cell when it opens the file.
            '=IF(TODAY()<1,"",IFERROR("Functions loaded, version "&CELLS_VERSION(),'
            f"IF({_KEPT},{_MISSING},{_LOST})))",
            styles.CAUTION, name=_STATE, gap=0, lines=3.2,
        ),
        Steps(
            {
                # Computed where the functions are; storing writes the day beside it.
                _WHEN: '"when this file was last saved"',
                _MISSING: f'"{_BEFORE}"&{_WHEN}&"{_AFTER}"',
                _LOST: f'"{_GONE}"&{_WHEN}&"{_AND_NOW}"',
            },
            # An array formula: programs that compute those anew, whatever is stored, show it here.
            {(_KEPT,): "IF(ISERROR(CELLS_VERSION()),0,1)"},
        ),
    )  # fmt: skip


def _without_functions() -> tuple[Block, ...]:
    """Whether this program knows all that the formulas use; plain formulas need no more."""
    return (
        Text(f'=IF(TODAY()<1,"",IF(ISERROR({"+".join(_ASKED)}),"{_LACKS}","{_PLAIN}"))',
             styles.CAUTION, name="edition_state", gap=0, lines=2.2),
    )  # fmt: skip


#: One use of each function that a program might lack; the others are as old as spreadsheets.
_ASKED = (
    "IFERROR(1,1)", 'COUNTIFS(all.inst_kind,"x")', 'SUMIFS(all.inst_kind,all.inst_kind,"x")',
    'COUNTIF(all.inst_kind,"x")', 'SUMIF(all.inst_kind,"x")', "AVERAGEIF(all.run_no,1)",
    "COUNTA(all.run_no)", "LARGE(all.run_no,1)", "SMALL(all.run_no,1)", "SUMSQ(1)", "STDEV(1,2)",
    "LOG10(1)", "ROUNDDOWN(1,0)", "ROUNDUP(1,0)", "MOD(1,1)", "CHOOSE(1,1)", "ISLOGICAL(1)",
    'LEN(SUBSTITUTE("a","a","b"))', "LEN(CHAR(34))", 'SEARCH("a","a")',
)  # fmt: skip
_LACKS = (
    "THIS PROGRAM LACKS a function that the sheets use: trust no figure here. LibreOffice, Excel "
    "from 2007 on and Gnumeric know them all."
)
_PLAIN = (
    "Plain edition: nothing to install, this program computes every figure as you type. What needs "
    "the functions says so in its cell: alcohol factor from your pairs, state and forecast of a "
    "fermentation. The curve of the runoff takes every reading: it leaves out no slip."
)


def _how_near() -> Iterator[Block]:
    """The largest difference between the plain formulas and the functions."""
    from xlfuncs.plain import measured  # sheets know nothing of it otherwise

    yield Section("How near the plain formulas come to the functions")
    yield Text(
        f"Largest difference in {measured.CASES:,} random cases over the whole range of each; "
        "words are the same in all of them.",
        gap=0,
    )
    listed = " · ".join(_differences(measured.kept()))
    yield Text(listed, styles.LEAD, gap=0, lines=math.ceil(len(listed) / _NOTE_WIDE) * 0.8)


#: Letters of a note on a line of the page, for names in capitals; its lines are lower than others.
_NOTE_WIDE = 135


def _differences(kept: Iterable[Any]) -> Iterator[str]:
    largest: dict[tuple[str, str], float] = {}
    for one in kept:
        if one.bound.most:
            key = one.function, one.bound.unit
            largest[key] = max(largest.get(key, 0.0), one.largest)
    # A difference that shows only in the last digits of the computer's numbers is none.
    yield from (
        f"{name}\N{NO-BREAK SPACE}{f'{most:.0e}' if most > 1e-9 else '0'}\N{NO-BREAK SPACE}"
        + unit.replace(" ", "\N{NO-BREAK SPACE}")
        for (name, unit), most in largest.items()
    )


def _links(heading: str, sheets: Sequence[Sheet]) -> Iterator[Block]:
    """A section with a line for each of these sheets: its title leads there."""
    if sheets:
        yield Section(heading)
    for one in sheets:
        yield Text(one.title, styles.LINK, to=1, gap=0, link=one.title)
        yield Text(one.sentence, column=2, beside=True, lines=_lines(one.sentence))


def _pair(heading: str, text: str) -> Iterator[Block]:
    yield Text(heading, styles.LABEL, to=1, gap=0)
    yield Text(text, column=2, beside=True, lines=_lines(text))


def _lines(text: str) -> float:
    return 1.2 if len(text) <= _LONG else 2
