"""Sending what waits in the outbox: claimed by one UPDATE, sent, and marked only by its claimer.

Sending exactly once cannot be had from SMTP: a process that dies between the server's yes and
our mark leaves a message to be sent again. The repeat is the same bytes under the same
Message-ID, and calendars drop it by UID, SEQUENCE and DTSTAMP (RFC 5546 §2.1.5).
"""

from __future__ import annotations

import logging
import os
import smtplib
import socket
import uuid
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from customers import access
from scheduler.calendar_invites.entries import Party
from scheduler.messages import consent
from scheduler.messages.delivery import Post, PostClosed, open_post
from scheduler.messages.links import leave_address
from scheduler.messages.mime import Letter, wire_bytes
from scheduler.messages.rechecks import why_no_longer
from scheduler.messages.recipients import EMAIL, POST
from scheduler.messages.retries import read_failure, wait_before
from scheduler.messages.senders import organizer_of, sender_of
from scheduler.messages.timing import may_leave_at
from scheduler.models import Message

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from django.db.models import QuerySet

    from customers.models import User

logger = logging.getLogger(__name__)

# Longer than the slowest send: every step of one has the time limit of the mail settings.
LEASE = timedelta(minutes=5)
CLOSED_FOR = timedelta(minutes=1)
BATCH = 200
State = Message.State


@dataclass(slots=True)
class Drained:
    """What one pass over the outbox did."""

    sent: int = 0
    failed: int = 0
    dead: int = 0
    dropped: int = 0
    postponed: int = 0


def drain(
    *,
    clock: Callable[[], datetime] = timezone.now,
    limit: int = BATCH,
    owner: str = "",
    post: Post | None = None,
) -> Drained:
    """Send what is due, one message at a time; many workers may do so at once."""
    owner = owner or f"{socket.gethostname()}:{os.getpid()}:{uuid.uuid4().hex[:8]}"[:64]
    result = Drained()
    if post is not None:
        _send_all(post, clock, limit, owner, result)
    elif sendable(clock()).exists():
        with open_post() as opened:
            _send_all(opened, clock, limit, owner, result)
    return result


def sendable(now: datetime) -> QuerySet[Message]:
    """E-mail that may be claimed: due, or claimed by somebody whose lease ran out.

    A message about an event stays back while an earlier one about it is being sent, so that an
    update never overtakes its invitation.
    """
    earlier_under_way = Message.objects.filter(
        event=OuterRef("event"), state=State.SENDING, pk__lt=OuterRef("pk"), lease_until__gt=now
    )
    due = Q(state=State.WAITING, next_try_at__lte=now)
    abandoned = Q(state=State.SENDING, lease_until__lte=now)
    return (
        Message.objects.filter(due | abandoned, channel=EMAIL)
        .filter(Q(event__isnull=True) | ~Exists(earlier_under_way))
        .order_by("next_try_at", "pk")
    )


def _send_all(
    post: Post, clock: Callable[[], datetime], limit: int, owner: str, result: Drained
) -> None:
    try:
        for message in _claimed(clock, limit, owner):
            _handle(message, post, clock, result)
    except PostClosed as error:
        logger.warning("The mail server cannot be reached: %s", error)


def _claimed(clock: Callable[[], datetime], limit: int, owner: str) -> Iterator[Message]:
    for pk in list(sendable(clock()).values_list("pk", flat=True)[:limit]):
        now = clock()
        if claim(pk, owner=owner, now=now):
            yield Message.objects.select_related(
                "organisation__profile",
                "person",
                "event__organisation",
                "job__system__premises__organisation",
            ).get(pk=pk)


def claim(pk: int, *, owner: str, now: datetime) -> bool:
    """Take one message for sending; False where somebody else was quicker."""
    claimed = (
        sendable(now)
        .filter(pk=pk)
        .order_by()
        .update(
            state=State.SENDING,
            claimed_by=owner,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            changed_at=now,
        )
    )
    return claimed == 1


def _handle(message: Message, post: Post, clock: Callable[[], datetime], result: Drained) -> None:
    now = clock()
    reason = why_no_longer(message, now)
    if reason:
        result.dropped += _release(message, now, state=State.DROPPED, last_error=reason)
        return
    leaves = may_leave_at(message, now)
    if leaves > now:
        result.postponed += _give_back(message, now, leaves, "")
        return
    try:
        post.send(
            wire_bytes(letter_of(message)),
            sender=_sender(message).address,
            recipient=message.to_address,
            name=message.message_id,
        )
    except PostClosed as error:
        result.postponed += _give_back(message, now, now + CLOSED_FOR, str(error))
        raise
    except (OSError, smtplib.SMTPException, ValueError) as error:
        _note_failure(message, error, clock(), result)
    else:
        sent_at = clock()
        result.sent += _release(message, sent_at, state=State.SENT, sent_at=sent_at, last_error="")


def _note_failure(message: Message, error: Exception, now: datetime, result: Drained) -> None:
    failure = read_failure(error, message.attempts)
    if failure.is_final:
        logger.error("Message %s could not be sent", message.public_id)
        result.dead += _release(message, now, state=State.DEAD, last_error=failure.reason)
        return
    wait = wait_before(message.attempts, message.key)
    result.failed += _release(
        message,
        now,
        state=State.WAITING,
        next_try_at=now + wait,
        last_error=failure.reason,
    )


def _give_back(message: Message, now: datetime, next_try_at: datetime, reason: str) -> int:
    """Put a message back untried: neither night nor a closed post office is its failure."""
    return _release(
        message,
        now,
        state=State.WAITING,
        next_try_at=next_try_at,
        attempts=message.attempts - 1,
        last_error=reason,
    )


def _release(message: Message, now: datetime, **changes: object) -> int:
    """End a claim, if it is still ours: after the lease ran out another may hold it."""
    mine = Message.objects.filter(pk=message.pk, state=State.SENDING, claimed_by=message.claimed_by)
    return mine.update(claimed_by="", lease_until=None, changed_at=now, **changes)


def letter_of(message: Message) -> Letter:
    """A row as the letter it stands for; the same row gives the same bytes."""
    sender = _sender(message)
    office = message.organisation.sender_email
    is_marketing = message.message_class == consent.MARKETING
    return Letter(
        message_id=message.message_id,
        written_at=message.created_at.replace(microsecond=0),
        sender=sender,
        recipient=Party(message.to_address, message.to_name),
        subject=message.subject,
        text=message.body_text,
        html=message.body_html,
        calendar_object=message.calendar_text.encode(),
        calendar_method=message.calendar_method,
        unsubscribe_url=leave_address(message.organisation, message.to_address)
        if is_marketing
        else "",
        # Answers to an invitation must come back to its token, all others to the office.
        reply_to=Party(office) if office and not message.calendar_method else None,
    )


def _sender(message: Message) -> Party:
    if message.event is not None and message.calendar_method:
        return organizer_of(message.event)
    return sender_of(message.organisation)


@transaction.atomic
def send_again(*, message: Message, by: User, now: datetime | None = None) -> bool:
    """Give a message that could not be sent another chance, at somebody's word."""
    access.require_change(by, message)
    moment = now or timezone.now()
    dead = Message.objects.filter(pk=message.pk, state=State.DEAD)
    revived = dead.update(
        state=State.WAITING, attempts=0, next_try_at=moment, last_error="", changed_at=moment
    )
    return revived == 1


@transaction.atomic
def note_posted(*, message: Message, by: User, now: datetime | None = None) -> bool:
    """Note that a letter was printed and posted."""
    access.require_change(by, message)
    moment = now or timezone.now()
    waiting = Message.objects.filter(pk=message.pk, channel=POST, state=State.WAITING)
    posted = waiting.update(state=State.SENT, sent_at=moment, changed_at=moment)
    return posted == 1
