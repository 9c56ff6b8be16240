"""The office gives an owner a link to the owner's page, and takes it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.middleware import user_of
from customers.models import OwnerLink, Premises
from scheduler.messages.links import owner_address
from scheduler.owner_links import revoke_link

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse


@member_required
@require_POST
def owner_link_new(request: HttpRequest, public_id: UUID, person_id: int) -> HttpResponse:
    """Make the link of one person to one place, or show the one there is, to be copied."""
    places = Premises.objects.visible_to(request.user)
    place = get_object_or_404(places, public_id=public_id)
    access.require_change(request.user, place)
    party = get_object_or_404(place.parties.select_related("person"), person_id=person_id)
    address = owner_address(party.person, place)
    context = {"premises": place, "person": party.person, "address": address}
    return render(request, "scheduler/owner_link.html", context)


@member_required
@require_POST
def owner_link_end(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Take a link back."""
    links = OwnerLink.objects.visible_to(request.user).select_related("premises", "person")
    link = get_object_or_404(links, public_id=public_id)
    revoke_link(link=link, by=user_of(request), now=timezone.now())
    messages.success(request, f"The link of {link.person} opens nothing any more.")
    return redirect("customers:premises", link.premises.public_id)


urlpatterns = [
    path("due/links/<uuid:public_id>/<int:person_id>/new/", owner_link_new, name="owner_link_new"),
    path("due/links/<uuid:public_id>/end/", owner_link_end, name="owner_link_end"),
]
