"""Papers of jobs: the sheet to take along, and what is given out after the visit."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from customers.local_days import zone_at
from customers.models import Organisation
from scheduler import crew_sheets
from scheduler.booking import standing_appointment
from scheduler.job_sheets import require_visit
from scheduler.loads import own_codes
from scheduler.models import Works
from servicing import documents, paper_drafts, volumes
from servicing.documents import Stamp
from servicing.models import Paper, System
from servicing.paper_facts import Receiver, activity_of, crew_sheet_facts, issuer_of
from servicing.papers import issue

if TYPE_CHECKING:
    from uuid import UUID

    from django.db.models import QuerySet

    from customers.models import User
    from scheduler.models import Job


def job_sheet_facts(job: Job, *, today: dt.date) -> documents.JobSheetFacts:
    """What the job sheet says, with whom to ring; without the gate code, for paper gets lost."""
    appointment = standing_appointment(job)
    zone = zone_at(job.system.premises)
    promised = ""
    if appointment is not None:
        begins, ends = (at.astimezone(zone) for at in (appointment.starts_at, appointment.ends_at))
        promised = f"{begins:%A} {begins.day} {begins:%B %Y}, {begins:%H:%M} to {ends:%H:%M}"
    contact = crew_sheets.contact_at(job.system.premises, today)
    litres = volumes.spoken(job.litres, job.driven_by.units) if job.litres else ""
    return crew_sheet_facts(
        job.system,
        issuer=issuer_of(job.driven_by),
        work=job.get_kind_display(),
        why=job.why,
        promised=promised,
        contact=f"{contact.name}, {contact.phone}" if contact else "",
        notes=job.notes,
        to_take_out=f"about {litres}" if litres else "",
    )


def printed_job_sheet(job: Job, *, today: dt.date) -> bytes:
    """The job sheet to look at, before it has a number."""
    return documents.job_sheet(job_sheet_facts(job, today=today), Stamp(number="", issued_on=today))


def issue_job_sheet(*, job: Job, by: User, today: dt.date) -> Paper:
    """Give the job sheet out under a number, or the one that stands while nothing has changed.

    A sheet whose work has changed since is replaced by one that names it. Raises PaperRefused for
    a job that is closed.
    """
    organisation = require_visit(by, job)
    if not job.is_open:
        raise paper_drafts.PaperRefused(f"This job is {job.get_state_display().lower()} already.")
    draft = paper_drafts.Draft(
        kind=Paper.Kind.JOB_SHEET,
        facts=job_sheet_facts(job, today=today),
        premises=job.system.premises,
        system=job.system,
        person=crew_sheets.contact_at(job.system.premises, today),
        about=job.public_id,
    )
    return issue(draft=draft, organisation=organisation, by=by, today=today)


def issue_for_job(
    *, job: Job, kind: str, by: User, today: dt.date, activity_code: str = ""
) -> Paper:
    """Issue the service record or the transfer note of a job that was visited.

    The carrier is whoever drove. Raises PaperRefused with what speaks against it.
    """
    organisation = require_visit(by, job)
    if job.visit is None:
        raise paper_drafts.PaperRefused("No visit is recorded for this job yet.")
    if kind == Paper.Kind.SERVICE_RECORD:
        draft = paper_drafts.service_record_draft(
            visit=job.visit, organisation=organisation, today=today
        )
    else:
        draft = paper_drafts.transfer_note_draft(
            visit=job.visit,
            organisation=organisation,
            carrier=job.driven_by,
            activity_code=activity_code,
            receiver=receiver_of(job),
        )
    return issue(draft=draft, organisation=organisation, by=by, today=today)


def receiver_of(job: Job) -> Receiver | None:
    """The works where the load of a job was tipped; None where no ticket says so."""
    assert job.visit is not None
    emptying = getattr(job.visit, "emptying", None)
    if emptying is None or not emptying.tipped_at:
        return None
    named = Works.objects.filter(organisation=job.driven_by, name=emptying.tipped_at).first()
    if named is None:
        return None
    codes = own_codes(named, job.visit.visited_on)
    return Receiver(named.permit_number, codes.get(job.system.kind, ""))


def asks_activity(job: Job) -> bool:
    """Whether the note of this job needs a SIC code to be given."""
    return job.visit is not None and not activity_of(job.system, job.visit.visited_on)


def carer_of(public_id: UUID) -> Organisation | None:
    """Whom to ring about a cover: all that may be told to whoever stands at it."""
    return Organisation.objects.filter(pk__in=_owners_of(public_id)).first()


def _owners_of(public_id: UUID) -> QuerySet[System, int]:
    return System.objects.filter(public_id=public_id).values_list("organisation_id", flat=True)
