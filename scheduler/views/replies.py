"""Answers to invitations that want somebody to look at them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages as notices
from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.middleware import organisation_of, user_of
from scheduler.booking import NotPossible
from scheduler.messages.replies import keep_our_time, note_seen, take_reply
from scheduler.models import Reply
from scheduler.proposed_times import take_proposed_time

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse

PAGE = 50
VERBS = {
    "take": (take_reply, "The answer is taken."),
    "move": (take_proposed_time, "The visit is moved; everybody who had the old time is told."),
    "keep": (keep_our_time, "Our time stays; the owner is told."),
    "seen": (note_seen, "Noted as seen."),
}


@member_required
def replies(request: HttpRequest) -> HttpResponse:
    """List the answers that wait for somebody, then those already settled."""
    organisation = organisation_of(request)
    mine = Reply.objects.visible_to(request.user).filter(organisation=organisation)
    mine = mine.select_related("event__appointment__job__system__premises", "organisation")
    waiting = mine.filter(verdict=Reply.Verdict.REVIEW, settled_at__isnull=True)
    page = Paginator(mine.exclude(pk__in=waiting.values("pk")), PAGE)
    context = {
        "waiting": waiting.order_by("received_at")[:PAGE],
        "page": page.get_page(request.GET.get("page")),
        "may_tell": access.may(request.user, "tell", organisation),
    }
    return render(request, "scheduler/messages/replies.html", context)


@member_required
@require_POST
def reply_settle(request: HttpRequest, public_id: UUID, verb: str) -> HttpResponse:
    """Take, move, keep or put aside."""
    reply = get_object_or_404(Reply.objects.visible_to(request.user), public_id=public_id)
    if verb not in VERBS:
        raise Http404
    act, said = VERBS[verb]
    try:
        done = act(reply=reply, by=user_of(request), now=timezone.now())
    except NotPossible as fault:
        notices.error(request, str(fault))
    else:
        if done:
            notices.success(request, said)
        else:
            notices.warning(request, "Nothing was changed: the answer is settled or out of date.")
    return redirect("scheduler:replies")


urlpatterns = [
    path("messages/replies/", replies, name="replies"),
    path("messages/replies/<uuid:public_id>/<slug:verb>/", reply_settle, name="reply_settle"),
]
