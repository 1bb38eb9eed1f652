"""This computer, as far as Excel is concerned: every look into Windows, every change of a file.

Nothing else in the project asks Windows for anything; tests put a stand-in in its place.
"""

from __future__ import annotations

import contextlib
import importlib
import importlib.metadata
import os
import site
import subprocess
import sys
from pathlib import Path
from typing import Any

_APP_PATHS = r"SOFTWARE\Microsoft\Windows\CurrentVersion\App Paths"
_32_BIT_MACHINE = 0x014C  # of the header of a program; x64 and ARM64 are the others


class ExcelProblem(Exception):
    """Why something cannot be done for Excel; the message is a plain sentence."""


class Computer:
    """What is asked of Windows, and done to files.  Methods raise `OSError` where it refuses."""

    #: Excel's VBA reads its settings in the code page of the system.
    encoding = "mbcs" if sys.platform == "win32" else "utf-8"

    @property
    def is_windows(self) -> bool:
        """Whether it runs Windows, the only system on which Excel calls Python."""
        return sys.platform == "win32"

    @property
    def python(self) -> Path:
        """The Python that runs us, and that Excel will start."""
        return Path(sys.executable)

    def folder(self, variable: str) -> Path:
        """The folder that an environment variable names; the present one if it is not set."""
        return Path(os.environ.get(variable, ""))

    def program(self, name: str) -> Path | None:
        """Where a program is registered, such as `excel.exe`."""
        winreg: Any = importlib.import_module("winreg")  # there is one on Windows only
        for hive in (winreg.HKEY_CURRENT_USER, winreg.HKEY_LOCAL_MACHINE):
            with contextlib.suppress(OSError):
                registered = winreg.QueryValue(hive, rf"{_APP_PATHS}\{name}").strip('"')
                if registered and Path(registered).is_file():
                    return Path(registered)
        return None

    def bits(self, program: Path) -> int:
        """32 or 64, from the header of the program."""
        with program.open("rb") as file:
            file.seek(0x3C)
            file.seek(int.from_bytes(file.read(4), "little") + 4)
            return 32 if int.from_bytes(file.read(2), "little") == _32_BIT_MACHINE else 64

    def runs(self, name: str) -> bool:
        """Whether a program of this name is running."""
        command = ["tasklist", "/FI", f"IMAGENAME eq {name}", "/FO", "CSV", "/NH"]
        done = subprocess.run(command, capture_output=True, check=False)
        return f'"{name}"'.encode().lower() in done.stdout.lower()

    def version(self, distribution: str) -> str:
        """Version of an installed package, or nothing."""
        with contextlib.suppress(importlib.metadata.PackageNotFoundError):
            return importlib.metadata.version(distribution)
        return ""

    def installed_for_the_user(self, distribution: str) -> bool:
        """Whether a package was installed with `--user`, outside of Python's own folders."""
        with contextlib.suppress(importlib.metadata.PackageNotFoundError):
            found = Path(str(importlib.metadata.distribution(distribution).locate_file("")))
            return found == Path(site.getusersitepackages())
        return False

    def is_file(self, path: Path) -> bool:
        """Whether there is such a file."""
        return path.is_file()

    def read(self, path: Path) -> bytes | None:
        """What a file holds; None if there is none."""
        return path.read_bytes() if path.is_file() else None

    def put(self, path: Path, content: bytes | None) -> None:
        """Give a file this content, whole or not at all; without content, remove it.

        A folder of ours (its name begins with a point) goes with its last file.
        """
        if content is None:
            path.unlink(missing_ok=True)
            if path.parent.name.startswith("."):
                with contextlib.suppress(OSError):  # it is not empty, or not there
                    path.parent.rmdir()
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        passing = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            passing.write_bytes(content)
            passing.replace(path)
        finally:
            passing.unlink(missing_ok=True)
