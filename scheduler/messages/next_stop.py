"""Telling the next owner that the crew has left for them."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from scheduler.messages.telling import tell_on_the_way
from scheduler.models import Appointment, Stop

if TYPE_CHECKING:
    from datetime import datetime

    from scheduler.models import Message

FEWEST_MINUTES = 10
# Said to the nearest five: nobody can keep a promise of minutes on a farm road.
STEP = 5


def tell_next_stop(*, left: Stop, now: datetime) -> list[Message]:
    """Say to whoever is next on the round that the crew is coming; nothing before a tip."""
    following = left.round.stops.filter(position__gt=left.position)
    after = following.exclude(kind=Stop.Kind.BREAK).order_by("position").first()
    if after is None or after.job is None or after.arrived_at is not None:
        return []
    visit = Appointment.objects.standing().filter(job=after.job, agreed_at__isnull=False).first()
    if visit is None or visit.starts_at - now > timedelta(hours=12):
        return []
    return tell_on_the_way(appointment=visit, now=now, minutes=_minutes(left, after))


def _minutes(left: Stop, after: Stop) -> int:
    """The planned way from one stop to the next, breaks included, in steps of five minutes."""
    planned = (after.arrive_at - left.depart_at).total_seconds() / 60
    return max(FEWEST_MINUTES, STEP * round(planned / STEP))
