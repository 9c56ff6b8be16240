"""What was said to whom: the outbox at the desk, one message, and leaving the list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages as notices
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler.messages import consent, outbox
from scheduler.messages.calls import count_to_ring
from scheduler.messages.lists import MessageFilter
from scheduler.messages.mime import wire_bytes
from scheduler.models import Message, Reply

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest

PAGE = 50


@member_required
def message_list(request: HttpRequest) -> HttpResponse:
    """List messages, newest first, and say how many people want ringing."""
    organisation = organisation_of(request)
    mine = Message.objects.visible_to(request.user).filter(organisation=organisation)
    narrowed = MessageFilter(
        request.GET, mine.select_related("organisation", "job__system__premises")
    )
    page = Paginator(narrowed.qs, PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": narrowed,
        "page": page,
        "dead": mine.filter(state=Message.State.DEAD).count(),
        "answers": Reply.objects.visible_to(request.user)
        .filter(organisation=organisation, verdict="review", settled_at__isnull=True)
        .count(),
        "calls": count_to_ring(organisation, timezone.now(), local_today(organisation)),
    }
    return render(request, "scheduler/messages/list.html", context)


def _message(request: HttpRequest, public_id: UUID) -> Message:
    mine = Message.objects.visible_to(request.user).select_related(
        "organisation", "person", "job__system__premises", "round__tanker", "event"
    )
    return get_object_or_404(mine, public_id=public_id)


@member_required
def message(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show one message: its words, its calendar part and what became of it."""
    one = _message(request, public_id)
    context = {"message": one, "changeable": access.may_change(request.user, one)}
    return render(request, "scheduler/messages/message.html", context)


@member_required
def message_file(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Give the message as the file a mail program opens: the very bytes that are sent."""
    one = _message(request, public_id)
    try:
        content = wire_bytes(outbox.letter_of(one))
    except ValueError as fault:
        raise Http404(str(fault)) from fault
    response = HttpResponse(content, content_type="message/rfc822")
    response["Content-Disposition"] = f'attachment; filename="{one.public_id}.eml"'
    return response


@member_required
@require_POST
def message_again(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Give a message that could not be sent another chance."""
    one = _message(request, public_id)
    if outbox.send_again(message=one, by=user_of(request)):
        notices.success(request, "The message waits to be sent again.")
    elif one.unwritten is not None:
        notices.warning(request, "The message cannot be sent yet: its words are still missing.")
    else:
        notices.warning(request, "This message does not wait for another chance.")
    return redirect("scheduler:message", public_id)


@member_required
@require_POST
def message_posted(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Note that a letter was printed and posted."""
    one = _message(request, public_id)
    if outbox.note_posted(message=one, by=user_of(request)):
        notices.success(request, "The letter is noted as posted.")
    else:
        notices.warning(request, "This letter does not wait to be posted.")
    return redirect("scheduler:message", public_id)


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def leave(request: HttpRequest, token: str) -> HttpResponse:
    """End marketing to the mailbox a link was sent to.

    A mail program posts here by itself, without cookies and without following redirects
    (RFC 8058 §3.2); a look alone changes nothing, because link scanners look.
    """
    known = consent.read_leave_token(token)
    if known is None:
        raise Http404
    organisation, hashed = known
    if request.method == "POST":
        consent.unsubscribe(organisation=organisation, hashed=hashed, now=timezone.now())
    context = {"sender": organisation, "left": request.method == "POST"}
    return render(request, "scheduler/messages/leave.html", context)


urlpatterns = [
    path("messages/", message_list, name="messages"),
    path("messages/<uuid:public_id>/", message, name="message"),
    path("messages/<uuid:public_id>/file/", message_file, name="message_file"),
    path("messages/<uuid:public_id>/again/", message_again, name="message_again"),
    path("messages/<uuid:public_id>/posted/", message_posted, name="message_posted"),
    path("leave/<str:token>/", leave, name="leave"),
]
