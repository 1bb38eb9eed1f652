"""The attacks of `make fuzz` and the mutants of `make mutants` run: a few of each, every time."""

import ast
import itertools
import random
import re
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


@pytest.mark.parametrize(("source", "changes"), [
    ("_NUDGE = 1e-3", []),
    ("f(x, start=2 * y)", []),
    ("def _near_plato(sg):\n    return 258 * sg", []),
    ("near = x <= limit + hair", ["limit - hair"]),
    ("far = x > limit", ["x >= limit"]),
    ("steady = days[-1] - days >= STEADY_DAYS", ["days[-1] + days", "+1", "-2", "> STEADY_DAYS"]),
    ("far = apart > np.sqrt(u) * 3.0", ["<= np.sqrt", "np.sqrt(u) / 3.0", "3.3"]),
    ("solve(f, x, steps=3)", ["steps=2"]),
    ("def solve(f, steps: int = 3) -> float: ...", ["steps: int=2"]),
    ("def solve(f, start: float = 3.0) -> float: ...", []),
])  # fmt: skip
def test_no_mutant_that_no_test_could_notice(source, changes, tmp_path, monkeypatch):
    monkeypatch.setattr(mutants, "PACKAGE", tmp_path)
    path = tmp_path / "science" / "some.py"
    path.parent.mkdir()
    path.write_text(source, encoding="utf-8")
    made = [mutant.now for mutant in mutants.mutants(path)]
    assert len(made) == len(changes), made
    assert all(any(change in now for now in made) for change in changes), made


def test_conditions_of_a_formula_are_added_not_divided(tmp_path, monkeypatch):
    monkeypatch.setattr(mutants, "PACKAGE", tmp_path)
    path = tmp_path / "workbook" / "some.py"
    path.parent.mkdir()
    path.write_text('f"IFERROR(ISNUMBER({a})*({a}<2),0)"\nf"{a}*{b}"', encoding="utf-8")
    made = [mutant.now for mutant in mutants.mutants(path)]
    assert [now for now in made if "+" in now] == ["f'IFERROR(ISNUMBER({a})+({a}<2),0)'"]
    assert [now for now in made if "/" in now] == ["f'{a}/{b}'"]


def test_every_explained_mutant_exists():
    """And is explained in words."""
    explained = mutants.explained()
    modules = {re.match(r"[\w/]+\.py", name)[0] for name in explained}
    assert set(explained) <= {mutant.name for mutant in mutants.everywhere(modules)}
    assert all(len(reason.split()) > 4 for reason in explained.values())


@pytest.mark.parametrize(
    ("survivors", "explained", "status"), [(0, 0, 0), (1, 1, 0), (1, 0, 1), (2, 2, 1)]
)
def test_explained_survivors_count(survivors, explained, status, monkeypatch, capsys):
    """One of twenty may survive, and only with its reason."""
    made = mutants.everywhere(["science/water.py"])[:20]
    surviving = {mutant.name for mutant in made[:survivors]}
    assert len({mutant.name for mutant in made}) == 20
    monkeypatch.setattr(mutants, "_load", lambda: None)
    monkeypatch.setattr(mutants, "everywhere", lambda places: list(made))
    monkeypatch.setattr(mutants, "_survives", lambda mutant: mutant.name in surviving)
    reasons = {mutant.name: "because" for mutant in made[:explained]}
    monkeypatch.setattr(mutants, "explained", lambda: reasons)
    monkeypatch.setattr(sys, "argv", ["fuzz.mutants"])
    assert mutants.main() == status
    assert f"{survivors} survive" in capsys.readouterr().out
