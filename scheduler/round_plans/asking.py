"""Asking for a plan: a run waits for a worker, can be stopped, and is seen when it died."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from customers import access
from scheduler.models import PlanRun

from .settings import PlanSettings

if TYPE_CHECKING:
    from customers.models import Organisation, User

# A worker that says nothing for so long is taken to be dead. A living one writes each second
# while it searches, and then is silent while it explains what it left out.
SILENCE = dt.timedelta(seconds=300)
WAKE_AFTER = dt.timedelta(seconds=30)
OPEN_STATES = (PlanRun.State.WAITING, PlanRun.State.WORKING)


@transaction.atomic
def start_plan(
    *,
    organisation: Organisation,
    first_day: dt.date,
    days: int,
    by: User,
    settings: PlanSettings,
) -> PlanRun:
    """Ask for a plan. The caller wakes a worker; the row alone is enough for a later one."""
    access.require(by, "plan", organisation)
    return PlanRun.objects.create(
        organisation=organisation,
        first_day=first_day,
        days=days,
        asked_by=by,
        settings=settings.as_json(),
    )


def plan_anew(*, run: PlanRun, by: User) -> PlanRun:
    """Ask for the same days again, begun from this run's proposals with their locks kept."""
    settings = replace(PlanSettings.from_json(run.settings), after=str(run.public_id))
    return start_plan(
        organisation=run.organisation,
        first_day=run.first_day,
        days=run.days,
        by=by,
        settings=settings,
    )


def ask_to_stop(*, run: PlanRun, by: User) -> None:
    """Let the search end with the best found so far. Asking twice is asking once."""
    access.require_change(by, run)
    PlanRun.objects.filter(pk=run.pk, state__in=OPEN_STATES).update(stop_asked=True)


def is_silent(run: PlanRun, now: dt.datetime) -> bool:
    """Whether the run should be moving but no worker has been heard of for too long."""
    return run.state in OPEN_STATES and now - run.changed_at > SILENCE


def waiting_runs(now: dt.datetime | None = None) -> list[int]:
    """Runs that no worker has begun within half a minute of being asked for."""
    asked_before = (now or timezone.now()) - WAKE_AFTER
    waiting = PlanRun.objects.filter(state=PlanRun.State.WAITING, changed_at__lt=asked_before)
    return list(waiting.values_list("pk", flat=True))


def start_again(*, run: PlanRun, by: User, now: dt.datetime | None = None) -> bool:
    """Put a run that failed or fell silent back in the queue; False when it needs no help."""
    access.require_change(by, run)
    now = now or timezone.now()
    asleep = PlanRun.objects.filter(pk=run.pk, state__in=OPEN_STATES, changed_at__lt=now - SILENCE)
    failed = PlanRun.objects.filter(pk=run.pk, state=PlanRun.State.FAILED)
    fresh = {
        "state": PlanRun.State.WAITING,
        "changed_at": now,
        "stop_asked": False,
        "started_at": None,
        "progress": 0.0,
        "error": "",
    }
    return bool(failed.update(**fresh) or asleep.update(**fresh))
