"""vobject, libical and ical.js read the same UID, SEQUENCE, start and end as we wrote."""

from __future__ import annotations

import email
import email.policy
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduler.calendar_invites.entries import Entry, Party
from scheduler.calendar_invites.objects import cancellation, counter_declined, feed, invitation
from scheduler.messages import telling
from scheduler.messages.mime import wire_bytes
from scheduler.messages.outbox import letter_of
from scheduler.models import CalendarEvent, Message
from tests.scheduler.messages.other_parsers import READERS
from tests.scheduler.messages.visits import NOW, make_round, make_visit

pytestmark = pytest.mark.service
OFFICE, OMAR = Party("bookings@ebbmark.example", 'Larkholt; "Aftercare", Ltd'), Party("o@a.example")
ZONES = ("Europe/London", "Europe/Dublin", "America/New_York", "Australia/Sydney", "UTC")
# Before, on and after the days on which clocks change in one zone or another, and a plain day.
DAYS = (
    date(2027, 3, 14),
    date(2027, 3, 28),
    date(2027, 4, 4),
    date(2027, 10, 3),
    date(2027, 10, 31),
    date(2027, 11, 7),
    date(2027, 6, 18),
)
# A local time that comes twice means the first (RFC 5545 §3.3.5). libical 3.0.16 and ical.js 2.2.1
# take the second, so none stands here; no visit begins or ends in those hours of the night.
HOURS = (0, 9, 23)
LASTS = timedelta(minutes=30)


def entry(zone: str, day: date, hour: int, number: int) -> Entry:
    starts = datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(zone))
    return Entry(
        uid=f"visit-{zone.replace('/', '-')}-{number}@ebbmark.example",
        sequence=number,
        stamp=datetime(2026, 11, 25, 10, tzinfo=UTC),
        starts=starts.astimezone(UTC),
        ends=starts.astimezone(UTC) + LASTS,
        zone=zone,
        summary="Emptying, ½ full; “Fold Farm” — ΣΩ \\ 🐄" * 4,
        description="One\nline\\n and; another, with a very long tail " * 9,
        location="1 Fold Lane, Larkholt",
        position=(52.5, -2.9),
        status="CONFIRMED",
    )


def entries(zone: str) -> list[Entry]:
    spots = [(day, hour) for day in DAYS for hour in HOURS]
    return [entry(zone, day, hour, number) for number, (day, hour) in enumerate(spots)]


def as_written(one: Entry) -> tuple[str, int, int, int]:
    return one.uid, one.sequence, round(one.starts.timestamp()), round(one.ends.timestamp())


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("zone", ZONES)
def test_a_feed_is_read_as_written_round_every_change_of_clocks(reader, zone):
    written = entries(zone)
    body = feed(written, name="Rounds, of “Tanker 1”", uid="feed-1@ebbmark.example")
    assert sorted(READERS[reader](body)) == sorted(as_written(one) for one in written)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("write", [invitation, cancellation, counter_declined])
def test_every_kind_of_object_is_read_as_written(reader, write):
    for zone in ZONES:
        one = entry(zone, DAYS[1], 9, 3)
        body = write(one, organizer=OFFICE, attendee=OMAR)
        assert READERS[reader](body) == [as_written(one)]


@pytest.mark.django_db
@pytest.mark.parametrize("reader", READERS)
def test_what_leaves_by_mail_is_read_as_the_database_says(reader):
    visit = make_visit()
    planned = make_round(visit)
    telling.tell_round_accepted(planned=planned, now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    visit.starts_at += timedelta(days=1)
    visit.ends_at += timedelta(days=1)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW)
    newest = {message.event_id: message for message in Message.objects.order_by("pk")}
    assert len(newest) == CalendarEvent.objects.count() == 2
    for message in newest.values():
        mail = email.message_from_bytes(wire_bytes(letter_of(message)), policy=email.policy.default)
        parts = [one for one in mail.walk() if one.get_content_type() == "text/calendar"]
        event = message.event
        ((uid, sequence, start, end),) = READERS[reader](parts[0].get_payload(decode=True))
        assert (uid, sequence) == (event.uid, event.sequence)
        assert start == round(event.starts_at.timestamp())
        assert end == round(event.ends_at.timestamp())
