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
from django.utils import timezone

from customers import access
from scheduler.calendar_invites.entries import Party
from scheduler.messages import consent
from scheduler.messages.claims import claim, give_back, release, sendable, still_held
from scheduler.messages.compose import write_again
from scheduler.messages.delivery import Post, PostClosed, PostSilent, open_post
from scheduler.messages.links import leave_address
from scheduler.messages.mime import Letter, wire_bytes
from scheduler.messages.rechecks import why_no_longer
from scheduler.messages.recipients import POST, SMS
from scheduler.messages.retries import read_failure, wait_before
from scheduler.messages.senders import office_of, organizer_of, sender_of
from scheduler.messages.texts import send_text
from scheduler.messages.timing import may_leave_at
from scheduler.models import Message

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from customers.models import User

logger = logging.getLogger(__name__)

# So many are claimed at a time: few enough that a slow server does not outlast their lease.
HANDFUL = 20
# One pass takes what a burst of reminders leaves behind; the next turn takes the rest.
BATCH = 2000
CLOSED_FOR = timedelta(minutes=1)
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
    """Send what is due; many workers may do so at once."""
    owner = owner or f"{socket.gethostname()[:30]}:{os.getpid()}:{uuid.uuid4().hex[:8]}"
    result = Drained()
    if post is not None:
        _send_all(post, clock, limit, owner, result)
    elif sendable(clock()).exists():
        with open_post() as opened:
            _send_all(opened, clock, limit, owner, result)
    return result


def _send_all(
    post: Post, clock: Callable[[], datetime], limit: int, owner: str, result: Drained
) -> None:
    due = list(sendable(clock()).values_list("pk", flat=True)[:limit])
    for start in range(0, len(due), HANDFUL):
        claimed = claim(due[start : start + HANDFUL], owner=owner, now=clock())
        refusals = consent.answers([_question(message) for message in claimed])
        held = list(zip(claimed, refusals, strict=True))
        try:
            while held:
                message, refusal = held.pop(0)
                _handle(message, refusal, post, clock, result)
        except PostClosed as error:
            logger.warning("The mail server cannot be reached: %s", error)
            for message, _ in held:
                result.postponed += give_back(message, clock(), message.next_try_at)
            return


def _question(message: Message) -> consent.Question:
    return consent.Question(
        organisation=message.organisation,
        person=message.person,
        address=message.to_address,
        channel=message.channel,
        message_class=message.message_class,
    )


def _handle(
    message: Message,
    refusal: str,
    post: Post,
    clock: Callable[[], datetime],
    result: Drained,
) -> None:
    now = clock()
    if not still_held(message, now):
        return
    reason = why_no_longer(message, now) or refusal
    if reason:
        result.dropped += release(message, now, state=State.DROPPED, last_error=reason)
        return
    leaves = may_leave_at(message, now)
    if leaves > now:
        result.postponed += give_back(message, now, leaves)
        return
    _send(message, post, clock, result)


def _send(message: Message, post: Post, clock: Callable[[], datetime], result: Drained) -> None:
    try:
        _hand_over(message, post)
    except PostSilent as error:
        _note_failure(message, error, clock(), result)
        raise
    except PostClosed as error:
        now = clock()
        result.postponed += give_back(message, now, now + CLOSED_FOR, str(error))
        raise
    except (OSError, smtplib.SMTPException, ValueError) as error:
        _note_failure(message, error, clock(), result)
    else:
        now = clock()
        result.sent += release(message, now, state=State.SENT, sent_at=now, last_error="")


def _hand_over(message: Message, post: Post) -> None:
    """Give a message to the mail server, or to the gateway for text messages."""
    if message.channel == SMS:
        send_text(to=message.to_address, text=message.body_text, reference=message.message_id)
        return
    post.send(
        wire_bytes(letter_of(message)),
        sender=_sender(message).address,
        recipient=message.to_address,
        name=message.message_id,
    )


def _note_failure(message: Message, error: Exception, now: datetime, result: Drained) -> None:
    failure = read_failure(error, message.attempts)
    if failure.is_final:
        logger.error("Message %s could not be sent", message.public_id)
        result.dead += release(message, now, state=State.DEAD, last_error=failure.reason)
        return
    wait = wait_before(message.attempts, message.key)
    result.failed += release(
        message,
        now,
        state=State.WAITING,
        next_try_at=now + wait,
        last_error=failure.reason,
    )


def letter_of(message: Message) -> Letter:
    """A row as the letter it stands for; the same row gives the same bytes."""
    sender = _sender(message)
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
        is_response=message.calendar_method == "DECLINECOUNTER",
        # Answers to an invitation must come back to its token, all others to the office.
        reply_to=None if message.calendar_method else office_of(message.organisation),
    )


def _sender(message: Message) -> Party:
    if message.event is not None and message.calendar_method:
        return organizer_of(message.event)
    return sender_of(message.organisation)


@transaction.atomic
def send_again(*, message: Message, by: User, now: datetime | None = None) -> bool:
    """Give a message that could not be sent another chance, at somebody's word.

    One that has no words yet is written first; False where it still cannot be.
    """
    access.require_change(by, message)
    if not write_again(message):
        return False
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
