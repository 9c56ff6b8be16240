"""What a person was told, or what was said about a job or a place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import path

from customers.access import member_required
from customers.models import OwnedQuerySet, Person, Premises
from scheduler.messages.said import said_about
from scheduler.models import Job

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse

PAGE = 50
MOST = 50
KINDS: dict[str, OwnedQuerySet[Any]] = {
    "person": Person.objects.select_related("organisation"),
    "premises": Premises.objects.select_related("organisation"),
    "job": Job.objects.select_related("organisation", "system__premises"),
}
PAGES = {"person": "customers:person", "premises": "customers:premises", "job": "scheduler:job"}


@member_required
def told(request: HttpRequest, kind: str, public_id: UUID) -> HttpResponse:
    """Show what was sent, when, whether it arrived, and what came back."""
    if kind not in KINDS:
        raise Http404
    about = get_object_or_404(KINDS[kind].visible_to(request.user), public_id=public_id)
    said = said_about(about)
    context = {
        "about": about,
        "kind": kind,
        "about_page": PAGES[kind],
        "page": Paginator(said.messages, PAGE).get_page(request.GET.get("page")),
        "replies": said.replies[:MOST],
        "calls": said.calls[:MOST],
        "links": said.links[:MOST],
    }
    return render(request, "scheduler/messages/told.html", context)


urlpatterns = [
    path("messages/about/<slug:kind>/<uuid:public_id>/", told, name="told"),
]
