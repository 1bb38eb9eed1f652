"""What one benchmark states, and the clock it is taken with."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Measure:
    """One figure, and the bound it has to keep."""

    name: str
    value: float
    bound: float
    unit: str  # what the figure counts: the baseline that it is a multiple of, or a unit

    @property
    def kept(self) -> bool:
        return self.value <= self.bound

    def __str__(self) -> str:
        verdict = "" if self.kept else "  OVER THE BOUND"
        return f"{self.name:<48} {self.value:8.2f}  (≤ {self.bound:g}) {self.unit}{verdict}"


def seconds(*calls: Callable[[], object], runs: int = 15) -> list[float]:
    """Median time of each call; the calls take turns, so that a busy machine slows all alike."""
    times: list[list[float]] = [[] for _ in calls]
    for _ in range(runs):
        for call, taken in zip(calls, times, strict=True):
            start = time.perf_counter()
            call()
            taken.append(time.perf_counter() - start)
    return [median(taken) for taken in times]


def processor_seconds(*commands: Sequence[object], runs: int = 5) -> list[float]:
    """Median time that processors spend on each command; they take turns as above."""
    times: list[list[float]] = [[] for _ in commands]
    for _ in range(runs):
        for command, taken in zip(commands, times, strict=True):
            before = os.times()
            subprocess.run(list(map(str, command)), stdout=subprocess.DEVNULL, check=True)
            after = os.times()
            taken.append(after.children_user + after.children_system
                         - before.children_user - before.children_system)  # fmt: skip
    return [median(taken) for taken in times]


def peak_bytes(call: Callable[[], object]) -> int:
    """Most memory that the call holds at once, its answer included."""
    tracemalloc.start()
    call()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def in_new_python(code: str) -> Callable[[], object]:
    """A call that runs the code in an interpreter of its own."""
    return lambda: subprocess.run([sys.executable, "-c", code], check=True)
