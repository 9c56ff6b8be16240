"""What the people at the premises are told of an agreed visit, each in their own calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils import translation
from django.utils.translation import gettext, gettext_noop

from customers.languages import language_of
from scheduler.calendar_invites.entries import Party
from scheduler.messages import events, letters
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.recipients import EMAIL, Recipient, who_expects_us
from scheduler.messages.timing import leaving_moment
from scheduler.messages.words import job_facts, local_day, span_in_words
from scheduler.models import CalendarEvent, Job

if TYPE_CHECKING:
    from datetime import datetime

    from scheduler.models import Appointment, Message

LEAVE_REACHABLE = (
    gettext_noop("Please leave the cover reachable, the gate open and animals indoors."),
    gettext_noop("We will never ask you to open the tank."),
)


def tell(
    appointment: Appointment, *, now: datetime, reason: str = "", called_off: str = "cancellation"
) -> list[Message]:
    """Bring every attendee's event in line with the appointment and write what must be said.

    `called_off` is the template whose words go with a cancellation.
    """
    told: list[Message | None] = []
    premises = appointment.job.system.premises
    today = local_day(now, premises.zone_name)
    people = who_expects_us(premises, today) if _stands(appointment) else []
    kept, by_letter, mailed = set(), set(), set()
    for person in people:
        recipient = letters.way_for(appointment, person, now)
        if recipient.channel == EMAIL:
            kept.add(recipient.address)
            mailed.add(recipient.person.pk)
            told.append(_invite(appointment, recipient, now))
        else:
            told.append(letters.tell(appointment, recipient, now))
            by_letter.add(recipient.person.pk)
    if called_off == "cancellation":
        told += letters.call_off(appointment, by_letter, now, reason, mailed)
    standing = appointment.events.filter(cancelled_at__isnull=True)
    told += [
        _call_off(event, now, reason, called_off)
        for event in standing.exclude(attendee_email__in=kept).order_by("pk")
    ]
    return [message for message in told if message is not None]


def _stands(appointment: Appointment) -> bool:
    return (
        appointment.cancelled_at is None
        and appointment.agreed_at is not None
        and appointment.job.state != Job.State.WITHDRAWN
    )


def _invite(appointment: Appointment, recipient: Recipient, now: datetime) -> Message | None:
    attendee = Party(recipient.address, recipient.person.name)
    earlier = _times_before(appointment, recipient.address)
    with translation.override(language_of(recipient.person, appointment.job.organisation)):
        said = _said(appointment)
    event, is_new_revision = events.record(
        said=said, attendee=attendee, now=now, appointment=appointment
    )
    if not is_new_revision:
        return None
    heard = events.supersede(event)
    before = span_in_words(*earlier, _zone(appointment)) if earlier and heard else ""
    facts = {**_facts(appointment), "before": before}
    facts["is_moved"] = bool(before) and str(before) != str(facts["when"])
    return write_down(_draft(event, recipient, "update" if heard else "invite", facts, now))


def _times_before(appointment: Appointment, address: str) -> tuple[datetime, datetime] | None:
    found = appointment.events.filter(attendee_email=address, cancelled_at__isnull=True)
    return found.values_list("starts_at", "ends_at").first()


def _call_off(event: CalendarEvent, now: datetime, reason: str, template: str) -> Message | None:
    assert event.appointment is not None
    heard = events.supersede(event)
    facts = {**_facts(event.appointment), "reason": reason}
    facts["when"] = span_in_words(event.starts_at, event.ends_at, _zone(event.appointment))
    events.cancel(event, now)
    return write_down(_draft(event, None, template, facts, now)) if heard else None


def _draft(
    event: CalendarEvent,
    recipient: Recipient | None,
    template: str,
    facts: dict[str, Any],
    now: datetime,
) -> Draft:
    appointment = event.appointment
    assert appointment is not None
    part = events.calendar_part(event)
    leaves = leaving_moment(
        now,
        organisation=event.organisation,
        zone=_zone(appointment),
        visit_starts=event.starts_at,
    )
    return Draft(
        key=f"{event.uid}:{event.sequence}:{event.dtstamp:%Y%m%dT%H%M%SZ}:{part.method}",
        template=template,
        organisation=event.organisation,
        name=event.attendee_name,
        address=event.attendee_email,
        facts=facts,
        send_at=leaves,
        # News of a visit is worth hearing until the visit would be over, and a CANCEL of one
        # already over (the crew could not work) still clears the calendar.
        expires_at=event.ends_at if event.ends_at > leaves else None,
        recipient=recipient,
        job=appointment.job,
        event=event,
        calendar=part,
    )


def _said(appointment: Appointment) -> events.Said:
    facts = job_facts(appointment.job)
    return events.Said(
        starts_at=appointment.starts_at,
        ends_at=appointment.ends_at,
        summary=f"{facts['sender']}: {facts['work']}",
        location=appointment.job.system.premises.one_line_address,
        description=" ".join([*map(gettext, LEAVE_REACHABLE), _ring(facts)]).strip(),
    )


def _ring(facts: dict[str, Any]) -> str:
    return gettext("Questions: %(phone)s.") % facts if facts["phone"] else ""


def _facts(appointment: Appointment) -> dict[str, Any]:
    when = span_in_words(appointment.starts_at, appointment.ends_at, _zone(appointment))
    return {**job_facts(appointment.job), "when": when}


def _zone(appointment: Appointment) -> str:
    return appointment.job.system.premises.zone_name
