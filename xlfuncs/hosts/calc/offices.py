"""The offices of this computer, and the Python that each brings."""

from __future__ import annotations

import functools
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

VARIABLE = "XLFUNCS_OFFICE"

_PROGRAMS = ("soffice", "soffice.exe", "soffice.bin")
_INSIDE = (".", "program", "MacOS", "Contents/MacOS")
_PATTERNS = {
    "linux": (
        "usr/lib/libreoffice/program", "usr/lib64/libreoffice/program",
        "opt/libreoffice*/program", "usr/local/lib/libreoffice/program",
    ),
    "darwin": ("Applications/LibreOffice*.app/Contents/MacOS",),
    "win32": (
        "Program Files/LibreOffice*/program", "Program Files (x86)/LibreOffice*/program",
    ),
}  # fmt: skip


class OfficeProblem(Exception):
    """The office cannot do it; the message is a plain sentence that says what mends it."""


@dataclass(frozen=True)
class Office:
    """One LibreOffice: the program to start, its version, and the Python its add-ins run in."""

    soffice: Path
    version: str
    python: Path | None


@dataclass(frozen=True)
class OfficePython:
    """What an office's Python has: version as major.minor, numpy's version or nothing."""

    version: str
    numpy: str


def find_offices(
    environ: Mapping[str, str] = os.environ,
    platform: str = sys.platform,
    root: Path | None = None,
) -> list[Office]:
    """Every office found, first the one to be used.

    The variable XLFUNCS_OFFICE (program, its folder, or the folder above) allows that one alone;
    without it, what is on the PATH comes before what lies in the usual places, newest first.
    `root` is where the usual places are looked for.
    """
    if named := environ.get(VARIABLE):
        places = iter([Path(named)])
    else:
        places = _places(environ, platform, root)
    offices: dict[Path, Office] = {}
    for place in places:
        soffice = _soffice(place)
        if soffice is not None and soffice not in offices:
            offices[soffice] = Office(
                soffice, _version(soffice.parent), _python(soffice.parent, platform)
            )
    return list(offices.values())


def choose_office(environ: Mapping[str, str] = os.environ) -> Office:
    """The office to use; raises `OfficeProblem` when there is none, or none with a Python."""
    offices = find_offices(environ)
    if not offices:
        if named := environ.get(VARIABLE):
            raise OfficeProblem(f"{VARIABLE} names {named}, but there is no LibreOffice")
        raise OfficeProblem(
            "LibreOffice was not found: install it, or let the variable "
            f"{VARIABLE} name its program folder"
        )
    for office in offices:
        if office.python is not None:
            return office
    raise OfficeProblem(
        f"{offices[0].soffice} has no Python for add-ins: install its Python support "
        "(on Debian and Ubuntu: apt install python3-uno)"
    )


@functools.lru_cache(16)  # what an office has stays as it is, until `install` fetches something
def examine(office: Office, site_packages: Path | None = None) -> OfficePython:
    """Ask the office's Python what it has, with one more folder on its path if given."""
    script = (
        "import json, sys\n"
        "sys.path += sys.argv[1:]\n"
        "try: import numpy; found = numpy.__version__\n"
        "except ImportError: found = ''\n"
        "import uno\n"
        "print(json.dumps(['.'.join(map(str, sys.version_info[:2])), found]))"
    )
    folders = [str(site_packages)] if site_packages else []
    try:
        done = subprocess.run(
            [str(office.python), "-c", script, *folders],
            capture_output=True,
            text=True,
            env=clean_environment(),
            timeout=60,
            check=True,
        )
        return OfficePython(*json.loads(done.stdout))
    except (OSError, ValueError, subprocess.SubprocessError) as error:
        raise OfficeProblem(
            f"the Python of {office.soffice} ({office.python}) cannot reach the office: install "
            "its Python support (on Debian and Ubuntu: apt install python3-uno)"
        ) from error


def clean_environment(environ: Mapping[str, str] = os.environ) -> dict[str, str]:
    """The environment without the traces of the Python that runs us.

    The office's Python is another one; ours on the PATH, or in PYTHONHOME, would mislead it.
    """
    kept = {
        name: value
        for name, value in environ.items()
        if not name.startswith("PYTHON") and name != "VIRTUAL_ENV"
    }
    ours = {Path(sys.prefix) / "bin", Path(sys.prefix) / "Scripts"}
    folders = kept.get("PATH", "").split(os.pathsep)
    kept["PATH"] = os.pathsep.join(folder for folder in folders if Path(folder) not in ours)
    return kept


#: How Calc computes: what other columns may need it would compute ahead, many lines at once, and
#: LibreOffice 7.4 then takes some of ours for circles that are none.
_CELL_BY_CELL = "core"

#: Matrices are small here: threads of numpy would wait for work, and not asleep, at every start.
_NO_THREADS = "1"


def office_environment() -> dict[str, str]:
    """The environment in which an office of ours starts."""
    ours = {
        "SC_FORCE_CALCULATION": _CELL_BY_CELL,
        "OPENBLAS_NUM_THREADS": _NO_THREADS,
    }
    return {**clean_environment(), **ours}


def user_profile(office: Office, platform: str = sys.platform) -> Path:
    """Folder where this user's own settings of the office are kept."""
    parent = user_folder("config", platform)
    setting = _setting(office.soffice.parent, "bootstrap", "UserInstallation")
    within = setting.partition("$SYSUSERCONFIG/")[2]
    return parent / (within or "libreoffice/4")


def user_folder(kind: str, platform: str = sys.platform) -> Path:
    """Where programs keep a user's `config`, `data` or `cache` on this platform."""
    home = Path.home()
    if platform == "win32":
        variable = "APPDATA" if kind == "config" else "LOCALAPPDATA"
        return Path(os.environ.get(variable, home / "AppData"))
    if platform == "darwin":
        return home / "Library" / ("Caches" if kind == "cache" else "Application Support")
    default = {"config": ".config", "data": ".local/share", "cache": ".cache"}[kind]
    return Path(os.environ.get(f"XDG_{kind.upper()}_HOME") or home / default)


# --- where things are ------------------------------


def _places(environ: Mapping[str, str], platform: str, root: Path | None) -> Iterator[Path]:
    for name in ("soffice", "libreoffice"):
        if found := shutil.which(name, path=environ.get("PATH", "")):
            yield Path(found)
    if platform == "win32":
        drive = root or Path(environ.get("SystemDrive", "C:") + "\\")
    else:
        drive = root or Path("/")
    found_here = [place for pattern in _PATTERNS.get(platform, ()) for place in drive.glob(pattern)]
    yield from sorted(found_here, key=lambda place: _numbers(_version(place)), reverse=True)


def _soffice(place: Path) -> Path | None:
    """The program at, in or under a place, with links followed."""
    if place.is_file():
        return place.resolve() if place.resolve().name in _PROGRAMS else None
    for folder in _INSIDE:
        for name in _PROGRAMS:
            if (place / folder / name).is_file():
                return (place / folder / name).resolve()
    return None


def _python(program: Path, platform: str) -> Path | None:
    """The Python that comes with the office, else the one that a Linux distribution links it to."""
    bundled = (program / "python.exe", program / "python", program / "../Resources/python")
    for path in bundled:
        if path.is_file():
            return path.resolve()
    if platform in ("win32", "darwin"):
        return None
    shared = shutil.which("python3", path="/usr/bin:/usr/local/bin")
    return Path(shared) if shared else None


def _version(program: Path) -> str:
    found = re.search(r"\d+(\.\d+)*", _setting(program, "bootstrap", "ProductKey"))
    return found[0] if found else ""


def _numbers(version: str) -> list[int]:
    return [int(part) for part in version.split(".") if part]


def _setting(program: Path, file: str, key: str) -> str:
    """One entry of an office's own settings: `bootstraprc`, or `bootstrap.ini` on Windows."""
    folders = (program, program / "../Resources")
    for path in [folder / name for folder in folders for name in (f"{file}rc", f"{file}.ini")]:
        if path.is_file():
            found = re.search(rf"^{key}=(.*)$", path.read_text("utf-8", "replace"), re.MULTILINE)
            if found:
                return found[1].strip()
    return ""
