"""A PDF is the same whenever it was made, and still a PDF."""

from __future__ import annotations

from xlfuncs.files.pdf import settled


def made(when: str, chance: str, page: bytes = b"page", language: str = "en-US") -> bytes:
    """What an office writes, in short."""
    return (
        b"%PDF-1.6 stream /CreationDate(D:20200202020202Z') " + page + b" endstream\n"
        + f"/CreationDate(D:{when}+01'00')>> /Lang({language})\n".encode()
        + f"/ID [ <{chance}>\n<{chance}> ]\n".encode()
        + f"/DocChecksum /{chance[::-1]}\nstartxref\n123\n%%EOF".encode()
    )  # fmt: skip


ONE = made("20261126145314", "8E976451B9D2195577D80B9F8D4A5CDD")
OTHER = made("20270101000000", "00976451B9D2195577D80B9F8D4A5CAA", language="de-DE")


def test_neither_hour_nor_chance_nor_the_offices_language_is_left():
    assert ONE != OTHER
    assert settled(ONE) == settled(OTHER)
    assert settled(settled(ONE)) == settled(ONE)


def test_nothing_moves():
    assert len(settled(ONE)) == len(ONE)
    assert settled(ONE).endswith(b"startxref\n123\n%%EOF")


def test_pages_are_not_touched():
    """What looks like a date within a page is the page's own."""
    assert b"stream /CreationDate(D:20200202020202Z') page endstream" in settled(ONE)


def test_other_pages_have_another_identity():
    other = made("20261126145314", "8E976451B9D2195577D80B9F8D4A5CDD", b"leaf")
    assert settled(ONE)[-90:] != settled(other)[-90:]


def test_what_says_nothing_stays_as_it_is():
    assert settled(b"%PDF") == b"%PDF"
    assert settled(b"") == b""
