from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.forecasting.year_clock import YearClock, days_of, season_table, years_of

SUMMER = YearClock(season_table((6, 9))[None, :])


def test_days_survive_the_way_there_and_back():
    days = [date(1999, 12, 31), date(2000, 2, 29), date(2024, 2, 29), date(2061, 7, 1)]
    years = np.array([years_of(day) for day in days])
    assert [day.item() for day in days_of(years)] == days


def test_what_never_comes_has_no_date():
    assert np.isnat(days_of(np.array([np.inf, np.nan]))).all()


def test_a_summer_place_uses_its_whole_year_between_june_and_september():
    use = SUMMER.use(np.array([[50.0, 50.25, 50 + 5 / 12, 50 + 7 / 12, 50 + 9 / 12, 50.9]]))
    assert use[0] == pytest.approx([50.0, 50.0, 50.0, 50.5, 51.0, 51.0])


@given(st.floats(0, 100))
def test_use_turns_back_into_the_earliest_time_that_has_it(use):
    years = SUMMER.years(np.array([[use]]))
    assert SUMMER.use(years)[0, 0] == pytest.approx(use, abs=1e-9)
    assert years[0, 0] <= SUMMER.years(np.array([[use + 1e-3]]))[0, 0]


def test_a_season_may_pass_new_year():
    table = season_table((11, 2))
    assert table[2] == pytest.approx(0.5)
    assert table[10] == pytest.approx(0.5)
    assert table[12] == 1.0


def test_a_steady_clock_changes_nothing():
    years = np.array([[1.0, 2.5]])
    assert YearClock(None).use(years) is years
