import datetime as dt

import pytest

from xlfuncs.cells import values


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("12", [12.0]),
        (" 12.4 ", [12.4]),
        ("12,4", [12.4]),
        ("-0,5", [-0.5]),
        ("−0.5", [-0.5]),
        ("+3", [3.0]),
        (".5", [0.5]),
        (",5", [0.5]),
        ("5.", [5.0]),
        ("1e3", [1000.0]),
        ("1,5E-3", [0.0015]),
        ("0,500", [0.5]),
        ("1,234", [1.234, 1234.0]),
        ("1.050", [1.05, 1050.0]),
        ("1,234,567", [1234567.0]),
        ("1.234.567", [1234567.0]),
        ("1,234.5", [1234.5]),
        ("1.234,5", [1234.5]),
        ("12\N{NO-BREAK SPACE}000", [12000.0]),
        ("1,23,456", []),
        ("1,234.567,8", []),
        ("12,4,", []),
        ("twelve", []),
        ("12 °Bx", []),
        ("", []),
        ("-", []),
        (".", []),
        ("nan", []),
        ("inf", []),
        ("infinity", []),
        ("1e999", []),
        ("0x10", []),
        ("1_000", []),
        ("١٢", []),
    ],
)
def test_numbers_in(text, numbers):
    assert values.numbers_in(text) == numbers


@pytest.mark.parametrize(
    ("moment", "serial"),
    [
        (dt.date(1900, 3, 1), 61.0),
        (dt.date(2026, 3, 14), 46095.0),
        (dt.datetime(2026, 3, 14), 46095.0),
        (dt.datetime(2026, 3, 14, 18), 46095.75),
        (dt.datetime(2026, 3, 14, 0, 0, 0, 500_000), 46095 + 0.5 / 86400),
        (dt.datetime(2026, 3, 14, 18, tzinfo=dt.UTC), 46095.75),
    ],
)
def test_date_serial(moment, serial):
    assert values.date_serial(moment) == pytest.approx(serial, abs=1e-9)


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (0.1 + 0.2, "0.3"),
        (140, "140"),
        (1e300, "1e+300"),
        (float("nan"), "nan"),
        (True, "TRUE"),
        ("abc ", '"abc"'),
        ("x" * 40, '"' + "x" * 40 + '"'),
        ("x" * 41, '"' + "x" * 39 + '…"'),
        (dt.date(2026, 3, 14), "2026-03-14"),
        (dt.datetime(2026, 3, 14), "2026-03-14"),
        (dt.datetime(2026, 3, 14, 18, 30), "2026-03-14 18:30:00"),
    ],
)
def test_show(raw, shown):
    assert values.show(raw) == shown


@pytest.mark.parametrize("raw", [None, "", " ", "\t", "\N{NO-BREAK SPACE}"])
def test_blank(raw):
    assert values.is_blank(raw)


@pytest.mark.parametrize("raw", [0, 0.0, False, "0", "! x", "#N/A"])
def test_not_blank(raw):
    assert not values.is_blank(raw)


def test_what_is_passed_on():
    assert all(map(values.is_passed_on, values.ERROR_TEXTS))
    assert values.is_passed_on("! brix 140 is outside -1 to 45")
    assert not any(map(values.is_passed_on, ["!x", "N/A", "", None, 5.0]))


def test_refused_carries_its_text():
    assert values.Refused("no grain").text == "! no grain" == str(values.Refused("no grain"))
