"""What the organisation's own tanks teach, in plain words."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from servicing.forecasts.learning import book_figures, evidence_of
from servicing.forecasts.lessons import (
    FEWEST_OF_A_KIND,
    kinds_of_place,
    lesson_of,
    meaning_of_risk,
)
from servicing.models import FleetLearning


@member_required
def learning(request: HttpRequest) -> HttpResponse:
    """Show what forecasts begin from, where it comes from, and what the accepted risk means."""
    organisation = organisation_of(request)
    learned = FleetLearning.objects.visible_to(request.user).filter(organisation=organisation)
    row = learned.first()
    context = {
        "place": "organisation",
        "learned": row,
        "lesson": lesson_of(row) if row else None,
        "kinds": kinds_of_place(organisation),
        "fewest": FEWEST_OF_A_KIND,
        "book": book_figures(),
        "evidence": evidence_of(organisation),
        "risk": meaning_of_risk(organisation, today=local_today(organisation)),
        "organisation": organisation,
    }
    return render(request, "servicing/learning.html", context)


urlpatterns = [path("learning/", learning, name="learning")]
