"""From a list of recipes to a workbook of pages; what is wrong with a line is said, not guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from openpyxl.workbook import Workbook

from xlfuncs.audit.typed import plain
from xlfuncs.files import problems
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records.plans import Options
from xlfuncs.shop import brewhouse, listing, page
from xlfuncs.shop.brewhouse import Brewhouse
from xlfuncs.shop.listing import Line
from xlfuncs.shop.recipes import Recipe, Unusable, of_line
from xlfuncs.workbook import build, words
from xlfuncs.workbook.kit import styles
from xlfuncs.workbook.kit import write as kit
from xlfuncs.workbook.kit.place import Layout

PAPERS = {"a4": kit.A4, "letter": kit.LETTER}
#: What no sheet may have in its name, and how long the name may be.
_NOT_IN_TITLES = re.compile(r"[\[\]:*?/\\\x00-\x1f']")
_LONGEST_TITLE = 31


@dataclass
class Evening:
    """The recipes of a list, ready to print, and what is to be said of it line by line."""

    house: Brewhouse
    recipes: list[Recipe] = field(default_factory=list)
    refused: list[tuple[int, str]] = field(default_factory=list)  # lines that give no page
    lacking: list[tuple[int, str]] = field(default_factory=list)  # pages with lines for a pen
    said: list[str] = field(default_factory=list)  # what changes no page

    def remarks(self) -> list[str]:
        """All that is to be said, a sentence each."""
        refused = [f"not printed: line {line}: {why}" for line, why in sorted(self.refused)]
        lacking = [f"printed, but line {line}: {what}" for line, what in self.lacking]
        return [*self.said, *refused, *lacking]


def read(
    source: Path,
    house: Brewhouse | None,
    units: str,
    gravity: str,
    only: Sequence[str] = (),
    options: Options | None = None,
) -> Evening:
    """The recipes of a list, or of the Batches of a workbook of ours; with `only` those of it.

    Without a `house` they are printed in `units` and `gravity`, or in those of that workbook.
    Raises `WorkbookProblem` where nothing can be read.
    """
    found = listing.Listing()
    if _is_ours(source):
        own = brewhouse.of_workbook(source)
        found.lines, house = list(own.recipes()), house or own
        if house.settings.gravity != own.settings.gravity or house.volume != own.volume:
            raise WorkbookProblem(
                f"{source.name} is in other units than the workbook of --book: leave that out"
            )
    else:
        house = house or brewhouse.usual(units, gravity)
        found = listing.read(source, house, options or Options())
    evening = Evening(house)
    evening.said += [f"not read: “{one}”, which is no heading of a recipe" for one in found.unread]
    if not only:
        evening.refused += found.refused
    _take(evening, list(_chosen(source, found.lines, only)))
    named = [str(recipe.line) for recipe in evening.recipes if recipe.refractometer]
    if named and not house.tools:
        evening.said.append(
            f"lines {', '.join(named)} name a refractometer, and no workbook (--book) says how it "
            "stands: their strips are for one that compensates for temperature and is not checked"
        )
    return evening


def _chosen(source: Path, lines: Iterable[Line], only: Sequence[str]) -> Iterator[Line]:
    """The lines of the recipes that are asked for, or all."""
    left = {plain(one): one for one in only}
    for number, row in lines:
        if not only or plain(row.get("batch")) in map(plain, only):
            left.pop(plain(row.get("batch")), None)
            yield number, row
    if left:
        raise WorkbookProblem(f"{source.name} has no recipe “{next(iter(left.values()))}”")


def _take(evening: Evening, lines: Iterable[Line]) -> None:
    seen: dict[tuple[str, str], int] = {}
    for number, row in lines:
        try:
            recipe = of_line(number, row, evening.house.settings)
            evening.house.refractometer(recipe.refractometer)
            if recipe.key in seen:
                raise Unusable(f"{recipe.title} stands on line {seen[recipe.key]} already")
        except Unusable as problem:
            evening.refused.append((number, str(problem)))
            continue
        seen[recipe.key] = number
        evening.recipes.append(recipe)
        lacks = _lacks(recipe, evening.house)
        evening.lacking += [(number, f"{recipe.title}: {what}") for what in lacks]


def _lacks(recipe: Recipe, house: Brewhouse) -> list[str]:
    found = recipe.lacks()
    alcohol = page.alcohol(recipe, house.settings)
    if isinstance(alcohol, str) and not found:
        found.append(f"no alcohol can be expected: {alcohol}")
    return found


def workbook(evening: Evening, shop: str, paper: int, today: float) -> bytes:
    """An .xlsx file with a sheet for each recipe, one page each, without a formula."""
    layout = Layout()
    titles: set[str] = set()
    for number, recipe in enumerate(evening.recipes, 1):
        house = evening.house
        when = today if recipe.day is None else recipe.day
        strip = house.strip(house.refractometer(recipe.refractometer), when)
        title = _title(recipe.name, titles)
        one = page.Page(number, title, shop or house.name, recipe, when, strip, house)
        layout.add(page.sheet(one))
    book = Workbook()
    book.remove(book.active)
    styles.register(book)
    kit.write(book, layout, paper)
    for sheet in book.worksheets:
        # One page stands for itself: no sheet, file or number of pages at its foot.  Boxes for a
        # pen keep their size, since no wide columns need its edges.
        margins = sheet.page_margins
        margins.left = margins.right = 0.3
        margins.top = margins.bottom = 0.4
        for part in (sheet.oddFooter.left, sheet.oddFooter.center, sheet.oddFooter.right):
            part.text = None
    build.describe(book, "Recipes")
    return build.to_bytes(book)


def _title(name: str, taken: set[str]) -> str:
    """A name for a sheet: what no name may hold taken out, and no two alike."""
    usual = _NOT_IN_TITLES.sub(" ", name).strip()[:_LONGEST_TITLE] or "recipe"
    title, number = usual, 1
    while title.casefold() in taken:
        number += 1
        title = f"{usual[: _LONGEST_TITLE - len(str(number)) - 1]} {number}"
    taken.add(title.casefold())
    return title


def _is_ours(source: Path) -> bool:
    """Whether a file is a workbook made by `new`."""
    if source.suffix.lower() not in (*problems.ENDINGS, problems.OPEN_DOCUMENT):
        return False
    return words.LAYOUT_NAME in problems.load(source, read_only=True).defined_names


def paper(evening: Evening, wanted: str | None) -> int:
    """The paper asked for, or that of the place: Letter where temperatures are in °F."""
    return PAPERS[wanted or ("letter" if evening.house.settings.temperature == "F" else "a4")]
