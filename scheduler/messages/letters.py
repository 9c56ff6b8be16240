"""News of a visit for somebody without e-mail: a letter where it comes in time, else a call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.messages.calls import want_call
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.quiet_hours import working_days_between
from scheduler.messages.recipients import POST, Recipient, by_mail
from scheduler.messages.timing import holiday_region
from scheduler.messages.words import in_english, job_facts, local_day, span_in_words
from scheduler.models import Call, Message

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from customers.models import Organisation, Person
    from scheduler.models import Appointment

# Printed today, posted tomorrow, delivered two to three working days later: common practice.
LETTER_TAKES = 4
OFF = "off"
UNHEARD = (Message.State.WAITING, Message.State.DEAD)


@dataclass(frozen=True, slots=True)
class Line:
    """One thing written down for a person about a visit: what it says, and whether it was heard."""

    says: str
    heard: bool
    stands: bool


def comes_too_late(
    now: datetime, needed_at: datetime, *, organisation: Organisation, zone: str
) -> bool:
    """Whether a letter written now would arrive after the day on which it is needed."""
    first, last = local_day(now, zone), local_day(needed_at, zone)
    return working_days_between(first, last, holiday_region(organisation)) < LETTER_TAKES


def in_time(
    recipient: Recipient,
    now: datetime,
    needed_at: datetime,
    *,
    organisation: Organisation,
    zone: str,
) -> Recipient:
    """The same person by e-mail, where they have it and a letter would come too late."""
    if recipient.channel != POST:
        return recipient
    mail = by_mail(recipient.person)
    if mail is None or not comes_too_late(now, needed_at, organisation=organisation, zone=zone):
        return recipient
    return mail


def way_for(appointment: Appointment, recipient: Recipient, now: datetime) -> Recipient:
    """By which way a person is told of a visit: who has it in their calendar is told there again.

    Who knows from a letter already gets nothing new, and nobody with e-mail a letter too late.
    """
    mail = by_mail(recipient.person) if recipient.channel == POST else None
    if mail is None or _knows(appointment, recipient.person):
        return recipient
    if appointment.events.filter(attendee_email=mail.address, cancelled_at=None).exists():
        return mail
    job = appointment.job
    zone = job.system.premises.zone_name
    return in_time(recipient, now, appointment.starts_at, organisation=job.organisation, zone=zone)


def _knows(appointment: Appointment, person: Person) -> bool:
    standing = [line for line in _lines(appointment, person) if line.stands]
    return bool(standing) and standing[-1].says == f"{appointment.starts_at.timestamp():.0f}"


def tell(appointment: Appointment, recipient: Recipient, now: datetime) -> Message | None:
    """Say when the visit is, unless the last word to this person says so already."""
    says = f"{appointment.starts_at.timestamp():.0f}"
    lines = _lines(appointment, recipient.person)
    standing = [line for line in lines if line.stands]
    if standing and standing[-1].says == says:
        return None
    drop_waiting(appointment, recipient.person, now)
    heard = [line for line in lines if line.heard and line.says != OFF]
    template = "update" if heard else "invite"
    return _write(appointment, recipient, now, template=template, says=says, number=len(lines))


def call_off(
    appointment: Appointment,
    keep: Collection[int],
    now: datetime,
    reason: str,
    mailed: Collection[int] = (),
) -> list[Message]:
    """Tell everybody who heard of the visit on paper or by telephone, but `keep`, that it is off.

    Who is `mailed` now gets no letter that still waits.
    """
    told = []
    for recipient in _told_people(appointment):
        if recipient.person.pk in mailed:
            drop_waiting(appointment, recipient.person, now)
            continue
        if recipient.person.pk in keep:
            continue
        lines = _lines(appointment, recipient.person)
        standing = [line for line in lines if line.stands]
        if not standing or standing[-1].says == OFF:
            continue
        drop_waiting(appointment, recipient.person, now)
        if any(line.heard for line in standing):
            told.append(
                _write(
                    appointment,
                    recipient,
                    now,
                    template="cancellation",
                    says=OFF,
                    number=len(lines),
                    reason=reason,
                )
            )
    return [message for message in told if message is not None]


def drop_waiting(appointment: Appointment, person: Person, now: datetime) -> None:
    """What was written but not yet heard is overtaken."""
    start = _key(appointment, person)
    Message.objects.filter(key__startswith=start, state__in=UNHEARD).update(
        state=Message.State.DROPPED, last_error="Overtaken by a later message.", changed_at=now
    )
    Call.objects.filter(key__startswith=start, outcome="", useful_until__gt=now).update(
        useful_until=now, changed_at=now
    )


def _write(
    appointment: Appointment,
    recipient: Recipient,
    now: datetime,
    *,
    template: str,
    says: str,
    number: int,
    reason: str = "",
) -> Message | None:
    job = appointment.job
    zone = job.system.premises.zone_name
    when = span_in_words(appointment.starts_at, appointment.ends_at, zone)
    key = f"{_key(appointment, recipient.person)}{number}:{says}"
    if comes_too_late(now, appointment.starts_at, organisation=job.organisation, zone=zone):
        why = in_english(NEWS[template], when) + " A letter would come too late."
        want_call(
            key=key,
            job=job,
            person=recipient.person,
            why=why,
            useful_until=appointment.ends_at,
        )
        return None
    return write_down(
        Draft(
            key=key,
            template=template,
            organisation=job.organisation,
            name=recipient.person.name,
            address=recipient.address,
            channel=POST,
            facts={**job_facts(job), "when": when, "reason": reason},
            send_at=now,
            expires_at=appointment.starts_at,
            recipient=recipient,
            job=job,
        )
    )


NEWS = {
    "invite": "The visit is booked for",
    "update": "The visit is moved to",
    "cancellation": "The visit is called off:",
}


def _told_people(appointment: Appointment) -> list[Recipient]:
    start = f"letter:{appointment.pk}:"
    letters = Message.objects.filter(key__startswith=start).select_related("person")
    found = {
        letter.person.pk: Recipient(letter.person, POST, letter.to_address)
        for letter in letters
        if letter.person
    }
    for call in Call.objects.filter(key__startswith=start).select_related("person"):
        if call.person and call.person.pk not in found:
            address = f"{call.person.name}, {' '.join(call.person.postal_address.split())}"[:254]
            found[call.person.pk] = Recipient(call.person, POST, address)
    return list(found.values())


def _lines(appointment: Appointment, person: Person) -> list[Line]:
    """What was written for a person about a visit by letter or call, oldest first."""
    start = _key(appointment, person)
    found = [
        (
            letter.created_at,
            Line(
                letter.key.rpartition(":")[2],
                letter.state == Message.State.SENT,
                letter.state != Message.State.DROPPED,
            ),
        )
        for letter in Message.objects.filter(key__startswith=start)
    ]
    for call in Call.objects.filter(key__startswith=start).exclude(outcome="no_answer"):
        line = Line(
            call.key.rpartition(":")[2],
            bool(call.outcome),
            bool(call.outcome) or not _is_over(call),
        )
        found.append((call.created_at, line))
    return [line for _, line in sorted(found, key=lambda pair: pair[0])]


def _is_over(call: Call) -> bool:
    return call.useful_until is not None and call.useful_until <= call.changed_at


def _key(appointment: Appointment, person: Person) -> str:
    return f"letter:{appointment.pk}:{person.public_id.hex}:"
