"""Rounds as decided by people: proposals changed by hand, accepted, withdrawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from customers import access
from scheduler import booking
from scheduler.booking import NotPossible
from scheduler.messages import telling
from scheduler.models import Job, Round, Stop, Tanker
from scheduler.round_plans import (
    LocalClock,
    Look,
    PlanSettings,
    arrival_span,
    board_of,
    look_at_move,
    look_at_taking_off,
    make_move,
    seconds_of,
)

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from customers.models import User
    from scheduler.models import Appointment, Crew, PlanRun
    from scheduler.round_plans import Board

BEGUN = (Job.State.UNDER_WAY, Job.State.DONE, Job.State.ABANDONED)


class RoundsNotReady(NotPossible):
    """Rounds that cannot be accepted as they stand; `reasons` are sentences to show."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = tuple(reasons)


@transaction.atomic
def move_stop(
    *, run: PlanRun, job: Job, tanker: Tanker, day: dt.date, position: int | None, by: User
) -> Look:
    """Put a job on a tanker and day of a proposal. What it breaks is kept on the rounds.

    Nothing is written when the planner cannot even time it; `possible` and `breaches` say why.
    """
    access.require_change(by, run)
    board = board_of(run)
    look = look_at_move(board, job=job, tanker=tanker, day=day, position=position)
    if look.rounds:
        make_move(board, look, job=job)
    return look


@transaction.atomic
def take_off(*, run: PlanRun, job: Job, by: User) -> Look:
    """Take a job off its proposal; it joins those left out."""
    access.require_change(by, run)
    board = board_of(run)
    look = look_at_taking_off(board, job=job)
    make_move(board, look, job=job)
    return look


def lock_stop(*, stop: Stop, locked: bool, by: User) -> None:
    """Keep a job on its tanker and day when the plan is made again, or let it go."""
    access.require_change(by, stop.round)
    Stop.objects.filter(pk=stop.pk, kind=Stop.Kind.JOB).update(locked=locked)


@transaction.atomic
def set_crew(
    *, planned: Round, crew: Crew | None, by: User, now: dt.datetime | None = None
) -> None:
    """Say who drives. On an accepted round the new crew is invited and the old one told."""
    access.require_change(by, planned)
    if planned.accepted_at is not None and crew is None:
        message = f"An accepted round needs a crew: choose who drives {planned.tanker}."
        raise NotPossible(message)
    if planned.crew != crew:
        planned.crew = crew
        planned.save(update_fields=["crew", "changed_at"])
        if planned.accepted_at is not None:
            telling.tell_round_accepted(planned=planned, now=now or timezone.now())


@transaction.atomic
def discard_proposals(*, run: PlanRun, by: User) -> int:
    """Throw away what of a run was not accepted; gives how many rounds went."""
    access.require_change(by, run)
    proposals = Round.objects.filter(run=run, accepted_at__isnull=True)
    count = proposals.count()
    proposals.delete()
    return count


def reasons_against(run: PlanRun, *, now: dt.datetime | None = None) -> list[str]:
    """What stands against accepting all proposals of a run as things are now, in sentences."""
    board = board_of(run)
    proposals = Round.objects.filter(run=run, accepted_at__isnull=True)
    wanted = set(proposals.values_list("pk", flat=True))
    found = _reasons_against(board, board.rows, now or timezone.now())
    return [*found, *_not_on_board(run, board, wanted)]


@transaction.atomic
def accept_rounds(
    *, run: PlanRun, rounds: Iterable[Round], by: User, now: dt.datetime | None = None
) -> list[Round]:
    """Accept proposals together: book every job, tell owners and crews, all or nothing.

    Raises RoundsNotReady with every reason when one breaks a rule, has no crew, is over, or
    would drop a promised visit. A round already accepted is passed over: twice is once. Where
    the tanker has an accepted round that day, that one is changed and keeps its identity, so
    that the crew's calendar is updated instead of filled twice.
    """
    access.require_change(by, run)
    now = now or timezone.now()
    wanted = {each.pk for each in rounds}
    # Two planners accepting for one tanker take turns: the second sees what the first did.
    list(Tanker.objects.select_for_update().filter(rounds__in=wanted).order_by("pk"))
    board = board_of(run)
    chosen = [row for row in board.rows if row.pk in wanted]
    reasons = [*_reasons_against(board, chosen, now), *_not_on_board(run, board, wanted)]
    if reasons:
        raise RoundsNotReady(reasons)
    twins = _accepted_twins(chosen)
    accepted = [_accept(row, twins.get(row.pk), by, now) for row in chosen]
    for planned in accepted:
        for stop in _job_stops(planned):
            _keep_or_make_promise(stop, planned, board.settings, by, now)
    for planned in accepted:
        telling.tell_round_accepted(planned=planned, now=now)
    return accepted


def _not_on_board(run: PlanRun, board: Board, wanted: set[int]) -> Iterable[str]:
    """Proposals that can no longer be looked at, because their tanker was taken out of use."""
    known = [row.pk for row in board.rows]
    proposals = Round.objects.filter(run=run, pk__in=wanted, accepted_at__isnull=True)
    for row in proposals.exclude(pk__in=known).select_related("tanker"):
        yield f"{row}: this tanker is not in use any more."


def _job_stops(planned: Round) -> list[Stop]:
    """Stops at jobs, in driving order, read afresh."""
    stops = Stop.objects.filter(round=planned, job__isnull=False).order_by("position")
    return list(stops.select_related("job__system__premises__organisation", "job__organisation"))


def _reasons_against(board: Board, chosen: Sequence[Round], now: dt.datetime) -> Iterable[str]:
    today = board.clock.day_of(now)
    breaches = board.breaches()
    twins = _accepted_twins(chosen)
    for row in chosen:
        for breach in breaches[row.pk]:
            yield f"{row}: {breach['why']}"
        if row.crew is None:
            yield f"{row}: choose who drives it."
        if row.day < today:
            yield f"{row}: that day is over."
        if row.pk in twins and has_begun(twins[row.pk]):
            yield f"{row}: the accepted round of that day has begun and can no longer be replaced."
    yield from _promises_dropped(chosen, twins)
    yield from _jobs_taken(chosen, twins)


def _accepted_twins(rows: Iterable[Round]) -> dict[int, Round]:
    """The accepted round of the same tanker and day, by the key of the round it is a twin of."""
    rows = list(rows)
    accepted = Round.objects.filter(
        accepted_at__isnull=False,
        tanker__in=[row.tanker_id for row in rows],
        day__in=[row.day for row in rows],
    ).exclude(pk__in=[row.pk for row in rows])
    by_day = {(twin.tanker_id, twin.day): twin for twin in accepted}
    found = ((row.pk, by_day.get((row.tanker_id, row.day))) for row in rows)
    return {key: twin for key, twin in found if twin is not None}


def _promises_dropped(chosen: Sequence[Round], twins: dict[int, Round]) -> Iterable[str]:
    """Visits promised on rounds to be replaced that none of the chosen rounds holds."""
    kept = set(Stop.objects.filter(round__in=chosen).values_list("job_id", flat=True))
    for row in chosen:
        for stop in _job_stops(twins[row.pk]) if row.pk in twins else ():
            job = stop.job
            if job is not None and job.pk not in kept and job.state == Job.State.AGREED:
                yield (
                    f"{row}: {job.system.reference} is promised on the accepted round of that "
                    "day and is missing here. Put it on, or cancel its visit first."
                )


def _jobs_taken(chosen: Sequence[Round], twins: dict[int, Round]) -> Iterable[str]:
    """Jobs that stand on an accepted round which none of the chosen rounds replaces."""
    jobs = Stop.objects.filter(round__in=chosen, job__isnull=False).values("job")
    elsewhere = Stop.objects.filter(job__in=jobs, round__accepted_at__isnull=False)
    kept = [*(twin.pk for twin in twins.values()), *(row.pk for row in chosen)]
    elsewhere = elsewhere.exclude(round__in=kept)
    for stop in elsewhere.select_related("job__system", "round__tanker"):
        if stop.job is not None:
            yield f"{stop.job.system.reference} is on the accepted round of {stop.round} already."


def has_begun(planned: Round) -> bool:
    """Whether the crew has arrived anywhere or a job of the round is no longer only promised."""
    stops = planned.stops.all()
    return (
        stops.filter(arrived_at__isnull=False).exists()
        or stops.filter(job__state__in=BEGUN).exists()
    )


def _accept(row: Round, twin: Round | None, by: User, now: dt.datetime) -> Round:
    if twin is None:
        row.accepted_at, row.accepted_by, row.breaches = now, by, []
        row.save(update_fields=["accepted_at", "accepted_by", "breaches", "changed_at"])
        # Read afresh: the row of the board carries its stops as they were looked at.
        return Round.objects.select_related("tanker", "crew", "organisation").get(pk=row.pk)
    twin.stops.all().delete()
    Stop.objects.filter(round=row).update(round=twin)
    taken_over = ("run", "crew", "starts_at", "ends_at", "metres", "cost_pence")
    for name in taken_over:
        setattr(twin, name, getattr(row, name))
    twin.accepted_by, twin.breaches = by, []
    twin.save(update_fields=[*taken_over, "accepted_by", "breaches", "changed_at"])
    row.delete()
    return twin


def _keep_or_make_promise(
    stop: Stop, planned: Round, settings: PlanSettings, by: User, now: dt.datetime
) -> Appointment | None:
    """The owner's appointment stands when the stop keeps it; else one is made around the stop."""
    assert stop.job is not None
    promise = booking.standing_appointment(stop.job)
    if promise is not None and promise.starts_at <= stop.start_at <= promise.ends_at:
        if promise.agreed_at is not None and stop.job.state == Job.State.AGREED:
            return promise
        span = promise.starts_at, promise.ends_at
    else:
        span = _hours_told(stop, planned, settings)
    return booking.book(
        job=stop.job, starts_at=span[0], ends_at=span[1], by=by, tell=False, now=now
    )


def _hours_told(
    stop: Stop, planned: Round, settings: PlanSettings
) -> tuple[dt.datetime, dt.datetime]:
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


@transaction.atomic
def withdraw_round(
    *, planned: Round, because: str, by: User, now: dt.datetime | None = None
) -> bool:
    """Call an accepted round off: visits cancelled, jobs wanted again, everybody told.

    False when it was not accepted (any more): withdrawing twice tells nobody twice.
    """
    access.require_change(by, planned)
    now = now or timezone.now()
    if has_begun(planned):
        message = "This round has begun: cancel the visits that are left one by one."
        raise NotPossible(message)
    accepted = Round.objects.filter(pk=planned.pk, accepted_at__isnull=False)
    if not accepted.update(accepted_at=None, accepted_by=None, run=None, changed_at=now):
        return False
    planned.refresh_from_db()
    for stop in _job_stops(planned):
        if stop.job is not None and stop.job.state in (Job.State.OFFERED, Job.State.AGREED):
            booking.cancel(job=stop.job, because=because, by=by, now=now)
    telling.tell_round_withdrawn(planned=planned, now=now, reason=because)
    return True
