"""A PDF without the hour and the chance of its making: the same pages give the same bytes."""

from __future__ import annotations

import hashlib
import re

#: What LibreOffice writes behind the last stream: when, two numbers that differ every time, and
#: its own language for that of the pages, which are in English.
_MADE = re.compile(rb"(/(?:CreationDate|ModDate)\s*\(D:)(\d{14})")
_CHANCE = re.compile(rb"(/ID\s*\[\s*<)([0-9A-F]{32})(>\s*<)([0-9A-F]{32})(>)")
_CHECKSUM = re.compile(rb"(/DocChecksum\s*/)([0-9A-F]{32})")
_LANGUAGE = re.compile(rb"/Lang\([a-z]{2}-[A-Z]{2}\)")
_DATE = b"20260101000000"
#: The description of the document, which later versions write as it is, and the hours in it.
_DESCRIBED = re.compile(rb"<x:xmpmeta\b.*?</x:xmpmeta>", re.DOTALL)
_HOUR = re.compile(rb">\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")


def settled(data: bytes) -> bytes:
    """The PDF with a fixed date and language, and its content's own checksum as its identity.

    Nothing moves, for places in the file are counted in bytes.

    >>> settled(b"endstream /CreationDate(D:20261126145314Z') endobj")
    b"endstream /CreationDate(D:20260101000000Z') endobj"
    >>> settled(b"<x:xmpmeta><xmp:CreateDate>2026-11-26T17:04:41Z</xmp:CreateDate></x:xmpmeta>")
    b'<x:xmpmeta><xmp:CreateDate>2026-01-01T00:00:00Z</xmp:CreateDate></x:xmpmeta>'
    """
    data = _DESCRIBED.sub(lambda m: _HOUR.sub(b">2026-01-01T00:00:00", m[0]), data)
    last = data.rfind(b"endstream")
    body, end = data[: max(last, 0)], data[max(last, 0) :]
    end = _MADE.sub(rb"\g<1>" + _DATE, end)
    end = _CHANCE.sub(lambda m: m[1] + b"0" * 32 + m[3] + b"0" * 32 + m[5], end)
    end = _CHECKSUM.sub(lambda m: m[1] + b"0" * 32, end)
    end = _LANGUAGE.sub(b"/Lang(en-US)", end)
    own = hashlib.sha256(body + end).hexdigest()[:32].upper().encode()
    end = _CHANCE.sub(lambda m: m[1] + own + m[3] + own + m[5], end)
    return body + _CHECKSUM.sub(lambda m: m[1] + own, end)
