"""Systems: the list, and the page that says what is known of one."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.safestring import mark_safe

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb
from customers.local_days import local_today
from customers.middleware import organisation_of
from customers.models import Agreement, Party
from customers.paging import count_to, stretch_of
from customers.record_history import changes_of
from servicing.charts import forecast_chart, level_picture
from servicing.charts.forecast import NARROW
from servicing.forecasts.measured import measured_levels
from servicing.forecasts.wording import BINDING_NAMES, odds_today
from servicing.models import Chamber, Forecast, Occupancy, System, Tank, Visit
from servicing.system_pictures import (
    bring_level_to,
    forecast_facts,
    level_facts,
    table_points,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from servicing.models import SystemQuerySet

DUE = {
    "": "At any time",
    "over": "Overdue",
    "30": "Within 30 days",
    "90": "Within 90 days",
    "365": "Within a year",
    "none": "No date known",
}
AGREEMENTS = {"": "With or without", "with": "With an agreement", "without": "Without"}
SORTS = {"reference": "By reference", "due": "By due day"}


def found_systems(rows: SystemQuerySet, asked: Mapping[str, str], today: dt.date) -> SystemQuerySet:
    """Systems that fit the filters of the list; an unknown filter filters nothing."""
    for word in asked.get("words", "").lower().split()[:6]:
        rows = rows.filter(search_text__contains=word)
    if asked.get("kind") in System.Kind.values:
        rows = rows.filter(kind=asked["kind"])
    rows = due_within(rows, asked.get("due", ""), today)
    if asked.get("agreement") in ("with", "without"):
        running = Agreement.objects.current(today).filter(premises=OuterRef("premises"))
        covered = Exists(running)
        rows = rows.filter(covered if asked["agreement"] == "with" else ~covered)
    return rows if asked.get("retired") else rows.in_use()


def due_within(rows: SystemQuerySet, due: str, today: dt.date) -> SystemQuerySet:
    """Systems whose next emptying falls due as the filter says."""
    if due == "over":
        return rows.filter(forecast__due_on__lt=today)
    if due == "none":
        return rows.filter(forecast__due_on__isnull=True, kind__in=System.HOLDS_SLUDGE)
    if due in DUE and due:
        return rows.due_by(today + dt.timedelta(days=int(due)))
    return rows


@member_required
def systems(request: HttpRequest) -> HttpResponse:
    """Show the register: systems with what is due."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    rows = System.objects.visible_to(request.user).filter(organisation=organisation)
    rows = found_systems(rows, request.GET, today)
    by = "reference"
    if request.GET.get("sort") == "due":
        # Naming the organisation twice lets the database walk the forecasts by their day.
        rows = rows.filter(forecast__due_on__isnull=False, forecast__organisation=organisation)
        by = "forecast__due_on"
    count, more = count_to(rows)
    shown = rows.select_related("premises", "forecast").defer("search_text", "forecast__curve")
    context = {
        "stretch": stretch_of(shown, by=by, asked=request.GET),
        "count": count,
        "more": more,
        "today": today,
        "asked": request.GET,
        "filtered": any(request.GET.get(name) for name in ("words", "kind", "due", "agreement")),
        "kinds": System.Kind.choices,
        "dues": DUE.items(),
        "agreements": AGREEMENTS.items(),
        "sorts": SORTS.items(),
    }
    return render(request, "servicing/systems.html", context)


@member_required
def system(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show one system: when it is due and why, its level, its past, who has to do with it."""
    shown = visible_system(request, public_id)
    organisation = shown.organisation
    today = local_today(organisation)
    parties = Party.objects.filter(premises=shown.premises_id, until=None)
    agreements = Agreement.objects.filter(premises=shown.premises_id).current(today)
    context = {
        "system": shown,
        "premises": shown.premises,
        "organisation": organisation,
        "today": today,
        "can_change": access.may_change(request.user, shown),
        "parties": parties.select_related("person"),
        "agreement": agreements.select_related("plan").first(),
        "visits": visits_of(shown),
        **pictures_of(shown, today),
    }
    return render(request, "servicing/system.html", context)


def visible_system(request: HttpRequest, public_id: uuid.UUID) -> System:
    """A system that the reader may see: a stranger gets 404."""
    rows = System.objects.visible_to(request.user).select_related(
        "organisation__profile", "premises", "drainage_field", "ceiling_override_by"
    )
    counting = Visit.objects.that_count().select_related("emptying").prefetch_related("dips")
    rows = rows.prefetch_related(
        "tanks", "chambers", "occupancies", Prefetch("visits", queryset=counting)
    )
    return get_object_or_404(rows, public_id=public_id)


def visits_of(shown: System) -> list[Visit]:
    """Every visit with its readings, newest first, corrected and abandoned ones too."""
    rows = Visit.objects.filter(system=shown).select_related("emptying", "field_finding")
    return list(
        rows.prefetch_related(
            "dips__tank", "chamber_findings__chamber", "defects", "photos"
        ).order_by("-visited_on", "-pk")[:100]
    )


def pictures_of(shown: System, today: dt.date) -> dict[str, Any]:
    """Forecast with its pictures, as far as there is something to draw."""
    forecast = Forecast.objects.filter(system=shown).first()
    if forecast is None:
        return {"forecast": None}
    bring_level_to(forecast, today)
    units = shown.organisation.units
    levels = measured_levels(shown, today=today)
    level = level_facts(shown, forecast, levels, units)
    chart = forecast_facts(shown, forecast, levels, today=today, units=units)
    # Both pictures are our own SVG; every text in them is escaped where it is put in.
    return {
        "forecast": forecast,
        "questions": shown.questions.filter(fell_away_on__isnull=True).select_related(
            "answered_by"
        ),
        "binding": BINDING_NAMES.get(forecast.binding_rule, ""),
        "odds": odds_today(forecast, today),
        "levels": levels[::-1],
        "level_picture": mark_safe(level_picture(level)) if level else "",  # noqa: S308
        "chart_wide": mark_safe(forecast_chart(chart)) if chart else "",  # noqa: S308
        "chart_narrow": mark_safe(forecast_chart(chart, key="narrow", size=NARROW))  # noqa: S308
        if chart
        else "",
        "points": table_points(chart.points) if chart else [],
    }


@member_required
def system_history(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show who changed what about a system, its parts and its use."""
    rows = System.objects.visible_to(request.user)
    shown = get_object_or_404(rows, public_id=public_id)
    parts = (Tank, Chamber, Occupancy)
    histories = [part.history.filter(system_id=shown.pk) for part in parts]
    changes = changes_of(
        shown.history.select_related("history_user"),
        *(rows.select_related("history_user") for rows in histories),
    )
    crumbs = [*step(shown), Crumb("History")]
    context = {"title": f"History of {shown.reference}", "changes": changes, "crumbs": crumbs}
    return render(request, "includes/history_page.html", context)


def step(shown: System | None = None) -> list[Crumb]:
    """Path to the register, or to one system."""
    steps = [Crumb("Register", reverse("servicing:systems"))]
    if shown is not None:
        steps.append(Crumb(shown.reference, reverse("servicing:system", args=[shown.public_id])))
    return steps


urlpatterns = [
    path("systems/", systems, name="systems"),
    path("systems/<uuid:public_id>/", system, name="system"),
    path("systems/<uuid:public_id>/history/", system_history, name="system_history"),
]
