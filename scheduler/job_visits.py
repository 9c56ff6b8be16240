"""A job done in several visits: each load is noted as it is taken, the last closes the job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from scheduler import booking
from scheduler.models import Job, Stop

if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from customers.models import User


def other_visits(stop: Stop) -> QuerySet[Stop]:
    """The other visits to the same job on accepted rounds, by number."""
    stops = Stop.objects.filter(job=stop.job_id, round__accepted_at__isnull=False)
    return stops.exclude(pk=stop.pk).filter(part__isnull=False).order_by("part")


def is_last_to_record(stop: Stop) -> bool:
    """Whether every other visit to its job is noted, so that the job sheet is due at this one."""
    return stop.part is None or not other_visits(stop).filter(taken_litres__isnull=True).exists()


def litres_noted(job: Job) -> int:
    """Litres noted on earlier visits to a job that is done in several."""
    stops = Stop.objects.filter(job=job, taken_litres__isnull=False)
    return sum(litres or 0 for litres in stops.values_list("taken_litres", flat=True))


@transaction.atomic
def record_load(*, stop: Stop, litres: float, note: str, by: User, now: dt.datetime) -> None:
    """Note the load of one of several visits; the job is under way until the last is recorded.

    Noted again, it is put right. Raises booking.NotPossible where the job sheet is due instead.
    """
    access.require(by, "visit", stop.round.organisation)
    if stop.job is None or stop.part is None:
        message = "This job is done in one visit: fill in its job sheet."
        raise booking.NotPossible(message)
    job = Job.objects.select_for_update(of=("self",)).get(pk=stop.job.pk)
    if not job.is_open:
        message = f"This job is {job.get_state_display().lower()} already: nothing was changed."
        raise booking.NotPossible(message)
    if stop.taken_litres is None and is_last_to_record(stop):
        message = "This is the last visit to be recorded: fill in the job sheet for all of them."
        raise booking.NotPossible(message)
    stop.taken_litres, stop.part_note = round(litres), note
    stop.arrived_at = stop.arrived_at or now
    stop.left_at = stop.left_at or now
    stop.save(update_fields=["taken_litres", "part_note", "arrived_at", "left_at"])
    booking.start_work(job=job, by=by)
