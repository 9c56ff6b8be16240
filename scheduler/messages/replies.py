"""Answers to invitations: what came in, what it was worth, and what was done with it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.utils import translation
from django.utils.translation import gettext

from customers import access
from scheduler.calendar_invites import replies as wire
from scheduler.calendar_invites.entries import Party, one_line
from scheduler.calendar_invites.objects import counter_declined
from scheduler.messages.compose import CalendarPart, Draft, heard_in, write_down
from scheduler.messages.events import entry_of
from scheduler.messages.senders import organizer_of, token_fits
from scheduler.messages.words import job_facts, span_in_words
from scheduler.models import CalendarEvent, DayRequest, Message, Reply

if TYPE_CHECKING:
    from datetime import datetime

    from customers.models import User

TOKEN_IN_ADDRESS = re.compile(r"\+([a-z2-7]+)@", re.IGNORECASE)
LONGEST_RAW = 20_000  # characters kept for somebody to read


@dataclass(frozen=True, slots=True)
class Incoming:
    """A mail as far as it could be read."""

    envelope: wire.Envelope
    answer: wire.Answer | None
    fault: str = ""


def apply_reply(*, mail: bytes, delivered_to: str, now: datetime) -> Reply | None:
    """Judge a mail that came to a booking address; None where it is about no event of ours.

    `delivered_to` is the address our own mail server delivered to, never one the sender wrote.
    The same mail twice changes nothing.
    """
    incoming = _read(mail)
    if incoming is None:
        return None
    with transaction.atomic():
        event = _event_of(incoming)
        if event is None:
            return None
        source = incoming.envelope.mail_id or hashlib.sha256(mail).hexdigest()
        known = Reply.objects.filter(organisation=event.organisation, source_id=source).first()
        if known is not None:
            return known
        verdict, reason = _verdict(incoming, event, delivered_to)
        reply = _write_down(incoming, event, source, received_at=now)
        reply.verdict, reply.reason = verdict, reason[:300]
        reply.raw = mail.decode("utf-8", "replace").replace("\x00", "")[:LONGEST_RAW]
        reply.save()
        _act_on(reply, event)
        return reply


def _read(mail: bytes) -> Incoming | None:
    try:
        envelope, message = wire.read_mail(mail)
    except wire.UnreadableError:
        return None
    try:
        return Incoming(envelope, wire.read_answer(message))
    except wire.UnreadableError as fault:
        return Incoming(envelope, None, str(fault))


def _event_of(incoming: Incoming) -> CalendarEvent | None:
    """By UID, or by the message that a mail without a calendar object answers."""
    events = CalendarEvent.objects.select_for_update(of=("self",)).select_related("organisation")
    if incoming.answer is not None:
        return events.filter(uid=incoming.answer.uid).first()
    answered = Message.objects.filter(
        message_id__in=incoming.envelope.answered, event__isnull=False
    ).first()
    return events.filter(messages=answered).first() if answered else None


def _write_down(
    incoming: Incoming, event: CalendarEvent, source: str, *, received_at: datetime
) -> Reply:
    """What came, not yet judged and not yet saved."""
    answer = incoming.answer
    return Reply(
        organisation=event.organisation,
        event=event,
        source_id=source,
        received_at=received_at,
        from_address=incoming.envelope.sender[:254],
        participation=answer.participation[:16] if answer else "",
        sequence=answer.sequence if answer else None,
        dtstamp=answer.stamp if answer else None,
        proposed_start=answer.proposed_start if answer and answer.method == "COUNTER" else None,
    )


def _act_on(reply: Reply, event: CalendarEvent) -> None:
    if reply.verdict == Reply.Verdict.APPLIED:
        _apply(reply, event)
    elif reply.verdict == Reply.Verdict.REVIEW and reply.proposed_start is not None:
        _ask_for_another_day(reply, event, "Proposes another time by calendar.")


def _verdict(incoming: Incoming, event: CalendarEvent, delivered_to: str) -> tuple[str, str]:
    token = TOKEN_IN_ADDRESS.search(delivered_to)
    fits = token is not None and token_fits(token[1], event.uid, event.attendee_email)
    if incoming.envelope.is_automatic:
        return "ignored", "An automatic reply."
    if not fits:
        return "refused", "It did not come to the address of this invitation."
    if incoming.fault:
        return "refused", incoming.fault
    if incoming.answer is None:
        return "review", "Written in words: somebody should read it."
    known = wire.Known(
        attendee=event.attendee_email,
        sequence=event.sequence,
        is_cancelled=event.cancelled_at is not None,
        reply_sequence=event.reply_sequence,
        reply_stamp=event.reply_dtstamp,
    )
    proven = settings.REPLIES_TRUST_TOKEN or wire.passes_dmarc(
        incoming.envelope.authentication, settings.MAIL_AUTHSERV_ID
    )
    return wire.judge(incoming.answer, incoming.envelope, known, token_fits=fits, is_proven=proven)


def _apply(reply: Reply, event: CalendarEvent) -> None:
    event.participation = reply.participation
    event.reply_sequence, event.reply_dtstamp = reply.sequence, reply.dtstamp
    event.save(update_fields=["participation", "reply_sequence", "reply_dtstamp", "changed_at"])
    if reply.participation == "DECLINED":
        _ask_for_another_day(reply, event, "Declined by calendar.")


def _ask_for_another_day(reply: Reply, event: CalendarEvent, words: str) -> None:
    """The office settles it: a no by calendar does not call a tanker off by itself."""
    if event.appointment is None:
        return
    days = [reply.proposed_start.date().isoformat()] if reply.proposed_start else []
    DayRequest.objects.update_or_create(
        job=event.appointment.job,
        settled_at=None,
        words=words,
        defaults={"asked_at": reply.received_at, "days": days},
    )


@transaction.atomic
def take_reply(*, reply: Reply, by: User, now: datetime) -> bool:
    """Take an answer that nothing proved, at the word of somebody who knows the sender."""
    access.require_change(by, reply)
    event = CalendarEvent.objects.select_for_update(of=("self",)).get(replies=reply)
    is_current = reply.sequence == event.sequence and event.cancelled_at is None
    if not is_current or reply.participation not in wire.ANSWERS:
        return False
    if not _settle(reply, now, verdict=Reply.Verdict.APPLIED):
        return False
    _apply(reply, event)
    return True


@transaction.atomic
def note_seen(*, reply: Reply, by: User, now: datetime) -> bool:
    """Somebody has read it and nothing more is to be done."""
    access.require_change(by, reply)
    return _settle(reply, now)


@transaction.atomic
def keep_our_time(*, reply: Reply, by: User, now: datetime) -> Message | None:
    """Decline a proposed time: the visit stays when it is, and the proposer's calendar says so."""
    access.require_change(by, reply)
    event = reply.event
    if event is None or event.appointment is None or not _settle(reply, now):
        return None
    job = event.appointment.job
    zone = job.system.premises.zone_name
    words = span_in_words(event.starts_at, event.ends_at, zone)
    with translation.override(heard_in(event)):
        comment = gettext("Our visit stays as it is: %(when)s.") % {"when": words}
    content = counter_declined(
        entry_of(event),
        organizer=organizer_of(event),
        attendee=Party(event.attendee_email, one_line(event.attendee_name)),
        comment=comment,
    )
    return write_down(
        Draft(
            key=f"declined:{reply.public_id}",
            template="counter_declined",
            organisation=event.organisation,
            name=event.attendee_name,
            address=event.attendee_email,
            facts={**job_facts(job), "when": words},
            send_at=now,
            expires_at=event.ends_at,
            job=job,
            event=event,
            calendar=CalendarPart("DECLINECOUNTER", content),
        )
    )


def _settle(reply: Reply, now: datetime, **changes: object) -> bool:
    waiting = Reply.objects.filter(
        pk=reply.pk, verdict=Reply.Verdict.REVIEW, settled_at__isnull=True
    )
    return waiting.update(settled_at=now, changed_at=now, **changes) == 1
