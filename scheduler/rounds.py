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
    Look,
    board_of,
    look_at_move,
    look_at_taking_off,
    make_move,
)
from scheduler.round_promises import settle_promises
from scheduler.round_readiness import (
    accepted_twins,
    has_begun,
    job_stops,
    not_on_board,
    reasons_among,
)

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from customers.models import User
    from scheduler.models import Crew, PlanRun


class RoundsNotReady(NotPossible):
    """Rounds that cannot be accepted as they stand; `reasons` are sentences to show."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = tuple(reasons)


@transaction.atomic
def move_stop(
    *,
    run: PlanRun,
    job: Job,
    tanker: Tanker,
    day: dt.date,
    position: int | None,
    by: User,
    part: int | None = None,
) -> Look:
    """Put a job on a tanker and day of a proposal. What it breaks is kept on the rounds.

    Nothing is written when the planner cannot even time it; `possible` and `breaches` say why.
    """
    access.require_change(by, run)
    _require_whole_days(run)
    board = board_of(run)
    look = look_at_move(board, job=job, tanker=tanker, day=day, position=position, part=part)
    if look.rounds:
        make_move(run, board, look, job=job)
    return look


@transaction.atomic
def take_off(*, run: PlanRun, job: Job, by: User) -> Look:
    """Take a job off its proposal; it joins those left out."""
    access.require_change(by, run)
    _require_whole_days(run)
    board = board_of(run)
    look = look_at_taking_off(board, job=job)
    make_move(run, board, look, job=job)
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
    _require_whole_days(run)
    now = now or timezone.now()
    wanted = {each.pk for each in rounds}
    # Two planners accepting for one tanker take turns: the second sees what the first did.
    list(Tanker.objects.select_for_update(of=("self",)).filter(rounds__in=wanted).order_by("pk"))
    board = board_of(run)
    chosen = [row for row in board.rows if row.pk in wanted]
    reasons = [*reasons_among(board, chosen, now), *not_on_board(run, board, wanted)]
    if reasons:
        raise RoundsNotReady(reasons)
    twins = accepted_twins(chosen)
    accepted = [_accept(row, twins.get(row.pk), by, now) for row in chosen]
    settle_promises(accepted, board.settings, by=by, now=now)
    for planned in accepted:
        telling.tell_round_accepted(planned=planned, now=now)
    return accepted


def _require_whole_days(run: PlanRun) -> None:
    """Rounds that begin in the middle of a day are settled by `day_again`, all at once."""
    if run.settings.get("happening") is not None:
        raise RoundsNotReady(["The rest of a day is settled on its own page, all at once."])


def _accept(row: Round, twin: Round | None, by: User, now: dt.datetime) -> Round:
    if twin is None:
        row.accepted_at, row.accepted_by, row.breaches = now, by, []
        row.save(update_fields=["accepted_at", "accepted_by", "breaches", "changed_at"])
        # Read afresh: the row of the board carries its stops as they were looked at.
        return Round.objects.select_related("tanker", "crew", "organisation").get(pk=row.pk)
    twin.stops.all().delete()
    Stop.objects.filter(round=row).update(round=twin)
    taken_over = ("run", "crew", "starts_at", "ends_at", "metres", "cost_pence", "loads")
    for name in taken_over:
        setattr(twin, name, getattr(row, name))
    twin.accepted_by, twin.breaches = by, []
    twin.save(update_fields=[*taken_over, "accepted_by", "breaches", "changed_at"])
    row.delete()
    return twin


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
    for stop in job_stops(planned):
        if stop.job is not None and stop.job.state in (Job.State.OFFERED, Job.State.AGREED):
            booking.cancel(job=stop.job, because=because, by=by, now=now)
    telling.tell_round_withdrawn(planned=planned, now=now, reason=because)
    return True
