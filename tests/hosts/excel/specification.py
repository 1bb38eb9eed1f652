"""A reader of VBA projects that takes nothing on trust: each byte is held against [MS-CFB] and
[MS-OVBA].

Nothing here is shared with the writer.  `Wrong` names what does not follow the specification;
what is free there (names, sources, versions) is handed back, for a test to compare.
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass, field

NOBODY, FREE, END, TABLE = 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD


class Wrong(Exception):
    """What does not follow the specification."""


def must(condition, what):
    if not condition:
        raise Wrong(what)


# --- the compound file ------------------------------


class CompoundFile:
    """Streams of a compound file by path, each byte of the file accounted for."""

    def __init__(self, data: bytes) -> None:
        must(len(data) % 512 == 0 and len(data) >= 1536, "size of the file")
        head = struct.unpack("<8s16sHHHHH6sIIIIIIIII", data[:76])
        magic, identity, minor, major, order, shift, mini_shift, reserved = head[:8]
        none, tables, directory, transaction, cutoff, mini, minis, more, mores = head[8:]
        must(magic == bytes.fromhex("d0cf11e0a1b11ae1") and identity == bytes(16), "signature")
        must((minor, major, order) == (0x3E, 3, 0xFFFE), "version or order of bytes")
        must((shift, mini_shift, reserved) == (9, 6, bytes(6)), "sizes of sectors")
        must((none, transaction, cutoff) == (0, 0, 4096), "fields that are fixed")
        must((more, mores) == (END, 0), "further tables")
        self.sectors = [data[at : at + 512] for at in range(512, len(data), 512)]
        places = struct.unpack("<109I", data[76:512])
        must(all(place == FREE for place in places[tables:]), "places of tables that are not there")
        must(all(place < len(self.sectors) for place in places[:tables]), "places of tables")
        self.following = self._numbers(self.sectors[place] for place in places[:tables])
        self.used = set(places[:tables])
        must(len(self.used) == tables, "places of tables")
        must(all(self.following[place] == TABLE for place in self.used), "marks of tables")
        self.entries = self._directory(self._chain(directory))
        root = self.entries[0]
        self.mini = self._sized(root.start, root.size)
        must(root.size % 64 == 0, "size of the stream of small streams")
        table = self._chain(mini)
        must(len(table) == minis * 512, "size of the table of small streams")
        self.mini_following = self._numbers([table])
        self.mini_used: set[int] = set()
        self.streams: dict[str, bytes] = {}
        self.seen: set[int] = set()
        must(root.kind == 5 and root.name == "Root Entry", "root")
        must((root.left, root.right, root.black) == (NOBODY, NOBODY, True), "root")
        self._storage(root, "")
        self._nothing_left()

    def _numbers(self, sectors):
        data = b"".join(sectors)
        return struct.unpack(f"<{len(data) // 4}I", data)

    def _chain(self, at):
        data = b""
        while at != END:
            must(at < len(self.sectors) and at not in self.used, "chain of sectors")
            self.used.add(at)
            data += self.sectors[at]
            at = self.following[at]
        return data

    def _sized(self, start, size):
        data = self._chain(start)
        must(len(data) == -(-size // 512) * 512, "length of a stream")
        must(not any(data[size:]), "rest of the last sector")
        return data[:size]

    def _small(self, at, size):
        data = b""
        while at != END:
            must((at + 1) * 64 <= len(self.mini) and at not in self.mini_used, "small sectors")
            self.mini_used.add(at)
            data += self.mini[at * 64 : at * 64 + 64]
            at = self.mini_following[at]
        must(len(data) == -(-size // 64) * 64, "length of a small stream")
        must(not any(data[size:]), "rest of the last small sector")
        return data[:size]

    def _directory(self, data):
        entries = [Entry.read(data[at : at + 128]) for at in range(0, len(data), 128)]
        must(entries, "directory")
        return entries

    def _storage(self, storage, path):
        if storage.child == NOBODY:
            return
        names, blacks = [], set()
        self._walk(storage.child, True, 0, names, blacks, path)
        must(names == sorted(names), "order of names")
        must(len(set(names)) == len(names), "names that are there twice")
        must(len(blacks) == 1, "as many black entries on each way down")
        must(self.entries[storage.child].black, "colour of the uppermost entry")

    def _walk(self, at, parent_black, depth, names, blacks, path):
        if at == NOBODY:
            blacks.add(depth)
            return
        must(0 < at < len(self.entries) and at not in self.seen, "tree of entries")
        self.seen.add(at)
        entry = self.entries[at]
        must(entry.black or parent_black, "two red entries, one over the other")
        depth += entry.black
        self._walk(entry.left, entry.black, depth, names, blacks, path)
        names.append((len(entry.name), entry.name.upper()))
        self._walk(entry.right, entry.black, depth, names, blacks, path)
        if entry.kind == 1:
            must((entry.start, entry.size) == (0, 0), "start of a storage")
            self._storage(entry, f"{path}{entry.name}/")
        else:
            must(entry.kind == 2 and entry.child == NOBODY, "kind of an entry")
            read = self._small if entry.size < 4096 else self._sized
            self.streams[path + entry.name] = read(entry.start, entry.size)

    def _nothing_left(self):
        must(len(self.used) == len(self.sectors), "sectors that belong to nothing")
        for numbers, count in (
            (self.following, len(self.sectors)),
            (self.mini_following, len(self.mini) // 64),
        ):
            must(all(number == FREE for number in numbers[count:]), "entries of no sector")
        must(len(self.mini_used) == len(self.mini) // 64, "small sectors that belong to nothing")
        for at, entry in enumerate(self.entries[1:], 1):
            must(at in self.seen or entry == Entry(), "entries that belong to nothing")


@dataclass
class Entry:
    name: str = ""
    kind: int = 0
    black: bool = True
    left: int = NOBODY
    right: int = NOBODY
    child: int = NOBODY
    start: int = 0
    size: int = 0

    @classmethod
    def read(cls, data):
        fields = struct.unpack("<64sHBBIII16sI8s8sIQ", data)
        name, length, kind, colour, left, right, child, identity, state, made, changed, *rest = (
            fields
        )
        must(identity == bytes(16) and state == 0, "identity of an entry")
        must(made == changed == bytes(8), "times of an entry")
        must(colour in (0, 1), "colour of an entry")
        must(length % 2 == 0 and length <= 64 and not any(name[length:]), "name of an entry")
        try:
            text = name[:length].decode("utf-16-le")
        except UnicodeDecodeError:
            raise Wrong("name of an entry") from None
        must(not kind or text.endswith("\0"), "name of an entry")
        text = text[:-1]
        must(not set(text) & set("\0/\\:!"), "name of an entry")
        must(bool(text) == bool(kind), "name of an entry")
        return cls(text, kind, colour == 1, left, right, child, *rest)


# --- compression (2.4.1) ------------------------------


def decompressed(data: bytes) -> bytes:
    must(data[:1] == b"\1", "signature of a container")
    out, at = bytearray(), 1
    while at < len(data):
        must(at + 2 <= len(data), "head of a chunk")
        (head,) = struct.unpack_from("<H", data, at)
        end = at + (head & 0xFFF) + 3
        must(head >> 12 & 7 == 3, "signature of a chunk")
        must(end <= len(data), "length of a chunk")
        must(len(out) % 4096 == 0, "a chunk that is not the last is full")
        if head & 0x8000:
            out += _chunk(data[at + 2 : end])
        else:
            must(head & 0xFFF == 4095, "length of a chunk that is not packed")
            out += data[at + 2 : end]
        at = end
    return bytes(out)


def _chunk(data):
    out, at = bytearray(), 0
    while at < len(data):
        flags = data[at]
        at += 1
        must(at < len(data), "flags of nothing")
        for bit in range(8):
            if at == len(data):
                must(not flags >> bit, "flags of nothing")
                break
            if flags >> bit & 1:
                must(at + 2 <= len(data), "half a token")
                (token,) = struct.unpack_from("<H", data, at)
                at += 2
                bits = 4
                while 1 << bits < len(out):
                    bits += 1
                back = (token >> (16 - bits)) + 1
                must(back <= len(out), "a token that goes back too far")
                for _ in range((token & 0xFFFF >> bits) + 3):
                    out.append(out[-back])
            else:
                out.append(data[at])
                at += 1
    must(0 < len(out) <= 4096, "length of an unpacked chunk")
    return bytes(out)


# --- the project (2.3) ------------------------------


@dataclass
class Project:
    """What is free in a project; all else has been held against the specification."""

    name: str = ""
    identity: str = ""
    version: tuple[int, int] = (0, 0)
    kind_of_system: int = 0
    languages: tuple[int, int] = (0, 0)
    references: list[tuple[str, str]] = field(default_factory=list)
    modules: dict[str, tuple[str, str]] = field(default_factory=dict)  # name: kind, source
    protected: bytes = b""
    password: bytes = b""
    visible: bytes = b""
    ignored: tuple[bytes, ...] = ()  # what a veiled value holds before its own


def read_project(data: bytes) -> Project:
    streams = CompoundFile(data).streams
    found = read_dir(decompressed(streams.pop("VBA/dir", b"")))
    must(streams.pop("VBA/_VBA_PROJECT", b"") == bytes.fromhex("cc61ffff000100"), "_VBA_PROJECT")
    kinds = read_text(streams.pop("PROJECT", b""), found)
    must(kinds.keys() == found.modules.keys(), "modules of PROJECT and dir")
    wide = b"".join(
        name.encode("cp1252") + b"\0" + name.encode("utf-16-le") + b"\0\0" for name in kinds
    )
    must(streams.pop("PROJECTwm", b"") == wide + b"\0\0", "PROJECTwm")
    for name, (kind, _) in found.modules.items():
        must((kind == "Module") == (kinds[name] == "Module"), "kind of a module")
        source = decompressed(streams.pop(f"VBA/{name}", b"")).decode("cp1252")
        must(source.startswith(f'Attribute VB_Name = "{name}"\r\n'), "name in a module")
        must(source.endswith("\r\n"), "end of a module")
        must("\n" not in source.replace("\r\n", ""), "ends of lines")
        found.modules[name] = (kinds[name], source.replace("\r\n", "\n"))
    must(not streams, "streams that are not known")
    return found


class _Records:
    def __init__(self, data):
        self.data, self.at = data, 0

    def peek(self):
        must(self.at + 6 <= len(self.data), "end of the records")
        return struct.unpack_from("<H", self.data, self.at)[0]

    def take(self, number, size=None, reads=None):
        must(self.peek() == number, f"record {number:#x}")
        (length,) = struct.unpack_from("<I", self.data, self.at + 2)
        must(size is None or length == size, f"length of record {number:#x}")
        length = reads or length
        held = self.data[self.at + 6 : self.at + 6 + length]
        must(len(held) == length, f"length of record {number:#x}")
        self.at += 6 + length
        return held

    def number(self, number, size=4):
        return int.from_bytes(self.take(number, size), "little")

    def text(self, number, wide=None):
        raw = self.take(number)
        try:
            text = raw.decode("cp1252")
            again = self.take(wide).decode("utf-16-le") if wide else text
        except UnicodeDecodeError:
            raise Wrong(f"text of record {number:#x}") from None
        must(text == again, f"text of record {number:#x}, written twice")
        return text


def read_dir(data: bytes) -> Project:
    records, found = _Records(data), Project()
    found.kind_of_system = records.number(0x01)
    must(found.kind_of_system in (0, 1, 2, 3), "kind of system")
    found.languages = records.number(0x02), records.number(0x14)
    must(records.number(0x03, 2) == 1252, "code page")
    found.name = records.text(0x04)
    must(0 < len(found.name) <= 128, "name of the project")
    must(records.text(0x05, 0x40) == records.text(0x06, 0x3D) == "", "description and help")
    must(records.number(0x07) == records.number(0x08) == 0, "help and flags")
    found.version = struct.unpack("<IH", records.take(0x09, 4, reads=6))
    must(records.text(0x0C, 0x3C) == "", "constants")
    while records.peek() == 0x16:
        name, held = records.text(0x16, 0x3E), records.take(0x0D)
        (size,) = struct.unpack_from("<I", held)
        must(len(held) == size + 10 and held[4 + size :] == bytes(6), "reference")
        found.references.append((name, held[4 : 4 + size].decode("cp1252", "replace")))
    count = records.number(0x0F, 2)
    must(records.number(0x13, 2) == 0xFFFF, "cookie of the project")
    for _ in range(count):
        name = records.text(0x19, 0x47)
        must(records.text(0x1A, 0x32) == name, "stream of a module")
        must(records.text(0x1C, 0x48) == "", "description of a module")
        must(records.number(0x31) == 0, "offset of the source")
        must(records.number(0x1E) == 0, "help of a module")
        must(records.number(0x2C, 2) == 0xFFFF, "cookie of a module")
        must(records.peek() in (0x21, 0x22), "kind of a module")
        kind = "Module" if records.peek() == 0x21 else "Class"
        records.take(records.peek(), 0)
        records.take(0x2B, 0)
        must(name not in found.modules, "modules of one name")
        found.modules[name] = (kind, "")
    records.take(0x10, 0)
    must(records.at == len(data), "end of the records")
    return found


def read_text(data: bytes, found: Project) -> dict[str, str]:
    """The stream PROJECT; the kind of each module."""
    must(data.endswith(b"\r\n"), "end of PROJECT")
    lines = data.decode("cp1252", "replace")[:-2].split("\r\n")
    taken = iter(lines)

    def value(key):
        line = next(taken, "")
        must(line.startswith(f'{key}="') and line.endswith('"'), f"{key} of PROJECT")
        return line[len(key) + 2 : -1]

    found.identity = value("ID")
    must(len(found.identity) == 38, "ID of PROJECT")
    kinds = {}
    for _ in found.modules:
        kind, _, name = next(taken, "").partition("=")
        must(kind in ("Module", "Class", "Document"), "module of PROJECT")
        if kind == "Document":
            name, _, version = name.partition("/")
            must(version == "&H00000000", "document of PROJECT")
        kinds[name] = kind
    must(value("Name") == found.name, "Name of PROJECT")
    must(value("HelpContextID") == "0", "HelpContextID of PROJECT")
    must(value("VersionCompatible32") == "393222000", "VersionCompatible32 of PROJECT")
    key = sum(found.identity.encode("cp1252")) & 0xFF
    values = [unveiled(value(name), key) for name in ("CMG", "DPB", "GC")]
    (found.protected, found.password, found.visible), found.ignored = zip(*values, strict=True)
    must(found.protected == bytes(4), "protection")
    must(found.password == bytes(1), "password")
    must(found.visible in (b"\0", b"\xff"), "visibility")
    must(list(taken) == [
        "", "[Host Extender Info]",
        "&H00000001={3832D640-CF90-11CF-8E43-00A0C911005A};VBE;&H00000000",
        "", "[Workspace]", *(f"{name}=0, 0, 0, 0, C" for name in kinds),
    ], "rest of PROJECT")  # fmt: skip
    return kinds


def unveiled(text: str, key: int) -> tuple[bytes, bytes]:
    """A veiled value (2.4.3.3), and the bytes to ignore before it."""
    must(re.fullmatch("(?:[0-9A-F]{2}){8,}", text), "digits of a veiled value")
    data = bytes.fromhex(text)
    seed, version, project_key = data[0], data[0] ^ data[1], data[0] ^ data[2]
    must(version == 2, "version of a veiled value")
    must(project_key == key, "key of a veiled value")
    plain, unencrypted, one, two = bytearray(), project_key, data[2], data[1]
    for byte in data[3:]:
        unencrypted = byte ^ (two + unencrypted & 0xFF)
        two, one = one, byte
        plain.append(unencrypted)
    ignored, plain = plain[: (seed & 6) // 2], plain[(seed & 6) // 2 :]
    must(int.from_bytes(plain[:4], "little") == len(plain) - 4, "length in a veiled value")
    return bytes(plain[4:]), bytes(ignored)
