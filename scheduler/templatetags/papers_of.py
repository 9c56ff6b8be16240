"""Papers of a job, for its page and for the page after a visit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from scheduler.job_papers import asks_activity
from scheduler.job_sheets import may_do_visit
from servicing.forms.papers import ActivityForm
from servicing.models import Paper

if TYPE_CHECKING:
    from scheduler.models import Job

register = template.Library()


@register.inclusion_tag("scheduler/_job_papers.html", takes_context=True)
def papers_of(context: dict[str, Any], job: Job) -> dict[str, Any]:
    """Papers issued for the job's visit, and what may be issued still."""
    user = context["request"].user
    shown: dict[str, Any] = {
        "job": job,
        "may_issue": may_do_visit(user, job),
        "request": context["request"],
        "csrf_token": context.get("csrf_token"),
        "sheets": Paper.objects.visible_to(user).listed().filter(about=job.public_id),
    }
    if job.visit is None:
        return shown
    papers = Paper.objects.visible_to(user).listed().filter(visit=job.visit)
    kinds = {paper.kind for paper in papers}
    is_emptied = hasattr(job.visit, "emptying") and not job.visit.carried_out_by_others
    return {
        **shown,
        "visit": job.visit,
        "papers": papers,
        "wants_record": Paper.Kind.SERVICE_RECORD not in kinds,
        "wants_note": is_emptied and Paper.Kind.TRANSFER_NOTE not in kinds,
        "activity_form": ActivityForm() if asks_activity(job) else None,
    }
