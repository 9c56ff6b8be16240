"""A run of the planner: watching it, then accepting or throwing away what it proposes."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from scheduler import booking, round_plans, rounds, tasks
from scheduler.day_again import stands_against
from scheduler.forms.rounds import CrewForm, crews_of
from scheduler.models import Job, PlanRun, Round, Stop
from scheduler.plan_figures import (
    accepted_from,
    changes_of,
    days_proposed,
    jobs_named,
    plans_compared,
    proposals_of,
)
from scheduler.round_readiness import reasons_against, round_words
from scheduler.round_sheets import map_of, rounds_with_stops, sheets_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from uuid import UUID

    from django.http import HttpRequest


def run_of(request: HttpRequest, public_id: UUID) -> PlanRun:
    """Run by its public id, for who may see it."""
    runs = PlanRun.objects.visible_to(request.user).select_related("organisation", "asked_by")
    return get_object_or_404(runs, public_id=public_id)


def wake(run: PlanRun) -> None:
    """Start a worker on the run now; if that fails, the timetable does it within a minute."""
    transaction.on_commit(partial(tasks.run_plan.delay, run.pk), robust=True)


@member_required
def plan_run(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show how far a run is, or what it proposes."""
    return plan_page(request, run_of(request, public_id))


def plan_page(request: HttpRequest, run: PlanRun, *, reasons: Sequence[str] = ()) -> HttpResponse:
    """Page of a run, with what stands against accepting it."""
    if run.state in round_plans.OPEN_STATES or run.state == PlanRun.State.FAILED:
        return render(request, "scheduler/plan_progress.html", _progress(run))
    if run.settings.get("happening") is not None:
        return rest_page(request, run, reasons=reasons)
    context = _proposed(request, run, reasons)
    return render(request, "scheduler/plan_run.html", context, status=422 if reasons else 200)


def _proposed(request: HttpRequest, run: PlanRun, reasons: Sequence[str]) -> dict[str, Any]:
    """What the page of a run shows that has ended."""
    days = days_proposed(run)
    day = _chosen(request, days)
    sheets = sheets_of(rounds_with_stops(proposals_of(run).filter(day__in=[day] if day else [])))
    left_out = _left_out(run)
    changeable = access.may_change(request.user, run)
    crews = crews_of(run.organisation)
    return {
        "run": run,
        "reasons": reasons,
        "days": days,
        "day": day,
        "proposals": [(one, CrewForm(planned=one.planned, crews=crews)) for one in sheets],
        "round_count": proposals_of(run).count(),
        "accepted": accepted_from(run),
        "plans": plans_compared(run, left_out=len(left_out)),
        "left_out": left_out,
        "map": map_of(sheets, [job for job, _ in left_out if job is not None]),
        "changeable": changeable,
        "first": _first(run) if changeable and sheets and not reasons else (),
        "organisation": run.organisation,
    }


def rest_page(request: HttpRequest, run: PlanRun, *, reasons: Sequence[str] = ()) -> HttpResponse:
    """Page of the rest of a day planned anew: first what changes for whom, then the rounds."""
    sheets = sheets_of(rounds_with_stops(proposals_of(run)))
    changeable = access.may_change(request.user, run)
    settled = bool(run.problem.get("settled"))
    crews = crews_of(run.organisation)
    against = () if settled or reasons or not changeable else stands_against(run, timezone.now())
    context = {
        "run": run,
        "reasons": reasons,
        "first": against,
        "changes": changes_of(run),
        "left_out": _left_out(run),
        "proposals": [(one, CrewForm(planned=one.planned, crews=crews)) for one in sheets],
        "map": map_of(sheets),
        "changeable": changeable and not settled,
        "settled": settled,
        "organisation": run.organisation,
    }
    return render(request, "scheduler/rest_of_day.html", context, status=422 if reasons else 200)


def _chosen(request: HttpRequest, days: Sequence[dt.date]) -> dt.date | None:
    """The day asked for, when something is proposed for it; else the first that has something."""
    asked = {day.isoformat(): day for day in days}.get(request.GET.get("day", ""))
    return asked or (days[0] if days else None)


def back_to(run: PlanRun, day: dt.date | None = None) -> HttpResponse:
    """Back to the plan, to the day that was looked at."""
    where = reverse("scheduler:plan_run", args=[run.public_id])
    return redirect(f"{where}?day={day.isoformat()}" if day and run.days > 1 else where)


def _first(run: PlanRun) -> list[str]:
    """What must be settled before the proposals can be accepted."""
    try:
        return reasons_against(run)
    except round_plans.ProblemError as fault:
        return [fault.message]


def _left_out(run: PlanRun) -> list[tuple[Job | None, dict[str, str]]]:
    """Jobs left out with the reason; the job is None when it is no longer ours to show."""
    rows = jobs_named(run, run.left_out)
    return [(rows.get(line["job"]), line) for line in run.left_out]


def _progress(run: PlanRun) -> dict[str, Any]:
    return {
        "run": run,
        "percent": round(run.progress * 100),
        "silent": round_plans.is_silent(run, timezone.now()),
        "jobs": len(run.settings.get("jobs", ())),
    }


@member_required
def plan_progress(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Say how far the run is; when it has ended, the page is to be loaded again."""
    run = run_of(request, public_id)
    response = render(request, "scheduler/_plan_progress.html", _progress(run))
    if run.state not in round_plans.OPEN_STATES:
        response["HX-Refresh"] = "true"
    return response


@member_required
@require_POST
def plan_stop(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Stop searching and keep the best found."""
    run = run_of(request, public_id)
    round_plans.ask_to_stop(run=run, by=request.user)  # type: ignore[arg-type]
    return redirect("scheduler:plan_run", public_id)


@member_required
@require_POST
def plan_again(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Start a run again whose worker died or that failed."""
    run = run_of(request, public_id)
    if round_plans.start_again(run=run, by=request.user):  # type: ignore[arg-type]
        wake(run)
    return redirect("scheduler:plan_run", public_id)


@member_required
@require_POST
def plan_anew(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Plan the same days again from here: locked jobs stay where they are."""
    run = run_of(request, public_id)
    again = round_plans.plan_anew(run=run, by=request.user)  # type: ignore[arg-type]
    wake(again)
    return redirect("scheduler:plan_run", again.public_id)


@member_required
@require_POST
def plan_accept(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Accept one or all of the proposals: everybody concerned is told."""
    run = run_of(request, public_id)
    access.require_change(request.user, run)
    chosen = Round.objects.filter(run=run, accepted_at__isnull=True)
    if request.POST.get("round"):
        chosen = chosen.filter(public_id__in=[request.POST["round"]])
    try:
        accepted = rounds.accept_rounds(run=run, rounds=chosen, by=request.user)  # type: ignore[arg-type]
    except rounds.RoundsNotReady as fault:
        return plan_page(request, run, reasons=fault.reasons)
    except round_plans.ProblemError as fault:
        return plan_page(request, run, reasons=[fault.message])
    except booking.NotPossible as fault:
        return plan_page(request, run, reasons=[str(fault)])
    if accepted:
        transaction.on_commit(tasks.drain_outbox.delay, robust=True)
        names = "; ".join(round_words(row) for row in accepted)
        messages.success(request, f"Accepted: {names}. Owners and crews are being told.")
    return redirect("scheduler:plan_run", public_id)


@member_required
@require_POST
def plan_discard(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Throw away the proposals of a run."""
    run = run_of(request, public_id)
    count = rounds.discard_proposals(run=run, by=request.user)  # type: ignore[arg-type]
    messages.success(request, f"Proposals thrown away: {count}. Nobody had been told of them.")
    return redirect("scheduler:rounds")


@member_required
@require_POST
def stop_lock(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Keep a job on its tanker and day, or let it go."""
    stops = Stop.objects.select_related("round__run", "round__organisation")
    stop = get_object_or_404(
        stops.filter(round__in=Round.objects.visible_to(request.user)), public_id=public_id
    )
    rounds.lock_stop(stop=stop, locked=request.POST.get("locked") == "yes", by=request.user)  # type: ignore[arg-type]
    if stop.round.run is None:
        return redirect("scheduler:round", stop.round.public_id)
    return back_to(stop.round.run, stop.round.day)


urlpatterns = [
    path("rounds/plans/<uuid:public_id>/", plan_run, name="plan_run"),
    path("rounds/plans/<uuid:public_id>/progress/", plan_progress, name="plan_progress"),
    path("rounds/plans/<uuid:public_id>/stop/", plan_stop, name="plan_stop"),
    path("rounds/plans/<uuid:public_id>/again/", plan_again, name="plan_again"),
    path("rounds/plans/<uuid:public_id>/anew/", plan_anew, name="plan_anew"),
    path("rounds/plans/<uuid:public_id>/accept/", plan_accept, name="plan_accept"),
    path("rounds/plans/<uuid:public_id>/discard/", plan_discard, name="plan_discard"),
    path("rounds/stops/<uuid:public_id>/lock/", stop_lock, name="stop_lock"),
]
