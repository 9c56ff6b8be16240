"""A job moved after its round was accepted: what it would do to rounds, and to whose promise."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from django.db.models import Q

from scheduler.models import Job, Round, Stop

from .board import Board, board_with
from .clock import arrival_span, seconds_of
from .job_choice import standing_appointment
from .moves import Look, look_at_move
from .parts import visits_settled, whole
from .settings import PlanSettings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.db.models import QuerySet

    from scheduler.models import Appointment, Tanker

# Beyond it the weeks between are not looked at: they would not share a limit.
LONGEST_SPAN = dt.timedelta(days=21)
Span = tuple[dt.datetime, dt.datetime]
Opened = Literal["none", "own", "all"]


@dataclass(frozen=True, kw_only=True)
class PromiseMoved:
    """A promise that the change would not keep, and the hours that would be promised instead."""

    job: Job
    was: Span | None
    will: Span


@dataclass(frozen=True, kw_only=True)
class AcceptedMove:
    """A change of accepted rounds, looked at: the rounds it touches and the promises it moves."""

    board: Board
    look: Look
    promises: tuple[PromiseMoved, ...]


def look_at_accepted_move(
    planned: Round,
    *,
    job: Job,
    part: int | None,
    tanker: Tanker,
    day: dt.date,
    position: int | None,
    others_may_move: bool = False,
) -> AcceptedMove:
    """Try a job of an accepted round on another place, tanker or day.

    Every promise is kept where that is possible. Else its own may move; those of the others on
    the two rounds are walls unless `others_may_move`. Raises the planner's own errors
    (`ProblemError`).
    """
    given: dict[str, Any] = {"job": job, "tanker": tanker, "day": day}
    board = _board(planned, **given, opened="none")
    look = look_at_move(board, position=position, part=part, **given)
    if not look.possible:
        board = _board(planned, **given, opened="all" if others_may_move else "own")
        look = look_at_move(board, position=position, part=part, **given)
    return AcceptedMove(board=board, look=look, promises=tuple(_promises_moved(board, look)))


def _board(planned: Round, *, job: Job, tanker: Tanker, day: dt.date, opened: Opened) -> Board:
    """Board of the rounds concerned, with no promise open to change, the job's own, or all."""
    first, last = min(planned.day, day), max(planned.day, day)
    sunday = last + dt.timedelta(days=6 - last.weekday())
    touched = Q(pk=planned.pk) | Q(tanker=tanker, day=day)
    # Their other rounds up to the end of the week count towards their drivers' hours.
    besides = Q(tanker__in=[planned.tanker, tanker], day__range=(first, sunday))
    near = touched | besides if last - first <= LONGEST_SPAN else touched
    rounds = Round.objects.filter(near, accepted_at__isnull=False)
    last = max(last, *rounds.values_list("day", flat=True))
    jobs = list(Job.objects.filter(stops__round__in=rounds).distinct())
    on_touched = set(
        Stop.objects.filter(round__in=rounds.filter(touched)).values_list("job_id", flat=True)
    )
    asked = PlanSettings.from_json(
        {"tankers": (), "jobs": (), **(planned.run.settings if planned.run else {})}
    )
    tankers = {str(planned.tanker.public_id), str(tanker.public_id)}
    settings = PlanSettings(
        tankers=tuple(sorted(tankers)),
        jobs=tuple(str(each.public_id) for each in jobs),
        litres_quantile=asked.litres_quantile,
        arrival_minutes=asked.arrival_minutes,
        every_day=True,
        visits=visits_settled(jobs),
        promises_open=tuple(
            str(each.public_id)
            for each in jobs
            if (opened == "own" and each == job) or (opened == "all" and each.pk in on_touched)
        ),
    )
    return board_with(
        planned.organisation,
        rounds,
        first_day=first,
        days=(last - first).days + 1,
        settings=settings,
        locks=_days_of_cut(rounds),
    )


def _days_of_cut(rounds: QuerySet[Round]) -> dict[str, tuple[str, dt.date]]:
    """Jobs cut into several visits are tied to their day; the tanker is only named with it."""
    visits = Stop.objects.filter(round__in=rounds, part__isnull=False)
    return {
        str(job): (str(tanker), day)
        for job, tanker, day in visits.values_list(
            "job__public_id", "round__tanker__public_id", "round__day"
        )
    }


def _promises_moved(board: Board, look: Look) -> Iterator[PromiseMoved]:
    """Promises that the rounds of a change do not keep, in the order of the new times."""
    hours: dict[str, list[tuple[dt.datetime, Span]]] = {}
    tankers = {str(one.public_id): one for one in board.fleet.tankers}
    for each in look.rounds:
        for stop in each.stops:
            if stop.kind == "job":
                starts = board.clock.moment(each.on, stop.start_seconds)
                span = _hours(board, tankers[each.tanker], each.on, stop.start_seconds)
                hours.setdefault(whole(stop.id), []).append((starts, span))
    for name, visits in sorted(hours.items(), key=lambda item: min(item[1])):
        job = board.jobs[name]
        promise = standing_appointment(job)
        if promise is None or not _keeps(promise, [starts for starts, _ in visits]):
            spans = [span for _, span in visits]
            will = min(starts for starts, _ in spans), max(ends for _, ends in spans)
            was = (promise.starts_at, promise.ends_at) if promise else None
            yield PromiseMoved(job=job, was=was, will=will)


def _keeps(promise: Appointment, starts: list[dt.datetime]) -> bool:
    return all(promise.starts_at <= start <= promise.ends_at for start in starts)


def _hours(board: Board, tanker: Tanker, day: dt.date, start_seconds: int) -> Span:
    """Between when and when an owner is told to expect us."""
    until = seconds_of(tanker.shift_ends) + tanker.overtime_minutes * 60
    starts, ends = arrival_span(
        start_seconds,
        within=(seconds_of(tanker.shift_starts), until),
        either_side_minutes=board.settings.arrival_minutes,
    )
    return board.clock.moment(day, starts), board.clock.moment(day, ends)
