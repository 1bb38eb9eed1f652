"""Change one thing at a time in the arithmetic, and see whether a test notices.

    python -m fuzz.mutants [--seed N] [--count N] [--minutes M] [module ...]

Each mutant is the project with one operator, comparison or number changed in memory, on which the
tests that matter to it are run, the likeliest first, until one fails.  A mutant that no test kills
is a survivor.  Survivors that are no fault, because the change changes no answer, stand in
`fuzz/explained.toml`, each with its reason.  Status 1 if more than one in twenty survives
unexplained.
"""

from __future__ import annotations

import argparse
import ast
import copy
import gc
import importlib
import importlib.machinery
import os
import random
import re
import signal
import sys
import time
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import CodeType
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "xlfuncs"
EXPLAINED = Path(__file__).with_name("explained.toml")
MOST_SURVIVORS = 0.05
_PATIENCE = 600  # seconds for the tests of one mutant

_TOPICS = [
    f"tests/functions/test_{topic}.py"
    for topic in ("gravity_and_units", "beer", "brewday", "instruments", "volumes", "fermentation",
                  "kettle_document", "reference_solutions", "rules")
]  # fmt: skip
#: Modules that are changed, and the tests that may notice besides those of their own.
MODULES = {
    "science/*.py": ["tests/test_accuracy.py", "tests/test_reference.py", *_TOPICS],
    "cells/*.py": ["tests/test_reference.py", "tests/cells", *_TOPICS,
                   "tests/functions/test_catalogue.py"],
    "workbook/kit/formulas.py": [
        f"tests/workbook/test_{name}.py"
        for name in ("kit", "first_day", "convert", "standards", "blend", "kettle", "calibration",
                     "log", "targets")
    ],
}  # fmt: skip
#: What others hold as well and what takes long: simulations, and searches for worst cases.
_SLOW = (
    "test_never_far_from_brentq", "test_known_factors_are_recovered", "test_interval_covers",
    "test_a_plain_fall_has_no_plateau", "test_the_risk_of_each_wording", "test_anything_at_all",
    "test_stated_intervals_cover", "test_readings_ten_times_as_noisy",
)  # fmt: skip

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
_IN_FORMULA = re.compile(
    "|".join(
        rf"(?<!\w){re.escape(sign)}" if sign[0].isalpha() else re.escape(sign) for sign in _SIGNS
    )
)


@dataclass(frozen=True)
class Mutant:
    """One change: the module (its path below the package), the line, and what became of it."""

    module: str
    function: str  # that it is in; blank outside all
    line: int
    was: str
    now: str
    source: str

    @property
    def name(self) -> str:
        """How `explained.toml` calls it."""
        place = f"{self.module}, {self.function}" if self.function else self.module
        return f"{place}: {self.was} -> {self.now}"


def main() -> int:
    """1 if too many survive."""
    parser = argparse.ArgumentParser(prog="fuzz.mutants", description=__doc__.splitlines()[0])
    places = "paths below xlfuncs/, all of them if none; module:48 is line 48 of it"
    parser.add_argument("modules", nargs="*", metavar="module", help=places)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, help="at most; all of them if not given")
    parser.add_argument("--minutes", type=float, default=120.0)
    given = parser.parse_args()
    chosen = _wanted(given.modules or list(MODULES))
    known = len(chosen)
    random.Random(given.seed).shuffle(chosen)
    explained = tomllib.loads(EXPLAINED.read_text(encoding="utf-8"))["survivors"]
    chosen = chosen[: given.count]
    _load()
    start, tried, survivors, excused = time.monotonic(), 0, [], 0
    for mutant in chosen:
        if time.monotonic() - start > 60 * given.minutes:
            break
        tried += 1
        if mutant.name in explained:
            excused += 1
        elif not _survives(mutant):
            print(f"noticed: xlfuncs/{mutant.module}:{mutant.line}", flush=True)
        else:
            survivors.append(mutant)
            print(f"survives: xlfuncs/{mutant.module}:{mutant.line}", flush=True)
            print(f"  {mutant.was}\n  {mutant.now}", flush=True)
    share = len(survivors) / max(1, tried)
    print(
        f"{tried} mutants of {known} tried with seed {given.seed}: {len(survivors)} survive "
        f"({share:.0%}), {excused} more are explained"
    )
    return int(share > MOST_SURVIVORS)


def _wanted(places: list[str]) -> list[Mutant]:
    """The mutants of modules, or of single lines of them."""
    found = []
    for place in places:
        pattern, _, line = place.partition(":")
        for path in sorted(PACKAGE.glob(pattern)):
            found += [one for one in mutants(path) if line in ("", str(one.line))]
    return found


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module = path.relative_to(PACKAGE).as_posix()
    silent, formulas = set(_silent(tree)), "workbook" in path.parts
    around = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for place, node in enumerate(list(ast.walk(tree))):
        other = None if place in silent else _changed(node, formulas)
        if other is None:
            continue
        before = dict(ast.iter_fields(node))
        # A number alone says nothing: what it stands in tells it from others.
        told = around[node] if isinstance(node, ast.Constant) else node
        was = ast.unparse(told)
        vars(node).update(ast.iter_fields(other))
        now, line = ast.unparse(told), getattr(node, "lineno", 0)
        yield Mutant(module, _function(node, around), line, was, now, ast.unparse(tree))
        vars(node).update(before)


def _silent(tree: ast.AST) -> Iterator[int]:
    """Places of what no answer hangs on: annotations, docstrings, typical values."""
    spoken = set()
    for node in ast.walk(tree):
        annotations = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        alone = [node.value] if isinstance(node, ast.Expr) else []
        typical = [node.value] if isinstance(node, ast.keyword) and node.arg == "typical" else []
        for part in [*filter(None, annotations), *alone, *typical]:
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


def _function(node: ast.AST, around: Mapping[ast.AST, ast.AST]) -> str:
    """The function, or the class and its method, that a node is in; blank outside all."""
    names: list[str] = []
    while node in around:
        node = around[node]
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            names.insert(0, node.name)
    return ".".join(names)


def _survives(mutant: Mutant) -> bool:
    """Whether all tests pass, in a process forked for them, that imports the changed module."""
    child = os.fork()
    if not child:
        status = 70
        try:
            signal.alarm(_PATIENCE)  # a loop that no longer ends is noticed
            silence = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silence, 1)
            os.dup2(silence, 2)
            _replace(mutant)
            status = int(all(_pass(tests) for tests in _tests(mutant.module)))
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 1


def _load() -> None:
    """Have what all tests need in memory, and of the project nothing: that is imported changed."""
    for name in ("numpy", "scipy.optimize", "scipy.stats", "hypothesis", "openpyxl", "xlwings"):
        importlib.import_module(name)
    for path in PACKAGE.rglob("*.py"):
        _COMPILED[str(path)] = compile(path.read_bytes(), path, "exec")
    assert not any(name.partition(".")[0] in ("xlfuncs", "tests") for name in sys.modules)
    sys.dont_write_bytecode = False  # the tests themselves are compiled once
    gc.freeze()


_COMPILED: dict[str, CodeType] = {}


def _replace(mutant: Mutant) -> None:
    """From now on the changed module is imported in place of the sound one."""
    code = importlib.machinery.SourceFileLoader.get_code
    path = str(PACKAGE / mutant.module)
    compiled = {**_COMPILED, path: compile(mutant.source, path, "exec")}

    def get_code(loader: Any, name: str) -> CodeType | None:
        return compiled.get(loader.get_filename(name)) or code(loader, name)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign]


def _tests(module: str) -> list[list[str]]:
    """The tests that may notice, the likeliest first."""
    path = Path(module)
    own = Path("tests") / path.parent / f"test_{path.name}"
    name = "xlfuncs." + ".".join(path.with_suffix("").parts)
    wider = next(tests for pattern, tests in MODULES.items() if path.match(pattern))
    some = [[f"tests/test_doctests.py::test_examples[{name}]"]] * (path.parts[0] != "workbook")
    others = [
        str(other.relative_to(ROOT))
        for other in sorted((ROOT / "tests" / path.parent).glob("test_*.py"))
        if other.name != own.name and re.search(rf"\b{path.stem}\b", other.read_text("utf-8"))
    ]
    return [[str(own)]] * (ROOT / own).is_file() + some + [wider, others]


def _pass(tests: list[str]) -> bool:
    if not tests:
        return True
    slow = " or ".join(_SLOW)
    quick = ["-x", "-q", "-o", "addopts=", "-p", "no:cacheprovider", "-k", f"not ({slow})"]
    return pytest.main([*quick, *tests]) == pytest.ExitCode.OK


if __name__ == "__main__":
    os.chdir(ROOT)
    sys.exit(main())
