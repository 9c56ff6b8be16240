"""How a round went: when the crew came and left, and what was tipped."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from customers import access
from scheduler import booking
from scheduler.models import Job, Round, Stop
from servicing.models import Emptying

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


@transaction.atomic
def record_tip(*, stop: Stop, litres: float, ticket: str, by: User, now: dt.datetime) -> None:
    """Note what was tipped and the ticket, and put it on the visits whose load it was."""
    access.require(by, "visit", stop.round.organisation)
    if stop.kind != Stop.Kind.TIP or stop.works is None:
        message = "This stop is not at a works."
        raise booking.NotPossible(message)
    stop.tipped_litres, stop.tip_ticket = round(litres), ticket
    stop.arrived_at = stop.arrived_at or now
    stop.left_at = stop.left_at or now
    stop.save(update_fields=["tipped_litres", "tip_ticket", "arrived_at", "left_at"])
    for emptying in loads_tipped_at(stop):
        emptying.tipped_at, emptying.tip_ticket = stop.works.name, ticket
        emptying.save(update_fields=["tipped_at", "tip_ticket"])


def loads_tipped_at(stop: Stop) -> QuerySet[Emptying]:
    """Emptyings since the tip before on this round: what is in the tanker at this tip."""
    tips_before = Stop.objects.filter(
        round_id=stop.round_id, kind=Stop.Kind.TIP, position__lt=stop.position
    )
    last = tips_before.order_by("-position").first()
    return Emptying.objects.filter(
        visit__job__stops__round_id=stop.round_id,
        visit__job__stops__position__lt=stop.position,
        visit__job__stops__position__gt=last.position if last else -1,
    ).distinct()


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
