"""The functions put into this user's Excel, and taken out again.

Two files make them work: the add-in in the folder whose files Excel opens when it starts, and a
line in the user's settings that says which Python answers.  Excel trusts that folder, so no step
in Excel is needed.
"""

from __future__ import annotations

import contextlib
import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from xlfuncs import __version__
from xlfuncs.hosts.excel import macros
from xlfuncs.hosts.excel.windows import Computer, ExcelProblem
from xlfuncs.hosts.excel.wrappers import PROJECT

MEND = "xlfuncs install excel"
#: Why there are no functions on other systems, and what to use there instead.
ELSEWHERE = "Excel runs these functions on Windows only"
ANYWHERE = (
    "the plain workbook (xlfuncs new FILE --plain) computes in any Excel; "
    "LibreOffice Calc knows the functions too"
)
_INTERPRETER = "INTERPRETER_WIN"
_WHEEL = f"{PROJECT}-{__version__}-py3-none-any.whl"
_FRESH = (
    f'cmd /c "py -m venv brewing && brewing\\Scripts\\pip install {_WHEEL} && '
    f'brewing\\Scripts\\{MEND}"'
)


@dataclass(frozen=True)
class Part:
    """One part of what Excel needs: what was found, or what is missing and what mends it.

    `mend` is one command; nothing of ours mends that there is no Excel.
    """

    name: str
    found: str
    missing: str = ""
    mend: str = ""


@contextlib.contextmanager
def _in_plain_words() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise ExcelProblem(f"{error.filename}: {error.strerror or error}") from error


@_in_plain_words()
def examine(computer: Computer) -> list[Part]:
    """Each part of what Excel needs on this computer; changes nothing.

    Raises `ExcelProblem` on other systems than Windows.
    """
    _must_be_windows(computer)
    excel = computer.program("excel.exe")
    bits = computer.bits(excel) if excel else 64
    parts = [
        Part("Excel", f"{excel}, {bits} bit")
        if excel
        else Part("Excel", "", "Excel was not found"),
        Part("Python", str(computer.python)),
        _library(computer, bits),
    ]
    content = computer.read(_addin_path(computer))
    version = macros.addin_version(content) if content else ""
    if content is None:
        parts.append(Part("add-in", "", "the add-in is not in Excel", MEND))
    elif content != macros.addin():
        other = f"of version {version}" if version not in ("", __version__) else "another one"
        parts.append(Part("add-in", "", f"the add-in in Excel is {other}", MEND))
    else:
        parts.append(Part("add-in", f"{_addin_path(computer)}, version {version}"))
    named = dict(_settings(computer)).get(_INTERPRETER)
    if named is None:
        parts.append(Part("settings", "", "Excel is not told which Python to start", MEND))
    elif named != str(computer.python):
        parts.append(Part("settings", "", f"Excel starts another Python, {named}", MEND))
    else:
        parts.append(Part("settings", str(_settings_path(computer))))
    return parts


@_in_plain_words()
def install(computer: Computer) -> list[Part]:
    """Put add-in and settings in place, both or neither; the parts as they then are.

    An add-in of another version is replaced.  Raises `ExcelProblem` with one sentence.
    """
    for part in examine(computer):
        if part.missing and part.mend != MEND:
            way = f"to mend it: {part.mend}" if part.mend else ANYWHERE
            raise ExcelProblem(f"{part.missing}; {way}")
    _must_be_closed(computer)
    addin = _addin_path(computer)
    content = computer.read(addin)
    if content is not None and not macros.addin_version(content):
        raise ExcelProblem(f"{addin} is another file, not our add-in: move it away first")
    _all_or_none(computer, {addin: macros.addin(), **_settings_that_name_us(computer)})
    return examine(computer)


@_in_plain_words()
def name_python(computer: Computer) -> None:
    """Say in the settings which Python answers, for a workbook that has the functions in it.

    Does nothing where another one is named already, or on another system than Windows.
    """
    if computer.is_windows and _INTERPRETER not in dict(_settings(computer)):
        _all_or_none(computer, _settings_that_name_us(computer))


@_in_plain_words()
def uninstall(computer: Computer) -> bool:
    """Take out exactly what `install` put in; whether anything was there.

    What somebody wrote into the settings besides stays.  Raises `ExcelProblem`.
    """
    _must_be_windows(computer)
    _must_be_closed(computer)
    changes: dict[Path, bytes | None] = {}
    content = computer.read(_addin_path(computer))
    if content is not None and macros.addin_version(content):
        changes[_addin_path(computer)] = None
    lines = _settings(computer)
    kept = [(key, value) for key, value in lines if key != _INTERPRETER]
    if kept != lines:
        changes[_settings_path(computer)] = _written(computer, kept) if kept else None
    _all_or_none(computer, changes)
    return bool(changes)


# --- parts ------------------------------


def _addin_path(computer: Computer) -> Path:
    return computer.folder("APPDATA") / "Microsoft" / "Excel" / "XLSTART" / f"{PROJECT}.xlam"


def _settings_path(computer: Computer) -> Path:
    return computer.folder("USERPROFILE") / f".{PROJECT}" / f"{PROJECT}.conf"


def _library(computer: Computer, bits: int) -> Part:
    """xlwings' library: its VBA loads it from the folder of Python or from the one above."""
    version = computer.version("xlwings")
    name = f"xlwings{bits}-{version}.dll"
    for folder in computer.python.parents[:2]:
        if computer.is_file(folder / name):
            return Part("library", str(folder / name))
    if "WindowsApps" in computer.python.parts:
        missing = f"the Python of the Microsoft Store keeps {name} where Excel does not look"
        return Part("library", "", missing, f"install Python from python.org, then {_FRESH}")
    if computer.installed_for_the_user("xlwings"):
        missing = f"xlwings was installed with --user, and Excel does not find {name} there"
        return Part("library", "", missing, _FRESH)
    again = f'"{computer.python}" -m pip install --force-reinstall {_WHEEL}'
    return Part("library", "", f"{name} is not beside {computer.python}", again)


def _settings(computer: Computer) -> list[tuple[str, str]]:
    """Key and value of each line of the user's settings."""
    text = (computer.read(_settings_path(computer)) or b"").decode(computer.encoding, "replace")
    rows = csv.reader(io.StringIO(text))
    return [(row[0], row[1]) for row in rows if len(row) > 1]


def _settings_that_name_us(computer: Computer) -> dict[Path, bytes | None]:
    lines = [(key, value) for key, value in _settings(computer) if key != _INTERPRETER]
    written = _written(computer, [*lines, (_INTERPRETER, str(computer.python))])
    return {_settings_path(computer): written}


def _written(computer: Computer, lines: list[tuple[str, str]]) -> bytes:
    text = "".join(f'"{key}","{value}"\r\n' for key, value in lines)
    try:
        return text.encode(computer.encoding)
    except UnicodeEncodeError as error:
        raise ExcelProblem(
            f"Excel cannot read the path {computer.python} (“{text[error.start]}” is not in the "
            "code page of this Windows): use a Python in a folder without such letters"
        ) from None


def _must_be_windows(computer: Computer) -> None:
    if not computer.is_windows:
        raise ExcelProblem(f"{ELSEWHERE}; {ANYWHERE}")


def _must_be_closed(computer: Computer) -> None:
    if computer.runs("EXCEL.EXE"):
        raise ExcelProblem("Excel is open: close it and run this again")


def _all_or_none(computer: Computer, changes: Mapping[Path, bytes | None]) -> None:
    before: dict[Path, bytes | None] = {}
    try:
        for path, content in changes.items():
            before[path] = computer.read(path)
            computer.put(path, content)
    except OSError as error:
        for path, content in before.items():
            if computer.read(path) != content:
                computer.put(path, content)
        raise ExcelProblem(
            f"{path} cannot be changed ({error.strerror or error}); nothing was changed"
        ) from error
