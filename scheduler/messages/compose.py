"""Writing a message down: one outbox row, once, in the transaction of its cause."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scheduler.messages import consent
from scheduler.messages.links import leave_address, owner_address
from scheduler.messages.own_ladder import OwnWords
from scheduler.messages.recipients import EMAIL, SMS, Recipient
from scheduler.messages.senders import message_id
from scheduler.messages.waking import wake_for
from scheduler.messages.words import fill, fill_short
from scheduler.models import Message

if TYPE_CHECKING:
    from datetime import datetime

    from customers.models import Organisation, Premises
    from scheduler.models import CalendarEvent, Job, Round


@dataclass(frozen=True, slots=True)
class CalendarPart:
    """The calendar object that goes with a message, and the revision of the event it states."""

    method: str
    content: bytes


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """What to say to whom, when, and for how long it is worth saying."""

    key: str
    template: str
    organisation: Organisation
    name: str
    address: str
    facts: dict[str, Any]
    send_at: datetime
    expires_at: datetime | None = None
    channel: str = EMAIL
    message_class: str = consent.SERVICE
    recipient: Recipient | None = None
    job: Job | None = None
    round: Round | None = None
    event: CalendarEvent | None = None
    calendar: CalendarPart | None = None
    own: OwnWords | None = None
    premises: Premises | None = None


def write_down(draft: Draft) -> Message | None:
    """Put a message in the outbox; None where it was there already or may not be sent."""
    if Message.objects.filter(key=draft.key).exists():
        return None
    person = draft.recipient.person if draft.recipient else None
    question = consent.Question(
        organisation=draft.organisation,
        person=person,
        address=draft.address,
        channel=draft.channel,
        message_class=draft.message_class,
    )
    if consent.why_not(question):
        return None
    facts = _facts(draft)
    if draft.channel == SMS:
        words = fill_short(draft.template, facts)
    else:
        words = fill(draft.template, facts, draft.own)
    message, is_new = Message.objects.get_or_create(
        key=draft.key,
        defaults={
            "organisation": draft.organisation,
            "template": draft.template,
            "person": person,
            "job": draft.job,
            "round": draft.round,
            "event": draft.event,
            "channel": draft.channel,
            "message_class": draft.message_class,
            "to_name": draft.name[:160],
            "to_address": draft.address,
            "subject": words.subject,
            "body_text": words.text,
            "body_html": words.html,
            "calendar_method": draft.calendar.method if draft.calendar else "",
            "calendar_text": draft.calendar.content.decode() if draft.calendar else "",
            "calendar_sequence": draft.event.sequence if draft.event else None,
            "message_id": message_id(draft.key),
            "next_try_at": draft.send_at,
            "expires_at": draft.expires_at,
        },
    )
    if is_new:
        wake_for(message)
    return message if is_new else None


def _facts(draft: Draft) -> dict[str, Any]:
    """The facts with what differs from one recipient to the next."""
    attached = draft.calendar is not None
    facts = {"link": "", "leave_link": "", **draft.facts, "who": draft.name, "attached": attached}
    premises = draft.job.system.premises if draft.job else draft.premises
    if draft.recipient is not None and premises is not None:
        facts["link"] = owner_address(draft.recipient.person, premises)
    if draft.message_class == consent.MARKETING:
        facts["leave_link"] = leave_address(draft.organisation, draft.address)
    return facts
