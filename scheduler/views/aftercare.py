"""Aftercare as a business: the year ahead, and what each agreement really cost."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_GET

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from customers.models import Agreement
from scheduler.aftercare.costs import Cost, costs_of, rates_of
from scheduler.aftercare.year_ahead import year_ahead

MOST_SHOWN = 200
LOOKED_BACK_TERMS = 2000


@member_required
@require_GET
def aftercare_year(request: HttpRequest) -> HttpResponse:
    """Visits, litres, hours and income month by month."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    months = year_ahead(organisation, today=today)
    context = {
        "months": months,
        "today": today,
        "visits": sum(one.visits for one in months),
        "litres": sum(one.litres for one in months),
        "hours": sum(one.hours for one in months),
        "sure": sum(one.sure_pence for one in months),
        "income": sum(one.income_pence for one in months),
        "most": max((one.income_pence for one in months), default=0) or 1,
    }
    return render(request, "scheduler/aftercare_year.html", context)


@member_required
@require_GET
def aftercare_costs(request: HttpRequest) -> HttpResponse:
    """Agreements that run, those that lose most first."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    rows = Agreement.objects.filter(organisation=organisation).current(today)
    running = list(rows.select_related("plan", "premises").order_by("pk")[:LOOKED_BACK_TERMS])
    costs = costs_of(organisation, running, today=today)
    lines = sorted(
        ((one, costs[one.pk]) for one in running), key=lambda line: (line[1].left_pence, line[0].pk)
    )
    plans: dict[str, Cost] = {}
    for one, cost in lines:
        add(plans.setdefault(str(one.plan), Cost()), cost)
    context = {
        "lines": lines[:MOST_SHOWN],
        "plans": sorted(plans.items()),
        "losing": sum(cost.left_pence < 0 for _, cost in lines),
        "rates": rates_of(organisation),
        "today": today,
    }
    return render(request, "scheduler/aftercare_costs.html", context)


def add(total: Cost, one: Cost) -> None:
    """Add one to a sum."""
    total.visits += one.visits
    total.minutes += one.minutes
    total.cost_pence += one.cost_pence
    total.income_pence += one.income_pence


urlpatterns = [
    path("aftercare/year/", aftercare_year, name="aftercare_year"),
    path("aftercare/costs/", aftercare_costs, name="aftercare_costs"),
]
