"""The hours owners are told when a round is settled: kept where they hold, else made anew."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from scheduler import booking
from scheduler.models import Job
from scheduler.round_plans import LocalClock, PlanSettings, arrival_span, seconds_of
from scheduler.round_readiness import job_stops

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from customers.models import User
    from scheduler.models import Round, Stop

Span = tuple["dt.datetime", "dt.datetime"]


def settle_promises(
    rounds: Iterable[Round], settings: PlanSettings, *, by: User, now: dt.datetime
) -> None:
    """Give every job of these rounds an agreed appointment that its stop keeps; tell nobody yet.

    A job done in several visits has one appointment from the first of them to the last.
    """
    stops = [(stop, planned) for planned in rounds for stop in job_stops(planned)]
    open_states = (Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED)
    stops = [each for each in stops if each[0].job and each[0].job.state in open_states]
    stops.sort(key=lambda each: (each[0].job_id or 0, each[0].start_at))
    for _, visits in groupby(stops, key=lambda each: each[0].job_id):
        _settle(list(visits), settings, by, now)


def _settle(
    visits: Sequence[tuple[Stop, Round]], settings: PlanSettings, by: User, now: dt.datetime
) -> None:
    job = visits[0][0].job
    assert job is not None
    promise = booking.standing_appointment(job)
    keeps = promise is not None and all(
        promise.starts_at <= stop.start_at <= promise.ends_at for stop, _ in visits
    )
    if promise is not None and keeps:
        if promise.agreed_at is not None and job.state == Job.State.AGREED:
            return
        span: Span = (promise.starts_at, promise.ends_at)
    else:
        spans = [hours_told(stop, planned, settings) for stop, planned in visits]
        span = (min(starts for starts, _ in spans), max(ends for _, ends in spans))
    booking.book(job=job, starts_at=span[0], ends_at=span[1], by=by, tell=False, now=now)


def hours_told(stop: Stop, planned: Round, settings: PlanSettings) -> Span:
    """Between when and when the owner is told to expect us."""
    clock = LocalClock.of(planned.organisation)
    tanker = planned.tanker
    shift = (
        seconds_of(tanker.shift_starts),
        seconds_of(tanker.shift_ends) + tanker.overtime_minutes * 60,
    )
    starts, ends = arrival_span(
        clock.seconds(stop.start_at, planned.day),
        within=shift,
        either_side_minutes=settings.arrival_minutes,
    )
    return clock.moment(planned.day, starts), clock.moment(planned.day, ends)
