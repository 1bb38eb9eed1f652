"""Spreadsheet programs that others wrote, without anything of ours in them: values of a file."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import openpyxl

from xlfuncs.hosts.calc.offices import choose_office

Values = dict[str, object]


def libreoffice(*paths: Path) -> dict[Path, Values]:
    """What LibreOffice stores when it converts the files, in a fresh profile without the add-in."""
    with tempfile.TemporaryDirectory() as folder:
        profile = Path(folder, "profile").as_uri()
        command = [
            str(choose_office().soffice), f"-env:UserInstallation={profile}", "--headless",
            "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", folder, *map(str, paths),
        ]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        return {path: stored(Path(folder, path.name)) for path in paths}


def gnumeric(path: Path) -> Values:
    """What Gnumeric's converter computes."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "out.xlsx")
        command = ["ssconvert", "--recalc", "-T", "Gnumeric_Excel:xlsx2", str(path), str(out)]
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        return stored(out)


def ironcalc(path: Path) -> Values:
    """What IronCalc computes."""
    import ironcalc as engine

    model = engine.load_from_xlsx(str(path), "en", "UTC", "en")
    model.evaluate()
    sheet = openpyxl.load_workbook(path).active
    values: Values = {}
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is not None:
                values[cell.coordinate] = model.get_cell_value(0, cell.row, cell.column)
    return values


def stored(path: Path) -> Values:
    """The values in a file."""
    sheet = openpyxl.load_workbook(path, data_only=True).active
    return {cell.coordinate: cell.value for row in sheet.iter_rows() for cell in row}
