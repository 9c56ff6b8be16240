"""Who wants ringing, and writing down what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages as notices
from django.core.paginator import Paginator
from django.http import HttpResponseBadRequest
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler.messages.calls import (
    MOST,
    jobs_to_ring,
    jobs_wanted,
    news_to_ring,
    news_wanted,
    note_rung,
)
from scheduler.models import Call, Job

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse

PAGE = 25


@member_required
def calls(request: HttpRequest) -> HttpResponse:
    """List the calls to make: news of near visits first, then what letters did not settle."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    page = Paginator(jobs_to_ring(organisation, today), PAGE).get_page(request.GET.get("page"))
    news = news_to_ring(organisation, timezone.now())[:MOST] if page.number == 1 else []
    made = Call.objects.visible_to(request.user).exclude(outcome="")
    context = {
        "news": news_wanted(news),
        "page": page,
        "wanted": jobs_wanted(page.object_list, today),
        "made": made.filter(organisation=organisation)
        .select_related("job__system__premises", "rung_by", "person", "organisation")
        .order_by("-rung_at", "-pk")[:PAGE],
        "outcomes": Call.Outcome.choices,
        "may_tell": access.may(request.user, "tell", organisation),
    }
    return render(request, "scheduler/messages/calls.html", context)


@member_required
@require_POST
def call_rung(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Write down what came of a call about a job."""
    job = get_object_or_404(Job.objects.visible_to(request.user), public_id=public_id)
    access.require(request.user, "tell", job.organisation)
    outcome, asked = request.POST.get("outcome", ""), request.POST.get("call", "")
    if outcome not in Call.Outcome.values:
        return HttpResponseBadRequest("Say what came of the call.")
    waiting = Call.objects.visible_to(request.user).filter(job=job)
    call = get_object_or_404(waiting, public_id=asked) if asked else None
    words = request.POST.get("words", "").strip()
    now = timezone.now()
    if note_rung(job=job, outcome=outcome, by=user_of(request), now=now, call=call, words=words):
        notices.success(request, "Written down.")
    else:
        notices.warning(request, "That was written down already.")
    if leads_to_job(outcome, call):
        return redirect("scheduler:job", job.public_id)
    return redirect("scheduler:calls")


def leads_to_job(outcome: str, call: Call | None) -> bool:
    """Whether the office now has something to do with the job: book a day, or call a visit off."""
    if call is None:
        return outcome == Call.Outcome.AGREED
    return outcome == Call.Outcome.NOT_WANTED


urlpatterns = [
    path("messages/calls/", calls, name="calls"),
    path("messages/calls/<uuid:public_id>/rung/", call_rung, name="call_rung"),
]
