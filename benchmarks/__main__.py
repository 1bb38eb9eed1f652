"""Run every `bench_*.py`, print each figure with its bound, and fail if one is over.

`python -m benchmarks [name...]` runs those whose name holds one of the words.
"""

import importlib
import pkgutil
import sys

import benchmarks


def main(words: list[str]) -> int:
    kept = True
    for module in pkgutil.iter_modules(benchmarks.__path__):
        if module.name.startswith("bench_") and (
            not words or any(word in module.name for word in words)
        ):
            for measure in importlib.import_module(f"benchmarks.{module.name}").measures():
                print(measure, flush=True)
                kept = kept and measure.kept
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
