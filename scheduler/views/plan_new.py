"""Asking for a plan: which days, which tankers, which jobs."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.shortcuts import redirect, render
from django.urls import path

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from scheduler import round_plans
from scheduler.forms.rounds import PlanForm
from scheduler.models import Job
from scheduler.views.plans import wake

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse

    from customers.models import Organisation
    from scheduler.models.jobs import JobQuerySet

MOST_JOBS_SHOWN = 500


@member_required
def plan_new(request: HttpRequest) -> HttpResponse:
    """Choose days, tankers and jobs; ask for a plan."""
    organisation = organisation_of(request)
    access.require(request.user, "plan", organisation)
    form = _form(request, organisation)
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
        "today": form.today,
    }
    status = 422 if asked else 200
    return render(request, "scheduler/plan_new.html", context, status=status)


def _form(request: HttpRequest, organisation: Organisation) -> PlanForm:
    return PlanForm(
        request.POST or None,
        organisation=organisation,
        today=local_today(organisation),
        initial={"first_day": day} if (day := _day(request)) else None,
    )


def _day(request: HttpRequest) -> dt.date | None:
    """The day named in the address, when it is one."""
    try:
        return dt.date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None


def _picked(request: HttpRequest, organisation: Organisation) -> list[Job]:
    ids = [text for text in request.POST.getlist("jobs") if is_id(text)]
    return list(Job.objects.for_operator(organisation).filter(public_id__in=ids))


def is_id(text: str) -> bool:
    """Whether a text could be the public id of a row."""
    try:
        UUID(text)
    except ValueError:
        return False
    return True


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
    wake(run)
    return redirect("scheduler:plan_run", run.public_id)


urlpatterns = [path("rounds/plan/", plan_new, name="plan_new")]
