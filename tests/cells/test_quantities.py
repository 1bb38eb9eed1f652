import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlfuncs.cells.quantities import BRIX, Choice, Number

SG = Number("Gravity", "SG", 0.98, 1.206)
IN_DEGREES = "if that is °Plato or °Brix, convert it with GRAVITY_CONVERT"
CELSIUS = Number("Temperature", "°C", 5, 45)
ANY = Number("Anything", low=-1e9, high=1e9)
POSITIVE = Number("Count", low=0, high=10, above=True)
DAY = Number("Day", low=0, high=1e6, dates=True)
SCALE = Choice("Scale", {"Plato": ("°P", "P"), "SG": ()})


@pytest.mark.parametrize(
    ("quantity", "raw", "answer"),
    [
        (BRIX, 12.4, 12.4),
        (BRIX, 12, 12.0),
        (BRIX, np.float64(12.4), 12.4),
        (BRIX, np.int64(12), 12.0),
        (BRIX, "12,4", 12.4),
        (BRIX, "1,050", 1.05),  # 1050 is no Brix: not ambiguous
        (SG, "1,050", 1.05),
        (SG, "1.050", 1.05),
        (ANY, "1,234", '! x "1,234" may be 1.234 or 1234; type it as a number'),
        (ANY, "1.234", '! x "1.234" may be 1.234 or 1234; type it as a number'),
        (BRIX, "64,500", '! x "64,500" may be 64.5 or 64500; type it as a number'),
        (BRIX, "twelve", '! x "twelve" is not a number'),
        (BRIX, "140", "! x 140 is outside -1 to 45"),
        (BRIX, 140, "! x 140 is outside -1 to 45"),
        (BRIX, 1e308, "! x 1e+308 is outside -1 to 45"),
        (BRIX, True, "! x TRUE is not a number"),
        (BRIX, np.False_, "! x FALSE is not a number"),
        (BRIX, math.nan, "! x nan is not a number"),
        (BRIX, np.float64("nan"), "! x nan is not a number"),
        (BRIX, math.inf, "! x inf is not a number"),
        (BRIX, -math.inf, "! x -inf is not a number"),
        (BRIX, dt.datetime(2026, 3, 14), "! x 2026-03-14 is a date, not a number"),
        (BRIX, dt.time(12, 30), '! x "12:30:00" is not a number'),
        (BRIX, None, ""),
        (BRIX, "  ", ""),
        (BRIX, "! reading 140 is outside 0 to 45", "! reading 140 is outside 0 to 45"),
        (BRIX, "#N/A", "#N/A"),
        (DAY, dt.date(2026, 3, 14), 46095.0),
        (DAY, dt.datetime(2026, 3, 14, 12), 46095.5),
        (DAY, 46095, 46095.0),
        (CELSIUS, 68, "! x 68 is outside 5 to 45 °C; if that is °F, it is 20.0 °C"),
        (CELSIUS, 300, "! x 300 is outside 5 to 45 °C"),
        (SG, 1050, "! x 1050 is outside 0.98 to 1.206; as specific gravity that is 1.05"),
        (SG, 980, "! x 980 is outside 0.98 to 1.206; as specific gravity that is 0.98"),
        (SG, 1206, "! x 1206 is outside 0.98 to 1.206; as specific gravity that is 1.206"),
        (SG, 1207, "! x 1207 is outside 0.98 to 1.206"),
        (SG, 1.21, "! x 1.21 is outside 0.98 to 1.206"),  # a strong wort, no degrees
        (SG, 1.3, f"! x 1.3 is outside 0.98 to 1.206; {IN_DEGREES}"),
        (SG, 45, f"! x 45 is outside 0.98 to 1.206; {IN_DEGREES}"),
        (SG, 45.5, "! x 45.5 is outside 0.98 to 1.206"),  # no wort is so strong
        (
            SG,
            12.4,
            "! x 12.4 is outside 0.98 to 1.206; if that is °Plato or °Brix, "
            "convert it with GRAVITY_CONVERT",
        ),
        (SG, 500, "! x 500 is outside 0.98 to 1.206"),
        (POSITIVE, 0, "! x 0 is not above 0"),
        (POSITIVE, -1, "! x -1 is not above 0"),
        (POSITIVE, 11, "! x 11 is outside 0 to 10"),
        (POSITIVE, 1e-300, 1e-300),
    ],
)
def test_read(quantity, raw, answer):
    assert quantity.read(raw, "x") == answer
    numbers, texts = quantity.read_many([raw, 1.0], "x")
    assert texts.get(0, numbers[0]) == answer
    assert (1 in texts) == (not quantity.low <= 1.0 <= quantity.high)
    assert numbers.dtype == float


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (10**400, "beyond 1e308"),
        (-(10**400), "beyond 1e308"),
        (np.timedelta64(3, "D"), '"3 days"'),
        (np.complex128(1 + 2j), '"(1+2j)"'),
        (dt.timedelta(days=3), '"3 days, 0:00:00"'),
    ],
)
def test_what_no_cell_holds_gets_a_text_too(raw, shown):
    answer = f"! x {shown} is not a number"
    assert ANY.read(raw, "x") == answer
    numbers, texts = ANY.read_many([1.0, raw, 2], "x")
    assert texts == {1: answer}
    assert (numbers[0], numbers[2]) == (1.0, 2.0)


@pytest.mark.parametrize(
    ("raw", "answer"),
    [
        ("Plato", "Plato"),
        ("plato", "Plato"),
        (" °p ", "Plato"),
        ("sg", "SG"),
        ("Stone", '! scale "Stone" is not one of Plato, SG'),
        (5.0, "! scale 5 is not one of Plato, SG"),
        (True, "! scale TRUE is not one of Plato, SG"),
        (None, ""),
        ("! x", "! x"),
        ("#REF!", "#REF!"),
    ],
)
def test_read_choice(raw, answer):
    assert SCALE.read(raw, "scale") == answer


CELLS = st.one_of(
    st.none(),
    st.floats(),
    st.integers(-(10**18), 10**18),
    st.booleans(),
    st.text(max_size=8),
    st.from_regex(r"[+-]?[0-9]{1,3}[.,][0-9]{1,4}", fullmatch=True),
    st.sampled_from(["", " ", "! x", "#N/A", "12,4", "1,234"]),
    st.datetimes(),
    st.dates(),
)


@given(st.lists(CELLS, min_size=1, max_size=6))
@pytest.mark.parametrize("quantity", [BRIX, SG, CELSIUS, ANY, POSITIVE, DAY])
def test_a_column_reads_as_its_cells_do(quantity, cells):
    numbers, texts = quantity.read_many(cells, "x")
    for position, cell in enumerate(cells):
        answer = quantity.read(cell, "x")
        if isinstance(answer, str):
            assert texts[position] == answer
        else:
            assert position not in texts
            assert numbers[position] == answer
            assert quantity.low <= answer <= quantity.high


@pytest.mark.parametrize(
    ("quantity", "limits"),
    [
        (BRIX, "-1 to 45"),
        (POSITIVE, "above 0 to 10"),
        (SCALE, "Plato, SG"),
        # Ends of a scale are no round numbers: four decimals, of large ones none.
        (CELSIUS.within(-5.27311, 45.18289), "-5.2731 to 45.1828"),
        (CELSIUS.within(0, 264172052.62), "0 to 264172052"),
        (CELSIUS.within(0, 100000.62), "0 to 100000"),
        (CELSIUS.within(0, 99999.62), "0 to 99999.62"),
        (Number("Amount", depends_on="unit"), "limits by unit"),
    ],
)
def test_limits_in_words(quantity, limits):
    assert quantity.limits() == limits


def test_within_keeps_the_rest():
    narrow = CELSIUS.within(0, 70, help="In the jar")
    assert (narrow.low, narrow.high, narrow.unit, narrow.help) == (0, 70, "°C", "In the jar")
