"""Closing a job by what its crew found: the visit, the state of the job and the news of it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction

from customers import access
from customers.local_days import zone_at
from scheduler import booking
from scheduler.models import Job
from scheduler.tips import take_late_sheet_in
from servicing.photos import shows_the_cover_back
from servicing.visit_facts import Refusal, VisitRefused
from servicing.visits import correct_visit, record_visit

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from customers.models import Organisation, Premises, User
    from servicing.models import Visit
    from servicing.visit_facts import VisitFound


def may_do_visit(user: User | AnonymousUser, job: Job) -> bool:
    """Whether `user` is of a crew that may do this job: the owner's or the operator's."""
    return any(access.may(user, "visit", one) for one in job.changing_organisations())


def require_visit(user: User | AnonymousUser, job: Job) -> Organisation:
    """The organisation for which `user` does this job; PermissionDenied for who may not."""
    for one in (job.driven_by, job.organisation):
        if access.may(user, "visit", one):
            return one
    message = "Your role lets you look at this sheet but not fill it in."
    raise PermissionDenied(message)


def today_at(premises: Premises, now: dt.datetime) -> dt.date:
    """The day it is at a place."""
    return now.astimezone(zone_at(premises)).date()


@transaction.atomic
def close_job_sheet(*, job: Job, found: VisitFound, by: User, now: dt.datetime) -> Visit:
    """Record the visit and finish the job, or abandon it where the crew had to leave.

    The same sheet twice gives the same visit. Raises VisitRefused for what cannot be, and
    booking.NotPossible when somebody else has closed the job.
    """
    done_by = require_visit(by, job)
    job = (
        Job.objects.select_for_update(of=("self",))
        .select_related("system__premises__organisation", "visit")
        .get(pk=job.pk)
    )
    if job.visit is not None and job.visit.sheet_key == found.sheet_key:
        return job.visit
    if not job.is_open:
        message = (
            f"This job is {job.get_state_display().lower()} already. "
            "What you entered was not recorded a second time."
        )
        raise booking.NotPossible(message)
    require_proof(job, found)
    visit = record_visit(
        system=job.system,
        found=found,
        by=by,
        today=today_at(job.system.premises, now),
        done_by=done_by,
    )
    close = booking.abandon if visit.abandoned_because else booking.finish
    close(job=job, visit=visit, by=by, now=now)
    job.visit = visit
    take_late_sheet_in(job)
    return visit


def require_proof(job: Job, found: VisitFound) -> None:
    """Raise VisitRefused unless the cover back on was photographed, or it is said why not.

    Of an abandoned job it is asked where the cover was lifted.
    """
    if found.no_photo_because or (found.abandoned_because and not found.cover_lifted):
        return
    if not shows_the_cover_back(job.system, found.sheet_key):
        message = "Photograph the cover back on, or say below why no photo can be taken."
        raise VisitRefused(Refusal("photo_lid_back", message))


@transaction.atomic
def correct_job_sheet(*, job: Job, found: VisitFound, by: User, now: dt.datetime) -> Visit:
    """Record what the sheet should have said; the job points to it, the old record is kept.

    The same correction twice is one. Nobody is told anew: the office decides that.
    """
    done_by = require_visit(by, job)
    job = (
        Job.objects.select_for_update(of=("self",))
        .select_related("system__premises__organisation", "visit__system")
        .get(pk=job.pk)
    )
    if job.visit is None or job.state != Job.State.DONE:
        message = "Only the record of a job that is done can be corrected."
        raise booking.NotPossible(message)
    if job.visit.sheet_key == found.sheet_key:
        return job.visit
    visit = correct_visit(
        visit=job.visit,
        found=found,
        by=by,
        today=today_at(job.system.premises, now),
        done_by=done_by,
    )
    job.visit = visit
    job.save(update_fields=["visit", "changed_at"])
    take_late_sheet_in(job)
    return visit
