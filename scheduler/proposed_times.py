"""Taking a time that an owner proposed by calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from scheduler import booking
from scheduler.messages.replies import note_seen

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import User
    from scheduler.models import Reply


@transaction.atomic
def take_proposed_time(*, reply: Reply, by: User, now: dt.datetime) -> bool:
    """Move the visit to the proposed time and tell everybody; False where it was settled."""
    access.require_change(by, reply)
    event = reply.event
    if event is None or event.appointment is None or reply.proposed_start is None:
        return False
    if not note_seen(reply=reply, by=by, now=now):
        return False
    booking.move(
        job=event.appointment.job,
        starts_at=reply.proposed_start,
        ends_at=reply.proposed_start + (event.ends_at - event.starts_at),
        by=by,
        now=now,
    )
    return True
