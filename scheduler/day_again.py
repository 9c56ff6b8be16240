"""The rest of a day settled anew: a tanker broke down, a works shut, a job fell through or came in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from customers import access
from scheduler import booking
from scheduler.messages import telling
from scheduler.models import Job, PlanRun, Round, Stop, Tanker
from scheduler.round_plans import LocalClock, PlanSettings, fleet_of, start_plan
from scheduler.round_promises import settle_promises
from scheduler.round_readiness import round_words
from scheduler.rounds import RoundsNotReady

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Sequence

    from customers.models import Organisation, User

PROMISABLE = (Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED)
SEARCH_SECONDS = 5


def rounds_of_day(organisation: Organisation, day: dt.date) -> list[Round]:
    """Accepted rounds of a day."""
    rounds = Round.objects.filter(organisation=organisation, day=day, accepted_at__isnull=False)
    return list(rounds.select_related("tanker", "crew", "organisation").order_by("tanker__name"))


def jobs_ahead(rounds: Iterable[Round]) -> list[Job]:
    """Jobs of these rounds that nobody has begun."""
    stops = Stop.objects.filter(
        round__in=rounds, arrived_at__isnull=True, job__state__in=PROMISABLE
    ).order_by("start_at")
    jobs = [stop.job for stop in stops.select_related("job__system__premises")]
    return list(dict.fromkeys(job for job in jobs if job is not None))


def plan_rest(
    *,
    organisation: Organisation,
    off_the_road: Sequence[Tanker],
    shut_works: Sequence[Any],
    given_up: Sequence[Job],
    urgent: Sequence[Job],
    because: str,
    by: User,
    now: dt.datetime,
    seconds: int = SEARCH_SECONDS,
) -> PlanRun:
    """Ask for the rest of today to be planned anew; nothing changes until it is accepted."""
    day = LocalClock.of(organisation).day_of(now)
    rounds = rounds_of_day(organisation, day)
    on_rounds = Job.objects.filter(stops__round__in=rounds).distinct()
    jobs = dict.fromkeys([*on_rounds, *urgent])
    fleet = fleet_of(organisation)
    tankers = {*fleet.tankers, *(each.tanker for each in rounds)}
    settings = PlanSettings(
        tankers=_ids(sorted(tankers, key=lambda tanker: tanker.name)),
        works=_ids(fleet.works),
        jobs=_ids(jobs),
        seconds=seconds,
        every_day=True,
        happening={
            "at": now.isoformat(),
            "off_the_road": list(_ids(off_the_road)),
            "shut_works": list(_ids(shut_works)),
            "abandoned": list(_ids(given_up)),
            "urgent": list(_ids(urgent)),
            "because": because,
        },
    )
    return start_plan(organisation=organisation, first_day=day, days=1, by=by, settings=settings)


def _ids(rows: Iterable[Any]) -> tuple[str, ...]:
    return tuple(str(row.public_id) for row in rows)


def stands_against(run: PlanRun, now: dt.datetime) -> list[str]:
    """Why the rest of the day cannot be settled like this, as things are now."""
    return list(_reasons(run, now))


def _reasons(run: PlanRun, now: dt.datetime) -> Iterator[str]:
    if LocalClock.of(run.organisation).day_of(now) != run.first_day:
        yield "That day is over."
        return
    kept = run.problem.get("kept", {})
    accepted = rounds_of_day(run.organisation, run.first_day)
    if {str(row.public_id) for row in accepted} != set(kept):
        yield "Other rounds are accepted for today than when this was planned: plan again."
        return
    for row in accepted:
        since = row.stops.exclude(public_id__in=kept[str(row.public_id)])
        if since.filter(arrived_at__isnull=False).exists():
            yield f"{round_words(row)}: the crew has moved on since: plan again."
    for row in _proposals(run):
        yield from (f"{round_words(row)}: {breach['why']}" for breach in row.breaches)
        if row.crew is None:
            yield f"{round_words(row)}: choose who drives it."
        gone = row.stops.filter(job__isnull=False).exclude(job__state__in=PROMISABLE)
        for stop in gone.select_related("job__system"):
            yield f"{stop.job.system.reference} can no longer be planned: plan again."  # type: ignore[union-attr]


def _proposals(run: PlanRun) -> list[Round]:
    rows = Round.objects.filter(run=run, accepted_at__isnull=True)
    return list(rows.select_related("tanker__crew", "crew", "organisation"))


@transaction.atomic
def accept_rest(*, run: PlanRun, by: User, now: dt.datetime | None = None) -> list[Round]:
    """Settle the rest of the day: rounds changed, visits moved or cancelled, everybody told.

    Raises RoundsNotReady with every reason. Accepted twice, it does nothing the second time.
    """
    access.require_change(by, run)
    now = now or timezone.now()
    list(Tanker.objects.select_for_update().filter(organisation=run.organisation).order_by("pk"))
    proposals = {row.tanker_id: row for row in _proposals(run)}
    if run.finished_at is None or run.problem.get("settled"):
        return []
    reasons = stands_against(run, now)
    if reasons:
        raise RoundsNotReady(reasons)
    because = (run.settings.get("happening") or {}).get("because", "")
    before = rounds_of_day(run.organisation, run.first_day)
    was_planned = {job.pk for job in jobs_ahead(before)}
    changed = [_continue(row, proposals.pop(row.tanker_id, None), run) for row in before]
    changed += [_begin(row, by, now) for row in proposals.values()]
    driving = [row for row in changed if row.accepted_at is not None]
    settle_promises(driving, PlanSettings.from_json(run.settings), by=by, now=now)
    for row in driving:
        telling.tell_round_accepted(planned=row, now=now)
    _drop(was_planned, driving, because=because, by=by, now=now)
    for row in changed:
        if row.accepted_at is None:
            telling.tell_round_withdrawn(planned=row, now=now, reason=because)
    run.problem = {**run.problem, "settled": True}
    run.save(update_fields=["problem", "changed_at"])
    return driving


def _continue(row: Round, proposal: Round | None, run: PlanRun) -> Round:
    """Keep what was driven, put what is proposed behind it."""
    kept = row.stops.filter(public_id__in=run.problem["kept"][str(row.public_id)])
    row.stops.exclude(pk__in=kept.values("pk")).delete()
    first = kept.count()
    if proposal is not None:
        # Its first stop is where the tanker stands: that one is driven already.
        ahead = list(proposal.stops.order_by("position"))[1 if first else 0 :]
        for number, stop in enumerate(ahead, start=first):
            stop.round, stop.position = row, number
        Stop.objects.bulk_update(ahead, ["round", "position"])
        row.loads, row.ends_at = proposal.loads, proposal.ends_at
        proposal.delete()
    stops = list(row.stops.order_by("position"))
    if not any(stop.job_id for stop in stops):
        row.accepted_at = row.accepted_by = None
    elif proposal is None:
        row.ends_at, row.loads = stops[-1].depart_at, []
    row.metres = sum(stop.metres for stop in stops)
    row.save(
        update_fields=["accepted_at", "accepted_by", "ends_at", "metres", "loads", "changed_at"]
    )
    return row


def _begin(row: Round, by: User, now: dt.datetime) -> Round:
    """A tanker that had no round today gets one."""
    row.accepted_at, row.accepted_by, row.breaches = now, by, []
    row.save(update_fields=["accepted_at", "accepted_by", "breaches", "changed_at"])
    return row


def _drop(
    was_planned: set[int], driving: Sequence[Round], *, because: str, by: User, now: dt.datetime
) -> None:
    """Cancel the visits that are on no round any more; the work is still wanted."""
    still = set(Stop.objects.filter(round__in=driving).values_list("job_id", flat=True))
    for job in Job.objects.filter(pk__in=was_planned - still).order_by("pk"):
        if job.state in (Job.State.OFFERED, Job.State.AGREED):
            booking.cancel(job=job, because=because, by=by, now=now)


def how_far(rounds: Iterable[Round]) -> list[tuple[Round, int, int]]:
    """Each round with how many of its jobs the crew has reached, and how many it has."""
    counted = []
    for row in rounds:
        jobs = row.stops.filter(job__isnull=False)
        counted.append((row, jobs.filter(arrived_at__isnull=False).count(), jobs.count()))
    return counted
