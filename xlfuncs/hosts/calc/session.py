"""One task in one office process: started for it, watched, and ended with all that it started."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from xlfuncs.hosts.calc.offices import Office, OfficeProblem, office_environment

_DRIVER = Path(__file__).with_name("inside") / "driver.py"
_GRACE = 5.0  # seconds that an office has to end by itself


class OfficeDied(Exception):
    """The office ended before it had answered."""


class TookTooLong(Exception):
    """The office was not done by the deadline."""


def run(office: Office, profile: Path, task: dict[str, str], deadline: float) -> dict[str, Any]:
    """What the driver answers to a task; the deadline is one of `time.monotonic()`.

    Raises `OfficeDied` when the office goes away, `TookTooLong`, and `OfficeProblem` when the
    driver reports a problem.
    """
    pipe = f"xlfuncs{uuid.uuid4().hex}"
    with (
        _started(_office_command(office, profile, pipe)) as running,
        tempfile.TemporaryFile() as out,
    ):
        command = [str(office.python), str(_DRIVER)]
        with _started(command, stdin=subprocess.PIPE, stdout=out) as driver:
            assert driver.stdin is not None
            with contextlib.suppress(BrokenPipeError), driver.stdin as stdin:
                stdin.write(json.dumps({**task, "pipe": pipe}).encode())
            _wait(driver, running, deadline)
        out.seek(0)
        answer = out.read()
        if not answer:
            raise OfficeDied
        with contextlib.suppress(subprocess.TimeoutExpired):
            running.wait(_GRACE)
    result: dict[str, Any] = json.loads(answer)
    if "problem" in result:
        raise OfficeProblem(result["problem"])
    return result


def _office_command(office: Office, profile: Path, pipe: str) -> list[str]:
    return [
        str(office.soffice),
        f"-env:UserInstallation={profile.absolute().as_uri()}",
        f"--accept=pipe,name={pipe};urp;",
        *("--headless", "--nologo", "--nodefault", "--norestore", "--nolockcheck"),
        "--nofirststartwizard",
    ]


def _wait(
    driver: subprocess.Popen[bytes], running: subprocess.Popen[bytes], deadline: float
) -> None:
    """Until the driver is done; an office that ended leaves it a moment to say its answer."""
    while driver.poll() is None:
        if time.monotonic() > deadline:
            raise TookTooLong
        if running.poll() is not None:
            with contextlib.suppress(subprocess.TimeoutExpired):
                driver.wait(1)
            return
        time.sleep(0.02)


@contextlib.contextmanager
def _started(
    command: list[str],
    stdin: int = subprocess.DEVNULL,
    stdout: int | IO[bytes] = subprocess.DEVNULL,
) -> Iterator[subprocess.Popen[bytes]]:
    """A process in a group of its own; at the end nothing of the group is left."""
    process = subprocess.Popen(
        command,
        stdin=stdin,
        stdout=stdout,
        stderr=subprocess.DEVNULL,
        env=office_environment(),
        start_new_session=True,
    )
    try:
        yield process
    finally:
        if sys.platform == "win32":
            if process.poll() is None:
                tree = ["taskkill", "/F", "/T", "/PID", str(process.pid)]
                subprocess.run(tree, capture_output=True, check=False)
        else:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)
        process.wait()
