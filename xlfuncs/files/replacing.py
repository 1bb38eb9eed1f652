"""A file written so that nothing is ever lost: beside its place, then moved into it whole."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO, BinaryIO

from xlfuncs.files.problems import Source, WorkbookProblem

_PART = ".part"


@contextlib.contextmanager
def replacing(path: str | Path, source: Source | None = None) -> Iterator[BinaryIO]:
    """A file to write, moved to `path` when all of it is written; nothing is left if that fails.

    A symbolic link stays, and what it points to is replaced; the mode and, where the system
    allows, the owner of a file that is replaced are kept.  With `source` the file is looked at
    again before it is replaced.  What a killed run has left behind is taken away.

    Raises `WorkbookProblem`, and the file is as it was: a folder that is missing, a file that is
    read-only or has a second name (a hard link), which would go on holding the old content, a
    source that has changed meanwhile, a full disk, and whatever else the system refuses.
    """
    path = Path(path)
    place = _place(path)
    old = _may_be_replaced(path, place)
    _tidy(place)
    try:
        temporary, file = _opened(place)
        try:
            with file:
                yield file
                file.flush()
                os.fsync(file.fileno())
                _keep(temporary, old)
                if source is not None and source.changed():
                    raise WorkbookProblem(
                        f"{source.name} was changed by another program meanwhile; nothing was "
                        "written: run it again"
                    )
                if sys.platform != "win32":  # there only a closed file can be moved
                    temporary.replace(place)
            if sys.platform == "win32":
                temporary.replace(place)
        finally:
            temporary.unlink(missing_ok=True)
        _sync(place.parent)
    except PermissionError as error:
        raise WorkbookProblem(
            f"{path.name} cannot be written ({error.strerror}); is it open in another program?"
        ) from error
    except OSError as error:
        raise WorkbookProblem(f"{path.name} cannot be written ({error.strerror})") from error


def back_up(source: Source) -> Path:
    """Keep a file as it was read, beside it: as `.bak`, or under the next number that is free.

    Raises `WorkbookProblem`; no file is overwritten.
    """
    number = 1
    while True:
        ending = ".bak" if number == 1 else f".bak{number}"
        kept = source.path.with_name(source.name + ending)
        try:
            with kept.open("xb") as file:
                file.write(source.data)
                file.flush()
                os.fsync(file.fileno())
            return kept
        except FileExistsError:
            number += 1
        except OSError as error:
            with contextlib.suppress(OSError):
                kept.unlink(missing_ok=True)
            raise WorkbookProblem(f"{kept.name} cannot be written ({error.strerror})") from error


def _place(path: Path) -> Path:
    """Where the content goes: for a symbolic link, what it points to."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError) as error:  # links in a circle
        raise WorkbookProblem(f"{path.name} cannot be written ({error})") from error


def _may_be_replaced(path: Path, place: Path) -> os.stat_result | None:
    """What is known of the file that will be replaced; None if there is none."""
    try:
        old = place.stat()
    except FileNotFoundError:
        if not place.parent.is_dir():
            raise WorkbookProblem(f"the folder {place.parent} does not exist") from None
        return None
    except OSError as error:
        raise WorkbookProblem(f"{path.name} cannot be written ({error.strerror})") from error
    if not stat.S_ISREG(old.st_mode):
        raise WorkbookProblem(f"{path.name} cannot be written: it is no file")
    if not (old.st_mode & stat.S_IWUSR and os.access(place, os.W_OK)):
        raise WorkbookProblem(f"{path.name} is read-only: allow writing, or name another file")
    if old.st_nlink > 1:
        raise WorkbookProblem(
            f"{path.name} has a second name in another place (a hard link), which would keep the "
            "old content: name another file"
        )
    return old


def _keep(temporary: Path, old: os.stat_result | None) -> None:
    if old is None:
        return
    if hasattr(os, "chown"):
        with contextlib.suppress(OSError):  # only the owner of the machine may give files away
            os.chown(temporary, old.st_uid, old.st_gid)
    temporary.chmod(stat.S_IMODE(old.st_mode))


def _sync(folder: Path) -> None:
    """Have the folder itself written, so that the new file is found after a power cut."""
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):  # some file systems do not know how
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# --- what a killed run leaves ------------------------------


def leftovers(place: Path) -> list[Path]:
    """Files beside a place that were begun for it and never moved there."""
    start = f".{place.name}."
    with contextlib.suppress(OSError):
        return [
            found
            for found in place.parent.iterdir()
            if found.name.startswith(start) and found.name.endswith(_PART)
        ]
    return []


def _tidy(place: Path) -> None:
    for left in leftovers(place):
        with contextlib.suppress(OSError), left.open("rb") as file:
            if _held(file):
                left.unlink(missing_ok=True)


def _opened(place: Path) -> tuple[Path, BinaryIO]:
    """A new file beside a place, held: whoever tidies up sees that somebody still writes it."""
    while True:
        temporary = place.with_name(f".{place.name}.{os.getpid()}{_PART}")
        file = temporary.open("wb")
        if _held(file, wait=True) and temporary.exists():  # else it was tidied away in between
            return temporary, file
        file.close()


if sys.platform == "win32":

    def _held(file: IO[bytes], wait: bool = False) -> bool:
        """There an open file cannot be taken away, so that nothing need be held."""
        return True

else:
    import fcntl

    def _held(file: IO[bytes], wait: bool = False) -> bool:
        """Hold a file for as long as it is open; False if another process holds it."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError:
            return False
        except OSError:
            return wait  # a file system without locks: who writes goes on, who tidies leaves it
        return True
