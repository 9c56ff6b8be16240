"""Past forecasts against what crews found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from customers.access import member_required
from customers.middleware import organisation_of
from servicing.forecasts.track_record import as_words, track_record_of, with_held
from servicing.forecasts.trial_figures import FLEET, HOMES, PROMISED, TRIALS, TRIED_ON
from servicing.models import CheckedForecast

if TYPE_CHECKING:
    from servicing.forecasts.track_record import RecordWords


SHOWN = 50


@dataclass(frozen=True, slots=True)
class Figures:
    """The record as a whole and by age of forecast."""

    whole: RecordWords
    by_age: list[RecordWords]


@member_required
def track_record(request: HttpRequest) -> HttpResponse:
    """Show how often the likely range held, and how far the middle was off."""
    organisation = organisation_of(request)
    whole, *by_age = [as_words(record) for record in track_record_of(organisation)]
    rows = CheckedForecast.objects.visible_to(request.user).filter(
        organisation=organisation, newest=True
    )
    context = {
        "place": "organisation",
        "figures": Figures(whole, by_age),
        "latest": with_held(rows.select_related("system").order_by("-found_on", "-pk")[:SHOWN]),
        "organisation": organisation,
        "trials": TRIALS,
        "tried_on": TRIED_ON,
        "trial_homes": HOMES,
        "trial_fleet": FLEET,
        "promised": PROMISED,
    }
    return render(request, "servicing/track_record.html", context)


urlpatterns = [path("track-record/", track_record, name="track_record")]
