"""What a step would say to a real owner, without writing or sending anything."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scheduler.messages.own_ladder import OwnWords
from scheduler.messages.steps import BEFORE_VISIT
from scheduler.messages.words import Words, fill, job_facts, span_in_words
from scheduler.models import Appointment, Job

if TYPE_CHECKING:
    from customers.models import Organisation

VISIT_STEPS = {step.name for step in BEFORE_VISIT}


def preview(organisation: Organisation, step: str, own: OwnWords) -> tuple[Words, Job] | None:
    """The step for the next job or visit it could be about; None where there is none."""
    related = "system__premises__organisation", "organisation__profile"
    jobs = Job.objects.filter(organisation=organisation).select_related(*related)
    facts: dict[str, Any] = {"link": "https://…", "leave_link": "", "attached": False}
    if step in VISIT_STEPS:
        visits = Appointment.objects.standing().filter(job__in=jobs, agreed_at__isnull=False)
        visit = visits.order_by("starts_at").first()
        if visit is None:
            return None
        job = jobs.get(pk=visit.job_id)
        zone = job.system.premises.zone_name
        facts["when"] = span_in_words(visit.starts_at, visit.ends_at, zone)
    else:
        first = jobs.open().order_by("due_on", "pk").first()
        if first is None:
            return None
        job = first
    party = job.system.premises.parties.filter(until__isnull=True).order_by("pk").first()
    who = party.person.name if party else "the owner"
    return fill(step, {**facts, **job_facts(job), "who": who}, own), job
