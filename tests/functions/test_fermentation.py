"""What the fermentation sheet sees."""

import datetime

import pytest

from xlfuncs.science import least_squares
from xlfuncs.udfs import FERMENTATION_FORECAST, FERMENTATION_STATE

DAYS = [0, 1, 2, 3, 4, 6]
SGS = [1.050, 1.046, 1.032, 1.019, 1.013, 1.011]


def test_forecast_with_dates_blanks_and_columns():
    [plain] = FERMENTATION_FORECAST(DAYS, SGS)
    first = datetime.datetime(2026, 3, 14)
    dates = [[first + datetime.timedelta(days=day)] for day in DAYS]
    [dated] = FERMENTATION_FORECAST([*dates, [None]], [*([sg] for sg in SGS), [1.011]])
    assert dated[0] == pytest.approx(plain[0], abs=1e-7)
    assert dated[2] - 46_095 == pytest.approx(plain[2], abs=1e-3)
    assert len(plain) == 4


@pytest.mark.parametrize(
    ("days", "sgs", "text"),
    [
        ([0, 1], [1.050, 1.040], "! a forecast needs 3 readings, not 2"),
        ([0, 1, 2], [1.050] * 3, "! sgs have not yet fallen by 0.003 from the first: no forecast"),
        (
            [1, 1.1, 1.2, 1.3],
            [1.050, 1.040, 1.030, 1.020],
            "! readings over 0.3 days are too few for a forecast: it needs 1 day or more",
        ),
        ([2, 2, 2, 2], [1.050, 1.040, 1.030, 1.020], "! readings over 0 days are too few"),
        ([0, 1, 2], [1.050, 50, 1.040], "! sgs 50 is outside 0.98 to 1.206"),
    ],
)
def test_no_forecast(days, sgs, text):
    [answer] = FERMENTATION_FORECAST(days, sgs)
    assert all(cell.startswith(text) for cell in answer)


def test_state_takes_an_uncertainty():
    assert FERMENTATION_STATE([0, 4, 6, 8], [1.050, 1.013, 1.0115, 1.010]) == "slowing"
    assert FERMENTATION_STATE([0, 4, 6, 8], [1.050, 1.013, 1.0115, 1.010], 0.002) == "steady"
    assert FERMENTATION_STATE([0], [1.050]) == "too few readings"
    assert FERMENTATION_STATE([None], [None]) == ""


def test_a_forecast_that_does_not_settle_is_refused(monkeypatch):
    monkeypatch.setattr(least_squares, "_MOST_STEPS", 1)
    assert FERMENTATION_FORECAST([0, 1, 2, 3], [1.050, 1.046, 1.032, 1.019])[0][0] == (
        "! no curve of a fermentation goes through these sgs: no forecast"
    )
