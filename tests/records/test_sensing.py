"""How numbers and dates are written, and what is refused because it may mean two things."""

import datetime

import pytest

from xlfuncs.cells.values import date_serial
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records import sensing
from xlfuncs.records.sensing import DMY, MDY, Dates, Rejected


def serial(*parts):
    return date_serial(datetime.datetime(*parts))


@pytest.mark.parametrize(
    ("text", "sign", "value"),
    [
        ("12.4", ".", 12.4), ("12,4", ",", 12.4), (".5", ".", 0.5), ("5.", ".", 5.0),
        ("-3", ".", -3.0), ("−3,5", ",", -3.5), ("+3", ",", 3.0), ("1e-3", ".", 0.001),
        ("1,234.5", ".", 1234.5), ("1.234,5", ",", 1234.5), ("1 234,5", ",", 1234.5),
        ("1'234.5", ".", 1234.5), ("1\N{NO-BREAK SPACE}234", ".", 1234.0), (" 12 ", ".", 12.0),
        (12.4, ",", 12.4),
    ],
)  # fmt: skip
def test_numbers(text, sign, value):
    assert sensing.number(text, sign) == (value, "")


@pytest.mark.parametrize(
    ("text", "unit"), [("12.4 °Bx", "°Bx"), ("72F", "F"), ("5.5 US gal", "US gal"), ("80%", "%")]
)
def test_units_behind_numbers(text, unit):
    assert sensing.number(text, ".")[1] == unit


@pytest.mark.parametrize("text", ["", "abc", "12,4", "1.2.3", "12-14", "1,23,4", "°Bx", "--5", "."])
def test_what_is_no_number_with_a_decimal_point(text):
    assert sensing.number(text, ".") is None


@pytest.mark.parametrize(
    ("cells", "separator", "sign"),
    [
        (["12,4", "11"], ";", ","),
        (["12.4", "11"], ";", "."),
        (["1,0485"], ",", ","),
        (["1.234,5", "7"], ";", ","),
        (["1,234.5", "7"], ",", "."),
        (["1,048"], ";", ","),  # three digits: by the separator
        (["1,048"], ",", "."),
        (["1.048"], ";", "."),
        (["0,998"], ",", ","),
        ([12.4], "", "."),
    ],
)
def test_the_decimal_sign_of_a_file(cells, separator, sign):
    assert sensing.decimal_sign([(cells, range(2, 99))], separator) == sign


def test_two_decimal_signs_in_one_file_are_refused_with_both_lines():
    columns = [(["12,4", "7"], [2, 3]), (["7", "20.5"], [2, 3])]
    with pytest.raises(WorkbookProblem, match=r"“12,4” on line 2, “20.5” on line 3"):
        sensing.decimal_sign(columns, ";")
    assert sensing.decimal_sign(columns, ";", ",") == ","


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-03-14", (2026, 3, 14)), ("2026/3/4", (2026, 3, 4)), ("20260314", (2026, 3, 14)),
        ("14.03.2026", (2026, 3, 14)), ("4.3.26", (2026, 3, 4)), ("14. 3. 2026", (2026, 3, 14)),
        ("14/3/2026", (2026, 3, 14)), ("14 Mar 2026", (2026, 3, 14)),
        ("14-Mar-26", (2026, 3, 14)), ("March 14, 2026", (2026, 3, 14)),
        ("14. März 2026", (2026, 3, 14)), ("Sat, 14 Mar 2026", (2026, 3, 14)),
        ("3rd May 2026", (2026, 5, 3)), ("Mai 2026 3", None), ("46095", (2026, 3, 14)),
        (46095.0, (2026, 3, 14)), ("1773446400", (2026, 3, 14)), (1773446400000.0, (2026, 3, 14)),
        (datetime.datetime(2026, 3, 14), (2026, 3, 14)), ("31.02.2026", None), ("14.13.2026", None),
        ("14.03.1926", None), ("yesterday", None), ("12", None), (12.4, None), ("", None),
    ],
)  # fmt: skip
def test_days(text, day):
    found = Dates(DMY).serial(text)
    if day is None:
        assert isinstance(found, Rejected)
    else:
        assert found == serial(*day)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-03-14 09:30", (2026, 3, 14, 9, 30)),
        ("2026-03-14T09:30:15Z", (2026, 3, 14, 9, 30, 15)),
        ("2026-03-14T09:30:15.250+01:00", (2026, 3, 14, 9, 30, 15)),
        ("14.03.2026, 9:30 Uhr", (2026, 3, 14, 9, 30)),
        ("14.03.2026 um 9.30", (2026, 3, 14, 9, 30)),
        ("14 Mar 2026 9:30 PM", (2026, 3, 14, 21, 30)),
        ("March 14, 2026 at 12:05 am", (2026, 3, 14, 0, 5)),
        ("14/03/2026 9 pm", (2026, 3, 14, 21, 0)),
        ("14.03.2026 25:10", None),
        ("14.03.2026 13:10 pm", None),
    ],
)
def test_moments(text, moment):
    found = Dates(DMY).serial(text)
    if moment is None:
        assert isinstance(found, Rejected)
    else:
        assert found == pytest.approx(serial(*moment), abs=1e-9)


def test_many_moments_at_once_are_those_of_one_at_a_time():
    cells = ["2026-03-14 09:30:15", "2026-03-14T23:59", "2026-12-01"]
    dates = Dates()
    assert dates.serials(cells) == [dates.serial(cell) for cell in cells]
    assert dates.serials([*cells, "14 Mar 2026"]) is None
    assert dates.serials([*cells, 46095.0]) is None
    assert dates.serials([*cells, "2026-02-30 10:00"]) is None


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["03/04/2026", "14/03/2026"], DMY),
        (["03/04/2026 9:30", "03/14/2026 9:30"], MDY),
        (["03.04.2026"], DMY),
        (["Sat 03/14/2026", "Sun 03/04/2026"], MDY),
        (["2026-03-14 09:00"], sensing.YMD),
        (["14 Mar 2026"], ""),
        ([46095.0], ""),
    ],
)
def test_the_order_of_dates(cells, order):
    assert sensing.date_order(cells, range(2, 99)) == order


def test_dates_that_may_be_read_in_two_ways_are_refused():
    with pytest.raises(WorkbookProblem, match=r"“03/04/2026” on line 3 may be day and month"):
        sensing.date_order(["", "03/04/2026 9:30", "03/05/2026"], [2, 3, 4])
    assert sensing.date_order(["03/04/2026"], [2], MDY) == MDY
    assert Dates(MDY).serial("03/04/2026") == serial(2026, 3, 4)


def test_two_orders_of_dates_in_one_file_are_refused_with_both_lines():
    with pytest.raises(WorkbookProblem, match=r"“14/03/2026” on line 5, “03/15/2026” on line 4"):
        sensing.date_order(["03/04/2026", "03/15/2026", "14/03/2026"], [3, 4, 5])
    assert isinstance(Dates(MDY).serial("14/03/2026"), Rejected)


def test_what_a_time_says_of_its_zone_is_kept():
    dates = Dates()
    dates.serial("2026-03-14T09:30:15Z")
    assert dates.zone == "Z"
