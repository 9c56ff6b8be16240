"""The map of lids."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db.models import F, FloatField, Max, Min
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import path, reverse

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from servicing.models import System
from servicing.views.systems import DUE, found_systems

if TYPE_CHECKING:
    from servicing.models import SystemQuerySet

MOST_LIDS = 5000
SOON_DAYS = 60
LID_FIELDS = [
    "public_id",
    "reference",
    "premises__name",
    "premises__postcode",
    "at_latitude",
    "at_longitude",
    "forecast__due_on",
]
WHOLE_EARTH = "-180,-90,180,90"


def placed(rows: SystemQuerySet) -> SystemQuerySet:
    """Systems with a position, given as `at_latitude` and `at_longitude`: lid, else place."""
    return rows.annotate(
        at_latitude=Coalesce("lid_latitude", F("premises__latitude"), output_field=FloatField()),
        at_longitude=Coalesce("lid_longitude", F("premises__longitude"), output_field=FloatField()),
    ).filter(at_latitude__isnull=False, at_longitude__isnull=False)


def bounds_of(text: str) -> tuple[float, float, float, float] | None:
    """West, south, east, north from `w,s,e,n`; None when garbled."""
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError:
        return None
    return (west, south, east, north) if west <= east and south <= north else None


def within(rows: SystemQuerySet, bounds: tuple[float, float, float, float]) -> SystemQuerySet:
    """Placed systems inside west, south, east, north."""
    west, south, east, north = bounds
    inside = {
        "at_longitude__gte": west,
        "at_longitude__lte": east,
        "at_latitude__gte": south,
        "at_latitude__lte": north,
    }
    return rows.filter(**inside)


def chosen_systems(request: HttpRequest, today: dt.date) -> SystemQuerySet:
    """Systems of the organisation that fit the filters, with a position."""
    rows = System.objects.visible_to(request.user).filter(organisation=organisation_of(request))
    return placed(found_systems(rows, request.GET, today))


@member_required
def lid_map(request: HttpRequest) -> HttpResponse:
    """Show the map; the lids in view are fetched by bounds."""
    today = local_today(organisation_of(request))
    edges = chosen_systems(request, today).aggregate(
        west=Min("at_longitude"),
        south=Min("at_latitude"),
        east=Max("at_longitude"),
        north=Max("at_latitude"),
    )
    known = edges["west"] is not None
    names = ("west", "south", "east", "north")
    context = {
        "bounds": ",".join(f"{edges[name]:.5f}" for name in names) if known else "",
        "asked": request.GET,
        "kinds": System.Kind.choices,
        "dues": DUE.items(),
    }
    return render(request, "servicing/map.html", context)


@member_required
def lids(request: HttpRequest) -> HttpResponse:
    """Lids within `bounds`, at most MOST_LIDS of them."""
    today = local_today(organisation_of(request))
    rows = chosen_systems(request, today)
    bounds = bounds_of(request.GET.get("bounds", WHOLE_EARTH))
    if bounds is None:
        return JsonResponse({"error": "bounds must be west,south,east,north"}, status=400)
    found = within(rows, bounds).order_by("reference").values(*LID_FIELDS)[: MOST_LIDS + 1]
    listed = [lid_of(row, today) for row in found]
    return JsonResponse({"lids": listed[:MOST_LIDS], "more": len(listed) > MOST_LIDS})


def lid_of(row: dict[str, Any], today: dt.date) -> dict[str, Any]:
    """One lid as the map shows it."""
    due_on: dt.date | None = row["forecast__due_on"]
    look, words = "unknown", "no date known"
    if due_on is not None:
        days = (due_on - today).days
        look = "over" if days < 0 else "soon" if days <= SOON_DAYS else "calm"
        words = f"due {due_on:%-d %b %Y}"
    return {
        "at": [row["at_latitude"], row["at_longitude"]],
        "address": reverse("servicing:system", args=[row["public_id"]]),
        "reference": row["reference"],
        "place": row["premises__name"] or row["premises__postcode"],
        "look": look,
        "due": words,
    }


urlpatterns = [
    path("map/", lid_map, name="map"),
    path("map/lids/", lids, name="lids"),
]
