"""Every change of a job's state: offered, agreed, moved, done, abandoned, withdrawn."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from customers import access
from scheduler.messages import telling
from scheduler.models import Appointment, DayRequest, Job

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Person, User
    from servicing.models import Visit

State = Job.State


class NotPossible(ValueError):
    """The job is not in a state in which this can be done; the message says so plainly."""


def _locked(job: Job, states: Sequence[str], what: str) -> Job:
    """Read the job again for changing; refuse when it is not in one of `states`."""
    fresh = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
    if fresh.state not in states:
        message = f"This job is {fresh.get_state_display().lower()}: it cannot be {what}."
        raise NotPossible(message)
    return fresh


def _set_state(job: Job, state: str, reason: str, **fields: object) -> None:
    job.state = state
    for name, value in fields.items():
        setattr(job, name, value)
    job._change_reason = reason[:100]  # type: ignore[attr-defined]  # noqa: SLF001 (simple-history's own name)
    job.save(update_fields=["state", "changed_at", *fields])


def standing_appointment(job: Job) -> Appointment | None:
    """The appointment that has not been cancelled, if there is one."""
    return job.appointments.filter(cancelled_at__isnull=True).first()


def _put_appointment(
    job: Job, starts_at: dt.datetime, ends_at: dt.datetime, now: dt.datetime
) -> Appointment:
    if ends_at <= starts_at:
        message = "The visit must end after it begins."
        raise NotPossible(message)
    if ends_at <= now:
        message = "That time has passed."
        raise NotPossible(message)
    standing = standing_appointment(job)
    if standing is None:
        return Appointment.objects.create(job=job, starts_at=starts_at, ends_at=ends_at)
    standing.starts_at, standing.ends_at = starts_at, ends_at
    standing.save(update_fields=["starts_at", "ends_at"])
    return standing


@transaction.atomic
def offer(
    *,
    job: Job,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    by: User,
    now: dt.datetime | None = None,
) -> Appointment:
    """Offer the owner a time; nobody has agreed to it yet."""
    access.require_change(by, job)
    job = _locked(job, (State.WANTED, State.OFFERED), "offered")
    appointment = _put_appointment(job, starts_at, ends_at, now or timezone.now())
    _set_state(job, State.OFFERED, "offered")
    telling.tell_day_offered(appointment=appointment, now=now or timezone.now())
    return appointment


@transaction.atomic
def agree(
    *, job: Job, how: str, by: User | None = None, now: dt.datetime | None = None
) -> Appointment:
    """Take the owner's yes to the time offered. By the owner's own link `by` is None."""
    if by is not None:
        access.require_change(by, job)
    now = now or timezone.now()
    job = _locked(job, (State.OFFERED, State.AGREED), "agreed")
    appointment = standing_appointment(job)
    if appointment is None or appointment.ends_at <= now:
        message = "The time offered is no longer open."
        raise NotPossible(message)
    if appointment.agreed_at is None:
        appointment.agreed_at, appointment.agreed_by = now, how
        appointment.save(update_fields=["agreed_at", "agreed_by"])
        _set_state(job, State.AGREED, f"agreed by {how}")
        telling.tell_appointment_agreed(appointment=appointment, now=now)
    return appointment


@transaction.atomic
def book(
    *,
    job: Job,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    by: User,
    agreed_by: str = Appointment.AgreedBy.OFFICE,
    tell: bool = True,
    now: dt.datetime | None = None,
) -> Appointment:
    """Settle a time in one step. With `tell` False the caller tells people (a whole round)."""
    access.require_change(by, job)
    now = now or timezone.now()
    job = _locked(job, (State.WANTED, State.OFFERED, State.AGREED), "booked")
    before = standing_appointment(job)
    same = before is not None and (before.starts_at, before.ends_at) == (starts_at, ends_at)
    appointment = (
        before if before is not None and same else _put_appointment(job, starts_at, ends_at, now)
    )
    if appointment.agreed_at is None or not same:
        appointment.agreed_at, appointment.agreed_by = now, agreed_by
        appointment.save(update_fields=["agreed_at", "agreed_by"])
    if job.state != State.AGREED:
        _set_state(job, State.AGREED, "booked")
    if tell:
        telling.tell_appointment_agreed(appointment=appointment, now=now)
    return appointment


@transaction.atomic
def move(
    *,
    job: Job,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    by: User,
    now: dt.datetime | None = None,
) -> Appointment:
    """Move a promised visit and tell everybody who had the old time."""
    access.require_change(by, job)
    now = now or timezone.now()
    job = _locked(job, (State.OFFERED, State.AGREED), "moved")
    if standing_appointment(job) is None:
        message = "There is no appointment to move."
        raise NotPossible(message)
    appointment = _put_appointment(job, starts_at, ends_at, now)
    telling.tell_appointment_moved(appointment=appointment, now=now)
    return appointment


@transaction.atomic
def cancel(*, job: Job, because: str, by: User, now: dt.datetime | None = None) -> None:
    """Cancel the visit; the work is still wanted."""
    access.require_change(by, job)
    job = _locked(job, (State.OFFERED, State.AGREED), "cancelled")
    _cancel_appointment(job, because, now or timezone.now())
    _set_state(job, State.WANTED, f"visit cancelled: {because}")


def _cancel_appointment(job: Job, because: str, now: dt.datetime) -> None:
    appointment = standing_appointment(job)
    if appointment is None:
        return
    appointment.cancelled_at, appointment.cancelled_because = now, because[:300]
    appointment.save(update_fields=["cancelled_at", "cancelled_because"])
    telling.tell_appointment_cancelled(appointment=appointment, now=now, reason=because)


@transaction.atomic
def withdraw(*, job: Job, because: str, by: User | None, now: dt.datetime | None = None) -> None:
    """The work is no longer needed. `by` is None when the timetable finds so."""
    if by is not None:
        access.require_change(by, job)
    job = _locked(job, (State.WANTED, State.OFFERED, State.AGREED), "withdrawn")
    _cancel_appointment(job, because, now or timezone.now())
    _set_state(job, State.WITHDRAWN, because, closed_because=because[:300])


@transaction.atomic
def start_work(*, job: Job, by: User) -> None:
    """The crew has begun."""
    _require_crew(by, job)
    job = _locked(job, Job.OPEN, "begun")
    if job.state != State.UNDER_WAY:
        _set_state(job, State.UNDER_WAY, "begun")


@transaction.atomic
def finish(*, job: Job, visit: Visit, by: User, now: dt.datetime | None = None) -> None:
    """The work is done and recorded; the owner gets the report."""
    _require_crew(by, job)
    if Job.objects.filter(pk=job.pk, state=State.DONE, visit=visit).exists():
        return
    job = _locked(job, Job.OPEN, "finished")
    _set_state(job, State.DONE, "done", visit=visit)
    telling.tell_visit_done(job=job, now=now or timezone.now())


@transaction.atomic
def abandon(*, job: Job, visit: Visit, by: User, now: dt.datetime | None = None) -> Job:
    """The crew had to leave it. Gives the new job that takes its place."""
    _require_crew(by, job)
    now = now or timezone.now()
    after = Job.objects.filter(follows=job).first()
    if after is not None:
        return after
    job = _locked(job, Job.OPEN, "abandoned")
    reason = visit.get_abandoned_because_display()
    standing = standing_appointment(job)
    if standing is not None:
        standing.cancelled_at, standing.cancelled_because = now, reason
        standing.save(update_fields=["cancelled_at", "cancelled_because"])
    _set_state(job, State.ABANDONED, reason, visit=visit, closed_because=reason)
    telling.tell_visit_abandoned(job=job, now=now)
    return Job.objects.create(
        organisation=job.organisation,
        handed_to=job.handed_to,
        system=job.system,
        kind=job.kind,
        urgent=job.urgent,
        why=f"Abandoned on {visit.visited_on:%d %B %Y}: {reason.lower()}. {job.why}"[:300],
        due_on=job.due_on,
        latest=job.latest,
        required=job.required,
        litres=job.litres,
        litres_high=job.litres_high,
        minutes=job.minutes,
        value_pence=job.value_pence,
        notes=job.notes,
        follows=job,
    )


@transaction.atomic
def ask_other_day(
    *,
    job: Job,
    person: Person | None,
    days: Sequence[dt.date],
    words: str = "",
    now: dt.datetime | None = None,
) -> DayRequest:
    """Note that the owner wants another day; the office settles it."""
    job = _locked(job, (State.WANTED, State.OFFERED, State.AGREED), "moved to another day")
    open_request = job.day_requests.filter(settled_at__isnull=True, person=person).first()
    request = open_request or DayRequest(job=job, person=person)
    request.asked_at = now or timezone.now()
    request.days = [day.isoformat() for day in days]
    request.words = words[:500]
    request.save()
    return request


def _require_crew(user: User, job: Job) -> None:
    """Recording work is the `visit` action, of the owner's or the operator's people."""
    if not any(access.may(user, "visit", one) for one in job.changing_organisations()):
        access.require(user, "visit", job.driven_by)
