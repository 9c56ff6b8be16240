"""Accepted rounds changed by hand: a job goes to another place, tanker or day, and people hear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from customers import access
from scheduler.messages import telling
from scheduler.messages.recipients import who_expects_us
from scheduler.messages.words import local_day
from scheduler.models import Job, Round, Stop, Tanker
from scheduler.round_plans import LocalClock, look_at_accepted_move, write_round
from scheduler.round_promises import settle_promises
from scheduler.round_readiness import has_begun, round_words
from scheduler.rounds import RoundsNotReady

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator

    from customers.models import User
    from scheduler.messages.recipients import Recipient
    from scheduler.round_plans import AcceptedMove

MOVABLE = (Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED)


def stands_against_move(
    *, planned: Round, job: Job, tanker: Tanker, day: dt.date, now: dt.datetime
) -> list[str]:
    """Why a job of an accepted round cannot be moved there at all, in sentences."""
    return list(_reasons(planned, job, tanker, day, now))


def _reasons(
    planned: Round, job: Job, tanker: Tanker, day: dt.date, now: dt.datetime
) -> Iterator[str]:
    if planned.accepted_at is None:
        yield f"{round_words(planned)} is not accepted: change it in its plan."
    if job.state not in MOVABLE:
        yield f"{job.system.reference} is {job.get_state_display().lower()} and cannot be moved."
    if day < LocalClock.of(planned.organisation).day_of(now):
        yield "That day is over."
    for each in _touched(planned, tanker, day):
        if has_begun(each):
            yield f"{round_words(each)} has begun: plan the rest of the day anew instead."
    there = Round.objects.filter(tanker=tanker, day=day, accepted_at__isnull=False)
    if tanker.crew is None and not there.exists():
        yield f"{tanker} has no crew: say under Fleet who drives it."


def _touched(planned: Round, tanker: Tanker, day: dt.date) -> list[Round]:
    there = Round.objects.filter(tanker=tanker, day=day, accepted_at__isnull=False)
    there = there.exclude(pk=planned.pk).select_related("tanker", "crew", "organisation")
    return [planned, *there]


def told_of(move: AcceptedMove, now: dt.datetime) -> list[tuple[str, list[Recipient]]]:
    """Who hears of each promise that moves: the system's reference and the people, if any."""
    said = []
    for each in move.promises:
        premises = each.job.system.premises
        people = who_expects_us(premises, local_day(now, premises.zone_name))
        said.append((each.job.system.reference, people))
    return said


@transaction.atomic
def move_accepted(
    *,
    planned: Round,
    job: Job,
    part: int | None,
    tanker: Tanker,
    day: dt.date,
    position: int | None,
    others_may_move: bool,
    by: User,
    now: dt.datetime | None = None,
) -> AcceptedMove:
    """Move a job of an accepted round; promises that move are booked anew and everybody told.

    Raises RoundsNotReady with every reason where a rule would be broken: nothing is changed then.
    """
    access.require_change(by, planned)
    access.require(by, "plan", tanker.organisation)
    now = now or timezone.now()
    keys = {planned.tanker_id, tanker.pk}
    list(Tanker.objects.select_for_update(of=("self",)).filter(pk__in=keys).order_by("pk"))
    planned.refresh_from_db()
    job.refresh_from_db()
    reasons = stands_against_move(planned=planned, job=job, tanker=tanker, day=day, now=now)
    if reasons:
        raise RoundsNotReady(reasons)
    move = look_at_accepted_move(
        planned,
        job=job,
        part=part,
        tanker=tanker,
        day=day,
        position=position,
        others_may_move=others_may_move,
    )
    if not move.look.possible:
        raise RoundsNotReady(move.look.breaches)
    _write(move, by, now)
    return move


def _write(move: AcceptedMove, by: User, now: dt.datetime) -> None:
    rows = {(str(row.tanker.public_id), row.day): row for row in move.board.rows}
    driven, empty = [], []
    for planned in move.look.rounds:
        row = rows.get((planned.tanker, planned.on))
        if planned.job_ids:
            row = row or _begun(move, planned.tanker, planned.on, by, now)
            write_round(move.board, row, planned, move.look)
            driven.append(row)
        elif row is not None:
            empty.append(row)
    settle_promises([*driven, *_others_visiting(driven)], move.board.settings, by=by, now=now)
    for row in driven:
        telling.tell_round_accepted(planned=row, now=now)
    for row in empty:
        row.stops.all().delete()
        row.accepted_at = row.accepted_by = row.run = None
        row.save(update_fields=["accepted_at", "accepted_by", "run", "changed_at"])
        telling.tell_round_withdrawn(planned=row, now=now, reason="No visit is left on it.")


def _begun(move: AcceptedMove, tanker_id: str, day: dt.date, by: User, now: dt.datetime) -> Round:
    """A tanker that had no round on that day gets one, accepted."""
    tanker = next(one for one in move.board.fleet.tankers if str(one.public_id) == tanker_id)
    return Round.objects.create(
        organisation=tanker.organisation,
        tanker=tanker,
        crew=tanker.crew,
        day=day,
        accepted_at=now,
        accepted_by=by,
    )


def _others_visiting(rounds: Iterable[Round]) -> list[Round]:
    """Accepted rounds besides these that make another visit to a job of these."""
    keys = [row.pk for row in rounds]
    shared = Stop.objects.filter(round__in=keys, part__isnull=False).values("job")
    others = Round.objects.filter(stops__job__in=shared, accepted_at__isnull=False)
    others = others.exclude(pk__in=keys).distinct()
    return list(others.select_related("tanker", "organisation"))
