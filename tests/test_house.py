"""Who may know whom: each package is imported with the forbidden ones out of reach."""

import itertools
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import xlfuncs

ROOT = Path(xlfuncs.__file__).parent

#: Package -> parts of the project it may import (besides itself), other libraries it may need.
MAY_KNOW = {
    "science": ((), {"numpy"}),
    "cells": (("science",), {"numpy"}),
    "functions": (("science", "cells"), {"numpy"}),
    "files": (("science", "cells"), None),
    "plain": (("science", "cells", "functions", "files"), None),
    "hosts": (("science", "cells", "functions", "files"), None),
    "hosts.embedded": (("science", "cells", "functions", "files"), None),
    "workbook": (("science", "cells", "functions", "files", "plain"), None),
    "workbook.kit": (("science", "cells", "files", "workbook.defaults", "workbook.words"), None),
    "workbook.sheets": (
        (
            "science",
            "cells",
            "functions",
            "files",
            "workbook.kit",
            "workbook.defaults",
            "workbook.words",
            "workbook.quantities",
            "workbook.slopes",
        ),
        None,
    ),
    "report": (("science", "cells", "functions", "files", "plain", "workbook", "terminal"), None),
    "audit": (("science", "cells", "functions", "files", "plain", "workbook", "terminal"), None),
    "records": (
        ("science", "cells", "functions", "files", "plain", "workbook", "audit", "terminal"),
        None,
    ),
    "history": (
        ("science", "cells", "functions", "files", "plain", "workbook", "audit", "terminal"),
        None,
    ),
    "shop": (
        ("science", "cells", "functions", "files", "plain", "workbook", "audit", "records"),
        None,
    ),
}

IMPORT_ALL = """
import importlib, importlib.abc, pkgutil, sys

package, allowed, libraries = sys.argv[1], sys.argv[2].split(), sys.argv[3].split()
for library in libraries:  # what these load is theirs
    importlib.import_module(library)
at_start = set(sys.modules)

class Guard(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        part = name.removeprefix("xlfuncs.")
        known = any(
            (part + ".").startswith(one + ".") or (one + ".").startswith(part + ".")
            for one in (package, *allowed)
        )
        if name.startswith("xlfuncs.") and not known:
            raise ImportError(f"xlfuncs.{package} must not import {name}")

sys.meta_path.insert(0, Guard())
root = importlib.import_module("xlfuncs." + package)
for module in pkgutil.walk_packages(root.__path__, root.__name__ + "."):
    importlib.import_module(module.name)
print(*{name.split(".")[0] for name in set(sys.modules) - at_start} - sys.stdlib_module_names)
"""


def _run(code, *arguments):
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


@pytest.mark.parametrize("package", MAY_KNOW)
def test_arrows(package):
    parts, libraries = MAY_KNOW[package]
    loaded = _run(IMPORT_ALL, package, " ".join(parts), " ".join(libraries or ()))
    if libraries is not None:
        assert loaded <= libraries | {"xlfuncs"}


def test_every_package_has_its_arrows():
    packages = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    assert packages == {name for name in MAY_KNOW if "." not in name}
    assert all((ROOT / name.replace(".", "/") / "__init__.py").is_file() for name in MAY_KNOW)


def test_nobody_knows_the_command_line_and_the_terminal_knows_how_cells_look():
    """`terminal` prints what it is given: of the project it knows only what makes text visible."""
    modules = {path: path.read_text("utf-8") for path in ROOT.rglob("*.py")}
    importing = re.compile(
        r"^\s*(?:from|import) (xlfuncs[\w.]*)(?: import ([\w, ]+))?", re.MULTILINE
    )
    known = {
        path: {name if not parts else f"{name}.{part.strip()}"
               for name, parts in importing.findall(text) for part in (parts or "-").split(",")}
        for path, text in modules.items()
    }  # fmt: skip
    assert {path.name for path, names in known.items() if "xlfuncs.cli" in names
            or any(one.startswith("xlfuncs.cli.") for one in names)} == {"__main__.py"}  # fmt: skip
    assert known[ROOT / "terminal.py"] == {"xlfuncs.cells.values.visible"}


def test_the_guard_guards():
    with pytest.raises(AssertionError, match=r"must not import xlfuncs\.science"):
        _run(IMPORT_ALL, "cells", "", "")
    with pytest.raises(AssertionError, match=r"must not import xlfuncs\.workbook\.words"):
        _run(
            IMPORT_ALL,
            "workbook.sheets",
            "science cells files functions workbook.kit workbook.defaults workbook.slopes",
            "",
        )


@pytest.mark.parametrize("module", ["xlfuncs.udfs", "xlfuncs.functions"])
def test_a_function_server_starts_light(module):
    loaded = _run(f"import sys, {module}; print(*sys.modules)")
    assert module in loaded
    assert not {"scipy", "openpyxl", "formulas", "click", "rich"} & loaded


def test_udfs_holds_the_catalogue_and_nothing_else():
    from xlfuncs import udfs
    from xlfuncs.functions import CATALOGUE

    assert {name for name in dir(udfs) if not name.startswith("_")} == CATALOGUE.keys()


def test_the_project_does_not_speak_of_where_it_was_made():
    places = re.compile(
        "|".join(["/wo" + "rk/", r"\.\./sha" + "red", r"\.lib" + "rary", "far" + "m-"])
    )
    texts = [
        path
        for pattern in ("**/*.py", "**/*.md", "**/*.csv", "*.toml", "Makefile")
        for path in ROOT.parent.glob(pattern)
        if not {".venv", "build", ".git"} & set(path.relative_to(ROOT.parent).parts)
    ]
    assert len(texts) > 50
    assert not [path for path in texts if places.search(path.read_text(encoding="utf-8"))]


def test_the_lock_file_has_every_package_that_is_asked_for():
    """Of the project, its tests and its documents, each with its hashes: `make lock`."""
    project = tomllib.loads((ROOT.parent / "pyproject.toml").read_text("utf-8"))["project"]
    asked = [*project["dependencies"], *itertools.chain(*project["optional-dependencies"].values())]
    names = {re.split(r"[<>=!~\[]", need)[0].lower() for need in asked}
    lock = (ROOT.parent / "requirements.lock").read_text("utf-8")
    locked = re.findall(r"^([\w.-]+)==\S+ \\\n    --hash=sha256:", lock, re.MULTILINE)
    assert len(locked) == len(re.findall("==", lock))
    assert names - {name.lower() for name in locked} == set()
