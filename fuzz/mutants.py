"""Change one thing at a time in the arithmetic, and see whether a test notices.

    python -m fuzz.mutants [--seed N] [--count N] [--minutes M] [module ...]

Each mutant is a copy of the project with one operator, comparison or number changed, on which the
tests that matter to it are run: first those of its own module, then those of what is built on it.
A mutant that no test kills is a survivor.  Survivors that are no fault, because the change changes
no answer, stand in `fuzz/explained.toml`, each with its reason.  Status 1 if more than one in
twenty survives unexplained.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "xlfuncs"
EXPLAINED = Path(__file__).with_name("explained.toml")
MOST_SURVIVORS = 0.05
_PATIENCE = 3600  # seconds for the tests of one mutant

#: Modules that are changed, and the tests of what is built on them.
MODULES = {
    "science/*.py": ["tests/science", "tests/functions", "tests/test_doctests.py"],
    "cells/*.py": ["tests/cells", "tests/functions", "tests/test_doctests.py"],
    "workbook/kit/formulas.py": ["tests/workbook"],
}

_OTHER = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip

# What a spreadsheet's formula says in the text of a program.
_SIGNS = {
    "<=": "<", ">=": ">", "<>": "=", "<": "<=", ">": ">=", "+": "-", "*": "/", "/": "*",
    "AND(": "OR(", "OR(": "AND(", "MIN(": "MAX(", "MAX(": "MIN(", "=1": "=2", ",0)": ",1)",
}  # fmt: skip
_IN_FORMULA = re.compile("|".join(map(re.escape, _SIGNS)))


@dataclass(frozen=True)
class Mutant:
    """One change: the module (its path below the package), the line, and what became of it."""

    module: str
    line: int
    was: str
    now: str
    source: str

    @property
    def name(self) -> str:
        """How `explained.toml` calls it."""
        return f"{self.module}: {self.was} -> {self.now}"


def main() -> int:
    """1 if too many survive."""
    parser = argparse.ArgumentParser(prog="fuzz.mutants", description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", help="paths below xlfuncs/; all of them if none")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--minutes", type=float, default=120.0)
    given = parser.parse_args()
    chosen = [mutant for module in _modules(given.modules) for mutant in mutants(module)]
    random.Random(given.seed).shuffle(chosen)
    explained = tomllib.loads(EXPLAINED.read_text(encoding="utf-8"))["survivors"]
    start, tried, survivors, excused = time.monotonic(), 0, [], 0
    with tempfile.TemporaryDirectory() as folder:
        copied = _copied(Path(folder))
        for mutant in chosen[: given.count]:
            if time.monotonic() - start > 60 * given.minutes:
                break
            tried += 1
            if mutant.name in explained:
                excused += 1
            elif not _survives(mutant, copied):
                print(f"noticed: xlfuncs/{mutant.module}:{mutant.line}", flush=True)
            else:
                survivors.append(mutant)
                print(f"survives: xlfuncs/{mutant.module}:{mutant.line}", flush=True)
                print(f"  {mutant.was}\n  {mutant.now}", flush=True)
    share = len(survivors) / max(1, tried)
    print(
        f"{tried} mutants of {len(chosen)} tried with seed {given.seed}: {len(survivors)} survive "
        f"({share:.0%}), {excused} more are explained"
    )
    return int(share > MOST_SURVIVORS)


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    silent, formulas = set(_silent(tree)), "workbook" in path.parts
    for place, node in enumerate(ast.walk(tree)):
        if place in silent or _changed(node, formulas) is None:
            continue
        other = copy.deepcopy(tree)
        target = next(found for i, found in enumerate(ast.walk(other)) if i == place)
        for field, value in ast.iter_fields(_changed(target, formulas)):
            setattr(target, field, value)
        was, now = ast.unparse(node), ast.unparse(target)
        module = path.relative_to(PACKAGE).as_posix()
        yield Mutant(module, getattr(node, "lineno", 0), was, now, ast.unparse(other))


def _silent(tree: ast.AST) -> Iterator[int]:
    """Places of what Python does not compute: annotations and docstrings."""
    spoken = set()
    for node in ast.walk(tree):
        annotations = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        alone = [node.value] if isinstance(node, ast.Expr) else []
        for part in [*filter(None, annotations), *alone]:
            if part in alone and not isinstance(part, ast.Constant):
                continue
            spoken |= {id(found) for found in ast.walk(part)}
    return (place for place, node in enumerate(ast.walk(tree)) if id(node) in spoken)


def _changed(node: ast.AST, formulas: bool) -> ast.AST | None:
    """What a node may become; None if it is left alone.  `formulas`: its texts are formulas."""
    new = copy.copy(node)
    match node:
        case ast.BinOp() | ast.BoolOp() if type(node.op) in _OTHER:
            new.op = _OTHER[type(node.op)]()
        case ast.Compare() if type(node.ops[0]) in _OTHER:
            new.ops = [_OTHER[type(node.ops[0])](), *node.ops[1:]]
        case ast.UnaryOp(op=ast.USub()):
            new.op = ast.UAdd()
        case ast.Constant() if type(node.value) is float:
            new.value = node.value * 1.1 or 1.0
        case ast.Constant() if type(node.value) is int:
            new.value = node.value + 1
        case ast.Constant() if type(node.value) is str and formulas:
            new.value = _IN_FORMULA.sub(lambda found: _SIGNS[found[0]], node.value, count=1)
            return new if new.value != node.value else None
        case _:
            return None
    return new


def _modules(wanted: list[str]) -> list[Path]:
    patterns = wanted or list(MODULES)
    return sorted(path for pattern in patterns for path in PACKAGE.glob(pattern))


def _copied(folder: Path) -> Path:
    """A copy of the project that a mutant can be written into."""
    for name in ("xlfuncs", "tests", "workbooks", "docs", "fuzz", "benchmarks"):
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name)
    for file in ROOT.glob("*.*"):
        if file.is_file():
            shutil.copy(file, folder)
    return folder


def _survives(mutant: Mutant, project: Path) -> bool:
    path = project / "xlfuncs" / mutant.module
    before = path.read_text(encoding="utf-8")
    path.write_text(mutant.source, encoding="utf-8")
    try:
        return all(_pass(project, tests) for tests in _tests(mutant.module))
    finally:
        path.write_text(before, encoding="utf-8")


def _tests(module: str) -> list[list[str]]:
    """The tests that may notice, the likeliest first."""
    path = Path(module)
    own = Path("tests") / path.parent / f"test_{path.name}"
    wider = next(tests for pattern, tests in MODULES.items() if path.match(pattern))
    return [[str(own)]] * (ROOT / own).is_file() + [wider]


def _pass(project: Path, tests: list[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-n", "0"]
    try:
        done = subprocess.run(
            [*command, *tests],
            cwd=project,
            env={**os.environ, "PYTHONPATH": str(project), "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            check=False,
            timeout=_PATIENCE,
        )
    except subprocess.TimeoutExpired:  # a loop that no longer ends is noticed
        print(f"  (not done after {_PATIENCE} s: {' '.join(tests)})", flush=True)
        return False
    return done.returncode == 0


if __name__ == "__main__":
    sys.exit(main())
