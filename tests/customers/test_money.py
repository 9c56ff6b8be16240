"""Whole pence: rounding, splitting, sharing out by days, VAT of a line."""

from __future__ import annotations

import datetime as dt
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from customers.money import days_in, months_after, nearest, share_of_days, split, vat_on

PENCE = st.integers(-10_000_000, 10_000_000)
DAYS = st.dates(dt.date(2000, 1, 1), dt.date(2090, 1, 1))


@given(pence=PENCE, weights=st.lists(st.integers(0, 10_000), min_size=1, max_size=9))
def test_a_split_loses_no_penny_and_is_never_a_penny_off(pence, weights):
    if not sum(weights):
        weights[0] = 1
    parts = split(pence, weights)
    assert sum(parts) == pence
    shares = [Fraction(pence * weight, sum(weights)) for weight in weights]
    assert all(abs(part - share) < 1 for part, share in zip(parts, shares, strict=True))


def test_odd_pence_go_to_the_first_of_equals():
    assert split(100, [1, 1, 1]) == [34, 33, 33]
    assert split(-100, [1, 1, 1]) == [-34, -33, -33]


@pytest.mark.parametrize("weights", [[], [0], [0, 0], [2, -1]])
def test_there_must_be_something_to_split_by(weights):
    with pytest.raises(ValueError, match="split"):
        split(100, weights)


# Python's decimal module, ROUND_HALF_UP: to nearest, a half away from zero (its documentation).
@given(pence=PENCE, percent=st.sampled_from(["0", "5", "13.5", "20", "23"]))
def test_vat_is_rounded_as_decimal_rounds_halves_up(pence, percent):
    exact = Decimal(pence) * Decimal(percent) / 100
    rounded = exact.quantize(Decimal(1), rounding=ROUND_HALF_UP)
    assert vat_on(pence, Fraction(percent)) == int(rounded)


@given(pence=st.integers(0, 1_000_000), days=st.integers(1, 400), data=st.data())
def test_a_share_of_days_is_what_counting_day_by_day_gives(pence, days, data):
    used = data.draw(st.integers(0, days))
    day_by_day = sum((Fraction(pence, days) for _ in range(used)), Fraction(0))
    assert share_of_days(pence, used, days) == nearest(day_by_day)


def test_more_days_than_there_are_is_no_share():
    with pytest.raises(ValueError, match="share"):
        share_of_days(100, 8, 7)


# dateutil's relativedelta, an independent library: months are added to the end of a short month.
@given(day=DAYS, months=st.integers(0, 60))
def test_months_are_added_as_dateutil_adds_them(day, months):
    assert months_after(day, months) == day + relativedelta(months=months)


@given(day=DAYS, length=st.integers(0, 800))
def test_days_of_a_stretch_count_both_ends(day, length):
    assert days_in(day, day + dt.timedelta(days=length)) == length + 1
    assert days_in(day, day - dt.timedelta(days=1)) == 0
