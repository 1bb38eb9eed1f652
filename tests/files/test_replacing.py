"""A file is replaced whole or not at all, and what it was besides its content stays."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from xlfuncs.files.problems import Source, WorkbookProblem
from xlfuncs.files.replacing import leftovers, replacing

POSIX = pytest.mark.skipif(os.name == "nt", reason="links and modes of POSIX")


def write(path, content=b"new", source=None):
    with replacing(path, source) as file:
        file.write(content)


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"old")
    return path


def test_the_new_content_is_there_and_nothing_else(path):
    write(path)
    assert path.read_bytes() == b"new"
    assert list(path.parent.iterdir()) == [path]


def test_a_failure_leaves_all_as_it_was(path):
    with pytest.raises(TypeError), replacing(path) as file:
        file.writelines([b"half", "no bytes"])
    assert path.read_bytes() == b"old"
    assert list(path.parent.iterdir()) == [path]


def test_a_file_that_changed_meanwhile_is_not_replaced(path):
    source = Source(path, b"old")
    write(path, b"newer", source)
    with pytest.raises(WorkbookProblem, match="was changed by another program meanwhile"):
        write(path, b"newest", source)
    assert path.read_bytes() == b"newer"


@POSIX
def test_a_symbolic_link_stays_and_its_target_is_written(path):
    link = path.with_name("link.xlsx")
    link.symlink_to(path.name)
    write(link)
    assert link.is_symlink()
    assert path.read_bytes() == b"new"


@POSIX
def test_a_link_in_a_circle_is_one_sentence(tmp_path):
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    with pytest.raises(WorkbookProblem, match="cannot be written"):
        write(tmp_path / "a")


@POSIX
@pytest.mark.parametrize("mode", [0o600, 0o664, 0o640])
def test_the_mode_is_kept(path, mode):
    path.chmod(mode)
    write(path)
    assert path.stat().st_mode & 0o777 == mode


@POSIX
def test_a_second_name_is_refused_in_words(path):
    os.link(path, path.with_name("other.xlsx"))
    with pytest.raises(WorkbookProblem, match="second name"):
        write(path)
    assert path.read_bytes() == b"old"


def test_a_read_only_file_is_refused(path):
    path.chmod(0o444)
    with pytest.raises(WorkbookProblem, match=r"log\.xlsx is read-only"):
        write(path)
    path.chmod(0o644)
    assert path.read_bytes() == b"old"


def test_a_folder_that_is_missing_is_named(tmp_path):
    with pytest.raises(WorkbookProblem, match=r"folder .*nowhere does not exist"):
        write(tmp_path / "nowhere" / "log.xlsx")


KILLED = """
import signal, sys, time
from xlfuncs.files.replacing import replacing
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have it ignored
with replacing(sys.argv[1]) as file:
    file.write(b"half")
    file.flush()
    print("writing", flush=True)
    time.sleep(60)
"""


def begun(path):
    """A process that is in the middle of writing."""
    process = subprocess.Popen([sys.executable, "-c", KILLED, path], stdout=subprocess.PIPE)
    assert process.stdout.readline().strip() == b"writing"
    return process


@POSIX
def test_what_a_killed_run_left_is_taken_away_and_what_is_being_written_is_not(path):
    killed, alive = begun(path), begun(path)
    try:
        killed.kill()
        killed.wait()
        assert len(leftovers(path)) == 2
        write(path)
        assert path.read_bytes() == b"new"
        assert len(leftovers(path)) == 1
    finally:
        alive.send_signal(signal.SIGINT)
        alive.wait()
    for _ in range(50):
        if not leftovers(path):
            break
        time.sleep(0.1)
    assert list(path.parent.iterdir()) == [path]
    assert path.read_bytes() == b"new"


@POSIX
def test_file_and_folder_are_synced_before_and_after_the_move(path, monkeypatch):
    done = []
    sync, move = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: done.append("sync") or sync(handle))
    monkeypatch.setattr(Path, "replace", lambda *a: done.append("move") or move(*a))
    write(path)
    assert done == ["sync", "move", "sync"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_a_full_disk_is_one_sentence(path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda handle: Path("/dev/full").write_bytes(b"x"))
    with pytest.raises(WorkbookProblem, match="No space left"):
        write(path)
    assert path.read_bytes() == b"old"
    assert list(path.parent.iterdir()) == [path]
