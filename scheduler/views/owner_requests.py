"""What owners have told us and nobody has answered yet."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.local_days import zone_at
from scheduler import owner_requests
from scheduler.booking import NotPossible
from scheduler.forms.jobs import TimeForm
from scheduler.job_sheets import today_at
from scheduler.models import DayRequest, Job, TroubleReport
from scheduler.triage import BY_KEY
from servicing.models import System

if TYPE_CHECKING:
    from customers.models import User

MOST_SHOWN = 200


@member_required
@require_GET
def requests_page(request: HttpRequest) -> HttpResponse:
    """List trouble not yet read and wishes not yet answered."""
    return the_page(request)


def the_page(request: HttpRequest, refused: TimeForm | None = None) -> HttpResponse:
    """The page, with an offer that came back where one did."""
    reports = owner_requests.unseen_reports(request.user)[:MOST_SHOWN]
    wishes = owner_requests.open_day_requests(request.user)[:MOST_SHOWN]
    told: dict[str, Any] = {
        "reports": [(one, says(one), may_plan(request, one.system)) for one in reports],
        "wishes": [wish_line(request, wish, refused) for wish in wishes],
        "refused": refused,
        "place": "due",
    }
    return render(request, "scheduler/owner_requests.html", told, status=422 if refused else 200)


def says(report: TroubleReport) -> str:
    """The sign reported, in the owner's words of the form."""
    sign = BY_KEY.get(report.symptom)
    return sign.says if sign else report.symptom


def may_plan(request: HttpRequest, system: System) -> bool:
    """Whether the reader may settle what is asked at this system."""
    return access.may(request.user, "plan", system.organisation)


def wish_line(request: HttpRequest, wish: DayRequest, refused: TimeForm | None) -> dict[str, Any]:
    """One wish with the form that answers it."""
    days = wish_days(wish)
    form = offer_form(wish.job, first=days[0] if days else None)
    if refused is not None and refused.prefix == form.prefix:
        form = refused
    return {
        "wish": wish,
        "days": days,
        "form": form,
        "may": access.may_change(request.user, wish.job),
    }


def wish_days(wish: DayRequest) -> list[dt.date]:
    """Days asked for, best first."""
    return [dt.date.fromisoformat(day) for day in wish.days]


def offer_form(job: Job, data: Any = None, first: dt.date | None = None) -> TimeForm:
    """The form that answers a wish about `job`."""
    place = job.system.premises
    return TimeForm(
        data,
        prefix=f"offer-{job.public_id.hex[:8]}",
        zone=zone_at(place),
        today=today_at(place, timezone.now()),
        initial={"day": first} if first else None,
    )


@member_required
@require_POST
def report_seen(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """The office has read a report."""
    reports = TroubleReport.objects.filter(
        system__in=System.objects.visible_to(request.user)
    ).select_related("system__organisation")
    report = get_object_or_404(reports, public_id=public_id)
    user: User = request.user  # type: ignore[assignment]
    owner_requests.mark_seen(report=report, by=user, now=timezone.now())
    messages.success(request, "Marked as read.")
    return redirect("scheduler:owner_requests")


def wished_job(request: HttpRequest, public_id: uuid.UUID) -> Job:
    """A job whose owner may have asked for another day; 404 for a stranger, 403 for a reader."""
    jobs = Job.objects.visible_to(request.user).select_related(
        "system__premises__organisation", "organisation", "handed_to"
    )
    job = get_object_or_404(jobs, public_id=public_id)
    access.require_change(request.user, job)
    return job


@member_required
@require_POST
def wish_offer(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Answer a wish with a time."""
    job = wished_job(request, public_id)
    form = offer_form(job, request.POST)
    if not form.is_valid():
        return the_page(request, refused=form)
    when = {name: form.cleaned_data[name] for name in ("starts_at", "ends_at")}
    user: User = request.user  # type: ignore[assignment]
    try:
        owner_requests.offer_other_day(job=job, by=user, now=timezone.now(), **when)
    except NotPossible as impossible:
        form.add_error(None, str(impossible))
        return the_page(request, refused=form)
    messages.success(request, "The day is given; the owner has been written to.")
    return redirect("scheduler:owner_requests")


@member_required
@require_POST
def wish_settled(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """A wish was settled otherwise, by telephone say."""
    job = wished_job(request, public_id)
    user: User = request.user  # type: ignore[assignment]
    owner_requests.settle_days(job=job, by=user, now=timezone.now())
    messages.success(request, "Marked as settled.")
    return redirect("scheduler:owner_requests")


urlpatterns = [
    path("due/requests/", requests_page, name="owner_requests"),
    path("due/requests/reports/<uuid:public_id>/seen/", report_seen, name="report_seen"),
    path("due/requests/days/<uuid:public_id>/offer/", wish_offer, name="wish_offer"),
    path("due/requests/days/<uuid:public_id>/settled/", wish_settled, name="wish_settled"),
]
