"""Telling people what was settled: every verb leaves each calendar agreeing with the database.

Each is called inside the transaction of its cause and only writes rows; `outbox.drain` sends
them. Calling one twice adds nothing.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction

from scheduler.messages import visits_told
from scheduler.messages.calls import want_call
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.crews_told import tell_crew, tell_crew_off
from scheduler.messages.letters import comes_too_late, in_time
from scheduler.messages.recipients import POST, Recipient, who_decides, who_expects_us
from scheduler.messages.timing import leaving_moment
from scheduler.messages.words import (
    day_in_words,
    in_english,
    job_facts,
    litres_in_words,
    local_day,
    span_in_words,
)
from scheduler.models import Appointment, Job, Message, Round

if TYPE_CHECKING:
    from customers.models import Person

# A report is worth having for a month, an offer until the visit would begin.
REPORT_LASTS = timedelta(days=30)


@transaction.atomic
def tell_round_accepted(*, planned: Round, now: datetime) -> list[Message]:
    """Invite the owners of every stop and the crew of the round."""
    jobs = planned.stops.filter(job__isnull=False).values("job")
    appointments = Appointment.objects.filter(job__in=jobs, cancelled_at__isnull=True)
    told = [
        message
        for appointment in appointments.order_by("pk")
        for message in visits_told.tell(appointment, now=now)
    ]
    return told + tell_crew(planned, now=now)


@transaction.atomic
def tell_round_withdrawn(*, planned: Round, now: datetime, reason: str = "") -> list[Message]:
    """Call the round off for its crew; the owners' visits are moved or cancelled one by one."""
    return tell_crew_off(planned, now=now, reason=reason)


@transaction.atomic
def tell_day_offered(*, appointment: Appointment, now: datetime) -> list[Message]:
    """Say which time we can come; nothing goes into a calendar before it is agreed."""
    job = appointment.job
    zone = job.system.premises.zone_name
    when = span_in_words(appointment.starts_at, appointment.ends_at, zone)
    return _tell_people(
        job,
        who_decides(job.system.premises, local_day(now, zone)),
        template="day_offered",
        key=f"offered:{appointment.pk}:{appointment.starts_at.timestamp():.0f}",
        facts={"when": when},
        now=now,
        expires_at=appointment.starts_at,
        news=in_english("We offer", when),
    )


@transaction.atomic
def tell_appointment_agreed(*, appointment: Appointment, now: datetime) -> list[Message]:
    """Invite everybody at the premises to the visit that was agreed."""
    return visits_told.tell(appointment, now=now)


@transaction.atomic
def tell_appointment_moved(*, appointment: Appointment, now: datetime) -> list[Message]:
    """Send the new time to whoever had the old one; an offer not yet agreed is offered anew."""
    if appointment.agreed_at is None:
        return tell_day_offered(appointment=appointment, now=now)
    return visits_told.tell(appointment, now=now) + _tell_crews_of(appointment.job, now)


@transaction.atomic
def tell_appointment_cancelled(
    *, appointment: Appointment, now: datetime, reason: str = ""
) -> list[Message]:
    """Take the visit out of every calendar it may be in."""
    told = visits_told.tell(appointment, now=now, reason=reason)
    told += _take_back_offer(appointment, now, reason)
    return told + _tell_crews_of(appointment.job, now)


def _tell_crews_of(job: Job, now: datetime) -> list[Message]:
    """A visit that moves or falls away changes the day of the crew that has it on its round."""
    rounds = Round.objects.filter(stops__job=job, accepted_at__isnull=False, ends_at__gt=now)
    return [
        message
        for planned in rounds.distinct().order_by("pk")
        for message in tell_crew(planned, now=now)
    ]


def _take_back_offer(appointment: Appointment, now: datetime, reason: str) -> list[Message]:
    """An offer that may have been read is taken back; one still waiting is dropped."""
    key = f"offered:{appointment.pk}:"
    offers = Message.objects.filter(key__startswith=key)
    offers.filter(state=Message.State.WAITING, attempts=0).update(
        state=Message.State.DROPPED, last_error="The offer was taken back."
    )
    if appointment.agreed_at is not None or not offers.exclude(state="dropped").exists():
        return []
    job = appointment.job
    zone = job.system.premises.zone_name
    return _tell_people(
        job,
        who_decides(job.system.premises, local_day(now, zone)),
        template="cancellation",
        key=f"offer-back:{appointment.pk}",
        facts={
            "when": span_in_words(appointment.starts_at, appointment.ends_at, zone),
            "reason": reason,
        },
        now=now,
        expires_at=appointment.starts_at,
        news="The day we offered is off.",
    )


@transaction.atomic
def tell_on_the_way(*, appointment: Appointment, now: datetime, minutes: int = 30) -> list[Message]:
    """Say that the crew is coming now."""
    job = appointment.job
    zone = job.system.premises.zone_name
    people = who_expects_us(job.system.premises, local_day(now, zone), short=True)
    return _tell_people(
        job,
        [one for one in people if one.channel != POST],
        template="on_the_way",
        key=f"on-the-way:{appointment.pk}:{appointment.starts_at.timestamp():.0f}",
        facts={"minutes": minutes},
        now=now,
        expires_at=now + timedelta(minutes=max(minutes, 15)),
        at_once=True,
    )


@transaction.atomic
def tell_visit_done(*, job: Job, now: datetime) -> list[Message]:
    """Send the report of a visit: what was done and when the next one falls due."""
    premises = job.system.premises
    return _tell_people(
        job,
        who_decides(premises, local_day(now, premises.zone_name)),
        template="report",
        key=f"report:{job.public_id}",
        facts=_report_facts(job),
        now=now,
        expires_at=now + REPORT_LASTS,
    )


@transaction.atomic
def tell_visit_abandoned(*, job: Job, now: datetime) -> list[Message]:
    """Say that the crew came and had to leave it, and clear the visit from the calendars."""
    told = []
    for appointment in job.appointments.filter(agreed_at__isnull=False):
        told += visits_told.tell(
            appointment, now=now, reason=job.closed_because, called_off="abandoned"
        )
    premises = job.system.premises
    know = {message.to_address for message in told}
    people = who_expects_us(premises, local_day(now, premises.zone_name))
    return told + _tell_people(
        job,
        [recipient for recipient in people if recipient.address not in know],
        template="abandoned",
        key=f"abandoned:{job.public_id}",
        facts={"reason": job.closed_because},
        now=now,
        expires_at=now + REPORT_LASTS,
    )


def _report_facts(job: Job) -> dict[str, Any]:
    visit = job.visit
    emptying = getattr(visit, "emptying", None)
    litres = emptying.litres_removed if emptying else None
    forecast = getattr(job.system, "forecast", None)
    return {
        "visited": day_in_words(visit.visited_on) if visit else "",
        "taken": litres_in_words(litres, job.organisation.units) if litres else "",
        "next_due": day_in_words(forecast.due_on) if forecast and forecast.due_on else "",
        "lid_back_on": bool(visit and visit.lid_back_on),
    }


def _tell_people(
    job: Job,
    people: list[Recipient],
    *,
    template: str,
    key: str,
    facts: dict[str, Any],
    now: datetime,
    expires_at: datetime,
    at_once: bool = False,
    news: str = "",
) -> list[Message]:
    """One message to each; a service message, since each of these follows from a booking.

    With `news`, whoever a letter would reach too late is rung with those words instead.
    """
    zone = job.system.premises.zone_name
    leaves = now if at_once else leaving_moment(now, organisation=job.organisation, zone=zone)
    too_near = bool(news) and comes_too_late(
        now, expires_at, organisation=job.organisation, zone=zone
    )
    told = []
    for one in people:
        recipient = in_time(one, now, expires_at, organisation=job.organisation, zone=zone)
        this = f"{key}:{recipient.person.public_id.hex}"
        if too_near and recipient.channel == POST:
            _ring_instead(job, recipient.person, key=this, news=news, useful_until=expires_at)
            continue
        draft = Draft(
            key=this,
            template=template,
            organisation=job.organisation,
            name=recipient.person.name,
            address=recipient.address,
            channel=recipient.channel,
            facts={**job_facts(job), **facts},
            send_at=leaves,
            expires_at=expires_at,
            recipient=recipient,
            job=job,
        )
        told.append(write_down(draft))
    return [message for message in told if message is not None]


def _ring_instead(job: Job, person: Person, *, key: str, news: str, useful_until: datetime) -> None:
    why = f"{news} A letter would come too late."
    want_call(key=key, job=job, person=person, why=why, useful_until=useful_until)
