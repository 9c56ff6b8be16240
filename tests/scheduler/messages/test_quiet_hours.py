"""Nobody is written to at night or on a bank holiday where they live."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduler.messages.quiet_hours import (
    is_bank_holiday,
    is_quiet,
    next_waking_moment,
    reminder_moment,
)

LONDON = {"zone": "Europe/London", "region": "GB-ENG"}


@pytest.mark.parametrize(
    ("region", "day", "expected"),
    [
        # Source: the published list of UK bank holidays for 2026 (gov.uk), differing by nation.
        ("GB-ENG", date(2026, 4, 6), True),  # Easter Monday
        ("GB-SCT", date(2026, 4, 6), False),
        ("GB-SCT", date(2026, 1, 2), True),
        ("GB-ENG", date(2026, 1, 2), False),
        ("GB-NIR", date(2026, 3, 17), True),  # St Patrick's Day
        ("GB-ENG", date(2026, 3, 17), False),
        ("GB-SCT", date(2026, 11, 30), True),  # St Andrew's Day
        ("GB-ENG", date(2026, 12, 28), True),  # Boxing Day, in lieu of a Saturday
        ("IE", date(2026, 3, 17), True),
        ("", date(2026, 12, 25), False),
    ],
)
def test_bank_holidays_are_those_of_the_region(region, day, expected):
    assert is_bank_holiday(day, region) is expected


@pytest.mark.parametrize(
    ("hour", "minute", "quiet"),
    [(7, 59, True), (8, 0, False), (19, 59, False), (20, 0, True), (0, 0, True)],
)
def test_the_night_is_from_eight_to_eight_by_the_local_clock(hour, minute, quiet):
    for day in (date(2027, 1, 20), date(2027, 7, 20)):
        moment = datetime(
            day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo(LONDON["zone"])
        )
        assert is_quiet(moment, **LONDON) is quiet


def test_what_comes_on_christmas_eve_at_night_waits_for_the_29th():
    # 25 and 26 December 2027 are a Saturday and a Sunday; Monday and Tuesday are given in lieu.
    eve = datetime(2027, 12, 24, 21, tzinfo=UTC)
    assert next_waking_moment(eve, **LONDON) == datetime(2027, 12, 29, 8, tzinfo=UTC)


def test_a_moment_by_day_stays_as_it_is():
    noon = datetime(2027, 6, 7, 12, 34, tzinfo=UTC)
    assert next_waking_moment(noon, **LONDON) == noon


@pytest.mark.parametrize("day", [date(2027, 3, 28), date(2027, 10, 31)])
def test_no_moment_of_a_day_on_which_clocks_change_leads_into_the_night(day):
    # The Sundays on which British clocks change in 2027.
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
    for _ in range(24 * 6):
        waking = next_waking_moment(moment, **LONDON)
        assert waking >= moment
        assert not is_quiet(waking, **LONDON)
        moment += timedelta(minutes=10)


@pytest.mark.parametrize("day", [date(2027, 3, 28), date(2027, 10, 31)])
def test_reminders_leave_at_nine_local_also_when_clocks_change(day):
    moment = reminder_moment(day, **LONDON)
    assert moment.astimezone(ZoneInfo("Europe/London")).hour == 9


def test_reminders_for_a_holiday_leave_on_the_next_day_that_is_none():
    assert reminder_moment(date(2026, 4, 3), **LONDON) == datetime(2026, 4, 4, 8, tzinfo=UTC)


def test_each_zone_has_its_own_morning():
    evening = datetime(2027, 1, 20, 22, tzinfo=UTC)
    assert next_waking_moment(evening, zone="America/New_York", region="US") == evening
    assert next_waking_moment(evening, **LONDON) == datetime(2027, 1, 21, 8, tzinfo=UTC)
