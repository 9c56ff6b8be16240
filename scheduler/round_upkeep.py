"""Accepted rounds follow what happens to their visits: cancelled, moved or withdrawn ones go."""

from __future__ import annotations

import datetime as dt
import logging
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from scheduler import round_plans
from scheduler.messages import telling
from scheduler.models import Appointment, Job, Round, Stop

if TYPE_CHECKING:
    from django.db.models import QuerySet

log = logging.getLogger(__name__)


def stale_stops(now: dt.datetime) -> QuerySet[Stop]:
    """Stops of accepted rounds, today's and later, whose visit does not stand any more.

    Its job is no longer agreed (nor begun), or is agreed for another time than the stop keeps.
    """
    kept = Appointment.objects.filter(
        job=OuterRef("job"),
        cancelled_at__isnull=True,
        starts_at__lte=OuterRef("start_at"),
        ends_at__gte=OuterRef("start_at"),
    )
    not_promised = Q(job__state__in=(Job.State.WANTED, Job.State.OFFERED, Job.State.WITHDRAWN))
    promised_otherwise = Q(job__state=Job.State.AGREED) & ~Exists(kept)
    handed_on = Q(job__handed_to__isnull=False) & ~Q(job__handed_to=F("round__organisation"))
    taken_back = Q(job__handed_to__isnull=True) & ~Q(job__organisation=F("round__organisation"))
    elsewhere = handed_on | taken_back
    return Stop.objects.filter(
        round__accepted_at__isnull=False,
        round__day__gte=now.date() - dt.timedelta(days=1),
        job__isnull=False,
        arrived_at__isnull=True,
    ).filter(not_promised | promised_otherwise | elsewhere)


def tidy_rounds(*, now: dt.datetime | None = None) -> int:
    """Take stale stops off their rounds, time those anew and tell the crews; gives the rounds.

    Doing it again changes nothing. A round with nothing left to do is called off.
    """
    now = now or timezone.now()
    rounds = list(stale_stops(now).values_list("round", flat=True).distinct())
    for key in rounds:
        _tidy(key, now)
    return len(rounds)


@transaction.atomic
def _tidy(key: int, now: dt.datetime) -> None:
    planned = Round.objects.select_for_update(of=("self",)).get(pk=key)
    gone = set(stale_stops(now).filter(round=planned).values_list("job", flat=True))
    left = planned.stops.filter(job__isnull=False).exclude(job__in=gone)
    if not gone:
        return
    if not left.exists():
        planned.stops.filter(job__in=gone).delete()
        planned.accepted_at = planned.accepted_by = planned.run = None
        planned.save(update_fields=["accepted_at", "accepted_by", "run", "changed_at"])
        telling.tell_round_withdrawn(planned=planned, now=now, reason="No visit is left on it.")
        return
    begun = planned.stops.filter(
        Q(arrived_at__isnull=False) | Q(job__state__in=(Job.State.UNDER_WAY, Job.State.DONE))
    )
    if begun.exists() or not _timed_anew(planned, gone):
        planned.stops.filter(job__in=gone).delete()
    telling.tell_round_accepted(planned=planned, now=now)


def _timed_anew(planned: Round, gone: set[int]) -> bool:
    try:
        round_plans.time_without(planned, gone)
    except round_plans.ProblemError as fault:
        log.warning("round %s keeps its times: %s", planned.pk, fault.message)
        return False
    return True
