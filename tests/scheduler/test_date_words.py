"""Likely dates in words."""

import datetime as dt

import pytest

from scheduler.date_words import likely_span, next_emptying_words
from servicing.models import Forecast

TODAY = dt.date(2026, 11, 25)


@pytest.mark.parametrize(
    ("early", "late", "words"),
    [
        (dt.date(2027, 3, 9), dt.date(2027, 6, 2), "between March and June 2027"),
        (dt.date(2027, 11, 9), dt.date(2028, 2, 2), "between November 2027 and February 2028"),
        (dt.date(2027, 3, 1), dt.date(2027, 3, 31), "in March 2027"),
        (dt.date(2026, 1, 1), dt.date(2027, 3, 31), "between now and March 2027"),
        (dt.date(2025, 1, 1), dt.date(2026, 1, 1), "about now"),
        (dt.date(2031, 1, 1), None, "not before January 2031"),
    ],
)
def test_a_span_is_said_in_months(early, late, words):
    assert likely_span(early, late, TODAY) == words


def forecast(**fields):
    return Forecast(due_on=dt.date(2027, 2, 1), **fields)


def test_a_forecast_is_said_as_likely():
    one = forecast(removal_p10=dt.date(2027, 3, 1), removal_p90=dt.date(2027, 6, 1))
    assert next_emptying_words(one, TODAY) == "likely between March and June 2027"


def test_a_ceiling_inside_the_span_ends_it():
    one = forecast(
        removal_p10=dt.date(2027, 3, 1),
        removal_p90=dt.date(2029, 6, 1),
        ceiling_on=dt.date(2028, 1, 5),
    )
    assert next_emptying_words(one, TODAY) == "likely between March 2027 and January 2028"


def test_a_ceiling_before_the_span_is_the_day_that_counts():
    one = forecast(removal_p10=dt.date(2030, 3, 1), ceiling_on=dt.date(2027, 5, 4))
    assert next_emptying_words(one, TODAY).startswith("by 4 May 2027, the longest time")


def test_a_ceiling_that_has_passed_means_now():
    one = forecast(removal_p10=dt.date(2030, 3, 1), ceiling_on=dt.date(2026, 5, 4))
    assert next_emptying_words(one, TODAY).startswith("now")


@pytest.mark.parametrize("one", [None, Forecast(due_on=None)])
def test_what_is_not_known_is_not_said(one):
    assert next_emptying_words(one, TODAY) == ""
