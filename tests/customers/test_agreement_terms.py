"""Years, instalments and days to cancel."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from customers.agreement_terms import (
    instalments,
    last_day_to_cancel,
    price_of_term,
    right_to_cancel,
    working_day_from,
    year_around,
    years_of,
)
from customers.country_rules import RuleBook
from customers.models import Agreement, CountryProfile
from tests.make import make_profile

DAYS = st.dates(dt.date(2020, 1, 1), dt.date(2060, 1, 1))


def agreement(starts_on, ends_on, price=24_000, every=12, **fields) -> Agreement:
    return Agreement(
        starts_on=starts_on,
        ends_on=ends_on,
        price_pence=price,
        charged_every_months=every,
        **fields,
    )


# --- Days to cancel. SI 2013/3134 regulation 30: the end of 14 days after the day on which the
# contract is made (services); holidays and weekends count, as calendar days. Worked by hand.


@pytest.mark.parametrize(
    ("agreed", "last"),
    [
        ("2026-06-01", "2026-06-15"),  # day 1 is the 2nd, day 14 the 15th
        ("2026-12-18", "2027-01-01"),  # a bank holiday is a day like any other
        ("2027-02-14", "2027-02-28"),
        ("2028-02-15", "2028-02-29"),  # a leap year
        ("2026-10-17", "2026-10-31"),  # clocks go back between: still calendar days
    ],
)
def test_fourteen_days_are_counted_from_the_day_after(agreed, last):
    day = dt.date.fromisoformat(agreed)
    counted = last_day_to_cancel(day, days=14, informed_on=day)
    assert counted == dt.date.fromisoformat(last)


@given(agreed=DAYS)
def test_counting_one_by_one_from_the_day_after_gives_the_same_day(agreed):
    days = [agreed + dt.timedelta(days=number) for number in range(1, 15)]
    assert last_day_to_cancel(agreed, days=14, informed_on=agreed) == days[-1]


# Regulation 31, from memory, and as restated by legal guides: 12 months more without the
# information; given within these, 14 days from being told.
def test_who_was_not_told_of_the_right_has_twelve_months_more():
    agreed = dt.date(2026, 6, 1)
    late = {"days": 14, "uninformed_months": 12}
    assert last_day_to_cancel(agreed, informed_on=None, **late) == dt.date(2027, 6, 15)
    told = dt.date(2026, 9, 10)
    assert last_day_to_cancel(agreed, informed_on=told, **late) == dt.date(2026, 9, 24)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("customer", "sold", "has"),
    [
        ("consumer", "distance", True),
        ("consumer", "off_premises", True),
        ("consumer", "on_premises", False),
        ("business", "distance", False),
        ("", "", True),  # nobody said: the consumer's rules are kept
    ],
)
def test_consumers_at_a_distance_may_cancel_and_businesses_may_not(customer, sold, has):
    day = dt.date(2026, 11, 2)
    sale = agreement(day, day, customer_is=customer, sold_how=sold, information_given_on=day)
    rules = RuleBook(make_profile(), day)
    found = right_to_cancel(agreement=sale, agreed_on=day, rules=rules)
    assert (found is not None) is has
    assert not has or (found.last_day == dt.date(2026, 11, 16) and found.rule.is_law)


# Regulation (EEC, Euratom) No 1182/71, Article 3(4): a period that would end on a holiday,
# Saturday or Sunday ends with the next working day (from memory). 14 November 2026 is a Saturday.
@pytest.mark.django_db
def test_in_ireland_a_last_day_at_the_weekend_moves_to_monday():
    day = dt.date(2026, 10, 31)
    ireland = CountryProfile.objects.get(code="ireland")
    sale = agreement(day, day, information_given_on=day)
    found = right_to_cancel(agreement=sale, agreed_on=day, rules=RuleBook(ireland, day))
    assert found.last_day == dt.date(2026, 11, 16)
    assert not found.rule.is_law
    assert working_day_from(dt.date(2026, 12, 25), ireland) == dt.date(2026, 12, 28)


# --- Years and instalments ---


@given(start=DAYS, length=st.integers(0, 1500))
def test_years_cover_every_day_of_a_term_once(start, length):
    end = start + dt.timedelta(days=length)
    years = list(years_of(start, end))
    assert sum(year.days for year in years) == length + 1
    assert all(a.last + dt.timedelta(days=1) == b.first for a, b in zip(years, years[1:]))  # noqa: B905, RUF007
    day = start + dt.timedelta(days=length // 2)
    year = year_around(agreement(start, end), day)
    assert year.first <= day <= year.last


@given(
    start=DAYS,
    length=st.integers(0, 1500),
    price=st.integers(0, 500_000),
    every=st.sampled_from([1, 3, 6, 12]),
)
def test_instalments_cover_the_term_once_and_add_up_to_its_price(start, length, price, every):
    sold = agreement(start, start + dt.timedelta(days=length), price, every)
    parts = instalments(sold)
    assert sum(part.days for part in parts) == length + 1
    assert sum(part.pence for part in parts) == price_of_term(sold)
    years = list(years_of(sold.starts_on, sold.ends_on))
    whole = sum(year.days >= 365 for year in years)
    assert price * (whole - 1) <= price_of_term(sold) <= price * len(years)


def test_a_year_in_months_costs_the_year_and_the_first_months_take_the_odd_pence():
    parts = instalments(agreement(dt.date(2026, 1, 1), dt.date(2026, 12, 31), 10_000, 1))
    assert [part.pence for part in parts] == [834] * 4 + [833] * 8


def test_a_short_term_costs_its_share_by_days():
    short = agreement(dt.date(2026, 7, 1), dt.date(2026, 9, 30), 36_500)
    assert price_of_term(short) == 9_200  # 92 days at 1.00 a day
