from datetime import date

import numpy as np
import pytest

from servicing.forecasting.accumulation import BOOK_PRIOR, exposure
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import Spell
from servicing.forecasting.published_rates import GRAY_1995_LITRES_PER_PERSON
from tests.servicing.forecasting.known import system


def litres_per_person(years, **more):
    """Litres a person by the book's curve (b = 0.85, R = 85) after so many years."""
    columns = columns_of([row_of(system(persons=1.0, **more), BOOK_PRIOR)])
    start = columns.event_time[:, -1]
    return 85.0 * exposure(columns, start, start[:, None] + np.array([years]))[0, :, 1]


@pytest.mark.parametrize(("years", "measured"), GRAY_1995_LITRES_PER_PERSON.items())
def test_the_curve_passes_grays_two_measured_points(years, measured):
    # Gray 1995 (abstract): 0.254 L/person/day to 6 months, 0.178 to 60 months.
    assert litres_per_person([years])[0] == pytest.approx(measured, rel=0.05)


def test_the_curve_is_like_grays_power_law_at_one_and_five_years():
    # Power law through Gray's points: 83 L at 1 year, 325 at 5 (derived from the abstract).
    assert litres_per_person([1.0, 5.0]) == pytest.approx([83, 325], rel=0.03)


def test_the_curve_lies_among_the_published_rates():
    # Philip et al. 1993: 0.2 L/person/day over 3 years; IS 2470: 76.7 L/person/year.
    assert litres_per_person([3.0])[0] / 3 == pytest.approx(0.2 * 365.25, rel=0.10)
    assert litres_per_person([2.0])[0] / 2 == pytest.approx(76.7, rel=0.10)


def test_yearly_rate_falls_as_who_factor_f_does():
    # Franceys, Pickford & Reed 1992: F falls towards 1 as the interval grows.
    yearly = litres_per_person([1.0, 2.0, 3.0, 4.0, 5.0]) / [1, 2, 3, 4, 5]
    assert np.all(np.diff(yearly) < 0)
    assert yearly[0] / yearly[-1] == pytest.approx(1.3, abs=0.05)


def test_cold_adds_a_backlog_and_leaves_the_slope_alone():
    # ABNT NBR 7229 Table 3: constant difference between climates, the same 40 L a year.
    cold = litres_per_person([1.0, 2.0, 5.0], backlog_litres_per_person=29.0)
    assert cold - litres_per_person([1.0, 2.0, 5.0]) == pytest.approx([29.0, 29.0, 29.0])


def test_people_count_from_the_day_they_move_in():
    spells = (Spell(date(2000, 1, 1), 2), Spell(date(2021, 1, 1), 4))
    mixed = litres_per_person([1.0, 3.0], occupancy=spells) * 1.0
    two = 2 * litres_per_person([1.0, 3.0])
    assert mixed[0] == pytest.approx(two[0], rel=0.01)
    assert mixed[1] == pytest.approx(2 * two[1] - two[0], rel=0.01)
