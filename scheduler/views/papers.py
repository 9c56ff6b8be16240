"""Papers of jobs, and what a scanned cover opens."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from customers.access import member_required
from customers.middleware import user_of
from scheduler.job_papers import carer_of, issue_for_job, printed_job_sheet
from scheduler.job_sheets import require_visit, today_at
from scheduler.models import Job
from scheduler.views.job_sheet import visible_job
from servicing.forms.papers import ActivityField
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
    try:
        paper = issue_for_job(
            job=job,
            kind=kind,
            by=user_of(request),
            today=today_at(job.system.premises, timezone.now()),
            activity_code=activity_of(request),
        )
    except PaperRefused as refused:
        for reason in refused.reasons:
            messages.warning(request, f"Not issued. {reason}")
        return redirect("scheduler:job", public_id)
    return redirect("servicing:paper", paper.public_id)


def activity_of(request: HttpRequest) -> str:
    """The SIC code typed; PaperRefused for what is none."""
    try:
        return ActivityField().clean(request.POST.get("activity_code", ""))
    except ValidationError as fault:
        raise PaperRefused(*fault.messages) from fault


@member_required
@never_cache
@require_GET
def job_sheet_file(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Print the job sheet, for the crew that may do the job."""
    job = visible_job(request, public_id)
    require_visit(user_of(request), job)
    today = today_at(job.system.premises, timezone.now())
    return pdf_answer(printed_job_sheet(job, today=today), f"job-sheet-{job.system.reference}.pdf")


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
    return lid_page(request, public_id)


def lid_page(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """For anybody who stands at the cover: whom to ring. No place and no name is told."""
    carer = carer_of(public_id)
    if carer is None:
        raise Http404
    return render(request, "scheduler/lid.html", {"organisation": carer})


urlpatterns = [
    path("jobs/<uuid:public_id>/papers/<str:kind>/", job_paper, name="job_paper"),
    path("jobs/<uuid:public_id>/sheet/print/", job_sheet_file, name="job_sheet_file"),
    path("lid/<uuid:public_id>/", lid, name="lid"),
]
