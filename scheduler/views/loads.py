"""The sheet of one visit to a job that is done in several."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.cache import never_cache

from customers import access
from customers.access import member_required
from scheduler import booking, job_visits
from scheduler.forms.today import LoadForm
from scheduler.views.today import back_to, visible_stop
from servicing.volumes import from_litres

if TYPE_CHECKING:
    import uuid

    from django.http import HttpRequest, HttpResponse

    from scheduler.models import Stop


@member_required
@never_cache
def stop_load(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show the sheet of one visit, or take it; the last visit has the whole job sheet."""
    stop = visible_stop(request, public_id)
    access.require(request.user, "visit", stop.round.organisation)
    if stop.job is None or (stop.taken_litres is None and job_visits.is_last_to_record(stop)):
        return redirect("scheduler:job_sheet", stop.job.public_id) if stop.job else back_to(stop)
    units = stop.round.organisation.units
    form = LoadForm(request.POST or None, units=units, initial=_noted(stop, units))
    if form.is_valid() and _recorded(request, stop, form):
        return back_to(stop)
    context = {
        "stop": stop,
        "job": stop.job,
        "form": form,
        "others": job_visits.other_visits(stop).select_related("round__tanker"),
        "organisation": stop.round.organisation,
        "place": "rounds",
    }
    status = 422 if form.is_bound else 200
    return render(request, "scheduler/stop_load.html", context, status=status)


def _noted(stop: Stop, units: str) -> dict[str, Any]:
    """What was noted of this visit before."""
    if stop.taken_litres is None:
        return {}
    return {"volume": round(from_litres(stop.taken_litres, units)), "note": stop.part_note}


def _recorded(request: HttpRequest, stop: Stop, form: LoadForm) -> bool:
    """Note the load; what is not possible stands on the form."""
    try:
        job_visits.record_load(
            stop=stop,
            litres=form.cleaned_data["volume"],
            note=form.cleaned_data["note"],
            by=request.user,  # type: ignore[arg-type]
            now=timezone.now(),
        )
    except booking.NotPossible as fault:
        form.add_error(None, str(fault))
        return False
    messages.success(request, "The load is noted. The job stays open until its last visit.")
    return True


urlpatterns = [path("stops/<uuid:public_id>/load/", stop_load, name="stop_load")]
