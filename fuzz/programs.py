"""Programs that are killed, that run at once, that find no room: no file is lost or cut short.

Each program is a process of its own, forked when all that it needs is loaded.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

from fuzz import example
from fuzz.failure import Failure
from xlfuncs import cli


def kills(dice: random.Random) -> Iterator[Failure | None]:
    """`calculate` is killed at any moment; the next run finds a sound file and tidies up.

    Every other one is killed while it writes, which is a short part of its time.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = _fresh(folder)
        started = time.monotonic()
        _Run(path).wait()
        whole = time.monotonic() - started
        while True:
            run = _Run(path)
            if dice.random() < 0.5:
                run.wait_for_writing()
                delay = dice.uniform(0, 0.05)
                time.sleep(delay)
                how = f"killed {delay:.4f} s after it began to write"
            else:
                delay = dice.uniform(0, whole * 1.1)
                time.sleep(delay)
                how = f"killed after {delay:.3f} s"
            run.kill()
            wrong = _unsound(path)
            if not wrong and dice.random() < 0.1:
                _Run(path).wait()
                left = _names(path.parent)
                wrong = "" if left == [path.name] else f"{left} are there after the next run"
            yield _failure(wrong, how)
            if wrong:
                path = _fresh(folder)


def four_at_once(dice: random.Random) -> Iterator[Failure | None]:
    """Four runs on one file: each is done or says that the file has changed."""
    with tempfile.TemporaryDirectory() as folder:
        while True:
            path = _fresh(folder)
            running = []
            for _ in range(4):
                running.append(_Run(path))
                time.sleep(dice.uniform(0, 0.3))
            states = [run.wait() for run in running]
            said = [run.said() for run in running]
            wrong = _unsound(path)
            if not wrong and 0 not in states:
                wrong = f"none of the four was done: {said}"
            if not wrong and any("Traceback" in text for text in said):
                wrong = f"a traceback: {said}"
            left = _names(path.parent)
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
            run = _Run(path, room)
            state, said = run.wait(), run.said()
            wrong = ""
            if path.read_bytes() != before:
                wrong = "the file was changed"
            elif state != 2 or "cannot be written" not in said:
                wrong = f"status {state}: {said}"
            elif _names(path.parent) != [path.name]:
                wrong = "something was left behind"
            yield _failure(wrong, f"room for {room} bytes")


class _Run:
    """`calculate` of a file, in a process of its own."""

    def __init__(self, path: Path, room: int | None = None) -> None:
        self._path = path
        self._said = tempfile.TemporaryFile("w+")  # noqa: SIM115
        self._process = os.fork()
        if not self._process:
            self._calculate(room)

    def _calculate(self, room: int | None) -> NoReturn:
        """What the child does."""
        status = 70
        try:
            with (
                contextlib.redirect_stdout(io.StringIO()),
                contextlib.redirect_stderr(self._said),
            ):
                sys.argv = ["xlfuncs", "calculate", str(self._path)]
                if room is not None:  # for want of a disk that is full
                    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                    resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
                try:
                    cli.main()
                except SystemExit as left:
                    status = int(left.code or 0)
                except BaseException:
                    traceback.print_exc()
                self._said.flush()
        finally:
            os._exit(status)

    def wait_for_writing(self) -> None:
        """Until it has begun a file beside its own, or is done."""
        while len(_names(self._path.parent)) == 1 and self.running():
            time.sleep(0.001)

    def running(self) -> bool:
        """Whether it is not done yet; what it leaves is kept for `wait`."""
        found = os.waitid(os.P_PID, self._process, os.WEXITED | os.WNOHANG | os.WNOWAIT)
        return found is None

    def kill(self) -> None:
        """End it, whatever it does."""
        os.kill(self._process, signal.SIGKILL)
        self.wait()

    def wait(self) -> int:
        """Its status."""
        return os.waitstatus_to_exitcode(os.waitpid(self._process, 0)[1])

    def said(self) -> str:
        """What it wrote to the error stream."""
        self._said.seek(0)
        return self._said.read()


def _fresh(folder: str) -> Path:
    place = Path(folder) / "work"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    path = place / "log.xlsx"
    path.write_bytes(example.small())
    return path


def _names(folder: Path) -> list[str]:
    return sorted(found.name for found in folder.iterdir())


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
