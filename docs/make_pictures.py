"""Make the pictures of the documentation: every printed page of template and example.

Needs LibreOffice and pdftoppm (Debian: libreoffice-calc, poppler-utils).  Run by `make docs`.
"""

from __future__ import annotations

import runpy
import subprocess
import tempfile
from pathlib import Path

from xlfuncs.hosts.calc import runner
from xlfuncs.workbook import build
from xlfuncs.workbook.vocabulary import Choices

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"

BOOKS = {
    "example-a4": Choices(example=True),
    "example-letter": Choices(example=True, units="us", gravity="plato"),
    "template-a4": Choices(),
}
_DOTS_PER_INCH = 72


def main() -> None:
    """Print each workbook and cut the PDF into pages; old pages go first."""
    PICTURES.mkdir(exist_ok=True)
    for old in PICTURES.glob("*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as folder:
        for name, choices in BOOKS.items():
            print(f"{name} …", flush=True)
            book, printed = Path(folder) / f"{name}.xlsx", Path(folder) / f"{name}.pdf"
            book.write_bytes(build.to_bytes(build.build(choices)))
            runner.print_pdf(book, printed)
            subprocess.run(
                ["pdftoppm", "-r", str(_DOTS_PER_INCH), "-png", printed, PICTURES / name],
                check=True,
            )
    for script in sorted((HERE / "figures").glob("*.py")):
        print(f"{script.name} …", flush=True)
        runpy.run_path(str(script), run_name="__main__")


if __name__ == "__main__":
    main()
