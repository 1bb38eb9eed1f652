"""A VBA project made from the source of its modules, as [MS-OVBA] describes it.

Only the source is written, nothing that was compiled: `_VBA_PROJECT` is what the specification
asks of writers (2.3.4.1), and whoever opens the file compiles the source.  The same modules give
the same bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

from xlfuncs.hosts.excel.compound import compound

_CODE_PAGE = "cp1252"
_CHUNK = 4096
_NOT_COMPILED = bytes.fromhex("CC61FFFF000100")
_WINDOWS_32, _ENGLISH = 1, 0x409
_REFERENCES = (
    (
        "stdole",
        r"*\G{00020430-0000-0000-C000-000000000046}#2.0#0#C:\Windows\System32\stdole2.tlb"
        "#OLE Automation",
    ),
    (
        "Office",
        r"*\G{2DF8D04C-5BFA-101B-BDE5-00AA0044DE52}#2.0#0"
        r"#C:\Program Files\Common Files\Microsoft Shared\OFFICE16\MSO.DLL"
        "#Microsoft Office 16.0 Object Library",
    ),
)


@dataclass(frozen=True)
class Module:
    """A module of a project: its source with the `Attribute` lines, lines ended by line feeds.

    `kind` is `Module`, `Class` or `Document` (the workbook itself, or one of its sheets).
    """

    name: str
    source: str
    kind: str = "Module"


def document(name: str, base: str) -> Module:
    """The empty module that belongs to a workbook or a sheet; `base` is the class of its kind."""
    attributes = {
        "Name": f'"{name}"',
        "Base": f'"0{{{base}}}"',
        "GlobalNameSpace": "False",
        "Creatable": "False",
        "PredeclaredId": "True",
        "Exposed": "True",
        "TemplateDerived": "False",
        "Customizable": "True",
    }
    lines = [f"Attribute VB_{key} = {value}\n" for key, value in attributes.items()]
    return Module(name, "".join(lines), "Document")


def vba_project(name: str, identity: str, modules: Sequence[Module]) -> bytes:
    """The file `vbaProject.bin` of a project; `identity` is its GUID, braces included."""
    sources = {
        module.name: compressed(module.source.replace("\n", "\r\n").encode(_CODE_PAGE))
        for module in modules
    }
    names = [(_encoded(m.name), m.name.encode("utf-16-le")) for m in modules]
    return compound(
        {
            "VBA": {
                "_VBA_PROJECT": _NOT_COMPILED,
                "dir": compressed(_dir(name, modules)),
                **sources,
            },
            "PROJECT": _encoded(_project(name, identity, modules)),
            "PROJECTwm": b"".join(b"%b\0%b\0\0" % pair for pair in names) + b"\0\0",
        }
    )


def _encoded(text: str) -> bytes:
    return text.encode(_CODE_PAGE)


# --- the modules listed for programs (2.3.4.2), and for people (2.3.1) -----------------------


def _dir(name: str, modules: Sequence[Module]) -> bytes:
    out = [
        _record(0x01, _long(_WINDOWS_32)),
        _record(0x02, _long(_ENGLISH)),
        _record(0x14, _long(_ENGLISH)),
        _record(0x03, struct.pack("<H", int(_CODE_PAGE.removeprefix("cp")))),
        _record(0x04, _encoded(name)),
        _texts(0x05, 0x40, ""),  # description
        _texts(0x06, 0x3D, ""),  # help file
        _record(0x07, _long(0)),
        _record(0x08, _long(0)),
        struct.pack("<HIIH", 0x09, 4, 1, 0),  # version 1.0: its size says 4, and six bytes follow
        _texts(0x0C, 0x3C, ""),  # constants
    ]
    for reference, library in _REFERENCES:
        held = _encoded(library)
        out += [
            _texts(0x16, 0x3E, reference),
            _record(0x0D, _long(len(held)) + held + bytes(6)),
        ]
    out += [_record(0x0F, struct.pack("<H", len(modules))), _record(0x13, b"\xff\xff")]
    for module in modules:
        out += [
            _texts(0x19, 0x47, module.name),
            _texts(0x1A, 0x32, module.name),  # its stream
            _texts(0x1C, 0x48, ""),  # description
            _record(0x31, _long(0)),  # the source starts at once: nothing compiled before it
            _record(0x1E, _long(0)),
            _record(0x2C, b"\xff\xff"),
            _record(0x21 if module.kind == "Module" else 0x22),
            _record(0x2B),
        ]
    return b"".join([*out, _record(0x10)])


def _long(value: int) -> bytes:
    return struct.pack("<I", value)


def _record(number: int, data: bytes = b"") -> bytes:
    return struct.pack("<HI", number, len(data)) + data


def _texts(number: int, wide: int, text: str) -> bytes:
    """A text in the code page of the project, and again in two bytes a character."""
    return _record(number, _encoded(text)) + _record(wide, text.encode("utf-16-le"))


def _project(name: str, identity: str, modules: Sequence[Module]) -> str:
    lines = [
        f'ID="{identity}"',
        *(f"{m.kind}={m.name}{'/&H00000000' * (m.kind == 'Document')}" for m in modules),
        f'Name="{name}"',
        'HelpContextID="0"',
        'VersionCompatible32="393222000"',
        f'CMG="{_veiled(identity, _long(0))}"',  # not protected
        f'DPB="{_veiled(identity, bytes([0]))}"',  # no password
        f'GC="{_veiled(identity, bytes([255]))}"',  # visible
        "",
        "[Host Extender Info]",
        "&H00000001={3832D640-CF90-11CF-8E43-00A0C911005A};VBE;&H00000000",
        "",
        "[Workspace]",
        *(f"{m.name}=0, 0, 0, 0, C" for m in modules),
        "",
    ]
    return "\r\n".join(lines)


# --- packing (2.4.1) and veiling (2.4.3) ------------------------------


def compressed(data: bytes) -> bytes:
    """Bytes as VBA keeps them: chunks of 4,096, each packed by itself."""
    chunks = (data[start : start + _CHUNK] for start in range(0, len(data), _CHUNK))
    return b"\x01" + b"".join(map(_chunk, chunks))


def _chunk(data: bytes) -> bytes:
    out = bytearray()
    seen: dict[bytes, list[int]] = {}  # where each three bytes stood before
    at = 0
    while at < len(data):
        flags, tokens = 0, bytearray()
        for bit in range(8):
            if at == len(data):
                break
            # The further in, the more bits say how far back, and the fewer how long.
            back_bits = max(4, (at - 1).bit_length()) if at else 4
            length, start = _repeated(data, at, seen, longest=(0xFFFF >> back_bits) + 3)
            if length:
                flags |= 1 << bit
                token = (at - start - 1) << (16 - back_bits) | (length - 3)
                tokens += struct.pack("<H", token)
            else:
                tokens.append(data[at])
            for passed in range(at, at + max(length, 1)):
                seen.setdefault(data[passed : passed + 3], []).append(passed)
            at += max(length, 1)
        out += bytes([flags]) + tokens
    if len(out) > _CHUNK:  # it did not shrink, and is kept as it is
        return struct.pack("<H", 0x3000 | (_CHUNK - 1)) + data.ljust(_CHUNK, b"\0")
    return struct.pack("<H", 0xB000 | (len(out) - 1)) + out


def _repeated(data: bytes, at: int, seen: dict[bytes, list[int]], longest: int) -> tuple[int, int]:
    """The longest earlier run of the same bytes: its length (0 below three), and its start."""
    best, best_start = 0, 0
    limit = min(longest, len(data) - at)
    if limit >= 3:
        for start in reversed(seen.get(data[at : at + 3], ())):
            length = 3
            while length < limit and data[start + length] == data[at + length]:
                length += 1
            if length > best:
                best, best_start = length, start
            if best == limit:
                break
    return best, best_start


def _veiled(identity: str, data: bytes, seed: int = 0x1C) -> str:
    """One of the three values that are written as unreadable text; always from the same seed."""
    key = sum(identity.encode()) & 0xFF
    out = [seed, seed ^ 2, seed ^ key]
    before, last = out[1], out[2]
    plain_before = key
    for byte in bytes((seed & 6) // 2) + _long(len(data)) + data:
        out.append(byte ^ (before + plain_before) & 0xFF)
        before, last, plain_before = last, out[-1], byte
    return bytes(out).hex().upper()
