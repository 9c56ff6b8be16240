"""Writing a message down: one outbox row, once, in the transaction of its cause."""

from __future__ import annotations

import json
import logging
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import DatabaseError
from django.utils import translation
from django.utils.translation import gettext

from customers.languages import ENGLISH, language_of
from scheduler.messages import consent
from scheduler.messages.links import leave_address, owner_address
from scheduler.messages.own_ladder import OwnWords
from scheduler.messages.recipients import EMAIL, SMS, Recipient
from scheduler.messages.senders import message_id
from scheduler.messages.waking import wake_for
from scheduler.messages.words import Words, fill, fill_short
from scheduler.models import Message

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from customers.models import Organisation, Premises
    from scheduler.models import CalendarEvent, Job, Round


logger = logging.getLogger(__name__)


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
    own: Mapping[str, OwnWords] | None = None
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
    public_id, language = uuid.uuid4(), _language(draft)
    with translation.override(language):
        facts = _facts(draft, public_id)
        written = _written(draft.template, draft.channel, facts, _own(draft, language))
    message, is_new = Message.objects.get_or_create(
        key=draft.key,
        defaults={
            "public_id": public_id,
            "language": language,
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
            **written,
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


def _written(
    template: str, channel: str, facts: dict[str, Any], own: OwnWords | None
) -> dict[str, Any]:
    """The words of a message; or why they could not be made, and what they are made of.

    A booking does not fail for want of words: the message alone does, where the office sees it.
    """
    try:
        words = fill_short(template, facts) if channel == SMS else fill(template, facts, own)
    except DatabaseError:
        raise  # not about the words
    except Exception as fault:
        logger.exception("The words of a message could not be made: %s", template)
        said = [own.subject, own.words] if own else None
        made_of = {"facts": facts, "own": said}
        return {
            "state": Message.State.DEAD,
            "last_error": f"Its words could not be made. {fault}",
            "subject": template.replace("_", " ").capitalize(),
            "unwritten": json.loads(json.dumps(made_of, cls=DjangoJSONEncoder)),
        }
    return {**_columns(words), "unwritten": None}


def _language(draft: Draft) -> str:
    """What the recipient reads; whoever is told of an event again reads what they read before.

    Crews work in English, as the office does.
    """
    if draft.round is not None:
        return ENGLISH
    if draft.recipient is None and draft.event is not None:
        return heard_in(draft.event)
    return language_of(draft.recipient.person if draft.recipient else None, draft.organisation)


def heard_in(event: CalendarEvent) -> str:
    """In which language the attendee was last told of an event."""
    before = event.messages.order_by("-pk").values_list("language", flat=True).first()
    return before or language_of(None, event.organisation)


def _own(draft: Draft, language: str) -> OwnWords | None:
    """The organisation's own words in this language; None, for ours, where it has none in it."""
    return draft.own.get(language) if draft.own else None


def _columns(words: Words) -> dict[str, Any]:
    return {"subject": words.subject, "body_text": words.text, "body_html": words.html}


def write_again(message: Message) -> bool:
    """Make the words of a message that could not be made; tell whether it has any now."""
    if message.unwritten is None:
        return True
    facts, said = message.unwritten["facts"], message.unwritten["own"]
    own = OwnWords(*said) if said else None
    with translation.override(message.language):
        written = _written(message.template, message.channel, facts, own)
    written.pop("state", None)
    for name, value in written.items():
        setattr(message, name, value)
    message.save(update_fields=[*written, "changed_at"])
    return message.unwritten is None


def _facts(draft: Draft, public_id: uuid.UUID) -> dict[str, Any]:
    """The facts with what differs from one recipient to the next."""
    attached = draft.calendar is not None
    facts = {"link": "", "leave_link": "", **draft.facts, "who": draft.name, "attached": attached}
    premises = draft.job.system.premises if draft.job else draft.premises
    if draft.recipient is not None and premises is not None:
        facts["link"] = owner_address(draft.recipient.person, premises, public_id)
    if facts.get("reason"):
        # What the crew chose from a list is known in every language; what somebody wrote is not.
        facts["reason"] = gettext(str(facts["reason"]))
    if draft.message_class == consent.MARKETING:
        facts["leave_link"] = leave_address(draft.organisation, draft.address)
    return facts
