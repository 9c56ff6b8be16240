"""What falls due becomes jobs; what is no longer due is taken back."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from customers import access
from scheduler import booking
from scheduler.due_dates import LITRES_HIGH_SHARE, SERVICE_MINUTES, Due, due_by
from scheduler.emptying_sizes import EMPTYING_MINUTES
from scheduler.messages.own_ladder import jobs_wanted_until
from scheduler.models import Job, TroubleReport
from servicing.models import Forecast, System

if TYPE_CHECKING:
    from customers.models import Organisation, User

# Minutes on site: common practice, no source.
CALL_OUT_MINUTES = 60
VALUE_PENCE = {Job.Kind.EMPTYING: 12_000, Job.Kind.SERVICE: 9_000, Job.Kind.INSPECTION: 4_500}
CALL_OUT_VALUE_PENCE = 25_000
CALL_OUT_DAYS = {
    TroubleReport.Priority.SAME_DAY: 0,
    TroubleReport.Priority.SOON: 3,
    TroubleReport.Priority.ROUTINE: 21,
}
# A job is taken back when the forecast moved its date this far beyond the horizon.
SLACK_DAYS = 30


@dataclass(slots=True)
class DueWork:
    """What a run of `make_due_jobs` did, in jobs."""

    made: int = 0
    changed: int = 0
    withdrawn: int = 0


def make_due_jobs(
    *, organisation: Organisation, today: dt.date, by_date: dt.date | None = None
) -> DueWork:
    """Make a job for all that falls due by `by_date` (default: `jobs_wanted_until`).

    Running it twice makes nothing twice: one open job of a kind a system is a constraint of
    the database. Dates and litres of jobs nobody has been told about follow the forecast.
    """
    until = by_date or jobs_wanted_until(organisation, today)
    done = DueWork()
    open_jobs = {
        (job.system_id, job.kind): job
        for job in Job.objects.open().filter(organisation=organisation)
    }
    seen: set[tuple[int, str]] = set()
    for due in due_by(organisation, until=until, today=today):
        key = (due.system.pk, due.kind)
        seen.add(key)
        if key in open_jobs:
            done.changed += _follow(open_jobs[key], due)
        else:
            done.made += _make(organisation, due)
    done.withdrawn = _take_back(organisation, open_jobs, seen, until=until)
    return done


def _make(organisation: Organisation, due: Due) -> int:
    """Add the job; another worker may have been quicker, which is as good."""
    operator = organisation.tanker_operator if due.kind == Job.Kind.EMPTYING else None
    try:
        with transaction.atomic():
            Job.objects.create(
                organisation=organisation,
                handed_to=operator,
                system=due.system,
                kind=due.kind,
                due_on=due.on,
                why=due.why[:300],
                required=due.required,
                litres=due.litres,
                litres_high=due.litres_high,
                minutes=due.minutes,
                value_pence=VALUE_PENCE[Job.Kind(due.kind)],
                under_agreement=due.agreement,
            )
    except IntegrityError:
        return 0
    return 1


def _follow(job: Job, due: Due) -> int:
    """Let a job nobody has been told about follow the forecast."""
    if job.state != Job.State.WANTED or job.follows_id is not None:
        return 0
    new = {
        "due_on": due.on,
        "why": due.why[:300],
        "required": due.required,
        "litres": due.litres,
        "litres_high": due.litres_high,
        "under_agreement": due.agreement,
    }
    moved = [name for name, value in new.items() if getattr(job, name) != value]
    if not moved:
        return 0
    for name in moved:
        setattr(job, name, new[name])
    job._change_reason = "followed the forecast"  # type: ignore[attr-defined]  # noqa: SLF001
    job.save(update_fields=[*moved, "changed_at"])
    return 1


def _take_back(
    organisation: Organisation,
    open_jobs: dict[tuple[int, str], Job],
    seen: set[tuple[int, str]],
    *,
    until: dt.date,
) -> int:
    """Withdraw wanted jobs whose date the forecast moved well beyond the horizon."""
    beyond = until + dt.timedelta(days=SLACK_DAYS)
    field = {
        Job.Kind.EMPTYING: "due_on",
        Job.Kind.SERVICE: "service_due_on",
        Job.Kind.INSPECTION: "inspect_due_on",
    }
    candidates = {
        key: job
        for key, job in open_jobs.items()
        if key not in seen
        and job.state == Job.State.WANTED
        and job.kind in field
        and job.follows_id is None
    }
    rows = Forecast.objects.filter(
        organisation=organisation, system__in={system for system, _ in candidates}
    )
    by_system, taken = {row.system_id: row for row in rows}, 0
    for (system, kind), job in candidates.items():
        row = by_system.get(system)
        due_on = getattr(row, field[Job.Kind(kind)]) if row else None
        if job.under_agreement_id is not None:
            # The promise that made it is kept by another visit, or has ended.
            booking.withdraw(job=job, because="The agreement no longer asks for it.", by=None)
            taken += 1
        elif due_on is not None and due_on > beyond:
            booking.withdraw(job=job, because="The forecast moved its date.", by=None)
            taken += 1
    return taken


@transaction.atomic
def call_out(
    *, system: System, why: str, priority: int, today: dt.date, by: User | None = None
) -> Job:
    """A job for trouble somebody reported; an open call-out at the system takes it in."""
    if by is not None:
        access.require(by, "plan", system.organisation)
    due_on = today + dt.timedelta(days=CALL_OUT_DAYS[TroubleReport.Priority(priority)])
    urgent = priority == TroubleReport.Priority.SAME_DAY
    job = (
        Job.objects.open()
        .select_for_update(of=("self",))
        .filter(system=system, kind=Job.Kind.CALL_OUT)
        .first()
    )
    if job is None:
        return Job.objects.create(
            organisation=system.organisation,
            system=system,
            kind=Job.Kind.CALL_OUT,
            urgent=urgent,
            required=True,
            due_on=due_on,
            why=why[:300],
            minutes=CALL_OUT_MINUTES,
            value_pence=CALL_OUT_VALUE_PENCE,
        )
    job.urgent, job.due_on = job.urgent or urgent, min(job.due_on, due_on)
    if why not in job.why:
        job.why = f"{why} / {job.why}"[:300]
    job.save(update_fields=["urgent", "due_on", "why", "changed_at"])
    return job


@transaction.atomic
def want_job(
    *, system: System, kind: str, due_on: dt.date, why: str, by: User, litres: int = 0
) -> Job:
    """A job the office adds by hand. Raises NotPossible when one of the kind is open."""
    access.require(by, "plan", system.organisation)
    if Job.objects.open().filter(system=system, kind=kind).exists():
        message = "There is an open job of this kind at this system already."
        raise booking.NotPossible(message)
    return Job.objects.create(
        organisation=system.organisation,
        system=system,
        kind=kind,
        due_on=due_on,
        why=why[:300],
        required=True,
        litres=litres,
        litres_high=round(litres * LITRES_HIGH_SHARE),
        minutes=EMPTYING_MINUTES if kind == Job.Kind.EMPTYING else SERVICE_MINUTES,
        value_pence=VALUE_PENCE.get(Job.Kind(kind), CALL_OUT_VALUE_PENCE),
    )


@transaction.atomic
def hand_over(*, job: Job, operator: Organisation | None, by: User) -> Job:
    """Give a job to a tanker operator to drive, or take it back with None."""
    access.require(by, "plan", job.organisation)
    job = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
    if job.state not in {Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED}:
        message = f"This job is {job.get_state_display().lower()}: it cannot be handed over."
        raise booking.NotPossible(message)
    if job.handed_to_id != (operator.pk if operator else None):
        job.handed_to = operator
        job.save(update_fields=["handed_to", "changed_at"])
    return job
