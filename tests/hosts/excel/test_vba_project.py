"""The VBA project as the published specifications describe it, byte for byte."""

import doctest
import random

import pytest

from tests.hosts.excel.specification import (
    CompoundFile,
    Project,
    Wrong,
    decompressed,
    read_dir,
    read_project,
    read_text,
)
from xlfuncs.hosts.excel import compound as writer
from xlfuncs.hosts.excel.vba import Module, compressed, document, vba_project

IDENTITY = "{7C1E0A52-5A0B-4C0E-9D5B-2F3B8E6C1D02}"
DRAW = random.Random(14)

# One source that fills more than a chunk and, packed, more than the small streams hold.
LONG = "".join(f"' {DRAW.getrandbits(256):x}\n" for _ in range(150))
MODULES = [
    document("ThisWorkbook", "{00020819-0000-0000-C000-000000000046}"),
    Module("Long", f'Attribute VB_Name = "Long"\n{LONG}'),
    Module("Fair", 'Attribute VB_Name = "Fair"\nSub Gravity()\n\' 20 °C ± 1 €\nEnd Sub\n', "Class"),
]


@pytest.fixture(scope="module")
def project():
    return vba_project("brewing", IDENTITY, MODULES)


EXPECTED = Project(
    name="brewing",
    identity=IDENTITY,
    version=(1, 0),
    kind_of_system=1,
    languages=(0x409, 0x409),
    references=[
        (
            "stdole",
            r"*\G{00020430-0000-0000-C000-000000000046}#2.0#0#C:\Windows\System32\stdole2.tlb"
            "#OLE Automation",
        ),
        (
            "Office",
            r"*\G{2DF8D04C-5BFA-101B-BDE5-00AA0044DE52}#2.0#0#C:\Program Files\Common Files"
            r"\Microsoft Shared\OFFICE16\MSO.DLL#Microsoft Office 16.0 Object Library",
        ),
    ],
    modules={module.name: (module.kind, module.source) for module in MODULES},
    protected=bytes(4),
    password=bytes(1),
    visible=b"\xff",
    ignored=(bytes(2),) * 3,
)


def test_all_of_it_follows_the_specification(project):
    assert read_project(project) == EXPECTED


def test_the_same_modules_give_the_same_bytes(project):
    assert vba_project("brewing", IDENTITY, MODULES) == project


def test_both_kinds_of_streams_are_in_it(project):
    sizes = [len(stream) for stream in CompoundFile(project).streams.values()]
    assert min(sizes) < 4096 < max(sizes)


# --- a wrong byte anywhere is noticed ------------------------------


def noticed(read, data, at, expected):
    wrong = bytearray(data)
    wrong[at] ^= 1 << DRAW.randrange(8)
    try:
        return read(bytes(wrong)) != expected
    except Wrong:
        return True


def parts_of_a_compound_file(data):
    """Where its header, tables, directory and streams lie, by what the header says."""
    of = lambda at: int.from_bytes(data[at : at + 4], "little")  # noqa: E731
    table = 512 * (1 + of(76))
    directory = 512 * (1 + of(48))
    mini_table = 512 * (1 + of(60))
    return {
        "header": range(512),
        "table": range(table, table + 512),
        "directory": range(directory, directory + 1024),
        "table of small streams": range(mini_table, mini_table + 512),
    }


@pytest.mark.parametrize(
    "part", ["header", "table", "directory", "table of small streams", "anywhere"]
)
def test_a_wrong_byte_in_the_compound_file(project, part):
    places = parts_of_a_compound_file(project).get(part) or range(0, len(project), 23)
    streams = CompoundFile(project).streams

    def read(data):
        return CompoundFile(data).streams

    assert not [at for at in places if not noticed(read, project, at, streams)]


def test_a_wrong_byte_in_the_list_of_modules(project):
    data = decompressed(CompoundFile(project).streams["VBA/dir"])
    expected = read_dir(data)
    assert not [at for at in range(len(data)) if not noticed(read_dir, data, at, expected)]


def test_a_wrong_byte_in_the_text_of_the_project(project):
    streams = CompoundFile(project).streams
    data, directory = streams["PROJECT"], decompressed(streams["VBA/dir"])

    def read(text):
        found = read_dir(directory)
        return read_text(text, found), found

    expected = read(data)
    assert not [at for at in range(len(data)) if not noticed(read, data, at, expected)]


@pytest.mark.parametrize("name", ["VBA/_VBA_PROJECT", "PROJECTwm"])
def test_a_wrong_byte_in_the_small_streams(project, name):
    stream = CompoundFile(project).streams[name]
    start = project.index(stream)
    places = range(start, start + len(stream))
    assert not [at for at in places if not noticed(read_project, project, at, EXPECTED)]


def test_a_wrong_byte_in_a_packed_source(project):
    """It is noticed, or unpacks to the same text: a run of bytes may stand in two places."""
    data = CompoundFile(project).streams["VBA/ThisWorkbook"]
    text = decompressed(data)
    same = [at for at in range(len(data)) if not noticed(decompressed, data, at, text)]
    assert len(same) < len(data) / 20


# --- packing ------------------------------


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"a",
        b"ab",
        b"abc" * 5,
        b"#aaabcdefaaaaghijaaaaaklaaamnopqaaaaaaaaaaaarstuvwxyzaaa",
        b"a" * 73,
        b"\r\n" * 5000,
        bytes(range(256)) * 33,
        LONG.encode(),
        DRAW.randbytes(4096),
        DRAW.randbytes(2 * 4096),
    ],
    ids=lambda data: f"{len(data)} bytes",
)
def test_what_is_packed_unpacks_to_the_same(data):
    assert decompressed(compressed(data)) == data


def test_the_examples_of_the_specification():
    """[MS-OVBA] 3.2.1 to 3.2.3: nothing, some and much to shorten; for the second it goes back to
    another of several equal runs than we do."""
    nothing, some = (
        b"abcdefghijklmnopqrstuv.",
        b"#aaabcdefaaaaghijaaaaaklaaamnopqaaaaaaaaaaaarstuvwxyzaaa",
    )
    assert compressed(nothing).hex() == (
        "0119b000616263646566676800696a6b6c6d6e6f70007172737475762e"
    )
    assert compressed(b"a" * 73).hex() == "0103b002614500"
    printed = bytes.fromhex(
        "012fb000236161616263646582660070616768696a013808616b6c"
        "00306d6e6f700671027004107273747576107778797a003c"
    )
    assert decompressed(printed) == some
    assert len(compressed(some)) == len(printed)


# --- the compound file ------------------------------


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 6, 7, 8, 15, 16, 40, 200])
def test_the_tree_of_names_is_in_order_and_in_balance(count):
    content = {f"Module{DRAW.randrange(10**6)}_{n}": b"x" * n for n in range(count)}
    found = CompoundFile(writer.compound({"VBA": content})).streams
    assert found == {f"VBA/{name}": data for name, data in content.items()}


def test_large_streams_have_tables_enough():
    content = {"big": DRAW.randbytes(3_000_001), "empty": b"", "small": b"s" * 4095}
    assert CompoundFile(writer.compound(content)).streams == content
    with pytest.raises(ValueError, match="needs tables that are not written here"):
        writer.compound({"too big": bytes(8_000_000)})


def test_the_example_of_the_writer():
    assert doctest.testmod(writer).failed == 0
