"""The type library of the add-in: one UNO interface in the binary format UNOIDL."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

_MAGIC = b"UNOIDL\xff\0"
_MODULE, _INTERFACE = 0, 5
_IN = b"\0"


@dataclass(frozen=True)
class Method:
    """A method: its name, its parameters as (name, type), and the type of its answer."""

    name: str
    parameters: Sequence[tuple[str, str]]
    answer: str


def interface(name: str, methods: Sequence[Method]) -> bytes:
    """The bytes of a type library that holds one interface, named with its modules by dots.

    Types are written as UNOIDL writes them: `double`, `string`, `any`, `[][]any`.  Little endian;
    a map is pairs of offsets, to a name that ends in NUL and to an entity, sorted by name.
    """
    out = bytearray(_MAGIC + bytes(8))

    def put(part: bytes) -> int:
        out.extend(part)
        return len(out) - len(part)

    entity = _interface(methods)
    for part in reversed(name.split(".")):
        where = put(entity)
        pair = _uint32(put(part.encode("ascii") + b"\0"), where)
        entity = bytes([_MODULE]) + _uint32(1) + pair
    out[len(_MAGIC) : len(_MAGIC) + 8] = _uint32(put(pair), 1)
    return bytes(out)


def _interface(methods: Sequence[Method]) -> bytes:
    entity = bytes([_INTERFACE]) + _uint32(1) + _text("com.sun.star.uno.XInterface")
    entity += _uint32(0, 0)  # optional bases, attributes
    entity += _uint32(len(methods))
    for method in methods:
        entity += _text(method.name) + _text(method.answer) + _uint32(len(method.parameters))
        for name, kind in method.parameters:
            entity += _IN + _text(name) + _text(kind)
        entity += _uint32(0)  # exceptions
    return entity


def _uint32(*numbers: int) -> bytes:
    return struct.pack(f"<{len(numbers)}I", *numbers)


def _text(text: str) -> bytes:
    return _uint32(len(text)) + text.encode("ascii")
