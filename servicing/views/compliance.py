"""What is missing, late or not allowed, system by system."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from django.core.paginator import Paginator
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_GET

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from servicing.compliance import NAMES, carrier_findings, findings_in
from servicing.retention import record_years

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

PAGE = 50
STANDINGS = {"law": "Law", "guidance": "Guidance", "check": "To be checked", "own": "Our own rule"}


@member_required
@require_GET
def compliance(request: HttpRequest) -> HttpResponse:
    """Findings at every system in use, narrowed by kind and by how sure the rule is."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    every = findings_in(organisation, today)
    which, standing = request.GET.get("which", ""), request.GET.get("standing", "")
    shown = [
        pair for pair in every if which in ("", pair[1].code) and standing in ("", pair[1].standing)
    ]
    counted = Counter(finding.code for _, finding in every)
    told = {
        "page": Paginator(shown, PAGE).get_page(request.GET.get("page")),
        "kinds": [(code, NAMES[code], counted[code]) for code in NAMES if counted[code]],
        "which": which,
        "standing": standing,
        "standings": STANDINGS,
        "carrier": carrier_findings(organisation, today),
        "years": record_years(organisation.profile, today),
        "organisation": organisation,
    }
    return render(request, "servicing/compliance.html", told)


urlpatterns = [path("compliance/", compliance, name="compliance")]
