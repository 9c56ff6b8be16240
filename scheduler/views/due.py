"""The list of what is due, and making jobs of it now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from customers.access import may, member_required, require
from customers.local_days import local_today
from customers.middleware import organisation_of
from scheduler import due_work
from scheduler.job_lists import JobFilter, by_urgency, counts_by_span
from scheduler.models import Job
from servicing.forecasts import refresh_forecasts
from servicing.models import System

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

PAGE = 30


@member_required
def due(request: HttpRequest) -> HttpResponse:
    """List open jobs by due date with why they are due."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    asked = request.GET.copy()
    asked.setdefault("state", "open")
    jobs = (
        Job.objects.concerning(organisation)
        .select_related("system", "system__premises", "organisation", "handed_to")
        .order_by("-urgent", "due_on", "pk")
    )
    narrowed = JobFilter(asked, jobs, today=today)
    page = Paginator(narrowed.qs, PAGE).get_page(request.GET.get("page"))
    operator = organisation.tanker_operator
    context = {
        "filter": narrowed,
        "page": page,
        "pieces": by_urgency(page, today),
        "spans": counts_by_span(Job.objects.concerning(organisation), today),
        "today": today,
        "here": organisation,
        "operator": operator,
        "may_share": operator is not None and may(request.user, "plan", organisation),
    }
    return render(request, "scheduler/due.html", context)


@member_required
@require_POST
def find_due_work(request: HttpRequest) -> HttpResponse:
    """Refresh the forecasts and make jobs of what falls due, now instead of tonight."""
    organisation = organisation_of(request)
    require(request.user, "plan", organisation)
    today = local_today(organisation)
    refresh_forecasts(systems=System.objects.filter(organisation=organisation), today=today)
    done = due_work.make_due_jobs(organisation=organisation, today=today)
    said = f"{done.made} made, {done.changed} changed, {done.withdrawn} withdrawn."
    messages.success(request, f"Looked through the register. Jobs: {said}")
    return redirect("scheduler:due")


urlpatterns = [
    path("due/", due, name="due"),
    path("due/find/", find_due_work, name="find_due_work"),
]
