"""A compound file, the container of a VBA project: storages and streams as sectors of one file.

Written from [MS-CFB], version 3.  Streams of 4,096 bytes or more lie in sectors of 512 bytes,
smaller ones in sectors of 64 within a stream of the root; a table for each size says which sector
follows which.  The same streams give the same bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field

#: Names within a storage: the bytes of a stream, or what a storage holds in turn.
Content = Mapping[str, "bytes | Content"]

_SECTOR, _MINI_SECTOR, _MINI_STREAM_BELOW = 512, 64, 4096
_FREE, _END, _TABLE, _NOBODY = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD, 0xFFFFFFFF
_STORAGE, _STREAM, _ROOT = 1, 2, 5
_PER_TABLE, _IN_HEADER = _SECTOR // 4, 109


def compound(content: Content) -> bytes:
    """The bytes of a compound file that holds this content.

    >>> compound({"PROJECT": b"text"})[:8].hex()
    'd0cf11e0a1b11ae1'
    """
    entries = [_Entry("Root Entry", _ROOT)]
    _enter(entries, 0, content)
    big, small = _Chains(_SECTOR), _Chains(_MINI_SECTOR)
    for entry in entries:
        if entry.kind == _STREAM:
            chains = small if len(entry.data) < _MINI_STREAM_BELOW else big
            entry.start = chains.add(entry.data)
    entries[0].data = bytes(small.data)
    entries[0].start = big.add(entries[0].data)
    mini_table = _table(small.following)
    mini_start = big.add(mini_table)
    blank = _Entry("", 0, start=0).packed()
    directory = b"".join(entry.packed() for entry in entries)
    directory_start = big.add(directory + blank * (-len(entries) % (_SECTOR // len(blank))))
    # The table that says what follows what has sectors of its own, which it counts too.
    sectors, tables = len(big.following), 1
    while tables * _PER_TABLE < sectors + tables:
        tables += 1
    if tables > _IN_HEADER:
        raise ValueError("a compound file as large as this needs tables that are not written here")
    at = list(range(sectors, sectors + tables))
    header = struct.pack(
        "<8s16s5H6x9I",
        bytes.fromhex("D0CF11E0A1B11AE1"), bytes(16),
        0x3E, 3, 0xFFFE, 9, 6,  # version 3.62, little end first, sectors of 2**9 and 2**6 bytes
        0, tables, directory_start, 0, _MINI_STREAM_BELOW,
        mini_start, len(mini_table) // _SECTOR, _END, 0,
    ) + struct.pack(f"<{_IN_HEADER}I", *at, *[_FREE] * (_IN_HEADER - tables))  # fmt: skip
    return header + bytes(big.data) + _table(big.following + [_TABLE] * tables)


@dataclass
class _Entry:
    """One line of the directory; entries of a storage form a search tree, red and black."""

    name: str
    kind: int
    data: bytes = b""
    start: int = _END
    left: int = _NOBODY
    right: int = _NOBODY
    child: int = _NOBODY
    black: bool = True

    def packed(self) -> bytes:
        name = self.name.encode("utf-16-le") + b"\0\0" if self.name else b""
        start = 0 if self.kind == _STORAGE else self.start
        links = (self.left, self.right, self.child)
        head = struct.pack("<64sHBB3I", name, len(name), self.kind, self.black, *links)
        return head + bytes(16 + 4 + 16) + struct.pack("<IQ", start, len(self.data))


@dataclass
class _Chains:
    """Sectors of one size, and for each the one that follows it."""

    size: int
    data: bytearray = field(default_factory=bytearray)
    following: list[int] = field(default_factory=list)

    def add(self, content: bytes) -> int:
        """Put content behind what is there; its first sector."""
        if not content:
            return _END
        first, count = len(self.following), -(-len(content) // self.size)
        self.following += [*range(first + 1, first + count), _END]
        self.data += content.ljust(count * self.size, b"\0")
        return first


def _enter(entries: list[_Entry], storage: int, content: Content) -> None:
    places = []
    # The order of the tree: shorter names first, then without regard to case.
    for name in sorted(content, key=lambda name: (len(name), name.upper())):
        places.append(len(entries))
        held = content[name]
        if isinstance(held, bytes):
            entries.append(_Entry(name, _STREAM, held))
        else:
            entries.append(_Entry(name, _STORAGE))
            _enter(entries, places[-1], held)
    entries[storage].child = _tree(entries, places, (len(places) + 1).bit_length() - 1)


def _tree(entries: list[_Entry], places: list[int], full: int) -> int:
    """The middle entry with the halves under it; below the `full` levels all are red."""
    if not places:
        return _NOBODY
    middle = len(places) // 2
    entry = entries[places[middle]]
    entry.left = _tree(entries, places[:middle], full - 1)
    entry.right = _tree(entries, places[middle + 1 :], full - 1)
    entry.black = full > 0
    return places[middle]


def _table(following: list[int]) -> bytes:
    free = -len(following) % _PER_TABLE
    return struct.pack(f"<{len(following) + free}I", *following, *[_FREE] * free)
