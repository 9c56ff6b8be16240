"""Season tickets: at most twelve months (gov.uk, "Duty of care: waste transfer notes")."""

from __future__ import annotations

import datetime as dt

import pytest

from servicing.documents import (
    Collection,
    Registration,
    SeasonTicket,
    last_day,
    season_ticket,
    why_not_season,
)
from tests.servicing.documents.facts_to_print import STAMP, make_note


def make_ticket(**fields):
    told = {"note": make_note(), "begins_on": dt.date(2026, 4, 1), "ends_on": dt.date(2027, 3, 31)}
    return SeasonTicket(**{**told, **fields})


def test_twelve_months_are_not_refused():
    assert why_not_season(make_ticket()) == ()


def test_a_day_more_is_refused():
    assert "twelve months" in why_not_season(make_ticket(ends_on=dt.date(2027, 4, 1)))[0]


def test_a_season_that_ends_before_it_begins_is_refused():
    assert "before it begins" in why_not_season(make_ticket(ends_on=dt.date(2026, 3, 1)))[0]


def test_a_registration_that_runs_out_within_the_season_is_refused():
    registration = Registration(number="T", valid_from=None, valid_to=dt.date(2026, 12, 1))
    reasons = why_not_season(make_ticket(note=make_note(registration=registration)))
    assert [reason for reason in reasons if "ran out on 1 December 2026" in reason]


def test_time_and_quantity_stand_on_the_schedule_and_are_not_asked_of_the_ticket():
    assert why_not_season(make_ticket(note=make_note(transferred_at=""))) == ()


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (dt.date(2026, 4, 1), dt.date(2027, 3, 31)),
        (dt.date(2028, 2, 29), dt.date(2029, 2, 28)),
        (dt.date(2027, 3, 1), dt.date(2028, 2, 29)),
    ],
)
def test_the_last_day_is_the_eve_of_the_anniversary(first, last):
    assert last_day(first) == last


def test_each_collection_stands_on_the_schedule(read):
    made = Collection(on=dt.date(2026, 5, 4), at="10:15", quantity="2,800 L", site="House 1")
    text = read(season_ticket(make_ticket(collections=(made,)), STAMP))
    for words in ("4 May 2026 10:15 2,800 L House 1", "Until 31 March 2027", "Schedule"):
        assert words in text


def test_scotland_wants_every_line_signed(read):
    text = read(season_ticket(make_ticket(note=make_note(country="scotland")), STAMP))
    assert "Check: In Scotland" in text
