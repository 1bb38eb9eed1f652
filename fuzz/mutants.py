"""Change one thing at a time in the arithmetic, and see whether a test notices.

    python -m fuzz.mutants [--seed N] [--count N] [--minutes M] [module ...]

Each mutant is the project with one operator, comparison or number changed in memory, on which the
tests that matter to it are run, the likeliest first, until one fails.  A mutant that no test kills
is a survivor.  Each has to stand in `fuzz/explained.toml` with its reason, and counts all the same:
status 1 if more than one in twenty survives, or one that is not explained.

A change that no test could notice says nothing of the tests.  So that few of these are made:

- What a number says for others only is left alone: annotations, docstrings, typical values.
- So is what no answer hangs on, by the name that declares it (`_FREE`): where an iteration starts,
  how near is near enough for it, how wide a hair of rounding is.  `tests/science/test_freedom.py`
  holds that answers do not hang on it.
- A comparison with such a hair is not made strict, or less so: on the limit itself the hair
  decides.  (That it is added, not taken away, is tried.)
- A comparison with a limit that is reckoned (a product, a power, a call) is turned round, not made
  strict: on such a limit figures lie by their last bit only.
- A number of steps, or the degree of a fit, becomes one less: one more leads only nearer still.
- Conditions that a formula joins by `*` inside IFERROR(…,0) are added, not divided: a condition
  that fails would be divided by, and the error counts as the same 0.
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
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import CodeType
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "xlfuncs"
EXPLAINED = Path(__file__).with_name("explained.toml")
MOST_SURVIVORS = 0.05
_PATIENCE = 200  # seconds of processor time for the tests of one mutant

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

#: How near counts as equal or as enough, by the names that declare it (small letters, no `_`).
_HAIRS = {
    "hair": "what rounding may add to a figure or take away",
    "same_sg": "a thousandth of a point, which nobody can read",
    "settled": "a step so small is the last: the next is of the order of its square",
    "converged": "the same for the beer of a refractometer",
    "not_more": "rounding of a sum of squares",
    "block": "how many elements are worked on at once",
}
#: What else no answer hangs on; and what is called `_near_…`, functions too: only for starts.
_FREE = {
    **_HAIRS,
    "typical": "an example of a good value",
    "start": "where an iteration starts that ends at one place",
    "halvings": "each one is a binary digit",
    "nudge": "half of what lies between the two sides of a slope",
    "most_steps": "an end for an iteration that has none",
    "most_halvings": "an end for an iteration that has none",
}
#: Of these one less is tried.
_COUNTS = ("steps", "degree")

_TURNED = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt}
#: Calls that leave a figure as exact as it was.
_EXACT = ("abs", "asarray", "float", "int", "len", "max", "min")

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
    """1 if too many survive, or one that is not explained."""
    parser = argparse.ArgumentParser(prog="fuzz.mutants", description=__doc__.splitlines()[0])
    places = "paths below xlfuncs/, all of them if none; module:48 is line 48 of it"
    parser.add_argument("modules", nargs="*", metavar="module", help=places)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, help="at most; all of them if not given")
    parser.add_argument("--minutes", type=float, default=120.0)
    given = parser.parse_args()
    chosen = everywhere(given.modules or MODULES)
    known = len(chosen)
    random.Random(given.seed).shuffle(chosen)
    reasons = explained()
    chosen = chosen[: given.count]
    _load()
    start, tried, survivors, gaps = time.monotonic(), 0, 0, 0
    for mutant in chosen:
        if time.monotonic() - start > 60 * given.minutes:
            break
        tried += 1
        reason = reasons.get(mutant.name)
        if reason is None and not _survives(mutant):
            print(f"noticed: xlfuncs/{mutant.module}:{mutant.line}", flush=True)
            continue
        survivors, gaps = survivors + 1, gaps + (reason is None)
        print(f"survives: xlfuncs/{mutant.module}:{mutant.line}, {reason or 'why?'}", flush=True)
        print(f"  {mutant.was}\n  {mutant.now}", flush=True)
    share = survivors / max(1, tried)
    print(
        f"{tried} mutants of {known} tried with seed {given.seed}: {survivors} survive "
        f"({share:.1%}), {gaps} of them not explained"
    )
    return int(share > MOST_SURVIVORS or gaps > 0)


def explained() -> Mapping[str, str]:
    """Names of the mutants that may survive, and why."""
    survivors: dict[str, str] = tomllib.loads(EXPLAINED.read_text(encoding="utf-8"))["survivors"]
    return survivors


def everywhere(places: Iterable[str]) -> list[Mutant]:
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
    silent = _silent(tree)
    signs = dict.fromkeys(ast.walk(tree), _SIGNS) if "workbook" in path.parts else {}
    for text in _joined(tree):
        signs[text] = {**_SIGNS, "*": "+"}
    named = [pair for node in ast.walk(tree) for pair in _named(node)]
    counts = {value for name, value in named if _plain(name) in _COUNTS}
    around = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        other = None if node in silent else _changed(node, signs.get(node), node in counts)
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


def _silent(tree: ast.AST) -> set[ast.AST]:
    """What no answer hangs on: annotations, docstrings, and what `_FREE` declares."""
    silent: set[ast.AST] = set()
    for node in ast.walk(tree):
        parts = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            parts.append(node.value)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("_near_"):
            parts.append(node)
        parts += [
            value for name, value in _named(node)
            if _plain(name) in _FREE or name.lower().startswith("_near_")
        ]  # fmt: skip
        silent.update(found for part in parts if part is not None for found in ast.walk(part))
    return silent


def _named(node: ast.AST) -> Iterator[tuple[str, ast.expr]]:
    """Each value that is given a name here, private or not: arguments and variables."""
    match node:
        case ast.keyword(arg=str(name), value=value):
            yield name, value
        case ast.Assign(targets=[ast.Name(id=name)], value=value):
            yield name, value
        case ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value):
            yield name, value
        case ast.arguments(args=given, defaults=values):
            for argument, value in zip(given[len(given) - len(values) :], values, strict=True):
                yield argument.arg, value


def _plain(name: str) -> str:
    return name.lstrip("_").lower()


def _reckoned(comparison: ast.Compare) -> bool:
    """Whether one side is a figure that only arithmetic makes, and the other no given number."""
    sides = [comparison.left, *comparison.comparators]
    given = (
        isinstance(side, ast.Constant) or (isinstance(side, ast.Name) and side.id.isupper())
        for side in sides
    )
    return not any(given) and any(
        isinstance(getattr(part, "op", None), (ast.Mult, ast.Div, ast.Pow))
        or (isinstance(part, ast.Call) and ast.unparse(part.func).split(".")[-1] not in _EXACT)
        for side in sides
        for part in ast.walk(side)
    )


def _joined(tree: ast.AST) -> Iterator[ast.AST]:
    """Texts of conditions joined by `*` in a formula that is 0 where they are an error."""
    for node in ast.walk(tree):
        match node:
            case ast.JoinedStr(values=[ast.Constant(value=first), *_, ast.Constant(value=last)]):
                if str(first).startswith("IFERROR(") and str(last).endswith(",0)"):
                    yield from node.values


def _changed(node: ast.AST, signs: Mapping[str, str] | None, counts: bool) -> ast.AST | None:
    """What a node may become; None if it is left alone.

    `signs`: what becomes of them in a text, if it is of a formula; `counts`: it is such a number.
    """
    new = copy.copy(node)
    match node:
        case ast.Compare(ops=[ast.Lt() | ast.LtE() | ast.Gt() | ast.GtE()]) if any(
            isinstance(part, ast.Name) and _plain(part.id) in _HAIRS for part in ast.walk(node)
        ):
            return None
        case ast.Compare(ops=[sign]) if type(sign) in _TURNED and _reckoned(node):
            new.ops = [_TURNED[type(sign)]()]
        case ast.BinOp() | ast.BoolOp() if type(node.op) in _OTHER:
            new.op = _OTHER[type(node.op)]()
        case ast.Compare() if type(node.ops[0]) in _OTHER:
            new.ops = [_OTHER[type(node.ops[0])](), *node.ops[1:]]
        case ast.UnaryOp(op=ast.USub()):
            new.op = ast.UAdd()
        case ast.Constant() if type(node.value) is float:
            new.value = node.value * 1.1 or 1.0
        case ast.Constant() if type(node.value) is int:
            new.value = node.value - 1 if counts else node.value + 1
        case ast.Constant() if type(node.value) is str and signs:
            new.value = _IN_FORMULA.sub(lambda found: signs[found[0]], node.value, count=1)
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
            signal.setitimer(signal.ITIMER_PROF, _PATIENCE)  # a loop that no longer ends is noticed
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
