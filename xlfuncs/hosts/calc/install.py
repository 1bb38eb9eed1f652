"""The add-in in the user's own LibreOffice, and numpy within reach of the office's Python."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from xlfuncs import __version__
from xlfuncs.hosts.calc import addin, offices, session
from xlfuncs.hosts.calc.offices import (
    Office,
    OfficeProblem,
    choose_office,
    examine,
    user_folder,
    user_profile,
)

MEND = "xlfuncs install calc"
_TIMEOUT = 120.0
_PAUSE = 2.0  # seconds, in which an office that ends is gone


@dataclass(frozen=True)
class Installed:
    """What was put where: the office, the add-in's version, the folder that holds numpy.

    `site_packages` is None where the office's Python has a numpy of its own.
    """

    office: Office
    version: str
    site_packages: Path | None


def install(office: Office | None = None) -> Installed:
    """Put the add-in into this user's office; where numpy is missing, fetch it with pip.

    Needs no administrator, and works for one.  Replaces an add-in that is there already.  Raises
    `OfficeProblem` with a sentence that says what to do.
    """
    office = office or choose_office()
    profile = _free_profile(office)
    site_packages = numpy_for(office, fetch=True)
    with tempfile.TemporaryDirectory(prefix="xlfuncs-") as folder:
        oxt = addin.build(Path(folder) / "xlfuncs.oxt", site_packages)
        _run(office, profile, {"do": "install", "oxt": str(oxt)})
    return Installed(office, __version__, site_packages)


def uninstall(office: Office | None = None) -> bool:
    """Take the add-in out of this user's office, and all else of ours that lies on this computer.

    That is what `left_behind` names.  Gives whether the add-in was there.
    """
    office = office or choose_office()
    task = {"do": "uninstall", "identifier": addin.IDENTIFIER}
    removed = _run(office, _free_profile(office), task)["removed"]
    for folder in left_behind(office):
        shutil.rmtree(folder, ignore_errors=True)
    return bool(removed)


def left_behind(office: Office) -> list[Path]:
    """Folders that an office without the add-in still has of us.

    The numpy that was fetched, the profiles that are kept for computing without a window, and the
    copies of the add-in that the office itself made.  Empty while the add-in is installed.
    """
    if installed_version(office):
        return []
    ours = user_folder("cache") / "xlfuncs"
    fetched = _fetched("*")
    user = user_profile(office) / "user"
    copies = [
        copy.parent
        for place in ("extensions/tmp/extensions", "uno_packages/cache/uno_packages")
        for copy in (user / place).glob("*/xlfuncs.oxt")
    ]
    return sorted([*ours.glob("calc-*"), *fetched.parent.glob(fetched.name), *copies])


def installed_version(office: Office) -> str:
    """Version of the add-in in this user's office, or nothing; looks at files only."""
    record = user_profile(office) / "user/uno_packages/cache/uno_packages.pmap"
    if not record.is_file():
        return ""
    # One entry an extension: identifier, then folder, file, media type and version.
    entry = rb"%b\n[^\xff]*\xff[^\xff]*\xff[^\xff]*\xff([^\xff]*)\xff"
    found = re.search(entry % re.escape(addin.IDENTIFIER.encode()), record.read_bytes())
    return found[1].decode() if found else ""


def numpy_for(office: Office, fetch: bool = False) -> Path | None:
    """Folder in which the office's Python finds numpy; None if it has its own.

    That of the Python that runs us serves when both are of one minor version; else numpy is fetched
    with pip for the other version, if asked to.  Raises `OfficeProblem` when there is none.
    """
    python = examine(office)
    if python.numpy:
        return None
    ours = Path(np.__file__).parents[1]
    fetched = _fetched(python.version)
    for folder in (ours, fetched):
        if folder.is_dir() and examine(office, folder).numpy:
            return folder
    if fetch:
        _fetch(python.version, fetched)
        if examine(office, fetched).numpy:
            return fetched
    raise OfficeProblem(f"the Python {python.version} of LibreOffice has no numpy; run: {MEND}")


def _fetched(version: str) -> Path:
    return user_folder("data") / "xlfuncs" / f"python-{version}"


def _fetch(version: str, folder: Path) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent) as passing:
        packages = Path(passing) / "site-packages"
        command = [
            sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
            "--target", str(packages), "--python-version", version, "--only-binary=:all:",
            "numpy",
        ]  # fmt: skip
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            reason = (done.stderr.strip().splitlines() or ["pip failed"])[-1]
            raise OfficeProblem(
                f"numpy for LibreOffice's Python {version} could not be fetched ({reason}); "
                f"go online and run again: {MEND}"
            )
        shutil.rmtree(folder, ignore_errors=True)
        packages.replace(folder)
    offices.examine.cache_clear()


def _free_profile(office: Office) -> Path:
    """The user's profile; its office must not be open, for it would be ended with our task."""
    profile = user_profile(office)
    lock = profile / ".lock"
    if lock.exists():
        raise OfficeProblem(
            f"LibreOffice is open: close it and run again (if it is not, delete {lock})"
        )
    return profile


def _run(office: Office, profile: Path, task: dict[str, str]) -> dict[str, Any]:
    """Do the task in the user's profile; an office that ends at once gets a second chance.

    One that still ends takes the next with it: both would use one profile.
    """
    deadline = time.monotonic() + _TIMEOUT
    happened = "ended at once, twice"
    for pause in (_PAUSE, 0.0):
        try:
            return session.run(office, profile, task, deadline)
        except session.OfficeDied:
            time.sleep(pause)
        except session.TookTooLong:
            happened = f"was not done after {_TIMEOUT:g} s"
            break
    raise OfficeProblem(
        f"LibreOffice {happened}; start it by hand ({office.soffice}), close it, and run again"
    )
