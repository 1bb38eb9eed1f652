"""Make the pictures of the documentation: every sheet of the example as a page and as a screen.

Needs LibreOffice, pdftoppm, Xvfb and ImageMagick (Debian: libreoffice-calc, python3-uno,
poppler-utils, xvfb, imagemagick).  Run by `make docs`.
"""

from __future__ import annotations

import runpy
import subprocess
import sys
import tempfile
from pathlib import Path

from xlfuncs.hosts.calc import offices, runner
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"

_DOTS_PER_INCH = 75
_SCREEN = "1366x768x24"


def main() -> None:
    """Draw everything anew; old pictures go first."""
    PICTURES.mkdir(exist_ok=True)
    for old in PICTURES.glob("*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "brewday-example.xlsx"
        made = build.build(Choices(example=True))
        book.write_bytes(build.to_bytes(made))
        titles = [sheet.title for sheet in made if sheet.sheet_state == "visible"]
        _pages(book, titles)
        _recipe(book)
        _screens(book, titles)
    for script in sorted((HERE / "figures").glob("*.py")):
        print(f"{script.name} …", flush=True)
        runpy.run_path(str(script), run_name="__main__")


def slug(title: str) -> str:
    """A title as part of a file's name."""
    return title.lower().replace(" ", "-")


def _pages(book: Path, titles: list[str]) -> None:
    """The first printed page of each sheet."""
    for title in titles:
        print(f"page of {title} …", flush=True)
        printed = book.with_suffix(".pdf")
        runner.print_pdf(book, printed, sheet=title)
        _drawn(printed, f"page-{slug(title)}")


def _recipe(book: Path) -> None:
    """A page of a recipe, as a shop prints it."""
    printed = book.with_suffix(".pdf")
    command = [sys.executable, "-m", "xlfuncs", "sheets", book, "-o", printed]
    subprocess.run([*command, "--batch", "14 harvest ale"], check=True)
    _drawn(printed, "page-recipe")


def _drawn(printed: Path, name: str) -> None:
    """The first page of a PDF as a picture; the PDF goes."""
    subprocess.run(
        ["pdftoppm", "-r", str(_DOTS_PER_INCH), "-png", "-f", "1", "-l", "1", "-singlefile",
         printed, PICTURES / name],
        check=True,
    )  # fmt: skip
    printed.unlink()


def _screens(book: Path, titles: list[str]) -> None:
    """The first screen of each sheet, of a copy that holds values in place of the functions."""
    values = book.with_name("values.xlsx")
    subprocess.run([sys.executable, "-m", "xlfuncs", "freeze", book, "-o", values], check=True)
    office = offices.choose_office()
    subprocess.run(
        ["xvfb-run", "--auto-servernum", "--server-args", f"-screen 0 {_SCREEN}", office.python,
         HERE / "screens.py", office.soffice, values, PICTURES,
         *(f"{title}={slug(title)}" for title in titles)],
        check=True,
    )  # fmt: skip


if __name__ == "__main__":
    main()
