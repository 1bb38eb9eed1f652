"""What the documents tell people to type works as written, in a fresh environment, in order.

Every ```sh block of README.md and then of docs/*.md is run in one terminal: README's blocks one
after another in the folder of the project, each other document's from where README left off.  A
block has to leave with status 0.  Comments on the lines right above it say what is special:

    <!-- not run: REASON -->         only read
    <!-- run: with an office -->     run where LibreOffice is found
    <!-- run: status 1 -->           its last command leaves with this status
    <!-- before: COMMANDS -->        run before it; what the reader is taken to have

Blocks in other languages are not run, but the commands in them are read as those in the text are.
"""

from __future__ import annotations

import ast
import os
import re
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tomllib
import venv
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.hosts.calc.conftest import REQUIRED, usable_office
from xlfuncs import cli

ROOT = Path(__file__).parents[1]
GUIDES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
SOURCES = [*sorted((ROOT / "xlfuncs").rglob("*.py")), *sorted((ROOT / "docs").rglob("*.py"))]
TEXTS = [*sorted({*GUIDES, *ROOT.glob("*.md")}), *SOURCES]

FENCE = re.compile(r"\s*(```+|~~~+)\s*(\w*)(?: +\w+)?\s*$")  # the language, a name
MARK = re.compile(r"\s*<!-- (not run|run|before): (.+) -->\s*$")


@dataclass(frozen=True)
class Block:
    """One fenced block: where it begins, its language, what is said above it, its text."""

    place: str
    language: str
    marks: dict[str, str]
    text: str


def blocks(name: str, text: str) -> list[Block]:
    found: list[Block] = []
    marks: dict[str, str] = {}
    fence, language, start, inside = "", "", 0, []
    for number, line in enumerate(text.splitlines(), 1):
        edge, mark = FENCE.match(line), MARK.match(line)
        if fence:
            if edge and edge[1] == fence and not edge[2]:
                found.append(Block(f"{name}:{start}", language, marks, "\n".join(inside)))
                fence, marks = "", {}
            else:
                inside.append(line)
        elif edge:
            fence, language, start, inside = edge[1], edge[2], number, []
        else:
            marks = marks | {mark[1]: mark[2]} if mark else {}
    assert not fence, f"{name}:{start}: this block has no end"
    return found


def in_shell(block: Block) -> str:
    """What a terminal is given for a block: where it is, then its lines as they stand."""
    status = re.fullmatch(r"status (\d+)", block.marks.get("run", "status 0"))
    lines = [f"echo '@@ {block.place}'", block.marks.get("before", ":"), "set -x"]
    if status and status[1] != "0":
        lines += ["set +e", block.text, f"test $? = {status[1]} || exit 1", "set -e"]
    else:
        lines += [block.text]
    return "\n".join([*lines, "{ set +x; } 2>&-", ""])


def to_run(block: Block, office: bool) -> bool:
    if block.language != "sh" or "not run" in block.marks:
        return False
    return office or block.marks.get("run") != "with an office"


def session(guides: list[Path], office: bool) -> str:
    parts = []
    for guide in guides:
        text = "".join(
            in_shell(block)
            for block in blocks(guide.name, guide.read_text(encoding="utf-8"))
            if to_run(block, office)
        )
        # What a document changes in its terminal ends with it; README's is there for all.
        parts.append(text if guide.name == "README.md" else f"(:\n{text})\n")
    return "set -e\n" + "".join(parts)


@pytest.fixture
def fresh(tmp_path):
    """A copy of the project as people get it, with a new environment, and a user's own settings.

    The environment finds the libraries of the one that runs the tests, so that nothing has to be
    fetched; the project itself is installed into it by the commands of the documents.
    """
    project = tmp_path / "project"
    left_behind = shutil.ignore_patterns(
        ".git", ".venv", "build", "__pycache__", "*.egg-info", ".*_cache", ".hypothesis"
    )
    shutil.copytree(ROOT, project, ignore=left_behind)
    venv.create(project / ".venv", symlinks=True)  # pip comes with the libraries
    [packages] = (project / ".venv" / "lib").glob("*/site-packages")
    here = {sysconfig.get_path(kind) for kind in ("purelib", "platlib")}
    (packages / "of_the_tests.pth").write_text("".join(f"{path}\n" for path in here))
    (project / ".venv" / "python").touch()  # what make takes for: the environment is there
    ours = Path(sys.executable).parent
    environ = {
        "HOME": str(tmp_path / "home"),
        "PATH": os.pathsep.join(
            path for path in os.environ["PATH"].split(os.pathsep) if Path(path) != ours
        ),
        "LANG": "C.UTF-8",
        "PIP_NO_INDEX": "1",
        "PIP_NO_BUILD_ISOLATION": "0",  # pip reads it as: no isolation
    }
    if "XLFUNCS_OFFICE" in os.environ:
        environ["XLFUNCS_OFFICE"] = os.environ["XLFUNCS_OFFICE"]
    Path(environ["HOME"]).mkdir()
    return project, environ


@pytest.mark.skipif(os.name == "nt", reason="the ```sh blocks are for Linux and macOS")
def test_every_shell_line_of_the_documents_works(fresh):
    project, environ = fresh
    office = usable_office()
    if isinstance(office, str) and os.environ.get(REQUIRED) == "1":
        pytest.fail(f"{REQUIRED}=1, but {office}")
    done = subprocess.run(
        ["bash", "-c", session(GUIDES, office=not isinstance(office, str))],
        cwd=project, env=environ, text=True, encoding="utf-8", check=False, timeout=600,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    last = done.stdout.rpartition("@@ ")[2]
    assert done.returncode == 0, f"this block does not work: {last}"


def test_every_block_is_understood():
    for guide in GUIDES:
        for block in blocks(guide.name, guide.read_text(encoding="utf-8")):
            assert block.language, f"{block.place}: a block has to name its language"
            run = block.marks.get("run", "status 0")
            assert re.fullmatch(r"with an office|status \d+", run), f"{block.place}: run: {run}"
            if block.language not in ("sh", "powershell"):
                assert not re.search(r"^\s*(xlfuncs|make|pip) ", block.text, re.MULTILINE), (
                    f"{block.place}: commands belong in a block of sh or powershell"
                )


MADE_UP = """\
<!-- before: echo 3 > three -->
```sh
export FOUR=4; cat three; echo $FOUR
```

```sh
exit 7
```
<!-- not run: it would fail -->
```sh
false
```
1. indented
   <!-- run: status 1 -->
   ```sh
   ! true
   ```

<!-- run: with an office -->
```sh
echo printed
```
"""


@pytest.mark.parametrize(("office", "runs"), [(False, [0, 1, 3]), (True, [0, 1, 3, 4])])
def test_blocks_are_found_with_their_marks(office, runs):
    found = blocks("made-up.md", MADE_UP)
    assert [block.place for block in found] == [f"made-up.md:{n}" for n in (2, 6, 10, 15, 20)]
    assert [i for i, block in enumerate(found) if to_run(block, office)] == runs


def test_a_line_that_fails_is_found(tmp_path):
    def run(guide, text):
        path = tmp_path / guide
        path.write_text(text, encoding="utf-8")
        script = session([path], office=False)
        done = subprocess.run(
            ["bash", "-c", script], cwd=tmp_path, capture_output=True, text=True, check=False
        )
        return done.returncode, done.stdout.split()

    code, shown = run("README.md", MADE_UP)
    assert (code, shown) == (7, ["@@", "README.md:2", "3", "4", "@@", "README.md:6"])
    code, shown = run("other.md", MADE_UP.replace("exit 7", "true"))
    assert (code, shown[-1]) == (0, "other.md:15")
    assert run("README.md", "```sh\nfalse\ntrue\n```\n")[0] == 1
    assert run("other.md", "<!-- run: status 3 -->\n```sh\nfalse\n```\n")[0] == 1
    with pytest.raises(AssertionError, match=r"x\.md:2: this block has no end"):
        blocks("x.md", "\n```sh\nls\n")


# --- commands that stand in the text, and those for Windows ------------------------------


def commands(guide: Path) -> list[str]:
    """Our own commands in a text and in blocks that are not run."""
    text = guide.read_text(encoding="utf-8")
    found = [
        line.strip().partition(" #")[0]
        for block in blocks(guide.name, text)
        for line in block.text.splitlines()
        if line.strip().startswith("xlfuncs ")
    ]
    prose = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    found += re.findall(r"`(xlfuncs [^`]+)`", re.sub(r"\n\s*(?=\S)", " ", prose))
    return [command.replace("…", "") for command in found if command != "xlfuncs …"]


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_our_commands_exist_with_their_options(guide):
    known = cli.app.commands
    for command in commands(guide):
        _, name, *arguments = shlex.split(command)
        assert name in known, command
        if arguments:  # else the text only names it
            known[name].make_context(name, arguments)


INSTALLS = re.compile(
    r"\b(?:pip[\d.]*|pipx|uv|uv pip|uv tool|uvx|conda|poetry|easy_install)"
    r" +(?:install|add|run)\b([^`;&|#\n]*)"
)
WORD = re.compile(r""""[^"]*"|'[^']*'|[^\s"',)]+""")


def installed_names(text: str) -> list[str]:
    """What commands in a text would fetch by its name, instead of from a folder or a file."""
    found = []
    for rest in INSTALLS.findall(text):
        for word in WORD.findall(rest):
            bare = word.strip("\"'\\")
            by_place = bare.startswith((".", "/", "{folder}", "{_WHEEL}")) or bare.endswith(".whl")
            if bare and not bare.startswith("-") and not by_place:
                found.append(bare)
    return found


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_command_installs_by_name(path):
    """Anybody may register a name that is free; ours is not registered by us."""
    assert installed_names(path.read_text(encoding="utf-8")) == []


def test_a_name_in_a_command_is_found():
    assert installed_names("say `py -m pip install xlfuncs`, or") == ["xlfuncs"]
    assert installed_names('Finding("x", "pip install formulas")') == ["formulas"]
    assert installed_names('pip install --user "xlfuncs[test]>=1" # x') == ["xlfuncs[test]>=1"]
    assert installed_names("uv tool install xlfuncs; pipx install 'a'") == ["xlfuncs", "a"]
    assert installed_names('`pip install -e ".[test]"`, pip install dist/x-1.whl') == []
    assert installed_names('f\'"{python}" -m pip install -e "{folder}"\'') == []


def test_what_the_code_installs_is_what_the_project_needs_anyway():
    needs = {
        re.match(r"[\w-]+", need)[0]
        for need in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"][
            "dependencies"
        ]
    }
    lists = 0
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.List):
                words = [word.value for word in node.elts if isinstance(word, ast.Constant)]
                if "pip" in words and "install" in words:
                    lists += 1
                    names = words[words.index("install") + 1 :]
                    assert {name for name in names if not name.startswith("-")} <= needs, path
    assert lists
