"""The rest of a day planned anew from where the tankers are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.utils.dateparse import parse_datetime

from scheduler.models import Job, Round, Stop
from scheduler.routing.comparing import changes_between
from scheduler.routing.errors import BadTimes
from scheduler.routing.problem import Problem, TankerStart, places_of
from scheduler.routing.replan import Happening, Replanned, replan_day
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Plan
from scheduler.routing.rounds import Round as PlannedRound

from .clock import LocalClock
from .job_choice import for_planner
from .parts import planner_id, visits_settled, visits_to, whole
from .problem import fleet_of, problem_of
from .rows import read_round, with_stops
from .travel import travel_for

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from scheduler.models import PlanRun
    from scheduler.routing.plan import Effort

    from .settings import PlanSettings

OVER = (Job.State.DONE, Job.State.ABANDONED)
BEGUN = (Job.State.UNDER_WAY, *OVER)
STANDING = (Job.State.AGREED, *BEGUN)


@dataclass(frozen=True, kw_only=True)
class Rest:
    """What is proposed for the rest of the day, and what it changes, job by job."""

    plan: Plan
    problem: Problem
    changes: list[dict[str, Any]]
    kept: dict[str, list[str]]


@dataclass(frozen=True, kw_only=True)
class _Driven:
    """A round as it was driven so far: stops reached lie before the moment, the others after."""

    planned: PlannedRound
    shifted: PlannedRound
    reached: tuple[Stop, ...]
    stands: TankerStart | None


def rest_of_day(run: PlanRun, settings: PlanSettings, *, effort: Effort) -> Rest:
    """Plan the rest of the run's day, moving as few promises as possible."""
    organisation, happening = run.organisation, settings.happening or {}
    clock = LocalClock.of(organisation)
    at = _moment(happening, clock, run)
    fleet = fleet_of(organisation, settings.tankers, settings.works)
    jobs = for_planner(Job.objects.for_operator(organisation))
    rows = list(jobs.filter(public_id__in=settings.jobs))
    problem = problem_of(
        organisation=organisation,
        first_day=run.first_day,
        days=1,
        settings=replace(settings, visits=visits_settled(rows)),
        fleet=fleet,
        rows=rows,
    )
    travel = travel_for(organisation, fleet)
    roads = Roads(travel.table(places_of(problem)))
    accepted = rounds_driven(run)
    broken = frozenset(happening.get("off_the_road", ()))
    driven = [
        _driven(row, read_round(row, problem, roads, clock), at, clock, broken) for row in accepted
    ]
    urgent = _urgent_visits(problem, rows, happening)
    befell = Happening(
        on=run.first_day,
        at_seconds=at,
        off_the_road=broken,
        shut_works=frozenset(happening.get("shut_works", ())),
        abandoned=_not_driven_to(problem, rows, driven, happening),
        urgent=tuple(replace(job, required=True) for job in problem.jobs if job.id in urgent),
        stands={each.stands.tanker: each.stands for each in driven if each.stands is not None},
    )
    # Urgent jobs come in by what befell the day: they were on no round before.
    before = replace(problem, jobs=tuple(job for job in problem.jobs if job.id not in urgent))
    rounds = tuple(each.shifted for each in driven)
    in_force = Plan(rounds=rounds, left_out=(), missed_value_pence=0)
    made = replan_day(before, in_force, befell, travel=travel, effort=effort)
    return _rest(made, accepted, driven, happening)


def _urgent_visits(problem: Problem, rows: Sequence[Job], happening: Mapping[str, Any]) -> set[str]:
    """What the planner calls the jobs to be fitted in."""
    wanted = set(happening.get("urgent", ()))
    fitted = [row for row in rows if str(row.public_id) in wanted]
    return {visit for row in fitted for visit in visits_to(problem, row)}


def _rest(
    made: Replanned,
    accepted: Sequence[Round],
    driven: Sequence[_Driven],
    happening: Mapping[str, Any],
) -> Rest:
    warnings = (*made.plan.warnings, *_stranded(driven, happening))
    return Rest(
        plan=replace(made.plan, warnings=warnings),
        problem=made.problem,
        changes=_changes(made.problem, driven, made.plan),
        kept={
            str(row.public_id): [str(stop.public_id) for stop in each.reached]
            for row, each in zip(accepted, driven, strict=True)
        },
    )


def _stranded(driven: Sequence[_Driven], happening: Mapping[str, Any]) -> Iterator[str]:
    """Loads that stand in tankers which drive no further."""
    for each in driven:
        past = each.planned.stops[: len(each.reached)]
        load = past[-1].load_after_litres if past else 0
        if load and each.planned.tanker in happening.get("off_the_road", ()):
            yield (
                f"{each.planned.tanker} stands with about {load} L on board: "
                "see to that load before anything else is done to it."
            )


def rounds_driven(run: PlanRun) -> list[Round]:
    """Accepted rounds of the run's day, with their stops."""
    rounds = Round.objects.filter(
        organisation=run.organisation, day=run.first_day, accepted_at__isnull=False
    )
    return list(with_stops(rounds).order_by("tanker__name"))


def _moment(happening: Mapping[str, Any], clock: LocalClock, run: PlanRun) -> int:
    at = parse_datetime(str(happening.get("at", "")))
    if at is None:
        raise BadTimes("The moment from which to plan is missing.", item="", field="at")
    return clock.seconds(at, run.first_day)


def _not_driven_to(
    problem: Problem, rows: Sequence[Job], driven: Sequence[_Driven], happening: Mapping[str, Any]
) -> frozenset[str]:
    """Visits not to be made any more: given up, no longer promised, or reached already."""
    given_up = set(happening.get("abandoned", ()))
    stale = {str(row.public_id) for row in rows if row.state not in STANDING}
    stale -= set(happening.get("urgent", ()))
    known = {job.id for job in problem.jobs}
    reached = {planner_id(stop) for each in driven for stop in each.reached if stop.job is not None}
    return frozenset(
        reached & known | {job for job in known if whole(job) in given_up or whole(job) in stale}
    )


def _driven(
    row: Round, planned: PlannedRound, at: int, clock: LocalClock, broken: frozenset[str]
) -> _Driven:
    """Recorded arrivals decide how far a round is; without any, the plan is believed.

    A broken tanker does not reach the stop it was driving to.
    """
    stops = list(row.stops.all())
    recorded = [number for number, stop in enumerate(stops) if _was_reached(stop)]
    if not recorded:
        reached = _reached_by_plan(planned, at, broken=planned.tanker in broken)
        return _Driven(
            planned=planned, shifted=planned, reached=tuple(stops[:reached]), stands=None
        )
    last = recorded[-1] + 1
    shifted = replace(planned, stops=_around(planned, last, at))
    return _Driven(
        planned=planned,
        shifted=shifted,
        reached=tuple(stops[:last]),
        stands=_stands(planned, stops[last - 1], last, at, clock),
    )


def _was_reached(stop: Stop) -> bool:
    """Of a job in several visits the one under way says nothing of the others."""
    if stop.arrived_at is not None or stop.job is None:
        return stop.arrived_at is not None
    return stop.job.state in (BEGUN if stop.part is None else OVER)


def _reached_by_plan(planned: PlannedRound, at: int, *, broken: bool) -> int:
    """Stops the plan has left by the moment and, unless it is broken, the one it drives to."""
    if at <= planned.start_seconds:
        return 0
    left = sum(stop.depart_seconds <= at for stop in planned.stops)
    return left if broken else min(left + 1, len(planned.stops))


def _around(planned: PlannedRound, reached: int, at: int) -> tuple[Any, ...]:
    """The stops with those reached over by the moment, and the others after it."""
    done = [
        replace(stop, depart_seconds=min(stop.depart_seconds, at))
        for stop in planned.stops[:reached]
    ]
    ahead = planned.stops[reached:]
    late = max(at + 1 - ahead[0].depart_seconds, 0) if ahead else 0
    moved = [
        replace(
            stop,
            arrive_seconds=stop.arrive_seconds + late,
            start_seconds=stop.start_seconds + late,
            depart_seconds=stop.depart_seconds + late,
        )
        for stop in ahead
    ]
    return (*done, *moved)


def _stands(
    planned: PlannedRound, row: Stop, reached: int, at: int, clock: LocalClock
) -> TankerStart | None:
    """Where the tanker is, when it is free, and what its driver has behind him."""
    place = row.works or (row.job.system if row.job else None)
    if place is None or place.latitude is None or place.longitude is None:
        return None
    past = planned.stops[:reached]
    breaks = [stop for stop in past if stop.kind == "break"]
    since = breaks[-1].depart_seconds if breaks else planned.on_duty_from_seconds
    after_break = past[past.index(breaks[-1]) + 1 :] if breaks else past
    return TankerStart(
        tanker=planned.tanker,
        on=planned.on,
        latitude=place.latitude,
        longitude=place.longitude,
        at_seconds=_free_at(planned, row, reached, at, clock),
        load_litres=past[-1].load_after_litres,
        loaded_wastes=_wastes(row) if past[-1].load_after_litres else (),
        driven_seconds=sum(stop.drive_seconds for stop in past),
        driven_since_break_seconds=sum(stop.drive_seconds for stop in after_break),
        on_duty_since_seconds=planned.on_duty_from_seconds,
        worked_since_seconds=since,
        break_taken=bool(breaks),
        jobs_today=sum(stop.kind == "job" for stop in past),
    )


def _free_at(planned: PlannedRound, row: Stop, reached: int, at: int, clock: LocalClock) -> int:
    """Now where the work is over; else once the time planned for it is up."""
    over = row.left_at is not None or (row.job is not None and row.job.state in OVER)
    if over or row.arrived_at is None:
        return at
    stop = planned.stops[reached - 1]
    on_site = stop.depart_seconds - stop.start_seconds
    return max(at, clock.seconds(row.arrived_at, planned.on) + on_site)


def _wastes(row: Stop) -> tuple[str, ...]:
    """Kinds of system whose load is on board after this stop."""
    before = Stop.objects.filter(round=row.round_id, position__lte=row.position)
    tip = before.filter(kind=Stop.Kind.TIP).order_by("-position").first()
    since = before.filter(job__isnull=False, position__gt=tip.position if tip else -1)
    return tuple(sorted(set(since.values_list("job__system__kind", flat=True))))


def _changes(problem: Problem, driven: Sequence[_Driven], plan: Plan) -> list[dict[str, Any]]:
    """What becomes different for whom, against the times that people were given."""
    left = {job.id for job in problem.jobs}
    rounds = tuple(
        replace(
            each.planned,
            stops=tuple(s for s in each.planned.stops if s.kind != "job" or s.id in left),
        )
        for each in driven
    )
    before = Plan(rounds=rounds, left_out=(), missed_value_pence=0)
    return [
        {
            "job": whole(change.job),
            "kind": change.kind,
            "why": change.why,
            "promise_broken": change.promise_broken,
        }
        for change in changes_between(problem, before, plan)
    ]
