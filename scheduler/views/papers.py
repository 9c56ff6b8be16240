"""Papers of jobs, and what a scanned cover opens."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.local_days import local_today
from customers.middleware import user_of
from scheduler import owner_links
from scheduler.job_papers import (
    carer_of,
    issue_for_job,
    issue_job_sheet,
    printed_job_sheet,
)
from scheduler.job_sheets import require_visit, today_at
from scheduler.models import Job, Round
from scheduler.round_papers import issue_run_sheet
from scheduler.round_sheets import sheet_of
from scheduler.views.job_sheet import visible_job
from scheduler.views.owner_gate import LID_COOKIE
from servicing.forms.papers import ActivityForm
from servicing.models import Paper, System
from servicing.paper_drafts import PaperRefused
from servicing.views.papers import pdf_answer

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest


@member_required
@require_POST
def job_paper(request: HttpRequest, public_id: UUID, kind: str) -> HttpResponse:
    """Issue the service record or the transfer note of a job's visit."""
    job = visible_job(request, public_id)
    require_visit(user_of(request), job)
    if kind not in Paper.OF_VISITS:
        raise Http404
    form = ActivityForm(request.POST)
    if not form.is_valid():
        return not_issued(request, job, form)
    try:
        paper = issue_for_job(
            job=job,
            kind=kind,
            by=user_of(request),
            today=today_at(job.system.premises, timezone.now()),
            activity_code=form.cleaned_data["activity_code"],
        )
    except PaperRefused as refused:
        for reason in refused.reasons:
            form.add_error(None, reason)
        return not_issued(request, job, form)
    return redirect("servicing:paper", paper.public_id)


def not_issued(request: HttpRequest, job: Job, form: ActivityForm) -> HttpResponse:
    """Why the paper may not be printed, with what was typed, to be tried again."""
    back = reverse("scheduler:job", args=[job.public_id])
    crumbs = (Crumb(f"{job.get_kind_display()} of {job.system.reference}", back),)
    lead = "What stands against it is named below. Put it right, then issue the paper."
    page = FormPage("Not issued yet", "Issue", back, crumbs, lead)
    answer = form_page(request, page, form)
    answer.status_code = 422
    return answer


@member_required
@never_cache
@require_GET
def job_sheet_file(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Print the job sheet, for the crew that may do the job."""
    job = visible_job(request, public_id)
    require_visit(user_of(request), job)
    today = today_at(job.system.premises, timezone.now())
    return pdf_answer(printed_job_sheet(job, today=today), f"job-sheet-{job.system.reference}.pdf")


@member_required
@require_POST
def job_sheet_issue(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Give the job sheet out under a number."""
    job = visible_job(request, public_id)
    require_visit(user_of(request), job)
    today = today_at(job.system.premises, timezone.now())
    try:
        paper = issue_job_sheet(job=job, by=user_of(request), today=today)
    except PaperRefused as refused:
        messages.warning(request, str(refused))
        return redirect("scheduler:job", job.public_id)
    return redirect("servicing:paper", paper.public_id)


@member_required
@require_POST
def run_sheet_issue(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Give the run sheet out under a number."""
    rounds = Round.objects.visible_to(request.user).select_related("organisation", "tanker", "crew")
    planned = get_object_or_404(rounds, public_id=public_id)
    access.require(request.user, "visit", planned.organisation)
    today = local_today(planned.organisation)
    try:
        paper = issue_run_sheet(sheet=sheet_of(planned), by=user_of(request), today=today)
    except PaperRefused as refused:
        messages.warning(request, str(refused))
        return redirect("scheduler:round", planned.public_id)
    return redirect("servicing:paper", paper.public_id)


@never_cache
@require_GET
def lid(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Open what whoever scanned a cover may see: job sheet, system, or whom to ring."""
    if request.user.is_authenticated:
        job = Job.objects.visible_to(request.user).open().filter(system__public_id=public_id)
        if (due := job.order_by("due_on").first()) is not None:
            return redirect("scheduler:job_sheet", due.public_id)
        if System.objects.visible_to(request.user).filter(public_id=public_id).exists():
            return redirect("servicing:system", public_id)
    if token := owners_token(request, public_id):
        return redirect("scheduler:owner", token=token)
    return lid_page(request, public_id)


def owners_token(request: HttpRequest, public_id: UUID) -> str:
    """The token this telephone opened the page of the place with; empty for any other cover."""
    token = request.COOKIES.get(LID_COOKIE, "")
    try:
        link = owner_links.read_link(token)
    except (owner_links.LinkUnknown, owner_links.LinkEnded):
        return ""
    return token if link.premises.systems.filter(public_id=public_id).exists() else ""


def lid_page(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """For anybody who stands at the cover: whom to ring. No place and no name is told."""
    carer = carer_of(public_id)
    if carer is None:
        raise Http404
    return render(request, "scheduler/lid.html", {"organisation": carer})


urlpatterns = [
    path("jobs/<uuid:public_id>/papers/<str:kind>/", job_paper, name="job_paper"),
    path("jobs/<uuid:public_id>/sheet/print/", job_sheet_file, name="job_sheet_file"),
    path("jobs/<uuid:public_id>/sheet/issue/", job_sheet_issue, name="job_sheet_issue"),
    path("rounds/<uuid:public_id>/run-sheet/issue/", run_sheet_issue, name="run_sheet_issue"),
    path("lid/<uuid:public_id>/", lid, name="lid"),
]
