"""Programs that are killed, that run at once, that find no room: no file is lost or cut short."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

from fuzz.failure import Failure

EXAMPLE = Path(__file__).parents[1] / "workbooks" / "brewday-example.xlsx"


def kills(dice: random.Random) -> Iterator[Failure | None]:
    """`calculate` is killed at any moment; the next run finds a sound file and tidies up."""
    with tempfile.TemporaryDirectory() as folder:
        path = _fresh(folder)
        started = time.monotonic()
        _started(path).wait()
        whole = time.monotonic() - started
        while True:
            process = _started(path)
            delay = dice.uniform(0, whole * 1.1)
            time.sleep(delay)
            process.kill()
            process.wait()
            wrong = _unsound(path)
            if not wrong and dice.random() < 0.1:
                _started(path).wait()
                left = sorted(found.name for found in path.parent.iterdir())
                wrong = "" if left == [path.name] else f"{left} are there after the next run"
            yield _failure(wrong, f"killed after {delay:.3f} s")
            if wrong:
                path = _fresh(folder)


def four_at_once(dice: random.Random) -> Iterator[Failure | None]:
    """Four runs on one file: each is done or says that the file has changed."""
    with tempfile.TemporaryDirectory() as folder:
        while True:
            path = _fresh(folder)
            running = []
            for _ in range(4):
                running.append(_started(path))
                time.sleep(dice.uniform(0, 0.3))
            said = [process.communicate()[1] for process in running]
            states = [process.returncode for process in running]
            wrong = _unsound(path)
            if not wrong and 0 not in states:
                wrong = f"none of the four was done: {said}"
            if not wrong and any("Traceback" in text for text in said):
                wrong = f"a traceback: {said}"
            left = sorted(found.name for found in path.parent.iterdir())
            if not wrong and left != [path.name]:
                wrong = f"{left} are there afterwards"
            yield _failure(wrong, "four at once")


def full_disk(dice: random.Random) -> Iterator[Failure | None]:
    """A disk that is full after so many bytes: one sentence, and the old file."""
    with tempfile.TemporaryDirectory() as folder:
        while True:
            path = _fresh(folder)
            before = path.read_bytes()
            room = dice.randrange(len(before))
            process = _started(path, room)
            said = process.communicate()[1]
            wrong = ""
            if path.read_bytes() != before:
                wrong = "the file was changed"
            elif process.returncode != 2 or "cannot be written" not in said:
                wrong = f"status {process.returncode}: {said}"
            elif sorted(found.name for found in path.parent.iterdir()) != [path.name]:
                wrong = "something was left behind"
            yield _failure(wrong, f"room for {room} bytes")


def _fresh(folder: str) -> Path:
    place = Path(folder) / "work"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    return Path(shutil.copy(EXAMPLE, place / "log.xlsx"))


_PROGRAM = "from xlfuncs.cli import main; main()"
# A limit to what a process may write, for want of a disk that is full.
_LIMITED = f"""
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv.pop(1)),) * 2)
{_PROGRAM}
"""


def _started(path: Path, room: int | None = None) -> subprocess.Popen[str]:
    command = [sys.executable, "-c"]
    command += [_PROGRAM] if room is None else [_LIMITED, str(room)]
    return subprocess.Popen(
        [*command, "calculate", str(path)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )


def _unsound(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            broken = archive.testzip()
    except Exception as error:  # gone, half written
        return f"{type(error).__name__}: {error}"
    return f"{broken} is damaged" if broken else ""


def _failure(wrong: str, how: str) -> Failure | None:
    if not wrong:
        return None
    return Failure(
        f"{how}: {wrong}"[:300],
        "# A matter of moments: run `python -m fuzz` again.\nraise AssertionError",
    )
