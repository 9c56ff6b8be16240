"""Taking messages out of the outbox for sending, and putting them back: conditional UPDATEs only.

A claim is one UPDATE with the claimer's name and a lease, committed before anything is sent.
Whoever dies holding messages loses them when the lease runs out; whoever comes back late finds
that nothing is his any more.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Exists, F, OuterRef, Q

from scheduler.messages.recipients import EMAIL, SMS
from scheduler.models import Message

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from django.db.models import QuerySet

# Longer than the slowest send: every step of one has the time limit of the mail settings.
LEASE = timedelta(minutes=5)
State = Message.State


def sendable(now: datetime) -> QuerySet[Message]:
    """E-mail and text messages that may be claimed: due, or claimed by somebody whose lease ran out.

    A message about an event stays back while an earlier one about it is being sent, so that an
    update never overtakes its invitation.
    """
    earlier_under_way = Message.objects.filter(
        event=OuterRef("event"), state=State.SENDING, pk__lt=OuterRef("pk"), lease_until__gt=now
    )
    channels = [EMAIL, SMS] if settings.SMS_GATEWAY_URL else [EMAIL]
    due = Q(state=State.WAITING, next_try_at__lte=now)
    abandoned = Q(state=State.SENDING, lease_until__lte=now)
    return (
        Message.objects.filter(due | abandoned, channel__in=channels)
        .filter(Q(event__isnull=True) | ~Exists(earlier_under_way))
        .order_by("next_try_at", "pk")
    )


def claim(wanted: Sequence[int], *, owner: str, now: datetime) -> list[Message]:
    """Take messages for sending; gives those that nobody else was quicker to take."""
    sendable(now).filter(pk__in=wanted).order_by().update(
        state=State.SENDING,
        claimed_by=owner,
        lease_until=now + LEASE,
        attempts=F("attempts") + 1,
        changed_at=now,
    )
    mine = Message.objects.filter(pk__in=wanted, state=State.SENDING, claimed_by=owner)
    return list(
        mine.select_related(
            "organisation__profile",
            "organisation__telling_rules",
            "person",
            "event__organisation",
            "job__system__premises__organisation",
        ).order_by("next_try_at", "pk")
    )


def still_held(message: Message, now: datetime) -> bool:
    """Whether a claimed message is still ours to send; renews a lease that is half used up."""
    assert message.lease_until is not None
    if message.lease_until - now > LEASE / 2:
        return True
    mine = Message.objects.filter(
        pk=message.pk, state=State.SENDING, claimed_by=message.claimed_by, lease_until__gt=now
    )
    return mine.update(lease_until=now + LEASE) == 1


def release(message: Message, now: datetime, **changes: object) -> int:
    """End a claim, if it is still ours: after the lease ran out another may hold it."""
    mine = Message.objects.filter(pk=message.pk, state=State.SENDING, claimed_by=message.claimed_by)
    return mine.update(claimed_by="", lease_until=None, changed_at=now, **changes)


def give_back(message: Message, now: datetime, next_try_at: datetime, reason: str = "") -> int:
    """Put a message back untried: neither night nor a closed post office is its failure."""
    return release(
        message,
        now,
        state=State.WAITING,
        next_try_at=next_try_at,
        attempts=message.attempts - 1,
        last_error=reason,
    )
