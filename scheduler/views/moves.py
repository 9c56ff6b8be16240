"""Moving one job of a plan by hand, with what it would break and cost shown first."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from scheduler import round_plans, rounds
from scheduler.forms.rounds import MoveForm
from scheduler.models import Job, Round, Stop
from scheduler.round_plans import ProblemError, why_now
from scheduler.views.plans import back_to, run_of

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse

    from scheduler.models import PlanRun


def _job_of(run: PlanRun, job_id: UUID) -> Job:
    if str(job_id) not in run.settings.get("jobs", ()):
        raise Http404
    jobs = Job.objects.for_operator(run.organisation)
    return get_object_or_404(
        jobs.select_related("system__premises", "system__forecast"), public_id=job_id
    )


def _form_for(data: Any, run: PlanRun, here: Stop | None) -> MoveForm:
    settings = run.settings
    fleet = round_plans.fleet_of(run.organisation, settings["tankers"], settings["works"])
    rows = Round.objects.filter(run=run, accepted_at__isnull=True)
    sizes = [row.stops.filter(job__isnull=False).count() for row in rows]
    initial = {"tanker": here.round.tanker.public_id, "day": here.round.day} if here else {}
    return MoveForm(
        data,
        tankers=fleet.tankers,
        days=[run.first_day + dt.timedelta(days=number) for number in range(run.days)],
        most_jobs=max(sizes, default=0),
        initial=initial,
    )


def _visit(request: HttpRequest, run: PlanRun, job: Job) -> Stop | None:
    """Where the job stands in the plan; `part` in the address says which of several visits."""
    stops = Stop.objects.filter(round__run=run, round__accepted_at__isnull=True, job=job)
    part = (request.POST or request.GET).get("part", "")
    visits = stops.filter(part=int(part)) if part.isdigit() else stops
    return visits.select_related("round__tanker").order_by("part").first()


@member_required
def plan_move(request: HttpRequest, public_id: UUID, job_id: UUID) -> HttpResponse:
    """GET with a target shows what the move would do; POST makes it."""
    run = run_of(request, public_id)
    access.require_change(request.user, run)
    job = _job_of(run, job_id)
    here = _visit(request, run, job)
    target = request.POST or (request.GET if "tanker" in request.GET else None)
    form = _form_for(target, run, here)
    today = local_today(run.organisation)
    context: dict[str, Any] = {"run": run, "job": job, "stop": here, "form": form, "today": today}
    context |= {"here": run.organisation, "waiting": why_now(job, run.organisation, today)}
    if form.is_bound and form.is_valid():
        try:
            if request.method == "POST":
                return _made(request, run, job, form, here)
            context["look"] = _look(run, job, form, here)
            context["clock"] = round_plans.LocalClock.of(run.organisation)
        except ProblemError as fault:
            form.add_error(None, fault.message)
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "scheduler/plan_move.html", context, status=status)


def _look(run: PlanRun, job: Job, form: MoveForm, here: Stop | None) -> round_plans.Look:
    given = form.cleaned_data
    return round_plans.look_at_move(
        round_plans.board_of(run),
        job=job,
        tanker=given["tanker"],
        day=given["day"],
        position=form.place,
        part=here.part if here else None,
    )


def _made(
    request: HttpRequest, run: PlanRun, job: Job, form: MoveForm, here: Stop | None
) -> HttpResponse:
    given = form.cleaned_data
    look = rounds.move_stop(
        run=run,
        job=job,
        tanker=given["tanker"],
        day=given["day"],
        position=form.place,
        part=here.part if here else None,
        by=request.user,  # type: ignore[arg-type]
    )
    where = f"{job.system.reference} is now with {given['tanker']} on {given['day']:%d %B}."
    if look.possible:
        messages.success(request, where)
    else:
        messages.warning(request, f"{where} It breaks a rule: {' '.join(look.breaches)}")
    return back_to(run, given["day"])


@member_required
@require_POST
def plan_take_off(request: HttpRequest, public_id: UUID, job_id: UUID) -> HttpResponse:
    """Take a job off its proposal."""
    run = run_of(request, public_id)
    access.require_change(request.user, run)
    job = _job_of(run, job_id)
    day = Round.objects.filter(run=run, stops__job=job).values_list("day", flat=True).first()
    try:
        rounds.take_off(run=run, job=job, by=request.user)  # type: ignore[arg-type]
        messages.success(request, f"{job.system.reference} is off the plan; it is still wanted.")
    except ProblemError as fault:
        messages.error(request, f"Nothing was changed. {fault.message}")
    return back_to(run, day)


urlpatterns = [
    path("rounds/plans/<uuid:public_id>/jobs/<uuid:job_id>/", plan_move, name="plan_move"),
    path(
        "rounds/plans/<uuid:public_id>/jobs/<uuid:job_id>/off/",
        plan_take_off,
        name="plan_take_off",
    ),
]
