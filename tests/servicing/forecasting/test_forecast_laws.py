"""Laws that hold whatever the household: tried on many invented ones."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.servicing.forecasting.known import dated, forecast, system

some = settings(max_examples=40, deadline=None)
litres = st.floats(0, 900)
persons = st.floats(0.5, 12)


@some
@given(persons, st.floats(1.01, 3))
def test_more_people_are_never_later(people, more):
    few, many = (dated(system(persons=p)) for p in (people, people * more))
    assert not any(a and b is None for a, b in zip(few, many, strict=True))
    assert all(a is None or b <= a for a, b in zip(few, many, strict=True))


@some
@given(st.floats(0.5, 6), st.floats(0.3, 2.5), st.floats(5, 300))
def test_a_fuller_dip_is_never_later(people, times, more):
    # Dips from 0.3 to 2.5 times the expected level; far below that a dip says little but
    # "something is wrong", the range widens, and its early end may move by some days.
    expected = 136 + 85 * people * 1.667**0.85
    day, dipped = date(2021, 9, 1), times * expected
    low, high = (
        dated(system((day, min(amount, 2720)), persons=people))
        for amount in (dipped, dipped + more)
    )
    slack = timedelta(days=2)
    assert all(a is None or b <= a + slack for a, b in zip(low, high, strict=True))


@some
@given(persons, litres, st.floats(0.1, 10))
def test_twice_the_tank_for_twice_the_people_changes_nothing(people, dipped, scale):
    small = dated(system((date(2021, 9, 1), dipped), persons=people))
    large = dated(
        system((date(2021, 9, 1), dipped * scale), persons=people * scale, volume=2720 * scale)
    )
    for one, other in zip(small, large, strict=True):
        assert one == other or abs((one - other).days) <= 1


@some
@given(st.permutations([(date(2020, 9, 1), 200), (date(2021, 3, 1), 330), (date(2022, 1, 5), 560)]))
def test_the_order_of_visits_is_irrelevant(dips):
    assert dated(system(*dips)) == dated(system(*sorted(dips)))


@some
@given(st.floats(0.02, 0.6), st.floats(0.02, 0.3))
def test_more_accepted_risk_is_never_sooner(risk, more):
    facts = system((date(2021, 9, 1), 420))
    assert (
        dated(replace(facts, accepted_risk=risk))[3]
        <= (dated(replace(facts, accepted_risk=risk + more))[3])
    )


@some
@given(st.floats(0.02, 0.6))
def test_the_due_date_is_where_the_chance_reaches_the_accepted_risk(risk):
    facts = replace(system((date(2021, 9, 1), 420)), accepted_risk=risk)
    due = forecast(facts, curve_points=0).due_on
    (chance,) = forecast(facts, by=(due,), curve_points=0).over_by
    assert chance == pytest.approx(risk, abs=0.005)
