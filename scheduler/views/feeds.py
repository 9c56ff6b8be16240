"""Calendars to subscribe to: given out, closed, and read by calendar programs."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from django.contrib import messages as notices
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date, quote_etag
from django.views.decorators.http import require_POST, require_safe

from customers import access
from customers.access import member_required
from customers.middleware import organisation_of, user_of
from customers.models import OwnedQuerySet, Person, Premises
from scheduler.messages.feeds import feed_body, find_feed, issue_feed, revoke_feed
from scheduler.models import Crew, FeedToken, Tanker

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest

KINDS: dict[str, Any] = {
    "crew": Crew,
    "tanker": Tanker,
    "person": Person,
    "premises": Premises,
}
# Where the address of a new feed waits to be shown, once.
SHOW_ONCE = "new_feed"
MOST = 10  # people and places found by a word; a longer list wants a better word


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Give a calendar to whoever holds its secret address."""
    now = timezone.now()
    known = find_feed(token, now=now)
    if known is None:
        raise Http404
    body, changed = feed_body(known, now=now)
    etag = quote_etag(hashlib.sha256(body).hexdigest())
    full = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    full["Content-Disposition"] = 'inline; filename="visits.ics"'
    modified = int(changed.timestamp()) if changed else None
    response = get_conditional_response(request, etag=etag, last_modified=modified, response=full)
    response = response or full
    response["ETag"] = etag
    if modified is not None:
        response["Last-Modified"] = http_date(modified)
    response["Cache-Control"] = "private, max-age=900, must-revalidate"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response


@member_required
def feeds(request: HttpRequest) -> HttpResponse:
    """List the calendars given out, and offer new ones for crews and tankers."""
    organisation = organisation_of(request)
    tokens = FeedToken.objects.visible_to(request.user).filter(organisation=organisation)
    crews = Crew.objects.visible_to(request.user).filter(organisation=organisation, in_use=True)
    tankers = Tanker.objects.visible_to(request.user).filter(organisation=organisation, in_use=True)
    words = request.GET.get("q", "").strip()
    people = Person.objects.visible_to(request.user).filter(organisation=organisation)
    places = Premises.objects.visible_to(request.user).filter(organisation=organisation)
    context = {
        "words": words,
        "people": people.filter(name__icontains=words).order_by("name")[:MOST] if words else (),
        "places": places.filter(_called(words)).order_by("name")[:MOST] if words else (),
        "tokens": tokens.filter(revoked_at__isnull=True)
        .select_related("crew", "tanker", "person", "premises")
        .order_by("-created_at"),
        "crews": crews.order_by("name"),
        "tankers": tankers.order_by("name"),
        "new_address": request.session.pop(SHOW_ONCE, ""),
        "may_tell": access.may(request.user, "tell", organisation),
    }
    return render(request, "scheduler/messages/feeds.html", context)


def _called(words: str) -> Q:
    return Q(name__icontains=words) | Q(postcode__istartswith=words) | Q(address__icontains=words)


@member_required
@require_POST
def feed_new(request: HttpRequest, kind: str, public_id: UUID) -> HttpResponse:
    """Make a calendar address for a crew, a tanker, a person or a place."""
    if kind not in KINDS:
        raise Http404
    rows: OwnedQuerySet[Any] = KINDS[kind].objects.visible_to(request.user)
    about = get_object_or_404(rows, public_id=public_id)
    _, address = issue_feed(about=about, by=user_of(request))
    request.session[SHOW_ONCE] = address
    return redirect("scheduler:feeds")


@member_required
@require_POST
def feed_revoke(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Close a calendar address."""
    token = get_object_or_404(FeedToken.objects.visible_to(request.user), public_id=public_id)
    if revoke_feed(token=token, by=user_of(request), now=timezone.now()):
        notices.success(request, "The address is closed: calendars that use it get nothing more.")
    return redirect("scheduler:feeds")


urlpatterns = [
    path("feeds/<str:token>.ics", feed, name="feed"),
    path("messages/feeds/", feeds, name="feeds"),
    path("messages/feeds/new/<slug:kind>/<uuid:public_id>/", feed_new, name="feed_new"),
    path("messages/feeds/<uuid:public_id>/close/", feed_revoke, name="feed_revoke"),
]
