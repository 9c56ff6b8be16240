"""Labels for covers, to be printed, cut out and fixed."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from servicing.documents import LidLabel, lid_labels
from servicing.models import System
from servicing.paper_facts import issuer_of
from servicing.views.papers import pdf_answer
from servicing.views.systems import found_systems

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.http import HttpRequest

    from customers.models import Organisation

# Fifty sheets: more than anybody cuts out in a day.
MOST = 500


def label_of(system: System) -> LidLabel:
    """What stands on the cover of a system."""
    address = f"{settings.SITE_ADDRESS}{reverse('scheduler:lid', args=[system.public_id])}"
    return LidLabel(reference=system.reference, what=system.get_kind_display(), address=address)


def labels_of(systems: Iterable[System], organisation: Organisation, name: str) -> HttpResponse:
    """Labels as one file; 404 where there are none."""
    labels = tuple(label_of(one) for one in systems)
    if not labels:
        raise Http404
    today = local_today(organisation)
    content = lid_labels(labels, issuer=issuer_of(organisation), made_on=today)
    return pdf_answer(content, f"lid-labels-{name}.pdf")


@member_required
@require_GET
def system_label(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Print the label of one system."""
    rows = System.objects.visible_to(request.user).select_related("organisation")
    system = get_object_or_404(rows, public_id=public_id)
    return labels_of([system], system.organisation, system.reference)


@member_required
@require_GET
def register_labels(request: HttpRequest) -> HttpResponse:
    """Print the labels of the systems the register shows under the same filters."""
    organisation = organisation_of(request)
    rows = System.objects.visible_to(request.user).filter(organisation=organisation)
    found = found_systems(rows, request.GET, local_today(organisation)).order_by("reference")
    return labels_of(found[:MOST], organisation, "register")


urlpatterns = [
    path("systems/<uuid:public_id>/label/", system_label, name="system_label"),
    path("labels/", register_labels, name="labels"),
]
