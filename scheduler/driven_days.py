"""How a round went: when the crew came and left."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from customers import access
from scheduler import booking
from scheduler.models import Job, Round, Stop

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from customers.models import User


@transaction.atomic
def mark_arrived(*, stop: Stop, by: User, now: dt.datetime) -> bool:
    """Note that the crew is there; the job is under way. False when it was noted before."""
    access.require(by, "visit", stop.round.organisation)
    changed = Stop.objects.filter(pk=stop.pk, arrived_at__isnull=True).update(arrived_at=now)
    if changed and stop.job is not None and stop.job.state in Job.OPEN:
        booking.start_work(job=stop.job, by=by)
    return bool(changed)


@transaction.atomic
def mark_left(*, stop: Stop, by: User, now: dt.datetime) -> bool:
    """Note that the crew has gone. False when it was noted before, or it never arrived."""
    access.require(by, "visit", stop.round.organisation)
    here = Stop.objects.filter(pk=stop.pk, left_at__isnull=True, arrived_at__lte=now)
    return bool(here.update(left_at=now))


def rounds_to_drive(user: User, days: list[dt.date]) -> QuerySet[Round]:
    """Accepted rounds on `days` of the crews that `user` belongs to, own day first.

    A round without a crew of its own is driven by the crew of its tanker.
    """
    own = Q(crew__user=user) | Q(crew__isnull=True, tanker__crew__user=user)
    return (
        Round.objects.visible_to(user)
        .filter(own, accepted_at__isnull=False, day__in=days)
        .select_related("tanker", "crew", "organisation")
        .prefetch_related("stops__job__system__premises__organisation", "stops__works__closures")
        .order_by("day", "starts_at")
    )
