"""What a crew is told of its round: the times and places of the day, and no secrets.

A calendar is copied to phones and shared; gate codes, access notes and telephone numbers stay on
the job sheet behind the sign-in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef
from django.utils import translation

from customers.languages import ENGLISH
from scheduler.calendar_invites.entries import Party, mailbox, one_line
from scheduler.messages import events
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.links import full_address
from scheduler.messages.words import day_in_words, organisation_facts, span_in_words, work_of
from scheduler.models import Appointment, Stop

if TYPE_CHECKING:
    from datetime import datetime

    from scheduler.models import CalendarEvent, Message, Round

CAUTION = (
    "Nobody enters a tank or chamber. Gas monitor on before the cover moves. "
    "Last act: cover back, bolts in."
)


@translation.override(ENGLISH)  # an owner's page may be what moved the round
def tell_crew(planned: Round, *, now: datetime) -> list[Message]:
    """Bring the crew's event in line with the round; a changed crew is told, both sides."""
    told: list[Message | None] = []
    crew = crew_mailbox(planned)
    if crew is not None and planned.accepted_at is not None and planned.starts_at is not None:
        told.append(_invite(planned, crew, now))
    else:
        crew = None
    told += [
        _call_off(event, now, "")
        for event in _standing(planned)
        if crew is None or event.attendee_email != crew.address
    ]
    return [message for message in told if message is not None]


@translation.override(ENGLISH)
def tell_crew_off(planned: Round, *, now: datetime, reason: str) -> list[Message]:
    """Take the round out of its crew's calendar."""
    told = [_call_off(event, now, reason) for event in _standing(planned)]
    return [message for message in told if message is not None]


def crew_mailbox(planned: Round) -> Party | None:
    """Where the crew of a round reads its mail; None without a crew or an address."""
    crew = planned.crew or planned.tanker.crew
    if crew is None:
        return None
    address = crew.email or (crew.user.email if crew.user else "")
    try:
        return Party(mailbox(address), crew.name)
    except ValueError:
        return None


def round_said(planned: Round) -> events.Said:
    """What a round's entry says."""
    assert planned.starts_at is not None
    assert planned.ends_at is not None
    stops = _job_stops(planned)
    lines = [_line(stop, planned.organisation.time_zone) for stop in stops]
    count = "1 stop" if len(stops) == 1 else f"{len(stops)} stops"
    return events.Said(
        starts_at=planned.starts_at,
        ends_at=planned.ends_at,
        summary=f"Round with {one_line(planned.tanker.name)}: {count}",
        location=one_line(planned.tanker.base.name),
        description="\n".join([*lines, CAUTION]),
    )


def _job_stops(planned: Round) -> list[Stop]:
    """Stops still to be made: without those whose visit was called off."""
    visits = Appointment.objects.filter(job=OuterRef("job"))
    stops = planned.stops.filter(
        Exists(visits.filter(cancelled_at__isnull=True)) | ~Exists(visits), kind=Stop.Kind.JOB
    )
    return list(stops.select_related("job__system__premises").order_by("position"))


def _line(stop: Stop, zone: str) -> str:
    assert stop.job is not None
    premises = stop.job.system.premises
    place = ", ".join(part for part in (str(premises), premises.postcode) if part)
    return (
        f"{stop.start_at.astimezone(ZoneInfo(zone)):%H:%M} {one_line(place)}: {work_of(stop.job)}"
    )


def _standing(planned: Round) -> list[CalendarEvent]:
    return list(planned.events.filter(cancelled_at__isnull=True).order_by("pk"))


def _invite(planned: Round, crew: Party, now: datetime) -> Message | None:
    event, is_new_revision = events.record(
        said=round_said(planned), attendee=crew, now=now, planned=planned
    )
    if not is_new_revision:
        return None
    heard = events.supersede(event)
    return _write(event, "crew_update" if heard else "crew_round", now, {})


def _call_off(event: CalendarEvent, now: datetime, reason: str) -> Message | None:
    heard = events.supersede(event)
    events.cancel(event, now)
    return _write(event, "crew_cancellation", now, {"reason": reason}) if heard else None


def _write(
    event: CalendarEvent, template: str, now: datetime, facts: dict[str, Any]
) -> Message | None:
    planned = event.round
    assert planned is not None
    part = events.calendar_part(event)
    zone = planned.organisation.time_zone
    facts = {
        **organisation_facts(planned.organisation),
        "tanker": one_line(planned.tanker.name),
        "day": day_in_words(planned.day),
        "when": span_in_words(event.starts_at, event.ends_at, zone),
        "lines": event.description.split("\n")[:-1],
        "link": full_address("scheduler:round", str(planned.public_id)),
        **facts,
    }
    return write_down(
        Draft(
            key=f"{event.uid}:{event.sequence}:{event.dtstamp:%Y%m%dT%H%M%SZ}:{part.method}",
            template=template,
            organisation=event.organisation,
            name=event.attendee_name,
            address=event.attendee_email,
            facts=facts,
            send_at=now,
            expires_at=event.ends_at if event.ends_at > now else None,
            round=planned,
            event=event,
            calendar=part,
        )
    )
