"""The crew's sheet of one job: find the cover, be warned, write down what was found."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from customers.access import member_required
from scheduler import crew_sheets
from scheduler.booking import NotPossible
from scheduler.date_words import next_emptying_words
from scheduler.delivered_sheets import seen_of
from scheduler.forms.past_sheet import SheetStart, start_from
from scheduler.forms.sheet_parts import AbandonSheet, JobSheet
from scheduler.job_sheets import (
    close_job_sheet,
    correct_job_sheet,
    may_do_visit,
    require_visit,
    today_at,
)
from scheduler.job_visits import litres_noted
from scheduler.models import Job, Stop
from scheduler.sheet_photos import keep_sheet_photos
from servicing.models import Visit
from servicing.visit_checks import working_volume
from servicing.visit_facts import VisitRefused
from servicing.volumes import to_litres

if TYPE_CHECKING:
    from customers.models import User

Sheet = JobSheet | AbandonSheet
Verb = Callable[..., Visit]


def visible_job(request: HttpRequest, public_id: uuid.UUID) -> Job:
    """The job, for whoever may see it; 404 for anybody else."""
    jobs = Job.objects.visible_to(request.user).select_related(
        "system__premises__organisation", "system__organisation", "organisation", "handed_to"
    )
    return get_object_or_404(jobs, public_id=public_id)


@member_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def job_sheet(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show the sheet, or take it filled in."""
    job = visible_job(request, public_id)
    if request.method != "POST":
        return sheet_page(request, job)
    organisation = require_visit(request.user, job)
    sheet = JobSheet(job=job, units=organisation.units, data=request.POST, files=request.FILES)
    return close_with(request, job, sheet) or sheet_page(request, job, sheet=sheet)


@member_required
@never_cache
@require_POST
def job_sheet_abandon(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Take the short sheet of a job that could not be done."""
    job = visible_job(request, public_id)
    require_visit(request.user, job)
    sheet = AbandonSheet(job=job, data=request.POST, files=request.FILES)
    return close_with(request, job, sheet) or sheet_page(request, job, abandon=sheet)


@member_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def job_sheet_correct(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show the sheet as it was recorded, or take it put right."""
    job = visible_job(request, public_id)
    organisation = require_visit(request.user, job)
    if job.visit is None or job.state != Job.State.DONE:
        return redirect("scheduler:job_sheet", public_id=job.public_id)
    if request.method != "POST":
        start = start_from(job.visit, organisation.units)
        sheet = JobSheet(job=job, units=organisation.units, start=start, correcting=True)
        return correction_page(request, job, sheet)
    sheet = JobSheet(job=job, units=organisation.units, data=request.POST, correcting=True)
    closed = close_with(request, job, sheet, verb=correct_job_sheet)
    return closed or correction_page(request, job, sheet, status=422)


def correction_page(
    request: HttpRequest, job: Job, sheet: JobSheet, status: int = 200
) -> HttpResponse:
    """The sheet in one piece, without the way to the cover."""
    told = {
        "job": job,
        "system": job.system,
        "sheet": sheet,
        "correcting": True,
        "organisation": job.driven_by,
        "place": "rounds",
    }
    return render(request, "scheduler/job_sheet_correct.html", told, status=status)


@member_required
@never_cache
@require_GET
def job_recorded(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say what was recorded and when the next emptying is likely."""
    job = visible_job(request, public_id)
    if job.visit is None:
        return redirect("scheduler:job_sheet", public_id=job.public_id)
    today = today_at(job.system.premises, timezone.now())
    forecast = getattr(job.system, "forecast", None)
    said = {
        "job": job,
        "visit": job.visit,
        "next_words": next_emptying_words(forecast, today),
        "forecast": forecast,
        "follow_up": job.followed_by.first(),
        "organisation": job.driven_by,
        "may_correct": job.state == Job.State.DONE and may_do_visit(request.user, job),
        "place": "rounds",
    }
    return render(request, "scheduler/job_recorded.html", said)


def close_with(
    request: HttpRequest, job: Job, sheet: Sheet, *, verb: Verb = close_job_sheet
) -> HttpResponse | None:
    """Record a valid sheet and go to what it led to; None when the page must be shown again."""
    if not sheet.is_valid():
        return None
    user: User = request.user  # type: ignore[assignment]
    if not keep_sheet_photos(sheet, by=user, now=timezone.now()):
        return None
    stop = crew_sheets.stop_of(job, require_visit(user, job))
    litres = stop.round.tanker.capacity_litres if stop else None
    try:
        found = sheet.found(tanker_litres=litres)
        verb(job=job, found=found, by=user, now=timezone.now())
    except VisitRefused as refused:
        sheet.add_refusals(refused.refusals)
        return None
    except NotPossible as impossible:
        messages.warning(request, str(impossible))
    return redirect("scheduler:job_recorded", public_id=job.public_id)


def sheet_page(
    request: HttpRequest,
    job: Job,
    *,
    sheet: JobSheet | None = None,
    abandon: AbandonSheet | None = None,
) -> HttpResponse:
    """The page, with the forms as far as they were filled in."""
    told = sheet_facts(request, job)
    if told["may_fill_in"]:
        initial, units = told.pop("initial"), told["organisation"].units
        start = SheetStart(visit=initial, notch_mm=crew_sheets.notch_of(told.get("stop")))
        told["sheet"] = sheet or JobSheet(job=job, units=units, start=start)
        told["abandon"] = abandon or AbandonSheet(job=job, initial=initial)
        told["refused"] = sheet or abandon
        told["is_abandoning"] = abandon is not None
    status = 422 if sheet or abandon else 200
    return render(request, "scheduler/job_sheet.html", told, status=status)


def sheet_facts(request: HttpRequest, job: Job) -> dict[str, Any]:
    """What the page shows. The gate code and a telephone number are for the crew alone."""
    user: User = request.user  # type: ignore[assignment]
    today = today_at(job.system.premises, timezone.now())
    crew_may = may_do_visit(user, job)
    told: dict[str, Any] = {
        "job": job,
        "system": job.system,
        "premises": job.system.premises,
        "position": crew_sheets.position_of(job),
        "last": crew_sheets.last_visit(job),
        "way_photos": crew_sheets.photos_of_the_way(job),
        "thumb": crew_sheets.next_by_thumb(job, today),
        "may_fill_in": crew_may and job.is_open,
        "crew_may": crew_may,
        "organisation": job.driven_by,
        "today": today,
        "place": "rounds",
    }
    if crew_may:
        organisation = require_visit(user, job)
        stop = crew_sheets.stop_of(job, organisation)
        told |= {"stop": stop, "noted_litres": litres_noted(job), "organisation": organisation}
        told["facts"] = phone_facts(job, user, stop)
        told["contact"] = crew_sheets.contact_at(job.system.premises, today)
        told["initial"] = crew_sheets.sheet_initial(job, stop, user, today)
    return told


def phone_facts(job: Job, user: User, stop: Stop | None) -> dict[str, Any]:
    """What the page's script needs to keep a sheet without signal."""
    return {
        "job": str(job.public_id),
        "name": f"{job.system.premises}, {job.system.reference}",
        "user": str(user.pk),
        "seen": seen_of(job, user),
        "tankLitres": working_volume(job.system),
        "tankerLitres": stop.round.tanker.capacity_litres if stop else None,
        "litresPerUnit": to_litres(1, require_visit(user, job).units),
        "emptying": job.kind == Job.Kind.EMPTYING,
    }


urlpatterns = [
    path("jobs/<uuid:public_id>/sheet/", job_sheet, name="job_sheet"),
    path("jobs/<uuid:public_id>/sheet/abandon/", job_sheet_abandon, name="job_sheet_abandon"),
    path("jobs/<uuid:public_id>/sheet/correct/", job_sheet_correct, name="job_sheet_correct"),
    path("jobs/<uuid:public_id>/recorded/", job_recorded, name="job_recorded"),
]
