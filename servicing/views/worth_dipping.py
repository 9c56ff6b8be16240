"""Tanks whose measuring pays, by place, for whoever is nearby."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from customers.access import member_required
from customers.middleware import organisation_of
from servicing.forecasts.questions import still_to_measure
from servicing.models import DipWorth

if TYPE_CHECKING:
    from collections.abc import Iterable

SHOWN = 60


@member_required
def worth_dipping(request: HttpRequest) -> HttpResponse:
    """Show where a measurement saves more than it costs, and where one was asked for."""
    organisation = organisation_of(request)
    rows = DipWorth.objects.visible_to(request.user).filter(organisation=organisation).that_pay()
    shown = rows.select_related("system__premises", "system__forecast").defer(
        "system__search_text", "system__forecast__curve"
    )[:SHOWN]
    context = {
        "organisation": organisation,
        "places": by_place(shown),
        "count": rows.count(),
        "shown": SHOWN,
        "again": still_to_measure(organisation),
        "costs_known": bool(organisation.emptying_cost_pence and organisation.dip_cost_pence),
    }
    return render(request, "servicing/worth_dipping.html", context)


def by_place(rows: Iterable[DipWorth]) -> list[tuple[str, list[DipWorth]]]:
    """Rows by the first part of the postcode, in order of the alphabet, most worth first."""

    def place(row: DipWorth) -> str:
        return (row.system.premises.postcode.split() or ["No postcode"])[0].upper()

    return [(name, list(some)) for name, some in groupby(sorted(rows, key=place), key=place)]


urlpatterns = [path("worth-dipping/", worth_dipping, name="worth_dipping")]
