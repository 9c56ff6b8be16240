"""The rungs of the ladder: trade practice, no published source."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.messages.steps import offer_rung, offered_around, visit_rung, wants_ringing

DUE = date(2027, 6, 30)


def name_on(days: int, due: date = DUE) -> str | None:
    rung = offer_rung(due + timedelta(days=days), due)
    return rung.step.name if rung else None


@pytest.mark.parametrize(
    ("days", "name"),
    [
        (-61, None),
        (-60, "offer"),
        (-31, "offer"),
        (-30, "offer_again"),
        (13, "offer_again"),
        (14, "overdue"),
        (44, "overdue"),
        (45, "overdue_again"),
        (59, "overdue_again"),
        (60, None),
    ],
)
def test_each_step_lasts_until_the_next(days, name):
    assert name_on(days) == name


def test_after_the_last_letter_comes_the_telephone():
    assert not wants_ringing(DUE + timedelta(days=59), DUE)
    assert wants_ringing(DUE + timedelta(days=60), DUE)


@pytest.mark.parametrize(
    ("due", "around"),
    [
        (date(2026, 11, 30), date(2026, 11, 30)),
        (date(2026, 12, 1), date(2026, 11, 30)),
        (date(2026, 12, 31), date(2026, 11, 30)),
        (date(2027, 1, 31), date(2026, 11, 30)),
        (date(2027, 2, 1), date(2027, 2, 1)),
    ],
)
def test_what_falls_due_in_midwinter_is_offered_for_november(due, around):
    assert offered_around(due) == around


@given(st.dates(date(2026, 1, 1), date(2030, 1, 1)), st.integers(-400, 400))
def test_the_rung_reached_never_goes_back_as_days_pass(due, days):
    order = [None, "offer", "offer_again", "overdue", "overdue_again"]
    today = due + timedelta(days=days)
    now, later = offer_rung(today, due), offer_rung(today + timedelta(days=1), due)
    if now is not None and later is not None:
        assert order.index(later.step.name) >= order.index(now.step.name)
    if now is not None:
        assert now.day <= today < now.until


@pytest.mark.parametrize(
    ("days_before", "booked_days_before", "name"),
    [
        (8, 30, None),
        (7, 30, "reminder_week"),
        (2, 30, "reminder_week"),
        (1, 30, "reminder_day"),
        (0, 30, None),
        (5, 7, None),  # booked that week: the invitation has just said it all
        (5, 8, "reminder_week"),
        (1, 2, "reminder_day"),
        (1, 1, None),
    ],
)
def test_a_visit_is_recalled_a_week_and_a_day_before(days_before, booked_days_before, name):
    visit = date(2027, 6, 18)
    rung = visit_rung(
        visit - timedelta(days=days_before), visit, visit - timedelta(days=booked_days_before)
    )
    assert (rung.step.name if rung else None) == name
