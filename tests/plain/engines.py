"""Spreadsheet programs that others wrote, without anything of ours in them: values of a file."""

from __future__ import annotations

import datetime
import importlib.metadata
import json
import posixpath
import re
import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
from openpyxl.utils import coordinate_to_tuple, get_column_letter
from openpyxl.utils.datetime import to_excel

from xlfuncs.hosts.calc.offices import choose_office, office_environment

Values = dict[str, object]


def converted(
    kind: str, folder: Path, profile: Path, *paths: Path, language: str = "en-US"
) -> None:
    """Have LibreOffice convert files to another kind, into a folder, with this profile; it is made
    with this language if it is not there."""
    if not profile.exists():
        (profile / "user").mkdir(parents=True)
        (profile / "user" / "registrymodifications.xcu").write_text(_SETTINGS.format(language))
    command = [
        choose_office().soffice, f"-env:UserInstallation={profile.absolute().as_uri()}",
        "--headless", "--convert-to", kind, "--outdir", folder, *paths,
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, env=office_environment(), timeout=300)


_XLSX = "xlsx:Calc MS Excel 2007 XML"
#: The language, and that it is no newer than last time: else it would try its drawing.
_SETTINGS = """<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">
<value>{}</value></prop></item>
<item oor:path="/org.openoffice.Setup/Product"><prop oor:name="ooSetupLastVersion" oor:op="fuse">
<value>999.0</value></prop></item></oor:items>"""


def libreoffice(*paths: Path) -> dict[Path, Values]:
    """What LibreOffice stores when it converts the files, in a fresh profile without the add-in."""
    with tempfile.TemporaryDirectory() as folder:
        converted(_XLSX, Path(folder), Path(folder, "profile"), *paths)
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
    return _of_one_sheet(whole_ironcalc(path))


def stored(path: Path) -> Values:
    """The values in a file."""
    return _of_one_sheet(whole(path))


def _of_one_sheet(values: Whole) -> Values:
    return {address: value for (_, address), value in values.items()}


# --- whole workbooks ------------------------------

#: Values of the cells of all sheets, by title and address.
Whole = dict[tuple[str, str], object]


def whole_libreoffice(path: Path, language: str = "en-US") -> Whole:
    """A workbook as LibreOffice computes it, in a fresh profile of that language."""
    with tempfile.TemporaryDirectory() as folder:
        converted(_XLSX, Path(folder), Path(folder, "profile"), path, language=language)
        return whole(Path(folder, path.name))


def whole_gnumeric(path: Path) -> Whole:
    """A workbook as Gnumeric's converter computes it."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "out.xlsx")
        command = ["ssconvert", "--recalc", "-T", "Gnumeric_Excel:xlsx2", str(path), str(out)]
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        return whole(out)


def whole_ironcalc(path: Path) -> Whole:
    """A workbook as IronCalc computes it."""
    import ironcalc as engine

    model = engine.load_from_xlsx(str(path), "en", "UTC", "en")
    model.evaluate()
    return {
        (title, cell.attrib["r"]): model.get_cell_value(
            number, *coordinate_to_tuple(cell.attrib["r"])
        )
        for number, (title, cells) in enumerate(_sheets(path))
        for cell in cells
        if len(cell)
    }


WHOLE: Mapping[str, Callable[[Path], Whole]] = {
    "LibreOffice": whole_libreoffice,
    "Gnumeric": whole_gnumeric,
    "IronCalc": whole_ironcalc,
}


def whole(path: Path, titles: Collection[str] = ()) -> Whole:
    """The values in a file, or on some of its sheets, as they stand there: a date is its number,
    whatever its cell shows."""
    with zipfile.ZipFile(path) as archive:
        shared = []
        if "xl/sharedStrings.xml" in archive.namelist():
            for item in ElementTree.fromstring(archive.read("xl/sharedStrings.xml")):
                shared.append("".join(text.text or "" for text in item.iter(f"{_MAIN}t")))
    return {
        (title, cell.attrib["r"]): value
        for title, cells in _sheets(path, titles)
        for cell in cells
        if len(cell) and (value := _value(cell, shared)) is not None
    }


def formulas(path: Path) -> dict[tuple[str, str], tuple[str | None, dict[str, str]]]:
    """The formulas in a file as they are written there: text, and how it is filled down."""
    return {
        (title, cell.attrib["r"]): (formula.text, formula.attrib)
        for title, cells in _sheets(path)
        for cell in cells
        if (formula := cell.find(f"{_MAIN}f")) is not None
    }


def names(path: Path) -> dict[str, str]:
    """What the names in a file stand for."""
    with zipfile.ZipFile(path) as archive:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
    return {name.attrib["name"]: name.text or "" for name in book.iter(f"{_MAIN}definedName")}


def _sheets(
    path: Path, titles: Collection[str] = ()
) -> Iterator[tuple[str, Iterator[ElementTree.Element]]]:
    """Titles of the sheets of a file, or of some, in their order, each with its cells."""
    with zipfile.ZipFile(path) as archive:
        relations = {
            one.attrib["Id"]: posixpath.join("xl", one.attrib["Target"]).lstrip("/")
            for one in ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        }
        for sheet in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter(f"{_MAIN}sheet"):
            title = sheet.attrib["name"]
            if titles and title not in titles:
                continue
            part = relations[next(v for k, v in sheet.attrib.items() if k.endswith("}id"))]
            yield title, ElementTree.fromstring(archive.read(part)).iter(f"{_MAIN}c")


_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_V = f"{_MAIN}v"


def _value(cell: ElementTree.Element, shared: list[str]) -> object:
    inside = cell.find(_V)
    kind, text = cell.get("t", "n"), "" if inside is None else inside.text or ""
    if kind == "inlineStr":
        return "".join(part.text or "" for part in cell.iter(f"{_MAIN}t"))
    if inside is None or not (text or kind == "str"):  # openpyxl writes an empty one
        return None
    if kind == "s":
        return shared[int(text)]
    if kind == "b":
        return text == "1"
    return text if kind in ("str", "e") else float(text)


# --- those of `make engines`, which take their time ------------------------------

_BUILD = Path(__file__).parent.parent.parent / "build" / "engines"
_NOT_FOUND = 6  # how formulon numbers #N/A


def whole_formulon(path: Path) -> Whole:
    """A workbook as formulon computes it."""
    import formulon

    engine = formulon.Workbook.load(path.read_bytes())
    engine.recalc()

    def value(sheet: int, row: int, column: int) -> object:
        found = engine.get_value(sheet, row - 1, column - 1).to_python()
        if found is None or isinstance(found, (float, int, str)):
            return found
        return "#N/A" if found.error_code == _NOT_FOUND else "#ERROR!"

    return {
        (sheet.title, cell.coordinate): value(number, cell.row, cell.column)
        for number, sheet in enumerate(openpyxl.load_workbook(path).worksheets)
        for cell in sheet._cells.values()
        if cell.value is not None
    }


def whole_hyperformula(path: Path) -> Whole:
    """A workbook as HyperFormula computes it, names written out: it has no names of ranges."""
    book = openpyxl.load_workbook(path)
    names = {name: defined.attr_text for name, defined in book.defined_names.items()}
    known = re.compile(
        rf"\"[^\"]*\"|'[^']*'|\b({'|'.join(sorted(names, key=len, reverse=True))})\b"
    )

    def given(cell: object) -> object:
        if isinstance(cell, (datetime.date, datetime.time)):
            return float(to_excel(cell))
        if not isinstance(cell, str) or not cell.startswith("="):
            return cell
        return known.sub(lambda found: names[found[1]] if found[1] else found[0], cell)

    sheets = {
        sheet.title: [[given(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
        for sheet in book.worksheets
    }
    script = shutil.copy(Path(__file__).with_name("hyperformula.mjs"), _BUILD)
    done = subprocess.run(
        ["node", script], input=json.dumps(sheets), text=True, capture_output=True, check=True
    )
    values = json.loads(done.stdout)["values"]
    return {
        (title, f"{get_column_letter(column)}{row}"): value
        for title, lines in values.items()
        for row, line in enumerate(lines, start=1)
        for column, value in enumerate(line, start=1)
    }


def versions() -> dict[str, str]:
    """Name and version of each engine."""

    def said(*command: str) -> str:
        out = subprocess.run(command, text=True, capture_output=True, check=True)
        return re.search(r"\d+(\.\d+)+", out.stdout + out.stderr)[0]  # type: ignore[index]

    package = json.loads((_BUILD / "node_modules/hyperformula/package.json").read_text())
    return {
        "LibreOffice": str(choose_office().version),
        "Gnumeric": said("ssconvert", "--version"),
        "IronCalc": importlib.metadata.version("ironcalc"),
        "formulon": importlib.metadata.version("formulon"),
        "HyperFormula": package["version"],
    }


#: What each lacks, so that none of it is used.
LACKS = {
    "LibreOffice": "`LET`, `XLOOKUP`, `LAMBDA`",
    "Gnumeric": "`ABS` of a range in `SUMPRODUCT`, `INDEX` of a single cell, `LET`, `LAMBDA`",
    "IronCalc": "truth values compared with each other, `COUNTIF` of a name of one cell",
    "formulon": "`ROW` of a name",
    "HyperFormula": "`LOOKUP`, numbers like `1E-12`, a quotation mark in a text, names of ranges "
    "(written out for it)",
}
