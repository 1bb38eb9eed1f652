"""The wheel holds all it needs: it is built from a copy of the tree that is then thrown away."""

import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from xlfuncs import __version__

REPOSITORY = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    tree = folder / "tree"
    shutil.copytree(
        REPOSITORY / "xlfuncs", tree / "xlfuncs", ignore=shutil.ignore_patterns("__pycache__")
    )
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(REPOSITORY / name, tree)
    pip("wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", folder, tree)
    shutil.rmtree(tree)
    [made] = folder.glob("*.whl")
    return made


def pip(*arguments):
    command = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", "--no-input"]
    subprocess.run([*command, *arguments], check=True, capture_output=True, timeout=120)


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """Runs what a fresh environment has, in which the wheel is installed.

    Its dependencies are those of the environment that runs the tests; a folder that is named so
    brings its packages, but not the one that is installed there from this tree.
    """
    folder = tmp_path_factory.mktemp("fresh")
    environment = folder / "environment"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", environment], check=True)
    scripts = environment / ("Scripts" if os.name == "nt" else "bin")
    pip("--python", scripts / "python", "install", "--no-deps", "--no-index", wheel)
    [packages] = environment.rglob("site-packages")
    (packages / "dependencies.pth").write_text(sysconfig.get_path("purelib"), encoding="utf-8")

    def run(program, *arguments):
        clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
        done = subprocess.run(
            [scripts / program, *arguments],
            cwd=folder, env=clean, capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    run.folder = folder
    return run


def test_its_name_and_that_all_modules_are_in_it(wheel):
    assert wheel.name == f"xlfuncs-{__version__}-py3-none-any.whl"
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if name.startswith("xlfuncs/")}
    assert held == {
        path.relative_to(REPOSITORY).as_posix()
        for path in (REPOSITORY / "xlfuncs").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.mark.parametrize("page", ["README.md", "docs/excel.md"])
def test_the_pages_name_it(wheel, page):
    assert wheel.name in (REPOSITORY / page).read_text(encoding="utf-8")


def test_it_is_what_is_imported(installed):
    said = installed("python", "-c", "import xlfuncs; print(xlfuncs.__file__)")
    assert Path(said.strip()).is_relative_to(installed.folder)


def test_the_commands_work(installed):
    assert installed("xlfuncs", "version").strip() == __version__
    assert "WORT_SG" in installed("xlfuncs", "functions")
    installed("xlfuncs", "new", "brew.xlsm", "--rows", "20")
    installed("xlfuncs", "addin", "xlfuncs.xlam")
    assert "cells fixed" in installed("xlfuncs", "freeze", "brew.xlsm", "-o", "frozen.xlsx")


def test_what_spreadsheets_load_is_there(installed):
    code = (
        "from xlfuncs import udfs; from xlfuncs.hosts.calc import addin, session;"
        "addin.build('xlfuncs.oxt', None); assert session._DRIVER.is_file();"
        "print(udfs.WORT_SG(12.4))"
    )
    assert float(installed("python", "-c", code)) == pytest.approx(1.04806, abs=1e-5)
    assert (installed.folder / "xlfuncs.oxt").is_file()
