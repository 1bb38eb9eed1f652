"""Run attacks, print what was tried, and leave each failure as a test.

    python -m fuzz [--seed N] [--minutes M] [--share S] [attack ...]

Each attack has a count that makes it complete; `--share` asks for a part of it, `--minutes` ends
each after a time.  The same seed tries the same cases.  Failures are written to `build/fuzz/`, each
as a test that fails until the fault is mended; move it into `tests/` with the mending.
"""

from __future__ import annotations

import argparse
import collections
import random
import sys
import time
from pathlib import Path

from fuzz import cells, files, functions, programs
from fuzz.failure import Attack

#: The attacks, and the number of cases that makes each complete.
ATTACKS: dict[str, tuple[Attack, int]] = {
    "functions": (functions.attack, 1_000_000),
    "files": (files.attack, 500),
    "cells": (cells.attack, 2_000),
    "kills": (programs.kills, 200),
    "together": (programs.four_at_once, 50),
    "full": (programs.full_disk, 50),
}
FOUND = Path("build/fuzz")


def main() -> int:
    """1 if anything failed."""
    parser = argparse.ArgumentParser(prog="fuzz", description=__doc__.splitlines()[0])
    parser.add_argument("attacks", nargs="*", choices=[[], *ATTACKS], default=[])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0, help="at most, for each attack")
    parser.add_argument("--share", type=float, default=1.0, help="of the complete count")
    given = parser.parse_args()
    failed = 0
    for name in given.attacks or ATTACKS:
        attack, complete = ATTACKS[name]
        failed += run(
            name, attack, given.seed, max(1, round(complete * given.share)), given.minutes
        )
    return int(failed > 0)


def run(name: str, attack: Attack, seed: int, count: int, minutes: float) -> int:
    """How many cases of an attack failed; the first of each kind is left as a test."""
    start, tried = time.monotonic(), 0
    failed: collections.Counter[str] = collections.Counter()
    try:
        for failure in attack(random.Random(f"{name} {seed}")):
            if tried >= count or time.monotonic() - start > 60 * minutes:
                break
            tried += 1
            if failure is not None:
                failed[failure.kind] += 1
                if failed[failure.kind] > 1:
                    continue
                path = failure.written(FOUND, f"{name}_{seed}_{tried}")
                print(f"  {failure.what}\n  as a test: {path}", flush=True)
    finally:  # ended by hand too
        seconds, total = time.monotonic() - start, failed.total()
        print(
            f"{name}: {tried:,} tried with seed {seed} in {seconds:.0f} s, "
            f"{total} failed in {len(failed)} ways",
            flush=True,
        )
    return total


if __name__ == "__main__":
    sys.exit(main())
