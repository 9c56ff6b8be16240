"""The rest of today planned anew: say what happened, look at what changes, settle it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler import booking, day_again, tasks
from scheduler.forms.day_again import HappeningForm
from scheduler.round_readiness import round_words
from scheduler.rounds import RoundsNotReady
from scheduler.views.plans import rest_page, run_of, wake

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse


@member_required
def happening(request: HttpRequest) -> HttpResponse:
    """Say what happened to today's rounds, and have the rest planned anew."""
    organisation = organisation_of(request)
    access.require(request.user, "plan", organisation)
    today = local_today(organisation)
    rounds = day_again.rounds_of_day(organisation, today)
    ahead = day_again.jobs_ahead(rounds)
    form = HappeningForm(request.POST or None, organisation=organisation, ahead=ahead, today=today)
    if request.method == "POST" and rounds and form.is_valid():
        run = day_again.plan_rest(
            organisation=organisation,
            off_the_road=form.chosen("off_the_road"),
            shut_works=form.chosen("shut_works"),
            given_up=form.chosen("given_up"),
            urgent=form.chosen("urgent"),
            because=form.cleaned_data["because"],
            by=user_of(request),
            now=timezone.now(),
        )
        wake(run)
        return redirect("scheduler:plan_run", run.public_id)
    context: dict[str, Any] = {"form": form, "rounds": day_again.how_far(rounds)}
    status = 422 if form.is_bound else 200
    return render(request, "scheduler/day_again.html", context, status=status)


@member_required
@require_POST
def settle(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Settle the rest of the day as proposed: everybody concerned is told."""
    run = run_of(request, public_id)
    access.require_change(request.user, run)
    try:
        changed = day_again.accept_rest(run=run, by=user_of(request))
    except RoundsNotReady as fault:
        return rest_page(request, run, reasons=fault.reasons)
    except booking.NotPossible as fault:
        return rest_page(request, run, reasons=[str(fault)])
    transaction.on_commit(tasks.drain_outbox.delay, robust=True)
    names = "; ".join(round_words(row) for row in changed) or "no round is left today"
    messages.success(request, f"Settled: {names}. Owners and crews are being told.")
    return redirect("scheduler:rounds")


urlpatterns = [
    path("rounds/today/again/", happening, name="day_again"),
    path("rounds/plans/<uuid:public_id>/settle/", settle, name="day_again_settle"),
]
