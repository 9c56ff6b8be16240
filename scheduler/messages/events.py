"""The event in each attendee's calendar: its revisions, and the objects that state them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Q

from scheduler.calendar_invites.entries import (
    Entry,
    Party,
    Terms,
    later_stamp,
    one_line,
    sequence_after,
)
from scheduler.calendar_invites.objects import cancellation, invitation
from scheduler.messages.compose import CalendarPart
from scheduler.messages.senders import organizer_of
from scheduler.models import CalendarEvent, Message, new_uid

if TYPE_CHECKING:
    from scheduler.calendar_invites.entries import Answer
    from scheduler.models import Appointment, Round

NEVER = datetime(1970, 1, 1, tzinfo=UTC)
REMIND_BEFORE = (timedelta(days=1),)
EXACT_PLACES = ("measured", "grid", "map")


@dataclass(frozen=True, slots=True)
class Said:
    """What an event is to say now."""

    starts_at: datetime
    ends_at: datetime
    summary: str
    location: str
    description: str


def record(
    *,
    said: Said,
    attendee: Party,
    now: datetime,
    appointment: Appointment | None = None,
    planned: Round | None = None,
) -> tuple[CalendarEvent, bool]:
    """Bring an attendee's event up to date; tell whether that made a new revision."""
    event = (
        CalendarEvent.objects.select_for_update(of=("self",))
        .filter(appointment=appointment, round=planned, attendee_email=attendee.address)
        .first()
    )
    if event is not None:
        return event, _revise(event, said, now)
    owner = appointment.job.organisation if appointment is not None else None
    organisation = planned.organisation if planned is not None else owner
    assert organisation is not None
    event = CalendarEvent.objects.create(
        organisation=organisation,
        uid=new_uid("round" if planned else "visit", settings.MAIL_DOMAIN),
        appointment=appointment,
        round=planned,
        attendee_name=attendee.name[:160],
        attendee_email=attendee.address,
        dtstamp=later_stamp(NEVER, now),
        starts_at=said.starts_at,
        ends_at=said.ends_at,
        summary=said.summary[:200],
        location=said.location[:300],
        description=said.description,
    )
    return event, True


def _revise(event: CalendarEvent, said: Said, now: datetime) -> bool:
    summary, location = said.summary[:200], said.location[:300]
    before = _terms(event)
    after = Terms(said.starts_at, said.ends_at, location)
    words_before = (event.summary, event.description)
    if before == after and words_before == (summary, said.description):
        return False
    sequence = sequence_after(event.sequence, before=before, after=after)
    if sequence > event.sequence:
        event.participation = "NEEDS-ACTION"
    event.sequence, event.dtstamp = sequence, later_stamp(event.dtstamp, now)
    event.starts_at, event.ends_at = said.starts_at, said.ends_at
    event.summary, event.location, event.description = summary, location, said.description
    event.cancelled_at = None
    event.save(update_fields=[*REVISED, "starts_at", "ends_at", "summary", "location"])
    return True


REVISED = ("sequence", "dtstamp", "participation", "description", "cancelled_at", "changed_at")


def cancel(event: CalendarEvent, now: datetime) -> None:
    """Call an event off: a CANCEL bears a raised SEQUENCE (RFC 5546 §2.1.4)."""
    event.sequence += 1
    event.dtstamp = later_stamp(event.dtstamp, now)
    event.cancelled_at = now
    event.save(update_fields=["sequence", "dtstamp", "cancelled_at", "changed_at"])


def supersede(event: CalendarEvent) -> bool:
    """Drop what waits to be said about an event; tell whether anything may have been heard.

    An update thus never overtakes its invitation. A message once attempted may have arrived
    although the attempt failed, so it counts as heard.
    """
    about = Message.objects.filter(event=event)
    about.filter(state=Message.State.WAITING).update(
        state=Message.State.DROPPED, last_error="Overtaken by a later message."
    )
    invitations = about.exclude(calendar_method="")
    tried = Q(state__in=[Message.State.SENDING, Message.State.SENT]) | Q(attempts__gt=0)
    return invitations.filter(tried).exists()


def calendar_part(event: CalendarEvent) -> CalendarPart:
    """The calendar object that states an event's present revision."""
    attendee = Party(event.attendee_email, one_line(event.attendee_name))
    entry = entry_of(event)
    organizer = organizer_of(event)
    if event.cancelled_at is not None:
        content = cancellation(entry, organizer=organizer, attendee=attendee)
        return CalendarPart("CANCEL", content)
    answered: Answer = event.participation  # type: ignore[assignment]
    content = invitation(entry, organizer=organizer, attendee=attendee, answered=answered)
    return CalendarPart("REQUEST", content)


def entry_of(event: CalendarEvent) -> Entry:
    """An event as its calendar entry, in the attendee's own words."""
    appointment = event.appointment
    position = zone = None
    if appointment is not None:
        premises = appointment.job.system.premises
        zone = premises.zone_name
        if premises.location_source in EXACT_PLACES and premises.latitude is not None:
            position = (round(premises.latitude, 6), round(premises.longitude or 0.0, 6))
    return Entry(
        uid=event.uid,
        sequence=event.sequence,
        stamp=event.dtstamp.astimezone(UTC),
        starts=event.starts_at,
        ends=event.ends_at,
        zone=zone or event.organisation.time_zone,
        summary=event.summary,
        description=event.description,
        location=event.location,
        position=position,
        status="CANCELLED" if event.cancelled_at else "CONFIRMED",
        remind_before=REMIND_BEFORE if appointment is not None else (),
    )


def _terms(event: CalendarEvent) -> Terms:
    status = "CANCELLED" if event.cancelled_at else "CONFIRMED"
    return Terms(event.starts_at, event.ends_at, event.location, status)  # type: ignore[arg-type]
