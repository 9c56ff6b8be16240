"""Which jobs may be planned on which days."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Prefetch, Q

from scheduler.models import Appointment, Job, Stop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation
    from scheduler.models import Tanker
    from scheduler.models.jobs import JobQuerySet

    from .clock import LocalClock

# What a tanker goes out for unless the planner says otherwise.
TANKER_WORK = (Job.Kind.EMPTYING, Job.Kind.CALL_OUT)


def plannable(jobs: JobQuerySet) -> JobQuerySet:
    """Not yet begun, with everything the planner reads already fetched."""
    open_states = (Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED)
    return for_planner(jobs.filter(state__in=open_states))


def for_planner(jobs: JobQuerySet) -> JobQuerySet:
    """Jobs with everything the planner reads already fetched."""
    standing = Appointment.objects.filter(cancelled_at__isnull=True)
    return jobs.select_related(
        "organisation",
        "handed_to",
        "system__premises__organisation",
        "system__forecast",
    ).prefetch_related(
        "system__tanks", Prefetch("appointments", queryset=standing, to_attr="standing")
    )


def candidates(
    *,
    organisation: Organisation,
    clock: LocalClock,
    first_day: dt.date,
    last_day: dt.date,
    tankers: Sequence[Tanker],
    kinds: Sequence[str] = TANKER_WORK,
    look_ahead_days: int = 28,
) -> JobQuerySet:
    """Jobs this organisation drives that could be done on these days by these tankers.

    Due by the last day, or within `look_ahead_days` after it, or expected by an owner on one
    of the days. Left aside: what is booked on another day, and what stands on an accepted
    round of another day or of a tanker that is not being planned.
    """
    starts, ends = clock.span(first_day, last_day)
    booked = Appointment.objects.filter(job=OuterRef("pk"), cancelled_at__isnull=True)
    booked_here = Q(starts_at__gte=starts, starts_at__lt=ends)
    on_round = Stop.objects.filter(job=OuterRef("pk"), round__accepted_at__isnull=False)
    ours = Q(round__day__range=(first_day, last_day), round__tanker__in=tankers)
    in_reach = Q(due_on__lte=last_day + dt.timedelta(days=look_ahead_days))
    return (
        plannable(Job.objects.for_operator(organisation))
        .filter(kind__in=kinds)
        .filter(Q(earliest__isnull=True) | Q(earliest__lte=last_day))
        .filter(in_reach | Exists(booked.filter(booked_here)))
        .exclude(Exists(booked.exclude(booked_here)))
        .exclude(Exists(on_round.exclude(ours)))
        .order_by("due_on", "pk")
    )


def standing_appointment(job: Job) -> Appointment | None:
    """When the owner expects us: the appointment that is not cancelled."""
    fetched: list[Appointment] | None = getattr(job, "standing", None)
    if fetched is None:
        return job.appointments.filter(cancelled_at__isnull=True).first()
    return fetched[0] if fetched else None
