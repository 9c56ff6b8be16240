"""Moving one job of an accepted round: what it breaks and who must be told is shown first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format

from customers import access
from customers.access import member_required
from scheduler import booking, round_changes, round_plans, tasks
from scheduler.forms.rounds import AcceptedMoveForm
from scheduler.models import Round, Stop, Tanker
from scheduler.round_plans import ProblemError
from scheduler.rounds import RoundsNotReady

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse


def _stop(request: HttpRequest, public_id: UUID, job_id: UUID) -> Stop:
    """The visit to a job on a round; `part` in the address says which of several."""
    rounds = Round.objects.visible_to(request.user)
    planned = get_object_or_404(rounds, public_id=public_id)
    stops = planned.stops.filter(job__public_id=job_id).select_related(
        "round__tanker", "round__crew", "round__organisation", "round__run", "job__system__premises"
    )
    part = (request.POST or request.GET).get("part", "")
    visits = stops.filter(part=int(part)) if part.isdigit() else stops
    first = visits.order_by("position").first()
    if first is None:
        raise Http404
    return first


@member_required
def round_move(request: HttpRequest, public_id: UUID, job_id: UUID) -> HttpResponse:
    """GET with a target shows what the move would do and whom it concerns; POST makes it."""
    stop = _stop(request, public_id, job_id)
    planned, job = stop.round, stop.job
    assert job is not None
    access.require_change(request.user, planned)
    target = request.POST or (request.GET if "tanker" in request.GET else None)
    form = AcceptedMoveForm(target, planned=planned, at=stop)
    context: dict[str, Any] = {"stop": stop, "planned": planned, "job": job, "form": form}
    if form.is_bound and form.is_valid():
        try:
            if request.method == "POST":
                return _made(request, stop, form)
            context |= _seen(stop, form)
        except RoundsNotReady as fault:
            context["reasons"] = fault.reasons
        except ProblemError as fault:
            context["reasons"] = [fault.message]
        except booking.NotPossible as fault:
            context["reasons"] = [str(fault)]
    refused = request.method == "POST" or (form.is_bound and bool(form.errors))
    return render(request, "scheduler/round_move.html", context, status=422 if refused else 200)


def _seen(stop: Stop, form: AcceptedMoveForm) -> dict[str, Any]:
    """What the move would do, and who would hear of it."""
    given, now = form.cleaned_data, timezone.now()
    where: dict[str, Any] = {"tanker": given["tanker"], "day": given["day"]}
    assert stop.job is not None
    reasons = round_changes.stands_against_move(planned=stop.round, job=stop.job, now=now, **where)
    if reasons:
        return {"reasons": reasons}
    move = round_plans.look_at_accepted_move(
        stop.round,
        job=stop.job,
        part=stop.part,
        position=form.place,
        others_may_move=given["others_may_move"],
        **where,
    )
    told = round_changes.told_of(move, now)
    return {
        "look": move.look,
        "promises": list(zip(move.promises, (people for _, people in told), strict=True)),
        "crews": _crews(stop.round, given["tanker"]),
        "clock": move.board.clock,
    }


def _crews(planned: Round, tanker: Tanker) -> list[str]:
    """Crews whose day changes, as people name them."""
    crews = [planned.crew or planned.tanker.crew, tanker.crew]
    return list(dict.fromkeys(str(crew) for crew in crews if crew is not None))


def _made(request: HttpRequest, stop: Stop, form: AcceptedMoveForm) -> HttpResponse:
    given = form.cleaned_data
    assert stop.job is not None
    move = round_changes.move_accepted(
        planned=stop.round,
        job=stop.job,
        part=stop.part,
        tanker=given["tanker"],
        day=given["day"],
        position=form.place,
        others_may_move=given["others_may_move"],
        by=request.user,  # type: ignore[arg-type]
    )
    transaction.on_commit(tasks.drain_outbox.delay, robust=True)
    day = date_format(given["day"], "D j M")
    told = f"Promises moved: {len(move.promises)}; owners and crews are being told."
    kept = "Every promise is kept: only the crew is told."
    said = told if move.promises else kept
    where = f"{stop.job.system.reference} is now with {given['tanker']} on {day}."
    messages.success(request, f"{where} {said}")
    there = Round.objects.filter(
        tanker=given["tanker"], day=given["day"], accepted_at__isnull=False
    ).get()
    return redirect("scheduler:round", there.public_id)


urlpatterns = [
    path("rounds/<uuid:public_id>/jobs/<uuid:job_id>/move/", round_move, name="round_move"),
]
