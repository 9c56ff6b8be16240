"""What a run begins from: an earlier run of the same days, or the rounds accepted on them."""

from __future__ import annotations

import datetime as dt

from scheduler.models import PlanRun, Round, Stop
from scheduler.routing.problem import Problem, places_of
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Plan
from scheduler.routing.travel_times import TravelTimes

from .clock import LocalClock
from .job_facts import Lock
from .parts import planner_id
from .rows import read_round, with_stops
from .settings import PlanSettings


def _earlier_rounds(run: PlanRun, settings: PlanSettings) -> list[Round]:
    """Proposals this run begins from, else the rounds already accepted on its days."""
    rows = with_stops(Round.objects.filter(organisation=run.organisation))
    if settings.after:
        return list(rows.filter(run__public_id=settings.after, accepted_at__isnull=True))
    last_day = run.first_day + dt.timedelta(days=run.days - 1)
    return list(
        rows.filter(
            accepted_at__isnull=False,
            day__range=(run.first_day, last_day),
            tanker__public_id__in=settings.tankers,
        )
    )


def locks_of(run: PlanRun, settings: PlanSettings) -> dict[str, Lock]:
    """Jobs that stay on their tanker and day: locked stops of the rounds begun from."""
    rounds = _earlier_rounds(run, settings)
    stops = Stop.objects.filter(round__in=rounds, locked=True, job__isnull=False)
    return {
        str(stop.job.public_id): (str(stop.round.tanker.public_id), stop.round.day)
        for stop in stops.select_related("job", "round__tanker")
        if stop.job is not None
    }


def plan_to_start_from(
    run: PlanRun, settings: PlanSettings, problem: Problem, travel: TravelTimes
) -> Plan | None:
    """Those rounds as a plan; None when something on them can no longer be planned at all."""
    rounds = _earlier_rounds(run, settings)
    known = {job.id for job in problem.jobs} | {works.id for works in problem.works}
    known |= {tanker.id for tanker in problem.tankers}
    wanted = {str(row.tanker.public_id) for row in rounds}
    for row in rounds:
        for stop in row.stops.all():
            wanted |= {planner_id(stop)} if stop.job is not None else set()
            wanted |= {str(stop.works.public_id)} if stop.works is not None else set()
    if not rounds or not wanted <= known:
        return None
    roads = Roads(travel.table(places_of(problem)))
    clock = LocalClock.of(run.organisation)
    read = tuple(read_round(row, problem, roads, clock) for row in rounds)
    return Plan(rounds=read, left_out=(), missed_value_pence=0)
