"""Hostile and damaged files: one sentence or an answer, and the file stays as it was."""

from __future__ import annotations

import io
import random
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

from fuzz.failure import Failure
from xlfuncs.files import stored
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.hosts import embedded

EXAMPLE = Path(__file__).parents[1] / "workbooks" / "brewday.xlsx"

Parts = dict[str, bytes]


def attack(dice: random.Random) -> Iterator[Failure | None]:
    """The template, spoilt in one way or several."""
    sound = EXAMPLE.read_bytes()
    while True:
        spoilt = sound
        for _ in range(dice.choice([1, 1, 2, 5])):
            spoilt = dice.choice(_WAYS)(dice, spoilt)
        yield failure(spoilt)


def failure(content: bytes) -> Failure | None:
    """What is wrong with how a file is taken; None if nothing is."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.xlsx"
        path.write_bytes(content)
        try:
            calculation = embedded.calculate(path)
            stored.store(path, calculation.values, Path(folder) / "out.xlsx")
        except WorkbookProblem as problem:
            what = "" if "log.xlsx" in str(problem) else f"does not name the file: {problem}"
        except Exception as error:  # anything but one sentence is a fault
            what = f"{type(error).__name__}: {error}"
        else:
            what = ""
        if not what and path.read_bytes() != content:
            what = "the file was changed"
        left = {found.name for found in Path(folder).iterdir()} - {"log.xlsx", "out.xlsx"}
        if not what and left:
            what = f"{left} was left behind"
    if not what:
        return None
    test = 'assert files.failure((FOLDER / f"{NAME}_log.xlsx").read_bytes()) is None'
    return Failure(what[:300], test, {"log.xlsx": content})


# --- ways to spoil a file ------------------------------


def _cut(dice: random.Random, data: bytes) -> bytes:
    return data[: dice.randrange(len(data) + 1)]


def _flip(dice: random.Random, data: bytes) -> bytes:
    spoilt = bytearray(data)
    for _ in range(dice.choice([1, 3, 30])):
        if spoilt:
            spoilt[dice.randrange(len(spoilt))] = dice.randrange(256)
    return bytes(spoilt)


def _of_parts(change: Callable[[random.Random, Parts], None]) -> Callable[..., bytes]:
    def spoil(dice: random.Random, data: bytes) -> bytes:
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                parts = {name: archive.read(name) for name in archive.namelist()}
        except Exception:  # spoilt already
            return data
        if parts:
            change(dice, parts)
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in parts.items():
                archive.writestr(name, content)
        return out.getvalue()

    return spoil


def _lose_a_part(dice: random.Random, parts: Parts) -> None:
    del parts[dice.choice(list(parts))]


def _swap_parts(dice: random.Random, parts: Parts) -> None:
    one, other = dice.choice(list(parts)), dice.choice(list(parts))
    parts[one], parts[other] = parts[other], parts[one]


def _spoil_a_part(dice: random.Random, parts: Parts) -> None:
    name = dice.choice(list(parts))
    parts[name] = dice.choice([_cut, _flip])(dice, parts[name])


def _respell(dice: random.Random, parts: Parts) -> None:
    name = dice.choice([name for name in parts if name.endswith(".xml")] or list(parts))
    text = parts[name].decode("utf-8", "replace")
    parts[name] = dice.choice(
        [
            lambda: text.replace('"', "'").encode(),
            lambda: text.encode("utf-16"),
            lambda: text.replace('="', ' = "').encode(),
            lambda: text.replace("<c ", "<!-- <c> --><c ").encode(),
            lambda: f'<!DOCTYPE x [<!ENTITY a "{"a" * 99}">]>{text}'.encode(),
            lambda: b"",
        ]
    )()


def _attribute(dice: random.Random, parts: Parts) -> None:
    """Another value for one attribute, or a text of the sheets."""
    name = dice.choice([name for name in parts if name.endswith(".xml")] or list(parts))
    found = list(re.finditer(rb'="([^"]*)"|>([^<]+)<', parts[name]))
    if not found:
        return
    group = dice.choice(found)
    start, end = group.span(1 if group[1] is not None else 2)
    odd = dice.choice(
        [b"", b"-1", b"99999999999", b"A0", b"A1:ZZZ9", b"#REF!", b"NaN", b"1E999", b"x", b"=1/0",
         b"&#x0;", "°".encode(), b"Log!A1", b"array", b"TRUE", b"'", b"A1048577"]
    )  # fmt: skip
    parts[name] = parts[name][:start] + odd + parts[name][end:]


_WAYS: list[Callable[[random.Random, bytes], bytes]] = [
    _cut, _flip, _of_parts(_lose_a_part), _of_parts(_swap_parts), _of_parts(_spoil_a_part),
    _of_parts(_respell), _of_parts(_attribute), _of_parts(_attribute), _of_parts(_attribute),
]  # fmt: skip
