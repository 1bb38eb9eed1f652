"""One page: a recipe's targets, boxes for a pen, the strip of its refractometer, cautions.

It is the Batch sheet for whoever has no workbook: portrait, with lines for the fermentation, and
with words where that has formulas, so that every program and every locale shows the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from xlfuncs.audit.setup import CALL, Settings
from xlfuncs.audit.typed import says
from xlfuncs.cells.values import visible
from xlfuncs.shop.brewhouse import VALUES, Brewhouse, Strip, on_scale
from xlfuncs.shop.recipes import Recipe, date_text
from xlfuncs.workbook import words
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit.blocks import (
    Block,
    Column,
    Role,
    Section,
    Sheet,
    Table,
    Text,
    Verbatim,
)
from xlfuncs.workbook.kit.place import UNNAMED
from xlfuncs.workbook.sheets.batch_sheet import BOXES, HIGH, LEAST

#: A box is 25 mm wide and over 10 mm high; together they fill A4, the narrower of the papers.
_WIDTHS = (*(11.6,) * 3, *(12.9,) * 5)
_COLUMNS = len(_WIDTHS)
_DEEP = VALUES // _COLUMNS
#: Lines of the boxes: another reading of the brew day, and readings while it ferments.
_STAGES = (
    *words.PLANNED[:-1], "", *(words.FERMENTING,) * 3, words.PACKAGED
)  # fmt: skip
_HINTS = {"time": "date, hh:mm", "reading": "as shown", "sample": "°{temperature}",
          "measured": "{gravity}", "measured_volume": "{volume} at {room}"}  # fmt: skip
#: Where the strip says its ±, °Bx.
_SPREAD_AT = (5, 10, 15, 20)
_PEN = "______"
#: Characters that a line of the page takes, in bold and plainly, and of its heads.
_BOLD, _PLAIN, _HEAD, _NAME = 110, 110, 44, 62
_CAUTIONS = (words.BOIL_CAUTION, words.GLASS_CAUTION, words.GAS_CAUTION, words.BOTTLES_CAUTION,
             f"{words.LABEL_CAUTION} {words.RULES_CAUTION}")  # fmt: skip


@dataclass(frozen=True)
class Page:
    """What stands on a page, besides what all have."""

    number: int
    title: str  # of its sheet
    shop: str
    recipe: Recipe
    when: float  # the brew day, or today: a check is in force then, or due
    strip: Strip
    house: Brewhouse


def sheet(page: Page) -> Sheet:
    """The page as data."""
    return Sheet(
        page.title,
        "",
        "",
        (
            *_heads(page),
            *_facts(page),
            _boxes(page),
            *_strip(page),
            *(
                Text(text, styles.CAUTION, gap=0, lines=_lines(text, _BOLD))
                for text in _CAUTIONS
            ),
        ),
        widths=_WIDTHS,
        least=LEAST,
        heading=Verbatim(_short(page.shop, _HEAD) or words.BATCH_SHEET),
    )  # fmt: skip


def _heads(page: Page) -> Iterator[Block]:
    recipe = page.recipe
    when = date_text(recipe) or f"date {_PEN}{_PEN}"
    whose = f"for {_short(recipe.customer, _NAME)}" if recipe.customer else f"for {_PEN * 3}"
    name = f"{_short(recipe.name, _NAME + 40)}  ·  {when}"
    yield Text(Verbatim(name), styles.ANSWER, gap=0, lines=_lines(name, _NAME))
    yield Text(Verbatim(f"{whose}   ·   brewer {_PEN * 2}"), styles.TEXT, gap=0, lines=1.3)


def _facts(page: Page) -> Iterator[Block]:
    """Grain, boil, and what to expect of the beer."""
    recipe, settings = page.recipe, page.house.settings
    grain = _PEN if recipe.grain is None else _number(recipe.grain)
    usual = page.house.minutes if recipe.minutes is None else recipe.minutes
    minutes = _PEN if usual is None else says(usual)
    yield from _fact(1, "Grain", 2, f"{grain} {settings.mass}", 3, beside=False)
    yield from _fact(4, "Expected final gravity", 6, _final(recipe, settings), _COLUMNS)
    yield from _fact(1, "Boil", 2, f"{minutes} min", 3, beside=False)
    of = ", of after boil" if recipe.original == words.AFTER_BOIL else ""
    yield from _fact(4, f"Expected alcohol{of}", 6, _alcohol(recipe, settings), _COLUMNS)
    if recipe.note:
        note = Verbatim(f"Note: {_short(recipe.note, 2 * _PLAIN)}")
        yield Text(note, styles.TEXT, gap=0, lines=_lines(note, _PLAIN))


def _fact(label: int, what: str, value: int, says: str, last: int,
          beside: bool = True) -> Iterator[Block]:  # fmt: skip
    """A label and what stands beside it, from one column to another."""
    yield Text(what, styles.LABEL, column=label, to=value - 1, beside=beside, gap=0, lines=1.1)
    yield Text(says, styles.RESULT, column=value, to=last, beside=True, gap=0, lines=1.1)


def _final(recipe: Recipe, settings: Settings) -> str:
    planned = recipe.gravity.get(words.PACKAGED)
    if planned is None:
        return f"{_PEN} {settings.gravity}"
    wide = _tolerance(recipe, settings)
    return f"{_gravity(planned, settings)} ± {_gravity(wide, settings)} {settings.gravity}"


def _alcohol(recipe: Recipe, settings: Settings) -> str:
    """Alcohol of the planned gravities, and what their ± makes of it."""
    found = alcohol(recipe, settings)
    if isinstance(found, str):
        return f"{_PEN} % vol"
    middle, low, high = found
    return f"about {middle:.1f} % vol ({low:.1f} to {high:.1f} within the plan's ±)"


def alcohol(recipe: Recipe, settings: Settings) -> tuple[float, float, float] | str:
    """% vol of the plan, and where both gravities miss it by all of their ±; or why there is none.

    Balling's balance, by BEER_ABV.
    """
    original = recipe.gravity.get(recipe.original)
    final = recipe.gravity.get(words.PACKAGED)
    if original is None or final is None:
        return "its plan has none"
    wide = _tolerance(recipe, settings)
    pairs = [(original, final), (original - wide, final + wide), (original + wide, final - wide)]
    sg = pairs if settings.gravity == "SG" else CALL["GRAVITY_CONVERT"](pairs, "Plato", "SG")
    found = [CALL["BEER_ABV"](*pair) for pair in sg]
    if isinstance(found[0], str):
        return str(found[0].removeprefix("! "))
    middle, low, high = (found[0] if isinstance(one, str) else one for one in found)
    return middle, max(low, 0.0), high


def _boxes(page: Page) -> Table:
    """What is planned, and boxes for what is read."""
    recipe, house = page.recipe, page.house
    settings = house.settings
    said = {"temperature": settings.temperature, "gravity": settings.gravity,
            "volume": house.volume, "room": _room(settings)}  # fmt: skip
    wide = _gravity(_tolerance(recipe, settings), settings)

    def gravity(stage: str) -> str:
        value = recipe.gravity.get(stage)
        if value is None:
            return _PEN if stage in words.PLANNED and not recipe.gravity else ""
        return f"{_gravity(value, settings)}\n± {wide}"

    def volume(stage: str) -> str:
        value = recipe.volume.get(stage)
        if value is None:
            return _PEN if stage in words.PLANNED[:-1] and not recipe.volume else ""
        return _number(value)

    def fixed(name: str, heading: str, hint: str, values: list[str]) -> Column:
        return Column(f"{UNNAMED}{page.number}_{name}", heading, hint, role=Role.FIXED,
                      values=values, wrap=True)  # fmt: skip

    return Table(
        f"{UNNAMED}{page.number}",
        len(_STAGES),
        (
            fixed("stage", "Stage", "", [stage.capitalize() for stage in _STAGES]),
            fixed("gravity", "Gravity planned", settings.gravity, [*map(gravity, _STAGES)]),
            fixed("volume", "Volume planned", "{volume} at {room}".format(**said),
                  [*map(volume, _STAGES)]),
            *(
                Column(f"{UNNAMED}{page.number}_{name}", BOXES[name], hint.format(**said),
                       role=Role.BOX)
                for name, hint in _HINTS.items()
            ),
        ),
        gap=0,
        high=HIGH,
        heading=28,
    )  # fmt: skip


def _strip(page: Page) -> Iterator[Block]:
    """What each °Bx means, in columns of a few lines."""
    strip, settings = page.strip, page.house.settings
    tool = strip.tool
    yield Section(
        f"From °Bx on {_quoted(tool.name)} to {settings.gravity} of unfermented wort", gap=0
    )
    for line in range(_DEEP):
        for column in range(_COLUMNS):
            shown, sg, _ = strip.values[column * _DEEP + line]
            told = _PEN if sg is None else _gravity(on_scale(sg, settings), settings)
            yield Text(f"{shown:.1f} → {told}", styles.STRIP, column=column + 1, to=column + 1,
                       beside=column > 0, gap=0)  # fmt: skip
    warm = f"drop at {_room(settings)}"
    drop = "compensates for temperature" if tool.compensated else warm
    says_all = (f"{drop}; {page.strip.state(page.when)}; wort factor {settings.wort_factor:.3f}; "
                f"± about 95 %: {', '.join(_spreads(strip, settings))}. "
                "Not for beer: alcohol moves the reading.")  # fmt: skip
    says_all = says_all[0].upper() + says_all[1:]
    yield Text(says_all, styles.TEXT, gap=0, lines=_lines(says_all, _PLAIN))


def _spreads(strip: Strip, settings: Settings) -> Iterator[str]:
    by_shown = {shown: (sg, wide) for shown, sg, wide in strip.values}
    for at in _SPREAD_AT:
        sg, wide = by_shown[at]
        if sg is not None and wide is not None:
            told = on_scale(sg + wide, settings) - on_scale(sg, settings)
            yield f"{_gravity(told, settings)} at {at} °Bx"


# --- numbers and words ---------------------------------------------------------------------------


def _gravity(value: float, settings: Settings) -> str:
    return f"{value:.{4 if settings.gravity == 'SG' else 2}f}"


def _number(value: float) -> str:
    """An amount with one decimal, or two where it has them."""
    text = f"{value:.2f}"
    return text.removesuffix("0")


def _tolerance(recipe: Recipe, settings: Settings) -> float:
    return settings.tolerance if recipe.tolerance is None else recipe.tolerance


def _room(settings: Settings) -> str:
    return "68 °F" if settings.temperature == "F" else "20 °C"


def _quoted(name: str) -> str:
    return name if name.startswith("a ") else f"“{_short(name, 30)}”"


def _short(text: str, longest: int) -> str:
    """A text of the user, cut where a page has no room for more of it."""
    text = visible(" ".join(text.split()))
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def _lines(text: str, characters: int) -> int:
    return max(1, len(textwrap.wrap(text, characters)))
