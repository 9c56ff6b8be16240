"""The first page after signing in: what is due and what waits for somebody."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.contrib.auth.decorators import login_required
from django.db.models import Count, Min, Q, Sum
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone

from customers import agreement_lists
from customers.access import may
from customers.agreement_lists import SHOWN as SHOWN_AGREEMENTS
from customers.local_days import day_span, local_today, zone_of
from customers.middleware import organisation_of
from scheduler.messages.calls import count_to_ring
from scheduler.models import Appointment, DayRequest, Delivery, Job, Message, Round, TroubleReport
from servicing.models import Forecast, System

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from customers.models import Organisation

SHOWN = 8


@login_required
def desk(request: HttpRequest) -> HttpResponse:
    """Show what is due and what waits; a crew goes straight to its own round."""
    if not request.organisation:  # type: ignore[attr-defined]
        return render(request, "scheduler/no_organisation.html")
    organisation = organisation_of(request)
    user = request.user
    crew_only = may(user, "visit", organisation) and not may(user, "plan", organisation)
    if crew_only:
        return redirect("scheduler:today")
    today = local_today(organisation)
    context = {"today": today, "organisation": organisation}
    context |= due_figures(organisation, today=today)
    context |= waiting(organisation, today=today)
    return render(request, "scheduler/desk.html", context)


def due_figures(organisation: Organisation, *, today: dt.date) -> dict[str, Any]:
    """Numbers and the first lines of the open work, and of what nobody can date."""
    jobs = Job.objects.concerning(organisation).open()
    month = today + dt.timedelta(days=30)
    figures = jobs.aggregate(
        overdue=Count("pk", filter=Q(due_on__lt=today)),
        this_month=Count("pk", filter=Q(due_on__gte=today, due_on__lte=month)),
        agreed=Count("pk", filter=Q(state=Job.State.AGREED)),
        month_litres=Sum("litres", filter=Q(due_on__lte=month)),
        oldest=Min("due_on"),
    )
    first = jobs.select_related("system", "system__premises", "organisation", "handed_to")
    unknown = Forecast.objects.filter(
        organisation=organisation,
        state=Forecast.State.MISSING,
        system__retired_on__isnull=True,
        system__kind__in=System.HOLDS_SLUDGE,
    ).select_related("system", "system__premises")
    return {
        "figures": figures,
        "first_jobs": first.order_by("-urgent", "due_on", "pk")[:SHOWN],
        "unknown_count": unknown.count(),
        "unknown": unknown.order_by("pk")[:SHOWN],
        "systems_count": System.objects.in_use().filter(organisation=organisation).count(),
    }


def waiting(organisation: Organisation, *, today: dt.date) -> dict[str, Any]:
    """What waits for a person: answers, trouble, mail that failed, today's rounds."""
    starts, ends = day_span(today, zone_of(organisation))
    return {
        "day_requests": DayRequest.objects.filter(
            job__organisation=organisation, settled_at__isnull=True
        ).count(),
        "trouble": TroubleReport.objects.filter(
            system__organisation=organisation, seen_by_office_at__isnull=True
        ).order_by("priority", "reported_at")[:SHOWN],
        "dead_messages": Message.objects.filter(
            organisation=organisation, state=Message.State.DEAD
        ).count(),
        "deliveries": Delivery.objects.concerning(organisation).to_settle().count(),
        "calls": count_to_ring(organisation, timezone.now(), today),
        "agreements": [
            (which, SHOWN_AGREEMENTS[which], number)
            for which, number in agreement_lists.counts(organisation, today).items()
            if number
        ],
        "rounds_today": Round.objects.filter(
            organisation=organisation, day=today, accepted_at__isnull=False
        ).select_related("tanker", "crew"),
        "visits_today": Appointment.objects.standing()
        .on_day(starts, ends)
        .filter(Q(job__organisation=organisation) | Q(job__handed_to=organisation))
        .count(),
    }


urlpatterns = [path("", desk, name="desk")]
