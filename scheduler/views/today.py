"""Today's round for the crew that drives it."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler import crew_sheets, driven_days
from scheduler.forms.today import TipForm, tip_start
from scheduler.messages.next_stop import tell_next_stop
from scheduler.models import Crew, Round, Stop
from scheduler.tips import TipRefused, load_at, record_tip, tipped_words

if TYPE_CHECKING:
    from customers.models import User


@member_required
@never_cache
@require_GET
def today(request: HttpRequest) -> HttpResponse:
    """Show the stops of today and tomorrow in driving order."""
    return today_page(request)


def today_page(request: HttpRequest, refused: tuple[Stop, TipForm] | None = None) -> HttpResponse:
    """The page, with a form that came back where one did."""
    user: User = request.user  # type: ignore[assignment]
    crews = Crew.objects.visible_to(user).filter(user=user, in_use=True)
    first = crews.select_related("organisation").first()
    day = local_today(first.organisation if first else organisation_of(request))
    rounds = driven_days.rounds_to_drive(user, [day, day + dt.timedelta(days=1)])
    told: dict[str, Any] = {
        "is_crew": first is not None,
        "days": [(planned, lines_of(planned, refused)) for planned in rounds],
        "today": day,
        "refused": refused[1] if refused else None,
        "place": "rounds",
    }
    return render(request, "scheduler/today.html", told, status=422 if refused else 200)


def lines_of(
    planned: Round, refused: tuple[Stop, TipForm] | None
) -> list[tuple[Stop, TipForm | None]]:
    """Stops of a round, each works with the form for its ticket."""
    units = planned.organisation.units
    lines: list[tuple[Stop, TipForm | None]] = []
    for stop in planned.stops.all():
        form = None
        if refused and refused[0].pk == stop.pk:
            form = refused[1]
        elif stop.kind == Stop.Kind.TIP:
            form = tip_form(stop, units)
        lines.append((stop, form))
    return lines


def tip_form(stop: Stop, units: str) -> TipForm:
    """The form for a ticket, with what is on board and what was entered before."""
    start = tip_start(stop, units)
    return TipForm(
        units=units,
        prefix=f"tip-{stop.pk}",
        initial=start,
        book=load_at(stop),
        works=stop.works,
    )


def visible_stop(request: HttpRequest, public_id: uuid.UUID) -> Stop:
    """A stop of an accepted round of the user's organisations; 404 for anybody else."""
    return get_object_or_404(crew_sheets.stops_to_mark(user_of(request)), public_id=public_id)


@member_required
@require_POST
def stop_arrived(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """The crew is there."""
    stop = visible_stop(request, public_id)
    driven_days.mark_arrived(stop=stop, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    if stop.part is not None:
        return redirect("scheduler:stop_load", public_id=stop.public_id)
    if stop.job is not None:
        return redirect("scheduler:job_sheet", public_id=stop.job.public_id)
    return back_to(stop)


@member_required
@require_POST
def stop_left(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """The crew has gone; whoever is next hears that it is coming."""
    stop = visible_stop(request, public_id)
    now = timezone.now()
    with transaction.atomic():
        if driven_days.mark_left(stop=stop, by=request.user, now=now):  # type: ignore[arg-type]
            tell_next_stop(left=stop, now=now)
    return back_to(stop)


@member_required
@require_POST
def stop_tipped(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """The load is tipped and the ticket in hand."""
    stop = visible_stop(request, public_id)
    access.require(request.user, "visit", stop.round.organisation)
    units = stop.round.organisation.units
    form = TipForm(request.POST, units=units, prefix=f"tip-{stop.pk}", book=load_at(stop))
    if not form.is_valid():
        return today_page(request, refused=(stop, form))
    try:
        tip = record_tip(
            stop=stop,
            told=form.told(),
            by=request.user,  # type: ignore[arg-type]
            now=timezone.now(),
        )
    except TipRefused as refused:
        form.add_refusals(refused.refusals)
        return today_page(request, refused=(stop, form))
    messages.success(request, tipped_words(tip))
    return back_to(stop)


def back_to(stop: Stop) -> HttpResponse:
    """The line of this stop on the page."""
    return redirect(f"{reverse('scheduler:today')}#stop-{stop.public_id}")


urlpatterns = [
    path("today/", today, name="today"),
    path("stops/<uuid:public_id>/arrived/", stop_arrived, name="stop_arrived"),
    path("stops/<uuid:public_id>/left/", stop_left, name="stop_left"),
    path("stops/<uuid:public_id>/tipped/", stop_tipped, name="stop_tipped"),
]
