"""The attacks of `make fuzz` and the mutants of `make mutants` run: a few of each, every time."""

import ast
import itertools
import random
import subprocess
import sys

import pytest

from fuzz import files, functions, mutants
from fuzz.failure import Failure


@pytest.mark.parametrize(("attack", "count"), [(functions.attack, 2000), (files.attack, 6)])
def test_nothing_gets_through(attack, count):
    tried = list(itertools.islice(attack(random.Random(17)), count))
    assert len(tried) == count
    assert [failure for failure in tried if failure is not None] == []


def test_a_fault_is_seen_and_becomes_a_test(tmp_path, monkeypatch):
    def broken(*arguments):
        raise ZeroDivisionError("float division by zero")

    failure = functions.failure("WORT_SG", [12.4], broken)
    assert failure.what == "WORT_SG raises ZeroDivisionError: float division by zero"
    path = failure.written(tmp_path, "functions_1_1")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", path],
        capture_output=True,
        text=True,
        check=False,
    )
    # WORT_SG itself is sound, so the test that was written runs and passes.
    assert done.returncode == 0, done.stdout


def test_the_same_fault_is_one_kind():
    one, other = (Failure(f"{name} raises ValueError: row {row}", "") for name, row in
                  (("BEER_SG", 3), ("WORT_SG", 14)))  # fmt: skip
    assert one.kind == other.kind
    assert one.kind != Failure("BEER_SG raises TypeError: row 3", "").kind


def test_a_mutant_differs_in_one_place():
    path = mutants.PACKAGE / "science" / "wort.py"
    made = list(mutants.mutants(path))
    assert len(made) > 20
    sound = ast.unparse(ast.parse(path.read_text(encoding="utf-8"))).splitlines()
    for mutant in made:
        lines = mutant.source.splitlines()
        assert len(lines) == len(sound)
        assert sum(one != other for one, other in zip(lines, sound, strict=True)) == 1
