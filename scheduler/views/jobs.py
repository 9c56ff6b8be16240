"""One job: its history, its appointment and what the office can do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today, zone_at
from customers.middleware import organisation_of, user_of
from scheduler import booking, due_work, round_plans
from scheduler.forms.jobs import HandOverForm, ReasonForm, TimeForm, WantJobForm
from scheduler.models import Job
from scheduler.round_upkeep import tidy_rounds
from servicing.models import System

if TYPE_CHECKING:
    from uuid import UUID

    from django import forms
    from django.http import HttpRequest, HttpResponse

Verbs = {"offer": booking.offer, "book": booking.book, "move": booking.move}
Enders = {"cancel": booking.cancel, "withdraw": booking.withdraw}
SAID = {
    "offer": "The day is offered; the owner has been written to.",
    "book": "The visit is agreed; invites are on their way.",
    "move": "The visit is moved; everybody who had the old time is told.",
    "cancel": "The visit is cancelled; everybody who had it is told.",
    "withdraw": "The job is withdrawn.",
}


def _job(request: HttpRequest, public_id: UUID) -> Job:
    jobs = Job.objects.visible_to(request.user).select_related(
        "system__premises", "system__forecast", "organisation", "handed_to", "visit"
    )
    return get_object_or_404(jobs, public_id=public_id)


@member_required
def job(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show a job with what has been said and promised."""
    return _page(request, _job(request, public_id))


def _page(request: HttpRequest, one: Job, **bound: forms.Form) -> HttpResponse:
    today = local_today(one.organisation)
    zone = zone_at(one.system.premises)
    appointment = booking.standing_appointment(one)
    initial: dict[str, Any] = {"day": max(today, one.due_on)}
    if appointment is not None:
        local = appointment.starts_at.astimezone(zone), appointment.ends_at.astimezone(zone)
        initial = {"day": local[0].date(), "begins": local[0].time(), "ends": local[1].time()}
    here = organisation_of(request)
    own = one.organisation == here
    context = {
        "job": one,
        "here": here,
        "waiting": round_plans.why_now(one, here, today),
        "may_manage": access.may(request.user, "manage", here),
        "today": today,
        "zone": zone,
        "appointment": appointment,
        "own": own,
        "changeable": access.may_change(request.user, one),
        "time_form": TimeForm(zone=zone, today=today, initial=initial),
        "reason_form": ReasonForm(),
        "hand_over_form": HandOverForm(
            organisation=one.organisation, initial={"operator": one.handed_to_id}
        ),
        "told": one.messages.order_by("-created_at")[:20] if own else (),
        "past": one.history.select_related("history_user")[:20] if own else (),
        "day_requests": one.day_requests.filter(settled_at__isnull=True),
        **bound,
    }
    status = 422 if bound else 200
    return render(request, "scheduler/job.html", context, status=status)


@member_required
@require_POST
def settle_time(request: HttpRequest, public_id: UUID, verb: str) -> HttpResponse:
    """Offer, book or move to a day and span."""
    one = _job(request, public_id)
    access.require_change(user_of(request), one)
    if verb not in Verbs:
        raise Http404
    zone = zone_at(one.system.premises)
    form = TimeForm(request.POST, zone=zone, today=local_today(one.organisation))
    if not form.is_valid():
        return _page(request, one, time_form=form)
    when = {name: form.cleaned_data[name] for name in ("starts_at", "ends_at")}
    try:
        Verbs[verb](job=one, by=user_of(request), **when)
    except booking.NotPossible as fault:
        form.add_error(None, str(fault))
        return _page(request, one, time_form=form)
    tidy_rounds()
    messages.success(request, SAID[verb])
    return redirect("scheduler:job", public_id)


@member_required
@require_POST
def call_off(request: HttpRequest, public_id: UUID, verb: str) -> HttpResponse:
    """Cancel the visit or withdraw the job, with a reason."""
    one = _job(request, public_id)
    access.require_change(user_of(request), one)
    if verb not in Enders:
        raise Http404
    form = ReasonForm(request.POST)
    if not form.is_valid():
        return _page(request, one, reason_form=form)
    try:
        Enders[verb](job=one, because=form.cleaned_data["because"], by=user_of(request))
    except booking.NotPossible as fault:
        form.add_error(None, str(fault))
        return _page(request, one, reason_form=form)
    tidy_rounds()
    messages.success(request, SAID[verb])
    return redirect("scheduler:job", public_id)


@member_required
@require_POST
def hand_over(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Let an operator drive the job, or take it back."""
    one = _job(request, public_id)
    access.require(request.user, "plan", one.organisation)
    form = HandOverForm(request.POST, organisation=one.organisation)
    if not form.is_valid():
        return _page(request, one, hand_over_form=form)
    operator = form.cleaned_data["operator"]
    try:
        due_work.hand_over(job=one, operator=operator, by=user_of(request))
    except booking.NotPossible as fault:
        form.add_error(None, str(fault))
        return _page(request, one, hand_over_form=form)
    tidy_rounds()
    messages.success(request, f"Driven by {operator or 'ourselves'} from now on.")
    return redirect("scheduler:job", public_id)


@member_required
def want(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Add a job at a system by hand."""
    systems = System.objects.visible_to(request.user).select_related("organisation", "premises")
    system = get_object_or_404(systems, public_id=public_id)
    access.require(request.user, "plan", system.organisation)
    form = WantJobForm(request.POST or None, initial={"due_on": local_today(system.organisation)})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        given["litres"] = given["litres"] or 0
        try:
            added = due_work.want_job(system=system, by=user_of(request), **given)
        except booking.NotPossible as fault:
            form.add_error(None, str(fault))
        else:
            messages.success(request, "The job is added.")
            return redirect("scheduler:job", added.public_id)
    status = 422 if form.is_bound else 200
    return render(
        request, "scheduler/job_want.html", {"form": form, "system": system}, status=status
    )


urlpatterns = [
    path("due/jobs/<uuid:public_id>/", job, name="job"),
    path("due/jobs/<uuid:public_id>/time/<slug:verb>/", settle_time, name="job_time"),
    path("due/jobs/<uuid:public_id>/off/<slug:verb>/", call_off, name="job_off"),
    path("due/jobs/<uuid:public_id>/driver/", hand_over, name="job_hand_over"),
    path("due/at/<uuid:public_id>/new/", want, name="job_want"),
]
