"""What stands against accepting proposals, asked again of the rows as they are now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone
from django.utils.formats import date_format

from scheduler.models import Job, Round, Stop
from scheduler.round_plans import board_of

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from scheduler.models import PlanRun
    from scheduler.round_plans import Board

BEGUN = (Job.State.UNDER_WAY, Job.State.DONE, Job.State.ABANDONED)


def round_words(planned: Round) -> str:
    """A round as people name it: tanker and day."""
    return f"{planned.tanker}, {date_format(planned.day, 'D j M')}"


def reasons_against(run: PlanRun, *, now: dt.datetime | None = None) -> list[str]:
    """What stands against accepting all proposals of a run as things are now, in sentences."""
    board = board_of(run)
    proposals = Round.objects.filter(run=run, accepted_at__isnull=True)
    wanted = set(proposals.values_list("pk", flat=True))
    found = reasons_among(board, board.rows, now or timezone.now())
    return [*found, *not_on_board(run, board, wanted)]


def not_on_board(run: PlanRun, board: Board, wanted: set[int]) -> Iterable[str]:
    """Proposals that can no longer be looked at, because their tanker was taken out of use."""
    known = [row.pk for row in board.rows]
    proposals = Round.objects.filter(run=run, pk__in=wanted, accepted_at__isnull=True)
    for row in proposals.exclude(pk__in=known).select_related("tanker"):
        yield f"{round_words(row)}: this tanker is not in use any more."


def job_stops(planned: Round) -> list[Stop]:
    """Stops at jobs, in driving order, read afresh."""
    stops = Stop.objects.filter(round=planned, job__isnull=False).order_by("position")
    return list(stops.select_related("job__system__premises__organisation", "job__organisation"))


def reasons_among(board: Board, chosen: Sequence[Round], now: dt.datetime) -> Iterable[str]:
    today = board.clock.day_of(now)
    breaches = board.breaches()
    twins = accepted_twins(chosen)
    for row in chosen:
        for breach in breaches[row.pk]:
            yield f"{round_words(row)}: {breach['why']}"
        if row.crew is None:
            yield f"{round_words(row)}: choose who drives it."
        if row.day < today:
            yield f"{round_words(row)}: that day is over."
        if row.pk in twins and has_begun(twins[row.pk]):
            yield f"{round_words(row)}: the accepted round of that day has begun and can no longer be replaced."
    yield from _promises_dropped(chosen, twins)
    yield from _jobs_taken(chosen, twins)


def accepted_twins(rows: Iterable[Round]) -> dict[int, Round]:
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
        for stop in job_stops(twins[row.pk]) if row.pk in twins else ():
            job = stop.job
            if job is not None and job.pk not in kept and job.state == Job.State.AGREED:
                yield (
                    f"{round_words(row)}: {job.system.reference} is promised on the accepted round of that "
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
            yield f"{stop.job.system.reference} is on the accepted round of {round_words(stop.round)} already."


def has_begun(planned: Round) -> bool:
    """Whether the crew has arrived anywhere or a job of the round is no longer only promised."""
    stops = planned.stops.all()
    return (
        stops.filter(arrived_at__isnull=False).exists()
        or stops.filter(job__state__in=BEGUN).exists()
    )
