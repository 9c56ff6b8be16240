"""Planning days: asking for a plan, watching it, changing and accepting what it proposes."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.middleware import organisation_of
from scheduler import booking, round_plans, rounds, tasks
from scheduler.forms.rounds import CrewForm, PlanForm
from scheduler.local_days import local_today
from scheduler.models import Job, PlanRun, Round, Stop
from scheduler.plan_figures import accepted_from, figures_of, in_force, proposals_of
from scheduler.round_sheets import map_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from uuid import UUID

    from django.http import HttpRequest

    from customers.models import Organisation
    from scheduler.models.jobs import JobQuerySet

MOST_JOBS_SHOWN = 500


def run_of(request: HttpRequest, public_id: UUID) -> PlanRun:
    """Run by its public id, for who may see it."""
    runs = PlanRun.objects.visible_to(request.user).select_related("organisation", "asked_by")
    return get_object_or_404(runs, public_id=public_id)


@member_required
def plan_days(request: HttpRequest) -> HttpResponse:
    """Choose days, tankers and jobs; ask for a plan."""
    organisation = organisation_of(request)
    access.require(request.user, "plan", organisation)
    form = PlanForm(
        request.POST or None, organisation=organisation, today=local_today(organisation)
    )
    asked = request.method == "POST" and "look" not in request.POST
    picked = _picked(request, organisation)
    if asked and form.is_valid() and picked:
        return _start(request, form, picked)
    shown = _candidates(form, organisation)
    if asked and not picked:
        form.add_error(None, "No job is ticked: tick at least one to plan.")
    unticked = set(request.POST.getlist("shown")) - {str(job.public_id) for job in picked}
    context = {
        "form": form,
        "jobs": [(job, str(job.public_id) not in unticked) for job in shown],
        "fleet": round_plans.fleet_of(organisation),
        "most": MOST_JOBS_SHOWN,
        "today": local_today(organisation),
    }
    status = 422 if asked else 200
    return render(request, "scheduler/plan_days.html", context, status=status)


def _picked(request: HttpRequest, organisation: Organisation) -> list[Job]:
    ids = [text for text in request.POST.getlist("jobs") if _is_id(text)]
    return list(Job.objects.for_operator(organisation).filter(public_id__in=ids))


def _is_id(text: str) -> bool:
    return len(text) == 36 and text.replace("-", "").isalnum()


def _candidates(form: PlanForm, organisation: Organisation) -> JobQuerySet | Sequence[Job]:
    """Jobs for the days typed so far; the days the form begins with when those are no days."""
    value = _typed(form)
    if not value["tankers"]:
        return []
    found = round_plans.candidates(
        organisation=organisation,
        clock=round_plans.LocalClock.of(organisation),
        first_day=value["first_day"],
        last_day=value["first_day"] + dt.timedelta(days=value["days"] - 1),
        tankers=_rows(value["tankers"], organisation),
        kinds=value["kinds"],
        look_ahead_days=value["look_ahead_days"],
    )
    return found[:MOST_JOBS_SHOWN]


def _typed(form: PlanForm) -> dict[str, Any]:
    """What was typed where it can be understood; elsewhere what the form begins with."""
    begun = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    if not form.is_bound:
        return begun
    form.full_clean()
    return begun | form.cleaned_data


def _rows(tankers: Any, organisation: Organisation) -> Any:
    """Tankers chosen, as rows; the form begins with their public ids."""
    ids = [str(getattr(one, "public_id", one)) for one in tankers]
    return round_plans.fleet_of(organisation, ids).tankers


def _start(request: HttpRequest, form: PlanForm, picked: Sequence[Job]) -> HttpResponse:
    run = round_plans.start_plan(
        organisation=form.organisation,
        first_day=form.cleaned_data["first_day"],
        days=form.cleaned_data["days"],
        by=request.user,  # type: ignore[arg-type]
        settings=form.settings(picked),
    )
    _wake(run)
    return redirect("scheduler:plan_run", run.public_id)


def _wake(run: PlanRun) -> None:
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
    sheets, accepted = proposals_of(run), accepted_from(run)
    before = in_force(run, sheets)
    left_out = _left_out(run)
    context = {
        "run": run,
        "reasons": reasons,
        "proposals": [(sheet, CrewForm(planned=sheet.planned)) for sheet in sheets],
        "accepted": accepted,
        "figures": figures_of(sheets or accepted),
        "before": figures_of(before) if before else None,
        "left_out": left_out,
        "map": map_of(sheets or accepted, [job for job, _ in left_out if job is not None]),
        "changeable": access.may_change(request.user, run),
        "organisation": run.organisation,
    }
    return render(request, "scheduler/plan_run.html", context, status=422 if reasons else 200)


def _left_out(run: PlanRun) -> list[tuple[Job | None, str]]:
    """Jobs left out with the reason; the job is None when it is no longer ours to show."""
    ids = [line["job"] for line in run.left_out]
    jobs = Job.objects.for_operator(run.organisation).filter(public_id__in=ids)
    rows = {str(job.public_id): job for job in jobs.select_related("system__premises")}
    return [(rows.get(line["job"]), line["why"]) for line in run.left_out]


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
        _wake(run)
    return redirect("scheduler:plan_run", public_id)


@member_required
@require_POST
def plan_anew(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Plan the same days again from here: locked jobs stay where they are."""
    run = run_of(request, public_id)
    again = round_plans.plan_anew(run=run, by=request.user)  # type: ignore[arg-type]
    _wake(again)
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
    except booking.NotPossible as fault:
        return plan_page(request, run, reasons=[str(fault)])
    if accepted:
        transaction.on_commit(tasks.drain_outbox.delay, robust=True)
        names = ", ".join(str(row) for row in accepted)
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
    return redirect("scheduler:plan_run", stop.round.run.public_id)


urlpatterns = [
    path("rounds/plan/", plan_days, name="plan_new"),
    path("rounds/plans/<uuid:public_id>/", plan_run, name="plan_run"),
    path("rounds/plans/<uuid:public_id>/progress/", plan_progress, name="plan_progress"),
    path("rounds/plans/<uuid:public_id>/stop/", plan_stop, name="plan_stop"),
    path("rounds/plans/<uuid:public_id>/again/", plan_again, name="plan_again"),
    path("rounds/plans/<uuid:public_id>/anew/", plan_anew, name="plan_anew"),
    path("rounds/plans/<uuid:public_id>/accept/", plan_accept, name="plan_accept"),
    path("rounds/plans/<uuid:public_id>/discard/", plan_discard, name="plan_discard"),
    path("rounds/stops/<uuid:public_id>/lock/", stop_lock, name="stop_lock"),
]
