"""VTIMEZONE against RFC 5545's worked example, the time zone database and python-dateutil."""

import io
from bisect import bisect_right
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from dateutil.tz import tzical
from icalendar import Calendar

from scheduler.calendar_invites.time_zones import vtimezone, yearly_observances

# The zones of the country profiles, and some whose rules are awkward: an inverted winter offset
# in the database, a half-hour change, southern summers, a Friday before a Sunday, a Saturday night.
ZONES = [
    "Europe/London",
    "Europe/Dublin",
    "Europe/Paris",
    "Europe/Berlin",
    "America/New_York",
    "America/Chicago",
    "America/Los_Angeles",
    "America/Phoenix",
    "America/Sao_Paulo",
    "America/Santiago",
    "America/Nuuk",
    "Asia/Jerusalem",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Pacific/Auckland",
    "Pacific/Chatham",
]


def offsets_by_rule(zone: str, last_year: int) -> tuple[list[datetime], list[timedelta]]:
    """Onsets in UTC and the offset after each, expanded from the written text by dateutil."""
    changes = []
    component = Calendar.from_ical(b"BEGIN:VCALENDAR\r\n%sEND:VCALENDAR" % written(zone))
    for part in component.walk():
        if part.name not in {"STANDARD", "DAYLIGHT"}:
            continue
        first = part["DTSTART"].dt
        onsets = [first]
        if "RRULE" in part:
            rule = rrulestr(part["RRULE"].to_ical().decode(), dtstart=first)
            onsets = rule.between(first, datetime(last_year, 12, 31), inc=True)  # noqa: DTZ001
        before, after = part["TZOFFSETFROM"].td, part["TZOFFSETTO"].td
        changes += [((onset - before).replace(tzinfo=UTC), after) for onset in onsets]
    changes.sort()
    return [at for at, _ in changes], [offset for _, offset in changes]


def written(zone: str) -> bytes:
    component = vtimezone(zone)
    assert component is not None
    return component.to_ical()


@pytest.mark.parametrize("zone", ZONES)
def test_every_hour_from_2025_to_2037_has_the_offset_of_the_database(zone):
    # Source: IANA time zone database as shipped in the tzdata package.
    onsets, offsets = offsets_by_rule(zone, 2037)
    truth = ZoneInfo(zone)
    hour, end = datetime(2025, 1, 1, tzinfo=UTC), datetime(2038, 1, 1, tzinfo=UTC)
    wrong = []
    while hour < end:
        if offsets[bisect_right(onsets, hour) - 1] != hour.astimezone(truth).utcoffset():
            wrong.append(hour)
        hour += timedelta(hours=1)
    assert wrong == []


@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York"])
def test_a_second_reader_agrees_around_every_change(zone):
    # Source: python-dateutil's own VTIMEZONE reader.
    reader = tzical(io.StringIO(written(zone).decode())).get(zone)
    truth = ZoneInfo(zone)
    for year in (2026, 2027, 2038):
        for start in (datetime(year, 3, 7), datetime(year, 10, 24)):  # noqa: DTZ001
            for hours in range(26 * 24):
                wall = start + timedelta(hours=hours)
                exists = wall.replace(tzinfo=truth).astimezone(UTC).astimezone(truth)
                if exists.replace(tzinfo=None) == wall:
                    assert wall.replace(tzinfo=reader).utcoffset() == exists.utcoffset(), wall


def test_new_york_reads_as_the_worked_example_of_the_standard():
    # Source: RFC 5545 §3.6.5, the rules for New York in force since 2007.
    lines = set(written("America/New_York").decode().splitlines())
    assert {"DTSTART:20070311T020000", "DTSTART:20071104T020000"} <= lines
    assert {"RRULE:FREQ=YEARLY;BYDAY=2SU;BYMONTH=3", "RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=11"} <= (
        lines
    )
    assert {"TZNAME:EST", "TZNAME:EDT", "TZOFFSETFROM:-0500", "TZOFFSETTO:-0400"} <= lines


def test_london_changes_at_one_in_winter_time_and_two_in_summer_time():
    # Source: Summer Time Order 2002, 1 a.m. Greenwich mean time on the last Sundays of March and
    # October; the wall clock in force before the change reads 01:00 and 02:00.
    text = written("Europe/London").decode()
    daylight = text[text.index("BEGIN:DAYLIGHT") : text.index("END:DAYLIGHT")].splitlines()
    standard = text[text.index("BEGIN:STANDARD") : text.index("END:STANDARD")].splitlines()
    assert "DTSTART:19810329T010000" in daylight
    assert "TZOFFSETFROM:+0000" in daylight
    assert "DTSTART:19961027T020000" in standard
    assert "TZOFFSETFROM:+0100" in standard


def test_no_zone_lists_dates_or_leaves_the_weekday_out():
    for zone in ZONES:
        text = written(zone).decode()
        assert "RDATE" not in text
        assert text.count("RRULE") == text.count("BYDAY")


@pytest.mark.parametrize("zone", ["Africa/Casablanca", "Africa/Cairo"])
def test_a_zone_that_follows_no_yearly_rule_has_none(zone):
    # Morocco changes with Ramadan; Egypt's Thursday midnight falls in either of two months.
    assert yearly_observances(zone) is None
    assert vtimezone(zone) is None
