"""Selling, renewing and ending aftercare."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from hypothesis import given
from hypothesis import strategies as st

from customers.agreements import end_agreement, renew_agreement, start_agreement, term_end
from customers.models import AftercarePlan, Agreement
from tests.make import make_organisation, make_premises, make_user

JAN, DEC = dt.date(2026, 1, 1), dt.date(2026, 12, 31)


@pytest.fixture
def place(db):
    return make_premises(make_organisation())


@pytest.fixture
def ines(place):
    return make_user(place.organisation)


@pytest.fixture
def plan(place):
    return AftercarePlan.objects.create(
        organisation=place.organisation, name="Yearly look", price_pence=24_000
    )


def sell(place, plan, by, **fields):
    term = {"starts_on": JAN, "ends_on": DEC, **fields}
    return start_agreement(premises=place, plan=plan, by=by, **term)


def test_an_agreement_without_a_price_is_at_the_plans(place, plan, ines):
    assert sell(place, plan, ines).price_pence == 24_000


def test_two_agreements_do_not_cover_one_day(place, plan, ines):
    sell(place, plan, ines)
    with pytest.raises(ValueError, match="already"):
        sell(place, plan, ines, starts_on=DEC, ends_on=dt.date(2027, 12, 30))


def test_after_an_early_end_another_may_start(place, plan, ines):
    first = sell(place, plan, ines)
    end_agreement(agreement=first, ended_on=dt.date(2026, 6, 1), reason="Sold", by=ines)
    sell(place, plan, ines, starts_on=dt.date(2026, 6, 1))
    assert Agreement.objects.current(dt.date(2026, 7, 1)).count() == 1


def test_renewing_gives_the_next_year_at_the_price_said(place, plan, ines):
    following = renew_agreement(agreement=sell(place, plan, ines), price_pence=26_000, by=ines)
    assert (following.starts_on, following.ends_on) == (
        dt.date(2027, 1, 1),
        dt.date(2027, 12, 31),
    )
    assert following.price_pence == 26_000


def test_renewing_twice_gives_the_same_agreement(place, plan, ines):
    first = sell(place, plan, ines)
    once = renew_agreement(agreement=first, price_pence=26_000, by=ines)
    assert renew_agreement(agreement=first, price_pence=99, by=ines) == once
    assert Agreement.objects.count() == 2


def test_ending_twice_keeps_the_first_day_and_reason(place, plan, ines):
    sold = sell(place, plan, ines)
    end_agreement(agreement=sold, ended_on=dt.date(2026, 6, 1), reason="Sold", by=ines)
    end_agreement(agreement=sold, ended_on=dt.date(2026, 7, 1), reason="Again", by=ines)
    sold.refresh_from_db()
    assert (sold.ended_on, sold.ended_reason) == (dt.date(2026, 6, 1), "Sold")


@pytest.mark.parametrize("role", ["planner", "crew", "reader"])
def test_only_the_office_sells(place, plan, role):
    with pytest.raises(PermissionDenied):
        sell(place, plan, make_user(place.organisation, role))
    assert not Agreement.objects.exists()


@given(start=st.dates(dt.date(2000, 3, 1), dt.date(2060, 1, 1)), years=st.integers(1, 3))
def test_a_term_of_whole_years_is_followed_by_one_as_long(start, years):
    if (start.month, start.day) == (2, 29):
        start = start.replace(day=28)
    end = start.replace(year=start.year + years) - dt.timedelta(days=1)
    following = term_end(start, end) + dt.timedelta(days=1)
    assert (following.month, following.day) == (start.month, start.day)
    assert following.year == start.year + 2 * years
