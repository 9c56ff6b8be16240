"""What crews sent from their telephones, and what of it the office has to settle."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.middleware import organisation_of, user_of
from scheduler.booking import NotPossible
from scheduler.delivered_sheets import sheet_of
from scheduler.models import Delivery
from scheduler.settling import settle, ways_to_settle
from servicing.models import VisitPhoto

if TYPE_CHECKING:
    from collections.abc import Iterator

SHOWN = 60


@member_required
@require_GET
def deliveries(request: HttpRequest) -> HttpResponse:
    """What waits to be settled, what wants a look, and what came in last."""
    every = Delivery.objects.visible_to(request.user).concerning(organisation_of(request))
    every = every.select_related("job__system__premises", "sent_by", "stop__works", "visit")
    told = {
        "to_settle": every.to_settle(),
        "others": every.exclude(state=Delivery.State.DISPUTED)[:SHOWN],
        "place": "rounds",
    }
    return render(request, "scheduler/deliveries.html", told)


@member_required
@require_GET
def delivery(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """One entry beside what stands, with the ways to settle it."""
    return delivery_page(request, visible_delivery(request, public_id))


def delivery_page(request: HttpRequest, found: Delivery, status: int = 200) -> HttpResponse:
    told: dict[str, Any] = {
        "delivery": found,
        "lines": list(lines_of(found)),
        "recorded": found.job.visit if found.job else None,
        "photos": photos_with(request, found),
        "ways": ways_to_settle(found) if access.may_change(request.user, found) else {},
        "place": "rounds",
    }
    return render(request, "scheduler/delivery.html", told, status=status)


def photos_with(request: HttpRequest, found: Delivery) -> list[VisitPhoto]:
    """The photographs that came with a sheet."""
    if found.sheet_key is None or found.job is None:
        return []
    seen = VisitPhoto.objects.visible_to(request.user)
    return list(seen.filter(sheet_key=found.sheet_key, system=found.job.system_id))


def lines_of(found: Delivery) -> Iterator[tuple[str, str]]:
    """What was entered, with the words of the sheet; what was left empty is left out."""
    labels = {}
    if found.job is not None and found.kind in (Delivery.Kind.SHEET, Delivery.Kind.ABANDONED):
        for form in sheet_of(found).forms:
            of = getattr(form, "tank", None) or getattr(form, "chamber", None)
            for bound in form:
                if not bound.is_hidden:
                    choices = dict(getattr(bound.field, "choices", ()))
                    label = f"{of}: {bound.label}" if of else bound.label
                    labels[bound.html_name] = (label, choices)
    for name, value in found.contents.get("fields", []):
        label, choices = labels.get(name, ("", {}))
        if value and (label or not labels):
            words = choices.get(value, "Yes" if value == "on" else value)
            yield str(label or name), str(words)


@member_required
@require_POST
def delivery_settle(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say what stands."""
    found = visible_delivery(request, public_id)
    how, words = request.POST.get("how", ""), request.POST.get("words", "").strip()
    access.require_change(request.user, found)
    try:
        settle(delivery=found, how=how, words=words, by=user_of(request), now=timezone.now())
    except NotPossible as impossible:
        messages.warning(request, str(impossible))
        return delivery_page(request, found, status=422)
    messages.success(request, "Settled. What was sent stays here to read.")
    return redirect("scheduler:deliveries")


def visible_delivery(request: HttpRequest, public_id: uuid.UUID) -> Delivery:
    """The entry, for whoever may see it; 404 for anybody else."""
    seen = Delivery.objects.visible_to(request.user).select_related(
        "organisation", "job__system__premises", "job__organisation", "job__visit", "sent_by"
    )
    return get_object_or_404(seen, public_id=public_id)


urlpatterns = [
    path("deliveries/", deliveries, name="deliveries"),
    path("deliveries/<uuid:public_id>/", delivery, name="delivery"),
    path("deliveries/<uuid:public_id>/settle/", delivery_settle, name="delivery_settle"),
]
