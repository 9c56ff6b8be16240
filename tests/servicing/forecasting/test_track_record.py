from datetime import date, timedelta

import numpy as np
import pytest

from servicing.forecasting.forecast import forecast_system
from servicing.forecasting.outcomes import Curve
from servicing.forecasting.track_record import Found, as_read, level_on, track_record, wilson
from tests.servicing.forecasting.known import EMPTIED, system

MADE = date(2025, 1, 1)
CURVE = Curve((MADE, date(2025, 1, 11)), (100.0, 110.0), (200.0, 220.0), (300.0, 330.0))


def found(litres, days=100, p10=400.0, p50=500.0, p90=600.0):
    return Found(MADE, MADE + timedelta(days=days), p10, p50, p90, litres, 2720.0)


def test_a_stored_curve_is_read_between_its_points_and_not_beyond():
    assert level_on(CURVE, date(2025, 1, 6)) == pytest.approx((105, 210, 315))
    assert level_on(CURVE, date(2025, 1, 12)) is None


def test_the_range_of_a_reading_is_wider_than_that_of_the_level():
    low, high = as_read(found(0), 1.0)
    assert low < 400
    assert high > 600
    assert as_read(found(0), 2.0)[1] > high


def test_honest_forecasts_hold_four_times_in_five():
    # Levels and dips drawn here by the errors both are said to have.
    random = np.random.default_rng(8)
    pairs = []
    for _ in range(4000):
        level = 500 + 100 / 1.28155 * random.normal()
        pairs.append(found(level + np.hypot(0.12 * level, 73.44) * random.normal()))
    record = track_record(pairs)[0]
    assert record.held == pytest.approx(0.80, abs=0.02)
    assert record.held_low < 0.80 < record.held_high
    assert record.bias == pytest.approx(0, abs=0.003)


def test_too_low_forecasts_are_seen_as_such():
    record = track_record([found(litres) for litres in (650, 760, 790, 900)])[0]
    assert record.held == 0.25
    assert record.bias == pytest.approx((775 - 500) / 2720)


def test_records_are_kept_by_age_of_the_forecast():
    records = track_record([found(500, days) for days in (10, 100, 120, 800)])
    assert [(r.from_days, r.forecasts) for r in records] == [(0, 4), (0, 1), (90, 2), (730, 1)]


def test_no_forecast_has_no_record():
    (record,) = track_record([])
    assert record.forecasts == 0
    assert np.isnan(record.held)


def test_an_empty_tank_found_empty_holds():
    nothing = Found(MADE, MADE, 0.0, 40.0, 90.0, 0.0, 2720.0)
    assert track_record([nothing])[0].held == 1.0


def test_wilsons_interval_is_the_published_one():
    # Newcombe 1998, Statist. Med. 17:857-872, table I, score method, 81 of 263: from memory.
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)


def test_a_real_curve_answers_for_a_later_day():
    forecast = forecast_system(system(), today=date(2022, 1, 1))
    low, middle, high = level_on(forecast.curve, date(2022, 1, 1))
    assert low < middle < high
    assert middle == pytest.approx(forecast.level_p50, rel=0.02)
    assert level_on(forecast.curve, EMPTIED - timedelta(days=1)) is None
